"""From values as typed to the values of a column: missing words, decimal signs, units."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from gravegis import units
from gravegis.errors import LayerError, Problem, SettingError
from gravegis.layers.compass import bearing_of
from gravegis.layers.fractions import fraction
from gravegis.layers.read import numbers
from gravegis.layers.read.missing import is_missing, missing_among
from gravegis.layers.read.raw import shown

if TYPE_CHECKING:
    from collections.abc import Mapping

    import numpy.typing as npt

    from gravegis.layers.schema import Column

__all__ = ["Converted", "carries_units", "convert", "measures", "mixed_units", "unit_in_name"]

_FEET_INCHES = re.compile(r"(\d+)\s*(?:'|ft|feet)\s*(\d[\d.\s/]*[¼½¾⅛⅜⅝⅞]?|[¼½¾⅛⅜⅝⅞])\s*(?:\"|''|in|inch|inches)")
_BRACKET = re.compile(r"(.*?)[\s_]*[(\[]\s*([^)\]]+?)\s*[)\]]\s*")
_QUOTES = str.maketrans({"′": "'", "’": "'", "″": '"', "”": '"'})


@dataclass(slots=True)
class Converted:
    """A column in its inside unit (text where a value could not be read), with what to say about it."""

    values: pd.Series[Any]
    notes: list[str] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)


def measures(word: str, inside: str) -> bool:
    """Whether a word is a unit of the same kind of quantity as the inside unit."""
    try:
        units.to_inside(1.0, word, inside)
    except SettingError:
        return False
    return bool(word)


def unit_in_name(name: str, inside: str) -> tuple[str, str]:
    """Return the name without its unit, and the unit: ``RADIUS (ft)`` gives ``RADIUS`` and ``ft``."""
    found = _BRACKET.fullmatch(name)
    if found is not None and measures(found[2], inside):
        return found[1], found[2]
    tokens = re.split(r"[\s_]+", name)
    for count in range(min(3, len(tokens) - 1), 0, -1):
        for joint in ("/", " "):
            word = joint.join(tokens[-count:])
            if measures(word, inside):
                return "_".join(tokens[:-count]), word
    return name, ""


def carries_units(series: pd.Series[Any], column: Column) -> tuple[list[str], list[str]]:
    """Return the bare numbers of a column and the ones with a unit behind, as typed."""
    bare, dressed = list[str](), list[str]()
    if pd.api.types.is_numeric_dtype(series.dtype):
        return [str(one) for one in series.dropna().unique()], dressed
    for text in _texts(series, column):
        if _feet_inches(text) is not None:
            dressed.append(text)
        elif (halves := fraction(text)) is not None:
            (dressed if measures(halves[1], column.unit) else bare).append(text)
        elif (parts := numbers.split(text)) is not None:
            (dressed if measures(parts[1], column.unit) else bare).append(text)
    return bare, dressed


def convert(series: pd.Series[Any], column: Column, *, unit: str, decimal: str, where: str) -> Converted:
    """Return a column of the schema from the values as typed.

    Parameters
    ----------
    series
        Values of the file.
    column
        What they are to become.
    unit
        Unit of the bare numbers where a person or the name of the column says one; empty: not said.
    decimal
        Decimal sign found in the rest of the file.
    where
        Place named in problems.
    """
    if column.kind not in ("number", "whole"):
        return _words(series, column)
    if pd.api.types.is_numeric_dtype(series.dtype) and series.dtype != bool:
        return _scaled(series, column, unit)
    return _typed(series, column, unit=unit, decimal=decimal, where=where)


def _words(series: pd.Series[Any], column: Column) -> Converted:
    if not pd.api.types.is_string_dtype(series.dtype) and series.dtype != object:
        return Converted(series)
    once = _different(series)
    if once is None:
        kept = [None if _nothing(value, column) else value for value in series]
        done = Converted(pd.Series(kept, index=series.index, dtype=series.dtype))
        _say_missing(_counts(series, column), column, done)
        return done
    gone, counts = _gone(*once, column)
    done = Converted(series.mask(gone) if gone.any() else series)
    _say_missing(counts, column, done)
    return done


def _counts(series: pd.Series[Any], column: Column) -> Mapping[str, int]:
    """Return how often each word stands that says that nothing is known."""
    once = _different(series)
    if once is not None:
        return _gone(*once, column)[1]
    return Counter(value for value in series if isinstance(value, str) and _nothing(value, column))


def _gone(
    codes: npt.NDArray[np.intp], words: list[str], column: Column
) -> tuple[npt.NDArray[np.bool_], Mapping[str, int]]:
    """Return which rows say that nothing is known, and how often each such word stands."""
    places = [one for one in missing_among(words, column.kind) if words[one].strip() not in column.values]
    flags = np.zeros(len(words) + 1, dtype=bool)  # the last stands for the missing ones, whose code is -1
    flags[places] = True
    rows = flags[codes]
    counts = np.bincount(codes[rows], minlength=len(words))
    return rows, {words[one]: int(counts[one]) for one in places}


def _different(series: pd.Series[Any]) -> tuple[npt.NDArray[np.intp], list[str]] | None:
    """Return the different texts of a column and which stands in which row, -1 for none; None if not all are texts."""
    if not isinstance(series.dtype, pd.StringDtype):
        return None
    codes, once = pd.factorize(series)
    return codes, np.asarray(once, dtype=object).tolist()


def _scaled(series: pd.Series[Any], column: Column, unit: str) -> Converted:
    if not unit or unit == column.unit:
        return Converted(series)
    values = [None if pd.isna(one) else units.to_inside(float(one), unit, column.unit) for one in series]
    return Converted(pd.Series(values, index=series.index, dtype="float64"), [f"{column.name}: from {unit}"])


def _typed(series: pd.Series[Any], column: Column, *, unit: str, decimal: str, where: str) -> Converted:
    done = Converted(series)
    bare, dressed = carries_units(series, column)
    if bare and dressed and not unit:
        done.problems.append(mixed_units(series, column, bare, dressed, where))
    try:
        plain = [text for text in _texts(series, column) if _feet_inches(text) is None and fraction(text) is None]
        parts = [one[0] for text in plain if (one := numbers.split(text)) is not None]
        style = numbers.sniff(parts, decimal)
    except LayerError as error:
        done.problems.extend(Problem(one.problem, where, one.remedy) for one in error.problems)
        return done
    known = {text: _value(text, column, unit, style) for text in _texts(series, column)}
    _say_missing(_counts(series, column), column, done)
    if style.decimal == "," != decimal:
        done.notes.append(f"{column.name}: decimal comma" + (f" (such as '{style.example}')" if style.example else ""))
    words = sorted({str(one[1]) for text in dressed if (one := numbers.split(text))} | ({unit} if unit else set()))
    if [word for word in words if word != column.unit]:
        done.notes.append(f"{column.name}: from {', '.join(words)} to {column.unit}")
    values = [known.get(_text(value)) for value in series.to_numpy(dtype=object).tolist()]
    if all(value is not None for value in known.values()):
        done.values = pd.Series(values, index=series.index, dtype="float64")
    else:  # what could not be read stays as typed and is reported with its rows
        mixed = [
            None if _nothing(text, column) else repr(value) if value is not None else text
            for text, value in zip(series, values, strict=True)
        ]
        done.values = pd.Series(mixed, index=series.index, dtype="str")
    return done


def _value(text: str, column: Column, unit: str, style: numbers.Style) -> float | None:
    if column.unit == "m" and (metres := _feet_inches(text)) is not None:
        return metres
    if column.unit == "deg" and (bearing := bearing_of(text)) is not None:
        return bearing
    parts: tuple[object, str] | None = numbers.split(text)
    value = None if parts is None else numbers.read(str(parts[0]), style.decimal)
    if (halves := fraction(text)) is not None:
        parts, value = halves, halves[0]
    if parts is None or value is None:
        return None
    word = parts[1] or unit
    if not word:
        return value
    return units.to_inside(value, word, column.unit) if measures(word, column.unit) else None


def _feet_inches(text: str) -> float | None:
    """Return metres of a text such as ``5' 6"``."""
    found = _FEET_INCHES.fullmatch(text.translate(_QUOTES).strip().lower())
    if found is None:
        return None
    halves = fraction(found[2])
    if halves is None and re.fullmatch(r"\d+(?:\.\d+)?", found[2].strip()) is None:
        return None
    inches = float(found[2]) if halves is None else halves[0]
    return units.to_inside(float(found[1]), "ft", "m") + units.to_inside(inches, "in", "m")


def _texts(series: pd.Series[Any], column: Column) -> list[str]:
    """Return each different value once, in the order of the file, missing ones left out."""
    return [_text(value) for value in series.dropna().unique() if not _nothing(value, column)]


def _text(value: object) -> str:
    return "" if value is None or value is pd.NA else str(value).strip()


def _nothing(value: object, column: Column) -> bool:
    """Whether a value is missing; a word that is one of the words of the column is not."""
    return is_missing(value, column.kind) and not (isinstance(value, str) and value.strip() in column.values)


def _say_missing(counts: Mapping[str, int], column: Column, done: Converted) -> None:
    gone = Counter[str]()
    for word, count in counts.items():
        if word.strip():
            gone[word.strip()] += count
    if gone:
        counted = [f"'{word}' ({count})" for word, count in gone.items()]
        done.notes.append(f"{column.name}: read as missing: {shown(counted)}")


def mixed_units(series: pd.Series[Any], column: Column, bare: list[str], dressed: list[str], where: str) -> Problem:
    """Return what is wrong where bare numbers and numbers with a unit stand in one column, with rows of each."""
    first = [f"'{one}' in row {_row(series, one)}" for one in (*bare[:2], *dressed[:2])]
    source = series.name
    return Problem(
        f"some values carry a unit and some do not: {', '.join(first)}", where,
        f'Say what the bare ones are in, such as --column {column.name}="{source} {column.unit}"'
        + (f' or --column {column.name}="{source} ft".' if column.unit == "m" else "."),
    )  # fmt: skip


def _row(series: pd.Series[Any], text: str) -> int:
    return next(number for number, value in enumerate(series, start=1) if _text(value) == text)
