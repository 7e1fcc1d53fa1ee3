"""What people write where they know nothing."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import pandas as pd

if TYPE_CHECKING:
    from collections.abc import Iterable

__all__ = ["is_missing", "missing_among"]

# Never a value of anything.
_ALWAYS = frozenset(
    {"", "-", "--", "\u2013", "\u2014", "n/a", "#n/a", "null", "<null>", "nan", "<na>", "k.a.", "k. a.", "na"}
)
# Words that may be a value of a text column, such as a fault that is `none`, but never a number or a date.
_NO_NUMBER = frozenset({"?", "none", "unknown", "keine angabe", "n.d.", "s/d", "n.a.", "not known", "unbekannt", "."})
# An id may well be NA or a dash is a gap; only these are certain there.
_ID = frozenset({"", "-", "--", "n/a", "#n/a", "null", "<null>", "nan", "<na>"})

_NEITHER = _ALWAYS | _NO_NUMBER
_BY_KIND = {"id": _ID, "text": _ALWAYS, "json": _ALWAYS}


def is_missing(value: object, kind: str) -> bool:
    """Whether a value says that nothing is known, in a column of this kind (`canonical` lists the kinds)."""
    if value is None or value is pd.NA or value is pd.NaT or (isinstance(value, float) and math.isnan(value)):
        return True
    if not isinstance(value, str):
        return False
    return value.strip().lower() in _BY_KIND.get(kind, _NEITHER)


def missing_among(texts: Iterable[str], kind: str) -> list[int]:
    """Return the places of the texts that say that nothing is known, as `is_missing` finds them one by one."""
    nothing = _BY_KIND.get(kind, _NEITHER)
    return [place for place, word in enumerate(map(str.lower, map(str.strip, texts))) if word in nothing]
