"""Which stone comes first: 1 to 3, 3 first, with the reasons.

The rule is our own and simple on purpose. Priority is the condition class, at least 1. One step up, never
more, where the stream of a head strikes the stone, or spray reaches it for many hours a season: harm goes on
there. Harm that can let pieces fall gives at least 2, the highest class of urgency gives 3. Nothing lowers a
priority; where a head still reaches the stone, `fix_spray_first` says so, since spray would undo the cleaning.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gravegis.errors import LayerError, SettingError
from gravegis.science.condition.reasons import reason

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from gravegis.science.condition.reasons import Reason

__all__ = ["HIGHEST", "LONG_SPRAY_H", "Priorities", "Spray", "prioritise"]

LONG_SPRAY_H = 100.0
"""Hours of spray a season from which a stone moves up: own rule, no source. [h]"""

HIGHEST = 3
SAFETY_AT_LEAST = 2


@dataclass(frozen=True, slots=True)
class Spray:
    """What is known of the spray at each stone.

    `struck`: the stream of a head hits it. `margin_m`: metres inside the edge of the farthest-reaching throw,
    below 0 outside, NaN where not worked out. `spray_h`: hours a season, NaN where not known.
    """

    struck: NDArray[np.bool_]
    margin_m: NDArray[np.float64]
    spray_h: NDArray[np.float64]

    @property
    def reached(self) -> NDArray[np.bool_]:
        """Whether spray reaches the stone at all; the edge of the throw counts as reached."""
        return self.struck | (self.margin_m >= 0)


@dataclass(frozen=True, slots=True)
class Priorities:
    """One entry per stone: priority 1 to 3, whether the spray should be mended first, and why."""

    priority: NDArray[np.int8]
    fix_spray_first: NDArray[np.bool_]
    reasons: tuple[tuple[Reason, ...], ...]


def prioritise(
    overall: ArrayLike,
    spray: Spray,
    safety: ArrayLike | None = None,
    *,
    urgent: ArrayLike | None = None,
    long_spray_h: float = LONG_SPRAY_H,
) -> Priorities:
    """Return the priority of every stone.

    Parameters
    ----------
    overall
        Condition class 0-3, -1 where there is none; that counts as 1, and the reason says so.
    spray
        What is known of the spray.
    safety
        Stones with harm of the safety group, whatever its severity.
    urgent
        Stones of the highest class of urgency.
    long_spray_h
        Hours a season from which spray moves a stone up. [h]

    Raises
    ------
    LayerError
        When lengths differ or a class is not -1 to 3.
    SettingError
        When `long_spray_h` is below 0.
    """
    classes = np.asarray(overall, dtype=np.int64).reshape(-1)
    loose = np.zeros(classes.size, np.bool_) if safety is None else np.asarray(safety, np.bool_).reshape(-1)
    now = np.zeros(classes.size, np.bool_) if urgent is None else np.asarray(urgent, np.bool_).reshape(-1)
    _check(classes, spray, (loose, now), long_spray_h)
    long = spray.reached & (spray.spray_h >= long_spray_h)
    from_class = np.maximum(classes, 1)
    raised = np.minimum(from_class + (spray.struck | long), HIGHEST)
    priority = np.where(loose, np.maximum(raised, SAFETY_AT_LEAST), raised)
    priority = np.where(now, HIGHEST, priority)
    why = []
    for stone in range(classes.size):
        reasons = [_from_class(int(classes[stone]), int(from_class[stone]))]
        reasons += _from_spray(spray, stone, long_spray_h, long=bool(long[stone]))
        if loose[stone]:
            reasons.append(reason("priority_safety", priority=SAFETY_AT_LEAST))
        if now[stone] and HIGHEST not in (raised[stone], from_class[stone]):
            reasons.append(reason("priority_urgent", priority=HIGHEST))
        if spray.reached[stone]:
            reasons.append(reason("fix_spray_first"))
        why.append(tuple(reasons))
    return Priorities(priority.astype(np.int8), spray.reached.copy(), tuple(why))


def _check(classes: NDArray[np.int64], spray: Spray, flags: tuple[NDArray[np.bool_], ...], long_spray_h: float) -> None:
    lengths = {classes.size, spray.struck.size, spray.margin_m.size, spray.spray_h.size, *(one.size for one in flags)}
    if len(lengths) > 1:
        raise LayerError(f"columns of different length: {sorted(lengths)}", where="stones")
    bad = np.flatnonzero((classes < -1) | (classes > HIGHEST))
    if bad.size:
        raise LayerError(f"condition class is {classes[bad[0]]}", where=f"stone_condition.overall[{bad[0]}]")
    if not long_spray_h >= 0:
        raise SettingError(f"long_spray_h is {long_spray_h}", remedy="Give 0 hours or more.")


def _from_class(overall: int, priority: int) -> Reason:
    if overall < 0:
        return reason("priority_class_not_known", priority=priority)
    return reason("priority_from_class", priority=priority, overall=overall)


def _from_spray(spray: Spray, stone: int, long_spray_h: float, *, long: bool) -> list[Reason]:
    if spray.struck[stone]:
        return [reason("priority_struck")]
    if long:
        return [reason("priority_reached_long", spray_h=round(float(spray.spray_h[stone]), 1), limit_h=long_spray_h)]
    if spray.reached[stone]:
        return [reason("priority_reached", margin_m=round(float(spray.margin_m[stone]), 2))]
    return []
