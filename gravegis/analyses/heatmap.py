"""Share of damaged stones as a grid, masked where too few stones speak."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from gravegis.contract import Analysis, Job, Result, number, whole

if TYPE_CHECKING:
    from gravegis.science.condition.density import BandwidthChoice, RateMap
    from gravegis.site import Raster, Site


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatmapSettings:
    """What counts as damaged, and how smooth the map is."""

    least_class_n: int = whole(
        2,
        "Condition class from which a stone counts as damaged.",
        low=1,
        high=3,
        source="own choice: moderate and worse",
    )
    bandwidth_m: float = number(
        0.0,
        "Standard deviation of the kernel; 0 takes the one of a fixed list that best predicts left-out stones.",
        unit="m", low=0, high=200, source="leave-one-out likelihood over a fixed list: own rule",
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

    from gravegis.layers.stones import places_m
    from gravegis.science.condition import density

    stones = site["stones"]
    condition = site["stone_condition"].set_index("stone_id").reindex(stones["stone_id"])
    overall = condition["overall"].to_numpy(dtype="float64", na_value=np.nan)
    known = ~np.isnan(overall)
    xy, damaged = places_m(stones)[known], overall[known] >= settings.least_class_n
    if known.sum() < settings.least_stones_n:
        job.progress(1.0, "too few stones")
        few = f"Fewer than {settings.least_stones_n} stones have a recorded condition ({int(known.sum())})"
        return Result(grids={}, notes=(f"{few}: no heat map.",))
    job.progress(0.1, "choosing how smooth the map is")
    tried = (settings.bandwidth_m,) if settings.bandwidth_m else density.BANDWIDTHS_M
    choice = density.choose_bandwidth(xy, damaged, tried)
    bandwidth_m = choice.bandwidth_m
    job.progress(0.6, "drawing the map")
    rate = density.share_of_damaged(
        xy,
        damaged,
        bandwidth_m=bandwidth_m,
        cell_m=min(settings.cell_m, bandwidth_m / density.COARSEST),
        least_stones=settings.least_stones_n,
    )
    job.progress(0.95, "summing up")
    return Result(grids=_grids(rate, settings), notes=_notes(rate, choice, float(damaged.mean()), settings))


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
    words = f"share of stones in condition class {settings.least_class_n} or worse, kernel of {rate.bandwidth_m:g} m"
    few = f"stones behind each cell, kernel of {rate.bandwidth_m:g} m"
    return {
        "share_damaged": Raster(rate.share[rows, columns].copy(), left_m, top_m, grid.cell_m, words, "1"),
        "effective_stones": Raster(rate.effective_n[rows, columns].copy(), left_m, top_m, grid.cell_m, few, "1"),
    }


def _notes(rate: RateMap, choice: BandwidthChoice, share: float, settings: HeatmapSettings) -> tuple[str, ...]:
    import numpy as np

    if not np.isfinite(rate.share).any():
        return ("Nowhere do enough recorded stones stand together: no heat map.",)
    whole_ground = f"{share:.0%} of the recorded stones are in class {settings.least_class_n} or worse."
    if choice.beats_constant:
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
    uses={},
    gives={},
    gives_grids={
        "share_damaged": "share of stones in the chosen class or worse, NaN where too few stones speak",
        "effective_stones": "effective number of stones behind each cell",
    },
    settings=HeatmapSettings,
    run=run,
    version=1,
    tables=(),
    facts=(),
    sources=(
        "ratio of Gaussian kernel sums on a linearly binned grid",
        "mask by the effective number of stones: own derivation",
        "bandwidth by leave-one-out binomial log-likelihood over a fixed list: own rule",
    ),
)
