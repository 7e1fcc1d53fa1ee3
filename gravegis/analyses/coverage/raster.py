"""Zone by zone the water on a grid, each head's mass kept, and the rasters of all zones together."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    from gravegis.analyses.coverage.water import Sent
    from gravegis.contract import Job
    from gravegis.science.irrigation.bundles import Grid
    from gravegis.site import Raster

    Floats = npt.NDArray[np.float64]
    Ints = npt.NDArray[np.int64]
    Bools = npt.NDArray[np.bool_]

__all__ = ["Patch", "grid_of", "middles_m", "patches_of", "rasters_of"]


@dataclass(frozen=True, slots=True, eq=False)
class Patch:
    """Water of one zone on its part of the grid: its cells [mm/h], first row in the south, and its heads."""

    zone: str
    heads: Ints
    grid: Grid
    rate_mm_h: Floats
    complete: bool


def grid_of(sent: Sent, bounds_m: tuple[float, float, float, float], cell_m: float | None) -> Grid:
    """Return the grid over the site and all water of its heads."""
    from gravegis.science.irrigation.coverage import make_grid

    boxes = np.concatenate([np.array(bounds_m)[None], sent.box_m])
    west, south = boxes[:, :2].min(axis=0)
    east, north = boxes[:, 2:].max(axis=0)
    return make_grid((float(west), float(south), float(east), float(north)), cell_m)


def patches_of(sent: Sent, cell_m: float, job: Job) -> list[Patch]:
    """Lay the water of each zone over its part of the grid; heads of unknown flow send nothing, and are told."""
    zones = np.unique(sent.zone.astype(np.str_)).tolist()
    made = []
    for place, zone in enumerate(zones):
        job.progress(0.2 + 0.5 * place / len(zones), f"water of zone {zone}" if zone else "water of heads without zone")
        mine = np.flatnonzero(sent.zone == zone)
        known = mine[np.isfinite(sent.flow_l_h[mine])]
        if len(known):
            grid, rate = _laid(sent, known, cell_m, job)
            made.append(Patch(zone, mine, grid, rate, len(known) == len(mine)))
    return made


def _laid(sent: Sent, heads: Ints, cell_m: float, job: Job) -> tuple[Grid, Floats]:
    from gravegis.science.irrigation.coverage import cover, some_heads

    grid = _own_grid(sent.box_m[heads], cell_m)
    plain = heads[~sent.is_surveyed[heads]]
    rate = cover(*some_heads(sent.turns, sent.spray, plain), grid, sent.flow_l_h[plain]).sum_mm
    for head in heads[sent.is_surveyed[heads]].tolist():
        job.check()
        own = _own_grid(sent.box_m[[head]], cell_m)
        column, row = round((own.x0_m - grid.x0_m) / cell_m), round((own.y0_m - grid.y0_m) / cell_m)
        rate[row : row + own.ny, column : column + own.nx] += _within_outline(sent, head, own)
    return grid, rate


def _own_grid(boxes_m: Floats, cell_m: float) -> Grid:
    from gravegis.science.irrigation.coverage import make_grid

    (west, south), (east, north) = boxes_m[:, :2].min(axis=0), boxes_m[:, 2:].max(axis=0)
    return make_grid((float(west), float(south), float(east), float(north)), cell_m)


def _within_outline(sent: Sent, head: int, grid: Grid) -> Floats:
    """Return the water of a head of surveyed ground: as its pattern has it, but all of it within the outline."""
    import shapely

    from gravegis.science.irrigation.coverage import cover, some_heads

    one = np.array([head])
    rate = cover(*some_heads(sent.turns, sent.spray, one), grid, sent.flow_l_h[one]).sum_mm
    kept = np.where(shapely.contains_xy(sent.ground[head], *middles_m(grid)), rate, 0.0)
    total = kept.sum() * grid.cell_m**2
    return np.asarray(kept * (sent.flow_l_h[head] / total) if total > 0 else rate)


def middles_m(grid: Grid) -> tuple[Floats, Floats]:
    """Return x and y of the middle of each cell, each of the shape of the grid."""
    x = grid.x0_m + (np.arange(grid.nx) + 0.5) * grid.cell_m
    y = grid.y0_m + (np.arange(grid.ny) + 0.5) * grid.cell_m
    made = np.meshgrid(x, y)
    return made[0], made[1]


def rasters_of(sent: Sent, patches: list[Patch], grid: Grid, *, by_season: bool) -> dict[str, Raster]:
    """Return the rasters of all zones; NaN where a head of unknown flow (or hours) wets the ground too."""
    if not patches:
        return {}
    most, hour, season = (np.zeros((grid.ny, grid.nx)) for _ in range(3))
    for patch in patches:
        column = round((patch.grid.x0_m - grid.x0_m) / grid.cell_m)
        row = round((patch.grid.y0_m - grid.y0_m) / grid.cell_m)
        at = slice(row, row + patch.grid.ny), slice(column, column + patch.grid.nx)
        most[at] = np.maximum(most[at], patch.rate_mm_h)
        hour[at] += patch.rate_mm_h
        hours = sent.hours[patch.heads[0]]
        season[at] += patch.rate_mm_h * (0.0 if np.isnan(hours) else hours)
    no_flow = np.isnan(sent.flow_l_h)
    unknown = _under(sent.ground[no_flow], grid)
    wanted = {
        "water_rate": (most, "rate while the zone that brings most is running", "mm/h"),
        "water_hour": (hour, "depth when every zone runs for one hour", "mm"),
    }
    if by_season:
        unknown_hours = _under(sent.ground[~no_flow & np.isnan(sent.hours)], grid)
        season[unknown_hours] = np.nan
        wanted["water_season"] = (season, "depth of one season by the schedule", "mm")
    return {name: _raster(values, unknown, grid, words, unit) for name, (values, words, unit) in wanted.items()}


def _under(grounds: npt.NDArray[np.object_], grid: Grid) -> Bools:
    """Return the cells whose middle one of these grounds holds."""
    import shapely

    out = np.zeros((grid.ny, grid.nx), dtype=np.bool_)
    for one in grounds:
        west, south, east, north = shapely.bounds(one).tolist()
        low, left = int((south - grid.y0_m) // grid.cell_m), int((west - grid.x0_m) // grid.cell_m)
        high, right = int((north - grid.y0_m) // grid.cell_m) + 1, int((east - grid.x0_m) // grid.cell_m) + 1
        at = slice(max(0, low), high), slice(max(0, left), right)
        x = grid.x0_m + (np.arange(grid.nx)[at[1]] + 0.5) * grid.cell_m
        y = grid.y0_m + (np.arange(grid.ny)[at[0]] + 0.5) * grid.cell_m
        out[at] |= shapely.contains_xy(one, *np.meshgrid(x, y))
    return out


def _raster(values: Floats, unknown: Bools, grid: Grid, words: str, unit: str) -> Raster:
    from gravegis.site import Raster

    shown = np.where(unknown, np.nan, values)[::-1].copy()  # a raster begins in the north
    return Raster(shown, grid.x0_m, grid.y0_m + grid.ny * grid.cell_m, grid.cell_m, words, unit)
