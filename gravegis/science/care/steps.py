"""The steps of a treatment, in order, as a crew reads them (care_steps.csv).

Strength, time on the stone and limits of a cleaner come from the label of the product in use. Where no label is on
file the steps say that the label decides and print no figure.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from gravegis.science.condition.tables import rows

__all__ = ["ORDERS", "RINSE_KPA", "Label", "Told", "plans", "steps_of"]

RINSE_KPA = 140.0
"""Pressure of the rinse, about 20 psi: common practice, no source. [kPa]"""

ORDERS = ("top down", "bottom up")
"""In which order the face is worked; top down for this class of cleaner is common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """What the label of the product in use says; None and empty where it is not on file. [min, degC]"""

    name: str = ""
    strength: str = ""
    dwell_low_min: float | None = None
    dwell_high_min: float | None = None
    not_with: str = ""

    @property
    def dwell(self) -> str:
        """The time on the stone in words, empty where the label on file does not say."""
        low, high = self.dwell_low_min, self.dwell_high_min
        if low is None and high is None:
            return ""
        if low is None or high is None or low == high:
            return f"{'up to ' * (low is None)}{high if low is None else low:g} min on the stone"
        return f"{low:g} to {high:g} min on the stone"


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What the steps of one stone depend on: order of working, label, strength for this stone."""

    order: str = ORDERS[0]
    label: Label | None = None
    strength: str = ""
    dry_spell: str = "a day"


@cache
def plans() -> dict[str, tuple[str, ...]]:
    """Return the steps of every plan of care_steps.csv, with the places a stone's own words fill."""
    made: dict[str, list[str]] = {}
    for row in rows("care_steps"):
        made.setdefault(row["plan"], []).append(row["text"])
    return {name: tuple(texts) for name, texts in made.items()}


def steps_of(plan: str, told: Told | None = None) -> tuple[str, ...]:
    """Return the steps of a plan with everything filled in; raises KeyError for a plan that is not in the table.

    Without a label on file the steps follow the label and carry no strength and no minutes.
    """
    said = told or Told()
    words = {
        "order": said.order,
        "strength": _strength(said),
        "dwell": _dwell(said),
        "rinse": f"{RINSE_KPA:g} kPa (20 psi)",
        "dry_spell": said.dry_spell,
    }
    return tuple(text.format(**words) for text in plans()[plan])


def _strength(said: Told) -> str:
    if said.label is None:
        return "at the strength its label allows"
    allowed = said.label.strength
    if allowed:
        return f"at the strength its label allows ({allowed})"
    return f"{said.strength} unless its label says otherwise" if said.strength else "at the strength its label allows"


def _dwell(said: Told) -> str:
    if said.label is None or not said.label.dwell:
        return "for the time its label says"
    return said.label.dwell
