"""Outlines as flat arrays, sorted into tiles of ground: what a painter walks through without looking at all of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]
    Ints = npt.NDArray[np.int64]
    Shapes = npt.NDArray[np.object_]

__all__ = ["Box", "Rings", "Tiles", "rings_of", "tiles_of"]

Box = tuple[float, float, float, float]
"""West, south, east, north. [m]"""
TILE_M = 20.0
"""Side of a tile: own measurement, about 130 stones of a dense ground."""
MOST_TILES = 2000
"""Tiles along one side of the ground, so that one far-off point does not make millions of them."""


@dataclass(frozen=True, slots=True, eq=False)
class Rings:
    """Rings of polygons and lines of a number of rows, one after the other, sorted by row.

    Attributes
    ----------
    xy_m
        Corners, shape ``(corners, 2)``; a ring ends where it began. [m]
    first
        First corner of each ring and one more for the end, shape ``(rings + 1,)``.
    row_first
        First ring of each row and one more for the end, shape ``(rows + 1,)``.
    """

    xy_m: Floats
    first: Ints
    row_first: Ints

    def of_rows(self, rows: Ints) -> Ints:
        """Return the rings of some rows."""
        count = self.row_first[rows + 1] - self.row_first[rows]
        begin = np.cumsum(count) - count
        return np.repeat(self.row_first[rows] - begin, count) + np.arange(int(count.sum()))

    def corners(self, rings: Ints) -> tuple[Floats, Ints]:
        """Return the corners of some rings one after the other, and the place of the first of each."""
        count = self.first[rings + 1] - self.first[rings]
        begin = np.cumsum(count) - count
        place = np.repeat(self.first[rings] - begin, count) + np.arange(int(count.sum()))
        return self.xy_m[place], begin


def rings_of(shapes: Shapes) -> Rings:
    """Return the rings of polygons and the lines of a column of shapes; points and missing shapes have none."""
    parts, row = shapely.get_parts(shapes, return_index=True)
    kind = shapely.get_type_id(parts)
    flat = kind == shapely.GeometryType.POLYGON
    rings, of_part = shapely.get_rings(parts[flat], return_index=True)
    is_line = (kind == shapely.GeometryType.LINESTRING) | (kind == shapely.GeometryType.LINEARRING)
    lines = parts[is_line]
    every = np.concatenate([rings, lines])
    owner = np.concatenate([row[flat][of_part], row[is_line]]).astype(np.int64)
    order = np.argsort(owner, kind="stable")
    every, owner = every[order], owner[order]
    xy_m, ring = shapely.get_coordinates(every, return_index=True)
    first = np.searchsorted(ring, np.arange(len(every) + 1)).astype(np.int64)
    row_first = np.searchsorted(owner, np.arange(len(shapes) + 1)).astype(np.int64)
    return Rings(xy_m, first, row_first)


@dataclass(frozen=True, slots=True, eq=False)
class Tiles:
    """Rows of one layer, sorted by the tile of ground that their middle lies on.

    Attributes
    ----------
    order
        Rows, those of one tile beside each other.
    first
        Place in `order` of the first row of each tile and one more for the end.
    bounds_m
        Ground that the rows of a tile take, which may reach beyond it, shape ``(tiles, 4)``. [m]
    row_bounds_m
        The same for each row, shape ``(rows, 4)``. [m]
    """

    order: Ints
    first: Ints
    bounds_m: Floats
    row_bounds_m: Floats

    def in_box(self, box: Box) -> Ints:
        """Return the tiles that touch a box of ground."""
        return np.flatnonzero(_touch(self.bounds_m, box))

    def rows_of(self, tile: int) -> Ints:
        """Return the rows of one tile."""
        return self.order[self.first[tile] : self.first[tile + 1]]

    def rows_in(self, box: Box) -> Ints:
        """Return the rows whose own box touches a box of ground, in ascending order."""
        tiles = self.in_box(box)
        if not len(tiles):
            return np.empty(0, dtype=np.int64)
        rows = np.concatenate([self.rows_of(int(tile)) for tile in tiles])
        return np.sort(rows[_touch(self.row_bounds_m[rows], box)])


def tiles_of(bounds_m: Floats, *, side_m: float = TILE_M) -> Tiles:
    """Sort rows into tiles by the middle of their boxes; rows without a place (NaN) are in none."""
    placed = np.flatnonzero(np.isfinite(bounds_m).all(axis=1))
    if not len(placed):
        return Tiles(np.empty(0, np.int64), np.zeros(1, np.int64), np.empty((0, 4)), bounds_m)
    middle = (bounds_m[placed, :2] + bounds_m[placed, 2:]) / 2
    low, size = middle.min(axis=0), np.ptp(middle, axis=0)
    side = max(side_m, float(size.max()) / MOST_TILES)
    across, up = ((middle - low) // side).astype(np.int64).T
    key = up * (int(size[0] // side) + 1) + across
    by_tile = np.argsort(key, kind="stable")
    sorted_key, order = key[by_tile], placed[by_tile]
    begin = np.flatnonzero(np.concatenate([[True], sorted_key[1:] != sorted_key[:-1]]))
    boxes = bounds_m[order]
    tile_bounds = np.concatenate(
        [np.minimum.reduceat(boxes[:, :2], begin), np.maximum.reduceat(boxes[:, 2:], begin)], axis=1
    )
    return Tiles(order, np.concatenate([begin, [len(order)]]).astype(np.int64), tile_bounds, bounds_m)


def _touch(boxes: Floats, box: Box) -> npt.NDArray[np.bool_]:
    west, south, east, north = box
    touch: npt.NDArray[Any] = (
        (boxes[:, 0] <= east) & (boxes[:, 2] >= west) & (boxes[:, 1] <= north) & (boxes[:, 3] >= south)
    )
    return touch
