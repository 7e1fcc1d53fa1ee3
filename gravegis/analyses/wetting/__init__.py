"""How much water falls on which stone, on which face, from which head, and how sure that is."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gravegis.analyses.wetting.settings import WettingSettings
from gravegis.analyses.wetting.sights import SEEN
from gravegis.contract import Analysis, Assumption, Job, Result
from gravegis.layers import schema
from gravegis.layers.spraying import FIGURES

if TYPE_CHECKING:
    from gravegis.analyses.wetting.heads import Heads, Water
    from gravegis.layers.canonical import Frame
    from gravegis.layers.clock import Clock
    from gravegis.site import Site

__all__ = ["ANALYSIS", "WettingSettings", "run"]

_LIMITS = (
    "Not looked at: slope, gusts, splash, water that runs down a stone, trees and walls. Reached means that water may "
    "fall there; dry is no proof that a stone stays dry. Dose and strike are worked out, not measured."
)


def run(site: Site, settings: WettingSettings, job: Job) -> Result:
    """Lay the throws over the footprints, add what each head leaves on each face, let what was seen or drawn win.

    A stone is reached where any part of its footprint lies in a throw, on exact arcs, or within 0.0000001 m of
    it; where drawn wet ground touches it; where somebody saw it wetted. It is struck where the stream, still rising,
    passes below its top: at tens of times the rate of rain. Water in flight is tabulated for kind, pressure, angle
    and riser, stretched so that the pattern ends at the stated throw; what crosses below the top of a stone hits the
    face, and is missing behind it. Wind, where known hour by hour, carries the pattern.

    Uncertain: the margin lies within 1.8 standard errors of place, throw and bearing. Where the error of places is
    more than half the strike distance no single stone is called struck; there is a probability, and a list per head
    of stones to look at. What was seen outranks the model for that stone: for the head noted, else the zone, else
    for all; the narrower sight wins, of the same the later, until the head is changed. A stone that a head of unknown
    throw might reach is not called dry. Hours a season are those in which at least one zone that reaches the stone
    runs, over one year from its first day; litres need a flow, season totals a schedule.
    """
    from gravegis.analyses.wetting import heads as sprays
    from gravegis.analyses.wetting import overlay, sights, sure, words
    from gravegis.layers import clock as clocks
    from gravegis.layers.spray_tables import cache

    job.progress(0.02, "reading heads and stones")
    heads, stones = sprays.known_heads(site, settings), _stones(site, settings)
    clock = clocks.clock_of(site, settings.drying_h)
    zones = heads.frame["zone_id"].fillna("").iloc[heads.rows].tolist()
    wind = clocks.wind_of(site, zones, clock) if settings.use_wind else None
    water = sprays.water_of(heads, wind, cache())
    wide, table = overlay.overlay(stones, heads, water, job)
    table["error_m"] = stones["error_m"]
    job.progress(0.45, "strikes and their probability")
    wide = overlay.with_strikes(wide, stones, heads, water)
    seen, left_out = sights.read_sights(site, stones, heads)
    pairs, told, seen = sights.after_sights(seen, stones, table, wide, heads)
    sure.settle(table, pairs[pairs["kept"]], seen, heads)
    job.progress(0.6, "water on faces")
    made = _dosed(stones, table, pairs, seen, (heads, water, clock))
    job.progress(0.9, "ranking heads")
    kept = made["wetting_links"]
    ranked = words.ranked(stones, kept, made["head_looks"], heads, settings)
    notes = [*words.lead(table, kept, made["head_looks"], ranked, heads, settings), *told, *left_out]
    layers = {**made, "head_stones": ranked}
    return Result(
        layers={name: layers[name][list(columns)] for name, columns in ANALYSIS.gives.items()},
        notes=(*notes, *words.rest(table, kept, heads, clock), *words.wind(water), _LIMITS),
        assumed=tuple(_assumed(site, settings, stones, heads, clock)),
    )


def _stones(site: Site, settings: WettingSettings) -> Frame:
    """Return the stones with what the science reads: error, height, and where the front looks on the grid."""
    import numpy as np

    from gravegis.analyses.wetting.overlay import placed_rows, stone_heights
    from gravegis.layers.north import true_north_on_grid_deg
    from gravegis.layers.position_error import known_errors_m
    from gravegis.layers.stones import numbers, places_m

    stones = site["stones"]
    height, assumed, flat = stone_heights(stones)
    facing = numbers(stones, "stones", "facing_deg")
    x, y = places_m(stones).T
    north = np.zeros(len(stones))
    placed = placed_rows(np.asarray(stones["geometry"], dtype=object))
    north[placed] = true_north_on_grid_deg(site.info.crs, x[placed], y[placed])
    error = known_errors_m(stones, "stones", np.nan)
    return stones.assign(
        error_m=np.where(np.isnan(error), settings.position_error_m, error), unplaced=np.isnan(error),
        known_height_m=height, height_assumed=assumed, flat=flat, facing_true_deg=facing,
        facing_known=~np.isnan(facing), looks_deg=np.where(np.isnan(facing), 0.0, facing) + north,
    )  # fmt: skip


def _dosed(
    stones: Frame, table: Frame, pairs: Frame, seen: Frame, known: tuple[Heads, Water, Clock | None]
) -> dict[str, Frame]:
    """Fill the table of stones, and return it with the faces, the links and the lists of where to look."""
    import numpy as np
    import pandas as pd
    import shapely

    from gravegis.analyses.wetting import faces, sure
    from gravegis.analyses.wetting.sights import without_pair
    from gravegis.layers import clock as clocks

    heads, water, clock = known
    shapes = np.asarray(stones["geometry"], dtype=object)[pairs["stone"].to_numpy()]
    pairs["has_size"] = (shapely.area(shapes) > 0) & stones["known_height_m"].notna().to_numpy()[pairs["stone"]]
    pairs["in_model"] = ((pairs["throw"] >= 0) & pairs["margin_m"].notna()).to_numpy(dtype=bool)
    stands, unseen = pairs["kept"].to_numpy(dtype=bool), (pairs["seen"] == "").to_numpy()
    pairs["struck"] = np.where(unseen, pairs["struck"].to_numpy(dtype=bool) & stands, pairs["seen"] == "struck")
    alone = seen[without_pair(seen, pairs[pairs["kept"]])]
    more = np.isin(np.arange(len(table)), alone["row"])
    dose = faces.doses(stones, pairs, heads, water, clock, more)
    shaded = pairs["has_size"].to_numpy(dtype=bool) & (dose.share[:, :4].sum(axis=1) == 0)
    pairs["struck"] &= ~(shaded & unseen)
    pairs["maybe"] = pairs["maybe"].to_numpy(dtype=bool) & ~shaded & unseen & stands
    pairs["season_l"] = dose.season_l
    kept = pairs[stands].reset_index(drop=True)
    hours = clocks.stone_hours(table, kept, seen, clock)
    hours[alone.loc[alone["zone_id"] == "", "row"]] = np.nan  # wetted by a head and a zone that nobody knows
    table["season_h"], table["wet_spell_h"], table["sun_run_frac"] = hours[:, 0], hours[:, 2], hours[:, 3]
    table["wet_nights_n"] = hours[:, 1]
    table["state"], table["basis"] = sure.states_of(table, pairs, seen, heads, dose.share)
    table["struck_prob"] = sure.struck_chance(table, pairs, seen)
    table["certainty"] = sure.certainties(table, pairs, stones, heads)
    table["worst_face"] = faces.worst_faces(stones, dose)
    said = table["reached"].notna() & stones["known_height_m"].notna()
    struck_n = np.bincount(kept["stone"], kept["struck"].astype(float), minlength=len(table))
    # seen struck, and no known head can have done it: by nobody knows how many
    said &= ~table.index.isin(seen.loc[seen["seen"] == "struck", "row"])
    table["struck_n"] = pd.Series(struck_n).astype("Int64").where(said | (struck_n > 0))
    # a stone wetted as drawn or seen from no known head has water nobody can reckon
    counted = table["heads_n"].notna().to_numpy() & (clock is not None)
    table["season_mm"] = np.where(counted, np.round(dose.season_mm, 9), np.nan)
    # may be wet or dry: neither no hours nor no water
    open_ = table["state"].eq("uncertain") & table["reached"].eq(other=False).fillna(value=False)
    table.loc[open_, ["season_h", "season_mm", "wet_nights_n", "wet_spell_h", "sun_run_frac"]] = np.nan
    return {
        "stone_wetting": table, "wetting_links": kept, "face_wetting": faces.face_table(stones, kept, dose),
        "head_looks": sure.looks(pairs, stones),
    }  # fmt: skip


def _assumed(
    site: Site, settings: WettingSettings, stones: Frame, heads: Heads, clock: Clock | None
) -> list[Assumption]:  # fmt: skip
    """Return what was taken where something is missing, and for how many rows."""
    from gravegis.analyses.wetting import heads as sprays
    from gravegis.layers.spraying import level_in_ground

    made = sprays.errors_assumed(site, settings)
    if clock is not None and not site.info.time_zone:
        made.append(Assumption("site.time_zone", "not said: hours are summed in civil time, without clock changes"))
    if not len(heads.rows):
        return made
    used = heads.frame.iloc[heads.rows]
    by_form, no_height = int(stones["height_assumed"].sum()), int(stones["known_height_m"].isna().sum())
    made.append(Assumption("stones.height_m", ANALYSIS.uses["stones"]["height_m"], by_form + no_height))
    for name, lacking in (
        ("kind", used["kind"].isna()), ("flow_l_min", ~(used["flow_l_min"] > 0)),
        ("pressure_kpa", ~(used["pressure_kpa"] > 0)),
    ):  # fmt: skip
        made.append(Assumption(f"heads.{name}", ANALYSIS.uses["heads"][name], int(lacking.sum())))
    unsaid = "not known beside a surveyed outline: no amounts of water from these heads"
    made.append(Assumption("heads.arc_sweep_deg", unsaid, int(used["no_litres"].sum())))
    north = "bearing of a strip unknown: to the north, a guess"
    made.append(Assumption("heads.arc_from_deg", north, int(used["no_bearing"].sum())))
    level = "a level stream out of the ground: the usual riser of its kind"
    made.append(Assumption("heads.riser_m", level, int(level_in_ground(used).sum())))
    return made


_SILENT = "not known: no hours for that zone"
_USUAL = "usual pressure, angle and riser of the kind of head"
ANALYSIS = Analysis(
    name="wetting", title="Water on stones and their faces", version=3, facts=("crs", "time_zone"),
    tables=("drop_fall_speeds", "spray_kinds", "stone_forms", "materials", "stone_density"),
    question="How much water falls on which stone, on which face, from which head, and how sure is that?",
    needs={"stones": ("stone_id", "geometry")},
    uses={
        "stones": {
            "position_error_m": "by how it was got (tape 0.1 m, survey receiver 0.05 m, image 0.5 m, phone 4 m), phone "
            "4 m when the position basis is unknown: unsourced defaults", "position_basis": "",
            "height_m": "the usual height of its form, where the form is known; without either nothing is said of "
            "the stream and of the sides of a stone", "form": "",
            "facing_deg": "not known: faces go by the compass, and none is called the worst",
        },
        "heads": {
            "*": "no head is known: wetting only where it was drawn or seen", "geometry": "", "zone_id": "",
            "position_error_m": "as by phone, 4 m: unsourced default", "arc_sweep_deg": "", "arc_from_deg": "",
            "kind": "by its throw: spray to 4.6 m, rotary nozzle to 9 m, else rotor",
            "flow_l_min": "not known: no amounts of water from these heads",
            "pressure_kpa": _USUAL, "trajectory_deg": "", "riser_m": "", "changed_on": "",
        },
        "throws_computed": {"*": "no throw is worked out: no head reaches a stone"} | dict.fromkeys(FIGURES, ""),
        "throws": {"head_id": "", "geometry": ""}, "wet_areas": {"geometry": ""},
        "observations": dict.fromkeys([*SEEN, "geometry"], ""),
        "schedules": {
            "*": "no schedule: no hours a season", "zone_id": "", "start_at": _SILENT, "run_min": _SILENT,
            "every": _SILENT, "cycles_n": "one cycle a start", "soak_min": "", "from_on": _SILENT, "to_on": _SILENT,
            "adjust_pct": "100 percent all year",
        },
        "weather": {"at": "", "wind_m_s": "", "wind_from_deg": ""},
    },
    gives={name: {column.name: column.meaning for column in schema.layer(name).columns.values()}
           for name in ("stone_wetting", "face_wetting", "wetting_links", "head_looks", "head_stones")},
    settings=WettingSettings, run=run, may_be_missing=frozenset({"stone_wetting.basis"}),
    sources=(
        "plane geometry on exact arcs", "order of heads and near distance: common practice, no source",
        "fall speeds: Gunn and Kinzer 1949; drop sizes: gravegis/science/data/spray_kinds.csv, a source per row",
        "crossing heights, shadow, strike distance, wind as a shift of the pattern: own method, tested for mass",
        "certainty: closed form under normal errors; limits are own choice",
        "height of the sun: Astronomical Almanac, low precision (Michalsky 1988)",
    ),
)  # fmt: skip
