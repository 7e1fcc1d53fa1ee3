"""Column names that take more than one row: a group above its columns, or the units below the names."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

from gravegis import units
from gravegis.errors import SettingError
from gravegis.layers.read import numbers
from gravegis.layers.read.missing import is_missing
from gravegis.layers.read.raw import shown

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = ["Names", "names_of"]

Row = tuple[str | None, ...]

_LOOKED_AT = 200  # rows that tell whether a column holds numbers
_MOST_NUMBERS = 0.5  # a column of numbers holds at least this share of them; own choice, no source
_ANGLES = ("deg", "degree", "degrees", "°")  # of longitude and latitude, and the only unit of a bearing


@dataclass(frozen=True, slots=True)
class Names:
    """The names of columns, how many rows below the first belong to them, and what to say."""

    names: list[str]
    rows: int
    notes: tuple[str, ...] = ()


def names_of(first: Sequence[str], body: Sequence[Row], at: int = 1) -> Names:
    """Return the names of columns, with a second row of names and a row of units taken to them where that is clear.

    A row of names is one of words above columns of numbers, all different; the lower name counts, with the upper one
    before it where it stands twice. A row of units is one of units only, at least one of them above numbers.

    Parameters
    ----------
    first
        The first row of names, blank where there is none.
    body
        The rows below, texts or None.
    at
        Number of the first row in the file, counted from 1.
    """
    names, notes, rows = [name.strip() for name in first], list[str](), 0
    if _are_names(body):
        lower = [word or "" for word in body[0]]
        twice = {word for word in lower if lower.count(word) > 1}
        upper = _spread(names, lower)
        joined = [
            f"{one} {two}".strip() if not two or two in twice else two for one, two in zip(upper, lower, strict=True)
        ]
        rows = 1
        notes.append(f"column names stand in rows {at} and {at + 1}, joined: {shown(joined, 8)}")
        names = joined
    if _are_units(body[rows:]):
        words = [(word or "").strip("()[] ") for word in body[rows]]
        named = [f"{name} ({word})" if word and word.lower() not in _ANGLES else name
                 for name, word in zip(names, words, strict=True)]  # fmt: skip
        rows += 1
        told = [new for old, new in zip(names, named, strict=True) if old != new]
        notes.append(f"row {at + rows} holds the units of the columns" + (f": {shown(told, 8)}" if told else ""))
        names = named
    return Names(names, rows, tuple(notes))


def _spread(upper: Sequence[str], lower: Sequence[str]) -> list[str]:
    """Return the upper names, each also above the columns behind it that have a lower name only."""
    made, last = list[str](), ""
    for one, two in zip(upper, lower, strict=True):
        last = one or (last if two else "")
        made.append(last)
    return made


def _are_names(body: Sequence[Row]) -> bool:
    """Whether the first row is words, no value among them, above at least two columns of numbers."""
    if len(body) < 2:
        return False
    words = [word for word in body[0] if word]
    if len(words) < 2 or any(word[:1].isdigit() or numbers.split(word) or _nothing(word) for word in words):
        return False
    if all(_is_unit(word) for word in words):
        return False
    held = [place for place in range(len(body[0])) if _is_of_numbers(body[1:], place)]
    above = [body[0][place] for place in held if body[0][place]]
    return len(above) >= 2 and len(set(above)) >= 2 and len(above) >= len(held) / 2


def _are_units(body: Sequence[Row]) -> bool:
    """Whether the first row holds units only, and one of them stands above numbers."""
    if len(body) < 2:
        return False
    places = [place for place, word in enumerate(body[0]) if word]
    if not places or not all(_is_unit((body[0][place] or "").strip("()[] ")) for place in places):
        return False
    return any(_is_of_numbers(body[1:], place) for place in places)


def _nothing(word: str) -> bool:
    return is_missing(word, "number") or word.strip().lower().rstrip(".") in ("nd", "bdl", "illegible")


def _is_of_numbers(body: Sequence[Row], place: int) -> bool:
    filled = [row[place] for row in body[:_LOOKED_AT] if row[place]]
    plain = [word for word in filled if word and (one := numbers.split(word)) is not None and len(one[1]) <= 3]
    return len(filled) > 0 and len(plain) >= _MOST_NUMBERS * len(filled)


@cache
def _is_unit(word: str) -> bool:
    for inside in units.INSIDE:
        try:
            units.to_inside(1.0, word, inside)
        except SettingError:
            continue
        return bool(word.strip())
    return False
