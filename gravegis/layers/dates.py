"""Days as people and programs write them, read into one form; what has two answers is asked once."""

from __future__ import annotations

import datetime as dt
import re
from typing import TYPE_CHECKING

from gravegis.errors import LayerError
from gravegis.layers.read.raw import many, shown

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

__all__ = ["ORDERS", "order_of", "read_date"]

ORDERS = ("dmy", "mdy")
"""Ways to write a day in figures where the year stands last."""

_FIGURES = re.compile(r"(\d{1,2})([./-])(\d{1,2})\2(\d{4})")
_ISO = re.compile(r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})(?:[T ].*)?")
_COMPACT = re.compile(r"(\d{4})(\d{2})(\d{2})(?:\d{6})?")
_SERIAL = re.compile(r"(\d{5})(?:\.\d+)?")
_DAY = r"(?:st|nd|rd|th|\.)?"
_NAMED = (
    re.compile(rf"(?P<day>\d{{1,2}}){_DAY}[\s-]+(?P<month>[^\W\d]+)\.?,?[\s-]+(?P<year>\d{{4}})"),
    re.compile(rf"(?P<month>[^\W\d]+)\.?\s+(?P<day>\d{{1,2}}){_DAY},?\s+(?P<year>\d{{4}})"),
)
# Beginnings of the names of months in English, German, French, Spanish, Italian and Portuguese.
_MONTHS = (
    "jan ene gen", "feb fév fev", "mar mär mrz", "apr avr abr", "may mai mag", "jun juin giu", "jul juil lug",
    "aug aoû aou ago", "sep set", "oct okt oct out ott", "nov", "dec dez déc dic",
)  # fmt: skip
# The day before day 1. A workbook of the first kind counts a 29 February 1900 that never was; from March 1900 on
# this makes up for it.
_EPOCHS = {"1900": dt.date(1899, 12, 30), "1904": dt.date(1904, 1, 1)}
_SERIAL_LOW, _SERIAL_HIGH = 10_000, 80_000  # 1927 to 2119; below it a number is more likely something else


def order_of(texts: Sequence[str], *, typed: str = "") -> str:
    """Return in which order days in figures are written in one column; empty where none is written so.

    A figure above 12 tells; ``typed`` is what a person said.

    Raises
    ------
    LayerError
        Where both orders are proved, what was typed is disproved, or nothing tells.
    """
    found = [(text, one) for text in texts if (one := _FIGURES.match(text.strip())) is not None]
    proved = dict[str, str]()
    for text, one in found:
        if int(one[1]) > 12 >= int(one[3]):
            proved.setdefault("dmy", text)
        elif int(one[3]) > 12 >= int(one[1]):
            proved.setdefault("mdy", text)
    if len(proved) == 2:
        raise LayerError(
            f"day first and month first both occur ('{proved['dmy']}', '{proved['mdy']}')",
            remedy="Write all days of the column one way, such as 2024-05-06.",
        )
    if typed and proved and typed not in proved:
        raise LayerError(
            f"'{next(iter(proved.values()))}' is not written as --dates {typed} says", remedy="Look again."
        )
    if proved or typed:
        return typed or next(iter(proved))
    open_ones = sorted({text for text, one in found if one[1] != one[3]})
    if open_ones:
        raise LayerError(
            f"nothing tells whether the day or the month stands first in {many(len(open_ones), 'value')}: "
            f"{shown(open_ones, 3)}",
            remedy="Say it once: --dates dmy (day first) or --dates mdy (month first).",
        )
    return "dmy" if found else ""


def read_date(text: str, *, order: str = "", epoch: str = "") -> dt.date | None:
    """Return the day of a text, or None where it is none.

    Parameters
    ----------
    text
        Such as ``2024-05-06``, ``2024-05-06T00:00:00Z``, ``06/05/2024``, ``12 Mar 1871``, ``March 12, 1871``,
        ``20240506``, or a day count of a workbook such as ``45418``.
    order
        ``dmy`` or ``mdy``, for days in figures.
    epoch
        ``1900`` or ``1904`` where the file is a workbook; elsewhere a number is no day.
    """
    tidy = text.strip()
    try:
        for read in (_iso, _figures(order), _named, _counted(epoch)):
            if (found := read(tidy)) is not None:
                return found
    except ValueError:  # the 31st of June
        return None
    return None


def _iso(text: str) -> dt.date | None:
    found = _ISO.fullmatch(text) or _COMPACT.fullmatch(text)
    return None if found is None else dt.date(int(found[1]), int(found[2]), int(found[3]))


def _figures(order: str) -> Callable[[str], dt.date | None]:
    def read(text: str) -> dt.date | None:
        found = _FIGURES.match(text)
        if found is None or not order:
            return None
        day, month = (found[1], found[3]) if order == "dmy" else (found[3], found[1])
        return dt.date(int(found[4]), int(month), int(day))

    return read


def _named(text: str) -> dt.date | None:
    found = next((one for pattern in _NAMED if (one := pattern.fullmatch(text)) is not None), None)
    month = _month(found["month"]) if found is not None else 0
    return dt.date(int(found["year"]), month, int(found["day"])) if found is not None and month else None


def _counted(epoch: str) -> Callable[[str], dt.date | None]:
    def read(text: str) -> dt.date | None:
        found = _SERIAL.fullmatch(text)
        if found is None or epoch not in _EPOCHS or not _SERIAL_LOW <= int(found[1]) <= _SERIAL_HIGH:
            return None
        return _EPOCHS[epoch] + dt.timedelta(days=int(found[1]))

    return read


def _month(word: str) -> int:
    low = word.lower()
    return next((number for number, names in enumerate(_MONTHS, 1) if any(low.startswith(n) for n in names.split())), 0)
