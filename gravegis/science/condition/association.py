"""Does what is wetted carry more harm: tables of two by two, their odds ratio, and the same within strata.

A table holds a = wetted and harmed, b = wetted and sound, c = dry and harmed, d = dry and sound. The odds ratio is
ad/bc; the interval of Woolf 1955 from the logarithm, with half a stone added to each cell where one is empty (Haldane
1956, Anscombe 1956) and said so; the exact one from the conditional (non-central hypergeometric) law, equal tails
(Cornfield 1956), and the test of Fisher. Over strata: Mantel & Haenszel 1959 with the variance of Robins, Breslow &
Greenland 1986, and the test of equal odds ratios of Breslow & Day 1980 with the correction of Tarone 1985. Dates
are from memory, unconfirmed; the figures equal those of other programs (tests).

An odds ratio says that two things go together. It does not say why.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.stats import chi2, fisher_exact, norm
from scipy.stats.contingency import odds_ratio

from gravegis.errors import LayerError

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    Floats = NDArray[np.float64]

__all__ = ["Estimate", "StrataResult", "TableResult", "over_strata", "two_by_two", "two_by_two_of", "wilson"]

Z95 = float(norm.ppf(0.975))
"""Intervals are of 95 percent: common practice."""


@dataclass(frozen=True, slots=True)
class Estimate:
    """A figure with its 95 percent interval and two-sided p; NaN where it cannot be given."""

    value: float
    low: float
    high: float
    p: float


@dataclass(frozen=True, slots=True)
class TableResult:
    """What one table says: odds ratio with both intervals, and whether half a stone was added to each cell."""

    woolf: Estimate
    exact: Estimate
    halves_added: bool
    n: int


@dataclass(frozen=True, slots=True)
class StrataResult:
    """What strata say together.

    `pooled` is the Mantel-Haenszel odds ratio, its p that of the test without continuity correction (`chi2_mh`);
    `chi2_equal` and `p_equal` test whether the odds ratios of the strata are equal; NaN with fewer than two strata
    that can say so. `used` marks strata that hold wetted and dry, harmed and sound stones; the others say nothing.
    """

    pooled: Estimate
    chi2_mh: float
    chi2_equal: float
    df_equal: int
    p_equal: float
    used: NDArray[np.bool_]
    n: int


def two_by_two_of(wetted: ArrayLike, harmed: ArrayLike) -> NDArray[np.int64]:
    """Return the table of two flags: ``[[wetted harmed, wetted sound], [dry harmed, dry sound]]``."""
    w, h = np.asarray(wetted, dtype=np.bool_), np.asarray(harmed, dtype=np.bool_)
    cells = [[(w & h).sum(), (w & ~h).sum()], [(~w & h).sum(), (~w & ~h).sum()]]
    return np.array(cells, dtype=np.int64)


def _checked(table: ArrayLike, shape: tuple[int, ...]) -> NDArray[np.int64]:
    cells = np.asarray(table, dtype=np.float64)
    if cells.shape[-2:] != (2, 2) or cells.ndim != len(shape) or (cells < 0).any() or (cells % 1 != 0).any():
        raise LayerError("a table is not two by two counts of 0 or more", remedy="Give [[a, b], [c, d]].")
    return cells.astype(np.int64)


def two_by_two(table: ArrayLike) -> TableResult:
    """Return the odds ratio of one table with Woolf's and the exact interval, Wald's and Fisher's p.

    NaN where a whole row or column is empty: then there is nothing to compare. The exact value is the sample odds
    ratio, its interval may reach to infinity.

    Raises
    ------
    LayerError
        When it is not a table of two by two counts.
    """
    cells = _checked(table, (2, 2))
    n = int(cells.sum())
    if (cells.sum(axis=0) == 0).any() or (cells.sum(axis=1) == 0).any():
        nothing = Estimate(math.nan, math.nan, math.nan, math.nan)
        return TableResult(nothing, nothing, halves_added=False, n=n)
    added = bool((cells == 0).any())
    (a, b), (c, d) = (cells + (0.5 if added else 0.0)).tolist()
    log_or, se = math.log(a * d / (b * c)), math.sqrt(1 / a + 1 / b + 1 / c + 1 / d)
    woolf = _from_log(log_or, se)
    bounds = odds_ratio(cells, kind="conditional").confidence_interval(0.95)
    (a, b), (c, d) = cells.tolist()
    sample = math.inf if b * c == 0 else a * d / (b * c)
    exact = Estimate(sample, float(bounds.low), float(bounds.high), float(fisher_exact(cells).pvalue))
    return TableResult(woolf, exact, halves_added=added, n=n)


def _from_log(log_value: float, se: float, p: float | None = None) -> Estimate:
    low, high = math.exp(log_value - Z95 * se), math.exp(log_value + Z95 * se)
    chance = float(2 * norm.sf(abs(log_value) / se)) if p is None else p
    return Estimate(math.exp(log_value), low, high, chance)


def over_strata(tables: ArrayLike) -> StrataResult:
    """Return the odds ratio over strata and whether the strata agree.

    Parameters
    ----------
    tables
        One table of two by two per stratum, shape ``(strata, 2, 2)``.

    Raises
    ------
    LayerError
        When they are not tables of two by two counts.
    """
    cells = _checked(np.asarray(tables, dtype=np.float64).reshape(-1, 2, 2), (0, 2, 2))
    used = (cells.sum(axis=1) > 0).all(axis=1) & (cells.sum(axis=2) > 0).all(axis=1)
    kept = cells[used].astype(np.float64)
    nothing = Estimate(math.nan, math.nan, math.nan, math.nan)
    n = int(kept.sum())
    if not len(kept):
        return StrataResult(nothing, math.nan, math.nan, 0, math.nan, used, n)
    a, b, c, d = (kept[:, row, col] for row in (0, 1) for col in (0, 1))
    size = kept.sum(axis=(1, 2))
    for_it, against = a * d / size, b * c / size
    chi2_mh = _mantel_haenszel(a, a + b, a + c, size)
    p = float(chi2.sf(chi2_mh, 1))
    if for_it.sum() == 0 or against.sum() == 0:
        value = 0.0 if for_it.sum() == 0 else math.inf
        return StrataResult(Estimate(value, math.nan, math.nan, p), chi2_mh, math.nan, 0, math.nan, used, n)
    ratio = float(for_it.sum() / against.sum())
    se = _robins_breslow_greenland(for_it, against, (a + d) / size, (b + c) / size)
    chi2_equal, df = _breslow_day_tarone(kept, ratio)
    p_equal = float(chi2.sf(chi2_equal, df)) if df else math.nan
    return StrataResult(_from_log(math.log(ratio), se, p), chi2_mh, chi2_equal, df, p_equal, used, n)


def _mantel_haenszel(a: Floats, row: Floats, col: Floats, n: Floats) -> float:
    expected = row * col / n
    variance = row * (n - row) * col * (n - col) / (n * n * (n - 1))
    return float((a - expected).sum() ** 2 / variance.sum())


def _robins_breslow_greenland(for_it: Floats, against: Floats, same: Floats, other: Floats) -> float:
    """Return the standard error of the logarithm of the pooled odds ratio."""
    r, s = for_it.sum(), against.sum()
    first = (same * for_it).sum() / (2 * r * r)
    mixed = (same * against + other * for_it).sum() / (2 * r * s)
    last = (other * against).sum() / (2 * s * s)
    return math.sqrt(first + mixed + last)


def _breslow_day_tarone(tables: Floats, ratio: float) -> tuple[float, int]:
    """Return chi-squared and degrees of freedom for equal odds ratios; NaN and 0 for a single stratum."""
    if len(tables) < 2:
        return math.nan, 0
    a, row, col = tables[:, 0, 0], tables[:, 0].sum(axis=1), tables[:, :, 0].sum(axis=1)
    n = tables.sum(axis=(1, 2))
    expected = _cell_at_ratio(row, col, n, ratio)
    other = np.stack([expected, row - expected, col - expected, n - row - col + expected])
    variance = 1.0 / (1.0 / other).sum(axis=0)
    chi2_equal = float(((a - expected) ** 2 / variance).sum() - (a - expected).sum() ** 2 / variance.sum())
    return max(chi2_equal, 0.0), len(tables) - 1


def _cell_at_ratio(row: Floats, col: Floats, n: Floats, ratio: float) -> Floats:
    """Return the upper left cell that gives a table of these margins the odds ratio asked for."""
    lowest, highest = np.maximum(0.0, row + col - n), np.minimum(row, col)
    # e (n - row - col + e) = ratio (row - e) (col - e); only one root lies between the bounds
    square, linear, constant = 1 - ratio, n - row - col + ratio * (row + col), -ratio * row * col
    if abs(square) < 1e-12:
        return np.clip(-constant / linear, lowest, highest)
    root = np.sqrt(np.maximum(linear**2 - 4 * square * constant, 0.0))
    # the form that does not subtract near-equal numbers
    half = -0.5 * (linear + np.copysign(root, linear))
    one, two = half / square, constant / half
    inside = (one >= lowest - 1e-9) & (one <= highest + 1e-9)
    return np.clip(np.where(inside, one, two), lowest, highest)


def wilson(harmed_n: int, n: int) -> Estimate:
    """Return a share with the interval of Wilson 1927; p is NaN, and all is NaN for no stones."""
    if n == 0:
        return Estimate(math.nan, math.nan, math.nan, math.nan)
    share, square = harmed_n / n, Z95 * Z95
    middle = (share + square / (2 * n)) / (1 + square / n)
    half = Z95 / (1 + square / n) * math.sqrt(share * (1 - share) / n + square / (4 * n * n))
    return Estimate(share, max(0.0, middle - half), min(1.0, middle + half), math.nan)
