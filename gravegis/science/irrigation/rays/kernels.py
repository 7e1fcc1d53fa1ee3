"""Compiled loops over rays: what the water of each head leaves on the faces and tops of stones.

Loaded through `gravegis.science.compiled`; see `gravegis.science.irrigation.kernels`. `by_numpy` does the same.

Along a ray the water is told apart by rank (see `tables`): a stone takes what ranks between the share that is gone
before it and the share that passes below its top. So each portion of water is taken once, and nothing is lost.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from gravegis.science.irrigation.bundles import CIRCLE, SECTOR, STRIP, Ground, Spray, Turns
from gravegis.science.irrigation.kernels import carried, clipped, head_of, loop, part

Array = Any  # arrays as numba sees them
NARROW = 0.9  # cosine of the widest angle under which a piece of an edge is seen as a whole; `by_numpy` has the same
SLIM = 0.05  # sine of the angle below which half the rays do for a piece; `by_numpy` has the same
WAYS_N = 128
"""Directions round a head by which its stones are listed. Own choice: changes nothing but time."""


@part
def look_up(share: Array, place: float, height: float) -> float:
    """Share of the water that has come below a height, in columns of the table, at a place, 0 to 1, of its throw."""
    distances, heights = share.shape
    if place >= 1.0 or height >= heights - 1:
        return 1.0
    u = place * (distances - 1)
    i = min(int(u), distances - 2)
    j = int(height)
    f, g = u - i, height - j
    near = (1.0 - g) * share[i, j] + g * share[i, j + 1]
    far = (1.0 - g) * share[i + 1, j] + g * share[i + 1, j + 1]
    return (1.0 - f) * near + f * far


@part
def landed_at(share: Array, place: float) -> float:
    """Share of the water that has landed at a place; `look_up` at no height, bit for bit."""
    last = share.shape[0] - 1
    if place >= 1.0:
        return 1.0
    u = place * last
    i = min(int(u), last - 1)
    f = u - i
    return (1.0 - f) * share[i, 0] + f * share[i + 1, 0]


@part
def pattern_of(turns: Turns, spray: Spray, k: int) -> tuple[Any, ...]:
    """Return what the rays of a head need as plain figures: handing on bundles of arrays costs more than reading."""
    side, t = spray.sides_m[k], spray.table[k]
    return (
        turns.kind[k] == STRIP, turns.throw_m[k], spray.flow_rad[k], spray.bend_one[k], spray.bend_two[k],
        turns.start_x[k], turns.start_y[k], side[0], side[1], side[2], side[3], spray.throw_m[t], spray.steepest,
    )  # fmt: skip


@part
def along_ray(pattern: tuple[Any, ...], ux: float, uy: float) -> tuple[float, float, float, float]:
    """Throw, flow per radian and the two bends of the table along a ray of unit vector u."""
    strip, throw, flow, one, two, start_x, start_y, nearest, farthest, left, right, reach, steepest = pattern
    if not strip:
        return throw, flow, one, two
    along = ux * start_x + uy * start_y
    across = ux * start_y - uy * start_x
    throw = math.inf
    if along != 0:
        throw = min(throw, (farthest if along > 0 else nearest) / along)
    if across != 0:
        throw = min(throw, (right if across > 0 else left) / across)
    if throw <= 0:
        return 0.0, 0.0, 1.0, 0.0
    ratio = reach / throw
    if ratio > steepest:
        return throw, flow * throw * throw, 1.0 / ratio, (ratio - 1.0) / ratio
    return throw, flow * throw * throw, 1.0, 0.0


@part
def crossing(ux: float, uy: float, ax: float, ay: float, bx: float, by: float) -> float:
    """Distance at which a ray crosses an edge, negative where it does not."""
    a, b = ux * ay - uy * ax, ux * by - uy * bx
    if (a > 0) == (b > 0):
        return -1.0
    at = a / (a - b)
    x, y = ax + at * (bx - ax), ay + at * (by - ay)
    return x * ux + y * uy


@part
def gone_at(
    edges: Array, share: Array, lines: tuple[int, int, int], ray: tuple[float, float, float], look: tuple[float, ...]
) -> tuple[float, float]:
    """Share of the water gone to one stone before the ray has come to ``far``, and where the ray next leaves it.

    ``lines`` are its first and last edge and one to leave out, ``ray`` the unit vector and ``far``, ``look`` its
    height, the throw and the two bends of the table.
    """
    first, last, but = lines
    ux, uy, far = ray
    height, throw, one, two = look
    gone, beyond, inside = 0.0, math.inf, False
    for e in range(first, last):
        if e == but:
            continue
        at = crossing(ux, uy, edges[e, 0], edges[e, 1], edges[e, 2], edges[e, 3])
        if at < 0:
            continue
        if at >= far:
            beyond = min(beyond, at)
            continue
        inside = not inside
        s = min(at / throw, 1.0)
        gone = max(gone, look_up(share, s * (one + two * s), height))
    if inside and but < 0:
        s = min(far / throw, 1.0)
        gone = max(gone, look_up(share, s * (one + two * s), height))
    return gone, beyond


@part
def seen_edges(ground: Ground, turns: Turns, stone: Array, k: int, edges: Array, first: Array, disc: Array) -> None:
    """Write the edges of some stones as seen from a head in still air, and their discs.

    Of each disc middle and radius, whether the head stands within the stone, and how near the disc comes.
    """
    n = 0
    for m in range(len(stone)):
        i = stone[m]
        first[m] = n
        cx, cy = ground.x_m[i] - turns.x_m[k], ground.y_m[i] - turns.y_m[k]
        sx, sy = carried(cx, cy, turns, k)
        disc[m, 0], disc[m, 1], disc[m, 2] = cx - sx, cy - sy, ground.radius_m[i]
        within = False
        for e in range(ground.first[i], ground.first[i] + ground.edges_n[i]):
            ax, ay = ground.a_m[e, 0] - turns.x_m[k] - sx, ground.a_m[e, 1] - turns.y_m[k] - sy
            bx, by = ground.b_m[e, 0] - turns.x_m[k] - sx, ground.b_m[e, 1] - turns.y_m[k] - sy
            edges[n, 0], edges[n, 1], edges[n, 2], edges[n, 3] = ax, ay, bx, by
            if (ay > 0) != (by > 0) and (ax * by - ay * bx > 0) == (by > ay):
                within = not within
            n += 1
        disc[m, 3] = 1.0 if within else 0.0
        disc[m, 4] = math.hypot(disc[m, 0], disc[m, 1]) - disc[m, 2]
    first[len(stone)] = n


@part
def way_of(ux: float, uy: float) -> float:
    """Direction as a number from 0 to 4 that grows round the head with the angle."""
    part = uy / (abs(ux) + abs(uy))
    if ux < 0:
        return 2.0 - part
    return part if uy >= 0 else 4.0 + part


@part
def ways_of(disc: Array, m: int) -> tuple[int, int]:
    """First direction, of `WAYS_N` round the head, in which a stone may stand, and in how many it may."""
    x, y, room = disc[m, 0], disc[m, 1], disc[m, 2]
    r = math.sqrt(x * x + y * y)
    if r <= 1.001 * room:
        return 0, WAYS_N
    sine = room / r
    cosine = math.sqrt(1.0 - sine * sine)
    low = way_of(x * cosine + y * sine, y * cosine - x * sine) * (WAYS_N / 4) - 1e-6
    high = way_of(x * cosine - y * sine, y * cosine + x * sine) * (WAYS_N / 4) + 1e-6
    first, last = math.floor(low), math.floor(high)
    if last < first:
        last += WAYS_N
    return first, min(last - first + 1, WAYS_N)


@loop
def by_way(disc: Array) -> tuple[Array, Array]:
    """List the stones that may stand in each direction round the head, the nearest first; not one it stands within."""
    first = np.zeros(WAYS_N + 1, np.int64)
    order = np.argsort(disc[:, 4])
    for m in range(len(disc)):
        if disc[m, 3] == 0:
            way, ways = ways_of(disc, m)
            for w in range(way, way + ways):
                first[w % WAYS_N + 1] += 1
    for w in range(WAYS_N):
        first[w + 1] += first[w]
    place, item = first.copy(), np.empty(first[WAYS_N], np.int64)
    for m in order:
        if disc[m, 3] == 0:
            way, ways = ways_of(disc, m)
            for w in range(way, way + ways):
                item[place[w % WAYS_N]] = m
                place[w % WAYS_N] += 1
    return first, item


@part
def gone_before(
    edges: Array, share: Array, first: Array, disc: Array, tall: Array, way_first: Array, way_item: Array, m: int,
    ray: tuple[float, float, float], bend: tuple[float, float, float], enough: float,
) -> float:  # fmt: skip
    """Share of the water gone to the stones that stand before stone m on a ray; any above ``enough`` counts alike."""
    ux, uy, far = ray
    throw, one, two = bend
    way = min(int(way_of(ux, uy) * (WAYS_N / 4)), WAYS_N - 1)
    gone = 0.0
    for n in range(way_first[way], way_first[way + 1]):
        j = way_item[n]
        x, y, room = disc[j, 0], disc[j, 1], disc[j, 2]
        if disc[j, 4] > far:
            break
        if j == m or abs(ux * y - uy * x) > room:
            continue
        look = (tall[j], throw, one, two)
        gone = max(gone, gone_at(edges, share, (first[j], first[j + 1], -1), ray, look)[0])
        if gone >= enough:
            break
    return gone


@part
def pieces(edges: Array, e: int, turn: tuple[Any, ...]) -> tuple[float, float, float, float]:
    """Up to two parts of an edge that lie in the turn, as places on it; empty where first >= last."""
    _, _, _, kind, start_x, start_y, end_x, end_y = turn
    if kind in (CIRCLE, STRIP):
        return 0.0, 1.0, 1.0, 1.0
    ax, ay, bx, by = edges[e, 0], edges[e, 1], edges[e, 2], edges[e, 3]
    sa, sb = ax * start_y - ay * start_x, bx * start_y - by * start_x
    ea, eb = ax * end_y - ay * end_x, bx * end_y - by * end_x
    if kind == SECTOR:
        low, high = clipped(sa, sb, -ea, -eb)
        return low, high, 1.0, 1.0
    low, high = clipped(-sa, -sb, ea, eb)
    if low >= high:
        return 0.0, 1.0, 1.0, 1.0
    return 0.0, low, high, 1.0


@part
def cut(edges: Array, e: int, low: float, high: float, cuts: Array) -> int:
    """Write where a part of an edge is cut so that no piece is seen under a wide angle; return how many pieces.

    The line that halves the angle between two corners meets their edge in the ratio of their distances.
    """
    ax, ay, dx, dy = edges[e, 0], edges[e, 1], edges[e, 2] - edges[e, 0], edges[e, 3] - edges[e, 1]
    px, py, qx, qy = ax + low * dx, ay + low * dy, ax + high * dx, ay + high * dy
    if px * qx + py * qy >= NARROW * math.sqrt((px * px + py * py) * (qx * qx + qy * qy)):
        cuts[0], cuts[1] = low, high
        return 1
    cuts[0], cuts[8] = low, high
    for step in (4, 2, 1):
        for at in range(step, 8, 2 * step):
            before, after = cuts[at - step], cuts[at + step]
            px, py, qx, qy = ax + before * dx, ay + before * dy, ax + after * dx, ay + after * dy
            near, far = math.sqrt(px * px + py * py), math.sqrt(qx * qx + qy * qy)
            cuts[at] = before + (after - before) * (near / (near + far))
    return 8


@loop
def catches(
    ground: Ground, turns: Turns, spray: Spray, links: tuple[Array, ...], nodes: Array, out: Array, span: Array
) -> None:
    """Water on the four faces and the top of each stone from each head of a portion. [L/h]

    ``links`` are, by head: stones, places in ``out``, first link of each head; then height and face of edge.
    ``nodes`` holds places and weights on 0 to 1, and those for slim pieces; ``span`` first head, last head, whether
    stones shade each other.
    """
    stone, slot, head_first, height_m, face = links
    cuts = np.empty(9)
    for k in range(span[0], span[1]):
        low, high = head_first[k], head_first[k + 1]
        if low == high:
            continue
        mine = stone[low:high]
        edges, first, disc = scene_of(ground, turns, mine, k)
        way_first, way_item = by_way(disc if span[2] else disc[:0])
        share, pattern, turn = spray.share[spray.table[k]], pattern_of(turns, spray, k), head_of(turns, k)
        tall = height_m[mine] * ((share.shape[1] - 1) / spray.top_m[spray.table[k]])
        for m in range(len(mine)):
            for e in range(first[m], first[m + 1]):
                toward = edges[e, 1] * edges[e, 2] - edges[e, 0] * edges[e, 3]  # above 0: it looks at the head
                if toward <= 0 and disc[m, 3] == 0:
                    continue
                where = face[ground.first[mine[m]] + e - first[m]]
                from_, to, from_2, to_2 = pieces(edges, e, turn)
                for half in range(2):
                    p_low, p_high = (from_, to) if half == 0 else (from_2, to_2)
                    if p_low >= p_high:
                        continue
                    for c in range(cut(edges, e, p_low, p_high, cuts)):
                        piece = (m, e, slot[low + m], where, cuts[c], cuts[c + 1], toward)
                        take(share, pattern, edges, first, disc, tall, way_first, way_item, piece, nodes, out)


@loop
def scene_of(ground: Ground, turns: Turns, mine: Array, k: int) -> tuple[Array, Array, Array]:
    """Edges of some stones as seen from a head in still air, first edge of each, and their discs."""
    n_edges = 0
    for m in range(len(mine)):
        n_edges += ground.edges_n[mine[m]]
    edges, first = np.empty((n_edges, 4)), np.empty(len(mine) + 1, np.int64)
    disc = np.empty((len(mine), 5))
    seen_edges(ground, turns, mine, k, edges, first, disc)
    return edges, first, disc


@part
def take(
    share: Array, pattern: tuple[Any, ...], edges: Array, first: Array, disc: Array, tall: Array, way_first: Array,
    way_item: Array, piece: tuple[Any, ...], nodes: Array, out: Array,
) -> None:  # fmt: skip
    """Add what the rays through one piece of an edge leave on its face and on the top behind it."""
    m, e, row, where, low, high, toward = piece
    ax, ay, bx, by = edges[e, 0], edges[e, 1], edges[e, 2], edges[e, 3]
    within = disc[m, 3] > 0
    px, py, qx, qy = ax + low * (bx - ax), ay + low * (by - ay), ax + high * (bx - ax), ay + high * (by - ay)
    aside = px * qy - py * qx
    slim = 1 if aside * aside < SLIM * SLIM * ((px * px + py * py) * (qx * qx + qy * qy)) else 0
    for g in range((nodes.shape[1] + slim) >> slim):
        at = low + nodes[slim, g, 0] * (high - low)
        px, py = ax + at * (bx - ax), ay + at * (by - ay)
        square = px * px + py * py
        r = math.sqrt(square)
        ray = (px / r, py / r, r)
        throw, flow, one, two = along_ray(pattern, ray[0], ray[1])
        if r >= throw and not within:
            continue
        weight = flow * nodes[slim, g, 1] * (high - low) * toward / square
        s = r / throw if r < throw else 1.0
        u = s * (one + two * s)
        landed = landed_at(share, u)
        if within:  # the head stands within: what falls there is on top
            out[row, 4] -= weight * landed
            continue
        own, beyond = gone_at(edges, share, (first[m], first[m + 1], e), ray, (tall[m], throw, one, two))
        gone = max(landed, own)
        at_face = look_up(share, u, tall[m])
        if beyond < math.inf:
            s = min(beyond / throw, 1.0)
        below = look_up(share, s * (one + two * s), tall[m])
        enough = max(at_face, below)
        if gone < enough and len(way_item):
            before = gone_before(
                edges, share, first, disc, tall, way_first, way_item, m, ray, (throw, one, two), enough
            )
            gone = max(gone, before)
        out[row, where] += weight * max(0.0, at_face - gone)
        out[row, 4] += weight * max(0.0, below - max(gone, at_face))


@loop
def order_by_head(head: Array, first: Array, order: Array) -> None:
    """Places of the pairs of each head, in the order of the pairs; ``first`` comes as zeros, ``(heads + 1,)``."""
    for p in range(len(head)):
        first[head[p] + 1] += 1
    for k in range(len(first) - 1):
        first[k + 1] += first[k]
    place = first.copy()
    for p in range(len(head)):
        order[place[head[p]]] = p
        place[head[p]] += 1


@loop
def add_by_stone(stone: Array, values: Array, weight: Array, out: Array) -> None:
    """Add the values of each pair, times its weight, to the row of its stone."""
    for p in range(len(stone)):
        for column in range(values.shape[1]):
            out[stone[p], column] += values[p, column] * weight[p]
