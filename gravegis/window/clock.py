"""When zones run on one day, and what clashes with it: the crews that would stand in the spray. Knows no Qt."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from gravegis.outputs import words
from gravegis.science.irrigation import schedule

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gravegis.site import Site

__all__ = ["DAY_MIN", "Clash", "Day", "Span", "day_of", "first_day", "spraying"]

DAY_MIN = 1440
HOT_FROM_MIN, HOT_TO_MIN = 660, 1140
"""11 to 19 h: hours in which runs often go unseen and faces are hot (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Span:
    """One zone runs, minutes of the civil day."""

    zone_id: str
    from_min: float
    to_min: float


@dataclass(frozen=True, slots=True)
class Clash:
    """Something that does not go together: when, which zone, a word for what, and the stone or crew it is about."""

    at_min: float
    zone_id: str
    what: str
    about: str = ""


@dataclass(frozen=True, slots=True)
class Day:
    """One day of the clock: zones in order, when they run, what clashes, lines that cannot be read."""

    day: dt.date
    zones: tuple[str, ...]
    spans: tuple[Span, ...]
    clashes: tuple[Clash, ...]
    unread: tuple[str, ...]


def first_day(site: Site, today: dt.date) -> dt.date:
    """Return the day to show first: the first day of the plan, else today."""
    days = sorted(str(one) for one in site["stops"]["day"].dropna()) if site.has("stops", "day") else []
    try:
        return dt.date.fromisoformat(days[0]) if days else today
    except ValueError:
        return today


def day_of(site: Site, day: dt.date) -> Day:
    """Return the runs of one civil day and what they clash with."""
    lines, unread = schedule.program_lines(words.records(site, "schedules"))
    spans: tuple[Span, ...] = ()
    if lines:
        found = schedule.expand(lines, day, day, site.info.time_zone)
        zone = ZoneInfo(site.info.time_zone) if site.info.time_zone else None
        spans = tuple(
            Span(str(name), _minute(int(start), zone), _minute(int(end), zone) or DAY_MIN)
            for name, start, end in zip(found.zone, found.start_s, found.end_s, strict=True)
        )
    known = {str(one) for one in site["zones"]["zone_id"]} if "zones" in site else set()
    zones = sorted(known | {one.zone_id for one in spans}, key=words.in_order)
    clashes = tuple(sorted((*_crews(site, day, spans), *_hot(spans)), key=lambda one: one.at_min))
    return Day(day, tuple(zones), spans, clashes, tuple(f"{one.zone_id}: {one.words}" for one in unread))


def spraying(day: Day, minute: float | None) -> tuple[str, ...]:
    """Return the zones that run at a minute of the day; none where no minute is chosen."""
    if minute is None:
        return ()
    return tuple(dict.fromkeys(one.zone_id for one in day.spans if one.from_min <= minute < one.to_min))


def _minute(utc_s: int, zone: ZoneInfo | None) -> float:
    """Return the minute of the civil day of an instant (of civil time where no zone is known)."""
    at = dt.datetime.fromtimestamp(utc_s, tz=dt.UTC)
    at = at.astimezone(zone) if zone is not None else at
    return at.hour * 60 + at.minute + at.second / 60


def civil_min(text: object) -> float | None:
    """Return the minute of a civil time such as ``08:15``; None for anything else."""
    parts = str(text or "").split(":")
    if len(parts) < 2 or not all(one.isdigit() for one in parts[:2]):
        return None
    return int(parts[0]) * 60.0 + int(parts[1])


def _crews(site: Site, day: dt.date, spans: tuple[Span, ...]) -> Iterator[Clash]:
    """Give every stop at a stone that a zone reaches while that zone runs."""
    if not (site.has("stops") and site.has("wetting_links") and spans):
        return
    links = site["wetting_links"]
    reach: dict[str, set[str]] = {}
    for stone, zone in zip(links["stone_id"], links["zone_id"].astype("object"), strict=True):
        reach.setdefault(str(stone), set()).add(str(zone))
    for stop in words.records(site, "stops"):
        arrive, leave = civil_min(stop["arrive_at"]), civil_min(stop["leave_at"])
        if (stop["day"] and str(stop["day"]) != day.isoformat()) or arrive is None or leave is None:
            continue
        for one in spans:
            if one.zone_id in reach.get(str(stop["stone_id"]), ()) and one.from_min < leave and one.to_min > arrive:
                yield Clash(max(one.from_min, arrive), one.zone_id, "crew", f"{stop['crew_id']} {stop['stone_id']}")


def _hot(spans: tuple[Span, ...]) -> Iterator[Clash]:
    """Give every run in the hot hours: by the time of day alone, no temperature is worked out here."""
    for one in spans:
        if one.from_min < HOT_TO_MIN and one.to_min > HOT_FROM_MIN:
            yield Clash(max(one.from_min, HOT_FROM_MIN), one.zone_id, "hot")
