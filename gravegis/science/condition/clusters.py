"""Groups of stones with like harm that stand near each other: blocks of work, not proof of a cause.

Harmed stones at most `link_m` apart hang together; a group needs at least `least_n` of them. Nothing here
knows of the sound stones around, so a dense block of stones looks like a group: ask for one kind of harm at
a time and show `share_harmed` beside each group.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from gravegis.errors import LayerError, SettingError
from gravegis.science.condition.places import positions

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

__all__ = ["MOST_PAIRS", "NO_CLUSTER", "cluster", "hulls", "share_harmed"]

NO_CLUSTER = -1
"""Index of a stone that belongs to no group."""

MOST_PAIRS = 30_000_000
"""Pairs of stones held at once, about half a gigabyte; own limit."""


def cluster(xy_m: ArrayLike, harmed: ArrayLike, *, link_m: float, least_n: int) -> NDArray[np.intp]:
    """Return the group of each stone, -1 where it belongs to none.

    Groups are numbered from 0: the largest first, then the one that reaches farthest west, then farthest
    south. The order of the stones makes no difference.

    Parameters
    ----------
    xy_m
        Positions, shape ``(stones, 2)``. [m]
    harmed
        Which stones carry the harm looked at, shape ``(stones,)``.
    link_m
        Greatest distance between two stones that hang together; the distance itself counts as near. [m]
    least_n
        Fewest stones of a group.

    Raises
    ------
    SettingError
        When `link_m` or `least_n` makes no sense, or `link_m` joins too many pairs to hold.
    LayerError
        When shapes differ or a harmed stone has no finite position.
    """
    xy, mask = _checked(xy_m, harmed, link_m, least_n)
    groups = np.full(mask.size, NO_CLUSTER, dtype=np.intp)
    stones = np.flatnonzero(mask)
    if stones.size == 0:
        return groups
    # stones on one spot are one place: else a heap of them would make every pair of the heap
    places, place_of = np.unique(xy[stones], axis=0, return_inverse=True)
    label = _components(places, link_m)[place_of.reshape(-1)]
    groups[stones] = _numbered(label, xy[stones], least_n)
    return groups


def _checked(
    xy_m: ArrayLike, harmed: ArrayLike, link_m: float, least_n: int
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    if not (np.isfinite(link_m) and link_m > 0):
        raise SettingError(f"link_m is {link_m:g}", remedy="Give a distance above 0 m.")
    if least_n < 1:
        raise SettingError(f"least_n is {least_n}", remedy="Give 1 or more stones.")
    xy = positions(xy_m)
    mask = np.asarray(harmed, dtype=np.bool_).reshape(-1)
    if len(xy) != mask.size:
        raise LayerError(f"{len(xy)} positions for {mask.size} stones", where="stones")
    lost = np.flatnonzero(mask & ~np.isfinite(xy).all(axis=1))
    if lost.size:
        raise LayerError(
            f"{lost.size} harmed stones have no position",
            where=f"stones[{lost[0]}]",
            remedy="Give them a position or leave them out.",
        )
    return xy, mask


def _components(places_m: NDArray[np.float64], link_m: float) -> NDArray[np.intp]:
    tree = cKDTree(places_m)
    n = len(places_m)
    pairs_n = (int(tree.count_neighbors(tree, link_m)) - n) // 2
    if pairs_n > MOST_PAIRS:
        raise SettingError(
            f"link_m of {link_m:g} m joins {pairs_n:,} pairs of stones",
            remedy="Take a shorter distance: a group this loose says nothing.",
        )
    pairs = tree.query_pairs(link_m, output_type="ndarray")
    graph = coo_array((np.ones(len(pairs), dtype=np.int8), (pairs[:, 0], pairs[:, 1])), shape=(n, n))
    _, label = connected_components(graph, directed=False)
    return np.asarray(label, dtype=np.intp)


def _numbered(label: NDArray[np.intp], xy_m: NDArray[np.float64], least_n: int) -> NDArray[np.intp]:
    """Return the components numbered by size, then by their most western (then southern) stone."""
    size = np.bincount(label)
    by_place = np.lexsort((xy_m[:, 1], xy_m[:, 0]))
    corner = np.empty(size.size, dtype=np.intp)
    corner[label[by_place[::-1]]] = by_place[::-1]
    order = np.lexsort((xy_m[corner, 1], xy_m[corner, 0], -size))
    number = np.full(size.size, NO_CLUSTER, dtype=np.intp)
    kept = order[size[order] >= least_n]
    number[kept] = np.arange(kept.size)
    return number[label]


def hulls(xy_m: ArrayLike, groups: ArrayLike, *, pad_m: float, ratio: float = 0.5) -> NDArray[np.object_]:
    """Return one outline per group, in the order of their numbers, every stone of the group inside.

    Parameters
    ----------
    xy_m
        Positions, shape ``(stones, 2)``. [m]
    groups
        Group of each stone as `cluster` gives it.
    pad_m
        Room left around the outermost stones, above 0. [m]
    ratio
        How closely the outline follows the stones: 0 as close as can be, 1 the convex hull. The default is a
        drawing choice: own rule.
    """
    if not (np.isfinite(pad_m) and pad_m > 0 and 0 <= ratio <= 1):
        raise SettingError(f"pad_m {pad_m:g}, ratio {ratio:g}", remedy="Give pad_m above 0 and ratio from 0 to 1.")
    xy = positions(xy_m)
    number = np.asarray(groups, dtype=np.intp).reshape(-1)
    made: list[Any] = [
        shapely.concave_hull(shapely.multipoints(xy[number == one]), ratio=ratio)
        for one in range(int(number.max(initial=NO_CLUSTER)) + 1)
    ]
    outlines = np.empty(len(made), dtype=np.object_)
    outlines[:] = [shapely.buffer(one, pad_m) for one in made]
    return outlines


def share_harmed(
    xy_m: ArrayLike, harmed: ArrayLike, looked_at: ArrayLike, outlines: NDArray[np.object_]
) -> tuple[NDArray[np.intp], NDArray[np.float64]]:
    """Return, per outline, how many stones that were looked at stand inside and the share of them harmed.

    A share near that of the whole site marks a group that is only a dense block of stones. NaN where nobody
    looked at a stone inside.
    """
    xy = positions(xy_m)
    seen = np.asarray(looked_at, dtype=np.bool_).reshape(-1)
    bad = np.asarray(harmed, dtype=np.bool_).reshape(-1)
    rows = np.flatnonzero(seen & np.isfinite(xy).all(axis=1))
    tree = shapely.STRtree(np.asarray(shapely.points(xy[rows]), dtype=np.object_))
    outline, inside = tree.query(outlines, predicate="intersects")
    stones_n = np.bincount(outline, minlength=outlines.size)
    harmed_n = np.bincount(outline, weights=bad[rows][inside], minlength=outlines.size)
    share = np.divide(harmed_n, stones_n, out=np.full(outlines.size, np.nan), where=stones_n > 0)
    return stones_n.astype(np.intp), share
