"""Place of each stone in its row, counted from the end nearer to a path, worked out where nobody wrote it down."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import shapely

from gravegis.layers.canonical import column
from gravegis.layers.match import inside_points
from gravegis.layers.position_error import UNKNOWN_M, known_errors_m
from gravegis.layers.read.raw import many, shown

if TYPE_CHECKING:
    from collections.abc import Mapping

    import numpy.typing as npt

    from gravegis.layers.canonical import Frame

    Floats = npt.NDArray[np.float64]

__all__ = ["COUNTING", "count_along_rows"]

COUNTING = frozenset({"stones", "paths", "plots", "rows", "sections"})
"""Layers whose change may let places be counted."""
_SURE_SIGMAS = 2.0  # two stones nearer to each other than so many errors may stand the other way round. Own choice.
_AS_NEAR_M = 0.5  # ends that differ by less in how far the path is cannot be told apart. Own choice.


def count_along_rows(layers: Mapping[str, Frame]) -> tuple[Frame | None, list[str]]:
    """Return the stones with their place in the row filled in, and what to say; None where nothing is filled.

    A row is counted where none of its stones has a place yet, all have a position, no two could stand the other way
    round under the errors of their positions, and one of its ends is clearly nearer to a path. Stones drawn as
    outlines stand in the order in which they are drawn: the error of a drawing moves neighbours alike. ``layers`` are
    those of a site by name, all in one metric grid.
    """
    if not {"stones", "paths"} <= set(layers) or layers["stones"].empty or "geometry" not in layers["stones"].columns:
        return None, []
    stones = layers["stones"]
    paths = np.asarray(layers["paths"]["geometry"].array, dtype=object)
    paths = paths[~(shapely.is_missing(paths) | shapely.is_empty(paths))]
    row, place = (column(stones, "stones", name) for name in ("row", "place_in_row"))
    if not len(paths) or row.isna().all():
        return None, []
    shapes = np.asarray(stones["geometry"].array, dtype=object)
    there = ~(shapely.is_missing(shapes) | shapely.is_empty(shapes))
    at = np.full((len(stones), 2), np.nan)
    at[there] = shapely.get_coordinates(inside_points(shapes[there]))
    drawn = shapely.get_dimensions(shapes) == 2
    error_m = np.where(drawn, 0.0, known_errors_m(stones, "stones", UNKNOWN_M))
    known, filled, left = place.notna().to_numpy(), place.copy(), list[str]()
    groups = pd.DataFrame({"section": column(stones, "stones", "section").fillna(""), "row": row}).dropna(subset="row")
    for _, mine in groups.groupby(["section", "row"]):
        name, spots = mine["row"].iloc[0], stones.index.get_indexer(mine.index)
        if known[spots].any() or len(spots) < 2:
            continue
        order = _counted(at[spots], error_m[spots], paths)
        if order is None:
            left.append(str(name))
        else:
            filled.iloc[spots] = order
    return _said(stones, filled, int(filled.notna().sum() - known.sum()), left)


def _said(stones: Frame, filled: pd.Series[int], new_n: int, left: list[str]) -> tuple[Frame | None, list[str]]:
    said = []
    if new_n:
        said.append(f"place in the row of {new_n} stones counted from the end of their row nearer to a path")
    if left:
        said.append(f"places in {many(len(left), 'row')} are not counted: positions are too coarse, or no end is "
                    f"clearly nearer to a path: {shown(left)}")  # fmt: skip
    return (stones.assign(place_in_row=filled) if new_n else None), said


def _counted(at: Floats, error_m: Floats, paths: npt.NDArray[np.object_]) -> npt.NDArray[np.int64] | None:
    """Return the place of each stone of one row, 1 at the path; None where it cannot be told."""
    if not np.isfinite(at).all():
        return None
    middle = at.mean(axis=0)
    _, _, axes = np.linalg.svd(at - middle)
    along_m = (at - middle) @ axes[0]
    order = np.argsort(along_m, kind="stable")
    apart_m = np.diff(along_m[order])
    doubt_m = _SURE_SIGMAS * np.hypot(error_m[order][1:], error_m[order][:-1])
    first_m, last_m = (float(shapely.distance(shapely.points(at[end]), paths).min()) for end in order[[0, -1]])
    if (apart_m <= doubt_m).any() or abs(first_m - last_m) < _AS_NEAR_M:
        return None
    place = np.empty(len(at), dtype=np.int64)
    place[order if first_m < last_m else order[::-1]] = np.arange(1, len(at) + 1)
    return place
