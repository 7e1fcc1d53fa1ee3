"""When a stone may be worked on: not hot, no zone running or ground wet from it, no closure."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, NamedTuple

from gravegis.analyses.routes.closed import DAY_S, closed
from gravegis.layers.care import seconds_of
from gravegis.science.irrigation.schedule import expand, program_lines

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from zoneinfo import ZoneInfo

    from gravegis.analyses.routes.settings import RouteSettings
    from gravegis.layers.canonical import Frame
    from gravegis.site import Site


class Shut(NamedTuple):
    """A span of the day in which a stone is not worked on, and why."""

    from_s: float
    to_s: float
    why: str


def shut_times(site: Site, todo: Frame, day: str, settings: RouteSettings) -> dict[str, list[Shut]]:
    """Return for each stone to do when it is not worked on, in seconds of the civil day."""
    found: dict[str, list[Shut]] = {str(stone_id): [] for stone_id in todo["stone_id"]}
    for stone_id, shut in (*_hot(todo), *(_of_day(site, todo, day, settings) if day else ())):
        if stone_id in found and shut.to_s > shut.from_s:
            found[stone_id].append(shut)
    return found


def _of_day(site: Site, todo: Frame, day: str, settings: RouteSettings) -> Iterator[tuple[str, Shut]]:
    for one in closed(site, todo, day):
        for stone_id in one.stones:
            yield stone_id, Shut(one.from_s, one.to_s, one.kind)
    running = zone_runs(site, day)
    wet_s = settings.wet_ground_min * 60
    for stone_id, zones in zones_of(site).items():
        for zone in zones:
            for start, end in running.get(zone, ()):
                yield stone_id, Shut(start, end + wet_s, f"zone {zone} runs or its ground is wet")


def _hot(todo: Frame) -> Iterator[tuple[str, Shut]]:
    if not {"not_from", "not_to"} <= set(todo.columns):
        return
    for stone_id, low, high in zip(todo["stone_id"], todo["not_from"], todo["not_to"], strict=True):
        if isinstance(low, str) and isinstance(high, str):
            from_s, to_s = seconds_of(low), seconds_of(high)
            # hot over midnight: hot to the end of the day and from its start
            spans = ((from_s, to_s),) if from_s < to_s else ((from_s, DAY_S), (0.0, to_s))
            for span in spans:
                yield str(stone_id), Shut(*span, f"hot from {low[:5]} to {high[:5]}")


def zones_of(site: Site) -> dict[str, set[str]]:
    """Return the zones whose heads reach each stone."""
    found: dict[str, set[str]] = {}
    if site.has("wetting_links"):
        links = site["wetting_links"]
        for stone_id, zone in zip(links["stone_id"], links.get("zone_id", [None] * len(links)), strict=True):
            if isinstance(zone, str) and zone:
                found.setdefault(str(stone_id), set()).add(zone)
    return found


def zone_runs(site: Site, day: str) -> dict[str, list[tuple[float, float]]]:
    """Return when each zone runs on a day, and on the night before until then, in seconds of the civil day."""
    from zoneinfo import ZoneInfo

    if not site.has("schedules"):
        return {}
    rows = site["schedules"].astype(object)
    table = [
        {str(key): value for key, value in row.items()} for row in rows.where(rows.notna(), None).to_dict("records")
    ]
    lines, _ = program_lines(table)
    today = dt.date.fromisoformat(day)
    zone = ZoneInfo(site.info.time_zone) if site.info.time_zone else None
    found: dict[str, list[tuple[float, float]]] = {}
    runs = expand(lines, today - dt.timedelta(days=1), today, site.info.time_zone or "")
    for name, start, end in zip(runs.zone, runs.start_s, runs.end_s, strict=True):
        from_s = _civil_s(int(start), today, zone)
        # when the clocks go back the end has an earlier name than it lasts: dry no sooner than by either reckoning
        to_s = max(_civil_s(int(end), today, zone), from_s + int(end) - int(start))
        found.setdefault(str(name), []).append((from_s, to_s))
    return found


def _civil_s(instant_s: int, today: dt.date, zone: ZoneInfo | None) -> float:
    at = dt.datetime.fromtimestamp(instant_s, dt.UTC)
    civil = at.astimezone(zone) if zone is not None else at
    return (civil.replace(tzinfo=None) - dt.datetime.combine(today, dt.time())).total_seconds()


def open_windows(shut: Iterable[Shut]) -> tuple[tuple[float, float], ...] | None:
    """Return when a stone is open: what the shut times leave of the day; None where nothing shuts it."""
    spans = sorted((one.from_s, one.to_s) for one in shut)
    if not spans:
        return None
    open_, at = [], 0.0
    for low, high in spans:
        if low > at:
            open_.append((at, low))
        at = max(at, high)
    if at < DAY_S:
        open_.append((at, DAY_S))
    return tuple(open_)


def why_shut(shut: Iterable[Shut]) -> str:
    """Return what shuts a stone at times, in words."""
    return "; ".join(sorted({f"{one.why}" for one in shut}))
