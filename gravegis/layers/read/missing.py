"""What people write where they know nothing."""

from __future__ import annotations

import math

import pandas as pd

__all__ = ["is_missing"]

# Never a value of anything.
_ALWAYS = frozenset(
    {"", "-", "--", "\u2013", "\u2014", "n/a", "#n/a", "null", "<null>", "nan", "<na>", "k.a.", "k. a.", "na"}
)
# Words that may be a value of a text column, such as a fault that is `none`, but never a number or a date.
_NO_NUMBER = frozenset({"?", "none", "unknown", "keine angabe", "n.d.", "s/d", "n.a.", "not known", "unbekannt", "."})
# An id may well be NA or a dash is a gap; only these are certain there.
_ID = frozenset({"", "-", "--", "n/a", "#n/a", "null", "<null>", "nan", "<na>"})


def is_missing(value: object, kind: str) -> bool:
    """Whether a value says that nothing is known, in a column of this kind (`canonical` lists the kinds)."""
    if value is None or value is pd.NA or value is pd.NaT or (isinstance(value, float) and math.isnan(value)):
        return True
    if not isinstance(value, str):
        return False
    word = value.strip().lower()
    if kind == "id":
        return word in _ID
    return word in _ALWAYS or (kind not in ("text", "json") and word in _NO_NUMBER)
