"""What a reader hands on: the rows as the file has them, and what it says about their place."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from gravegis.errors import LayerError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from pyproj import CRS

    from gravegis.layers.canonical import Frame

__all__ = ["Raw", "as_text", "brief", "each_once", "many", "shown", "tidy_names"]

SHOWN = 5
_LONG = 200
_MOST_COLUMNS = 1_900  # SQLite, on which a site file rests, allows 2,000 (its limits page)
# Names the site file needs for itself; a column of a person that bears one gets another.
_RESERVED = ("geometry", "fid", "_row", "_place")


@dataclass(frozen=True, slots=True)
class Raw:
    """One layer as read, before any meaning is given to its columns.

    `crs` is None where the file says nothing usable, `trouble` then tells what it says; `stated` is False where
    the system follows from the kind of file only, so that a person may name another. `decimal` is the decimal
    sign found in a text table, empty where nothing tells. `epoch` tells from where a workbook counts days (1900 or
    1904), `unit_m` the metres of the unit a drawing says it counts in, `asks_unit` that it ought to and does not.
    `picture` says what a raster is; its one row is its outline. `hint` tells why the rows may not be what they
    should, for a layer that they do not fit.
    """

    frame: Frame
    crs: CRS | None = None
    crs_basis: str = ""
    stated: bool = False
    trouble: str = ""
    is_table: bool = False
    decimal: str = ""
    notes: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    epoch: str = ""
    unit_m: float | None = None
    asks_unit: bool = False
    picture: str = ""
    hint: str = ""


def brief(text: str, most: int = 6_000) -> str:
    """Return words of a stranger as they can stand in a message: no control or direction marks, not endless."""
    plain = "".join(sign if sign.isprintable() or sign == "\n" else "\ufffd" for sign in text[: most + 1])
    return plain if len(plain) <= most else f"{plain[:most]}..."


def shown(things: Iterable[object], most: int = SHOWN) -> str:
    """Return the first few of many in words: ``a, b, c and 12 more``."""
    every = [brief(str(thing).replace("\n", " "), _LONG) for thing in things]
    rest = len(every) - most
    return ", ".join(every[:most]) + (f" and {rest} more" if rest > 0 else "")


def many(count: int, thing: str) -> str:
    """Return a count in words: ``1 row``, ``3 rows``."""
    return f"{count} {thing}" if count == 1 else f"{count} {thing}s"


def tidy_names(names: Iterable[object], *, placed: bool) -> tuple[list[str], list[str]]:
    """Return column names that a site file can hold, and a note for each that had to change.

    Names that differ only in upper and lower case, are empty, or that the site file needs for itself get another.
    `placed` tells that the last name is the geometry, which stays.
    """
    given = [str(name) for name in names]
    if len(given) > _MOST_COLUMNS:
        raise LayerError(
            f"the table has {len(given):,} columns, a site file holds {_MOST_COLUMNS}",
            remedy="Leave out what is not needed; or is the separator another one?",
        )
    taken = {"geometry"} if placed else set[str]()
    made, notes = list[str](), list[str]()
    for number, name in enumerate(given, start=1):
        if placed and number == len(given):
            made.append(name)
            continue
        plain = " ".join(name.replace("\x00", "").split()) or f"column {number}"
        wanted = f"{plain}_" if plain.lower() in _RESERVED else plain
        free, count = wanted, 1
        while free.lower() in taken:
            count += 1
            free = f"{wanted}_{count}"
        taken.add(free.lower())
        made.append(free)
        if free != name.strip():
            notes.append(f"column '{name}' is called '{free}' here")
    return made, notes


def as_text(series: pd.Series[Any]) -> pd.Series[Any]:
    """Return texts as the dtype of texts, empty ones missing."""
    return pd.Series([value if value else None for value in series], index=series.index, dtype="str")


def each_once(series: pd.Series[Any], change: Callable[[list[str]], list[str]]) -> pd.Series[Any]:
    """Return a column of texts changed, empty ones missing; only the different ones are given to `change`."""
    codes, once = pd.factorize(series)
    words = np.asarray(once, dtype=object).tolist()
    made = change(words)
    if made == words and all(made):
        return series
    # the last stands for the missing ones, whose code is -1
    table = np.array([*(word or None for word in made), None], dtype=object)
    return pd.Series(table[codes], index=series.index, dtype="str")
