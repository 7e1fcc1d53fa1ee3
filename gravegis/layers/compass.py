"""Bearings in words: the sixteen points of the compass in English, and no letter that two languages share.

Quadrant bearings of surveyors too: ``N45E`` is 45 degrees from north towards east, ``S 30°15' W`` is 210.25.
"""

from __future__ import annotations

import re

__all__ = ["bearing_of"]

_POINTS = ("n", "nne", "ne", "ene", "e", "ese", "se", "sse", "s", "ssw", "sw", "wsw", "w", "wnw", "nw", "nnw")
_STEP_DEG = 22.5
# Counted from the north or south end of the meridian towards east or west: surveying practice.
_QUADRANT = re.compile(
    r"([ns])\s*(\d{1,2}(?:\.\d+)?)\s*(?:°|d|deg|-|\s|(?=[ew]))\s*"
    r"(?:(\d{1,2}(?:\.\d+)?)\s*(?:'|m|min|-|\s|(?=[ew]))\s*(?:(\d{1,2}(?:\.\d+)?)\s*(?:\"|''|s|sec)?)?)?\s*([ew])",
    re.ASCII,
)
_MARKS = str.maketrans({"º": "°", "′": "'", "’": "'", "″": '"', "”": '"'})
_LETTERS = {"north": "n", "east": "e", "south": "s", "west": "w"}


def bearing_of(text: str) -> float | None:
    """Return the bearing of ``NE``, ``north-east``, ``south south west`` or ``N45E``, None for anything else. [deg].

    O is no point of the compass here: it is east in German and west in French and Spanish.
    """
    low = re.sub(r"ern\b|wards?\b|facing\b|[\s./_-]", "", text.strip().lower())
    for word, letter in _LETTERS.items():
        low = low.replace(word, letter)
    if (turned := _quadrant(text)) is not None:
        return turned
    return _POINTS.index(low) * _STEP_DEG if low in _POINTS else None


def _quadrant(text: str) -> float | None:
    found = _QUADRANT.fullmatch(" ".join(text.translate(_MARKS).lower().split()))
    if found is None:
        return None
    degrees, minutes, seconds = (float(one or 0) for one in (found[2], found[3], found[4]))
    from_end = degrees + minutes / 60 + seconds / 3600
    if from_end > 90 or minutes >= 60 or seconds >= 60:
        return None
    from_north = from_end if found[1] == "n" else 180.0 - from_end
    return from_north if found[5] == "e" else (360.0 - from_north) % 360.0
