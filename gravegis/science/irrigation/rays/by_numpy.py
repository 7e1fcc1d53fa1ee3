"""The loops of `kernels` without numba: the same operations on whole arrays, head by head, for where it is missing.

Functions and arguments are those of `gravegis.science.irrigation.rays.kernels`; results agree to the last bit or two.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import numpy.typing as npt

from gravegis.science.irrigation.bundles import SECTOR, STRIP, WIDE, Floats, Ground, Ints, Spray, Turns
from gravegis.science.irrigation.throw import clip_edges
from gravegis.science.irrigation.wind import carried_m

if TYPE_CHECKING:
    from collections.abc import Iterator

Links = tuple[Ints, Ints, Ints, Floats, Ints]
Edge = tuple[Floats, Floats, Floats, Floats]
Flags = npt.NDArray[np.bool_]
NARROW = 0.9
"""Cosine of the widest angle under which a piece of an edge is seen as a whole. Own choice."""
SLIM = 0.05
"""Sine of the angle below which half the rays do for a piece. Own choice: tested against many rays."""
_CROSSINGS_AT_ONCE = 1 << 21


class Scene(NamedTuple):
    """The stones of one head, seen from it in still air."""

    edge: Edge  # (edges,) each
    stone: Ints  # (edges,) place of its stone in the scene
    first: Ints  # (stones,) its first edge
    place: Ints  # (edges,) its place in the ground
    middle: Floats  # (stones, 2)
    radius: Floats
    within: Flags  # (stones,) the head stands within


class Rays(NamedTuple):
    """Rays of one head: each through a place of an edge."""

    edge: Ints  # place in the scene
    part: Floats  # weight and length of the part of its edge
    x: Floats
    y: Floats
    square: Floats


def look_up(spray: Spray, t: int, place: Floats, height: Floats) -> Floats:
    """Share that has come below a height, in columns of the table, at a place, 0 to 1, of its throw."""
    table = spray.share[t]
    i = np.clip((place * (table.shape[0] - 1)).astype(np.int64), 0, table.shape[0] - 2)
    j = np.clip(height.astype(np.int64), 0, table.shape[1] - 2)
    f, g = place * (table.shape[0] - 1) - i, height - j
    near = (1.0 - g) * table[i, j] + g * table[i, j + 1]
    far = (1.0 - g) * table[i + 1, j] + g * table[i + 1, j + 1]
    above = (place >= 1.0) | (height >= table.shape[1] - 1)
    return np.where(above, 1.0, (1.0 - f) * near + f * far)


def along_ray(turns: Turns, spray: Spray, k: int, ux: Floats, uy: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Throw, flow per radian and the two bends of the table along rays of unit vector u."""
    if turns.kind[k] != STRIP:
        same = (turns.throw_m[k], spray.flow_rad[k], spray.bend_one[k], spray.bend_two[k])
        one, two, three, four = (np.full(ux.shape, value) for value in same)
        return one, two, three, four
    along = ux * turns.start_x[k] + uy * turns.start_y[k]
    across = ux * turns.start_y[k] - uy * turns.start_x[k]
    nearest, farthest, left, right = spray.sides_m[k]
    throw = np.full(ux.shape, np.inf)
    for part, low, high in ((along, nearest, farthest), (across, left, right)):
        to_side = np.divide(np.where(part > 0, high, low), part, out=np.full(ux.shape, np.inf), where=part != 0)
        throw = np.minimum(throw, to_side)
    some = throw > 0
    throw = np.where(some, throw, 0.0)
    ratio = spray.throw_m[spray.table[k]] / np.where(some, throw, 1.0)
    bent = some & (ratio > spray.steepest)
    one, two = np.where(bent, 1.0 / ratio, 1.0), np.where(bent, (ratio - 1.0) / ratio, 0.0)
    return throw, np.where(some, spray.flow_rad[k] * throw * throw, 0.0), one, two


def scene_of(ground: Ground, turns: Turns, stones: Ints, k: int) -> Scene:
    """Edges of some stones as seen from a head."""
    count = ground.edges_n[stones]
    first = np.cumsum(count) - count
    stone = np.repeat(np.arange(len(stones)), count)
    place = np.arange(len(stone)) + (ground.first[stones] - first)[stone]
    x, y = ground.x_m[stones] - turns.x_m[k], ground.y_m[stones] - turns.y_m[k]
    sx, sy = carried_m(x, y, turns, np.full(len(stones), k))
    ax, ay = ground.a_m[place, 0] - turns.x_m[k] - sx[stone], ground.a_m[place, 1] - turns.y_m[k] - sy[stone]
    bx, by = ground.b_m[place, 0] - turns.x_m[k] - sx[stone], ground.b_m[place, 1] - turns.y_m[k] - sy[stone]
    crossed = ((ay > 0) != (by > 0)) & ((ax * by - ay * bx > 0) == (by > ay))
    within = np.logical_xor.reduceat(crossed, first)
    middle = np.stack([x - sx, y - sy], axis=1)
    return Scene((ax, ay, bx, by), stone, first, place, middle, ground.radius_m[stones], within)


def rays_of(scene: Scene, turns: Turns, k: int, nodes: Floats) -> Rays:
    """Rays through the parts of the edges that lie in the turn and look at the head, edge by edge."""
    ax, ay, bx, by = scene.edge
    toward = ay * bx - ax * by
    low, high = np.zeros((len(ax), 2)), np.ones((len(ax), 2))
    low[:, 1] = 1.0
    if turns.kind[k] in (SECTOR, WIDE):
        sa, sb = (x * turns.start_y[k] - y * turns.start_x[k] for x, y in ((ax, ay), (bx, by)))
        ea, eb = (x * turns.end_y[k] - y * turns.end_x[k] for x, y in ((ax, ay), (bx, by)))
        if turns.kind[k] == SECTOR:
            low[:, 0], high[:, 0] = clip_edges((sa, sb), (-ea, -eb))
        else:
            from_, to = clip_edges((-sa, -sb), (ea, eb))
            cut = from_ < to
            high[:, 0] = np.where(cut, from_, 1.0)
            low[:, 1] = np.where(cut, to, 1.0)
    used = (low < high) & ((toward > 0) | scene.within[scene.stone])[:, None]
    edge, piece = np.nonzero(used)
    edge, start, end = _cut(scene.edge, edge, low[edge, piece], high[edge, piece])
    length = end - start
    slim = _slim(scene.edge, edge, start, end)
    count = np.where(slim, (nodes.shape[1] + 1) // 2, nodes.shape[1])
    row = np.repeat(np.arange(len(edge)), count)
    place = np.arange(len(row)) - np.repeat(np.cumsum(count) - count, count)
    node, weight = nodes[slim.astype(np.int64)[row], place].T
    edge, length = edge[row], length[row]
    at = start[row] + node * length
    px, py = ax[edge] + at * (bx[edge] - ax[edge]), ay[edge] + at * (by[edge] - ay[edge])
    return Rays(edge, np.stack([weight, length, toward[edge]], axis=1), px, py, px * px + py * py)


def _slim(edges: Edge, edge: Ints, low: Floats, high: Floats) -> Flags:
    """Whether parts of edges are seen under a slim angle, as in `kernels.take`."""
    ax, ay, bx, by = (end[edge] for end in edges)
    px, py, qx, qy = ax + low * (bx - ax), ay + low * (by - ay), ax + high * (bx - ax), ay + high * (by - ay)
    aside = px * qy - py * qx
    return np.asarray(aside * aside < SLIM * SLIM * ((px * px + py * py) * (qx * qx + qy * qy)))


def _cut(edges: Edge, edge: Ints, low: Floats, high: Floats) -> tuple[Ints, Floats, Floats]:
    """Cut parts of edges seen under a wide angle into eight seen under equal ones, as `kernels.cut`."""
    ax, ay, bx, by = (end[edge] for end in edges)
    dx, dy = bx - ax, by - ay
    px, py, qx, qy = ax + low * dx, ay + low * dy, ax + high * dx, ay + high * dy
    wide = px * qx + py * qy < NARROW * np.sqrt((px * px + py * py) * (qx * qx + qy * qy))
    cuts = np.empty((len(edge), 9))
    cuts[:, 0], cuts[:, 8] = low, high
    for step in (4, 2, 1):
        for at in range(step, 8, 2 * step):
            before, after = cuts[:, at - step], cuts[:, at + step]
            px, py, qx, qy = ax + before * dx, ay + before * dy, ax + after * dx, ay + after * dy
            near, far = np.sqrt(px * px + py * py), np.sqrt(qx * qx + qy * qy)
            cuts[:, at] = before + (after - before) * (near / (near + far))
    cuts[~wide, 1] = high[~wide]
    row = np.repeat(np.arange(len(edge)), np.where(wide, 8, 1))
    place = np.arange(len(row)) - np.searchsorted(row, row)
    return edge[row], cuts[row, place], cuts[row, place + 1]


def crossings(scene: Scene, ux: Floats, uy: Floats) -> Floats:
    """Distance at which each ray crosses each edge, negative where it does not, ``(rays, edges)``."""
    ax, ay, bx, by = scene.edge
    ux, uy = ux[:, None], uy[:, None]
    a, b = ux * ay - uy * ax, ux * by - uy * bx
    cross = (a > 0) != (b > 0)
    at = np.divide(a, a - b, out=np.zeros_like(a), where=cross)
    x, y = ax + at * (bx - ax), ay + at * (by - ay)
    return np.where(cross, x * ux + y * uy, -1.0)


def catches(ground: Ground, turns: Turns, spray: Spray, links: Links, nodes: Floats, out: Floats, span: Ints) -> None:
    """Water on the four faces and the top of each stone from each head of a portion. [L/h]"""
    stone, slot, head_first, height_m, face = links
    for k in range(span[0], span[1]):
        mine = slice(head_first[k], head_first[k + 1])
        if mine.start == mine.stop:
            continue
        scene = scene_of(ground, turns, stone[mine], k)
        height = height_m[stone[mine]] * ((spray.share.shape[2] - 1) / spray.top_m[spray.table[k]])
        rays = rays_of(scene, turns, k, nodes)
        for some in _portions(len(rays.x), len(scene.stone)):
            part = Rays(rays.edge[some], rays.part[some], rays.x[some], rays.y[some], rays.square[some])
            _catch_some(turns, spray, k, scene, part, height, (slot[mine], face, out), shadows=bool(span[2]))


def _portions(rays: int, edges: int) -> Iterator[slice]:
    step = max(1, _CROSSINGS_AT_ONCE // max(1, edges))
    return (slice(low, low + step) for low in range(0, rays, step))


def _catch_some(
    turns: Turns, spray: Spray, k: int, scene: Scene, rays: Rays, height: Floats,
    into: tuple[Ints, Ints, Floats], *, shadows: bool,
) -> None:  # fmt: skip
    """Add what some rays of one head leave."""
    slot, face, out = into
    t = spray.table[k]
    r = np.sqrt(rays.square)
    ux, uy = rays.x / r, rays.y / r
    throw, flow, one, two = along_ray(turns, spray, k, ux, uy)
    safe = np.where(throw > 0, throw, 1.0)
    stone = scene.stone[rays.edge]
    held = scene.within[stone]
    used = held | (r < throw)
    weight = flow * rays.part[:, 0] * rays.part[:, 1] * rays.part[:, 2] / rays.square
    s = np.where(r < throw, r / safe, 1.0)
    u = s * (one + two * s)
    landed = look_up(spray, t, u, np.zeros_like(u))
    at = crossings(scene, ux, uy)
    gone, beyond = _gone(spray, t, scene, at, (rays.edge, r, safe, one, two), height, shadows=shadows)
    gone = np.maximum(landed, gone)
    at_face = look_up(spray, t, u, height[stone])
    s = np.where(beyond < np.inf, np.minimum(beyond / safe, 1.0), s)
    below = look_up(spray, t, s * (one + two * s), height[stone])
    on_face = weight * np.maximum(0.0, at_face - gone)
    on_top = np.where(held, -(weight * landed), weight * np.maximum(0.0, below - np.maximum(gone, at_face)))
    row = slot[stone]
    lit = used & ~held
    np.add.at(out, (row[lit], face[scene.place[rays.edge[lit]]]), on_face[lit])
    np.add.at(out[:, 4], row[used], on_top[used])


def _gone(
    spray: Spray, t: int, scene: Scene, at: Floats, ray: tuple[Ints, Floats, Floats, Floats, Floats], height: Floats,
    *, shadows: bool,
) -> tuple[Floats, Floats]:  # fmt: skip
    """Share gone to stones before each ray has come to its place, and where it next leaves its own stone."""
    edge, far, throw, one, two = ray
    own = scene.stone[None, :] == scene.stone[edge][:, None]
    own[np.arange(len(edge)), edge] = False
    beyond = np.where(own & (at >= far[:, None]), at, np.inf).min(axis=1)
    other = scene.stone[None, :] != scene.stone[edge][:, None]
    before = (at >= 0) & (at < far[:, None])
    counted = before & (own | (other & ~scene.within[scene.stone] & shadows))
    gone = np.zeros(len(edge))
    i, e = np.nonzero(counted)
    s = at[i, e] / throw[i]
    np.maximum.at(gone, i, look_up(spray, t, s * (one[i] + two[i] * s), height[scene.stone[e]]))
    if shadows:  # places that lie within another stone
        inside = np.add.reduceat(before & other, scene.first, axis=1) % 2 == 1
        i, j = np.nonzero(inside & ~scene.within)
        s = far[i] / throw[i]
        np.maximum.at(gone, i, look_up(spray, t, s * (one[i] + two[i] * s), height[j]))
    return gone, beyond


def order_by_head(head: Ints, first: Ints, order: Ints) -> None:
    """Places of the pairs of each head, in the order of the pairs; ``first`` comes as zeros, ``(heads + 1,)``."""
    order[:] = np.argsort(head, kind="stable")
    first[:] = np.searchsorted(head[order], np.arange(len(first)))


def add_by_stone(stone: Ints, values: Floats, weight: Floats, out: Floats) -> None:
    """Add the values of each pair, times its weight, to the row of its stone."""
    for column in range(values.shape[1]):
        out[:, column] += np.bincount(stone, values[:, column] * weight, minlength=len(out))
