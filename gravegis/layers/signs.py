"""A minus that is missing in front of a longitude or latitude: west and south are negative."""

from __future__ import annotations

import re
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING

import numpy as np

from gravegis.layers import crs as systems

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from gravegis.layers.place import Floats

__all__ = ["across_the_world", "lacks_sign", "turned", "within"]

_TURNS = (("longitude", (-1.0, 1.0)), ("latitude", (1.0, -1.0)), ("longitude and latitude", (-1.0, -1.0)))
# A place this far from the town a time zone is named after is in no country of that zone; one this near may be.
# Own choice, no source: the widest zones in use reach some 40 degrees from their town.
_FOREIGN_DEG, _AT_HOME_DEG = 60.0, 40.0
_TOWN = re.compile(r"([+-]\d{4}(?:\d{2})?)([+-]\d{5}(?:\d{2})?)")


def lacks_sign(lonlat: Floats, middle: tuple[float, float], within_m: float) -> str:
    """Return which of the coordinates would bring all places within some metres of the middle with the other sign.

    Empty where none does. `lonlat` has shape ``(n, 2)``. [deg]
    """
    for name, turn in _TURNS:
        away_m = np.hypot(*systems.span_m(lonlat * turn, middle).T)
        if len(away_m) and float(away_m.max()) <= within_m:
            return name
    return ""


def turned(place: tuple[float, float]) -> Iterator[tuple[str, tuple[float, float]]]:
    """Give a place with the other sign in front of its longitude, its latitude, and both, each by name."""
    for name, turn in _TURNS:
        yield name, (place[0] * turn[0], place[1] * turn[1])


def within(place: tuple[float, float], area: tuple[float, float, float, float]) -> bool:
    """Whether a place lies in an area of west, south, east, north; west may be greater than east. [deg]"""
    west, south, east, north = area
    return (place[0] - west) % 360 <= (east - west) % 360 and south <= place[1] <= north


def across_the_world(place: tuple[float, float], time_zone: str) -> str:
    """Return which coordinate seems to lack its minus, judged by the time zone of the site; empty where none does.

    The town a zone is named after stands in the tz database. Only a place far from it that would be at home with the
    other sign is doubted.
    """
    town = _towns().get(time_zone)
    if town is None or _apart_deg(place, town) < _FOREIGN_DEG:
        return ""
    return next((name for name, other in turned(place) if _apart_deg(other, town) <= _AT_HOME_DEG), "")


def _apart_deg(one: tuple[float, float], other: tuple[float, float]) -> float:
    (lon, lat), (lon2, lat2) = np.radians(one), np.radians(other)
    cosine = np.sin(lat) * np.sin(lat2) + np.cos(lat) * np.cos(lat2) * np.cos(lon - lon2)
    return float(np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0))))


@cache
def _towns() -> Mapping[str, tuple[float, float]]:
    """Longitude and latitude of the town of each zone, from the tz database (public domain)."""
    text = files("tzdata").joinpath("zoneinfo", "zone.tab").read_text(encoding="utf-8")
    found = {}
    for line in text.splitlines():
        cells = line.split("\t")
        if len(cells) > 2 and not line.startswith("#") and (at := _TOWN.fullmatch(cells[1])):
            found[cells[2]] = (_degrees(at[2], 3), _degrees(at[1], 2))
    return found


def _degrees(text: str, whole_n: int) -> float:
    """Return ``+-DDMM`` or ``+-DDDMMSS`` in degrees; ``whole_n`` digits are degrees."""
    digits = text[1:]
    parts = digits[:whole_n], digits[whole_n : whole_n + 2], digits[whole_n + 2 :] or "0"
    value = float(sum(int(part) / 60**power for power, part in enumerate(parts)))
    return -value if text[0] == "-" else value
