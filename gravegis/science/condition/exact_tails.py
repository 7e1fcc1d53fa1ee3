"""The exact law of a sum of k grades drawn without replacement, and its tails.

The number of stones of each grade among the k follows the multivariate hypergeometric law. It is that of independent
binomial counts of one common success rate, given that they add up to k; the rate cancels, so any will do and one near
k over n keeps the figures in range. The counts of all grades but the lowest are convolved into a table over (stones
taken, sum); the lowest grade fills up to k. Own derivation from the textbook laws.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gravegis.errors import SettingError

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Counts = NDArray[np.int64]

__all__ = ["MOST_NEIGHBOURS", "Tails", "exact_tails", "sum_law"]

MOST_NEIGHBOURS = 600
"""Most neighbours of a stone: own limit, for time and memory; more than that is no longer a neighbourhood."""

SPAN, RATE = 8, 0.75
"""One success rate serves k to 8k neighbours, with a mean of three quarters of the largest: then the chance of any of
these numbers is at least about 1e-90, far from what the machine can hold."""

TINY = float(np.finfo(np.float64).tiny)
"""A tail that is too small for the machine is given as this, never as 0."""


@dataclass(frozen=True, slots=True)
class Tails:
    """Chance, per stone, of a sum at least (`up`) and at most (`low`) as large as that of its neighbours.

    Both hold the observed sum and are 1 for stones without neighbours. `least_p` is the smallest two-sided p that any
    stone with neighbours could have got, however the grades were dealt; 1 where there is none.
    """

    up: Floats
    low: Floats
    least_p: float


def exact_tails(grade: Counts, total: Counts, count: Counts) -> Tails:
    """Return both tails of each stone.

    Parameters
    ----------
    grade
        Grade of each stone, whole numbers.
    total, count
        Sum of the grades of its neighbours, and how many they are.

    Raises
    ------
    SettingError
        When a stone has more than 600 neighbours.
    """
    up, low = np.ones(len(grade)), np.ones(len(grade))
    least = int(grade.min()) if grade.size else 0
    shifted, least_p = total - least * count, 1.0
    for rows, law, place in _laws(grade, count):
        # summed from the small end, so that small tails keep their digits
        at_most = np.cumsum(law, axis=1)
        at_least = np.cumsum(law[:, ::-1], axis=1)[:, ::-1]
        low[rows] = np.clip(at_most[place, shifted[rows]], TINY, 1.0)
        up[rows] = np.clip(at_least[place, shifted[rows]], TINY, 1.0)
        least_p = min(least_p, 2.0 * _least_end(law))
    return Tails(up, low, least_p)


def _least_end(law: Floats) -> float:
    """Return the chance of the rarest of the smallest and largest sums that can come up."""
    can = law > 0
    at = np.arange(len(law))
    first, last = can.argmax(axis=1), law.shape[1] - 1 - can[:, ::-1].argmax(axis=1)
    return float(min(law[at, first].min(), law[at, last].min()))


def _laws(grade: Counts, count: Counts) -> Iterator[tuple[NDArray[np.intp], Floats, NDArray[np.intp]]]:
    """Yield stones that share own grade and a range of neighbours, the laws for them, and the law of each stone."""
    most = int(count.max(initial=0))
    if most > MOST_NEIGHBOURS:
        raise SettingError(
            f"a stone has {most} neighbours, more than {MOST_NEIGHBOURS}",
            remedy="Take a shorter band, or look for stones that share one position.",
        )
    levels = np.array(sorted(set(grade.tolist())), dtype=np.int64)
    rows_of = [np.flatnonzero(grade == level) for level in levels.tolist()]
    level_n = np.array([rows.size for rows in rows_of], dtype=np.int64)
    low = 1
    while low <= most:
        chances = _Chances(level_n, min(most, SPAN * low - 1))
        for own, rows in enumerate(rows_of):
            near = count[rows]
            kept = (near >= low) & (near < SPAN * low)
            if kept.any():
                there = np.bincount(near[kept], minlength=1)
                sizes = np.flatnonzero(there)
                place = (np.cumsum(there > 0) - 1)[near[kept]]
                yield rows[kept], _law(chances.without(own), levels - levels[0], sizes), place
        low *= SPAN


class _Chances:
    """Binomial chances of 0, 1, 2 ... stones of each grade, at one success rate for all."""

    def __init__(self, level_n: Counts, most: int) -> None:
        self._level_n, self._most = level_n.tolist(), most
        self._rate = RATE * most / max(sum(self._level_n) - 1, 1)
        self._all = [self._of(one) for one in self._level_n]

    def _of(self, stones_n: int) -> Floats:
        """Return them up to a factor, which cancels: each from the one before, so that no digits are lost."""
        k = np.arange(self._most, dtype=np.float64)
        steps = np.maximum(stones_n - k, 0.0) / (k + 1.0) * (self._rate / (1.0 - self._rate))
        start = math.exp(max(stones_n * math.log1p(-self._rate), -600.0))
        return np.cumprod(np.concatenate([[start], steps]))

    def without(self, own: int) -> list[Floats]:
        """Return the chances when one stone of a grade is taken away."""
        less = self._of(self._level_n[own] - 1)
        return [less if one == own else chance for one, chance in enumerate(self._all)]


def _law(chances: Sequence[Floats], scores: Counts, sizes: NDArray[np.intp]) -> Floats:
    """Return the law of the sum of so many grades; see `sum_law`."""
    most = int(sizes.max())
    taken = np.zeros((most + 1, int(scores[-1]) * most + 1))
    _place_two(taken, chances, scores)
    for lower, score, chance in zip(scores[2:-1].tolist(), scores[3:].tolist(), chances[3:], strict=True):
        wider = np.zeros_like(taken)
        for k, weight in enumerate(chance[: most + 1].tolist()):
            # of so many stones below this grade the sum can be no larger
            width = lower * (most - k) + 1
            wider[k:, k * score : k * score + width] += weight * taken[: most + 1 - k, :width]
        taken = wider
    rest = sizes[:, None] - np.arange(most + 1)[None, :]
    fill = np.where(rest >= 0, chances[0][np.maximum(rest, 0)], 0.0)
    law = fill @ taken
    return np.asarray(law / law.sum(axis=1, keepdims=True), dtype=np.float64)


def _place_two(taken: Floats, chances: Sequence[Floats], scores: Counts) -> None:
    """Fill in the second and third grade: how many of each there are follows from their number and their sum."""
    most = len(taken) - 1
    if len(scores) < 2:
        taken[0, 0] = 1.0
        return
    one = np.arange(most + 1)
    if len(scores) < 3:
        taken[one, one * scores[1]] = chances[1][: most + 1]
        return
    first, second = np.nonzero(one[:, None] + one[None, :] <= most)
    taken[first + second, first * scores[1] + second * scores[2]] = chances[1][first] * chances[2][second]


def sum_law(others: Counts, scores: Counts, sizes: NDArray[np.intp]) -> Floats:
    """Return the law of the sum of k grades drawn from the others without replacement.

    Parameters
    ----------
    others
        How many stones there are of each grade, shape ``(grades,)``.
    scores
        The grades, rising from 0, shape ``(grades,)``.
    sizes
        The k asked for, shape ``(sizes,)``; the largest within a factor of eight of the smallest.

    Returns
    -------
    Chance of each sum, shape ``(sizes, largest sum + 1)``; rows add up to 1.
    """
    more = others.copy()
    more[0] += 1
    return _law(_Chances(more, int(sizes.max())).without(0), scores, sizes)
