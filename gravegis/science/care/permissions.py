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
    "Consents",
    "consent_holds",
    "permission_kinds",
    "permission_states",
]

NEEDS_PERMISSION, REFUSED = "needs permission", "permission refused"
RIGHT_HOLDER = "right-holder"

YOUNG_YEARS = 30.0
"""Burials younger than this wait for the right-holder: common practice, no source. [years]"""


@dataclass(frozen=True, slots=True)
class Asked:
    """One row of `permissions` for one stone: whose leave, how it stands, days it still runs (NaN without an end)."""

    stone: int
    kind: str
    state: str
    days_left: float = float("nan")
    what: str = ""


@dataclass(frozen=True, slots=True)
class Consents:
    """One entry per stone: what holds it (empty = nothing), whose leave is missing, and why."""

    hold: NDArray[np.str_]
    missing: tuple[tuple[str, ...], ...]
    reasons: tuple[tuple[Reason, ...], ...]


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
        hold=np.array([hold for hold, _, _ in made], dtype=np.str_),
        missing=tuple(missing for _, missing, _ in made),
        reasons=tuple(why for _, _, why in made),
    )


_Consent = tuple[str, tuple[str, ...], tuple["Reason", ...]]


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
    kinds, states = permission_kinds(), permission_states()
    missing, why, refused = dict(needed), list[object](), False
    for one in asked:
        kind = kinds.term(one.kind) or one.kind.strip() or "somebody not named"
        if kinds.look_up(kind, "treats") == "no":
            continue
        state = states.term(one.state) or "unknown"
        ended = one.days_left < 0
        if state == "granted" and not ended:
            missing.pop(kind, None)
            continue
        refused |= state == "refused"
        code = "permission_ended" if ended and state == "granted" else f"permission_{state}"
        missing[kind] = reason(code, whose=kind)
    why += list(missing.values())
    hold = REFUSED if refused else NEEDS_PERMISSION if missing else ""
    return hold, tuple(missing), tuple(why)  # type: ignore[arg-type]
