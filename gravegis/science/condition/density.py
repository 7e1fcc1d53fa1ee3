"""Share of damaged stones as a map: a ratio of two kernel sums, masked where too few stones speak.

A count map shows where stones stand. The share (damaged kernel sum over kernel sum of all stones) does not,
and needs no correction at the edge of the ground, because the edge cuts both sums alike.

The number of stones behind a cell is (sum k)^2 / sum k^2, which for stones of even density around it is the
kernel density times 4 pi h^2: own derivation. The lesser of the two is taken, since the second counts a clump
of stones double and the first trusts far-off stones. Nothing is shown below `least_stones` of them,
nor farther than one bandwidth from the next stone: there the map would only carry on what it saw at the rim (own rule).

Small speckle draws the eye though it is chance: `clear` marks what differs from the share of the whole ground by more
than two standard errors over more than a kernel's ground; the rest is to be drawn faded. It is a rough guide for the
eye; which stones stand out is tested stone by stone (`hotspots`). How wide the kernel is: `bandwidth`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.ndimage import convolve1d, distance_transform_edt, label

from gravegis.errors import SettingError
from gravegis.science.condition.places import flagged

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    Floats = NDArray[np.float64]

__all__ = ["CLEAR_SCORE", "LEAST_STONES", "Grid", "RateMap", "share_of_damaged"]

LEAST_STONES = 10.0
"""Fewest effective stones behind a shown cell: own rule."""

CUT = 6.0
"""Kernel of the map is cut at this many bandwidths; what lies beyond is 2e-9 of it per axis."""

CLEAR_SCORE = 2.0
"""Standard errors from which a share counts as clearly above or below that of the whole ground: common practice."""

MOST_CELLS = 25_000_000
"""Largest map, about one gigabyte while it is worked out; own limit."""

COARSEST = 2.0
"""A bandwidth must span at least this many cells: own rule, keeps the binning error near one percent."""


@dataclass(frozen=True, slots=True)
class Grid:
    """A grid of square cells, north up, row 0 in the north.

    `x0_m`, `y0_m` are the north-west corner of the grid (not the centre of its first cell).
    """

    x0_m: float
    y0_m: float
    cell_m: float
    nx: int
    ny: int

    @property
    def affine(self) -> tuple[float, float, float, float, float, float]:
        """The six figures (a, b, c, d, e, f) of x = a col + b row + c, y = d col + e row + f. [m]"""
        return (self.cell_m, 0.0, self.x0_m, 0.0, -self.cell_m, self.y0_m)

    @property
    def centre_x_m(self) -> Floats:
        """Easting of the cell centres, west to east, shape ``(nx,)``. [m]"""
        return self.x0_m + (np.arange(self.nx, dtype=np.float64) + 0.5) * self.cell_m

    @property
    def centre_y_m(self) -> Floats:
        """Northing of the cell centres, north to south, shape ``(ny,)``. [m]"""
        return self.y0_m - (np.arange(self.ny, dtype=np.float64) + 0.5) * self.cell_m


@dataclass(frozen=True, slots=True)
class RateMap:
    """Share of damaged stones on a grid; all arrays have shape ``(ny, nx)``.

    `share` is 0 to 1, NaN where too few stones speak or the shown patch is too small; `effective_n` is the
    number of stones behind each cell; `density` is damaged stones per m2, `density_all` all stones looked at;
    `clear` is true where the share differs from that of the whole ground by more than chance would likely bring;
    `patches_dropped_n` counts the patches that were too small to show.
    """

    grid: Grid
    share: Floats
    effective_n: Floats
    density: Floats
    density_all: Floats
    clear: NDArray[np.bool_]
    bandwidth_m: float
    patches_dropped_n: int


def share_of_damaged(
    xy_m: ArrayLike,
    damaged: ArrayLike,
    *,
    bandwidth_m: float,
    cell_m: float,
    least_stones: float = LEAST_STONES,
    least_patch_m2: float | None = None,
) -> RateMap:
    """Return the share of damaged stones around each cell, by a Gaussian kernel.

    Parameters
    ----------
    xy_m
        Positions of the stones that were looked at, shape ``(stones, 2)``; leave others out, they are not
        sound. [m]
    damaged
        Whether each of them is damaged.
    bandwidth_m
        Standard deviation of the kernel, at least two cells. [m]
    cell_m
        Side of a cell; cell edges fall on whole multiples of it. [m]
    least_stones
        Cells with fewer effective stones are not shown, at least 1.
    least_patch_m2
        Shown patches below this area are dropped; by default pi times the bandwidth squared: own rule, a
        patch smaller than the kernel is noise. [m2]

    Raises
    ------
    SettingError
        When a setting makes no sense or the map grows too large.
    LayerError
        When shapes differ or a position is not finite.
    """
    xy, bad = flagged(xy_m, damaged)
    least_patch = math.pi * bandwidth_m**2 if least_patch_m2 is None else least_patch_m2
    _check_settings(bandwidth_m, cell_m, least_stones, least_patch)
    grid = _grid_over(xy, cell_m, pad_m=CUT * bandwidth_m)
    if len(xy) == 0:
        nothing = np.zeros((0, 0))
        return RateMap(grid, nothing, nothing, nothing, nothing, nothing.astype(np.bool_), bandwidth_m, 0)
    counts = _binned(xy, grid)
    density_all = _smooth(counts, bandwidth_m, cell_m)
    density_bad = _smooth(_binned(xy[bad], grid), bandwidth_m, cell_m)
    effective_n = _effective_n(density_all, counts, bandwidth_m, cell_m)
    # beyond one bandwidth from the last stone the share is carried out over ground where nothing stands
    empty_cells = distance_transform_edt(counts == 0) * cell_m
    enough = (effective_n >= least_stones) & (empty_cells <= bandwidth_m)
    shown, dropped_n = _without_small_patches(enough, least_patch / cell_m**2)
    share = np.full(enough.shape, np.nan)
    np.divide(density_bad, density_all, out=share, where=shown)
    # rounding may leave 1 + 2e-16 where every stone is damaged
    np.clip(share, 0.0, 1.0, out=share)
    clear = _clear(share, effective_n, float(bad.mean()), math.pi * bandwidth_m**2 / cell_m**2)
    return RateMap(grid, share, effective_n, density_bad, density_all, clear, bandwidth_m, dropped_n)


def _clear(share: Floats, effective_n: Floats, overall: float, least_cells: float) -> NDArray[np.bool_]:
    """Mark patches of more than a kernel's ground in which the share differs clearly from that of all stones."""
    se = np.sqrt(overall * (1 - overall) / np.maximum(effective_n, 1.0))
    with np.errstate(invalid="ignore"):
        above, below = share - overall > CLEAR_SCORE * se, overall - share > CLEAR_SCORE * se
    return _without_small_patches(above, least_cells)[0] | _without_small_patches(below, least_cells)[0]


def _check_settings(bandwidth_m: float, cell_m: float, least_stones: float, least_patch_m2: float) -> None:
    if not (math.isfinite(bandwidth_m) and bandwidth_m > 0):
        raise SettingError(f"bandwidth_m is {bandwidth_m:g}", remedy="Give a distance above 0 m.")
    if not (math.isfinite(cell_m) and 0 < cell_m <= bandwidth_m / COARSEST):
        raise SettingError(
            f"cell_m is {cell_m:g} at a bandwidth of {bandwidth_m:g} m",
            remedy=f"Give a cell above 0 and at most {bandwidth_m / COARSEST:g} m.",
        )
    if not (math.isfinite(least_stones) and least_stones >= 1):
        raise SettingError(f"least_stones is {least_stones:g}", remedy="Give 1 or more stones.")
    if not (math.isfinite(least_patch_m2) and least_patch_m2 >= 0):
        raise SettingError(f"least_patch_m2 is {least_patch_m2:g}", remedy="Give 0 m2 or more.")


def _grid_over(xy_m: Floats, cell_m: float, *, pad_m: float) -> Grid:
    if len(xy_m) == 0:
        return Grid(0.0, 0.0, cell_m, 0, 0)
    # one cell more than the kernel reaches, so that nothing binned or smoothed leaves the grid
    pad_cells = math.ceil(pad_m / cell_m) + 1
    west, south = np.floor(xy_m.min(axis=0) / cell_m) - pad_cells
    east, north = np.floor(xy_m.max(axis=0) / cell_m) + 1 + pad_cells
    nx, ny = int(east - west), int(north - south)
    if nx * ny > MOST_CELLS:
        raise SettingError(
            f"the map would have {nx} by {ny} cells",
            remedy="Take a larger cell_m, or look for a stone far from all others.",
        )
    return Grid(float(west * cell_m), float(north * cell_m), cell_m, nx, ny)


def _binned(xy_m: Floats, grid: Grid) -> Floats:
    """Share each stone out to the four cell centres around it, by distance (linear binning)."""
    col = (xy_m[:, 0] - grid.x0_m) / grid.cell_m - 0.5
    row = (grid.y0_m - xy_m[:, 1]) / grid.cell_m - 0.5
    col0, row0 = np.floor(col).astype(np.intp), np.floor(row).astype(np.intp)
    east, south = col - col0, row - row0
    counts = np.zeros(grid.ny * grid.nx)
    for down, weight_row in ((0, 1 - south), (1, south)):
        for right, weight_col in ((0, 1 - east), (1, east)):
            cell = (row0 + down) * grid.nx + col0 + right
            counts += np.bincount(cell, weights=weight_row * weight_col, minlength=counts.size)
    return counts.reshape(grid.ny, grid.nx)


def _smooth(counts: Floats, bandwidth_m: float, cell_m: float) -> Floats:
    """Return stones per m2: the counts under an explicit Gaussian, not renormalised after the cut."""
    reach = math.ceil(CUT * bandwidth_m / cell_m)
    offset_m = np.arange(-reach, reach + 1) * cell_m
    kernel = np.exp(-0.5 * (offset_m / bandwidth_m) ** 2) / (math.sqrt(2 * math.pi) * bandwidth_m)
    along_x = convolve1d(counts, kernel, axis=1, mode="constant")
    return np.asarray(convolve1d(along_x, kernel, axis=0, mode="constant"), dtype=np.float64)


def _effective_n(density: Floats, counts: Floats, bandwidth_m: float, cell_m: float) -> Floats:
    even = density * (4 * math.pi * bandwidth_m**2)
    # the square of a Gaussian kernel is a narrower one: k^2 = N(h / sqrt 2) / (4 pi h^2)
    narrower = _smooth(counts, bandwidth_m / math.sqrt(2), cell_m)
    summed = np.divide(density * even, narrower, out=np.zeros_like(even), where=narrower > 0)
    # beyond the cut of the narrower kernel (4.2 bandwidths) no stone speaks
    return np.minimum(even, summed)


def _without_small_patches(shown: NDArray[np.bool_], least_cells: float) -> tuple[NDArray[np.bool_], int]:
    patch, patches_n = label(shown)
    size = np.bincount(patch.reshape(-1), minlength=patches_n + 1)
    kept = size >= least_cells
    kept[0] = False
    return kept[patch], int(patches_n - np.count_nonzero(kept))
