"""Compiled loops over pairs of stone and head: which stones a head reaches, and by what margin.

Loaded through `gravegis.science.compiled`, which says first where compiled code is kept. Everything is serial and
holds no lock: `spread` runs portions on threads, each writing its own rows, so that the number of threads changes
nothing. `reach` does the same
without numba, operation for operation. All work is done relative to the head.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numba import njit

from gravegis.science.irrigation.bundles import CIRCLE, SECTOR, WIDE, Cells, Ground, Turns

Array = Any  # arrays as numba sees them
loop = njit(cache=True, nogil=True, error_model="numpy")  # no check for a divisor of 0: none can be
# A part of a loop that makes no array of its own: put into its caller, and without a count of who holds the arrays it
# is handed, which would cost more than the work.
_PART: dict[str, Any] = {"forceinline": True, "_nrt": False}
part = njit(cache=True, nogil=True, error_model="numpy", **_PART)


@part
def nearest_square(ax: float, ay: float, bx: float, by: float, low: float, high: float) -> float:
    """Squared distance from the head to the edge between two places on it."""
    dx, dy = bx - ax, by - ay
    length, at = dx * dx + dy * dy, -(ax * dx + ay * dy)
    if at <= 0.0:  # a division is saved where an end is nearest
        at = 0.0
    elif at >= length:
        at = 1.0
    else:
        at /= length
    at = min(max(at, low), high)
    x, y = ax + at * dx, ay + at * dy
    return x * x + y * y


@part
def clipped(a1: float, b1: float, a2: float, b2: float) -> tuple[float, float]:
    """Part of an edge where neither of two depths, given at its ends, is negative; none if first > last."""
    low, high = 0.0, 1.0
    for a, b in ((a1, b1), (a2, b2)):
        cross = a / (a - b) if (a < 0) != (b < 0) else 0.0
        if a < 0:
            low = max(low, math.inf if b < 0 else cross)
        if b < 0:
            high = min(high, cross)
    return low, high


@part
def wet_square(ax: float, ay: float, bx: float, by: float, sides: tuple[float, ...], wide: bool) -> float:
    """Squared distance from the head to what of the edge lies in its turn, infinite if nothing does.

    ``sides`` are how far A and B lie to the right of the start, then of the end of the turn.
    """
    sa, sb, ea, eb = sides
    if not wide:
        low, high = clipped(sa, sb, -ea, -eb)
        return nearest_square(ax, ay, bx, by, low, high) if low <= high else math.inf
    low, high = clipped(-sa, -sb, ea, eb)
    dx, dy = bx - ax, by - ay
    length = dx * dx + dy * dy
    at = min(max(-(ax * dx + ay * dy) / length if length > 0 else 0.0, 0.0), 1.0)
    if not (low < high and low <= at <= high):
        return nearest_square(ax, ay, bx, by, 0.0, 1.0)
    before = nearest_square(ax, ay, bx, by, low, low) if low > 0 else math.inf
    after = nearest_square(ax, ay, bx, by, high, high) if high < 1 else math.inf
    return min(before, after)


@part
def depth_in_wide(ax: float, ay: float, sa: float, ea: float, head: tuple[Any, ...]) -> tuple[float, float]:
    """How deep a corner lies behind the start and behind the end of a wide turn; they are equal."""
    if sa < 0 and ea > 0:
        return 0.0, 0.0
    _, _, _, _, start_x, start_y, end_x, end_y = head
    along = min(ax * start_x + ay * start_y, 0.0)
    by_start = sa * sa + along * along
    along = min(ax * end_x + ay * end_y, 0.0)
    depth = math.sqrt(min(by_start, ea * ea + along * along))
    return depth, depth


@part
def out_of_turn(x: float, y: float, room: float, head: tuple[Any, ...]) -> bool:
    """Whether a disc of this radius about a place seen from the head lies apart from the turn for sure."""
    _, _, _, kind, start_x, start_y, end_x, end_y = head
    if kind == CIRCLE:
        return False
    start = x * start_y - y * start_x
    end = x * end_y - y * end_x
    if kind == SECTOR:
        return start < -room or end > room
    return start < -room and end > room


@part
def side_square(ax: float, ay: float, bx: float, by: float, east: float, north: float, length: float) -> float:
    """Squared distance of an edge from a straight side of the throw, as `throw.square_to_side`."""
    along_a, across_a = ax * east + ay * north, ax * north - ay * east
    along_b, across_b = bx * east + by * north, bx * north - by * east
    out = along_a - min(max(along_a, 0.0), length)
    tip = nearest_square(along_a - length, across_a, along_b - length, across_b, 0.0, 1.0)
    return min(tip, out * out + across_a * across_a)


@part
def carried(cx: float, cy: float, turns: Turns, k: int) -> tuple[float, float]:
    """How far the wind has carried what falls at a place seen from the head; as `wind.carried_m`."""
    wx, wy, ramp = turns.wind_x[k], turns.wind_y[k], turns.ramp_m[k]
    if wx == 0.0 and wy == 0.0:
        return 0.0, 0.0
    away_x, away_y = cx - wx, cy - wy
    if away_x * away_x + away_y * away_y >= ramp * ramp:
        return wx, wy
    square, half = cx * cx + cy * cy, cx * wx + cy * wy + ramp * ramp / 2.0
    under = max(half * half - (wx * wx + wy * wy) * square, 0.0)
    share = square / (half + math.sqrt(under))
    return share * wx, share * wy


@part
def head_of(turns: Turns, k: int) -> tuple[Any, ...]:
    """Place, throw and turn of a head in plain figures: handing on bundles of arrays costs more than reading."""
    return (
        turns.x_m[k], turns.y_m[k], turns.throw_m[k], turns.kind[k],
        turns.start_x[k], turns.start_y[k], turns.end_x[k], turns.end_y[k],
    )  # fmt: skip


@part
def measure(
    a_m: Array, b_m: Array, first: int, last: int, head: tuple[Any, ...], off: tuple[float, float]
) -> tuple[float, float, float]:
    """Distance, margin and distance of the nearest part within the turn, of one stone and one head.

    ``first`` and ``last`` are edges of the stone; ``off`` tells how far the wind carries what falls there.
    """
    hx, hy, throw, kind, start_x, start_y, end_x, end_y = head
    ox, oy = off
    nearest, wet, start, end, within = math.inf, math.inf, -math.inf, -math.inf, False
    round_, wide = kind == CIRCLE, kind == WIDE
    for e in range(first, last):
        ax, ay = a_m[e, 0] - hx - ox, a_m[e, 1] - hy - oy
        bx, by = b_m[e, 0] - hx - ox, b_m[e, 1] - hy - oy
        if (ay > 0) != (by > 0) and (ax * by - ay * bx > 0) == (by > ay):
            within = not within
        square = nearest_square(ax, ay, bx, by, 0.0, 1.0)
        nearest = min(nearest, square)
        if round_:
            continue
        sa, sb = ax * start_y - ay * start_x, bx * start_y - by * start_x
        ea, eb = ax * end_y - ay * end_x, bx * end_y - by * end_x
        if not (sa >= 0 and sb >= 0 and (wide or (ea <= 0 and eb <= 0))):
            square = wet_square(ax, ay, bx, by, (sa, sb, ea, eb), wide)
        wet = min(wet, square)
        to_start, to_end = depth_in_wide(ax, ay, sa, ea, head) if wide else (sa, -ea)
        start, end = max(start, to_start), max(end, to_end)
    distance = 0.0 if within else math.sqrt(nearest)
    near = distance if round_ or distance == 0 else math.sqrt(wet)
    arc = throw - near
    if arc >= 0:
        return distance, arc if round_ else max(min(arc, min(start, end)), 0.0), near
    if not round_:
        arc = -min(gap_to_sides(a_m, b_m, first, last, head, off), min(-arc, distance))
    return distance, arc, near


@loop
def still_distance(a_m: Array, b_m: Array, first: int, last: int, hx: float, hy: float) -> float:
    """Distance from a head to a stone on the ground, whatever the wind carries; 0 within."""
    nearest, within = math.inf, False
    for e in range(first, last):
        ax, ay, bx, by = a_m[e, 0] - hx, a_m[e, 1] - hy, b_m[e, 0] - hx, b_m[e, 1] - hy
        if (ay > 0) != (by > 0) and (ax * by - ay * bx > 0) == (by > ay):
            within = not within
        nearest = min(nearest, nearest_square(ax, ay, bx, by, 0.0, 1.0))
    return 0.0 if within else math.sqrt(nearest)


@loop
def gap_to_sides(
    a_m: Array, b_m: Array, first: int, last: int, head: tuple[Any, ...], off: tuple[float, float]
) -> float:
    """Distance of a stone that lies apart from the turn to its two straight sides."""
    hx, hy, throw, _, start_x, start_y, end_x, end_y = head
    ox, oy = off
    gap = math.inf
    for e in range(first, last):
        ax, ay = a_m[e, 0] - hx - ox, a_m[e, 1] - hy - oy
        bx, by = b_m[e, 0] - hx - ox, b_m[e, 1] - hy - oy
        start = side_square(ax, ay, bx, by, start_x, start_y, throw)
        end = side_square(ax, ay, bx, by, end_x, end_y, throw)
        gap = min(gap, math.sqrt(min(start, end)))
    return gap


@loop
def cells_of_heads(turns: Turns, cells: Cells, within_m: float, first: Array, item: Array, fill: bool) -> None:
    """Count, then list, the heads that may reach into each cell; heads in rising order in every cell."""
    half = cells.size_m / 2.0
    room = 1.5 * half + within_m  # half a diagonal, and some
    for k in range(len(turns.x_m)):
        head = head_of(turns, k)
        hx, hy = head[0] - cells.x0_m, head[1] - cells.y0_m
        far = head[2] + within_m + turns.drift_m[k] + 1e-6
        west = max(math.floor((hx - far) / cells.size_m), 0)
        east = min(math.floor((hx + far) / cells.size_m), cells.nx - 1)
        south = max(math.floor((hy - far) / cells.size_m), 0)
        north = min(math.floor((hy + far) / cells.size_m), cells.ny - 1)
        for row in range(south, north + 1):
            y = (row + 0.5) * cells.size_m - hy
            for column in range(west, east + 1):
                x = (column + 0.5) * cells.size_m - hx
                out_x, out_y = max(abs(x) - half, 0.0), max(abs(y) - half, 0.0)
                if out_x * out_x + out_y * out_y > far * far:
                    continue
                if turns.drift_m[k] == 0.0 and out_of_turn(x, y, room, head):
                    continue
                cell = row * cells.nx + column
                if fill:
                    item[first[cell]] = k
                first[cell] += 1


@part
def near_stone(ground: Ground, cells: Cells, i: int, first: Array, item: Array, found: Array) -> int:
    """List the heads that may reach a stone, in rising order without repeats; return how many."""
    r = ground.radius_m[i]
    west = min(max(int((ground.x_m[i] - r - cells.x0_m) / cells.size_m), 0), cells.nx - 1)
    east = min(max(int((ground.x_m[i] + r - cells.x0_m) / cells.size_m), 0), cells.nx - 1)
    south = min(max(int((ground.y_m[i] - r - cells.y0_m) / cells.size_m), 0), cells.ny - 1)
    north = min(max(int((ground.y_m[i] + r - cells.y0_m) / cells.size_m), 0), cells.ny - 1)
    n = 0
    for row in range(south, north + 1):
        for column in range(west, east + 1):
            cell = row * cells.nx + column
            for m in range(first[cell], first[cell + 1]):
                k = item[m]
                at = n
                while at > 0 and found[at - 1] > k:
                    at -= 1
                if at > 0 and found[at - 1] == k:
                    continue
                for j in range(n, at, -1):
                    found[j] = found[j - 1]
                found[at] = k
                n += 1
    return n


@loop
def pairs(
    ground: Ground, turns: Turns, cells: Cells, first: Array, item: Array, within_m: float, low: int, high: int
) -> tuple[Array, Array]:
    """Stones of one portion with the heads that reach them, or miss by up to ``within_m``: stone, head; lengths."""
    room = 8 * (high - low) + 16
    who, lengths = np.empty((room, 2), np.int64), np.empty((room, 3))
    found = np.empty(len(turns.x_m), np.int64)
    n = 0
    for i in range(low, high):
        for m in range(near_stone(ground, cells, i, first, item, found)):
            k = found[m]
            dx, dy = ground.x_m[i] - turns.x_m[k], ground.y_m[i] - turns.y_m[k]
            far = turns.throw_m[k] + ground.radius_m[i] + within_m + turns.drift_m[k] + 1e-6
            if dx * dx + dy * dy > far * far:
                continue
            ox, oy = carried(dx, dy, turns, k)
            head = head_of(turns, k)
            if out_of_turn(dx - ox, dy - oy, ground.radius_m[i] + within_m + 1e-6, head):
                continue
            edge = ground.first[i]
            distance, margin, near = measure(ground.a_m, ground.b_m, edge, edge + ground.edges_n[i], head, (ox, oy))
            if margin < -within_m:
                continue
            if ox != 0.0 or oy != 0.0:
                distance = still_distance(
                    ground.a_m, ground.b_m, edge, edge + ground.edges_n[i], turns.x_m[k], turns.y_m[k]
                )
            if n == room:
                more_who, more_lengths = np.empty((2 * room, 2), np.int64), np.empty((2 * room, 3))
                more_who[:room], more_lengths[:room] = who, lengths
                who, lengths, room = more_who, more_lengths, 2 * room
            who[n, 0], who[n, 1] = i, k
            lengths[n, 0], lengths[n, 1], lengths[n, 2] = distance, margin, near
            n += 1
    return who[:n].copy(), lengths[:n].copy()
