"""Is harm alike among neighbours at all: one figure for the whole ground, before any spot is named.

Moran's I with the variance under randomisation (Moran 1950; moments of Cliff & Ord 1981, from memory, equal to two
other implementations, see the tests), and join counts of yes and no with the moments of sampling without replacement.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.stats import norm

from gravegis.errors import LayerError

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    Floats = NDArray[np.float64]

__all__ = ["JoinCounts", "Moran", "join_counts", "moran", "moran_of_sums"]


@dataclass(frozen=True, slots=True)
class Moran:
    """Moran's I, its mean and variance when values are dealt out anew, z and two-sided p; NaN where undefined."""

    i: float
    expected: float
    variance: float
    z: float
    p: float


@dataclass(frozen=True, slots=True)
class JoinCounts:
    """Joins between two yes (`both`), two no (`neither`) and one of each (`mixed`), with mean and variance."""

    both: int
    neither: int
    mixed: int
    expected_both: float
    variance_both: float
    expected_mixed: float
    variance_mixed: float


def moran(values: ArrayLike, links: ArrayLike, weight: ArrayLike) -> Moran:
    """Return Moran's I for weighted links.

    Parameters
    ----------
    values
        One value per place.
    links
        Pairs (from, to), shape ``(links, 2)``; each direction is a link of its own.
    weight
        Weight of each link.

    Raises
    ------
    LayerError
        When there is not one weight per link.
    """
    x = np.asarray(values, dtype=np.float64).reshape(-1)
    pair, w = np.asarray(links, dtype=np.intp).reshape(-1, 2), np.asarray(weight, dtype=np.float64).reshape(-1)
    if len(pair) != w.size:
        raise LayerError(f"{len(pair)} links, {w.size} weights", where="links")
    n = x.size
    out, into = pair[:, 0], pair[:, 1]
    lag = np.bincount(out, weights=w * (x - x.mean())[into], minlength=n).astype(np.float64)
    forth = dict(zip(map(tuple, pair.tolist()), w.tolist(), strict=True))
    both_ways = np.array([forth.get((b, a), 0.0) for a, b in pair.tolist()])
    # half the sum over all ordered pairs of (w_ij + w_ji)^2
    s1 = float((w * w + w * both_ways).sum())
    degree = np.bincount(out, weights=w, minlength=n) + np.bincount(into, weights=w, minlength=n)
    return _moran(x, lag, float(w.sum()), s1, float((degree**2).sum()))


def moran_of_sums(values: ArrayLike, total: ArrayLike, count: ArrayLike) -> Moran:
    """Return Moran's I for links of weight 1, from the sum over the neighbours of each stone and their number."""
    x, k = np.asarray(values, dtype=np.float64), np.asarray(count, dtype=np.float64)
    lag = np.asarray(total, dtype=np.float64) - x.mean() * k if x.size else x
    links_n = float(k.sum())
    return _moran(x, lag, links_n, 2.0 * links_n, float((4.0 * k * k).sum()))


def _moran(x: Floats, lag: Floats, w: float, s1: float, s2: float) -> Moran:
    n = x.size
    off = x - x.mean() if n else x
    squares = off * off
    square = float(squares.sum())
    if n < 4 or square == 0 or w == 0:
        return Moran(math.nan, math.nan, math.nan, math.nan, math.nan)
    i = n / w * float((off * lag).sum()) / square
    expected = -1.0 / (n - 1)
    kurtosis = n * float((squares * squares).sum()) / square**2
    first = n * ((n * n - 3 * n + 3) * s1 - n * s2 + 3 * w * w)
    second = kurtosis * ((n * n - n) * s1 - 2 * n * s2 + 6 * w * w)
    variance = (first - second) / ((n - 1) * (n - 2) * (n - 3) * w * w) - expected**2
    z = (i - expected) / math.sqrt(variance) if variance > 0 else math.nan
    return Moran(i, expected, variance, z, float(2 * norm.sf(abs(z))))


def join_counts(yes: ArrayLike, pairs: ArrayLike) -> JoinCounts:
    """Return joins of yes and no over unordered pairs of neighbours, each pair once.

    Mean and variance are those over all ways to deal out as many yes as there are.
    """
    flag, pair = np.asarray(yes, dtype=np.bool_).reshape(-1), np.asarray(pairs, dtype=np.intp).reshape(-1, 2)
    a, b = flag[pair[:, 0]], flag[pair[:, 1]]
    n, n1, j = flag.size, int(flag.sum()), len(pair)
    degree = np.bincount(pair.reshape(-1), minlength=n)
    shared = 0.5 * float((degree * (degree - 1.0)).sum())  # pairs of joins that meet in a place
    apart = j * (j - 1.0) - 2 * shared
    p2, p3, p4 = (_falling(n1, k) / _falling(n, k) if n >= k else 0.0 for k in (2, 3, 4))
    expected_both = j * p2
    variance_both = j * p2 + 2 * shared * p3 + apart * p4 - expected_both**2
    n0 = n - n1
    m2 = 2 * n1 * n0 / _falling(n, 2) if n >= 2 else 0.0
    # two mixed joins that meet: the place shared has one kind, the two others the other
    m3 = (n1 * _falling(n0, 2) + n0 * _falling(n1, 2)) / _falling(n, 3) if n >= 3 else 0.0
    m4 = 4 * _falling(n1, 2) * _falling(n0, 2) / _falling(n, 4) if n >= 4 else 0.0
    variance_mixed = j * m2 + 2 * shared * m3 + apart * m4 - (j * m2) ** 2
    both, neither = int((a & b).sum()), int((~a & ~b).sum())
    return JoinCounts(both, neither, j - both - neither, expected_both, variance_both, j * m2, variance_mixed)


def _falling(n: int, k: int) -> float:
    return float(math.prod(range(n, n - k, -1)))
