"""The rim of a hot or cold place: stones that stand out by what is a few rows away, not by what is around them.

The sum over a wide band is large well outside a patch of harm, so that the patch comes out too wide. Right around
such a stone the harm is that of the ground at large. The stones that stand out are joined into places; in each, a
stone stays in only where the mean grade right around it, its own counted, is at least a fifth of the way from the
mean of the whole ground to that of the middle stone of the place. Own rule, tried on the sample ground
(`scripts/hot_spots.py` prints the table) and on stones strewn by chance: asking for more lost stones of the patches.
It only ever takes stones out: what chance alone colours becomes no more by it.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Counts = NDArray[np.int64]
    Flags = NDArray[np.bool_]

__all__ = ["NEAR_N", "SHARE_OF_WAY", "near_distance", "on_the_rim"]

NEAR_N = 8.0
"""Neighbours that would stand right around a stone if all stood evenly: own rule."""

SHARE_OF_WAY = 0.2
"""How far from the mean of the ground to the middle of the place the surroundings of a stone must be: own rule."""


def near_distance(band_m: float, count: Counts) -> float:
    """Return the distance that is right around a stone; NaN where the band itself holds no more than that. [m]."""
    middle = float(np.median(count)) if count.size else 0.0
    return band_m * math.sqrt(NEAR_N / middle) if middle > NEAR_N else math.nan


def on_the_rim(xy_m: Floats, around: Floats, found: Flags, *, overall: float, link_m: float) -> Flags:
    """Return which of the stones found stand on the rim of their place.

    Parameters
    ----------
    xy_m
        Positions, shape ``(stones, 2)``. [m]
    around
        Mean grade right around each stone, its own counted.
    found
        Stones that stand out, all upwards or all downwards.
    overall
        Mean grade of the whole ground.
    link_m
        Stones found at most so far apart are of one place. [m]
    """
    rim = np.zeros(len(xy_m), dtype=np.bool_)
    at = np.flatnonzero(found)
    if not at.size:
        return rim
    pairs = cKDTree(xy_m[at]).query_pairs(link_m, output_type="ndarray")
    links: Any = coo_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(at.size, at.size))
    place = connected_components(links, directed=False)[1]
    away = around[at] - overall
    ranked = np.lexsort((away, place))
    sizes = np.bincount(place)
    first = np.concatenate([[0], np.cumsum(sizes)[:-1]])
    middle = away[ranked][first + sizes // 2][place]
    # upwards both are above 0, downwards below: compared as shares of the way
    rim[at] = np.where(middle != 0, away / np.where(middle != 0, middle, 1.0), 1.0) < SHARE_OF_WAY
    return rim
