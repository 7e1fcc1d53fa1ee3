"""Change single cells and rows of a layer that is in canonical form, and keep the form without looking at every row.

What comes out is what `canonical.conform` would make of the same change; a million rows take some milliseconds.
"""

from __future__ import annotations

import bisect
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from geopandas.array import GeometryArray

from gravegis.layers import canonical

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from gravegis.layers.canonical import Frame
    from gravegis.layers.schema import Layer

__all__ = ["held", "row_of", "with_cells", "with_row", "without_columns", "without_row"]

_GAPS = {"i": "Int64", "u": "Int64", "b": "boolean"}
"""Types of columns that are not ours that know no missing value, and the type that does."""


def row_of(frame: Frame, wanted: Layer, key: Sequence[object]) -> int | None:
    """Return the row with this key (one value for each key column of the layer); None where there is none."""
    row = _place_of(frame, wanted, key)
    return row if row < len(frame) and _key_at(frame, wanted, row) == tuple(key) else None


def held(frame: Frame, row: int, column: str) -> object:
    """Return what a cell holds as a plain value of Python; None where it is missing or there is no such column."""
    return canonical.plain(frame[column].array[row]) if column in frame.columns else None


def with_cells(frame: Frame, wanted: Layer, cells: Mapping[str, Mapping[int, object]], crs: str) -> Frame:
    """Return the layer with other values in some cells: column -> row -> value.

    Values are canonical ones (`canonical.conform_value`), None for missing; a key is never changed. A column of the
    schema that is not there comes with its first value.
    """
    made = frame.copy(deep=False)
    for column, values in cells.items():
        if column not in made.columns:
            made = _with_gap(made, wanted, column, crs)
        series = _open(made[column], list(values.values()))
        array: Any = series.array.copy()
        given = _series(list(values.values()), series).array
        if len(values) == 1:  # texts of Arrow take one cell in a sixth of the time they take a list of one
            array[next(iter(values))] = given[0]
        else:
            array[np.fromiter(values, dtype=np.intp, count=len(values))] = given
        _put(made, column, pd.Series(array, index=made.index, copy=False))
    return _settled(made, wanted)


def with_row(frame: Frame, wanted: Layer, values: Mapping[str, object], crs: str) -> Frame:
    """Return the layer with one row more, in its place; what the values do not name is missing in it."""
    made = frame.copy(deep=False)
    for column in values:
        if column not in made.columns:
            made = _with_gap(made, wanted, column, crs)
    for column in made.columns:
        _put(made, column, _open(made[column], [values.get(str(column))]))
    one = pd.DataFrame({column: _series([values.get(str(column))], made[column]) for column in made.columns})
    if isinstance(made, gpd.GeoDataFrame):
        one = gpd.GeoDataFrame(one, geometry="geometry")
    place = _place_of(made, wanted, [values[key] for key in wanted.key])
    pieces = [made.iloc[:place], one, made.iloc[place:]]
    return _settled(pd.concat([piece for piece in pieces if len(piece)], ignore_index=True), wanted)


def without_row(frame: Frame, wanted: Layer, row: int) -> Frame:
    """Return the layer without one row."""
    return _settled(frame.drop(index=row).reset_index(drop=True), wanted)


def without_columns(frame: Frame, columns: Sequence[str]) -> Frame:
    """Return the layer without those of the columns that hold nothing."""
    gone = [name for name in columns if name in frame.columns and bool(frame[name].isna().all())]
    made = frame.drop(columns=gone)
    return pd.DataFrame(made) if "geometry" in gone else made


def _key_at(frame: Frame, wanted: Layer, row: int) -> tuple[object, ...]:
    return tuple(canonical.plain(frame[key].array[row]) for key in wanted.key)


def _place_of(frame: Frame, wanted: Layer, key: Sequence[object]) -> int:
    """Return the first row whose key is not below this one; rows are sorted by their key."""
    arrays = [frame[one].array for one in wanted.key]
    return bisect.bisect_left(range(len(frame)), tuple(key), key=lambda row: tuple(array[row] for array in arrays))


def _with_gap(frame: Frame, wanted: Layer, column: str, crs: str) -> Frame:
    """Return the layer with a column that holds nothing yet, in the place the schema gives it."""
    if column == "geometry":
        return gpd.GeoDataFrame(frame, geometry=GeometryArray(np.full(len(frame), None, dtype=object), crs=crs))
    made = frame.copy(deep=False)
    names = list(wanted.columns)
    place = sum(name in made.columns for name in names[: names.index(column)])
    kind = canonical.DTYPES[wanted.columns[column].kind]
    made.insert(place, column, pd.Series([None], dtype=kind).repeat(len(made)).set_axis(made.index))
    return made


def _open(series: pd.Series[Any], values: Sequence[object]) -> pd.Series[Any]:
    """Return the column in a type that can be missing, where one of the values is."""
    kind = str(getattr(series.dtype, "kind", ""))
    if isinstance(series.dtype, np.dtype) and kind in _GAPS and any(value is None for value in values):
        opened: pd.Series[Any] = series.astype(pd.api.types.pandas_dtype(_GAPS[kind]))
        return opened
    return series


def _series(values: list[object], like: pd.Series[Any]) -> pd.Series[Any]:
    if str(like.dtype) == "geometry":
        shapes = np.empty(len(values), dtype=object)
        shapes[:] = values
        return pd.Series(GeometryArray(shapes, crs=getattr(like.array, "crs", None)))
    return pd.Series(values, dtype=like.dtype)


def _put(frame: Frame, column: str, series: pd.Series[Any]) -> None:
    # past the class of geopandas, which copies the shapes a second time; as a series, so that pandas copies nothing
    pd.DataFrame.__setitem__(frame, column, series)


def _settled(frame: Frame, wanted: Layer) -> Frame:
    """Return a table whose last place went as the table it is then."""
    if (
        wanted.geometry[0] == "none"
        and "geometry" in frame.columns
        and not shapely.is_geometry(frame["geometry"].to_numpy()).any()
    ):
        return pd.DataFrame(frame.drop(columns="geometry"))
    return frame
