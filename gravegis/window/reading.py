"""How values are shown to one reader, and how what the reader types comes back: units and signs of numbers."""

from __future__ import annotations

import math
from dataclasses import dataclass

from gravegis import units

__all__ = ["UNITS", "Reader"]

UNITS = ("metric", "us")
_US = {
    "m": ("ft", 1), "mm": ("in", 2), "mm/h": ("in/h", 2), "l/min": ("gpm", 1), "kPa": ("psi", 0), "l": ("gal", 1),
    "degC": ("degF", 0), "kg": ("lb", 0), "m/s": ("mph", 0),
}  # fmt: skip
_DIGITS = {"m": 2, "mm": 1, "deg": 0, "kPa": 0, "l/min": 1, "l": 0, "min": 0, "h": 1, "degC": 0, "kg": 0}
_WORDS = {"deg": "°", "degC": "°C", "degF": "°F", "1": "", "": ""}


@dataclass(frozen=True, slots=True)
class Reader:
    """One reader: units (metric or us), the decimal sign and the sign between thousands."""

    units: str = "metric"
    decimal: str = "."
    thousands: str = ""

    def unit(self, inside: str) -> str:
        """Return the word of the unit this reader sees a quantity in; empty for plain numbers."""
        word = _US[inside][0] if self.units == "us" and inside in _US else inside
        return _WORDS.get(word, word)

    def number(self, value: float, digits: int = 0) -> str:
        """Return a number with the signs of this reader, without zeros that say nothing."""
        text = f"{value:,.{digits}f}"
        whole, _, part = text.partition(".")
        part = part.rstrip("0")
        whole = whole.replace(",", self.thousands)
        return f"{whole}{self.decimal}{part}" if part else "0" if whole == "-0" else whole

    def quantity(self, value: float, inside: str, digits: int | None = None) -> str:
        """Return a value with its unit."""
        if not math.isfinite(value):
            return ""
        number, unit = self.bare(value, inside, digits), self.unit(inside)
        return number + unit if unit == "°" else f"{number} {unit}".rstrip()

    def bare(self, value: float, inside: str, digits: int | None = None) -> str:
        """Return a value in the unit of this reader, without the unit."""
        if self.units == "us" and inside in _US:
            word, usual = _US[inside]
            shown = float(units.show(value, inside, word, digits=9).split()[0])
            return self.number(shown, usual if digits is None else digits)
        return self.number(value, _DIGITS.get(inside, 3) if digits is None else digits)

    def typed(self, text: str, inside: str) -> str:
        """Return what was typed as the analyses read it: a point for decimals, and the unit this reader sees."""
        plain = text.strip()
        if self.thousands.strip():
            plain = plain.replace(self.thousands, "")
        if self.decimal != ".":
            plain = plain.replace(self.decimal, ".")
        split = units.split_unit(plain)
        if split is not None and not split[1] and self.units == "us" and inside in _US:
            return f"{plain} {_US[inside][0]}"
        return plain
