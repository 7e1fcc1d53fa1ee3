"""Zones to be asked for: from when to when they stay off around a day of work, and what a refusal shuts off."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

__all__ = ["AFTER_H", "EVENING_AT", "OffWindow", "joined", "off_window", "shut_off"]

EVENING_AT = "18:00"
"""Off from this time of the evening before, so that the ground is dry: common practice, no source."""
AFTER_H = 24.0
"""Off for so long after the last stone was treated, so that nothing is washed away: common practice, no source. [h]"""


@dataclass(frozen=True, slots=True)
class OffWindow:
    """From when to when a zone stays off, civil time of the site, and the stones it is for."""

    off_from: dt.datetime
    on_again: dt.datetime
    stones: frozenset[str]


def off_window(
    day: dt.date, last_leave: dt.time, stones: Iterable[str], *, evening_at: dt.time, after_h: float
) -> OffWindow:
    """Return the time a zone stays off for one day of work: the evening before until some hours after the last stone.

    `after_h` is 0 where stones are looked at only: people still must not stand in the spray. [h]
    """
    start = dt.datetime.combine(day - dt.timedelta(days=1), evening_at)
    end = dt.datetime.combine(day, last_leave) + dt.timedelta(hours=after_h)
    return OffWindow(start, end, frozenset(stones))


def joined(windows: Iterable[OffWindow]) -> tuple[OffWindow, ...]:
    """Return the windows of one zone in order, those that meet or overlap as one."""
    made: list[OffWindow] = []
    for one in sorted(windows, key=lambda window: (window.off_from, window.on_again)):
        if made and one.off_from <= made[-1].on_again:
            last = made.pop()
            one = OffWindow(last.off_from, max(last.on_again, one.on_again), last.stones | one.stones)
        made.append(one)
    return tuple(made)


def shut_off(links: Iterable[tuple[str, str]], refused: Mapping[str, str]) -> dict[str, str]:
    """Return the stones that a refused zone reaches, each with the reason in words.

    Parameters
    ----------
    links
        Pairs of stone and zone that reaches it.
    refused
        Zone -> what was said to it, such as ``letter 12``; may be empty.
    """
    zones_of: dict[str, set[str]] = {}
    for stone, zone in links:
        if zone in refused:
            zones_of.setdefault(stone, set()).add(zone)
    return {stone: _why(sorted(zones), refused) for stone, zones in sorted(zones_of.items())}


def _why(zones: list[str], refused: Mapping[str, str]) -> str:
    said = [f"{zone} ({refused[zone]})" if refused[zone] else zone for zone in zones]
    many = len(zones) > 1
    return (
        f"zone{'s' * many} {', '.join(said)} reach{'' if many else 'es'} it and {'stay' if many else 'stays'} on: "
        f"{'they were' if many else 'it was'} asked for off and refused"
    )
