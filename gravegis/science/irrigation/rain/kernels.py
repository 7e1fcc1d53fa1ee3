"""Compiled loops over the cells of a raster: the rate each head leaves on open ground, less what stones keep off.

Loaded through `gravegis.science.compiled`; see `gravegis.science.irrigation.kernels`. `by_numpy` does the same.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from gravegis.science.irrigation.bundles import SECTOR, STRIP, WIDE, Grid, Ground, Spray, Turns
from gravegis.science.irrigation.kernels import carried, loop, part
from gravegis.science.irrigation.rays.kernels import along_ray, crossing, gone_at, look_up, pattern_of, scene_of

Array = Any  # arrays as numba sees them


@part
def turn_of(turns: Turns, k: int) -> tuple[Any, ...]:
    """Turn and wind of a head, in plain figures."""
    return (
        turns.kind[k], turns.start_x[k], turns.start_y[k], turns.end_x[k], turns.end_y[k],
        turns.wind_x[k], turns.wind_y[k], turns.drift_m[k], turns.ramp_m[k],
    )  # fmt: skip


@part
def rate_at(
    share: Array, pattern: tuple[Any, ...], turn: tuple[Any, ...], x: float, y: float, half_m: float
) -> tuple[float, float]:
    """Rate at a place seen from a head in still air, mean over a ring this wide to both sides, and its rank. [mm/h]"""
    kind, start_x, start_y, end_x, end_y, wind_x, wind_y, drift, ramp = turn
    r = math.sqrt(x * x + y * y)
    ux, uy = (x / r, y / r) if r > 0 else (start_x, start_y)
    throw, flow, one, two = along_ray(pattern, ux, uy)
    if throw <= 0.0 or r - half_m >= throw:
        return 0.0, 0.0
    if kind in (SECTOR, WIDE):
        past_start = x * start_y - y * start_x >= 0
        before_end = x * end_y - y * end_x <= 0
        if not ((past_start or before_end) if kind == WIDE else (past_start and before_end)):
            return 0.0, 0.0
    near, far = max(r - half_m, 0.0), r + half_m
    s = near / throw
    before = look_up(share, s * (one + two * s), 0.0)
    s = min(far / throw, 1.0)
    after = look_up(share, s * (one + two * s), 0.0)
    s = min(r / throw, 1.0)
    spread = 1.0
    if drift > 0 and r < ramp:  # the pattern is drawn out downwind of the head, crowded upwind
        toward = ux * wind_x + uy * wind_y
        spread = 1.0 + toward * 2.0 * r / (ramp * ramp)
    rate = flow * (after - before) / ((far * far - near * near) / 2.0) / spread
    return rate, look_up(share, s * (one + two * s), 0.0)


@loop
def rates_at_stones(
    ground: Ground, turns: Turns, spray: Spray, who: Array, half_m: float, out: Array, span: Array
) -> None:
    """Rate on the ground at the middle of the stone of each pair of a portion. [mm/h]"""
    for p in range(span[0], span[1]):
        i, k = who[p, 0], who[p, 1]
        x, y = ground.x_m[i] - turns.x_m[k], ground.y_m[i] - turns.y_m[k]
        sx, sy = carried(x, y, turns, k)
        share, pattern, turn = spray.share[spray.table[k]], pattern_of(turns, spray, k), turn_of(turns, k)
        out[p] = rate_at(share, pattern, turn, x - sx, y - sy, half_m)[0]


@part
def window_of(turns: Turns, grid: Grid, k: int) -> tuple[int, int, int, int]:
    """Columns and rows that hold the pattern of a head, also where they lie beyond the grid."""
    far = turns.throw_m[k] + turns.drift_m[k] + grid.cell_m / 2.0
    west = math.floor((turns.x_m[k] - far - grid.x0_m) / grid.cell_m)
    east = math.floor((turns.x_m[k] + far - grid.x0_m) / grid.cell_m) + 1
    south = math.floor((turns.y_m[k] - far - grid.y0_m) / grid.cell_m)
    north = math.floor((turns.y_m[k] + far - grid.y0_m) / grid.cell_m) + 1
    return west, east, south, north


@loop
def patch_of(
    turns: Turns, spray: Spray, grid: Grid, shade: tuple[Any, ...], k: int, window: tuple[int, int, int, int]
) -> Array:
    """Rates of one head in some columns and rows, without what stones keep off where ``shade`` holds any."""
    west, east, south, north = window
    patch, rank = np.zeros((north - south, east - west)), np.zeros((north - south, east - west))
    share, pattern, turn = spray.share[spray.table[k]], pattern_of(turns, spray, k), turn_of(turns, k)
    half, hx, hy, windy = grid.cell_m / 2.0, turns.x_m[k], turns.y_m[k], turns.drift_m[k] > 0
    for row in range(south, north):
        y = grid.y0_m + (row + 0.5) * grid.cell_m - hy
        for column in range(west, east):
            x = grid.x0_m + (column + 0.5) * grid.cell_m - hx
            sx, sy = carried(x, y, turns, k) if windy else (0.0, 0.0)
            rate, order = rate_at(share, pattern, turn, x - sx, y - sy, half)
            patch[row - south, column - west], rank[row - south, column - west] = rate, order
    ground, stone, head_first, height_m = shade
    if len(stone) == 0:
        return patch
    mine = stone[head_first[k] : head_first[k + 1]]
    edges, first, disc = scene_of(ground, turns, mine, k)
    for m in range(len(mine)):
        keep_off(
            turns, spray, grid, (edges, first[m], first[m + 1], disc[m], height_m[mine[m]]), k, window, patch, rank
        )
    return patch


@part
def shadow_end(turns: Turns, spray: Spray, k: int, r: float, radius: float, height: float) -> float:
    """Distance by which all the water that passes above a stone at distance r may have landed again, at most. [m]"""
    throw, one, two = turns.throw_m[k], spray.bend_one[k], spray.bend_two[k]
    share = spray.share[spray.table[k]]
    if turns.kind[k] == STRIP or r <= radius:
        return throw
    near, far = min((r - radius) / throw, 1.0), min((r + radius) / throw, 1.0)
    gone = look_up(share, near * (one + two * near), height)
    gone = max(gone, look_up(share, far * (one + two * far), height))
    last = share.shape[0] - 1
    i = 0
    while i < last and share[i, 0] <= gone + 0.002:  # a little farther than the look-up may err
        i += 1
    u = i / last
    return throw * (u / one if two == 0.0 else (math.sqrt(one * one + 4.0 * two * u) - one) / (2.0 * two))


@part
def cells_shaded(
    turns: Turns, spray: Spray, grid: Grid, disc: Array, height: float, k: int, window: tuple[int, int, int, int]
) -> tuple[int, int, int, int]:
    """Columns and rows of a window that may lie under a stone or in its shadow."""
    west, east, south, north = window
    # the shadow lies within the disc of the stone, drawn out from the head to where it ends
    r = math.hypot(disc[0], disc[1])
    ends = shadow_end(turns, spray, k, r, disc[2], height)
    grow = max(1.0, (ends + disc[2]) / max(r - disc[2], 1e-9)) if disc[3] == 0 else 1.0
    drift = turns.drift_m[k]
    if r <= disc[2] and disc[3] == 0:  # beside the head the shadow may open to any side
        west_m, east_m, south_m, north_m = -ends - drift, ends + drift, -ends - drift, ends + drift
    else:
        west_m = min(disc[0] - disc[2], grow * (disc[0] - disc[2])) - drift
        east_m = max(disc[0] + disc[2], grow * (disc[0] + disc[2])) + drift
        south_m = min(disc[1] - disc[2], grow * (disc[1] - disc[2])) - drift
        north_m = max(disc[1] + disc[2], grow * (disc[1] + disc[2])) + drift
    hx, hy = turns.x_m[k] - grid.x0_m, turns.y_m[k] - grid.y0_m
    return (
        max(west, math.floor((hx + west_m) / grid.cell_m)), min(east, math.floor((hx + east_m) / grid.cell_m) + 1),
        max(south, math.floor((hy + south_m) / grid.cell_m)), min(north, math.floor((hy + north_m) / grid.cell_m) + 1),
    )  # fmt: skip


@part
def kept_off(
    edges: Array, share: Array, lines: tuple[int, int], ray: tuple[float, float, float], look: tuple[float, ...],
    within: bool,
) -> float:  # fmt: skip
    """Rank up to which one stone keeps water off a place on a ray: 2, all of it, for a place under the stone."""
    first, last = lines
    ux, uy, far = ray
    if not within:
        off, beyond = gone_at(edges, share, (first, last, -1), ray, look)
        return 2.0 if beyond < math.inf and off > 0.0 else off
    under = False
    for e in range(first, last):
        if crossing(ux, uy, edges[e, 0], edges[e, 1], edges[e, 2], edges[e, 3]) > far:
            under = not under
    return 2.0 if under else 0.0


@part
def keep_off(
    turns: Turns, spray: Spray, grid: Grid, stone: tuple[Any, ...], k: int, window: tuple[int, int, int, int],
    patch: Array, rank: Array,
) -> None:  # fmt: skip
    """Take from the cells of a patch what one stone and its shadow keep off the ground."""
    edges, first, last, disc, height_m = stone
    west, _, south, _ = window
    share, pattern = spray.share[spray.table[k]], pattern_of(turns, spray, k)
    height = height_m * ((share.shape[1] - 1) / spray.top_m[spray.table[k]])
    column_low, column_high, row_low, row_high = cells_shaded(turns, spray, grid, disc, height, k, window)
    for row in range(row_low, row_high):
        for column in range(column_low, column_high):
            if patch[row - south, column - west] == 0.0:
                continue
            x = grid.x0_m + (column + 0.5) * grid.cell_m - turns.x_m[k]
            y = grid.y0_m + (row + 0.5) * grid.cell_m - turns.y_m[k]
            sx, sy = carried(x, y, turns, k)
            x, y = x - sx, y - sy
            far = math.sqrt(x * x + y * y)
            if far == 0.0 or abs(disc[0] * y - disc[1] * x) > disc[2] * far:
                continue  # the ray passes the disc by
            ray = (x / far, y / far, far)
            throw, _, one, two = along_ray(pattern, ray[0], ray[1])
            off = kept_off(edges, share, (first, last), ray, (height, throw, one, two), disc[3] > 0)
            if off >= rank[row - south, column - west] and off > 0.0:
                patch[row - south, column - west] = 0.0


@loop
def sums(turns: Turns, spray: Spray, grid: Grid, shade: tuple[Any, ...], out: Array, span: Array) -> None:
    """Sum of the cells of each head of a portion, over all cells and over those of the grid. [mm/h]"""
    for k in range(span[0], span[1]):
        window = window_of(turns, grid, k)
        patch = patch_of(turns, spray, grid, shade, k, window)
        west, _, south, _ = window
        for row in range(patch.shape[0]):
            inside = 0 <= row + south < grid.ny
            for column in range(patch.shape[1]):
                out[k, 0] += patch[row, column]
                if inside and 0 <= column + west < grid.nx:
                    out[k, 1] += patch[row, column]


@loop
def add_rows(
    turns: Turns, spray: Spray, grid: Grid, shade: tuple[Any, ...], factor: Array, out: Array, span: Array
) -> None:
    """Add the heads, in order, to the rows of a portion. [mm/h]"""
    for k in range(len(turns.x_m)):
        west, east, south, north = window_of(turns, grid, k)
        west, east = max(west, 0), min(east, grid.nx)
        south, north = max(south, span[0]), min(north, span[1])
        if west >= east or south >= north or factor[k] == 0.0:
            continue
        patch = patch_of(turns, spray, grid, shade, k, (west, east, south, north))
        for row in range(south, north):
            for column in range(west, east):
                out[row, column] += factor[k] * patch[row - south, column - west]
