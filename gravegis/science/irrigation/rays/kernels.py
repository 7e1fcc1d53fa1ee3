"""Compiled loops over rays: what the water of each head leaves on the faces and tops of stones.

Loaded through `gravegis.science.compiled`; see `gravegis.science.irrigation.kernels`. `by_numpy` does the same.

Along a ray the water is told apart by rank (see `tables`): a stone takes what ranks between the share that is gone
before it and the share that passes below its top. So each portion of water is taken once, and nothing is lost.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numba import njit

from gravegis.science.irrigation.bundles import CIRCLE, SECTOR, STRIP, Ground, Spray, Turns
from gravegis.science.irrigation.kernels import carried, clipped

Array = Any  # arrays as numba sees them
NARROW = 0.9  # cosine of the widest angle under which a piece of an edge is seen as a whole; `by_numpy` has the same


@njit(cache=True, nogil=True)
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


@njit(cache=True, nogil=True)
def pattern_of(turns: Turns, spray: Spray, k: int) -> tuple[Any, ...]:
    """Return what the rays of a head need as plain figures: handing on bundles of arrays costs more than reading."""
    side, t = spray.sides_m[k], spray.table[k]
    return (
        turns.kind[k] == STRIP, turns.throw_m[k], spray.flow_rad[k], spray.bend_one[k], spray.bend_two[k],
        turns.start_x[k], turns.start_y[k], side[0], side[1], side[2], side[3], spray.throw_m[t], spray.steepest,
    )  # fmt: skip


@njit(cache=True, nogil=True)
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


@njit(cache=True, nogil=True)
def crossing(ux: float, uy: float, ax: float, ay: float, bx: float, by: float) -> float:
    """Distance at which a ray crosses an edge, negative where it does not."""
    a, b = ux * ay - uy * ax, ux * by - uy * bx
    if (a > 0) == (b > 0):
        return -1.0
    at = a / (a - b)
    x, y = ax + at * (bx - ax), ay + at * (by - ay)
    return x * ux + y * uy


@njit(cache=True, nogil=True)
def gone_at(
    edges: Array,
    share: Array,
    lines: tuple[int, int, int],
    ray: tuple[float, float, float],
    look: tuple[float, float, float, float],
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


@njit(cache=True, nogil=True)
def seen_edges(ground: Ground, turns: Turns, stone: Array, k: int, edges: Array, first: Array, disc: Array) -> None:
    """Write the edges of some stones as seen from a head in still air, and their middles and radii."""
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
    first[len(stone)] = n


@njit(cache=True, nogil=True)
def may_shade(disc: Array, m: int, j: int) -> bool:
    """Whether stone j may stand between the head and stone m: cones overlap and j begins nearer than m ends."""
    if disc[j, 3] > 0:
        return False
    r_m, r_j = math.hypot(disc[m, 0], disc[m, 1]), math.hypot(disc[j, 0], disc[j, 1])
    if r_j - disc[j, 2] > r_m + disc[m, 2]:
        return False
    if r_m <= disc[m, 2] or r_j <= disc[j, 2]:
        return True
    sin_m, sin_j = disc[m, 2] / r_m, disc[j, 2] / r_j
    both = math.sqrt((1.0 - sin_m * sin_m) * (1.0 - sin_j * sin_j)) - sin_m * sin_j
    return (disc[m, 0] * disc[j, 0] + disc[m, 1] * disc[j, 1]) >= (both - 1e-9) * r_m * r_j


@njit(cache=True, nogil=True)
def pieces(edge: Array, turns: Turns, k: int) -> tuple[float, float, float, float]:
    """Up to two parts of an edge that lie in the turn, as places on it; empty where first >= last."""
    ax, ay, bx, by = edge[0], edge[1], edge[2], edge[3]
    if turns.kind[k] == CIRCLE or turns.kind[k] == STRIP:
        return 0.0, 1.0, 1.0, 1.0
    sa, sb = ax * turns.start_y[k] - ay * turns.start_x[k], bx * turns.start_y[k] - by * turns.start_x[k]
    ea, eb = ax * turns.end_y[k] - ay * turns.end_x[k], bx * turns.end_y[k] - by * turns.end_x[k]
    if turns.kind[k] == SECTOR:
        low, high = clipped(sa, sb, -ea, -eb)
        return low, high, 1.0, 1.0
    low, high = clipped(-sa, -sb, ea, eb)
    if low >= high:
        return 0.0, 1.0, 1.0, 1.0
    return 0.0, low, high, 1.0


@njit(cache=True, nogil=True)
def cut(edge: Array, low: float, high: float, cuts: Array) -> int:
    """Write where a part of an edge is cut so that no piece is seen under a wide angle; return how many pieces.

    The line that halves the angle between two corners meets their edge in the ratio of their distances.
    """
    ax, ay, dx, dy = edge[0], edge[1], edge[2] - edge[0], edge[3] - edge[1]
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


@njit(cache=True, nogil=True)
def catches(
    ground: Ground, turns: Turns, spray: Spray, links: tuple[Array, ...], nodes: Array, out: Array, span: Array
) -> None:
    """Water on the four faces and the top of each stone from each head of a portion. [L/h]

    ``links`` are, by head: stones, places in ``out``, first link of each head; then height and face of edge.
    ``nodes`` holds places and weights on 0 to 1; ``span`` first head, last head, whether stones shade each other.
    """
    stone, slot, head_first, height_m, face = links
    cuts = np.empty(9)
    for k in range(span[0], span[1]):
        low, high = head_first[k], head_first[k + 1]
        mine = stone[low:high]
        edges, first, disc = scene_of(ground, turns, mine, k)
        shades = np.empty(len(mine), np.int64)
        share, pattern = spray.share[spray.table[k]], pattern_of(turns, spray, k)
        step = (share.shape[1] - 1) / spray.top_m[spray.table[k]]
        tall = np.empty(len(mine))
        for m in range(len(mine)):
            tall[m] = height_m[mine[m]] * step
        for m in range(len(mine)):
            n = 0
            if span[2]:
                for j in range(len(mine)):
                    if j != m and may_shade(disc, m, j):
                        shades[n] = j
                        n += 1
            scene = (edges, first, disc, tall, shades[:n])
            into = out[slot[low + m]]
            for e in range(first[m], first[m + 1]):
                toward = edges[e, 1] * edges[e, 2] - edges[e, 0] * edges[e, 3]  # above 0: it looks at the head
                if toward <= 0 and disc[m, 3] == 0:
                    continue
                where = face[ground.first[mine[m]] + e - first[m]]
                from_, to, from_2, to_2 = pieces(edges[e], turns, k)
                for p_low, p_high in ((from_, to), (from_2, to_2)):
                    if p_low >= p_high:
                        continue
                    for c in range(cut(edges[e], p_low, p_high, cuts)):
                        piece = (m, e, where, cuts[c], cuts[c + 1], toward)
                        take(share, pattern, scene, piece, nodes, into)


@njit(cache=True, nogil=True)
def scene_of(ground: Ground, turns: Turns, mine: Array, k: int) -> tuple[Array, Array, Array]:
    """Edges of some stones as seen from a head in still air, first edge of each, and their discs."""
    n_edges = 0
    for m in range(len(mine)):
        n_edges += ground.edges_n[mine[m]]
    edges, first = np.empty((n_edges, 4)), np.empty(len(mine) + 1, np.int64)
    disc = np.empty((len(mine), 4))
    seen_edges(ground, turns, mine, k, edges, first, disc)
    return edges, first, disc


@njit(cache=True, nogil=True)
def take(
    share: Array, pattern: tuple[Any, ...], scene: tuple[Any, ...], piece: tuple[Any, ...], nodes: Array, into: Array
) -> None:
    """Add what the rays through one piece of an edge leave on its face and on the top behind it."""
    edges, first, disc, tall, shades = scene
    m, e, where, low, high, toward = piece
    ax, ay, bx, by = edges[e, 0], edges[e, 1], edges[e, 2], edges[e, 3]
    for g in range(nodes.shape[0]):
        at = low + nodes[g, 0] * (high - low)
        px, py = ax + at * (bx - ax), ay + at * (by - ay)
        square = px * px + py * py
        r = math.sqrt(square)
        throw, flow, one, two = along_ray(pattern, px / r, py / r)
        if r >= throw and disc[m, 3] == 0:
            continue
        weight = flow * nodes[g, 1] * (high - low) * toward / square
        s = r / throw if r < throw else 1.0
        u = s * (one + two * s)
        landed = look_up(share, u, 0.0)
        if disc[m, 3] > 0:  # the head stands within: what falls there is on top
            into[4] -= weight * landed
            continue
        ray = (px / r, py / r, r)
        own, beyond = gone_at(edges, share, (first[m], first[m + 1], e), ray, (tall[m], throw, one, two))
        gone = max(landed, own)
        for q in shades:
            look = (tall[q], throw, one, two)
            gone = max(gone, gone_at(edges, share, (first[q], first[q + 1], -1), ray, look)[0])
        at_face = look_up(share, u, tall[m])
        into[where] += weight * max(0.0, at_face - gone)
        if beyond < math.inf:
            s = min(beyond / throw, 1.0)
        below = look_up(share, s * (one + two * s), tall[m])
        into[4] += weight * max(0.0, below - max(gone, at_face))
