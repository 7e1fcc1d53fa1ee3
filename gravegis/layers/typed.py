"""From values of any kind to the one dtype of a column: texts, numbers, flags, dates, times, JSON.

A million rows pass here at each step, so a value is looked at once however often it stands in its column, and a
column that has its form already is handed on as it is.
"""

from __future__ import annotations

import datetime as dt
import json
import re
import unicodedata
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from gravegis import units
from gravegis.errors import Problem

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    import numpy.typing as npt

    from gravegis.layers.schema import Column

    Series = pd.Series[Any]
    Flags = npt.NDArray[np.bool_]

__all__ = ["DTYPES", "conform_value", "plain", "text", "typed"]

DTYPES = {
    "id": "str", "text": "str", "date": "str", "civil": "str", "instant": "str", "json": "str",
    "whole": "Int64", "number": "float64", "flag": "boolean",
}  # fmt: skip
"""The one dtype of each kind of column."""

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
_WIDEST_FLOAT = 8  # bytes; what is wider loses digits on the way and goes through its text


def typed(series: Series, column: Column, layer: str, problems: list[Problem]) -> Series:
    """Return a column in its one dtype; what cannot be read goes to the problems, with the rows."""
    made, bad = _read(series, column.kind)
    where = f"{layer}.{column.name}"
    if bad.any():
        problems.append(_unreadable(series, bad, column, where))
    _check_range(made, column, where, problems)
    return made


def conform_value(value: object, column: Column) -> tuple[object, str]:
    """Return one value as `conform` makes it (None where missing), and in words what is wrong with it, if anything."""
    made, bad = _read(pd.Series([value]), column.kind)
    if bad.any():
        return None, f"'{value}' is not {_FORM[column.kind]}{_in_unit(column)}"
    if len(_outside(made, column)):
        low, high = _limits(column)
        return None, f"{made.iloc[0]:g} lies outside {low:g} to {high:g} {column.unit}".rstrip()
    return plain(made.array[0]), ""


def plain(value: Any) -> object:  # noqa: ANN401 - whatever a column holds
    """Return what a cell holds as a plain value of Python; None where it is missing."""
    if _missing(value):
        return None
    return value.item() if isinstance(value, np.generic) else value


def _read(series: Series, kind: str) -> tuple[Series, Flags]:
    if kind in ("number", "flag") and series.dtype == DTYPES[kind]:
        return series, np.zeros(len(series), dtype=bool)
    if kind in ("number", "whole") and _is_number(series.dtype):
        return _as_numbers(series, kind)
    return _READ[kind](text(series))


def text(series: Series) -> Series:
    """Return texts stripped and in Unicode form C; empty text is missing; 7.0 read from a table is 7."""
    dtype = series.dtype
    if isinstance(dtype, pd.CategoricalDtype):
        return _taken(series, series.cat.codes.to_numpy(), _each(series.cat.categories.astype(object)))
    if isinstance(dtype, pd.StringDtype) and dtype.storage == "pyarrow":
        if _plain_and_bare(series.dropna()):
            return _as_str(series)
        codes, once = pd.factorize(series)
        words = _tidy(np.asarray(once, dtype=object).tolist())
        return _as_str(series) if words is None else _taken(series, codes, words)
    if isinstance(dtype, pd.StringDtype) or (pd.api.types.is_object_dtype(dtype) and _only_texts(series)):
        return _texts(series)
    if isinstance(dtype, np.dtype) and dtype.kind in "iufbM" and dtype.itemsize <= _WIDEST_FLOAT:
        codes, once = pd.factorize(series)
        return _taken(series, codes, _each(pd.Series(once)))
    return pd.Series(_each(series), index=series.index, dtype="str")


def _plain_and_bare(words: Series) -> bool:
    """Whether texts held by pyarrow are in their form: plain letters, nothing to strip, none empty."""
    return bool(words.str.isascii().all() and (words.str.strip() == words).all() and (words != "").all())


def _texts(series: Series) -> Series:
    values = series.to_numpy(dtype=object)
    there = series.notna().to_numpy()
    words = _tidy((values if there.all() else values[there]).tolist())
    if words is None:
        return _as_str(series)
    made = np.full(len(values), None, dtype=object)
    made[there] = words
    return pd.Series(made, index=series.index, dtype="str")


def _only_texts(series: Series) -> bool:
    return pd.api.types.infer_dtype(series, skipna=True) in ("string", "empty")


def _as_str(series: Series) -> Series:
    """Return texts that need no change in the dtype of texts; columns that have it share their memory."""
    made = series.astype("str") if series.dtype != pd.StringDtype(na_value=np.nan) else series.copy(deep=False)
    return made.rename(None)


def _tidy(words: list[Any]) -> list[str | None] | None:
    """Return texts stripped and in form C, the empty ones missing; None where nothing is to be changed."""
    # plain letters are in form C already, and most columns hold nothing else
    same = words if "".join(words).isascii() else [_form_c(word) for word in words]
    bare = list(map(str.strip, same))
    # what strip leaves alone is the same object, so that this comparison costs next to nothing
    if bare == words and all(bare):
        return None
    return [word or None for word in bare]


def _form_c(word: str) -> str:
    return word if word.isascii() else unicodedata.normalize("NFC", word)


def _taken(series: Series, codes: npt.NDArray[Any], words: list[str | None]) -> Series:
    """Return the words of the codes, missing where the code is -1."""
    table = np.empty(len(words) + 1, dtype=object)
    table[:-1] = words
    return pd.Series(table[codes], index=series.index, dtype="str")


def _each(values: Iterable[Any]) -> list[str | None]:
    return [None if _missing(value) else _as_text(value) or None for value in values]


def _missing(value: object) -> bool:
    return pd.isna(value) is True  # type: ignore[call-overload]  # a list is not missing, whatever is in it


def _as_text(value: object) -> str:
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    if isinstance(value, dt.datetime):
        return value.isoformat()
    return unicodedata.normalize("NFC", str(value)).strip()


def _is_number(dtype: Any) -> bool:  # noqa: ANN401 - any dtype of pandas
    """Whether values are numbers that a float holds: of numpy, or of pandas with gaps; no flags, nothing wider."""
    plain = dtype if isinstance(dtype, np.dtype) else getattr(dtype, "numpy_dtype", None)
    if isinstance(dtype, pd.ArrowDtype) or not isinstance(plain, np.dtype):
        return False
    return plain.kind in "iuf" and plain.itemsize <= _WIDEST_FLOAT


def _as_numbers(series: Series, kind: str) -> tuple[Series, Flags]:
    """Return numbers as numbers, without the way through their texts."""
    values = series.to_numpy(dtype="float64", na_value=np.nan)
    endless = np.isinf(values)
    numbers = pd.Series(np.where(endless, np.nan, values), index=series.index)
    return (numbers, endless) if kind == "number" else _whole(numbers, endless)


def _read_text(words: Series) -> tuple[Series, Flags]:
    return words, np.zeros(len(words), dtype=bool)


def _read_number(words: Series) -> tuple[Series, Flags]:
    numbers = pd.to_numeric(words, errors="coerce").astype("float64")
    numbers[~np.isfinite(numbers)] = np.nan
    return numbers, (numbers.isna() & words.notna()).to_numpy()


def _read_whole(words: Series) -> tuple[Series, Flags]:
    return _whole(*_read_number(words))


def _whole(numbers: Series, bad: Flags) -> tuple[Series, Flags]:
    split = (numbers % 1 != 0) & numbers.notna()
    return numbers.where(~split).round().astype("Int64"), bad | split.to_numpy()


def _read_flag(words: Series) -> tuple[Series, Flags]:
    flags = words.str.lower().map(_FLAGS).astype("boolean")
    return flags, (flags.isna() & words.notna()).to_numpy(dtype=bool)


def _read_each(one: Callable[[str], str]) -> Callable[[Series], tuple[Series, Flags]]:
    def read(words: Series) -> tuple[Series, Flags]:
        codes, once = pd.factorize(words)
        typed_once = np.asarray(once, dtype=object).tolist()
        values: list[str | None] = []
        wrong = np.zeros(len(typed_once) + 1, dtype=bool)  # the last stands for the missing ones, which are not wrong
        for place, value in enumerate(typed_once):
            try:
                values.append(one(value))
            except ValueError:
                values.append(None)
                wrong[place] = True
        made = words if values == typed_once else _taken(words, codes, values)
        return made, wrong[codes]

    return read


def _date(word: str) -> str:
    return dt.date.fromisoformat(word[:10]).isoformat()


def _civil(word: str) -> str:
    found = _CIVIL.match(word)
    if found is None:
        raise ValueError(word)
    hours, minutes, seconds = found.groups()
    return f"{int(hours):02d}:{minutes}" + (f":{seconds}" if seconds else "")


def _instant(word: str) -> str:
    moment = dt.datetime.fromisoformat(word)
    if moment.tzinfo is None:
        raise ValueError(word)
    return moment.astimezone(dt.UTC).isoformat().replace("+00:00", "Z")


def _json(word: str) -> str:
    return json.dumps(json.loads(word), sort_keys=True, separators=(",", ":"), ensure_ascii=False)


_READ: dict[str, Callable[[Series], tuple[Series, Flags]]] = {
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


def _unreadable(series: Series, bad: Flags, column: Column, where: str) -> Problem:
    rows = np.flatnonzero(bad)[:_SHOWN]
    shown = ", ".join(f"'{series.iloc[row]}' in row {row + 1}" for row in rows)
    unit = _in_unit(column)
    typed_unit = f" Where values carry a unit, name it: {_named(column)}." if unit else ""
    return Problem(
        f"{int(bad.sum())} of {len(series)} values are not {_FORM[column.kind]}{unit}: {shown}", where,
        f"Correct them in the file, or leave them empty where nothing is known.{typed_unit}",
    )  # fmt: skip


def _named(column: Column) -> str:
    return f'--column {column.name}="NAME {units.example_for(column.unit)}"'


def _in_unit(column: Column) -> str:
    return f" in {column.unit}" if column.unit not in ("", "1") else ""


def _check_range(made: Series, column: Column, where: str, problems: list[Problem]) -> None:
    outside = _outside(made, column)
    if len(outside):
        low, high = _limits(column)
        shown = ", ".join(f"{made.iloc[row]:g} in row {row + 1}" for row in outside[:_SHOWN])
        problems.append(
            Problem(f"{len(outside)} values lie outside {low:g} to {high:g} {column.unit}: {shown}", where,
                    f"Was it typed in another unit? Name it: {_named(column)}."
                    if column.unit not in ("", "1") else "Correct them in the file.")
        )  # fmt: skip


def _limits(column: Column) -> tuple[float, float]:
    return -np.inf if column.low is None else column.low, np.inf if column.high is None else column.high


def _outside(made: Series, column: Column) -> npt.NDArray[np.intp]:
    """Return the rows whose value lies outside the honest range of the column."""
    if column.low is None and column.high is None:
        return np.array([], dtype=np.intp)
    low, high = _limits(column)
    values = made.to_numpy(dtype="float64", na_value=np.nan)
    return np.flatnonzero((values < low) | (values > high))
