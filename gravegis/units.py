"""Units at the edge: people type and read what they are used to, inside everything is SI.

Factors are exact by definition (international foot 0.3048 m, US gallon 3.785411784 L, pound 0.45359237 kg,
pound-force per square inch 6.894757293168 kPa; NIST Special Publication 811, appendix B), unless a row says
otherwise.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from gravegis.errors import SettingError

__all__ = ["INSIDE", "Unit", "example_for", "parse", "show", "split_unit", "to_inside", "words_for"]


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit people write: inside value = (typed + offset) * factor, inside unit in `inside`."""

    inside: str
    factor: float
    offset: float = 0.0


INCH_M = 0.0254
GALLON_L = 3.785411784
PSI_KPA = 6.894757293168
POUND_KG = 0.45359237

_ROWS: tuple[tuple[str, str, float, float], ...] = (
    # words people write (separated by |), inside unit, factor, offset
    ("m|metre|metres|meter|meters", "m", 1.0, 0.0),
    ("cm", "m", 0.01, 0.0),
    ("ft|foot|feet|'|international ft", "m", 12 * INCH_M, 0.0),
    ("usft|us survey ft|survey ft|ftus", "m", 1200 / 3937, 0.0),
    ('in|inch|inches|"', "m", INCH_M, 0.0),
    ("yd|yard|yards", "m", 36 * INCH_M, 0.0),
    ("mm", "mm", 1.0, 0.0),
    ("mm/h|mm/hr", "mm/h", 1.0, 0.0),
    ("in/h|in/hr", "mm/h", 1000 * INCH_M, 0.0),
    ("l/min|lpm", "l/min", 1.0, 0.0),
    ("l/h|lph", "l/min", 1 / 60, 0.0),
    ("l/s", "l/min", 60.0, 0.0),
    ("m3/h", "l/min", 1000 / 60, 0.0),
    ("gpm|gal/min", "l/min", GALLON_L, 0.0),
    ("gph|gal/h", "l/min", GALLON_L / 60, 0.0),
    ("kpa", "kPa", 1.0, 0.0),
    ("bar", "kPa", 100.0, 0.0),
    ("psi", "kPa", PSI_KPA, 0.0),
    ("l|litre|litres|liter|liters", "l", 1.0, 0.0),
    ("gal|gallon|gallons", "l", GALLON_L, 0.0),
    ("deg|degree|degrees|°", "deg", 1.0, 0.0),
    ("degc|deg c|°c|c|celsius", "degC", 1.0, 0.0),
    ("degf|deg f|°f|f|fahrenheit", "degC", 5 / 9, -32.0),
    # a difference of temperatures: degrees Fahrenheit are left out, for people would mean a temperature by them
    ("k|kelvin", "K", 1.0, 0.0),
    ("kg", "kg", 1.0, 0.0),
    ("lb|lbs|pound|pounds", "kg", POUND_KG, 0.0),
    ("s|sec|second|seconds", "s", 1.0, 0.0),
    ("min|minute|minutes", "min", 1.0, 0.0),
    ("h|hr|hour|hours", "h", 1.0, 0.0),
    ("d|day|days", "days", 1.0, 0.0),
    ("week|weeks", "days", 7.0, 0.0),
    ("year|years", "years", 1.0, 0.0),
    ("m/s", "m/s", 1.0, 0.0),
    ("km/h|kph", "m/s", 1 / 3.6, 0.0),
    ("mph", "m/s", 0.44704, 0.0),
    ("m2", "m2", 1.0, 0.0),
    ("mg/l|ppm|g/m3", "mg/l", 1.0, 0.0),
    ("ug/l|µg/l|μg/l|ppb", "mg/l", 0.001, 0.0),
    ("us/cm|µs/cm|μs/cm|umho/cm|umhos/cm|µmhos/cm", "uS/cm", 1.0, 0.0),
    ("ds/m|ms/cm", "uS/cm", 1000.0, 0.0),
    ("w/m2", "W/m2", 1.0, 0.0),
    ("1|frac|share", "1", 1.0, 0.0),
    ("%|percent|pct", "1", 0.01, 0.0),
)

_UNITS = {word: Unit(inside, factor, offset) for words, inside, factor, offset in _ROWS for word in words.split("|")}

INSIDE = tuple(sorted({unit.inside for unit in _UNITS.values()}))
"""Inside units, one per kind of quantity."""

# Time is kept in the unit the name of a setting says (work_min, season_h), so these convert into each other.
_SECONDS = {"s": 1.0, "min": 60.0, "h": 3600.0}
_LENGTHS_MM = {"m": 1000.0, "mm": 1.0}
_SAME_KIND = (_SECONDS, _LENGTHS_MM)

_NUMBER = re.compile(r"^\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(.*?)\s*$")


def split_unit(text: str) -> tuple[float, str] | None:
    """Return the number and the unit word of a text such as ``15 ft``, or None when it is not one."""
    found = _NUMBER.match(text)
    return None if found is None else (float(found.group(1)), found.group(2))


def to_inside(value: float, word: str, inside: str) -> float:
    """Return a typed value in the inside unit.

    Raises SettingError when the word is no unit we know or measures something else.
    """
    unit = _UNITS.get(word.strip().lower()) if word else Unit(inside, 1.0)
    if unit is None:
        raise SettingError(
            f"'{word}' is not a unit known here", remedy=f"Type a unit of {inside}, such as {_words(inside)}."
        )
    factor = _between(unit.inside, inside)
    if factor is None:
        raise SettingError(
            f"'{word}' does not measure the same thing as {inside}",
            remedy=f"Type a unit such as {_words(inside)}.",
        )
    return (value + unit.offset) * unit.factor * factor


def parse(text: str, inside: str) -> float:
    """Read a number with or without a unit, such as ``2 ft``, into the inside unit.

    A bare number is taken as being in the inside unit. Raises SettingError for anything else.
    """
    if re.match(r"^\s*[+-]?\d+,\d+", text):
        raise SettingError(f"'{text}' has a comma", remedy="Type a decimal point, such as 6.5.")
    split = split_unit(text)
    if split is None or not math.isfinite(split[0]):
        raise SettingError(
            f"'{text}' is not a number",
            remedy=f"Type a number in {inside}, or with a unit: {_words(inside)}.",
        )
    return to_inside(split[0], split[1], inside)


def show(value: float, inside: str, word: str, *, digits: int = 2) -> str:
    """Return an inside value in the reader's unit, such as ``6.56 ft``."""
    unit = _UNITS[word.lower()]
    factor = _between(inside, unit.inside)
    if factor is None:
        raise SettingError(f"{word} cannot show a value in {inside}")
    return f"{value * factor / unit.factor - unit.offset:.{digits}f} {word}"


def _between(source: str, target: str) -> float | None:
    """Return the factor from one inside unit to another of the same kind, None where kinds differ."""
    if source == target:
        return 1.0
    for kind in _SAME_KIND:
        if source in kind and target in kind:
            return kind[source] / kind[target]
    return None


def words_for(inside: str) -> str:
    """Return the units a quantity may be typed in; empty where it has none."""
    return _words(inside) if inside else "none"


def example_for(inside: str) -> str:
    """Return a unit a quantity is often typed in instead of ours, for a message."""
    words = [row[0].split("|")[0] for row in _ROWS if _between(row[1], inside) is not None] or [inside]
    return "ft" if "ft" in words else words[-1]


def _words(inside: str) -> str:
    words = [row[0].split("|")[0] for row in _ROWS if _between(row[1], inside) is not None]
    return ", ".join(words)
