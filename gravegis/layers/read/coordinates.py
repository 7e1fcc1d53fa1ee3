"""Positions in the columns of a table: which columns they are, and the points they make."""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from gravegis.errors import LayerError, Problem
from gravegis.layers.read import numbers
from gravegis.layers.read.angles import has_marks, parse_angle, runs_together
from gravegis.layers.read.missing import is_missing
from gravegis.layers.read.raw import shown

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import numpy.typing as npt
    import pandas as pd

    from gravegis.layers.canonical import Frame

__all__ = [
    "PLACE",
    "Pair",
    "Points",
    "every_pair",
    "find_pair",
    "find_wkt",
    "outlines",
    "plain_name",
    "points",
    "quarter_column",
]

PLACE = ("x", "y", "wkt")
"""Names a person may give a column of positions, beside the columns of the layer."""

_WKT = re.compile(
    r"\s*(?:SRID=\d+;)?\s*(?:MULTI)?(?:POINT|LINESTRING|POLYGON)\b|\s*GEOMETRYCOLLECTION\b", re.IGNORECASE
)
_QUARTERS = {
    "lat": ("ns", "nsindicator", "latns", "latref", "latdir", "latitudereference", "lathemisphere", "latitudens"),
    "lon": ("ew", "ewindicator", "lonew", "lonref", "londir", "longitudereference", "lonhemisphere", "longitudeew"),
}
_WKT_NAMES = ("wkt", "geometry", "geometry_", "geom", "the_geom", "shape", "wkt_geom", "geom_wkt")
_NUMBER = re.compile(r"[+-]?\d+\.?\d*(?:[eE][+-]?\d+)?", re.ASCII)
_RIGHT_DEG = 90.0


@dataclass(frozen=True, slots=True)
class Pair:
    """Two columns that hold a position: degrees, metres or feet of a grid, or either."""

    x: str
    y: str
    kind: str

    def columns(self, names: Sequence[str]) -> list[str]:
        """Return the columns that are used up: the two, and those that hold their quarters of the sky."""
        quarters = (quarter_column(names, axis) for axis in ("lon", "lat")) if self.kind != "grid" else ()
        return [self.x, self.y, *(name for name in quarters if name is not None)]


@dataclass(frozen=True, slots=True)
class Points:
    """The points of a table, None where a row has no position; whether they are degrees; how they were read."""

    geometry: npt.NDArray[np.object_]
    in_degrees: bool
    notes: tuple[str, ...]
    problems: tuple[Problem, ...]


def plain_name(name: str) -> str:
    """Return a column name without case, blanks and signs, to compare with: ``Point_X`` is ``pointx``."""
    return re.sub(r"[\W_]+", "", name).lower()


@cache
def _names() -> tuple[tuple[str, str, str], ...]:
    text = files("gravegis.layers").joinpath("data", "coordinate_names.csv").read_text(encoding="utf-8")
    return tuple((row["x"], row["y"], row["kind"]) for row in csv.DictReader(text.splitlines()))


def find_pair(columns: Sequence[str], chosen: Mapping[str, str]) -> Pair | None:
    """Return the columns of the position, or None where there are none.

    Parameters
    ----------
    columns
        Names of the table.
    chosen
        ``x`` and ``y`` with the columns a person named.

    Raises
    ------
    LayerError
        Where several pairs stand in the table, or only one of the two was named.
    """
    if "x" in chosen or "y" in chosen:
        if "x" not in chosen or "y" not in chosen:
            raise LayerError("only one of x and y is named", remedy="Name both: --column x=... --column y=... .")
        return Pair(chosen["x"], chosen["y"], _kind_of(chosen["x"], chosen["y"]))
    pairs = every_pair(columns)
    if len(pairs) > 1:
        ways = "".join(f'\n      --column x="{one.x}" --column y="{one.y}"' for one in pairs)
        raise LayerError(
            f"the table has {len(pairs)} pairs of coordinates, which need not say the same place",
            remedy=f"Name the pair to use:{ways}",
        )
    return pairs[0] if pairs else None


def every_pair(columns: Sequence[str]) -> list[Pair]:
    """Return every two columns whose names are those of a position."""
    plain: dict[str, str] = {}
    for name in columns:
        plain.setdefault(plain_name(name), name)
    return [Pair(plain[x], plain[y], kind) for x, y, kind in _names() if x in plain and y in plain]


def _kind_of(x: str, y: str) -> str:
    return next((kind for one, two, kind in _names() if (one, two) == (plain_name(x), plain_name(y))), "either")


def quarter_column(names: Sequence[str], axis: str) -> str | None:
    """Return the column that holds N and S, or E and W, as receivers write them beside ``ddmm.mmmm``."""
    return next((name for name in names if plain_name(name) in _QUARTERS[axis]), None)


def find_wkt(frame: Frame, chosen: Mapping[str, str]) -> str | None:
    """Return the column that holds outlines as well-known text, or None."""
    if "wkt" in chosen:
        return chosen["wkt"]
    for name in frame.columns:
        if str(name).lower() in _WKT_NAMES:
            filled = frame[name].dropna()
            if len(filled) and _WKT.match(str(filled.iloc[0])):
                return str(name)
    return None


def outlines(texts: pd.Series[Any], name: str) -> Points:
    """Return the geometries of a column of well-known text."""
    geometry = np.full(len(texts), None, dtype=object)
    bad = list[str]()
    for row, text in enumerate(texts):
        if is_missing(text, "number"):
            continue
        try:
            geometry[row] = shapely.from_wkt(re.sub(r"^\s*SRID=\d+;", "", str(text), flags=re.IGNORECASE))
        except shapely.errors.GEOSException:
            bad.append(f"row {row + 1}")
    problems = (Problem(f"no outline can be read in {shown(bad)}", name, "Correct the text."),) if bad else ()
    return Points(geometry, in_degrees=False, notes=(f"outlines from column {name}",), problems=problems)


def points(frame: Frame, pair: Pair, hint: str) -> Points:
    """Return the points of a table; every value that cannot be read, or has two answers, is named with its row."""
    x, y = (_with_quarter(frame, name, axis, pair) for name, axis in ((pair.x, "lon"), (pair.y, "lat")))
    in_degrees = pair.kind == "degrees" or (pair.kind == "either" and any(has_marks(t) for t in (*x, *y) if t))
    problems, notes = list[Problem](), [f"positions from columns {pair.x} and {pair.y}"]
    values = []
    for texts, name, axis in ((x, pair.x, "lon"), (y, pair.y, "lat")):
        if in_degrees:
            values.append(_degrees(texts, name, axis, problems))
        else:
            values.append(_metres(texts, name, hint, problems, notes))
    where = np.isfinite(values[0]) & np.isfinite(values[1])
    geometry = np.full(len(frame), None, dtype=object)
    geometry[where] = shapely.points(values[0][where], values[1][where])
    return Points(geometry, in_degrees, tuple(notes), tuple(problems))


def _with_quarter(frame: Frame, name: str, axis: str, pair: Pair) -> list[str]:
    texts = _texts(frame[name])
    column = quarter_column([str(one) for one in frame.columns], axis) if pair.kind != "grid" else None
    if column is None:
        return texts
    letters = _texts(frame[column])
    return [f"{text} {letter}".strip() if text else "" for text, letter in zip(texts, letters, strict=True)]


def _texts(series: pd.Series[Any]) -> list[str]:
    """Return the values as typed, empty where missing."""
    return ["" if is_missing(value, "number") else str(value).strip() for value in series]


def _degrees(texts: list[str], name: str, axis: str, problems: list[Problem]) -> npt.NDArray[np.float64]:
    values = np.full(len(texts), np.nan)
    bad: dict[str, list[str]] = {}
    for row, text in enumerate(texts):
        if not text:
            continue
        try:
            plain = _plain(text, axis)
            values[row] = parse_angle(text, axis) if plain is None else plain
        except ValueError as error:
            bad.setdefault(str(error), []).append(f"'{text}' in row {row + 1}")
    for reason, cells in bad.items():
        problems.append(Problem(f"{shown(cells)} {reason}", name, "Correct it in the file."))
    return values


def _plain(text: str, axis: str) -> float | None:
    """Return a machine-written number; the range of degrees is judged with the reference system.

    Raises ValueError for a number such as 4403.0083 that can only be degrees and minutes run together: whether
    south or west is meant, nobody can tell without a letter or a sign.
    """
    value = float(text) if _NUMBER.fullmatch(text) else None
    # no more than a right angle is never run together; most of a million rows end here
    if (value is None or abs(value) > _RIGHT_DEG) and runs_together(text, axis):
        raise ValueError("looks like degrees and minutes run together (ddmm.mmmm): write its N, S, E or W behind it")
    return value


def _metres(
    texts: list[str], name: str, hint: str, problems: list[Problem], notes: list[str]
) -> npt.NDArray[np.float64]:
    values = np.full(len(texts), np.nan)
    try:
        style = numbers.sniff([text for text in texts if text], hint)
    except LayerError as error:
        problems.extend(Problem(one.problem, name, one.remedy) for one in error.problems)
        return values
    bad = list[str]()
    for row, text in enumerate(texts):
        value = numbers.read(text, style.decimal) if text else np.nan
        if value is None or np.isinf(value):
            bad.append(f"'{text}' in row {row + 1}")
        else:
            values[row] = value
    if style.decimal == "," != hint:
        notes.append(f"decimal comma in {name}" + (f" (such as '{style.example}')" if style.example else ""))
    if bad:
        problems.append(
            Problem(f"{len(bad)} values are no coordinate: {shown(bad)}", name, "Correct them in the file.")
        )
    return values
