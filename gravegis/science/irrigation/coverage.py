"""Rate and depth of water over the ground as a raster, with the mass of each head kept.

The cells of a head are scaled together so that they hold what it sends out (less what stones catch, if those are
given); what falls beyond the grid is told by head, never lost. One raster of rates holds heads that run together, or,
with hours as weights, the depth of a season.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from gravegis.science import compiled as code
from gravegis.science.irrigation.bundles import Floats, Grid, Ground, Ints, Spray, Turns
from gravegis.science.irrigation.rain import by_numpy
from gravegis.science.irrigation.rays.water import Caught, Stones, by_head
from gravegis.science.spread import spread

if TYPE_CHECKING:
    from gravegis.science.irrigation.reach import Pairs

KERNELS = "gravegis.science.irrigation.rain.kernels"
CELLS_M = (0.25, 0.5, 1.0, 2.0, 5.0)
"""Cell sizes to choose from. [m]"""
MOST_CELLS = 8_000_000
"""Cells a raster may have when its cell size is chosen: 64 MB. Own choice."""
RING_M = 0.25
"""The rate at a stone is the mean over a ring this wide to both sides. [m] Own choice."""
_HEADS, _ROWS, _PAIRS = 16, 64, 65536  # a portion


@dataclass(frozen=True, slots=True, eq=False)
class Shade:
    """Stones that keep water off the ground: their footprints, heights, pairs, and what `water.catch` gave."""

    ground: Ground
    stones: Stones
    pairs: Pairs
    caught: Caught


@dataclass(frozen=True, slots=True, eq=False)
class Coverage:
    """A raster of water.

    Attributes
    ----------
    sum_mm
        Shape ``(ny, nx)``, first row in the south: the sum over heads of rate times weight. [mm/h, or mm where the
        weights are hours]
    sent, caught, off_grid
        Of each head, times its weight: what it sends out, what stones catch, what falls beyond the grid. [L/h or L]
    """

    sum_mm: Floats
    sent: Floats
    caught: Floats
    off_grid: Floats


def choose_cell_m(width_m: float, height_m: float) -> float:
    """Finest of `CELLS_M` with no more than `MOST_CELLS` cells; the coarsest where none is coarse enough. [m]"""
    fitting = [cell for cell in CELLS_M if width_m / cell * (height_m / cell) <= MOST_CELLS]
    return fitting[0] if fitting else CELLS_M[-1]


def make_grid(bounds_m: tuple[float, float, float, float], cell_m: float | None = None) -> Grid:
    """Grid of square cells over west, south, east, north, its edges on whole multiples of the cell size.

    Raises ValueError for a cell size that is not above 0 or bounds without a number.
    """
    west, south, east, north = bounds_m
    if not (np.isfinite(bounds_m).all() and west <= east and south <= north):
        raise ValueError(f"Bounds {bounds_m} are not west, south, east, north.")
    cell = choose_cell_m(east - west, north - south) if cell_m is None else cell_m
    if not (np.isfinite(cell) and cell > 0):
        raise ValueError(f"Cells of {cell:g} m, expected above 0.")
    column, row = int(np.floor(west / cell)), int(np.floor(south / cell))
    nx, ny = max(1, int(np.ceil(east / cell)) - column), max(1, int(np.ceil(north / cell)) - row)
    return Grid(column * cell, row * cell, cell, nx, ny)


def cover(
    turns: Turns,
    spray: Spray,
    grid: Grid,
    flow_l_h: npt.ArrayLike,
    *,
    weight: npt.ArrayLike = 1.0,
    shade: Shade | None = None,
    compiled: bool = True,
    threads: int | None = None,
) -> Coverage:
    """Lay the patterns of the heads over a grid.

    ``flow_l_h`` is the flow of each head as given to `water.make_spray`; ``weight`` 1, or the hours of each head.
    With ``shade`` the ground under stones and in their shadow stays dry, and a head's cells hold what it sends out
    less what its stones catch (worked out with shadows: without them stones may count more than it sends out, and then
    nothing is left for the ground). ``compiled=False``, or no numba, gives the same raster within rounding.

    Raises ValueError where a flow is unknown: the raster of some heads only would read as that of all.
    """
    heads = turns.x_m.shape
    flow, times = (np.array(np.broadcast_to(np.asarray(part, np.float64), heads)) for part in (flow_l_h, weight))
    if not (np.isfinite(flow).all() and np.isfinite(times).all()):
        raise ValueError("Flow and weight of every head must be known.")
    loops = (code.load(KERNELS) if compiled else None) or by_numpy
    shading, taken = _shading(shade, len(flow))
    total = np.zeros((len(flow), 2))

    def sum_up(low: int, high: int) -> None:
        loops.sums(turns, spray, grid, shading, total, np.array([low, high]))

    spread(sum_up, len(flow), portion=_HEADS, threads=threads)
    left = np.maximum(flow - taken, 0.0)
    some = total[:, 0] > 0
    factor = np.divide(left * times, total[:, 0] * grid.cell_m**2, out=np.zeros_like(left), where=some)
    out = np.zeros((grid.ny, grid.nx))

    def add(low: int, high: int) -> None:
        loops.add_rows(turns, spray, grid, shading, factor, out, np.array([low, high]))

    spread(add, grid.ny, portion=_ROWS, threads=threads)
    on_grid = _into_own_cells(turns, grid, np.where(some, 0.0, left * times), out)
    on_grid += np.divide(total[:, 1], total[:, 0], out=np.zeros_like(left), where=some) * left * times
    return Coverage(out, flow * times, taken * times, left * times - on_grid)


def ground_rate_mm_h(
    ground: Ground, turns: Turns, spray: Spray, pairs: Pairs, *, compiled: bool = True, threads: int | None = None
) -> Floats:
    """Rate on open ground at the middle of the stone of each pair; 0 where that lies outside the pattern. [mm/h]"""
    loops = (code.load(KERNELS) if compiled else None) or by_numpy
    who, out = np.stack([pairs.stone_i, pairs.head_i], axis=1), np.zeros(len(pairs))

    def work(low: int, high: int) -> None:
        loops.rates_at_stones(ground, turns, spray, who, RING_M, out, np.array([low, high]))

    spread(work, len(pairs), portion=_PAIRS, threads=threads)
    return out


def off_site_l(coverage: Coverage, grid: Grid, on_site: npt.NDArray[np.bool_]) -> float:
    """Water that falls off the site: beyond the grid, and in its cells that are not on site. [L/h or L]

    ``on_site`` has the shape of the raster, such as cells whose middle lies in the outline of the site.
    """
    return float(coverage.sum_mm[~on_site].sum() * grid.cell_m**2 + coverage.off_grid.sum())


def _shading(shade: Shade | None, heads: int) -> tuple[tuple[Ground, Ints, Ints, Floats], Floats]:
    """Return what the loops read of the stones, and what they catch from each head. [L/h]"""
    if shade is None:
        none, nothing = np.zeros(0, dtype=np.int64), np.zeros(0)
        ground = Ground(np.zeros((0, 2)), np.zeros((0, 2)), none, none, nothing, nothing, nothing)
        return (ground, none, np.zeros(heads + 1, dtype=np.int64), nothing), np.zeros(heads)
    order, head_first = by_head(shade.pairs.head_i, heads)
    of_pair = shade.caught.face_l_h.sum(axis=1) + shade.caught.top_l_h
    taken = np.asarray(np.bincount(shade.pairs.head_i, of_pair, minlength=heads), dtype=np.float64)
    return (shade.ground, shade.pairs.stone_i[order], head_first, shade.stones.height_m), taken


def _into_own_cells(turns: Turns, grid: Grid, water: Floats, out: Floats) -> Floats:
    """Pour the water of heads whose pattern meets no middle of a cell into the cell of the head; return what fits."""
    column = np.floor((turns.x_m - grid.x0_m) / grid.cell_m).astype(np.int64)
    row = np.floor((turns.y_m - grid.y0_m) / grid.cell_m).astype(np.int64)
    inside = (column >= 0) & (column < grid.nx) & (row >= 0) & (row < grid.ny) & (water > 0)
    np.add.at(out, (row[inside], column[inside]), water[inside] / grid.cell_m**2)
    return np.where(inside, water, 0.0)


def some_heads(turns: Turns, spray: Spray, rows: Ints) -> tuple[Turns, Spray]:
    """Return some of the heads, in the order of ``rows``; the tables of their flight stay whole."""
    kept = spray._replace(
        flow_rad=spray.flow_rad[rows], table=spray.table[rows], bend_one=spray.bend_one[rows],
        bend_two=spray.bend_two[rows], sides_m=np.ascontiguousarray(spray.sides_m[rows]),
    )  # fmt: skip
    return Turns._make(part[rows] for part in turns), kept
