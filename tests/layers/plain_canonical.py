"""The canonical form of a column value by value, as slow and plain as can be: the oracle of the fast one."""

from __future__ import annotations

import datetime as dt
import json
import math
import re
import unicodedata
from typing import TYPE_CHECKING, Any

import pandas as pd

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

Read = tuple[list[Any], list[bool]]
_FLAGS = {"yes": True, "no": False, "true": True, "false": False, "1": True, "0": False, "y": True, "n": False}


def text(values: Iterable[Any]) -> list[str | None]:
    """Return each value as text, stripped, in form C; None where there is none."""
    return [None if missing(value) else one_text(value) or None for value in values]


def missing(value: object) -> bool:
    return value is None or value is pd.NA or value is pd.NaT or (isinstance(value, float) and math.isnan(value))


def one_text(value: object) -> str:
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    if isinstance(value, dt.datetime):
        return value.isoformat()
    return unicodedata.normalize("NFC", str(value)).strip()


def read(values: Iterable[Any], kind: str) -> Read:
    """Return the values of a column of this kind, None where missing or wrong, and which are wrong."""
    made: list[Any] = []
    bad: list[bool] = []
    for word in text(values):
        try:
            made.append(None if word is None else ONE[kind](word))
            bad.append(False)
        except ValueError:
            made.append(None)
            bad.append(True)
    return made, bad


def number(word: str) -> float:
    value = float(word)
    if not math.isfinite(value):
        raise ValueError(word)
    return value


def whole(word: str) -> int:
    value = number(word)
    if not value.is_integer():
        raise ValueError(word)
    return int(value)


def flag(word: str) -> bool:
    if word.lower() not in _FLAGS:
        raise ValueError(word)
    return _FLAGS[word.lower()]


def date(word: str) -> str:
    return dt.date.fromisoformat(word[:10]).isoformat()


def civil(word: str) -> str:
    found = re.match(r"^([01]?\d|2[0-3]):([0-5]\d)(?::([0-5]\d))?$", word)
    if found is None:
        raise ValueError(word)
    return f"{int(found[1]):02d}:{found[2]}" + (f":{found[3]}" if found[3] else "")


def instant(word: str) -> str:
    moment = dt.datetime.fromisoformat(word)
    if moment.tzinfo is None:
        raise ValueError(word)
    return moment.astimezone(dt.UTC).isoformat().replace("+00:00", "Z")


def one_json(word: str) -> str:
    return json.dumps(json.loads(word), sort_keys=True, separators=(",", ":"), ensure_ascii=False)


ONE: dict[str, Callable[[str], Any]] = {
    "id": str, "text": str, "number": number, "whole": whole, "flag": flag, "date": date, "civil": civil,
    "instant": instant, "json": one_json,
}  # fmt: skip
