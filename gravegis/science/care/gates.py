"""What holds a stone back before anyone touches it: how firmly it stands.

A stone that nobody checked is the usual case. A low and light one goes out with the leader's check as its
first step; a tall, heavy or leaning one waits for a trained tester. What moves, or is not to be approached,
is never a crew's work. A gate that opens says only what was recorded, not that nothing can happen; local
rules on unstable stones come first.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gravegis.errors import LayerError, SettingError
from gravegis.science.care.sizes import tipping
from gravegis.science.condition.reasons import reason
from gravegis.science.condition.tables import Vocabulary, vocabulary

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike, NDArray

    from gravegis.science.care.sizes import Sizes
    from gravegis.science.condition.reasons import Reason

__all__ = ["HOLDS", "LEADER_CHECKS", "GateLimits", "Gates", "gate_stones", "stabilities"]

LEADER_CHECKS = "leader checks first"
"""First step of an unchecked stone that goes out."""

HOLDS = ("", "trained tester first", "moves", "do not approach")
"""What can hold a stone, the strictest last; empty where nothing does."""


@dataclass(frozen=True, slots=True, kw_only=True)
class GateLimits:
    """Up to what an unchecked stone may go out with the leader's check; all common practice, no source.

    `valid_days` is how long a check counts. [m, kg, deg, days]
    """

    height_m: float = 1.0
    mass_kg: float = 150.0
    lean_deg: float = 3.0
    valid_days: float = 365.0

    def __post_init__(self) -> None:
        for name in ("height_m", "mass_kg", "lean_deg", "valid_days"):
            value = getattr(self, name)
            if not value >= 0:
                raise SettingError(f"{name} is {value}", remedy="Give 0 or more.")


@dataclass(frozen=True, slots=True)
class Gates:
    """One entry per stone: what holds it (empty = nothing), the first step (empty = none), and why."""

    hold: NDArray[np.str_]
    first_step: NDArray[np.str_]
    reasons: tuple[tuple[Reason, ...], ...]


def stabilities() -> Vocabulary:
    """Return the vocabulary of stability (stability.csv)."""
    return vocabulary("stability")


def gate_stones(
    stability: Sequence[object] | NDArray[np.generic],
    checked_days_ago: ArrayLike,
    sizes: Sizes,
    lean_deg: ArrayLike | None = None,
    *,
    limits: GateLimits | None = None,
) -> Gates:
    """Return what holds each stone back.

    Missing or unknown stability counts as unchecked, and so does ``firm`` without a date, with one that lies
    ahead, or with one too long ago. An unchecked stone of unknown height goes out too, with the order to leave
    it if it is too tall.

    Parameters
    ----------
    stability
        As typed: unchecked, firm, moves, do not approach, or other words for them.
    checked_days_ago
        Days since that check; NaN where no date is known.
    sizes
        Sizes of the stones; sizes assumed from a form count like measured ones.
    lean_deg
        Lean from upright; NaN where not known. [deg]

    Raises
    ------
    LayerError
        When lengths differ.
    """
    days = np.asarray(checked_days_ago, dtype=np.float64).reshape(-1)
    lean = np.full(days.size, np.nan) if lean_deg is None else np.asarray(lean_deg, np.float64).reshape(-1)
    if len({len(stability), days.size, lean.size, sizes.height_m.size}) > 1:
        raise LayerError(
            f"{len(stability)} stabilities, {days.size} dates, {lean.size} leans, {sizes.height_m.size} sizes",
            where="stones",
        )
    allowed = GateLimits() if limits is None else limits
    made = [
        _gate(typed, float(days[stone]), sizes, (stone, float(lean[stone])), allowed)
        for stone, typed in enumerate(stability)
    ]
    return Gates(
        hold=np.array([hold for hold, _, _ in made], dtype=np.str_),
        first_step=np.array([step for _, step, _ in made], dtype=np.str_),
        reasons=tuple(why for _, _, why in made),
    )


_Gate = tuple[str, str, tuple["Reason", ...]]


def _gate(typed: object, days: float, sizes: Sizes, stone: tuple[int, float], limits: GateLimits) -> _Gate:
    state = stabilities().term(typed)
    if state in {"do not approach", "moves"}:
        return state, "", (reason(state.replace(" ", "_")),)
    if state == "firm" and 0 <= days <= limits.valid_days:
        return "", "", (reason("firm", checked_days=int(days)),)
    doubt = _why_unchecked(typed, state, days, limits)
    too_much = _too_much(sizes, stone[0], stone[1], limits)
    if too_much:
        return "trained tester first", "", (*doubt, *too_much, *_tips(sizes, stone[0]))
    known = not np.isnan(sizes.height_m[stone[0]])
    blind = () if known else (reason("height_not_known", limit_m=limits.height_m),)
    return "", LEADER_CHECKS, (*doubt, reason("leader_checks_first"), *blind)


def _why_unchecked(typed: object, state: str, days: float, limits: GateLimits) -> tuple[Reason, ...]:
    if state == "firm":
        if np.isnan(days):
            return (reason("firm_without_date"),)
        if days < 0:
            return (reason("firm_date_ahead"),)
        return (reason("firm_too_old", checked_days=int(days), valid_days=int(limits.valid_days)),)
    word = typed.strip() if isinstance(typed, str) else ""
    if not word:
        return (reason("stability_missing"),)
    return () if state else (reason("stability_not_understood", typed=word),)


def _tips(sizes: Sizes, stone: int) -> tuple[Reason, ...]:
    """Return how little tips it if it stands loose, where its sizes and mass are known."""
    height, width, thickness = (float(one[stone]) for one in (sizes.height_m, sizes.width_m, sizes.thickness_m))
    density = float(sizes.mass_kg[stone]) / (height * width * thickness)
    found = tipping(height, width, thickness, density)
    push, lean = round(float(found.push_kgf[0]), 1), round(float(found.lean_deg[0]), 1)
    return () if np.isnan(push) else (reason("tips", push_kg=push, lean_deg=lean),)


def _too_much(sizes: Sizes, stone: int, lean_deg: float, limits: GateLimits) -> tuple[Reason, ...]:
    height, mass = float(sizes.height_m[stone]), float(sizes.mass_kg[stone])
    why = []
    if height > limits.height_m:
        code = "too_tall_assumed" if sizes.height_assumed[stone] else "too_tall"
        why.append(reason(code, height_m=height, limit_m=limits.height_m))
    if mass > limits.mass_kg:
        why.append(reason("too_heavy", mass_kg=round(mass), limit_kg=limits.mass_kg))
    if lean_deg > limits.lean_deg:
        why.append(reason("leans", lean_deg=lean_deg, limit_deg=limits.lean_deg))
    return tuple(why)
