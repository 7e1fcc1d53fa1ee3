"""Numbers as people write them: decimal point or comma, thousand signs, a unit behind."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from gravegis.errors import LayerError
from gravegis.layers.read.raw import shown

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

__all__ = ["POINT", "Style", "evidence", "read", "sniff", "split"]

_SPACES = "\u00a0\u2007\u2009\u202f"
_TIDY = str.maketrans({**dict.fromkeys(_SPACES, " "), "\u2212": "-", "\u2019": "'"})
_EXPONENT = r"(?:[eE][+-]?\d+)?"
_SIGN = r"[+-]?"


def _form(decimal: str, thousand: str) -> re.Pattern[str]:
    """Return the form of a number: digits, or groups of three after one to three that do not start with 0."""
    groups = rf"[1-9]\d{{0,2}}(?:{thousand}\d{{3}})+|[1-9]\d{{0,2}}(?: \d{{3}})+|[1-9]\d{{0,2}}(?:'\d{{3}})+"
    return re.compile(rf"{_SIGN}(?:(?:{groups}|\d+)(?:{decimal}\d*)?|{decimal}\d+){_EXPONENT}", re.ASCII)


_FORMS = {".": _form(r"\.", ","), ",": _form(",", r"\.")}
_LEADING = re.compile(rf"{_SIGN}(?:[.,]\d+|\d[\d.,]*(?:[ ']\d{{3}}(?!\d)[\d.,]*)*){_EXPONENT}", re.ASCII)


@dataclass(frozen=True, slots=True)
class Style:
    """The decimal sign of a column, and an example that told it (empty where nothing had to be told)."""

    decimal: str
    example: str = ""


POINT = Style(".")


def split(text: str) -> tuple[str, str] | None:
    """Return the number and the unit word of a text such as ``15 ft`` or ``1,05 m``; None when it starts otherwise."""
    tidy = text.translate(_TIDY).strip()
    found = _LEADING.match(tidy)
    if found is None:
        return None
    return found.group(), tidy[found.end() :].strip()


def read(number: str, decimal: str) -> float | None:
    """Return the value of a number written with this decimal sign; None when it is not written so."""
    tidy = number.translate(_TIDY).strip()
    if _FORMS[decimal].fullmatch(tidy) is None:
        return None
    thousand = "," if decimal == "." else "."
    plain = tidy.replace(thousand, "").replace(" ", "").replace("'", "").replace(decimal, ".")
    return float(plain)


def evidence(numbers: Iterable[str]) -> dict[str, str]:
    """Return an example of each decimal sign that the numbers prove; ``1.234`` proves nothing."""
    found: dict[str, str] = {}
    for number in numbers:
        point, comma = read(number, "."), read(number, ",")
        if point is None and comma is not None:
            found.setdefault(",", number)
        elif comma is None and point is not None:
            found.setdefault(".", number)
    return found


def sniff(numbers: Sequence[str], hint: str = "") -> Style:
    """Return how the numbers of one column are written.

    Parameters
    ----------
    numbers
        The numbers as typed, units cut off.
    hint
        Decimal sign found in the rest of the file, used where the column alone does not tell.

    Raises
    ------
    LayerError
        Where both signs are used, or where nothing tells whether ``1,234`` is one or a thousand.
    """
    found = evidence(numbers)
    if len(found) == 2:
        raise LayerError(
            f"decimal point and decimal comma both occur ('{found['.']}', '{found[',']}')",
            remedy="Write all numbers of the column one way.",
        )
    if found:
        decimal, example = next(iter(found.items()))
        return Style(decimal, example)
    if hint == ",":
        return Style(",")
    doubtful = [n for n in numbers if "," in n and read(n, ".") != read(n, ",")]
    if doubtful and not hint:
        raise LayerError(
            f"nothing tells whether the comma in {shown(sorted(set(doubtful)), 3)} is a decimal or a thousand sign",
            remedy="Write a decimal point, or leave the thousand signs out.",
        )
    return POINT
