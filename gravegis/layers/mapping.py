"""Which column of a file holds which of ours, and in what unit."""

from __future__ import annotations

import csv
from dataclasses import dataclass, field, replace
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from gravegis import units
from gravegis.errors import LayerError, Problem
from gravegis.layers.columns_in import Manner, bring_column
from gravegis.layers.read.coordinates import PLACE, plain_name
from gravegis.layers.read.missing import is_missing
from gravegis.layers.read.raw import shown
from gravegis.layers.values import carries_units, measures, unit_in_name

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    import pandas as pd

    from gravegis.layers.canonical import Frame
    from gravegis.layers.schema import Column, Layer

__all__ = [
    "CUT_LETTERS_N", "Mapped", "Wish", "advise", "apply_mapping", "as_typed", "begins_like", "parse_column",
    "suggestions", "two_units",
]  # fmt: skip

# Names of people are left out of exports by default, so a name never becomes the id of a stone.
_NAMES_OF_PEOPLE = ("stones", "plots")
CUT_LETTERS_N = 10
"""Letters of a column name that a Shapefile (its dBASE table) keeps."""
_BOTH_IN_USE = {
    "m": "ft",
    "mm": "in",
    "l/min": "gpm",
    "l": "gal",
    "kPa": "psi",
    "kg": "lb",
    "degC": "degF",
    "m/s": "mph",
}
"""Unit of ours, and the other one in which people write bare figures: which of the two it is must be said."""
# A layer that needs at least one of two columns.
_ONE_OF = {"heads": ("throw_m", "kind")}


@dataclass(frozen=True, slots=True)
class Wish:
    """A column a person named: ours, the one of the file, the unit of its bare numbers (empty: not said)."""

    target: str
    source: str
    unit: str


@dataclass(frozen=True, slots=True)
class Mapped:
    """The rows under our names and in our units; columns of the position; what to say; what is wrong."""

    frame: Frame
    place: Mapping[str, str]
    notes: tuple[str, ...]
    problems: tuple[Problem, ...]
    taken: Mapping[str, Wish] = field(default_factory=dict)


@dataclass(slots=True)
class _Work:
    layer: Layer
    frame: Frame
    taken: dict[str, Wish] = field(default_factory=dict)
    place: dict[str, str] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)

    def names(self) -> list[str]:
        return [str(name) for name in self.frame.columns if name != "geometry"]

    def free(self) -> list[str]:
        used = {wish.source for wish in self.taken.values()} | set(self.place.values())
        return [name for name in self.names() if name not in used]


def parse_column(text: str, columns: Sequence[str]) -> Wish:
    """Read ``throw_m=RADIUS ft``: our column, the column of the file, and the unit of its bare numbers.

    Parameters
    ----------
    text
        As typed after ``--column``.
    columns
        Names in the file; the longest that fits wins, so names may hold blanks.

    Raises
    ------
    LayerError
        When it is not OURS=THEIRS, or the file has no such column.
    """
    target, sign, rest = (part.strip() for part in text.partition("="))
    where = f"--column {text}"
    if not sign or not target or not rest:
        raise LayerError("this is not OURS=THEIRS", where=where, remedy='Write it such as throw_m="RADIUS ft".')
    for name in sorted(columns, key=len, reverse=True):
        if rest == name or rest.startswith((f"{name} ", f"{name}\t")):
            return Wish(target, name, rest[len(name) :].strip())
    low = rest.lower()
    near = [name for name in columns if low == name.lower() or low.startswith(f"{name.lower()} ")]
    if len(near) == 1:
        return Wish(target, near[0], rest[len(near[0]) :].strip())
    raise LayerError(f"the file has no column '{rest}'", where=where, remedy=f"It has: {', '.join(columns)}.")


def apply_mapping(
    frame: Frame,
    layer: Layer,
    mapping: Sequence[str] = (),
    how: Manner | None = None,
    *,
    words: Mapping[str, Mapping[str, str]] | None = None,
) -> Mapped:
    """Return the rows of a file under the names and in the units of a layer.

    Columns a person named come first, then columns that bear our names (in either case of letters), then our
    names with another unit (``throw_ft``). Nothing else is taken silently, but a column that names every row once
    becomes the id of a file without one, and that is said. Other columns are carried as they are.

    Parameters
    ----------
    frame
        As read.
    mapping
        As typed: ``throw_m=RADIUS ft``, also ``x=...``, ``y=...``, ``wkt=...`` for the position.
    how
        How values of the file are written.
    words
        Per column of ours: what a value as written becomes.
    """
    how, words = how or Manner(), words or {}
    work = _Work(layer, frame)
    for text in mapping:
        _wish(text, work)
    _same_names(work)
    _names_with_units(work)
    _take_id(work)
    _check_one_of(work)
    made = _renamed(work)
    for target, wish in work.taken.items():
        column = layer.columns[target]
        series = frame[wish.source].rename(wish.source)
        manner = replace(how, unit=wish.unit, words=words.get(target, {}))
        done, extra = bring_column(series, column, manner, where=f"{layer.name}.{target}")
        made[target] = done.values
        _add_beside(made, extra, work)
        work.notes.extend(done.notes)
        work.problems.extend(done.problems)
    if found := suggestions(work.free(), layer, tuple(work.taken)):
        work.notes.append(f"columns carried as they are that may be ours (name the unit they are in): {shown(found)}")
    return Mapped(made, work.place, tuple(work.notes), tuple(work.problems), work.taken)


def _add_beside(made: Frame, extra: Mapping[str, Any], work: _Work) -> None:
    """Put further columns beside one of ours; a column of the file that bears such a name gives way."""
    for name, values in extra.items():
        if name in work.taken:  # the file has its own, as a file we wrote does
            continue
        if name in made.columns:
            made.rename(columns={name: f"{name} in file"}, inplace=True)  # noqa: PD002 - a copy of our own
        made[name] = values


def _wish(text: str, work: _Work) -> None:
    try:
        wish = parse_column(text, work.names())
    except LayerError as error:
        work.problems.extend(error.problems)
        return
    where = f"--column {text}"
    if wish.target in work.taken or wish.target in work.place:
        work.problems.append(Problem(f"{wish.target} is named twice", where, "Name it once."))
    elif wish.target in PLACE and wish.target not in work.layer.columns:
        work.place[wish.target] = wish.source
    elif wish.target not in work.layer.columns:
        known = ", ".join((*work.layer.columns, *PLACE))
        problem = Problem(f"layer {work.layer.name} has no column '{wish.target}'", where, f"It has: {known}.")
        work.problems.append(problem)
    else:
        _unit_of(wish, work, where)


def _unit_of(wish: Wish, work: _Work, where: str) -> None:
    column = work.layer.columns[wish.target]
    unit = wish.unit
    if unit and not measures(unit, column.unit):
        inside = f"a unit of {column.unit}" if column.unit else "needed: this column has no unit"
        work.problems.append(
            Problem(
                f"'{unit}' is not {inside}",
                where,
                f"Units of it: {units.words_for(column.unit)}. Columns of the file: {shown(work.names(), 30)}.",
            )
        )
        unit = ""
    elif not unit and column.unit:
        unit = unit_in_name(wish.source, column.unit)[1]
        bare, dressed = carries_units(work.frame[wish.source], column) if not unit else ([], [])
        if bare and not dressed and column.unit in _BOTH_IN_USE:
            work.problems.append(_which_unit(wish, column, where))
    elif unit and column.unit in _BOTH_IN_USE:
        work.notes.append(f"{wish.target}: bare figures of '{wish.source}' are taken as {unit}, as typed")
    work.taken[wish.target] = Wish(wish.target, wish.source, unit)


def _which_unit(wish: Wish, column: Column, where: str) -> Problem:
    ways = " or ".join(f'--column {wish.target}="{wish.source} {one}"' for one in two_units(column))
    return Problem(f"nothing says in which unit the figures of '{wish.source}' are", where, f"Say which: {ways}.")


def _same_names(work: _Work) -> None:
    for target in work.layer.columns:
        if target in work.taken:
            continue
        fits = [name for name in work.free() if name.lower() == target]
        if fits:
            exact = target if target in fits else fits[0]
            work.taken[target] = Wish(target, exact, "")


def _names_with_units(work: _Work) -> None:
    """Take ``throw_ft`` for throw_m; take ``throw`` only where every value carries its unit."""
    for target, column in work.layer.columns.items():
        if target in work.taken or column.kind not in ("number", "whole") or not column.unit:
            continue
        base = plain_name(unit_in_name(target, column.unit)[0])
        for name in work.free():
            stem, unit = unit_in_name(name, column.unit)
            if plain_name(stem) != base or target in work.taken:
                continue
            bare, dressed = ([], []) if unit else carries_units(work.frame[name], column)
            if unit or dressed:
                work.taken[target] = Wish(target, name, unit)
                work.notes.append(f"column '{name}' is read as {target}")
            del bare


def _take_id(work: _Work) -> None:
    key = work.layer.id_column
    if key is None or key in work.taken or work.frame.empty:
        return
    unique = [name for name in _alias_columns(work.free(), work.layer, key) if _names_every_row(work.frame[name])]
    own = [name for name in unique if plain_name(name) in _aliases(work.layer.name, key)]
    best = own if len(own) == 1 else unique
    if len(best) == 1:
        work.taken[key] = Wish(key, best[0], "")
        work.notes.append(f"the file has no {key}: its column '{best[0]}' names every row once and is used")
    else:
        ways = shown(f'--column {key}="{name}"' for name in unique)
        choice = f"; to use one of its own: {ways}" if unique else ""
        work.notes.append(f"the file has no {key}: rows are named R0001, R0002, ... in the order of the file{choice}")
        work.notes.extend(_not_a_name(work, key))


def _not_a_name(work: _Work, key: str) -> Iterator[str]:
    """Say why a column that looks like the id does not serve as one."""
    for name in _alias_columns(work.free(), work.layer, key):
        values = work.frame[name].astype("str").str.strip()
        blank = int((work.frame[name].isna() | (values == "")).sum())
        again = sorted(values[values.duplicated() & (values != "") & work.frame[name].notna()].unique())
        why = [f"{blank} rows have none"] if blank else []
        why += [f"more than one row is called {shown(again)}"] if again else []
        if why:
            yield f"column '{name}' looks like the {key} but does not name every row once: {'; '.join(why)}"


def _alias_columns(names: Sequence[str], layer: Layer, key: str) -> list[str]:
    wanted = (*_aliases(layer.name, key), *_aliases("*", "*"))
    barred = ("name",) if layer.name in _NAMES_OF_PEOPLE else ()
    return [name for name in names if plain_name(name) in wanted and plain_name(name) not in barred]


def _names_every_row(series: pd.Series[Any]) -> bool:
    return not series.duplicated().any() and not any(is_missing(value, "id") for value in series)


def _check_one_of(work: _Work) -> None:
    needed = _ONE_OF.get(work.layer.name, ())
    if not needed or any(name in work.taken for name in needed):
        return
    ways = [way for name in needed for way in _ways(work.free(), work.layer, work.layer.columns[name])]
    fits = f" Perhaps: {shown(ways)}." if ways else ""
    work.problems.append(
        Problem(f"neither {' nor '.join(needed)} is there, one is needed", work.layer.name,
                f"Name the column that holds it; the file has: {', '.join(work.names())}.{fits}")
    )  # fmt: skip


def _renamed(work: _Work) -> Frame:
    """Return the columns that are not ours and the geometry, without what is taken; a name of ours is given away."""
    used = {wish.source for wish in work.taken.values()}
    kept = work.frame[[name for name in work.frame.columns if name not in used or name == "geometry"]]
    again = {}
    for name in kept.columns:
        if str(name).lower() in work.layer.columns and name != "geometry":
            again[name] = f"{name} in file"
            work.notes.append(f"column '{name}' of the file is kept as '{again[name]}'")
    return kept.rename(columns=again).copy(deep=False)


@cache
def _table() -> Mapping[tuple[str, str], tuple[str, ...]]:
    text = files("gravegis.layers").joinpath("data", "aliases.csv").read_text(encoding="utf-8")
    found: dict[tuple[str, str], list[str]] = {}
    for row in csv.DictReader(text.splitlines()):
        found.setdefault((row["layer"], row["column"]), []).append(row["alias"])
    return {key: tuple(names) for key, names in found.items()}


def _aliases(layer: str, column: str) -> tuple[str, ...]:
    """Return the other names of a column; a column that names a stone bears the same ones in every layer."""
    if column.endswith("_id"):
        return tuple(name for (_, one), names in _table().items() for name in names if one == column)
    return _table().get((layer, column), ())


def suggestions(names: Sequence[str], layer: Layer, have: Sequence[str] = ()) -> list[str]:
    """Return ready-made options for columns of a file that other people call something else; nothing is applied."""
    columns = [column for name, column in layer.columns.items() if name not in have]
    return [way for column in columns for way in _ways(names, layer, column)]


def _ways(names: Sequence[str], layer: Layer, column: Column) -> list[str]:
    found = []
    base = plain_name(unit_in_name(column.name, column.unit)[0]) if column.unit else ""
    for name in names:
        stem, unit = unit_in_name(name, column.unit) if column.unit else (name, "")
        if plain_name(stem) in _aliases(layer.name, column.name) or (base and plain_name(stem) == base):
            needs_unit = column.unit not in ("", "1") and not unit
            both = (column.unit, _BOTH_IN_USE.get(column.unit, "")) if needs_unit else ("",)
            found += [
                f'--column {column.name}="{f"{name} {one}".strip()}"'
                for one in dict.fromkeys(both)
                if one or not needs_unit
            ]
    return found


def begins_like(name: str, layer: Layer) -> list[str]:
    """Return our columns one of whose names begins like a name that was cut off, or is its beginning.

    ``RISER_HEIG`` is the beginning of riser height; ``RADIUS_FEE`` begins with radius.
    """
    cut, words = plain_name(name), [plain_name(one) for one in name.split("_")]
    starts = {"".join(words[:count]) for count in range(1, len(words))}
    found = []
    for column in layer.columns.values():
        stem = plain_name(unit_in_name(column.name, column.unit)[0]) if column.unit else plain_name(column.name)
        ours = {stem, *_aliases(layer.name, column.name)}
        if ours & starts or any(one.startswith(cut) for one in ours):
            found.append(column.name)
    return found


def two_units(column: Column) -> tuple[str, ...]:
    """Return both units in which people write bare figures of a column; none where there is only one."""
    other = _BOTH_IN_USE.get(column.unit, "")
    return (column.unit, other) if other else ()


def as_typed(way: str, names: Sequence[str]) -> tuple[str, str, str]:
    """Return our column, theirs and the unit of a ready-made option."""
    wish = parse_column(way.removeprefix("--column ").replace('"', ""), [name.replace('"', "") for name in names])
    return wish.target, next(name for name in names if name.replace('"', "") == wish.source), wish.unit


def advise(problem: Problem, names: Sequence[str], layer: Layer) -> Problem:
    """Return a problem about a missing column with the ready-made option added, where a column may hold it."""
    for column in layer.columns.values():
        if problem.problem.startswith(f"column {column.name} ("):
            ways = _ways(names, layer, column)
            perhaps = f" Perhaps: {shown(ways)}." if ways else ""
            remedy = f'Name the column that holds it: --column {column.name}="..."; the file has: {", ".join(names)}.'
            return Problem(problem.problem, problem.where, f"{remedy}{perhaps}")
    return problem
