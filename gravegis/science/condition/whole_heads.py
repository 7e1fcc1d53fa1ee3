"""Chance at the level of heads: stones that share a head share its water, and are dealt out together.

Stones are gathered into groups: those nearest to one head and wetted alike. The harm of a group beyond what its
materials and sections would have by themselves is compared with the wetting of the group; then the wettings are dealt
out anew among whole groups. A thousand stones under four heads are four draws, not a thousand. Own design after the
usual cluster permutation test.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gravegis.errors import LayerError

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    Floats = NDArray[np.float64]

__all__ = ["MOST_LISTED", "HeadPermutation", "permute_heads"]

MOST_LISTED = 20_000
"""Up to so many ways to deal the wetting out they are all counted, and the p is exact: own limit."""

LEAST_GROUPS = 4
"""With fewer groups no p below one in six could come out: nothing is said."""


@dataclass(frozen=True, slots=True)
class HeadPermutation:
    """Share of harmed stones, wetted less dry, beyond what strata explain; `p` is NaN where nothing can be said.

    `exact` is true where every way of dealing was counted.
    """

    difference: float
    p: float
    groups_n: int
    wetted_groups_n: int
    exact: bool


def permute_heads(
    harmed: ArrayLike,
    wetted: ArrayLike,
    head: ArrayLike,
    *,
    strata: ArrayLike | None = None,
    rng: np.random.Generator,
    rounds_n: int = 1999,
) -> HeadPermutation:
    """Test whether wetted groups carry more harm than dry ones, whole groups dealt out anew.

    Parameters
    ----------
    harmed, wetted
        Flags per stone.
    head
        Nearest head of each stone, whole numbers.
    strata
        Stratum of each stone, whole numbers, such as its material; None takes all for one.
    rng
        Source of chance, where not every way is counted.
    rounds_n
        How many ways are drawn then.

    Raises
    ------
    LayerError
        When shapes differ.
    """
    y, w = np.asarray(harmed, dtype=np.float64).reshape(-1), np.asarray(wetted, dtype=np.bool_).reshape(-1)
    at = np.asarray(head).reshape(-1)
    kind = np.zeros(y.size, dtype=np.int64) if strata is None else np.asarray(strata).reshape(-1)
    if not y.size == w.size == at.size == kind.size:
        raise LayerError("harm, wetting, heads and strata are not of one length")
    if not y.size:
        return HeadPermutation(math.nan, math.nan, 0, 0, exact=False)
    excess = y - _expected(y, kind)
    _, group = np.unique(
        np.column_stack([np.unique(at, return_inverse=True)[1].reshape(-1), w]), axis=0, return_inverse=True
    )
    group = group.reshape(-1)
    size = np.bincount(group).astype(np.float64)
    total = np.bincount(group, weights=excess).astype(np.float64)
    wet = np.bincount(group, weights=w) > 0
    groups_n, wet_n = len(size), int(wet.sum())
    if groups_n < LEAST_GROUPS or not 0 < wet_n < groups_n:
        return HeadPermutation(math.nan, math.nan, groups_n, wet_n, exact=False)
    seen = _differences(total, size, wet[None])[0]
    listed = math.comb(groups_n, wet_n) <= MOST_LISTED
    deals = _all_deals(groups_n, wet_n) if listed else _drawn_deals(wet, rng, rounds_n)
    extreme = int((np.abs(_differences(total, size, deals)) >= abs(seen) - 1e-12).sum())
    p = extreme / len(deals) if listed else (1 + extreme) / (rounds_n + 1)
    return HeadPermutation(float(seen), p, groups_n, wet_n, exact=listed)


def _expected(y: Floats, kind: NDArray[np.int64]) -> Floats:
    """Return the share of harmed stones of its stratum for each stone."""
    _, of = np.unique(kind, return_inverse=True)
    of = of.reshape(-1)
    return (np.bincount(of, weights=y) / np.bincount(of))[of]


def _differences(total: Floats, size: Floats, wet: NDArray[np.bool_]) -> Floats:
    """Return, per way of dealing, the mean excess of wetted stones less that of dry ones."""
    flags = wet.astype(np.float64)
    wet_sum, wet_size = flags @ total, flags @ size
    return np.asarray(wet_sum / wet_size - (total.sum() - wet_sum) / (size.sum() - wet_size), dtype=np.float64)


def _all_deals(groups_n: int, wet_n: int) -> NDArray[np.bool_]:
    some = np.array(list(itertools.combinations(range(groups_n), wet_n)), dtype=np.intp)
    deals = np.zeros((len(some), groups_n), dtype=np.bool_)
    np.put_along_axis(deals, some, values=True, axis=1)
    return deals


def _drawn_deals(wet: NDArray[np.bool_], rng: np.random.Generator, rounds_n: int) -> NDArray[np.bool_]:
    return np.array([rng.permutation(wet) for _ in range(rounds_n)])
