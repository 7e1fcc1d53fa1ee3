"""How much water each head leaves on each face of each stone, with or without the shadow of the stones in front.

Arrays in, arrays out, in this order::

    ground = make_ground(footprints)                      # footprints.py
    keys, table_i = table_keys(kinds, kpa, deg, riser)    # tables.py
    tables = [table_for(key, cache) for key in keys]
    turns = turns_of(throws, *drift_m(...))               # wind.py
    pairs = find_pairs(footprints, throws, turns=turns, ground=ground)
    spray = make_spray(throws, flow_l_h, tables, table_i)
    caught = catch(ground, turns, spray, pairs, Stones(height_m, face_of_edges(ground, facing_deg)))

What a head sends out along a bearing is told apart by rank (see `tables`); a stone takes what ranks between the share
gone before it and the share that passes below its top, its top takes what comes down between its near and its far
edge, and whatever ranks no higher than what it took is missing behind it. The ground is taken as level and stones as
upright blocks of one height; splash and run-down are not in these figures.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from gravegis.science import compiled as code
from gravegis.science.irrigation.bundles import Floats, Ground, Ints, Spray, Turns
from gravegis.science.irrigation.rays import by_numpy
from gravegis.science.irrigation.tables import HEIGHTS_N, STEEPEST, SprayTable, stretch
from gravegis.science.irrigation.throw import StripSide, Throws, strip_sides
from gravegis.science.spread import spread

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gravegis.science.irrigation.reach import Pairs

KERNELS = "gravegis.science.irrigation.rays.kernels"
NODES_N = 4
"""Rays across each edge, at the places of Gauss and Legendre. Own choice: on an unshaded stone of 0.6 m at 2 m they
agree with 64 rays within a thousandth (tested)."""
_HEADS = 64  # a portion


@dataclass(frozen=True, slots=True, eq=False)
class Stones:
    """What is known of the stones: height [m], 0 or more, ``(stones,)``; face of each edge (`face_of_edges`).

    Give flush markers and ledgers the height 0: all their water falls on top.
    """

    height_m: Floats
    face_of_edge: Ints


@dataclass(frozen=True, slots=True, eq=False)
class Caught:
    """Water by pair, in the order of the pairs given.

    Attributes
    ----------
    face_l_h
        On front, left, back, right (`footprints.FACES`), shape ``(pairs, 4)``. [L/h]
    top_l_h
        On top, seen from above, shape ``(pairs,)``. [L/h]
    """

    face_l_h: Floats
    top_l_h: Floats


def make_spray(throws: Throws, flow_l_h: npt.ArrayLike, tables: Sequence[SprayTable], table_i: npt.ArrayLike) -> Spray:
    """Bundle flow and tables of the heads for the loops.

    ``flow_l_h`` is the whole flow of each head, NaN where unknown (its water is then NaN; give 1 for shares of the
    flow); ``table_i`` the row of its table. A strip sends out as much along each bearing as waters its rectangle
    evenly. Raises ValueError for a negative flow or a table that is not there.
    """
    heads = throws.x_m.shape
    flow = np.broadcast_to(np.asarray(flow_l_h, np.float64), heads)
    table = np.broadcast_to(np.asarray(table_i, np.int64), heads)
    if (flow < 0).any() or not ((table >= 0) & (table < len(tables))).all():
        raise ValueError("Flows must be 0 or more, and every head must have a table.")
    strip = throws.strip_side != StripSide.NONE
    area_m2 = np.where(strip, throws.strip_length_m * throws.strip_width_m, 1.0)
    per_rad = np.where(strip, flow / (2.0 * area_m2), flow / np.radians(throws.sweep_deg))
    reach_m = np.array([table.throw_m for table in tables], dtype=np.float64)
    top_m = np.array([table.top_m for table in tables], dtype=np.float64)
    one, two = stretch(reach_m[table], throws.throw_m) if len(tables) else (np.zeros(heads), np.zeros(heads))
    sides = np.ascontiguousarray(np.stack(strip_sides(throws), axis=1))
    share = np.ascontiguousarray([table.share_below for table in tables] or np.zeros((0, 2, 2)))
    return Spray(per_rad, table.copy(), one, two, sides, share, reach_m, top_m, STEEPEST)


def catch(
    ground: Ground,
    turns: Turns,
    spray: Spray,
    pairs: Pairs,
    stones: Stones,
    *,
    shadows: bool = True,
    nodes_n: int = NODES_N,
    compiled: bool = True,
    threads: int | None = None,
) -> Caught:
    """Water on faces and tops of all pairs.

    ``shadows`` takes away what stones in front take; they are those in ``pairs``, which must hold all that the heads
    reach. ``compiled=False``, or no numba, gives the same numbers without compiled loops. Raises ValueError where a
    height is unknown or below 0.
    """
    if not (np.isfinite(stones.height_m) & (stones.height_m >= 0)).all():
        raise ValueError("Heights of stones must be known and 0 or more.")
    loops = (code.load(KERNELS) if compiled else None) or by_numpy
    slot, head_first = by_head(pairs.head_i, len(turns.x_m), compiled=compiled)
    links = (pairs.stone_i[slot], slot, head_first, stones.height_m.astype(np.float64), stones.face_of_edge)
    nodes = np.zeros((2, nodes_n, 2))
    for slim, count in enumerate((nodes_n, (nodes_n + 1) // 2)):
        places, weights = np.polynomial.legendre.leggauss(count)
        nodes[slim, :count] = np.stack([(places + 1.0) / 2.0, weights / 2.0], axis=1)
    out = np.zeros((len(pairs), 5))

    def work(low: int, high: int) -> None:
        loops.catches(ground, turns, spray, links, nodes, out, np.array([low, high, shadows]))

    spread(work, len(turns.x_m), portion=_HEADS, threads=threads)
    return Caught(out[:, :4], out[:, 4])


def by_head(head_i: Ints, heads: int, *, compiled: bool = True) -> tuple[Ints, Ints]:
    """Order of the pairs by head, and the first of each head in it, shape ``(heads + 1,)``."""
    loops = (code.load(KERNELS) if compiled else None) or by_numpy
    order, first = np.empty(len(head_i), dtype=np.int64), np.zeros(heads + 1, dtype=np.int64)
    loops.order_by_head(head_i, first, order)
    return order, first


def by_stone(
    caught: Caught, stone_i: Ints, stones: int, *, weight: npt.ArrayLike = 1.0, compiled: bool = True
) -> tuple[Floats, Floats]:
    """Water by stone: on its faces ``(stones, 4)`` and on its top ``(stones,)``. [L/h, or L where weights are hours]

    ``stone_i`` is that of the pairs; ``weight`` one value or one a pair, such as the hours a season of its head.
    """
    loops = (code.load(KERNELS) if compiled else None) or by_numpy
    times = np.array(np.broadcast_to(np.asarray(weight, np.float64), stone_i.shape))
    faces, top = np.zeros((stones, 4)), np.zeros((stones, 1))
    loops.add_by_stone(stone_i, caught.face_l_h, times, faces)
    loops.add_by_stone(stone_i, caught.top_l_h[:, None], times, top)
    return faces, top[:, 0]


def strike_distance_m(tables: Sequence[SprayTable], table_i: Ints, throw_m: Floats, height_m: npt.ArrayLike) -> Floats:
    """Distance within which the stream of each head strikes a stone of a height, before it passes over. [m]

    ``table_i``, ``throw_m`` and ``height_m`` are of one shape, such as one a pair. A stone taller than the stream
    ever rises is struck as far as the top of its path, by a low stream as far as it holds together (`tables`): farther
    out the water comes down as rain.
    """
    reach = np.array([table.throw_m for table in tables])
    top = np.array([table.top_m for table in tables])
    strike = np.array([table.strike_m for table in tables])
    place = np.clip(np.asarray(height_m, np.float64) / top[table_i], 0.0, 1.0) * (HEIGHTS_N - 1)
    low = np.minimum(place.astype(np.int64), HEIGHTS_N - 2)
    part = place - low
    model_m = (1.0 - part) * strike[table_i, low] + part * strike[table_i, low + 1]
    one, two = stretch(reach[table_i], throw_m)
    share = model_m / reach[table_i]
    bent = two != 0.0
    root = np.sqrt(np.maximum(one * one + 4.0 * two * share, 0.0))
    return np.asarray(throw_m * np.where(bent, 2.0 * share / (one + root), share / one))
