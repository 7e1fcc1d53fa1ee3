"""The one form a layer has in memory, in files and before every hash.

Rows are sorted by their key, columns stand in the order of the schema, ids are text, text is stripped and in
Unicode form C, dates are ISO texts, reasons are JSON. Columns that are not ours are carried unchanged.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import math
import re
import unicodedata
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from gravegis.errors import LayerError, Problem
from gravegis.layers import schema

if TYPE_CHECKING:
    from collections.abc import Callable

    from gravegis.layers.schema import Column, Layer

__all__ = ["Frame", "column", "column_hash", "conform", "content_hash", "empty", "equal"]

Frame = pd.DataFrame  # a GeoDataFrame is one too

_DTYPES = {
    "id": "str", "text": "str", "date": "str", "civil": "str", "instant": "str", "json": "str",
    "whole": "Int64", "number": "float64", "flag": "boolean",
}  # fmt: skip
_CIVIL = re.compile(r"^([01]?\d|2[0-3]):([0-5]\d)(?::([0-5]\d))?$")
_FLAGS = {
    "yes": True,
    "no": False,
    "true": True,
    "false": False,
    "1": True,
    "0": False,
    "y": True,
    "n": False,
}
_SHOWN = 5


def empty(name: str, crs: str | None = None) -> Frame:
    """Return a layer without rows but with all its columns."""
    wanted = schema.layer(name)
    columns = {c.name: pd.Series([], dtype=_DTYPES[c.kind]) for c in wanted.columns.values()}
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
            made[column.name] = _typed(made[column.name], column, name, problems)
        elif column.required:
            problems.append(_absent(name, column, made))
    _check_keys(made, wanted, problems)
    if problems:
        raise LayerError.of(problems)
    return _arranged(made, wanted)


def content_hash(frame: Frame, columns: tuple[str, ...] | None = None) -> str:
    """Return a SHA-256 of the values of a canonical layer (of the columns named, or of all)."""
    digest = hashlib.sha256()
    for column in frame.columns if columns is None else [c for c in columns if c in frame.columns]:
        digest.update(str(column).encode())
        digest.update(_bytes_of(frame[column]))
    return digest.hexdigest()


def column_hash(series: pd.Series[Any]) -> str:
    """Return a SHA-256 of the values of one column of a canonical layer."""
    return hashlib.sha256(_bytes_of(series)).hexdigest()


def equal(one: Frame, other: Frame) -> bool:
    """Whether two canonical layers hold the same."""
    return list(one.columns) == list(other.columns) and content_hash(one) == content_hash(other)


def _bytes_of(series: pd.Series[Any]) -> bytes:
    if series.dtype == "geometry":
        # the byte order and the vertex order of a geometry are kept, so a re-read layer gives the same bytes
        return b"|".join(b"" if g is None else g for g in shapely.to_wkb(np.asarray(series), byte_order=1))
    if series.dtype == "float64":
        values = series.to_numpy(dtype="float64")
        # one zero and one not-a-number: files do not keep their signs
        return np.where(np.isnan(values), np.nan, values + 0.0).tobytes()
    # a missing value is told from an empty text, and no sign within a text can end it
    texts = zip(series.tolist(), series.isna().tolist(), strict=True)
    return b"".join(b"-" if gone else _counted(str(value).encode()) for value, gone in texts)


def _counted(text: bytes) -> bytes:
    return b"%d:%b" % (len(text), text)


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
    blank = frame[key].isna() | (frame[key].astype("str").str.strip() == "")
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
    if any(key not in frame.columns for key in wanted.key) or frame.empty:
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


def _arranged(frame: Frame, wanted: Layer) -> Frame:
    ours = [c for c in wanted.columns if c in frame.columns]
    theirs = [c for c in frame.columns if c not in wanted.columns and c != "geometry"]
    if wanted.geometry[0] == "none" and "geometry" in frame.columns and bool(frame["geometry"].isna().all()):
        frame = pd.DataFrame(frame.drop(columns="geometry"))
    order = [*ours, *theirs, *(["geometry"] if "geometry" in frame.columns else [])]
    frame = frame[order].sort_values(list(wanted.key), kind="stable").reset_index(drop=True)
    for column in theirs:
        if frame[column].dtype == object:
            frame[column] = _text(frame[column])
    return frame


def _typed(series: pd.Series[Any], column: Column, layer: str, problems: list[Problem]) -> pd.Series[Any]:
    """Return the column in its one dtype; what cannot be read goes to the problems, with the rows."""
    if series.dtype == _DTYPES[column.kind] and column.kind in ("number", "flag"):
        made, bad = series, np.zeros(len(series), dtype=bool)
    else:
        text = _text(series)
        made, bad = _READ[column.kind](text)
    where = f"{layer}.{column.name}"
    if bad.any():
        problems.append(_unreadable(series, bad, column, where))
    _check_range(made, column, where, problems)
    return made


def _text(series: pd.Series[Any]) -> pd.Series[Any]:
    """Return texts stripped and in Unicode form C; empty text is missing; 7.0 read from a table is 7."""
    if isinstance(series.dtype, pd.CategoricalDtype):
        series = series.astype(object)
    values = [None if _missing(value) else _as_text(value) for value in series]
    return pd.Series([value or None for value in values], index=series.index, dtype="str")


def _missing(value: object) -> bool:
    return value is None or value is pd.NA or value is pd.NaT or (isinstance(value, float) and math.isnan(value))


def _as_text(value: object) -> str:
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    if isinstance(value, dt.datetime):
        return value.isoformat()
    return unicodedata.normalize("NFC", str(value)).strip()


def _read_text(text: pd.Series[Any]) -> tuple[pd.Series[Any], np.ndarray[Any, Any]]:
    return text, np.zeros(len(text), dtype=bool)


def _read_number(text: pd.Series[Any]) -> tuple[pd.Series[Any], np.ndarray[Any, Any]]:
    numbers = pd.to_numeric(text, errors="coerce").astype("float64")
    numbers[~np.isfinite(numbers)] = np.nan
    return numbers, (numbers.isna() & text.notna()).to_numpy()


def _read_whole(text: pd.Series[Any]) -> tuple[pd.Series[Any], np.ndarray[Any, Any]]:
    numbers, bad = _read_number(text)
    split = (numbers % 1 != 0) & numbers.notna()
    return numbers.where(~split).round().astype("Int64"), bad | split.to_numpy()


def _read_flag(text: pd.Series[Any]) -> tuple[pd.Series[Any], np.ndarray[Any, Any]]:
    flags = text.str.lower().map(_FLAGS).astype("boolean")
    return flags, (flags.isna() & text.notna()).to_numpy(dtype=bool)


def _read_each(
    one: Callable[[str], str],
) -> Callable[[pd.Series[Any]], tuple[pd.Series[Any], np.ndarray[Any, Any]]]:
    def read(text: pd.Series[Any]) -> tuple[pd.Series[Any], np.ndarray[Any, Any]]:
        values: list[str | None] = []
        bad = np.zeros(len(text), dtype=bool)
        for row, value in enumerate(text):
            try:
                values.append(None if _missing(value) else one(value))
            except ValueError:
                values.append(None)
                bad[row] = True
        return pd.Series(values, index=text.index, dtype="str"), bad

    return read


def _date(text: str) -> str:
    return dt.date.fromisoformat(text[:10]).isoformat()


def _civil(text: str) -> str:
    found = _CIVIL.match(text)
    if found is None:
        raise ValueError(text)
    hours, minutes, seconds = found.groups()
    return f"{int(hours):02d}:{minutes}" + (f":{seconds}" if seconds else "")


def _instant(text: str) -> str:
    moment = dt.datetime.fromisoformat(text)
    if moment.tzinfo is None:
        raise ValueError(text)
    return moment.astimezone(dt.UTC).isoformat().replace("+00:00", "Z")


def _json(text: str) -> str:
    return json.dumps(json.loads(text), sort_keys=True, separators=(",", ":"), ensure_ascii=False)


_READ: dict[str, Callable[[pd.Series[Any]], tuple[pd.Series[Any], np.ndarray[Any, Any]]]] = {
    "id": _read_text,
    "text": _read_text,
    "number": _read_number,
    "whole": _read_whole,
    "flag": _read_flag,
    "date": _read_each(_date),
    "civil": _read_each(_civil),
    "instant": _read_each(_instant),
    "json": _read_each(_json),
}

_FORM = {
    "number": "a number",
    "whole": "a whole number",
    "flag": "yes or no",
    "date": "a date such as 2026-10-01",
    "civil": "a time such as 05:30",
    "instant": "a time with its zone, such as 2026-10-01T05:30:00Z",
    "json": "JSON",
}


def _unreadable(series: pd.Series[Any], bad: np.ndarray[Any, Any], column: Column, where: str) -> Problem:
    rows = np.flatnonzero(bad)[:_SHOWN]
    shown = ", ".join(f"'{series.iloc[row]}' in row {row + 1}" for row in rows)
    unit = f" in {column.unit}" if column.unit not in ("", "1") else ""
    typed_unit = f' Where values carry a unit, name it: --column {column.name}="NAME ft".' if unit else ""
    return Problem(
        f"{int(bad.sum())} of {len(series)} values are not {_FORM[column.kind]}{unit}: {shown}", where,
        f"Correct them in the file, or leave them empty where nothing is known.{typed_unit}",
    )  # fmt: skip


def _check_range(made: pd.Series[Any], column: Column, where: str, problems: list[Problem]) -> None:
    if column.low is None and column.high is None:
        return
    low = -np.inf if column.low is None else column.low
    high = np.inf if column.high is None else column.high
    values = made.to_numpy(dtype="float64", na_value=np.nan)
    outside = np.flatnonzero((values < low) | (values > high))
    if len(outside):
        shown = ", ".join(f"{values[row]:g} in row {row + 1}" for row in outside[:_SHOWN])
        problems.append(
            Problem(f"{len(outside)} values lie outside {low:g} to {high:g} {column.unit}: {shown}", where,
                    f'Was it typed in another unit? Name it: --column {column.name}="NAME ft".'
                    if column.unit not in ("", "1") else "Correct them in the file.")
        )  # fmt: skip


def column(frame: Frame, layer: str, name: str) -> pd.Series[Any]:
    """Return a column of a layer, all missing where the layer does not have it."""
    if name in frame.columns:
        return frame[name]
    kind = schema.layer(layer).columns[name].kind
    return pd.Series([None] * len(frame), index=frame.index, dtype=_DTYPES[kind], name=name)
