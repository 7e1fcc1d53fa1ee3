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
    known, hot = np.unique(times), np.flatnonzero(over > limit_k)
    start, end = np.full(stones_n, np.inf), np.full(stones_n, -np.inf)
    np.minimum.at(start, rows_of[hot], times[hot])
    np.maximum.at(end, rows_of[hot], times[hot])
    is_hot = np.isfinite(start)
    until = np.append(known, DAY_S - 1)[np.searchsorted(known, end, side="right")]
    # the hottest row of each stone comes last, of equals the first in the table
    order = hot[np.lexsort((-hot, over[hot]))]
    worst = np.full(stones_n, -1, dtype=np.intp)
    worst[rows_of[order]] = order
    why = tuple(
        (reason("too_hot", over_k=round(float(over[row]), 1), limit_k=limit_k, at=_clock(float(times[row]))),)
        if row >= 0 else ()
        for row in worst.tolist()
    )  # fmt: skip
    return HotHours(np.where(is_hot, start, np.nan), np.where(is_hot, until, np.nan), why)


def _clock(seconds: float) -> str:
    return f"{int(seconds) // 3600:02d}:{int(seconds) % 3600 // 60:02d}"
