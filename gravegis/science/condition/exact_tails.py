"""The exact law of a sum of k grades drawn without replacement, and its tails.

The number of stones of each grade among the k follows the multivariate hypergeometric law. It is that of independent
binomial counts of one common success rate, given that they add up to k; the rate cancels, so any will do and one near
k over n keeps the figures in range. The counts of all grades but the lowest are convolved into a table over (stones
taken, sum); the lowest grade fills up to k. Own derivation from the textbook laws.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.stats import binom

from gravegis.errors import SettingError

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Counts = NDArray[np.int64]

__all__ = ["MOST_NEIGHBOURS", "exact_tails", "smallest_two_sided", "sum_law"]

MOST_NEIGHBOURS = 600
"""Most neighbours of a stone: own limit, for time and memory; more than that is no longer a neighbourhood."""

TINY = float(np.finfo(np.float64).tiny)
"""A tail that is too small for the machine is given as this, never as 0."""


def exact_tails(grade: Counts, total: Counts, count: Counts) -> tuple[Floats, Floats]:
    """Return, per stone, the chance of a sum at least and at most as large as that of its neighbours.

    Parameters
    ----------
    grade
        Grade of each stone, whole numbers.
    total, count
        Sum of the grades of its neighbours, and how many they are.

    Returns
    -------
    up, low
        Both tails include the observed sum; 1 for stones without neighbours.

    Raises
    ------
    SettingError
        When a stone has more than 600 neighbours.
    """
    up, low = np.ones(len(grade)), np.ones(len(grade))
    least = int(grade.min()) if grade.size else 0
    shifted = total - least * count
    for rows, law, place in _laws(grade, count):
        # summed from the small end, so that small tails keep their digits
        at_most = np.cumsum(law, axis=1)
        at_least = np.cumsum(law[:, ::-1], axis=1)[:, ::-1]
        low[rows] = np.clip(at_most[place, shifted[rows]], TINY, 1.0)
        up[rows] = np.clip(at_least[place, shifted[rows]], TINY, 1.0)
    return up, low


def smallest_two_sided(grade: Counts, count: Counts) -> float:
    """Return the smallest two-sided p that any stone with neighbours could get, however the grades were dealt."""
    least = 1.0
    for _, law, _ in _laws(grade, count):
        for row in law:
            possible = np.flatnonzero(row)
            ends = row[possible[0]], row[possible[-1]]
            least = min(least, 2.0 * float(min(ends)))
    return least


def _laws(grade: Counts, count: Counts) -> Iterator[tuple[NDArray[np.intp], Floats, NDArray[np.intp]]]:
    """Yield stones that share own grade and a range of neighbours, the laws for them, and the law of each stone."""
    most = int(count.max(initial=0))
    if most > MOST_NEIGHBOURS:
        raise SettingError(
            f"a stone has {most} neighbours, more than {MOST_NEIGHBOURS}",
            remedy="Take a shorter band, or look for stones that share one position.",
        )
    levels, at_level, level_n = np.unique(grade, return_inverse=True, return_counts=True)
    scores = levels - levels[0]
    for own in range(len(levels)):
        others = level_n.copy()
        others[own] -= 1
        mine = at_level.reshape(-1) == own
        low = 1
        # one success rate serves neighbours from k to 2k, else the figures would run out of range
        while low <= most:
            rows = np.flatnonzero(mine & (count >= low) & (count < 2 * low))
            if rows.size:
                sizes, place = np.unique(count[rows], return_inverse=True)
                yield rows, sum_law(others, scores, sizes), place.reshape(-1)
            low *= 2


def sum_law(others: Counts, scores: Counts, sizes: Counts) -> Floats:
    """Return the law of the sum of k grades drawn from the others without replacement.

    Parameters
    ----------
    others
        How many stones there are of each grade, shape ``(grades,)``.
    scores
        The grades, rising from 0, shape ``(grades,)``.
    sizes
        The k asked for, shape ``(sizes,)``; within a factor of about two of each other.

    Returns
    -------
    Chance of each sum, shape ``(sizes, largest sum + 1)``; rows add up to 1.
    """
    most, n = int(sizes.max()), int(others.sum())
    rate = 0.75 * most / n
    taken = np.zeros((most + 1, int(scores[-1]) * most + 1))
    taken[0, 0] = 1.0
    reach = 0  # stones taken so far, at most
    for score, stones_n in zip(scores[1:].tolist(), others[1:].tolist(), strict=True):
        chance = binom.pmf(np.arange(min(most, stones_n) + 1), stones_n, rate)
        wider = np.zeros_like(taken)
        for k, weight in enumerate(chance.tolist()):
            rows = min(reach, most - k) + 1
            columns = taken.shape[1] - k * score
            wider[k : k + rows, k * score :] += weight * taken[:rows, :columns]
        taken, reach = wider, min(most, reach + stones_n)
    rest = sizes[:, None] - np.arange(most + 1)[None, :]
    fill = np.where(rest >= 0, binom.pmf(np.maximum(rest, 0), int(others[0]), rate), 0.0)
    law: Floats = fill @ taken
    return np.asarray(law / law.sum(axis=1, keepdims=True), dtype=np.float64)
