"""Where harm gathers more than chance would have it: Getis-Ord Gi* with exact conditional permutation p-values.

The grade of a stone stays, those of all others are dealt out anew: the sum over its k neighbours is then that of k
cards drawn without replacement. Its law depends on k and on the stone's own grade only, and is worked out exactly
(see `exact_tails`), so that no simulation is needed, ties are counted whole, and the same map gives the same p.

z is that of Ord & Getis 1995 (Geographical Analysis 27), weight 1 within the band, the stone itself included; their
printed formula from memory, its figures equal to another implementation (tests).

Two-sided p is twice the smaller tail, at most 1, the observed sum in both tails. Over the stones that have
neighbours the share of false discoveries is held by Benjamini & Hochberg 1995, or without any condition on how the
tests hang together by Benjamini & Yekutieli 2001.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.spatial import cKDTree
from scipy.stats import false_discovery_control

from gravegis.errors import LayerError, SettingError
from gravegis.science.condition.autocorrelation import moran_of_sums
from gravegis.science.condition.exact_tails import exact_tails
from gravegis.science.condition.places import positions
from gravegis.science.condition.rims import near_distance, on_the_rim

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from gravegis.science.condition.autocorrelation import Moran

    Floats = NDArray[np.float64]
    Counts = NDArray[np.int64]

__all__ = [
    "ALPHA",
    "BESIDE",
    "COLD",
    "HOT",
    "LEAST_STONES",
    "NOT_SIGNIFICANT",
    "NO_NEIGHBOURS",
    "STATES",
    "TOO_FEW",
    "HotSpots",
    "choose_band",
    "find_hot_spots",
    "neighbour_sums",
    "neighbours_wanted",
    "plain_neighbour_sums",
    "z_scores",
]

STATES = ("not significant", "hot", "cold", "no neighbours", "too few", "beside")
"""What can be said of a stone; arrays hold the place in this list. Beside: q is small because a hot or cold place is
near, right around the stone the harm is not that of the place (see `rims`)."""

NOT_SIGNIFICANT, HOT, COLD, NO_NEIGHBOURS, TOO_FEW, BESIDE = range(6)

ALPHA = 0.05
"""Share of false discoveries held: common practice."""

MOST_WANTED, FEWEST_WANTED, WANTED_SHARE = 40, 8, 0.1
"""Neighbours wanted for half of the stones: a tenth of all, from 8 to 40. Own rule, from a trial on invented ground
(12 maps each of 3,000 stones, two round patches of 12 m harmed at 0.8, 0.1 around, grades 1 to 3 alike): with 15 about
four in five stones of the patches were found, with 30 93 % and 10 % of the flagged lay outside, with 40 95 and 13 %,
with 45 96 and 16 %."""

LEAST_STONES = 30
"""Fewest stones of a map: own rule; with 20 stones of which 10 % are harmed nothing could stand out."""

MOST_TRIED = 4_000
"""Stones whose distances choose the band, evenly taken from west to east: own limit, for time."""

MOST_CELLS = 4_000_000
"""Cells of the search grid; a larger ground gets larger cells."""


@dataclass(frozen=True, slots=True)
class HotSpots:
    """One entry per stone; `band_m` is the distance within which stones count as neighbours.

    `z`, `p` and `q` are NaN where the state is "no neighbours" or "too few". `least_p` is the smallest two-sided p
    any stone of the map could have got; `why_too_few` says in words why nothing can be found, empty otherwise.
    `alike` is Moran's I of the whole map: are neighbours alike at all.
    """

    band_m: float
    z: Floats
    p: Floats
    q: Floats
    neighbours_n: Counts
    state: NDArray[np.int8]
    least_p: float
    why_too_few: str
    alike: Moran


def neighbours_wanted(stones_n: int) -> int:
    """Return how many neighbours half of the stones should have: a tenth of all, from 8 to 40."""
    return min(max(round(WANTED_SHARE * stones_n), FEWEST_WANTED), MOST_WANTED)


def choose_band(xy_m: ArrayLike, *, least_neighbours: int | None = None, step_m: float = 0.5) -> float:
    """Return the shortest whole multiple of `step_m` within which half of the stones have enough neighbours.

    Enough is `least_neighbours`, or what `neighbours_wanted` says. Large sites are judged by 4,000 of their stones.
    NaN where there are no more stones than that. [m]
    """
    xy = positions(xy_m)
    enough = neighbours_wanted(len(xy)) if least_neighbours is None else least_neighbours
    if enough < 1 or not step_m > 0:
        raise SettingError(f"least_neighbours {enough}, step_m {step_m:g}", remedy="Give numbers above 0.")
    if len(xy) <= enough:
        return math.nan
    order = np.lexsort((xy[:, 1], xy[:, 0]))
    tried = xy[order[:: math.ceil(len(xy) / MOST_TRIED)]]
    # the nearest of all is the stone itself
    far_m = np.asarray(cKDTree(xy).query(tried, k=[enough + 1])[0]).reshape(-1)
    return max(1, math.ceil(round(float(np.median(far_m)) / step_m, 9))) * step_m


def neighbour_sums(xy_m: Floats, grade: Counts, band_m: float) -> tuple[Counts, Counts]:
    """Return the sum of the grades of the neighbours of each stone, itself left out, and their number."""
    if len(xy_m) == 0:
        return np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64)
    try:
        from gravegis.science.condition import kernels
    except ImportError:
        return plain_neighbour_sums(xy_m, grade, band_m)
    span = xy_m.max(axis=0) - xy_m.min(axis=0)
    # half a percent more than the band: rounding must never put a neighbour two cells away
    side = max(band_m * 1.005, math.sqrt(float(span[0] * span[1]) / MOST_CELLS), float(span.max()) / MOST_CELLS)
    nx, ny = (int(one / side) + 1 for one in span)
    total, count = kernels.neighbour_sums(np.ascontiguousarray(xy_m), grade, band_m, side, nx, ny)
    return total, count


def plain_neighbour_sums(xy_m: Floats, grade: Counts, band_m: float) -> tuple[Counts, Counts]:
    """Return what `neighbour_sums` gives, without a compiled loop."""
    tree, n = cKDTree(xy_m), len(xy_m)
    total, count = np.zeros(n, dtype=np.int64), np.zeros(n, dtype=np.int64)
    for first in range(0, n, 20_000):
        some = slice(first, first + 20_000)
        # a little wider, then decided by the same squared distances as the compiled loop
        near: Any = tree.query_ball_point(xy_m[some], band_m * (1 + 1e-9), return_sorted=True)
        sizes = np.array([len(one) for one in near])
        here = np.repeat(np.arange(n)[some], sizes)
        there = np.concatenate([np.asarray(one, dtype=np.intp) for one in near])
        gap = xy_m[there] - xy_m[here]
        kept = (gap[:, 0] * gap[:, 0] + gap[:, 1] * gap[:, 1] <= band_m * band_m) & (here != there)
        count += np.bincount(here[kept], minlength=n)
        total += np.bincount(here[kept], weights=grade[there[kept]], minlength=n).astype(np.int64)
    return total, count


def z_scores(grade: ArrayLike, total: Counts, count: Counts) -> Floats:
    """Return Gi* of each stone: the sum over itself and its neighbours, less its mean, over its standard deviation.

    NaN where all grades are equal or all stones are neighbours.
    """
    values = np.asarray(grade, dtype=np.float64)
    n, weight = len(values), np.asarray(count, dtype=np.float64) + 1.0
    # from sums of whole numbers, which are exact: the order of the stones makes no difference
    first, second = float(values.sum()), float((values * values).sum())
    mean, spread = first / max(n, 1), math.sqrt(max(n * second - first * first, 0.0)) / max(n, 1)
    scale = spread * np.sqrt(np.maximum(n * weight - weight**2, 0.0) / max(n - 1, 1))
    z = np.full(n, np.nan)
    np.divide(total + values - mean * weight, scale, out=z, where=scale > 0)
    return z


def find_hot_spots(
    xy_m: ArrayLike,
    grade: ArrayLike,
    *,
    band_m: float,
    alpha: float = ALPHA,
    least_stones: int = LEAST_STONES,
    strict: bool = False,
) -> HotSpots:
    """Return z, exact p, q and state of each stone.

    Parameters
    ----------
    xy_m
        Positions of the stones that were looked at, shape ``(stones, 2)``; leave others out, they are not
        sound. [m]
    grade
        Grade of the harm, whole numbers such as 0 to 3.
    band_m
        Distance within which stones are neighbours, the distance itself included; see `choose_band`. [m]
    alpha
        Share of false discoveries held.
    least_stones
        With fewer stones nothing is said.
    strict
        Hold the share by Benjamini & Yekutieli, which asks nothing of how the tests hang together.

    Raises
    ------
    SettingError
        When a setting makes no sense, or the band joins more stones than `exact_tails` takes.
    LayerError
        When shapes differ, a position is not finite, or a grade is not a whole number.
    """
    xy, values = _checked(xy_m, grade, band_m, alpha)
    n = len(values)
    total, count = neighbour_sums(xy, values, band_m)
    nothing, up, low = np.full(n, np.nan), np.ones(n), np.ones(n)
    why, least_p = "", math.nan
    alike = moran_of_sums(values, total, count)
    alone = count == 0
    if n < least_stones:
        why = f"{n} stones were looked at, fewer than {least_stones}"
    elif alone.all():
        why = f"no stone has another within {band_m:g} m"
    elif np.all(values == values[0]):
        why = f"all {n} stones have grade {values[0]}"
    else:
        tails = exact_tails(values, total, count)
        up, low, least_p = tails.up, tails.low, tails.least_p
        if least_p > alpha / n:
            why = f"the smallest p that {n} stones so graded could give is {least_p:.2g}, more than {alpha:g}/{n}"
    if why:
        state = np.where(alone & (n >= least_stones), NO_NEIGHBOURS, TOO_FEW).astype(np.int8)
        return HotSpots(band_m, nothing, nothing.copy(), nothing.copy(), count, state, least_p, why, alike)
    p = np.minimum(1.0, 2.0 * np.minimum(up, low))
    p[alone] = np.nan
    q = nothing.copy()
    q[~alone] = false_discovery_control(p[~alone], method="by" if strict else "bh")
    z = np.where(alone, np.nan, z_scores(values, total, count))
    with np.errstate(invalid="ignore"):
        found = q <= alpha
    hot, cold = found & (up < low), found & (up >= low)
    beside = _beside(xy, values, band_m, count, (hot, cold))
    state = np.select([alone, beside, hot, cold], [NO_NEIGHBOURS, BESIDE, HOT, COLD], NOT_SIGNIFICANT)
    return HotSpots(band_m, z, p, q, count, state.astype(np.int8), least_p, "", alike)


def _beside(
    xy: Floats, values: Counts, band_m: float, count: Counts, places: tuple[NDArray[np.bool_], NDArray[np.bool_]]
) -> NDArray[np.bool_]:
    """Return which of the hot and of the cold stones stand on the rim of their place only."""
    near_m = near_distance(band_m, count)
    if math.isnan(near_m) or not (places[0].any() or places[1].any()):
        return np.zeros(len(values), dtype=np.bool_)
    total, near_n = neighbour_sums(xy, values, near_m)
    around, overall = (total + values) / (near_n + 1), float(values.mean())
    rims = [on_the_rim(xy, around, one, overall=overall, link_m=near_m) for one in places]
    return rims[0] | rims[1]


def _checked(xy_m: ArrayLike, grade: ArrayLike, band_m: float, alpha: float) -> tuple[Floats, Counts]:
    if not (math.isfinite(band_m) and band_m > 0):
        raise SettingError(f"band_m is {band_m:g}", remedy="Give a distance above 0 m.")
    if not 0 < alpha < 1:
        raise SettingError(f"alpha is {alpha:g}", remedy="Give a share between 0 and 1.")
    xy, values = positions(xy_m), np.asarray(grade, dtype=np.float64).reshape(-1)
    if len(xy) != values.size:
        raise LayerError(f"{len(xy)} positions for {values.size} stones", where="stones")
    lost = np.flatnonzero(~np.isfinite(xy).all(axis=1))
    if lost.size:
        raise LayerError(f"{lost.size} stones have no position", where=f"stones[{lost[0]}]")
    odd = np.flatnonzero(~np.isfinite(values) | (values != np.floor(values)))
    if odd.size:
        raise LayerError(
            f"{odd.size} grades are not whole numbers, the first {values[odd[0]]:g}",
            where=f"stones[{odd[0]}]",
            remedy="Leave out stones nobody looked at.",
        )
    return xy, values.astype(np.int64)
