"""The one form a layer has in memory, in files and before every hash.

Rows are sorted by their key, columns stand in the order of the schema, ids are text, text is stripped and in
Unicode form C, dates are ISO texts, reasons are JSON. Columns that are not ours are carried unchanged.
"""

from __future__ import annotations

import operator
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from gravegis.errors import LayerError, Problem
from gravegis.layers import schema
from gravegis.layers.content import column_hash, content_hash, equal
from gravegis.layers.typed import DTYPES, conform_value, plain, text, typed

if TYPE_CHECKING:
    from gravegis.layers.schema import Column, Layer

__all__ = [
    "DTYPES", "Frame", "column", "column_hash", "conform", "conform_value", "content_hash", "empty", "equal", "plain",
]  # fmt: skip

Frame = pd.DataFrame  # a GeoDataFrame is one too

_SHOWN = 5


def empty(name: str, crs: str | None = None) -> Frame:
    """Return a layer without rows but with all its columns."""
    wanted = schema.layer(name)
    columns = {c.name: pd.Series([], dtype=DTYPES[c.kind]) for c in wanted.columns.values()}
    frame = pd.DataFrame(columns)
    if wanted.geometry[0] != "none":
        return gpd.GeoDataFrame(frame, geometry=gpd.GeoSeries([], crs=crs), crs=crs)
    return frame


def conform(frame: Frame, name: str) -> Frame:
    """Return the layer in canonical form; idempotent.

    Parameters
    ----------
    frame
        Rows as read or as an analysis gives them; never changed.
    name
        Layer name of the schema.

    Raises
    ------
    LayerError
        With every problem of the layer: missing columns, unreadable values, values out of range, repeated ids.
    """
    wanted = schema.layer(name)
    problems: list[Problem] = []
    made = _with_ids(frame.copy(deep=False), wanted, problems)
    for column in wanted.columns.values():
        if column.name in made.columns:
            made[column.name] = typed(made[column.name], column, name, problems)
        elif column.required:
            problems.append(_absent(name, column, made))
    in_order = _in_order(made, wanted)
    if not in_order:
        _check_keys(made, wanted, problems)
    if problems:
        raise LayerError.of(problems)
    return _arranged(made, wanted, in_order=in_order)


def _with_ids(frame: Frame, wanted: Layer, problems: list[Problem]) -> Frame:
    """Give rows an id where the file had none; stones and heads by their position in the file."""
    key = wanted.id_column
    if key is None or wanted.role != "input":
        return frame
    if key not in frame.columns:
        # with a letter before them, so that nobody takes our numbers for names somebody gave
        width = max(4, len(str(len(frame))))
        frame.insert(0, key, [f"R{number:0{width}d}" for number in range(1, len(frame) + 1)])
        return frame
    frame[key] = text(frame[key])
    blank = frame[key].isna()
    if blank.any():
        rows = ", ".join(str(i + 1) for i in np.flatnonzero(blank.to_numpy())[:_SHOWN])
        problems.append(
            Problem(f"{int(blank.sum())} of {len(frame)} rows have no {key} (rows {rows})", f"{wanted.name}.{key}",
                    "Fill them in, or leave the whole column out: rows are then numbered.")
        )  # fmt: skip
    return frame


def _absent(name: str, column: Column, frame: Frame) -> Problem:
    there = ", ".join(str(c) for c in frame.columns if c != "geometry")
    remedy = f'Name the column that holds it: --column {column.name}="..."; the file has: {there}.'
    return Problem(f"column {column.name} ({column.meaning}) is missing", name, remedy)


def _check_keys(frame: Frame, wanted: Layer, problems: list[Problem]) -> None:
    if any(key not in frame.columns for key in wanted.key):
        return
    double = frame.duplicated(list(wanted.key))
    if double.any():
        rows = frame.loc[double, list(wanted.key)].astype("str").fillna("")
        again = sorted({" + ".join(row) for row in rows.itertuples(index=False)})
        shown = ", ".join(again[:_SHOWN])
        problems.append(
            Problem(f"{len(again)} {' + '.join(wanted.key)} stand more than once, such as {shown}", wanted.name,
                    "Give each row its own name.")
        )  # fmt: skip


def _in_order(frame: Frame, wanted: Layer) -> bool:
    """Whether each id is greater than the one before: then nothing stands twice and nothing is to be sorted."""
    if wanted.id_column not in frame.columns or frame[wanted.id_column].hasnans:
        return False
    ids = frame[wanted.id_column].to_numpy(dtype=object).tolist()
    return all(map(operator.lt, ids, ids[1:]))


def _arranged(frame: Frame, wanted: Layer, *, in_order: bool) -> Frame:
    ours = [c for c in wanted.columns if c in frame.columns]
    theirs = [c for c in frame.columns if c not in wanted.columns and c != "geometry"]
    if (
        wanted.geometry[0] == "none"
        and "geometry" in frame.columns
        and not shapely.is_geometry(frame["geometry"].to_numpy()).any()
    ):
        frame = pd.DataFrame(frame.drop(columns="geometry"))
    order = [*ours, *theirs, *(["geometry"] if "geometry" in frame.columns else [])]
    frame = frame[order] if in_order else frame[order].sort_values(list(wanted.key), kind="stable")
    frame = frame.reset_index(drop=True)
    if isinstance(frame, gpd.GeoDataFrame) and "geometry" in frame.columns:
        # pandas copies on write, an array of geometries does not: the frame given keeps its own
        frame["geometry"] = frame["geometry"].copy()
    for column in theirs:
        if frame[column].dtype == object:
            frame[column] = text(frame[column])
    return frame


def column(frame: Frame, layer: str, name: str) -> pd.Series[Any]:
    """Return a column of a layer, all missing where the layer does not have it."""
    if name in frame.columns:
        return frame[name]
    kind = schema.layer(layer).columns[name].kind
    return pd.Series([None] * len(frame), index=frame.index, dtype=DTYPES[kind], name=name)
