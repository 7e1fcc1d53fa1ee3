"""One layer under the pen: cells and rows change, each checked against the schema, and it stays canonical."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import shapely

from gravegis import units
from gravegis.errors import LayerError, Problem
from gravegis.layers import canonical, cells
from gravegis.layers.read.raw import shown

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from gravegis.layers.canonical import Frame
    from gravegis.layers.schema import Column, Layer

__all__ = ["Sheet"]

_FAMILY = {
    "Point": "point", "LineString": "line", "MultiLineString": "line", "Polygon": "polygon", "MultiPolygon": "polygon",
}  # fmt: skip
_TYPED: dict[str, Any] = {"i": int, "u": int, "f": (int, float), "b": bool, "M": pd.Timestamp}
_FORMS = {"i": "a whole number", "u": "a whole number", "f": "a number", "b": "yes or no", "M": "a time"}


class Sheet:
    """Gathers changed cells and puts them in at once, so that a thousand edits copy each column only once.

    Parameters
    ----------
    wanted
        The layer.
    frame
        Its rows in canonical form; None where the site does not have it.
    crs
        Reference system of the site.
    """

    def __init__(self, wanted: Layer, frame: Frame | None, crs: str) -> None:
        self.wanted, self._crs = wanted, crs
        self._is_there = frame is not None
        self._frame = canonical.empty(wanted.name, crs or None) if frame is None else frame
        self._cells: dict[str, dict[int, object]] = {}

    def row(self, key: Sequence[str]) -> int:
        """Return the row with this key; raises LayerError where there is none."""
        row = self._find(key)
        if row is None:
            ids = [str(one) for one in self._frame[self.wanted.key[0]].array[:20]] if self._is_there else []
            raise LayerError(
                f"layer {self.wanted.name} has no row called {' + '.join(key)}", where=self.wanted.name,
                remedy=f"Its rows are called: {shown(ids, 5)}." if ids else "It has no rows: add one.",
            )  # fmt: skip
        return row

    def held(self, row: int, column: str) -> object:
        """Return what a cell holds now; None where it is missing or there is no such column."""
        changed = self._cells.get(column, {})
        return changed[row] if row in changed else cells.held(self._frame, row, column)

    def whole(self, row: int) -> dict[str, object]:
        """Return all a row holds."""
        names = [str(name) for name in self._frame.columns]
        held = {name: self.held(row, name) for name in dict.fromkeys([*names, *self._cells])}
        return {name: value for name, value in held.items() if value is not None}

    def new(self, columns: Mapping[str, object]) -> tuple[str, ...]:
        """Return which of the columns the layer does not have yet; with its id where it is not there at all."""
        return tuple(one for one in columns if not self._is_there or one not in self._frame.columns)

    def same(self, one: object, other: object) -> bool:
        """Whether two values are the same."""
        if isinstance(one, shapely.Geometry) and isinstance(other, shapely.Geometry):
            return bool(one == other)
        return canonical.plain(one) == canonical.plain(other)

    def conformed(self, values: Mapping[str, object], where: str, *, restores: bool = False) -> dict[str, object]:
        """Return values in canonical form; raises one LayerError with all that do not fit.

        A place that `restores` what was there before is not looked at again.
        """
        made: dict[str, object] = {}
        problems: list[Problem] = []
        for name, value in values.items():
            if name == "geometry":
                made[name] = value
                problem = None if restores else self._wrong_place(value)
            elif name in self.wanted.columns:
                made[name], problem = _fitted(value, self.wanted.columns[name])
            else:
                made[name], problem = value, self._wrong_foreign(name, value)
            if problem is not None:
                problems.append(Problem(problem.problem, f"{where}, {name}", problem.remedy))
        if problems:
            raise LayerError.of(problems)
        return made

    def change(self, row: int, values: Mapping[str, object], *, takes: Sequence[str] = ()) -> None:
        """Give a row other values; then columns that are to go and hold nothing go."""
        renamed = [key for key in self.wanted.key if key in values]
        if renamed:
            raise LayerError(
                f"the {renamed[0]} of a row is its name and is not changed by an edit", where=self.wanted.name,
                remedy="Add a row with the new name and delete the old one.",
            )  # fmt: skip
        for column, value in values.items():
            self._cells.setdefault(column, {})[row] = value
        if takes:
            self._put()
            self._frame = cells.without_columns(self._frame, takes)

    def refuse_new(self, row: Mapping[str, object], *, restores: bool = False) -> None:
        """Raise LayerError where a new row has no name or one that is taken, or lacks what the layer needs."""
        key = [str(row.get(one) or "") for one in self.wanted.key]
        where = f"{self.wanted.name} {' + '.join(key)}"
        if not all(key):
            raise LayerError("a new row needs a name", where=self.wanted.name, remedy="Give it one of its own.")
        if self._find(key) is not None:
            raise LayerError(
                "there is a row of this name already", where=where, remedy="Give the new one another name."
            )
        problems = [
            Problem(f"{one.name} ({one.meaning}) is missing", where, f"Give it: {one.name}=...")
            for one in self.wanted.columns.values()
            if one.required and row.get(one.name) is None
        ]
        if self.wanted.geometry[0] != "none" and row.get("geometry") is None:
            problems.append(Problem("it needs a place", where, "Give it a position or an outline."))
        if problems and not restores:
            raise LayerError.of(problems)

    def add(self, row: Mapping[str, object]) -> None:
        """Add a row that `refuse_new` let pass."""
        self._put()
        if not self._is_there:
            self._frame = self._frame[[name for name in self._frame.columns if name in (*row, "geometry")]]
        self._frame = cells.with_row(self._frame, self.wanted, row, self._crs)
        self._is_there = True

    def delete(self, row: int, *, takes: Sequence[str] = ()) -> None:
        """Delete a row; then columns that are to go and hold nothing go, and with the id the empty layer."""
        self._put()
        self._frame = cells.without_row(self._frame, self.wanted, row)
        if self.wanted.key[0] in takes and self._frame.empty:
            self._is_there = False
            self._frame = canonical.empty(self.wanted.name, self._crs or None)
        else:
            self._frame = cells.without_columns(self._frame, [one for one in takes if one not in self.wanted.key])

    def done(self) -> Frame | None:
        """Return the layer in canonical form; None where it is not there any more."""
        self._put()
        return self._frame if self._is_there else None

    def _find(self, key: Sequence[str]) -> int | None:
        if not self._is_there or len(key) != len(self.wanted.key):
            return None
        kinds = [self.wanted.columns[one] for one in self.wanted.key]
        made = [canonical.conform_value(text, kind)[0] for text, kind in zip(key, kinds, strict=True)]
        return cells.row_of(self._frame, self.wanted, made) if all(one is not None for one in made) else None

    def _put(self) -> None:
        if self._cells:
            self._frame = cells.with_cells(self._frame, self.wanted, self._cells, self._crs)
            self._cells = {}

    def _wrong_foreign(self, name: str, value: object) -> Problem | None:
        """Return why a value does not fit a column that is not ours."""
        if name not in self._frame.columns:
            known = ", ".join((*self.wanted.columns, *(["geometry"] if self.wanted.has_geometry else [])))
            return Problem(f"layer {self.wanted.name} has no column '{name}'", "", f"It has: {known}.")
        kind = getattr(self._frame[name].dtype, "kind", "O")
        fits = isinstance(value, _TYPED.get(kind, (str, bytes))) and (kind in "b" or not isinstance(value, bool))
        return None if value is None or fits else Problem(f"'{value}' is not {_FORMS.get(kind, 'a text')}")

    def _wrong_place(self, value: Any) -> Problem | None:  # noqa: ANN401 - a shape, or what somebody took for one
        """Return why a place does not fit the layer."""
        allowed = [one for one in self.wanted.geometry if one != "none"]
        if value is None:
            return None if "none" in self.wanted.geometry else Problem("it needs a place", "", "Move it or delete it.")
        if not allowed:
            return Problem(f"layer {self.wanted.name} is a table, its rows have no place", "", "Leave the place out.")
        if not self._crs:
            return Problem("the site has no reference system yet", "", "Bring in a file with places first.")
        kind = getattr(value, "geom_type", str(value))
        if _FAMILY.get(kind) not in allowed:
            return Problem(f"{kind} is no {' or '.join(allowed)}", "", f"A row of it is a {' or a '.join(allowed)}.")
        return _misshapen(value)


def _misshapen(shape: Any) -> Problem | None:  # noqa: ANN401 - any shape
    if shape.is_empty or shape.has_z or not np.isfinite(shapely.get_coordinates(shape)).all():
        return Problem("the place is empty, not finite or has heights", "", "Give level coordinates in metres.")
    if not shape.is_valid:
        return Problem(f"the outline is not valid ({shapely.is_valid_reason(shape)})", "", "Draw it anew.")
    return None


def _fitted(value: object, column: Column) -> tuple[object, Problem | None]:
    made, wrong = canonical.conform_value(value, column)
    if not wrong:
        return made, None
    typed_in = f" Units that may be typed: {units.words_for(column.unit)}." if column.unit not in ("", "1") else ""
    return None, Problem(wrong, "", f"Correct it, or leave it empty where nothing is known.{typed_in}")
