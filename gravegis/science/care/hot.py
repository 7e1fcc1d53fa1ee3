"""When nobody wets a stone by hand because it may be hot: from worked-out temperatures, else by a rule of thumb.

Cold water on hot dark stone is what cracks it, and a cleaner dries on hot stone. Where no temperatures were worked out,
dark stone is left alone in the hot hours; whoever works carries a surface thermometer all the same.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gravegis.errors import LayerError
from gravegis.science.care.materials import materials
from gravegis.science.condition.reasons import reason
from gravegis.science.condition.tables import rows

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike, NDArray

    from gravegis.science.condition.reasons import Reason

__all__ = ["LIMIT_K", "HotHours", "by_rule", "by_temperature"]

LIMIT_K = 10.0
"""Stone warmer than the water by more than this is not wetted: common practice, no source. [K]"""

DAY_S = 86_400.0


@dataclass(frozen=True, slots=True)
class HotHours:
    """One entry per stone: seconds of the civil day from and to which nobody wets it, NaN where it is not hot. [s]"""

    from_s: NDArray[np.float64]
    to_s: NDArray[np.float64]
    reasons: tuple[tuple[Reason, ...], ...]


def by_rule(material: Sequence[object] | NDArray[np.generic], hot_from_s: float, hot_to_s: float) -> HotHours:
    """Return the hot hours of dark stone by the time of day alone; material as typed. [s]"""
    dark = {row["material"] for row in rows("hot_materials")}
    hot = np.array([materials().term(word) in dark for word in material], dtype=np.bool_)
    words = reason("hot_hours", hot_from=_clock(hot_from_s), hot_to=_clock(hot_to_s))
    return HotHours(
        np.where(hot, hot_from_s, np.nan),
        np.where(hot, hot_to_s, np.nan),
        tuple((words,) if one else () for one in hot),
    )


def by_temperature(
    stones_n: int, stone: ArrayLike, at_s: ArrayLike, over_k: ArrayLike, *, limit_k: float = LIMIT_K
) -> HotHours:
    """Return when a face of each stone is warmer than the water by more than a limit.

    From the first such time to the one after the last: a gap between two hot times counts as hot.

    Parameters
    ----------
    stone, at_s, over_k
        Per row of the table: row of the stone, time of day and how much warmer than the water (NaN: not known). [s, K]

    Raises
    ------
    LayerError
        When lengths differ.
    """
    rows_of, times, over = np.asarray(stone, np.intp), np.asarray(at_s, np.float64), np.asarray(over_k, np.float64)
    if len({rows_of.size, times.size, over.size}) > 1:
        raise LayerError(f"{rows_of.size} stones, {times.size} times, {over.size} differences", where="face_heat")
    known = np.unique(times)
    start, end, why = np.full(stones_n, np.nan), np.full(stones_n, np.nan), [list[object]() for _ in range(stones_n)]
    for row in np.flatnonzero(over > limit_k).tolist():
        one, at = int(rows_of[row]), float(times[row])
        later = known[known > at]
        start[one], end[one] = np.fmin(start[one], at), np.fmax(end[one], later[0] if later.size else DAY_S - 1)
    for one in np.flatnonzero(np.isfinite(start)).tolist():
        mine = np.flatnonzero((rows_of == one) & (over > limit_k))
        worst = mine[np.argmax(over[mine])]
        figures = {"over_k": round(float(over[worst]), 1), "limit_k": limit_k}
        why[one].append(reason("too_hot", at=_clock(float(times[worst])), **figures))
    return HotHours(start, end, tuple(map(tuple, why)))  # type: ignore[arg-type]


def _clock(seconds: float) -> str:
    return f"{int(seconds) // 3600:02d}:{int(seconds) % 3600 // 60:02d}"
