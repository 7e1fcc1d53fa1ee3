"""The steps of a treatment, in order, as a crew reads them (care_steps.csv).

Strength, time on the stone and limits of a cleaner come from the label of the product in use. Where no label is on
file the steps say that the label decides and print no figure.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache

from gravegis.science.condition.tables import rows
from gravegis.units import PSI_KPA

__all__ = [
    "AGREED", "ORDERS", "RINSE_KPA", "Label", "Told", "dwell_words", "plans", "share_of", "steps_of", "with_run_off",
    "within_leave",
]  # fmt: skip

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
    low_degc: float | None = None
    high_degc: float | None = None
    protective: str = ""
    first_aid: str = ""
    reentry_h: float | None = None
    uses: str = ""

    @property
    def rest(self) -> str:
        """What else it says, as the end of a sentence; empty where nothing of it is on file."""
        low, high = self.low_degc, self.high_degc
        if low is not None and high is not None:
            heat = f"use it at {low:g} to {high:g} °C"
        else:
            heat = f"not below {low:g} °C" if low is not None else "" if high is None else f"not above {high:g} °C"
        away = "" if self.reentry_h is None else f"keep away for {self.reentry_h:g} h"
        apart = f"not with {self.not_with}" if self.not_with else ""
        aid = f"first aid: {self.first_aid}" if self.first_aid else ""
        uses = f"for {self.uses}" if self.uses else ""
        said = "; ".join(filter(None, (uses, apart, heat, self.protective, aid, away)))
        return f". By its label: {said}" if said else ""

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
    """What the steps of one stone depend on: order of working, label, strength and soak for this stone, rinse. [kPa]"""

    order: str = ORDERS[0]
    label: Label | None = None
    strength: str = ""
    dry_spell: str = "a day"
    soak: str = ""
    rinse_kpa: float = RINSE_KPA


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
        "dwell": dwell_words(said.label, said.soak),
        "rinse": f"{said.rinse_kpa:g} kPa ({said.rinse_kpa / PSI_KPA:.0f} psi)",
        "rest": "" if said.label is None else said.label.rest,
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


def dwell_words(label: Label | None, soak: str) -> str:
    """Return the time on the stone in words: by the label, else the usual one (`soak`); no figure without a label."""
    if label is not None and label.dwell:
        return label.dwell
    if label is not None and soak:
        return f"{soak} on the stone unless its label says otherwise"
    return "for the time its label says"


RUN_OFF = "run-off"


def with_run_off(steps: tuple[str, ...], spared: tuple[str, ...]) -> tuple[str, ...]:
    """Return the steps with where run-off must not go, before anything is wetted; `spared` names the ground near."""
    if not steps or not spared:
        return steps
    (told,) = plans()[RUN_OFF]
    at = next((place for place, step in enumerate(steps) if step.startswith("Wet ")), 0)
    return (*steps[:at], told.format(spared=", ".join(spared)), *steps[at:])


_PARTS = re.compile(r"(\d+)(?: parts?)?(?: [a-z]+)? ?(to|:|in) ?(\d+)(?: parts?)?(?: [a-z]+)?")
_PERCENT = re.compile(r"(\d+(?:\.\d+)?) ?(?:%|percent)")
_NEAT = frozenset({"undiluted", "neat", "ready to use", "as sold"})


def share_of(strength: str) -> float:
    """Return the share of a mix that is the product as sold (0 to 1), NaN where a label does not say one figure."""
    text = " ".join(strength.casefold().split()).strip(".")
    if text in _NEAT:
        return 1.0
    share = float("nan")
    if found := _PARTS.fullmatch(text):
        part, rest = int(found[1]), int(found[3])
        whole = rest if found[2] == "in" else part + rest
        share = part / whole if whole else share
    elif found := _PERCENT.fullmatch(text):
        share = float(found[1]) / 100
    return share if 0 < share <= 1 else float("nan")


AGREED = "Agreed only as follows: "
_NO_PICTURE = "Take no photograph, leave for it is not on file: describe it in words instead"


def within_leave(steps: tuple[str, ...], conditions: tuple[str, ...], *, photographs: bool) -> tuple[str, ...]:
    """Return the steps with what somebody's leave asks for ahead of them, and without pictures where none may be."""
    told = [f"{AGREED}{one}" for one in conditions] if steps else []
    for step in steps:
        if photographs or not step.startswith("Photograph"):
            told.append(step)
        elif _NO_PICTURE not in told:
            told.append(_NO_PICTURE)
    return tuple(told)
