"""Bearings in words: the sixteen points of the compass in English, and no letter that two languages share."""

from __future__ import annotations

import re

__all__ = ["bearing_of"]

_POINTS = ("n", "nne", "ne", "ene", "e", "ese", "se", "sse", "s", "ssw", "sw", "wsw", "w", "wnw", "nw", "nnw")
_STEP_DEG = 22.5
_LETTERS = {"north": "n", "east": "e", "south": "s", "west": "w"}


def bearing_of(text: str) -> float | None:
    """Return the bearing of ``NE``, ``north-east`` or ``south south west``, None for anything else. [deg].

    O is no point of the compass here: it is east in German and west in French and Spanish.
    """
    low = re.sub(r"ern\b|wards?\b|facing\b|[\s./_-]", "", text.strip().lower())
    for word, letter in _LETTERS.items():
        low = low.replace(word, letter)
    return _POINTS.index(low) * _STEP_DEG if low in _POINTS else None
