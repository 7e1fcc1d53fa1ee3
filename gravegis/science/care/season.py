"""Which block of work in which month: a budget of pair-days, months in which zones rest and no frost is due."""

from __future__ import annotations

import calendar
import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

__all__ = ["Block", "Share", "months_from", "plan_season", "runs_in_month"]

BUDGET_SPENT = "the days are used up"
NO_MONTH = "no month in which its zones rest and no frost is due"
ZONES_REST = "its zones rest, no frost due"
ASK = "its zones run in every month: ask for them off"


@dataclass(frozen=True, slots=True)
class Block:
    """A block of stones: minutes of each, most urgent first, its urgency, and the zones that reach it."""

    name: str
    work_min: tuple[float, ...]
    urgency: float
    zones: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Share:
    """What is done of a block in one month; `month` is None for what is never reached. Days of one pair."""

    month: dt.date | None
    block: str
    days: float
    stones_n: int
    is_last: bool
    reason: str


def months_from(first: dt.date, months_n: int) -> tuple[dt.date, ...]:
    """Return the first days of so many months, the month of `first` included."""
    whole = [first.year * 12 + first.month - 1 + k for k in range(months_n)]
    return tuple(dt.date(one // 12, one % 12 + 1, 1) for one in whole)


def runs_in_month(month: dt.date, from_on: str, to_on: str) -> bool:
    """Say whether a programme with this season runs on any day of a month.

    `from_on` and `to_on` are YYYY-MM-DD or MM-DD, both days included; a season without both has no end, one whose end
    lies before its start goes over New Year. Other words count as running: nobody may rely on dry ground then.
    """
    if not from_on or not to_on:
        return True
    last = calendar.monthrange(month.year, month.month)[1]
    days = [month.replace(day=day) for day in range(1, last + 1)]
    if len(from_on) == len(to_on) == 10:
        return any(from_on <= day.isoformat() <= to_on for day in days)
    start, end = from_on[-5:], to_on[-5:]
    if start <= end:
        return any(start <= f"{day:%m-%d}" <= end for day in days)
    return any(f"{day:%m-%d}" >= start or f"{day:%m-%d}" <= end for day in days)


def plan_season(
    blocks: Sequence[Block],
    months: Sequence[dt.date],
    *,
    day_min: float,
    days_n: float,
    month_days_n: Mapping[dt.date, float],
    running: Mapping[dt.date, frozenset[str]],
    may_ask: bool = True,
) -> tuple[Share, ...]:
    """Return month by month which block is worked on, then what is never reached.

    Months come in order; in each the most urgent block that is open goes first, and one begun earlier before all.
    A block is open when none of its zones runs in the month; one whose zones run in every month that can be worked is
    open in all where `may_ask`. A stone is done in one month: what is left of its minutes below one stone is not used.

    Parameters
    ----------
    day_min
        Minutes of work of a pair in a day. [min]
    days_n
        Days of one pair in all.
    month_days_n
        Most days of one pair in a month; 0 shuts it (frost).
    running
        Zones that run in a month.
    """
    left = {block.name: list(block.work_min) for block in blocks}
    asked = {block.name: _must_ask(block, months, month_days_n, running) for block in blocks}
    order = sorted(blocks, key=lambda one: (-one.urgency, one.name))
    made: list[Share] = []
    budget_min, begun = days_n * day_min, set[str]()
    for month in months:
        room_min = min(month_days_n.get(month, 0.0) * day_min, budget_min)
        # stable: a block begun earlier is finished before another is opened
        for block in sorted(order, key=lambda one: one.name not in begun):
            is_open = not (block.zones & running.get(month, frozenset())) or (may_ask and asked[block.name])
            if not is_open or not left[block.name]:
                continue
            done = _fitting(left[block.name], room_min)
            if not done:
                continue
            minutes = sum(left[block.name][:done])
            del left[block.name][:done]
            room_min, budget_min = room_min - minutes, budget_min - minutes
            begun.add(block.name)
            why = ASK if asked[block.name] else ZONES_REST
            made.append(Share(month, block.name, minutes / day_min, done, not left[block.name], why))
    return (*made, *_never(order, left, day_min, asked, can_ask=may_ask))


def _must_ask(
    block: Block,
    months: Sequence[dt.date],
    month_days_n: Mapping[dt.date, float],
    running: Mapping[dt.date, frozenset[str]],
) -> bool:
    """Say whether the zones of a block run in every month that can be worked."""
    workable = [month for month in months if month_days_n.get(month, 0.0) > 0]
    return bool(workable) and all(block.zones & running.get(month, frozenset()) for month in workable)


def _fitting(minutes: Sequence[float], room_min: float) -> int:
    """Return how many stones, from the first on, fit into the minutes that are left."""
    done, total = 0, 0.0
    for one in minutes:
        total += one
        if total > room_min + 1e-9:
            break
        done += 1
    return done


def _never(
    order: Sequence[Block],
    left: Mapping[str, list[float]],
    day_min: float,
    asked: Mapping[str, bool],
    *,
    can_ask: bool,
) -> list[Share]:
    return [
        Share(None, block.name, sum(left[block.name]) / day_min, len(left[block.name]), False,
              NO_MONTH if asked[block.name] and not can_ask else BUDGET_SPENT)
        for block in order
        if left[block.name]
    ]  # fmt: skip
