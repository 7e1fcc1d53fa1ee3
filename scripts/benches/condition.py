"""Hot spots against esda's permutations, a million stones, and a rate map against scipy's kernel estimate."""

from __future__ import annotations

import warnings
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.stats import gaussian_kde

from gravegis.science.condition.density import share_of_damaged
from gravegis.science.condition.exact_tails import exact_tails
from gravegis.science.condition.hotspots import find_hot_spots, neighbour_sums, z_scores
from scripts.benches.figure import Figure, absent, check, timed

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from numpy.typing import NDArray

    from gravegis.science.condition.hotspots import HotSpots
    from scripts.benches.figure import Work

    Floats = NDArray[np.float64]
    Counts = NDArray[np.int64]

BAND_M = 6.0
PER_STONE_M2 = 3.2
PERMUTATIONS = 999
KERNEL_M, CELL_M = 6.0, 0.5
CELLS_TRIED = 400
REPEATS = 3
ABOUT = f"invented stones at random, one on {PER_STONE_M2:g} m2, grades 0 to 3, one stone in twenty of the worst"


def run(work: Work) -> Iterator[Figure]:
    """Give hot spots at ten thousand against esda, at a million, and the rate map of a hundred thousand."""
    yield _against_esda(work)
    yield _million(work)
    yield from _rate_map(work)


def ground(stones_n: int, seed: int) -> tuple[Floats, Counts]:
    """Return positions and grades. [m]."""
    rng = np.random.default_rng(seed)
    side_m = float(np.sqrt(stones_n * PER_STONE_M2))
    return rng.uniform(0, side_m, (stones_n, 2)), rng.choice(4, stones_n, p=[0.6, 0.2, 0.15, 0.05])


def hot_spots(xy: Floats, grade: Counts) -> HotSpots:
    """Return hot spots: neighbours, z, exact p and the correction."""
    return find_hot_spots(xy, grade, band_m=BAND_M)


def by_esda(xy: Floats, grade: Counts) -> Callable[[], Any]:
    """Return a call that gives G* of esda with simulated p-values; the neighbours are found beforehand."""
    from esda.getisord import G_Local
    from libpysal.weights import DistanceBand

    weights = DistanceBand(xy, BAND_M, binary=True, silence_warnings=True)
    values = grade.astype(np.float64)
    given = {"transform": "B", "star": True, "permutations": PERMUTATIONS, "keep_simulations": False}
    return partial(G_Local, values, weights, n_jobs=1, seed=1, **given)


def _against_esda(work: Work) -> Figure:
    name = "condition.hotspots"
    stones_n = work.rows(10_000, 300)
    xy, grade = ground(stones_n, work.seed)
    hot_spots(*ground(200, work.seed))
    with warnings.catch_warnings():
        # it announces another p by default in its next release
        warnings.simplefilter("ignore", DeprecationWarning)
        try:
            by_esda(*ground(200, work.seed))()
        except ImportError as error:
            return absent(name, str(error))
        library, other = timed(by_esda(xy, grade))
    ours, made = timed(partial(hot_spots, xy, grade))
    total, count = neighbour_sums(xy, grade, BAND_M)
    check(bool(np.allclose(z_scores(grade, total, count), other.Zs, atol=1e-9)), "z differ")
    # its p is folded and counts ties on one side only: held against the upper tail, the spread of 999 draws is 0.016
    up = exact_tails(grade, total, count).up
    folded = np.minimum(up, 1 - up)[count > 0]
    rms = float(np.sqrt(np.mean((other.p_sim[count > 0] - folded) ** 2)))
    check(rms < 0.025, f"p differ by {rms:.3f}, more than simulation would")
    check(bool(np.isfinite(made.p).any()), "no p came out")
    return Figure(
        name=name, **library.times(ours), unit="times faster", n=stones_n, target=">= 100",
        data_set=f"{ABOUT}; neighbours within {BAND_M:g} m", baseline_value=library.clock_s,
        baseline=f"esda.G_Local, {PERMUTATIONS} permutations, one job, neighbours given beforehand; seconds",
        repeats=REPEATS, note=f"ours {ours}, neighbours searched for, exact p and correction counted in",
    )  # fmt: skip


def _million(work: Work) -> Figure:
    stones_n = work.rows(1_000_000, 2_000)
    hot_spots(*ground(200, work.seed))
    xy, grade = ground(stones_n, work.seed)
    ours, made = timed(partial(hot_spots, xy, grade))
    check(bool(np.isfinite(made.p).sum() > 0.99 * stones_n), "stones are left without p")
    return Figure(
        name="condition.hotspots_million", value=ours.clock_s, processor_value=ours.processor_s, unit="s", n=stones_n,
        target="<= 2", data_set=f"{ABOUT}; neighbours within {BAND_M:g} m", repeats=REPEATS,
        note="neighbours, z, exact p and correction",
    )  # fmt: skip


def _rate_map(work: Work) -> Iterator[Figure]:
    stones_n = work.rows(100_000, 1_000)
    share_of_damaged(*_damaged(ground(500, work.seed)), bandwidth_m=KERNEL_M, cell_m=CELL_M)
    # as many cells as the checks took: half a metre over half a kilometre
    rng = np.random.default_rng(work.seed)
    raw = rng.uniform(0, 1, (stones_n, 2)) * (475.0 if not work.quick else 60.0)
    # whitened, so that scipy's kernel, which takes its shape from the data, is round
    spread = np.linalg.cholesky(np.cov(raw.T))
    width = float(np.sqrt(np.linalg.det(np.cov(raw.T))) ** 0.5)
    xy = (raw - raw.mean(axis=0)) @ np.linalg.inv(spread).T * width
    bad = rng.random(stones_n) < 0.3
    ours, made = timed(partial(share_of_damaged, xy, bad, bandwidth_m=KERNEL_M, cell_m=CELL_M))
    outside = gaussian_kde(xy.T, bw_method=KERNEL_M / width)
    rows, cols = rng.integers(0, made.grid.ny, CELLS_TRIED), rng.integers(0, made.grid.nx, CELLS_TRIED)
    places = np.vstack([made.grid.centre_x_m[cols], made.grid.centre_y_m[rows]])
    library, density = timed(partial(outside, places), 1)
    gap = float(np.abs(made.density_all[rows, cols] - density * stones_n).max() / made.density_all.max())
    check(gap <= 5e-4, f"the map is {gap:.1e} of its peak off")
    cells_n = made.share.size
    scaled_s = library.clock_s * cells_n / CELLS_TRIED
    about = f"{stones_n} invented stones on {cells_n} cells of {CELL_M:g} m, kernel {KERNEL_M:g} m"
    yield Figure(
        name="condition.rate_map", value=ours.clock_s, processor_value=ours.processor_s, unit="s", n=stones_n,
        target="<= 1", data_set=about, repeats=REPEATS,
        note=f"share, mask and what is clear; density within {gap:.1e} of its peak of scipy's at {CELLS_TRIED} cells",
    )  # fmt: skip
    yield Figure(
        name="condition.rate_map_ratio", value=scaled_s / ours.clock_s, unit="times faster", n=stones_n,
        processor_value=library.processor_s * cells_n / CELLS_TRIED / max(ours.processor_s, 1e-9), target=">= 5000",
        data_set=about, baseline_value=scaled_s,
        baseline=f"scipy gaussian_kde timed on {CELLS_TRIED} cells and scaled to all; seconds", repeats=REPEATS,
        note="one density of scipy against share, mask and what is clear",
    )  # fmt: skip


def _damaged(made: tuple[Floats, Counts]) -> tuple[Floats, NDArray[np.bool_]]:
    xy, grade = made
    return xy, grade >= 2
