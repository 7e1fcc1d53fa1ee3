"""Tables of taped distances: each row is placed from two or more things the site knows the place of."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from gravegis.errors import Problem
from gravegis.layers.columns_in import Manner, bring_column
from gravegis.layers.read.missing import is_missing
from gravegis.layers.read.raw import many, shown
from gravegis.layers.schema import Column
from gravegis.layers.values import unit_in_name
from gravegis.science.survey.tapes import place_by_tapes

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gravegis.layers.canonical import Frame
    from gravegis.layers.schema import Layer

__all__ = ["Placed", "Tapes", "find_tapes", "place_rows", "with_places"]

_FROM = re.compile(r"(?:from|taped_from|mark)[ _]?(\d)", re.IGNORECASE)
_LENGTH = re.compile(r"(?:distance|dist|tape|taped)[ _]?(\d)(?:[ _(\[]*([a-z]+)[)\]]?)?", re.IGNORECASE)
_SIDE = "side"
_TOLD_M = 5e-3
_METRES = Column("distance", "number", "m", 0.0, 1000.0, required=False, values=(), meaning="taped distance")


@dataclass(frozen=True, slots=True)
class Tapes:
    """The columns of a table of tapes: what each is taped from, the distance, and the side."""

    pairs: tuple[tuple[str, str], ...]
    side: str | None

    @property
    def columns(self) -> list[str]:
        """Every column that is used up."""
        return [*(name for pair in self.pairs for name in pair), *([self.side] if self.side else [])]


@dataclass(slots=True)
class Placed:
    """Places of the rows, None where there is none; the standard error of each; what to say and what is wrong."""

    geometry: list[Any]
    error_m: list[float]
    notes: list[str] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)


def find_tapes(names: list[str]) -> Tapes | None:
    """Return the columns ``from_1, distance_1_m, from_2, distance_2_m, ... side`` of a table, or None."""
    marks = {found[1]: name for name in names if (found := _FROM.fullmatch(name))}
    lengths = {found[1]: name for name in names if (found := _LENGTH.fullmatch(name))}
    both = sorted(marks.keys() & lengths.keys())
    if len(both) < 2:
        return None
    side = next((name for name in names if name.lower() == _SIDE), None)
    return Tapes(tuple((marks[one], lengths[one]) for one in both), side)


def place_rows(frame: Frame, tapes: Tapes, known: Mapping[str, Any], ids: list[str], decimal: str = "") -> Placed:
    """Return where each row stands.

    A row with two tapes needs its side, or a third tape; without it both places are told. What does not meet is
    told with how much is lacking.

    Parameters
    ----------
    known
        Places by name, on the grid of the site. [m]
    ids
        Names of the rows.
    """
    done = Placed([None] * len(frame), [float("nan")] * len(frame))
    lengths, worst = _lengths(frame, tapes, decimal, done), (0.0, "")
    lost, wrong, open_rows = list[str](), list[str](), list[str]()
    for row, name in enumerate(ids):
        marks = [_word(frame[mark].iloc[row]) for mark, _ in tapes.pairs]
        used = [
            (mark, values[row])
            for mark, values in zip(marks, lengths, strict=True)
            if mark and np.isfinite(values[row])
        ]
        missing = [mark for mark, _ in used if mark not in known]
        if missing:
            lost += [f"{mark} (of {name})" for mark in missing]
            continue
        places = np.array([[known[mark].x, known[mark].y] for mark, _ in used]).reshape(-1, 2)
        side = _word(frame[tapes.side].iloc[row]).lower() if tapes.side else ""
        try:
            found = place_by_tapes(places, [length for _, length in used], side=side)
        except ValueError as error:
            wrong.append(f"{name}: {error}")
            continue
        if len(found.places_m) > 1:
            both = " or ".join(f"({x:.2f}, {y:.2f})" for x, y in found.places_m)
            open_rows.append(f"{name} is at {both}")
            continue
        done.geometry[row], done.error_m[row] = shapely.Point(found.places_m[0]), found.error_m
        worst = max(worst, (float(np.abs(found.left_over_m).max()), name))
    for rows, words, remedy in (
        (lost, "taped from things that no layer holds", "Bring those in first, or correct the names."),
        (wrong, "tapes that give no place", "Tape again, or leave the row out."),
        (open_rows, "two tapes give two places", "Add a column side: left or right, going from the first mark to the "
                                                 "second; or a third tape."),
    ):  # fmt: skip
        if rows:
            done.problems.append(Problem(f"{many(len(rows), 'row')}, {words}: {shown(rows)}", "tapes", remedy))
    placed_n = sum(one is not None for one in done.geometry)
    missed = f"; tapes miss each other by {worst[0]:.2f} m at most ({worst[1]})" if worst[0] > _TOLD_M else ""
    done.notes.append(f"{many(placed_n, 'place')} from taped distances{missed}; errors are those of the tapes alone")
    return done


def _word(value: object) -> str:
    return "" if is_missing(value, "id") else str(value).strip()


def _lengths(frame: Frame, tapes: Tapes, decimal: str, done: Placed) -> list[Any]:
    made = []
    for _, name in tapes.pairs:
        found = _LENGTH.fullmatch(name)
        unit = unit_in_name(name, "m")[1] or (found[2] or "" if found else "")
        column, extra = bring_column(frame[name], _METRES, Manner(unit=unit, decimal=decimal), where=name)
        done.problems.extend(column.problems)
        values = pd.to_numeric(column.values, errors="coerce")
        bad = column.values[values.isna() & column.values.notna()]
        if len(bad) or extra:
            words = f"{many(len(bad), 'value')} no distance: {shown(bad)}" if len(bad) else "a distance with a sign"
            done.problems.append(Problem(words, name, "Correct it in the file."))
        made.append(values.to_numpy(dtype="float64", na_value=np.nan))
    return made


def with_places(frame: Frame, tapes: Tapes, placed: Placed, layer: Layer) -> Frame:
    """Return the rows with their places in columns of their own kind, the tapes used up; the basis is tape."""
    plain = frame.drop(columns=tapes.columns)
    if "position_basis" in layer.columns and "position_basis" not in plain.columns:
        plain = plain.assign(
            position_basis=np.array(["tape" if one is not None else None for one in placed.geometry], dtype=object)
        )
    if "position_error_m" in layer.columns and "position_error_m" not in plain.columns:
        plain = plain.assign(position_error_m=[round(one, 3) for one in placed.error_m])
    return gpd.GeoDataFrame(plain, geometry=gpd.GeoSeries(placed.geometry, index=plain.index))
