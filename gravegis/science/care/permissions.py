"""Whose stone it is: who must agree before a crew cleans it.

Rules differ by country and ground; nothing here is legal advice. What is not on file counts as not asked. Official
military markers, listed stones and young burials are never a crew's work before the one who must agree has done so.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gravegis.errors import LayerError
from gravegis.science.condition.reasons import reason
from gravegis.science.condition.tables import Vocabulary, rows, vocabulary

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike, NDArray

    from gravegis.science.condition.reasons import Reason

__all__ = [
    "NEEDS_PERMISSION",
    "REFUSED",
    "YOUNG_YEARS",
    "Asked",
    "Condition",
    "Consents",
    "condition",
    "consent_holds",
    "permission_kinds",
    "permission_states",
    "whose_leave",
]

NEEDS_PERMISSION, REFUSED = "needs permission", "permission refused"
RIGHT_HOLDER = "right-holder"

YOUNG_YEARS = 30.0
"""Burials younger than this wait for the right-holder: common practice, no source. [years]"""


_STRICTEST_FIRST = ("refused", "granted", "ended", "asked", "unknown")
"""Which of several rows about the same leave counts: a refusal above all, then leave that still runs; own order."""


@dataclass(frozen=True, slots=True)
class Asked:
    """One row of `permissions` for one stone: whose leave, how it stands, days it still runs (NaN without an end).

    `conditions` is what was asked for in return; a row that names the stone (`of_stone`) outranks one for its section.
    """

    stone: int
    kind: str
    state: str
    days_left: float = float("nan")
    conditions: str = ""
    of_stone: bool = False


@dataclass(frozen=True, slots=True)
class Condition:
    """What a condition of somebody's leave asks of a crew."""

    water_only: bool
    no_photographs: bool


@dataclass(frozen=True, slots=True)
class Consents:
    """One entry per stone: what holds it (empty = nothing), whose leave is missing, and why.

    `conditions` are those of leave that was given, as typed; `photographs` whether pictures may be taken.
    """

    hold: NDArray[np.str_]
    missing: tuple[tuple[str, ...], ...]
    reasons: tuple[tuple[Reason, ...], ...]
    conditions: tuple[tuple[str, ...], ...]
    photographs: NDArray[np.bool_]


def permission_states() -> Vocabulary:
    """Return the vocabulary of how a permission stands (permission_states.csv)."""
    return vocabulary("permission_states")


def permission_kinds() -> Vocabulary:
    """Return the vocabulary of whose permission it is (permission_kinds.csv)."""
    return vocabulary("permission_kinds")


def consent_holds(
    significance: Sequence[object] | NDArray[np.generic],
    age_years: ArrayLike,
    asked: Sequence[Asked],
    *,
    young_years: float = YOUNG_YEARS,
) -> Consents:
    """Return which stones wait for somebody's leave.

    Parameters
    ----------
    significance
        Why a stone matters, as typed; words for an official military marker or a listed stone ask for leave.
    age_years
        Years since the earliest year on the stone; NaN where not known, which asks for nothing. [years]
    asked
        Rows of `permissions`, one per stone they hold for.

    Raises
    ------
    LayerError
        When lengths differ.
    """
    ages = np.asarray(age_years, dtype=np.float64).reshape(-1)
    if ages.size != len(significance):
        raise LayerError(f"{ages.size} ages for {len(significance)} stones", where="stones")
    of_stone: list[list[Asked]] = [[] for _ in range(ages.size)]
    for one in asked:
        of_stone[one.stone].append(one)
    made = [
        _consent(_needed(word, age, young_years), of_stone[stone])
        for stone, (word, age) in enumerate(zip(significance, ages.tolist(), strict=True))
    ]
    return Consents(
        hold=np.array([one.hold for one in made], dtype=np.str_),
        missing=tuple(tuple(one.missing) for one in made),
        reasons=tuple(tuple(one.missing.values()) for one in made),
        conditions=tuple(one.conditions for one in made),
        photographs=np.array([one.photographs for one in made], dtype=np.bool_),
    )


def whose_leave(one: Reason, *, who: str) -> str:
    """Return whose leave a reason of a held stone asks for; empty where it asks for none.

    What a conservator does at a young burial is asked for when it is planned, not by the crews' list (`who`).
    """
    if not one["code"].startswith("permission_") or (who != "crew" and one["code"] == "permission_young"):
        return ""
    return str(one["values"].get("whose") or RIGHT_HOLDER)


def condition(typed: str) -> Condition:
    """Return what a condition asks; one that is not in permission_conditions.csv leaves water only, and says so."""
    known = vocabulary("permission_conditions")
    term = known.term(typed)
    return Condition(
        water_only=not term or known.look_up(term, "water_only") == "yes",
        no_photographs=known.look_up(term, "no_photographs") == "yes",
    )


@dataclass(frozen=True, slots=True)
class _Consent:
    hold: str
    missing: dict[str, Reason]
    conditions: tuple[str, ...]
    photographs: bool


def _needed(significance: object, age_years: float, young_years: float) -> dict[str, Reason]:
    """Return whose leave a stone needs by what it is, each with the rule that says so."""
    needed: dict[str, Reason] = {}
    term = vocabulary("permission_needs").term(significance)
    for row in rows("permission_needs"):
        if row["term"] == term:
            needed[row["kind"]] = reason("permission_by_kind", what=term, whose=row["kind"])
    if age_years < young_years:
        needed[RIGHT_HOLDER] = reason("permission_young", age_years=int(age_years), limit_years=int(young_years))
    return needed


def _consent(needed: dict[str, Reason], asked: list[Asked]) -> _Consent:
    kinds, by_kind = permission_kinds(), dict[str, list[Asked]]()
    for one in asked:
        by_kind.setdefault(kinds.term(one.kind) or one.kind.strip() or "somebody not named", []).append(one)
    missing, hold, conditions, photographs = dict(needed), "", list[str](), True
    for kind, said in by_kind.items():
        state, counting = _stands(said)
        if kinds.look_up(kind, "treats") == "no":
            photographs &= state == "granted"
        elif state == "granted":
            missing.pop(kind, None)
            conditions += [one.conditions.strip() for one in counting if one.conditions.strip()]
        else:
            missing[kind] = reason(f"permission_{state}", whose=kind)
            hold = REFUSED if state == "refused" else hold
    photographs &= not any(condition(one).no_photographs for one in conditions)
    return _Consent(hold or (NEEDS_PERMISSION if missing else ""), missing, tuple(conditions), photographs)


def _stands(said: list[Asked]) -> tuple[str, list[Asked]]:
    """Return how one leave stands, and the rows that say so."""
    rows_ = [one for one in said if one.of_stone] or said
    states = [_state(one) for one in rows_]
    state = min(states, key=_STRICTEST_FIRST.index)
    return state, [one for one, its in zip(rows_, states, strict=True) if its == state]


def _state(one: Asked) -> str:
    state = permission_states().term(one.state) or "unknown"
    return "ended" if state == "granted" and one.days_left < 0 else state
