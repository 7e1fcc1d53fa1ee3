"""A grid in classes as areas: what a map program outlines, and what a person can count."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike, NDArray

__all__ = ["class_areas", "class_of"]


def class_of(values: ArrayLike, edges: Sequence[float]) -> NDArray[np.int64]:
    """Return the class of each value, 0 for the lowest; -1 where there is none. A value on an edge is in the upper."""
    grid = np.asarray(values, dtype=np.float64)
    place = np.clip(np.digitize(grid, edges) - 1, 0, len(edges) - 2)
    return np.where(np.isnan(grid), -1, place).astype(np.int64)


def class_areas(
    values: ArrayLike, edges: Sequence[float], *, left_m: float, top_m: float, cell_m: float
) -> list[tuple[int, shapely.Polygon]]:
    """Return the connected areas of each class, lowest class first, each from the south-west on.

    Parameters
    ----------
    values
        Grid, row 0 in the north; NaN where nothing is said: no area covers such a cell.
    edges
        Limits of the classes, rising.
    left_m, top_m, cell_m
        Outer corner and side of a cell. [m]
    """
    place = class_of(values, edges)
    made: list[tuple[int, shapely.Polygon]] = []
    for one in range(len(edges) - 1):
        joined = shapely.union_all(_runs(place == one, left_m, top_m, cell_m))
        parts = [part for part in shapely.get_parts(joined) if isinstance(part, shapely.Polygon)]
        made += [(one, part) for part in sorted(parts, key=lambda part: part.bounds)]
    return made


def _runs(inside: NDArray[np.bool_], left_m: float, top_m: float, cell_m: float) -> NDArray[np.object_]:
    """Return a box for each run of cells side by side in a row."""
    step = np.diff(np.pad(inside, ((0, 0), (1, 1))).astype(np.int8), axis=1)
    row, start = np.nonzero(step == 1)
    end = np.nonzero(step == -1)[1]
    return np.asarray(
        shapely.box(
            left_m + start * cell_m, top_m - (row + 1) * cell_m, left_m + end * cell_m, top_m - row * cell_m
        ),
        dtype=object,
    )  # fmt: skip
