"""A laboratory sheet, one line a parameter, turned into one row a sample of the table of water analyses."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from functools import cache
from typing import TYPE_CHECKING

import pandas as pd

from gravegis.errors import Problem
from gravegis.layers import schema
from gravegis.layers.read.missing import is_missing
from gravegis.layers.read.raw import many, shown

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from gravegis.layers.canonical import Frame
    from gravegis.layers.read import Raw
    from gravegis.layers.road import Road

__all__ = ["turned"]

_PARAMETER = ("parameter", "analyte", "determinand", "constituent", "test")
_RESULT = ("result", "value", "reported result", "concentration")
_UNIT = ("unit", "units", "uom")
_ENOUGH = 0.5  # share of the lines whose parameter is known, from which a table counts as such a sheet: own choice
_NO_UNIT = ("ph units", "ph unit", "standard units", "su", "s.u.", "-", "none")
_BASES = ("iron_mg_l", "manganese_mg_l")
_VALUE = re.compile(r"^\s*([<>≤≥]?\s*=?)\s*([+-]?\d[\d.,\s]*(?:[eE][+-]?\d+)?)\s*$")


@dataclass(frozen=True, slots=True)
class _Line:
    """What a parameter is with us: column, a further column it fills (`says`), form its unit must name, factor."""

    column: str
    says: tuple[str, str] | None
    form: str
    factor: float


@dataclass(frozen=True, slots=True)
class _Sheet:
    """Columns of such a table: parameter, result, unit (None: none), and those that tell samples apart."""

    parameter: str
    result: str
    unit: str | None
    keys: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Work:
    """Where things are said, and the decimal sign of the file (empty: a point)."""

    road: Road
    decimal: str


def turned(raw: Raw, mapping: Sequence[str], road: Road) -> Raw:
    """Return a table with one row a sample where the file lists one parameter a line; any other file as it is.

    Iron and manganese both as total and as filtered: the total stands in our column, the filtered beside it in one of
    its own, as text. A line that is not understood is kept as a column of its own too. What is wrong is gathered.
    """
    sheet = _sheet(raw.frame, mapping) if road.layer.name == "water" else None
    if sheet is None:
        return raw
    work = _Work(road, raw.decimal)
    rows = [_row(part, sheet, work) for part in _samples(raw.frame, sheet)]
    left = [name for name in map(str, raw.frame.columns) if name not in _columns_of(sheet)]
    notes = [f"a sheet of one parameter a line: {len(raw.frame)} lines make {many(len(rows), 'sample')}"]
    if left:
        notes.append(f"columns of the sheet that are left out: {shown(left)}")
    road.notes.extend(notes)
    return replace(raw, frame=pd.DataFrame(rows).astype("str").where(pd.DataFrame(rows).notna()))


def _columns_of(sheet: _Sheet) -> tuple[str, ...]:
    return tuple(name for name in (sheet.parameter, sheet.result, sheet.unit, *sheet.keys) if name is not None)


@cache
def _known() -> Mapping[str, _Line]:
    lines = {}
    for row in schema.table("lab_parameters.csv"):
        left, _, right = row["says"].partition("=")
        says = (left, right) if right else None
        lines[row["words"]] = _Line(row["column"], says, row["form"], float(row["factor"]))
    return lines


def _plain(text: object) -> str:
    return " ".join(re.sub(r"[^a-z0-9]+", " ", str(text).casefold()).split())


def _find(text: object) -> _Line | None:
    """Return what a parameter is, whatever the order of its words: `Iron, total`, `Total iron`."""
    words = sorted(_plain(text).split())
    return next((line for known, line in _known().items() if sorted(known.split()) == words), None)


def _sheet(frame: Frame, mapping: Sequence[str]) -> _Sheet | None:
    names = {str(name).strip().casefold(): str(name) for name in frame.columns}
    parameter = next((names[word] for word in _PARAMETER if word in names), None)
    result = next((names[word] for word in _RESULT if word in names), None)
    if parameter is None or result is None or frame.empty:
        return None
    known = sum(_find(text) is not None for text in frame[parameter])
    if known < _ENOUGH * len(frame):
        return None
    named = {text.partition("=")[2].strip() for text in mapping}
    ours = set(schema.layer("water").columns)
    keys = tuple(name for low, name in names.items() if low in ours or name in named)
    return _Sheet(parameter, result, next((names[word] for word in _UNIT if word in names), None), keys)


def _samples(frame: Frame, sheet: _Sheet) -> list[Frame]:
    if not sheet.keys:
        return [frame]
    return [part for _, part in frame.groupby(list(sheet.keys), sort=False, dropna=False)]


def _row(part: Frame, sheet: _Sheet, work: _Work) -> dict[str, str | None]:
    """Return one sample; of two lines for one column the one of the whole, unfiltered sample holds it."""
    row: dict[str, str | None] = {key: _said(part[key].iloc[0]) for key in sheet.keys}
    found = [(_find(line[sheet.parameter]), line) for _, line in part.iterrows()]
    for meant, line in sorted(found, key=lambda pair: _rank(pair[0])):
        name, value = str(line[sheet.parameter]), _said(line[sheet.result])
        unit = _said(line[sheet.unit]) if sheet.unit is not None else None
        if meant is None:
            row[_free(name, row)] = " ".join(part for part in (value, unit) if part) or None
            work.road.notes.append(f"'{name}' is no parameter known here: kept as a column of its own")
        elif value is not None:
            _fill(row, meant, name, (value, unit or ""), work)
    return row


def _said(value: object) -> str | None:
    return None if is_missing(value, "text") else str(value).strip()


def _free(name: str, row: Mapping[str, object]) -> str:
    return name if name not in row else f"{name} (again)"


def _rank(meant: _Line | None) -> int:
    return 1 if meant is not None and meant.says is not None and meant.says[1] == "filtered" else 0


def _fill(row: dict[str, str | None], meant: _Line, name: str, said: tuple[str, str], work: _Work) -> None:
    value, unit = said
    plain, _, form = unit.partition(" as ")
    beside = f"{meant.column.removesuffix('_mg_l')}_filtered_mg_l"
    if meant.column in row and meant.column in _BASES and _rank(meant):
        row[beside] = " ".join((value, unit)).strip()
        work.road.notes.append(f"'{name}': the unfiltered figure stands in {meant.column}, this one in {beside}")
        return
    if meant.column in row:
        work.road.add([Problem(f"'{name}' is the second figure of {meant.column} for one sample", meant.column,
                          "Name the column that tells samples apart, such as --column sample_id=\"Sample\", or take "
                          "one line out.")])  # fmt: skip
        return
    if meant.form == "CaCO3" and form.strip().casefold() != "caco3":
        work.road.add([Problem(f"'{name}' does not say what it is given as", meant.column,
                          "Write its unit as 'mg/L as CaCO3', or give the metal itself.")])  # fmt: skip
        return
    row[meant.column] = _with_unit(value, plain, meant.factor, work.decimal)
    if meant.says is not None:
        row[meant.says[0]] = meant.says[1]
    if meant.form == "any" and form:
        row["alkalinity_as"] = form.strip()
    if meant.factor != 1:
        work.road.notes.append(f"'{name}' {value} {unit}: {meant.column} is that times {meant.factor:g}")


def _with_unit(value: str, unit: str, factor: float, decimal: str) -> str:
    """Return the figure as it would stand in a table, with its unit; times the factor where there is one."""
    parts = _VALUE.match(value)
    if factor != 1 and parts is not None:
        value = f"{parts[1].strip()}{_number(parts[2], decimal) * factor:.6g}"
        value = value.replace(".", decimal or ".")
    plain = "" if unit.strip().casefold() in _NO_UNIT else unit.strip()
    return f"{value} {plain}".strip()


def _number(text: str, decimal: str) -> float:
    thousands = "." if decimal == "," else ","
    return float(text.replace(" ", "").replace(thousands, "").replace(decimal or ".", "."))
