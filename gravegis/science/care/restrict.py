"""What parts of other material and the ground around a stone forbid: no cleaner, no crew, or a hold."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from gravegis.science.care.materials import UNKNOWN, material_class
from gravegis.science.care.permissions import condition
from gravegis.science.condition.reasons import reason
from gravegis.science.condition.tables import Vocabulary, plain, rows, vocabulary

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from gravegis.science.care.treatment import Care
    from gravegis.science.condition.reasons import Reason

__all__ = [
    "BUFFER_M",
    "CONSERVATOR_ONLY",
    "HOLD",
    "WATER_AGENT",
    "WATER_ONLY",
    "Limit",
    "condition_limits",
    "ground_limit",
    "ground_name",
    "part_limit",
    "restricted",
    "sensitive_kinds",
]

WATER_ONLY, CONSERVATOR_ONLY, HOLD = "water only", "conservator only", "hold"
BUFFER_M = 5.0
"""Distance to keep from sensitive ground whose row names none: common practice, no source. [m]"""

WATER_AGENT = "water and soft brush"
_WATER_PLAN = {"clean with cleaner": "clean growth with water"}
_KEEP_OFF = "keep off"
_CREW = "crew_may_treat"


@dataclass(frozen=True, slots=True)
class Limit:
    """What one part, or one piece of ground, asks of one stone.

    `verdict` is ``water only``, ``conservator only``, ``hold`` or empty (a caution only).
    """

    stone: int
    verdict: str
    reason: Reason


def sensitive_kinds() -> Vocabulary:
    """Return the vocabulary of ground to be spared (sensitive_kinds.csv)."""
    return vocabulary("sensitive_kinds")


def part_limit(stone: int, part: object, material: object) -> Limit:
    """Return what a part of other material asks; one that is not in the table is a conservator's.

    Parameters
    ----------
    stone
        Row of the stone it belongs to.
    part, material
        As typed: what it is (may be missing) and what it is made of.
    """
    row = _part_row(part, material)
    typed = " of ".join(word for word in (_typed(part), _typed(material)) if word) or "a part nobody named"
    if row is None:
        return Limit(stone, CONSERVATOR_ONLY, reason("part_not_known", part=typed))
    verdict, words = row["verdict"], row["words"]
    if verdict == "strictest":
        of_class = material_class(material)
        stone_like = of_class not in {UNKNOWN, "zinc", "iron", "other metal", "wood"}
        verdict = _KEEP_OFF if stone_like else CONSERVATOR_ONLY
    shown = "" if verdict == _KEEP_OFF else verdict
    code = {WATER_ONLY: "part_water_only", CONSERVATOR_ONLY: "part_conservator"}.get(shown, "part_caution")
    return Limit(stone, shown, reason(code, part=typed, words=words))


def _part_row(part: object, material: object) -> dict[str, str] | None:
    term = vocabulary("part_rules", key="part").term(part)
    by_material = plain(material)
    for row in rows("part_rules"):
        if row["part"] == term:
            return dict(row)
    for row in rows("part_rules"):
        if not term and by_material and by_material in row["materials"].split("|"):
            return dict(row)
    return None


def _typed(word: object) -> str:
    return word.strip() if isinstance(word, str) else ""


def ground_limit(stone: int, kind: object, name: str, *, distance_m: float, buffer_m: float) -> Limit:
    """Return what sensitive ground within its buffer asks of a stone; a kind that is not in the table holds it.

    `distance_m` is 0 inside, `buffer_m` the distance to keep. [m]
    """
    known = sensitive_kinds()
    term = known.term(kind)
    verdict = known.look_up(term, "verdict") or HOLD
    words = known.look_up(term, "words") or "what it is was not said: ask first"
    what = ground_name(kind, name)
    code = "ground_water_only" if verdict == WATER_ONLY else "ground_hold"
    return Limit(
        stone, verdict,
        reason(code, what=what, distance_m=round(distance_m, 1), buffer_m=round(buffer_m, 1), words=words),
    )  # fmt: skip


def ground_name(kind: object, name: str) -> str:
    """Return what a piece of sensitive ground is called: its kind as known here or as typed, and its name."""
    return f"{sensitive_kinds().term(kind) or _typed(kind) or 'sensitive ground'} {name}".strip()


def condition_limits(conditions: Sequence[tuple[str, ...]]) -> list[Limit]:
    """Return what the conditions of leave that was given ask of each stone, as typed in `permissions`."""
    made = []
    for stone, said in enumerate(conditions):
        for typed in said:
            strict = condition(typed).water_only
            code = "leave_water_only" if strict else "leave_conditions"
            made.append(Limit(stone, WATER_ONLY if strict else "", reason(code, words=typed)))
    return made


def restricted(care: Care, limits: Sequence[Limit]) -> tuple[Care, NDArray[np.bool_]]:
    """Return the care with every limit kept, and which stones the ground around them holds.

    A limit only ever takes away: a crew's cleaning becomes water only or the conservator's, never the other way.
    Growth a crew would have cleaned stays where the stone becomes the conservator's.
    """
    method, who, plan = care.method.astype(object), care.who.astype(object), list(care.plan)
    treatment, stays, why = care.treatment.astype(object), list(care.stays), [list(one) for one in care.reasons]
    held = np.zeros(len(plan), dtype=np.bool_)
    for limit in limits:
        stone = limit.stone
        held[stone] |= limit.verdict == HOLD
        if who[stone] == "crew" and method[stone] and limit.verdict == CONSERVATOR_ONLY:
            method[stone], who[stone], plan[stone] = "", CONSERVATOR_ONLY, "report"
            treatment[stone] = "report to conservator"
            left = tuple(str(one["values"]["pattern"]) for one in why[stone] if one["code"] == _CREW)
            stays[stone] = tuple(dict.fromkeys((*stays[stone], *left)))
            why[stone] = [reason("stays", pattern=one["values"]["pattern"]) if one["code"] == _CREW else one
                          for one in why[stone]]  # fmt: skip
        elif who[stone] == "crew" and method[stone] and limit.verdict == WATER_ONLY:
            method[stone], plan[stone] = WATER_AGENT, _WATER_PLAN.get(plan[stone], plan[stone])
            treatment[stone] = "clean: water and soft brush"
            why[stone] = [_treated(one, treatment[stone]) for one in why[stone]]
        why[stone].append(limit.reason)
    made = replace(
        care, method=method.astype(np.str_), who=who.astype(np.str_), plan=tuple(plan), stays=tuple(stays),
        treatment=treatment.astype(np.str_), reasons=tuple(map(tuple, why)),
    )  # fmt: skip
    return made, held


def _treated(one: Reason, treatment: str) -> Reason:
    """Return a reason of a crew's work with the treatment that is left; other reasons as they are."""
    return reason(_CREW, **{**one["values"], "treatment": treatment}) if one["code"] == _CREW else one
