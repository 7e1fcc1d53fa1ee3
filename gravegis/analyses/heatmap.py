"""Share of damaged stones as a grid, masked where too few stones speak."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from gravegis.contract import Analysis, Job, Result, choice, number, text, whole
from gravegis.science.condition.harms import harms

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    from gravegis.layers.canonical import Frame
    from gravegis.science.condition.bandwidth import BandwidthChoice
    from gravegis.science.condition.density import RateMap
    from gravegis.site import Raster, Site


AUTO = "auto"
OVERALL = "overall"


def _bandwidth(typed: str) -> str:
    """Return a distance in metres as text, or auto; refuses rules of thumb."""
    from gravegis import units
    from gravegis.science.condition.bandwidth import refuse_rule_of_thumb

    if typed.strip().casefold() in (AUTO, "0", "0.0"):
        return AUTO
    refuse_rule_of_thumb(typed)
    value = units.parse(typed, "m")
    if not 0 < value <= 200:
        raise ValueError("outside 0 to 200 m")
    return f"{value:g}"


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatmapSettings:
    """What counts as damaged, and how smooth the map is."""

    harm: str = choice(
        OVERALL, "Harm to map; overall is the condition class.", options=(OVERALL, *harms()), source="own choice"
    )
    least_class_n: int = whole(
        2,
        "Condition class, or severity of the harm, from which a stone counts as damaged.",
        low=1,
        high=3,
        source="own choice: moderate and worse",
    )
    bandwidth_m: str = text(
        AUTO, "Standard deviation of the kernel; auto: the one of a fixed list that best predicts left-out stones.",
        form="a distance such as 6 m, or auto", reader=_bandwidth,
        source="leave-one-out likelihood over a fixed list: own rule; Scott's and Silverman's rules are refused",
    )  # fmt: skip
    cell_m: float = number(
        0.5, "Side of a cell.", unit="m", low=0.05, high=50, source="own choice: about half the width of a headstone"
    )
    least_stones_n: int = whole(
        10, "Cells with fewer effective stones behind them are masked.", low=1, high=1000,
        source="own rule; effective number (sum of weights squared over sum of squared weights), own derivation",
    )  # fmt: skip


def run(site: Site, settings: HeatmapSettings, job: Job) -> Result:
    """Map the share of damaged stones, not only how many: a ratio of two kernel sums.

    Only stones whose condition is recorded count; a stone nobody looked at is neither damaged nor sound. Cells
    with too few stones behind them are masked. When no bandwidth predicts left-out stones better than one share
    for the whole ground, the notes say so: the map then shows no more than that one share.
    """
    import numpy as np

    from gravegis.layers.harms import grades_of
    from gravegis.layers.stones import places_m
    from gravegis.science.condition import bandwidth, density

    stones, places = site["stones"], places_m(site["stones"])
    grade = grades_of(stones, site.get("findings"), site["stone_condition"]).grade_of(settings.harm)
    known = ~np.isnan(grade) & np.isfinite(places).all(axis=1)
    xy, damaged = places[known], grade[known] >= settings.least_class_n
    if known.sum() < settings.least_stones_n:
        job.progress(1.0, "too few stones")
        few = f"Fewer than {settings.least_stones_n} stones have a recorded condition ({int(known.sum())})"
        return Result(layers={"share_areas": _areas({}, site)}, grids={}, notes=(f"{few}: no heat map.",))
    job.progress(0.1, "choosing how smooth the map is")
    tried = bandwidth.BANDWIDTHS_M if settings.bandwidth_m == AUTO else (settings.bandwidth_m,)
    best = bandwidth.choose_bandwidth(xy, damaged, tried)
    bandwidth_m = best.bandwidth_m
    job.progress(0.6, "drawing the map")
    rate = density.share_of_damaged(
        xy,
        damaged,
        bandwidth_m=bandwidth_m,
        cell_m=min(settings.cell_m, bandwidth_m / density.COARSEST),
        least_stones=settings.least_stones_n,
    )
    job.progress(0.95, "summing up")
    grids = _grids(rate, settings)
    return Result(
        layers={"share_areas": _areas(grids, site)},
        grids=grids,
        notes=_notes(rate, best, damaged, settings),
    )


def _grids(rate: RateMap, settings: HeatmapSettings) -> dict[str, Raster]:
    import numpy as np

    from gravegis.site import Raster

    shown = np.isfinite(rate.share)
    if not shown.any():
        return {}
    # the kernel reaches far beyond the last stone: only what holds a shown cell is kept
    south, east = (np.flatnonzero(shown.any(axis=axis)) for axis in (1, 0))
    rows, columns = slice(south[0], south[-1] + 1), slice(east[0], east[-1] + 1)
    grid = rate.grid
    left_m, top_m = grid.x0_m + east[0] * grid.cell_m, grid.y0_m - south[0] * grid.cell_m
    kernel = f"kernel of {rate.bandwidth_m:g} m"
    clear = np.where(shown, rate.clear, np.nan)
    layers: dict[str, tuple[npt.NDArray[np.float64], str, str]] = {
        "share_damaged": (rate.share, f"share of stones with {_what(settings)}, {kernel}", "1"),
        "effective_stones": (rate.effective_n, f"stones behind each cell, {kernel}", "1"),
        "stone_density": (rate.density_all * PER_ARE, f"stones looked at per 100 m2, {kernel}", "1"),
        "share_clear": (clear, "1 where the share differs clearly from that of the whole ground", "1"),
    }
    return {
        name: Raster(values[rows, columns].copy(), left_m, top_m, grid.cell_m, words, unit)
        for name, (values, words, unit) in layers.items()
    }


PER_ARE = 100.0  # m2
CLASSES_FRAC = (0.0, 0.2, 0.4, 0.6, 0.8, 1.0)  # limits of the classes of the map: own choice


def _areas(grids: dict[str, Raster], site: Site) -> Frame:
    """Return the classes of the map as areas, the same on paper and in a map program."""
    import geopandas as gpd

    from gravegis.layers.canonical import empty
    from gravegis.science.condition.areas import class_areas

    grid = grids.get("share_damaged")
    if grid is None:
        return empty("share_areas", site.info.crs or None)
    made = class_areas(grid.values, CLASSES_FRAC, left_m=grid.left_m, top_m=grid.top_m, cell_m=grid.cell_m)
    return gpd.GeoDataFrame(
        {
            "share_area_id": [f"A{number:03d}" for number in range(1, len(made) + 1)],
            "from_frac": [CLASSES_FRAC[one] for one, _ in made],
            "to_frac": [CLASSES_FRAC[one + 1] for one, _ in made],
            "area_m2": [area.area for _, area in made],
        },
        geometry=[area for _, area in made], crs=site.info.crs,
    )  # fmt: skip


def _what(settings: HeatmapSettings) -> str:
    if settings.harm == OVERALL:
        return f"condition class {settings.least_class_n} or worse"
    return f"{settings.harm} of severity {settings.least_class_n} or more"


def _notes(
    rate: RateMap, best: BandwidthChoice, damaged: npt.NDArray[np.bool_], settings: HeatmapSettings
) -> tuple[str, ...]:
    import numpy as np

    if not np.isfinite(rate.share).any():
        return ("Nowhere do enough recorded stones stand together: no heat map.",)
    looked = "whose condition is recorded" if settings.harm == OVERALL else f"looked at for {settings.harm}"
    whole_ground = f"{damaged.mean():.0%} of the {damaged.size} stones {looked} have {_what(settings)}."
    if best.beats_constant:
        words = (
            f"The map predicts left-out stones better than that one figure (kernel {rate.bandwidth_m:g} m): "
            "harm gathers in places. It does not say why."
        )
    else:
        words = (
            f"With a kernel of {rate.bandwidth_m:g} m the map predicts left-out stones no better than that one figure: "
            "differences on it may be chance, read it as one share for the whole ground."
        )
    return whole_ground, words


ANALYSIS = Analysis(
    name="heatmap",
    title="Share of damaged stones",
    question="Where does damage gather?",
    needs={"stones": ("stone_id", "geometry"), "stone_condition": ("stone_id", "overall")},
    uses={
        "stones": {"quick_score": ""},
        "findings": {"stone_id": "", "pattern": "", "severity": "", "found_on": ""},
    },
    gives={
        "share_areas": {
            "share_area_id": "area",
            "from_frac": "lower limit of the share of damaged stones",
            "to_frac": "upper limit of the share",
            "area_m2": "its size",
        }
    },
    gives_grids={
        "share_damaged": "share of stones in the chosen class or worse, NaN where too few stones speak",
        "effective_stones": "effective number of stones behind each cell",
        "stone_density": "stones looked at per 100 m2",
        "share_clear": "1 where the share differs clearly from that of the whole ground, 0 where it may be chance",
    },
    settings=HeatmapSettings,
    run=run,
    version=2,
    tables=("harms", "patterns"),
    facts=("crs",),
    sources=(
        "ratio of Gaussian kernel sums on a linearly binned grid",
        "mask by the effective number of stones: own derivation",
        "bandwidth by leave-one-out binomial log-likelihood over a fixed list: own rule",
    ),
)
