"""In which way a crew cleans: scrub now, put the cleaner on and leave it, or water only (care_ways.csv).

The way decides minutes, water, cleaner, weather and when to look again. All of it is common practice without a
source, except that the label of the product in use outranks every figure on strength and time.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from typing import TYPE_CHECKING

import numpy as np

from gravegis.errors import LayerError
from gravegis.science.care.steps import RINSE_KPA, Told, share_of, steps_of
from gravegis.science.condition.reasons import reason
from gravegis.science.condition.tables import rows

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from gravegis.science.care.steps import Label
    from gravegis.science.care.treatment import Care
    from gravegis.science.condition.reasons import Reason

__all__ = [
    "APPLY_AND_LEAVE",
    "CLEANER",
    "GOALS",
    "SCRUB_NOW",
    "WATER_ONLY",
    "Way",
    "Ways",
    "choose_ways",
    "strengths",
    "way_table",
]

SCRUB_NOW, APPLY_AND_LEAVE, WATER_ONLY = "scrub now", "apply and leave", "water only"

GOALS = ("looks today", "stones a day")
"""What the day is for: the look of few stones, or many stones begun."""

CLEANER = "quaternary-ammonium cleaner"


@dataclass(frozen=True, slots=True)
class Way:
    """One row of care_ways.csv; factors are against the table of minutes, water and cleaner. [days, h, min]"""

    way: str
    agent: str
    goal: str
    pace_factor: float
    water_factor: float
    cleaner_factor: float
    soak_low_min: float
    soak_high_min: float
    look_raised_days: int
    look_film_days: int
    dry_spell_h: float
    holds_days: int
    """How long the look it gives is said to hold."""
    most_severity: int
    source: str

    @property
    def soak(self) -> str:
        """The usual time the cleaner stays on the stone, in words; empty where it is not rinsed off."""
        low, high = self.soak_low_min, self.soak_high_min
        return "" if not high else f"{high:g} min" if low == high else f"{low:g} to {high:g} min"


@dataclass(frozen=True, slots=True)
class Ways:
    """One entry per stone; empty, zero or NaN where no crew cleans.

    `way` names the row of `way_table`, `concentrate_frac` the share of the cleaner that is concentrate (NaN where
    only the label knows), `look_days`
    when to look again after the work. [days]
    """

    way: NDArray[np.str_]
    strength: tuple[str, ...]
    concentrate_frac: NDArray[np.float64]
    look_days: NDArray[np.float64]
    steps: tuple[tuple[str, ...], ...]
    reasons: tuple[tuple[Reason, ...], ...]

    def factors(self) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
        """Return per stone the factors of minutes, water and cleaner; 1 where no crew cleans."""
        table = way_table()
        made = [
            (table[one].pace_factor, table[one].water_factor, table[one].cleaner_factor) if one else (1.0, 1.0, 1.0)
            for one in self.way.tolist()
        ]
        pace, water, cleaner = np.array(made, dtype=np.float64).reshape(-1, 3).T
        return pace, water, cleaner


@cache
def way_table() -> Mapping[str, Way]:
    """Return the ways of care_ways.csv by name."""
    return {
        row["way"]: Way(
            way=row["way"], agent=row["agent"], goal=row["goal"], pace_factor=float(row["pace_factor"]),
            water_factor=float(row["water_factor"]), cleaner_factor=float(row["cleaner_factor"]),
            soak_low_min=float(row["soak_low_min"]), soak_high_min=float(row["soak_high_min"]),
            look_raised_days=int(row["look_raised_days"]), look_film_days=int(row["look_film_days"]),
            dry_spell_h=float(row["dry_spell_h"]), holds_days=int(row["holds_days"]),
            most_severity=int(row["most_severity"]), source=row["source"],
        )
        for row in rows("care_ways")
    }  # fmt: skip


@cache
def strengths() -> Mapping[tuple[int, bool], tuple[str, float]]:
    """Return strength in words and share of concentrate per severity 1-3 and whether it was cleaned before."""
    return {
        (int(row["severity"]), row["repeat"] == "yes"): (row["strength"], float(row["concentrate_frac"]))
        for row in rows("strengths")
    }


def choose_ways(
    care: Care,
    cleaned_before: NDArray[np.bool_],
    *,
    goal: str = GOALS[0],
    order: str = "top down",
    label: Label | None = None,
    rinse_kpa: float = RINSE_KPA,
) -> Ways:
    """Return in which way each stone is cleaned, and its steps.

    Apply and leave is chosen for the goal ``stones a day`` and growth that is not heavy; heavy growth is lifted and
    scrubbed. A stone without a cleaner is cleaned with water only.

    Parameters
    ----------
    care
        What is done for each stone.
    cleaned_before
        Whether a cleaning of the stone is on record: a repeat takes a weaker mix.
    goal, order, label
        What the day is for, in which order a face is worked, and the label of the product in use, if on file.
    rinse_kpa
        Pressure of the rinse. [kPa]

    Raises
    ------
    LayerError
        When lengths differ.
    """
    if len(care.plan) != cleaned_before.size:
        raise LayerError(f"{cleaned_before.size} histories for {len(care.plan)} stones", where="treatments")
    made = [
        _way(care, stone, Told(order=order, label=label, rinse_kpa=rinse_kpa), goal, before=bool(cleaned_before[stone]))
        for stone in range(len(care.plan))
    ]
    return Ways(
        way=np.array([one.way for one in made], dtype=np.str_),
        strength=tuple(one.strength for one in made),
        concentrate_frac=np.array([one.concentrate_frac for one in made], dtype=np.float64),
        look_days=np.array([one.look_days for one in made], dtype=np.float64),
        steps=tuple(one.steps for one in made),
        reasons=tuple(one.reasons for one in made),
    )


@dataclass(frozen=True, slots=True)
class _Chosen:
    way: str = ""
    strength: str = ""
    concentrate_frac: float = 0.0
    look_days: float = float("nan")
    steps: tuple[str, ...] = ()
    reasons: tuple[Reason, ...] = ()


def _way(care: Care, stone: int, told: Told, goal: str, *, before: bool) -> _Chosen:
    agent, plan = str(care.method[stone]), care.plan[stone]
    if not agent:
        return _Chosen(steps=steps_of(plan, told) if plan else ())
    severity = int(care.severity[stone])
    row = _row(agent, severity, goal)
    form = str(care.form[stone])
    look_days = row.look_raised_days if form == "raised" else row.look_film_days
    strength, share = strengths()[min(max(severity, 1), 3), before] if agent == CLEANER else ("", 0.0)
    if agent == CLEANER and (told.label is None or told.label.strength):
        # the label outranks our figures: without one there is no figure, with one it is the label's
        share = float("nan") if told.label is None else share_of(told.label.strength)
    said = replace(told, strength=strength, dry_spell=f"{row.dry_spell_h:g} h", soak=row.soak)
    why = [reason("way", way=row.way, rule=_rule(agent, severity, goal, row))]
    if agent == CLEANER and told.label is None:
        why.append(reason("no_label"))
    elif agent == CLEANER and not (told.label and told.label.strength):
        why.append(reason("strength", strength=strength))
    return _Chosen(
        way=row.way, strength=strength, concentrate_frac=share, look_days=float(look_days),
        steps=steps_of(APPLY_AND_LEAVE if row.way == APPLY_AND_LEAVE else plan, said),
        reasons=tuple(why),
    )  # fmt: skip


def _row(agent: str, severity: int, goal: str) -> Way:
    fitting = [one for one in way_table().values() if one.agent == agent]
    wanted = [one for one in fitting if one.goal == goal and severity <= one.most_severity]
    return wanted[0] if wanted else fitting[0]


def _rule(agent: str, severity: int, goal: str, row: Way) -> str:
    if agent != CLEANER:
        return "no cleaner here"
    if row.goal != goal:
        return f"growth of severity {severity} is too heavy to be left to the cleaner alone"
    return f"the day is for {goal}"
