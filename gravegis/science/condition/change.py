"""Two surveys of the same stones: what got better or worse, and is it more than two people looking twice.

Where nothing changed and both surveys err alike, a step from grade a to grade b is as likely as one from b to a. So
steps up and down are a coin's throws, and an exact sign test of them asks nothing of how good the surveyors are;
Bowker's test of symmetry (1948, date from memory) asks it of each pair of grades. It cannot tell a true change that
goes both ways alike from noise: for that the share of stones graded differently is held against the same share among
stones that were surveyed twice on purpose, where there are such.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.spatial import cKDTree
from scipy.stats import binomtest, chi2, fisher_exact

from gravegis.errors import LayerError, SettingError
from gravegis.science.condition.association import Estimate, wilson
from gravegis.science.condition.places import positions

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike, NDArray

__all__ = ["CHANGES", "Change", "compare_surveys", "match_by_id", "match_by_place"]

CHANGES = ("same", "better", "worse", "not graded", "lost", "new")
"""What can be said of a stone; arrays hold the place in this list. Lost: in the earlier survey only."""

SAME, BETTER, WORSE, NOT_GRADED, LOST, NEW = range(6)


@dataclass(frozen=True, slots=True)
class Change:
    """Two surveys compared.

    `of_earlier` and `of_later` hold the change of each stone of either survey. `table` counts stones by grade then
    (rows) and now (columns). `sign_p` tests steps up against steps down, `symmetry_p` each pair of grades.
    `changed` is the share of stones graded differently; `noise` the same share among stones surveyed twice on
    purpose, and `beyond_noise_p` the one-sided p that more changed than that; NaN without such stones.
    """

    of_earlier: NDArray[np.int8]
    of_later: NDArray[np.int8]
    table: NDArray[np.int64]
    better_n: int
    worse_n: int
    compared_n: int
    sign_p: float
    symmetry_p: float
    changed: Estimate
    noise: Estimate
    beyond_noise_p: float


def match_by_id(earlier: Sequence[str], later: Sequence[str]) -> NDArray[np.intp]:
    """Return pairs (row of the earlier, row of the later survey) of equal ids; an id that stands twice is refused."""
    places: list[dict[str, int]] = []
    for when, ids in (("earlier", earlier), ("later", later)):
        place = {one: row for row, one in enumerate(ids)}
        if len(place) != len(ids):
            raise LayerError(f"an id stands twice in the {when} survey", remedy="Give each stone its own id.")
        places.append(place)
    rows = [(row, places[1][one]) for one, row in places[0].items() if one in places[1]]
    return np.array(rows, dtype=np.intp).reshape(-1, 2)


def match_by_place(earlier_m: ArrayLike, later_m: ArrayLike, *, within_m: float) -> NDArray[np.intp]:
    """Return pairs of stones each of which is the nearest to the other, at most `within_m` apart.

    Stones without a position, and those as near to two others, stay without a partner: nothing is guessed.
    """
    if not (math.isfinite(within_m) and within_m > 0):
        raise SettingError(f"within_m is {within_m:g}", remedy="Give a distance above 0 m.")
    one, other = positions(earlier_m), positions(later_m)
    rows = [np.flatnonzero(np.isfinite(xy).all(axis=1)) for xy in (one, other)]
    if not (rows[0].size and rows[1].size):
        return np.empty((0, 2), dtype=np.intp)
    first, second = one[rows[0]], other[rows[1]]
    forth, back = _nearest(first, second, within_m), _nearest(second, first, within_m)
    mutual = [(row, to) for row, to in enumerate(forth.tolist()) if to >= 0 and back[to] == row]
    return np.array([(rows[0][a], rows[1][b]) for a, b in mutual], dtype=np.intp).reshape(-1, 2)


def _nearest(of: NDArray[np.float64], among: NDArray[np.float64], within_m: float) -> NDArray[np.intp]:
    """Return the nearest of the others, -1 where none is within reach or two are as near."""
    found: Any = cKDTree(among).query(of, k=[1, 2])
    gap, to = found
    clear = (gap[:, 0] <= within_m) & (gap[:, 1] > gap[:, 0])
    return np.where(clear, to[:, 0], -1).astype(np.intp)


def compare_surveys(
    earlier: ArrayLike, later: ArrayLike, pairs: ArrayLike, *, twice: tuple[int, int] | None = None
) -> Change:
    """Compare grades of matched stones.

    Parameters
    ----------
    earlier, later
        Grades of each survey, whole numbers from 0 (sound) up; NaN where not graded.
    pairs
        Matched rows, shape ``(stones, 2)``, as `match_by_id` or `match_by_place` give them.
    twice
        Of stones surveyed twice on purpose with nothing done between: how many were graded differently, and how many
        there are.

    Raises
    ------
    LayerError
        When a grade is no whole number of 0 or more, or a row stands in two pairs.
    """
    then, now = (_grades(values) for values in (earlier, later))
    pair = np.asarray(pairs, dtype=np.intp).reshape(-1, 2)
    if any(len(np.unique(pair[:, side])) != len(pair) for side in (0, 1)):
        raise LayerError("a stone stands in two pairs", remedy="Match each stone once.")
    a, b = then[pair[:, 0]], now[pair[:, 1]]
    graded = ~(np.isnan(a) | np.isnan(b))
    step = np.select([~graded, b < a, b > a], [NOT_GRADED, BETTER, WORSE], SAME).astype(np.int8)
    of_earlier, of_later = np.full(then.size, LOST, dtype=np.int8), np.full(now.size, NEW, dtype=np.int8)
    of_earlier[pair[:, 0]], of_later[pair[:, 1]] = step, step
    better_n, worse_n, compared_n = int((step == BETTER).sum()), int((step == WORSE).sum()), int(graded.sum())
    table = _table(a[graded].astype(np.intp), b[graded].astype(np.intp))
    sign_p = binomtest(better_n, better_n + worse_n).pvalue if better_n + worse_n else math.nan
    noise, beyond_p = wilson(0, 0), math.nan
    if twice is not None and twice[1] > 0:
        noise = wilson(*twice)
        moved = better_n + worse_n
        cells = [[moved, compared_n - moved], [twice[0], twice[1] - twice[0]]]
        beyond_p = float(fisher_exact(np.array(cells), alternative="greater").pvalue)
    return Change(
        of_earlier, of_later, table, better_n, worse_n, compared_n, float(sign_p), _bowker(table),
        wilson(better_n + worse_n, compared_n), noise, beyond_p,
    )  # fmt: skip


def _grades(values: ArrayLike) -> NDArray[np.float64]:
    grades = np.asarray(values, dtype=np.float64).reshape(-1)
    known = grades[~np.isnan(grades)]
    if ((known < 0) | (known != np.floor(known))).any():
        raise LayerError("a grade is no whole number of 0 or more", where="surveys")
    return grades


def _table(then: NDArray[np.intp], now: NDArray[np.intp]) -> NDArray[np.int64]:
    size = int(max(then.max(initial=0), now.max(initial=0))) + 1
    return np.bincount(then * size + now, minlength=size * size).reshape(size, size).astype(np.int64)


def _bowker(table: NDArray[np.int64]) -> float:
    """Return the p of the test of symmetry over pairs of grades that occur; NaN without any."""
    up = np.triu_indices(len(table), 1)
    forth, back = table[up].astype(np.float64), table.T[up].astype(np.float64)
    there = forth + back > 0
    if not there.any():
        return math.nan
    statistic = ((forth - back)[there] ** 2 / (forth + back)[there]).sum()
    return float(chi2.sf(statistic, int(there.sum())))
