"""How much water falls where, how evenly, and how much of it leaves the site."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gravegis.analyses.coverage.settings import AUTO, CoverageSettings
from gravegis.contract import Analysis, Assumption, Job, Result
from gravegis.layers import schema
from gravegis.layers.spraying import FIGURES

if TYPE_CHECKING:
    from gravegis.analyses.coverage.water import Sent
    from gravegis.layers.spraying import Sprayers
    from gravegis.site import Site

__all__ = ["ANALYSIS", "CoverageSettings", "run"]


def run(site: Site, settings: CoverageSettings, job: Job) -> Result:
    """Lay the pattern of every head over a grid, scaled so that the cells of a head hold exactly what it sends out.

    The pattern is the flight of its drops, stretched to the stated throw and carried by the wind where that is known;
    of a head with a surveyed outline all water falls within it. Three rasters come of it: the rate while the zone that
    brings most is running, the depth when every zone runs for one hour (the sum, so its volume is what the heads
    send), and the depth of a season, where there is a schedule. They are blank where a head of unknown flow wets the
    ground too.

    Evenness of a zone is measured on the cells between its heads (hull of the heads, on site), of its own water alone:
    mean rate, Christiansen's coefficient, low quarter and low half over the mean, and the mean over the driest window
    (scheduling coefficient). How n/4 is rounded is kept beside them. With one or two heads, or heads in one line, all
    wetted ground on site counts. Without a flow for every head of a zone nothing is said of it but that.
    """
    from gravegis.analyses.coverage import raster, words, zones
    from gravegis.analyses.coverage.water import sent_of
    from gravegis.layers.clock import clock_of
    from gravegis.layers.spraying import sprayers_of

    job.progress(0.02, "reading heads")
    found, clock = sprayers_of(site), clock_of(site, 0.0)
    sent = sent_of(site, found, clock, settings)
    if not len(found.rows):
        table = zones.zone_table(site, found, sent, [], settings)
        job.progress(1.0, "no heads of known ground")
        return Result(layers={"zone_uniformity": table}, notes=("No head of known ground: no water can be laid out.",))
    job.progress(0.2, "laying out the grid")
    ground = zones.site_ground(site)
    cell_m = None if settings.cell_m == AUTO else float(settings.cell_m)
    grid = raster.grid_of(sent, ground.bounds, cell_m)
    patches = raster.patches_of(sent, grid.cell_m, job)
    job.progress(0.75, "rasters")
    by_season = clock is not None and bool(clock.season.zones)
    grids = raster.rasters_of(sent, patches, grid, by_season=by_season)
    job.progress(0.9, "evenness of the zones")
    table = zones.zone_table(site, found, sent, patches, settings)
    notes = (*words.notes_of(table, sent, found), words.LIMITS)
    return Result(
        layers={"zone_uniformity": table}, grids=grids, notes=notes, assumed=tuple(_assumed(found, sent, settings))
    )


def _assumed(found: Sprayers, sent: Sent, settings: CoverageSettings) -> list[Assumption]:
    """Return what was taken where something is missing, and for how many heads."""
    used = found.frame.iloc[found.rows]
    taken, unknown = int(sent.is_taken.sum()), int(found.frame["flow_l_min"].isna().sum())
    like = "taken from like heads of their zone (one kind, in proportion to the turn; strips: to the ground), where "
    like += f"{settings.like_heads_n} or more are known"
    like = f"all {like}" if taken == unknown else f"{taken} of them {like}; of the others no amounts of water"
    made = [Assumption("heads.flow_l_min", like if taken else ANALYSIS.uses["heads"]["flow_l_min"], unknown)]
    made += [
        Assumption(f"heads.{name}", str(ANALYSIS.uses["heads"][name]), int(rows.sum()))
        for name, rows in (("kind", used["kind"].isna()), ("pressure_kpa", ~(used["pressure_kpa"] > 0)))
    ]
    return made


_SILENT = "not known: no hours for that zone"
ANALYSIS = Analysis(
    name="coverage", title="How much water falls where", version=1, facts=("crs", "time_zone"),
    tables=("drop_fall_speeds", "spray_kinds"),
    question="How much water falls where, how evenly, and how much of it leaves the site?",
    needs={"heads": ("head_id", "geometry")},
    uses={
        "throws_computed": {"*": "no throw is worked out: no head wets known ground"} | dict.fromkeys(FIGURES, ""),
        "heads": {
            "zone_id": "not known: those heads count as running together in no zone; nothing is said of how even it is",
            "flow_l_min": "not known: no amounts of water from these heads",
            "kind": "by its throw: spray to 4.6 m, rotary nozzle to 9 m, else rotor",
            "pressure_kpa": "usual pressure, angle and riser of the kind of head",
            "trajectory_deg": "", "riser_m": "",
        },
        "throws": {"head_id": "", "geometry": ""},
        "stones": {"geometry": ""}, "plots": {"geometry": ""}, "sections": {"geometry": ""}, "rows": {"geometry": ""},
        "paths": {"geometry": ""}, "barriers": {"geometry": ""},
        "schedules": {
            "*": "no schedule: no depth of a season", "zone_id": "", "start_at": _SILENT, "run_min": _SILENT,
            "every": _SILENT, "cycles_n": "one cycle a start", "soak_min": "", "from_on": _SILENT, "to_on": _SILENT,
            "adjust_pct": "100 percent all year",
        },
        "weather": {"at": "", "wind_m_s": "", "wind_from_deg": ""},
    },
    gives={"zone_uniformity": {
        column.name: column.meaning for column in schema.layer("zone_uniformity").columns.values()
    }},
    gives_grids={
        "water_rate": "rate while the zone that brings most is running [mm/h], blank where a flow is not known",
        "water_hour": "depth when every zone runs for one hour [mm]: its volume is what the heads send out",
        "water_season": "depth of one season by the schedule [mm]",
    },
    settings=CoverageSettings, run=run,
    may_be_missing=frozenset({"zone_uniformity.quarter", "zone_uniformity.measured_on", "zone_uniformity.basis"}),
    sources=(
        "mass of each head kept on the cells: own method, tested",
        "Christiansen 1942, California AES Bulletin 670; low quarter: Merriam and Keller 1978; "
        "scheduling coefficient by driest window: common practice",
        "fall speeds: Gunn and Kinzer 1949; drop sizes: gravegis/science/data/spray_kinds.csv, a source per row",
    ),
)  # fmt: skip
