"""Tests with cans on the ground: tables and workbooks with their own headings become rows of one can each.

A workbook may hold many sheets with several lines of cans beside each other: without a name all of them are read, each
a test called by its sheet and table. What a can holds is a volume over an area, or a depth where only that was noted.
Rows get names of their test and their number in it, so that the same file read again replaces what it gave before.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import replace
from functools import cache
from typing import TYPE_CHECKING

import pandas as pd

from gravegis.errors import Problem
from gravegis.layers import schema
from gravegis.layers.read import read_file
from gravegis.layers.read.raw import many, shown

if TYPE_CHECKING:
    from pathlib import Path

    from gravegis.layers.read.raw import Raw
    from gravegis.layers.road import Road
    from gravegis.layers.said import Typed

__all__ = ["LAYER", "read_cans"]

LAYER = "catch_cans"
_SHEETS = (".xlsx", ".xlsm")
_UNIT = re.compile(r"^(.*?)[\s]*[(\[]\s*([^)\]]*?)\s*[)\]]\s*$")
_FACTORS = {
    "distance_m": {"m": 1.0, "ft": 0.3048, "cm": 0.01}, "volume_ml": {"ml": 1.0, "l": 1000.0, "cm3": 1.0, "cm³": 1.0},
    "can_area_cm2": {"cm²": 1.0, "cm2": 1.0, "m2": 1e4, "m²": 1e4, "mm2": 0.01, "mm²": 0.01},
    "depth_mm": {"mm": 1.0, "cm": 10.0, "in": 25.4}, "run_min": {"min": 1.0, "h": 60.0},
}  # fmt: skip


def read_cans(path: Path, typed: Typed, road: Road) -> Raw:
    """Return the cans of a file, one row each, under our names; other columns of its tables are left out and named."""
    if path.suffix.lower() in _SHEETS and typed.file_layer is None:
        from gravegis.layers.read.sheet import read_tables

        tables = read_tables(path)
    else:
        one = read_file(path, layer=typed.file_layer, encoding=typed.encoding)
        tables = {typed.file_layer or path.stem: one}
    named = {name: _named(raw, typed) for name, raw in tables.items()}
    good = {name: frame for name, frame in named.items() if _holds_cans(frame)}
    first = next(iter(tables.values()))
    if not good:
        headings = shown([str(column) for raw in tables.values() for column in raw.frame.columns], 12)
        remedy = f"Name the columns: --column volume_ml=... --column can_area_cm2=...; found: {headings}."
        road.add([Problem("no table holds cans: a volume and the area of a can, or a depth", LAYER, remedy)])
        road.stop()
    rows = pd.concat([_with_ids(frame, name) for name, frame in good.items()], ignore_index=True)
    road.replaces = True
    road.notes.append(f"cans: {many(len(rows), 'can')} of {many(rows['test_id'].nunique(), 'test')}")
    left = [name for name in tables if name not in good]
    if left:
        road.notes.append(f"tables without cans are left out: {shown(left)}")
    return replace(first, frame=rows, notes=first.notes if len(tables) == 1 else ())


def _named(raw: Raw, typed: Typed) -> pd.DataFrame:
    """Return a table under our names, in our units; of two columns for one of ours the first counts."""
    own = [name for name in schema.layer(LAYER).columns if name in raw.frame.columns]
    said = {wish.split("=", 1)[0].strip() for wish in typed.mapping}
    out = {name: raw.frame[name] for name in own}
    for heading in map(str, raw.frame.columns):
        column, factor = _column(heading)
        if column and column not in out and column not in said:
            values = raw.frame[heading]
            out[column] = values if factor == 1.0 else _times(values, factor, raw.decimal)
    wishes = [wish.split("=", 1)[-1] for wish in typed.mapping]
    kept = [name for name in raw.frame.columns if any(wish.startswith(str(name)) for wish in wishes)]
    out |= {name: raw.frame[name] for name in kept if name not in out}
    return pd.DataFrame(out)


def _times(values: pd.Series[str], factor: float, decimal: str) -> pd.Series[str]:
    plain = values.str.replace(",", ".") if decimal == "," else values
    figure = pd.to_numeric(plain, errors="coerce") * factor
    return pd.Series([None if pd.isna(one) else repr(float(one)) for one in figure], index=values.index, dtype="str")


@cache
def _words() -> dict[str, str]:
    return {row["words"]: row["column"] for row in schema.table("can_words.csv")}


def _column(heading: str) -> tuple[str, float]:
    """Return our column for a heading and the factor of its unit; nothing where it is not known."""
    found = _UNIT.match(heading)
    stem, unit = (found[1], found[2].casefold()) if found else (heading, "")
    letters = unicodedata.normalize("NFKD", stem.casefold())
    plain = " ".join(
        "".join(one if one.isalnum() else " " for one in letters if not unicodedata.combining(one)).split()
    )
    column = _words().get(plain, "")
    factors = _FACTORS.get(column, {"": 1.0})
    return (column, factors.get(unit, 1.0)) if column and (not unit or unit in factors) else ("", 1.0)


def _holds_cans(frame: pd.DataFrame) -> bool:
    return len(frame) > 0 and ({"volume_ml", "can_area_cm2"} <= set(frame.columns) or "depth_mm" in frame.columns)


def _with_ids(frame: pd.DataFrame, test: str) -> pd.DataFrame:
    """Name each can by its test and its number in it; a can without a figure was lost and stays out."""
    amount = frame["volume_ml"] if "volume_ml" in frame.columns else frame["depth_mm"]
    frame = frame[amount.notna()].reset_index(drop=True)
    names = frame["test_id"].fillna(test) if "test_id" in frame.columns else pd.Series(test, index=frame.index)
    number = (names.groupby(names).cumcount() + 1).astype("str")
    if "can" in frame.columns and not pd.DataFrame({"test": names, "can": frame["can"]}).duplicated().any():
        number = frame["can"].astype("str").where(frame["can"].notna(), number)
    number = number.str.zfill(3)
    made = frame.drop(columns="can", errors="ignore").assign(test_id=names)
    if "catch_can_id" not in made.columns:
        made["catch_can_id"] = names + " " + number
    return made
