"""The loops of `kernels` without numba: the same operations on whole arrays, head by head."""

from __future__ import annotations

import numpy as np

from gravegis.science.irrigation.bundles import SECTOR, WIDE, Floats, Grid, Ground, Ints, Spray, Turns
from gravegis.science.irrigation.rays.by_numpy import Scene, along_ray, crossings, look_up, scene_of
from gravegis.science.irrigation.wind import carried_m

Shade = tuple[Ground, Ints, Ints, Floats]
Window = tuple[int, int, int, int]


def rate_at(turns: Turns, spray: Spray, k: int, x: Floats, y: Floats, half_m: float) -> tuple[Floats, Floats]:
    """Rate at places seen from a head, mean over a ring this wide to both sides, and their rank. [mm/h]"""
    sx, sy = carried_m(x, y, turns, np.full(x.shape, k))
    x, y = x - sx, y - sy
    r = np.sqrt(x * x + y * y)
    some = r > 0
    ux = np.divide(x, r, out=np.full(x.shape, turns.start_x[k]), where=some)
    uy = np.divide(y, r, out=np.full(x.shape, turns.start_y[k]), where=some)
    throw, flow, one, two = along_ray(turns, spray, k, ux, uy)
    wet = (throw > 0) & (r - half_m < throw)
    if turns.kind[k] in (SECTOR, WIDE):
        past_start = x * turns.start_y[k] - y * turns.start_x[k] >= 0
        before_end = x * turns.end_y[k] - y * turns.end_x[k] <= 0
        wet &= (past_start | before_end) if turns.kind[k] == WIDE else (past_start & before_end)
    throw = np.where(throw > 0, throw, 1.0)
    near, far = np.maximum(r - half_m, 0.0), r + half_m
    t, none = spray.table[k], np.zeros_like(r)
    s = np.where(wet, near / throw, 0.0)
    before = look_up(spray, t, s * (one + two * s), none)
    s = np.minimum(far / throw, 1.0)
    after = look_up(spray, t, s * (one + two * s), none)
    s = np.where(wet, np.minimum(r / throw, 1.0), 0.0)
    spread = np.ones_like(r)
    if turns.drift_m[k] > 0:
        toward = ux * turns.wind_x[k] + uy * turns.wind_y[k]
        drawn = 1.0 + toward * 2.0 * r / (turns.ramp_m[k] * turns.ramp_m[k])
        spread = np.where(wet & (r < turns.ramp_m[k]), drawn, 1.0)
    rate = flow * (after - before) / ((far * far - near * near) / 2.0) / spread
    return np.where(wet, rate, 0.0), np.where(wet, look_up(spray, t, s * (one + two * s), none), 0.0)


def rates_at_stones(
    ground: Ground, turns: Turns, spray: Spray, who: Ints, half_m: float, out: Floats, span: Ints
) -> None:
    """Rate on the ground at the middle of the stone of each pair of a portion. [mm/h]"""
    mine = np.arange(span[0], span[1])
    for k in np.unique(who[mine, 1]).tolist():
        of_head = mine[who[mine, 1] == k]
        stone = who[of_head, 0]
        x, y = ground.x_m[stone] - turns.x_m[k], ground.y_m[stone] - turns.y_m[k]
        out[of_head] = rate_at(turns, spray, k, x, y, half_m)[0]


def window_of(turns: Turns, grid: Grid, k: int) -> Window:
    """Columns and rows that hold the pattern of a head, also where they lie beyond the grid."""
    far = turns.throw_m[k] + turns.drift_m[k] + grid.cell_m / 2.0
    west, east = ((turns.x_m[k] + side * far - grid.x0_m) / grid.cell_m for side in (-1, 1))
    south, north = ((turns.y_m[k] + side * far - grid.y0_m) / grid.cell_m for side in (-1, 1))
    return int(np.floor(west)), int(np.floor(east)) + 1, int(np.floor(south)), int(np.floor(north)) + 1


def patch_of(turns: Turns, spray: Spray, grid: Grid, shade: Shade, k: int, window: Window) -> Floats:
    """Rates of one head in some columns and rows, without what stones keep off where ``shade`` holds any."""
    west, east, south, north = window
    x = grid.x0_m + (np.arange(west, east) + 0.5) * grid.cell_m - turns.x_m[k]
    y = grid.y0_m + (np.arange(south, north) + 0.5) * grid.cell_m - turns.y_m[k]
    across, up = (part.ravel() for part in np.meshgrid(x, y))
    patch, rank = rate_at(turns, spray, k, across, up, grid.cell_m / 2.0)
    ground, stone, head_first, height_m = shade
    mine = stone[head_first[k] : head_first[k + 1]] if len(stone) else stone
    if len(mine):
        sx, sy = carried_m(across, up, turns, np.full(across.shape, k))
        scene = scene_of(ground, turns, mine, k)
        step = (spray.share.shape[2] - 1) / spray.top_m[spray.table[k]]
        for m, i in enumerate(mine):
            _keep_off(turns, spray, k, scene, (m, height_m[i] * step), (across - sx, up - sy), patch, rank)
    return patch.reshape(north - south, east - west)


def _keep_off(
    turns: Turns, spray: Spray, k: int, scene: Scene, stone: tuple[int, float], place: tuple[Floats, Floats],
    patch: Floats, rank: Floats,
) -> None:  # fmt: skip
    """Take from the cells what one stone and its shadow keep off the ground."""
    m, height = stone
    far = np.sqrt(place[0] * place[0] + place[1] * place[1])
    middle, radius = scene.middle[m], scene.radius[m]
    passed = np.abs(middle[0] * place[1] - middle[1] * place[0]) > radius * far
    some = np.flatnonzero((patch != 0) & (far > 0) & ~passed)
    if not len(some):
        return
    far = far[some]
    ux, uy = place[0][some] / far, place[1][some] / far
    throw, _, one, two = along_ray(turns, spray, k, ux, uy)
    edges = scene.stone == m
    part = Scene((scene.edge[0][edges], scene.edge[1][edges], scene.edge[2][edges], scene.edge[3][edges]), *scene[1:])
    at = crossings(part, ux, uy)
    if scene.within[m]:
        off = np.where((at > far[:, None]).sum(axis=1) % 2 == 1, 2.0, 0.0)
    else:
        before = (at >= 0) & (at < far[:, None])
        s = np.minimum(np.where(before, at, 0.0) / throw[:, None], 1.0)
        u = s * (one[:, None] + two[:, None] * s)
        tall = np.full(u.shape, height)
        off = np.where(before, look_up(spray, spray.table[k], u, tall), 0.0).max(axis=1)
        s = np.minimum(far / throw, 1.0)
        inside = before.sum(axis=1) % 2 == 1
        here = look_up(spray, spray.table[k], s * (one + two * s), tall[:, 0])
        off = np.where(inside, np.maximum(off, here), off)
        off = np.where((at >= far[:, None]).any(axis=1) & (off > 0), 2.0, off)
    patch[some[(off >= rank[some]) & (off > 0)]] = 0.0


def sums(turns: Turns, spray: Spray, grid: Grid, shade: Shade, out: Floats, span: Ints) -> None:
    """Sum of the cells of each head of a portion, over all cells and over those of the grid. [mm/h]"""
    for k in range(int(span[0]), int(span[1])):
        west, east, south, north = window_of(turns, grid, k)
        patch = patch_of(turns, spray, grid, shade, k, (west, east, south, north))
        rows, columns = np.arange(south, north), np.arange(west, east)
        inside = ((rows >= 0) & (rows < grid.ny))[:, None] & ((columns >= 0) & (columns < grid.nx))
        out[k] = patch.sum(), patch[inside].sum()


def add_rows(turns: Turns, spray: Spray, grid: Grid, shade: Shade, factor: Floats, out: Floats, span: Ints) -> None:
    """Add the heads, in order, to the rows of a portion. [mm/h]"""
    for k in np.flatnonzero(factor).tolist():
        west, east, south, north = window_of(turns, grid, k)
        west, east = max(west, 0), min(east, grid.nx)
        south, north = max(south, span[0]), min(north, span[1])
        if west < east and south < north:
            patch = patch_of(turns, spray, grid, shade, k, (west, east, south, north))
            out[south:north, west:east] += factor[k] * patch
