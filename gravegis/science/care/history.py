"""What was done to a stone before: too soon for another cleaning, a repeat, and how long work really took."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gravegis.errors import LayerError, SettingError
from gravegis.science.condition.reasons import reason
from gravegis.science.condition.tables import Vocabulary, vocabulary

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike, NDArray

    from gravegis.science.condition.reasons import Reason

__all__ = [
    "CLEANED_LATELY",
    "INTERVAL_DAYS",
    "LEAST_RECORDS_N",
    "Actual",
    "Cleanings",
    "actual_minutes",
    "cleanings",
    "done_kinds",
    "is_cleaning",
    "way_done",
]

CLEANED_LATELY = "cleaned lately"

INTERVAL_DAYS = 730.0
"""Least time between two cleanings: common practice, no source. [days]"""

LEAST_RECORDS_N = 5
"""Records of a kind of work from which your own minutes take the place of the table: own choice."""


@dataclass(frozen=True, slots=True)
class Cleanings:
    """One entry per stone: days since the last cleaning on record (NaN without one), what holds it, and why."""

    days_since: NDArray[np.float64]
    hold: NDArray[np.str_]
    reasons: tuple[tuple[Reason, ...], ...]

    @property
    def before(self) -> NDArray[np.bool_]:
        """Whether a cleaning is on record."""
        return np.isfinite(self.days_since)


@dataclass(frozen=True, slots=True)
class Actual:
    """Minutes a kind of work really took: middle value, the middle half of all, and how many records. [min]"""

    median_min: float
    low_min: float
    high_min: float
    n: int


def done_kinds() -> Vocabulary:
    """Return the vocabulary of work done (done_kinds.csv)."""
    return vocabulary("done_kinds")


def is_cleaning(what: object) -> bool:
    """Whether work as typed was a cleaning; work that is not in the table counts as one."""
    return done_kinds().look_up(done_kinds().term(what), "is_cleaning") != "no"


def way_done(what: object) -> str:
    """Return the way of working that work as typed names (care_ways.csv); empty where it names none."""
    return done_kinds().look_up(done_kinds().term(what), "way")


def cleanings(
    stones_n: int,
    stone: ArrayLike,
    what: Sequence[object],
    days_ago: ArrayLike,
    *,
    interval_days: float = INTERVAL_DAYS,
    allowed: Sequence[int] = (),
) -> Cleanings:
    """Return when each stone was last cleaned and whether another cleaning comes too soon.

    Work whose kind is not in the table counts as a cleaning: that errs towards leaving the stone alone. A cleaning
    without a date counts as one just done, for the same reason.

    Parameters
    ----------
    stone, what, days_ago
        Per record: row of the stone, what was done as typed, days since (NaN without a date, below 0 ahead).
    allowed
        Rows of stones that somebody answers for cleaning again before the interval is over.

    Raises
    ------
    LayerError, SettingError
        When lengths differ, or for an interval below 0.
    """
    rows_of, days = np.asarray(stone, dtype=np.intp).reshape(-1), np.asarray(days_ago, dtype=np.float64).reshape(-1)
    if len({rows_of.size, days.size, len(what)}) > 1:
        raise LayerError(f"{rows_of.size} stones, {len(what)} kinds, {days.size} dates", where="treatments")
    if not interval_days >= 0:
        raise SettingError(f"interval_days is {interval_days}", remedy="Give 0 days or more.")
    since = np.full(stones_n, np.nan)
    undated = np.zeros(stones_n, dtype=np.bool_)
    for row, typed, age in zip(rows_of.tolist(), what, days.tolist(), strict=True):
        if not is_cleaning(typed):
            continue
        undated[row] |= np.isnan(age)
        since[row] = np.fmin(since[row], 0.0 if np.isnan(age) else max(age, 0.0))
    soon = since < interval_days
    answered = np.zeros(stones_n, dtype=np.bool_)
    answered[list(allowed)] = True
    return Cleanings(
        days_since=since,
        hold=np.where(soon & ~answered, CLEANED_LATELY, "").astype(np.str_),
        reasons=tuple(
            _reasons(since[one], interval_days, soon=soon[one], undated=undated[one], by=answered[one])
            for one in range(stones_n)
        ),
    )  # fmt: skip


def _reasons(
    days: float, interval_days: float, *, soon: np.bool_, undated: np.bool_, by: np.bool_
) -> tuple[Reason, ...]:
    if np.isnan(days):
        return ()
    if not soon:
        return (reason("cleaned_before", days=int(days)),)
    if by:
        return (reason("cleaned_lately_answered", interval_days=int(interval_days)),)
    if undated:
        return (reason("cleaned_without_date", interval_days=int(interval_days)),)
    return (reason("cleaned_lately", days=int(days), interval_days=int(interval_days)),)


def actual_minutes(kind: Sequence[str], took_min: ArrayLike, *, least_n: int = LEAST_RECORDS_N) -> dict[str, Actual]:
    """Return per kind of work the minutes it really took, for kinds with enough records; others keep the table.

    `kind` is any name of a kind of work per record, `took_min` its minutes (NaN where nobody wrote them). [min]
    """
    took = np.asarray(took_min, dtype=np.float64).reshape(-1)
    made: dict[str, Actual] = {}
    names = np.asarray(list(kind), dtype=object)
    for name in sorted({one for one in kind if one}):
        own = took[(names == name) & (took > 0)]
        if own.size >= least_n:
            low, middle, high = np.quantile(own, [0.25, 0.5, 0.75])
            made[name] = Actual(float(middle), float(low), float(high), int(own.size))
    return made
