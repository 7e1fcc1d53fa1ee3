"""Blocks of work: dense groups, and groups cut until each fits into a day.

Rows stand close, so that everything hangs together with everything: a group without a limit is the whole ground.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.spatial import cKDTree

from gravegis.errors import LayerError, SettingError
from gravegis.science.condition.clusters import NO_CLUSTER, cluster
from gravegis.science.condition.places import positions

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import ArrayLike, NDArray

    Floats = NDArray[np.float64]
    Rows = NDArray[np.intp]

__all__ = ["dense_clusters", "split_blocks"]


def dense_clusters(xy_m: ArrayLike, harmed: ArrayLike, *, link_m: float, least_n: int) -> Rows:
    """Return the group of each stone, -1 where none: only stones in dense places make groups.

    A stone with `least_n` harmed stones within `link_m`, itself counted, is a core; cores within reach of each other
    hang together, and a harmed stone within reach of a core joins the nearest one (Ester et al. 1996, DBSCAN; the
    nearest core is own choice, so that the order of stones makes no difference but where two cores are as near).

    Parameters
    ----------
    xy_m
        Positions, shape ``(stones, 2)``. [m]
    harmed
        Which stones carry the harm looked at.
    link_m
        Greatest distance of neighbours, itself included. [m]
    least_n
        Harmed stones within that distance that make a core.
    """
    xy, mask = positions(xy_m), np.asarray(harmed, dtype=np.bool_).reshape(-1)
    # checks shapes, settings and positions
    cluster(xy, mask, link_m=link_m, least_n=least_n)
    stones = np.flatnonzero(mask)
    groups = np.full(mask.size, NO_CLUSTER, dtype=np.intp)
    if not stones.size:
        return groups
    tree = cKDTree(xy[stones])
    near_n = np.asarray(tree.query_ball_point(xy[stones], link_m, return_length=True))
    core = np.zeros(mask.size, dtype=np.bool_)
    core[stones[near_n >= least_n]] = True
    groups = cluster(xy, core, link_m=link_m, least_n=1)
    rim = stones[near_n < least_n]
    cores = np.flatnonzero(core)
    if rim.size and cores.size:
        found: Any = cKDTree(xy[cores]).query(xy[rim])
        near = found[0] <= link_m
        groups[rim[near]] = groups[cores[found[1][near]]]
    return groups


def split_blocks(xy_m: ArrayLike, groups: ArrayLike, work_min: ArrayLike, *, most_min: float) -> Rows:
    """Return groups cut into blocks of at most so many minutes; -1 stays -1.

    A group too large is cut across its longest direction where the work on both sides is nearest to whole blocks,
    and each part again. A stone that alone takes longer is a block of its own. Blocks are numbered from the largest
    number of stones down, then from the west.

    Parameters
    ----------
    xy_m
        Positions, shape ``(stones, 2)``. [m]
    groups
        Group of each stone as `gravegis.science.condition.clusters.cluster` gives it.
    work_min
        Minutes of work of each stone, 0 or more.
    most_min
        Most minutes of a block.

    Raises
    ------
    SettingError
        When `most_min` is not above 0.
    LayerError
        When shapes differ or minutes are missing or negative.
    """
    if not (math.isfinite(most_min) and most_min > 0):
        raise SettingError(f"most_min is {most_min:g}", remedy="Give minutes above 0.")
    xy, number = positions(xy_m), np.asarray(groups, dtype=np.intp).reshape(-1)
    minutes = np.asarray(work_min, dtype=np.float64).reshape(-1)
    if not len(xy) == number.size == minutes.size:
        raise LayerError(f"{len(xy)} positions, {number.size} groups, {minutes.size} times", where="stones")
    if not (minutes[number >= 0] >= 0).all():
        raise LayerError("minutes of work are missing or negative", where="stones")
    blocks: list[Rows] = []
    for one in np.unique(number[number >= 0]).tolist():
        blocks.extend(_cut(np.flatnonzero(number == one), xy, minutes, most_min))
    blocks.sort(key=lambda rows: (-rows.size, *xy[rows[np.lexsort((xy[rows, 1], xy[rows, 0]))[0]]]))
    made = np.full(number.size, NO_CLUSTER, dtype=np.intp)
    for place, rows in enumerate(blocks):
        made[rows] = place
    return made


def _cut(rows: Rows, xy: Floats, minutes: Floats, most_min: float) -> Iterator[Rows]:
    """Yield the parts of one group, none above the limit but single stones."""
    todo = [rows]
    while todo:
        part = todo.pop()
        total = float(minutes[part].sum())
        if total <= most_min or part.size < 2:
            yield part
            continue
        parts = math.ceil(total / most_min)
        order = part[_along(xy[part])]
        done = np.cumsum(minutes[order])[:-1]
        at = int(np.argmin(np.abs(done - total * (parts // 2) / parts))) + 1
        todo += [order[:at], order[at:]]


def _along(xy: Floats) -> Rows:
    """Return the order of places along the direction in which they reach farthest."""
    off = xy - xy.mean(axis=0)
    _, axes = np.linalg.eigh(off.T @ off)
    axis = axes[:, -1]
    # the sign of an axis is chance: towards the east, or the north
    axis = axis if (axis[0], axis[1]) > (0.0, 0.0) or axis[0] > 0 else -axis
    # rounded, so that rows that lie across are taken in the order of their places
    return np.asarray(np.lexsort((xy[:, 1], xy[:, 0], np.round(off @ axis, 6))), dtype=np.intp)
