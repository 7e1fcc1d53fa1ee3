"""What cannot be planned, before any search: bad input stops the run, hopeless stops get a reason."""

from __future__ import annotations

import math
from collections import Counter
from typing import TYPE_CHECKING

import numpy as np

from gravegis.errors import LayerError, Problem
from gravegis.science.routing.daytable import BARRED_S, DayTable, in_words
from gravegis.science.routing.model import Reason, Unplanned
from gravegis.science.routing.timeline import clock, whole_s

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from gravegis.science.routing.model import Crew, Stop
    from gravegis.science.routing.walking import WalkMatrix

__all__ = ["hopeless", "validate"]

SHOWN = 20  # so many bad pairs of a matrix are named


def validate(stops: Sequence[Stop], crews: Sequence[Crew], walk: WalkMatrix) -> None:
    """Raise one LayerError that names every stop, crew and pair of places with an impossible value."""
    n = len(walk.seconds)
    problems = [*_repeated(stops, crews)]
    for stop in stops:
        problems.extend(_stop_problems(stop, n))
    for crew in crews:
        problems.extend(_crew_problems(crew, n))
    problems.extend(_walk_problems(stops, walk))
    if problems:
        raise LayerError.of(problems)


def _repeated(stops: Sequence[Stop], crews: Sequence[Crew]) -> Iterator[Problem]:
    names = {
        "stops": Counter(stop.stop_id for stop in stops),
        "crews": Counter(crew.crew_id for crew in crews),
    }
    for layer, count in names.items():
        for name, times in count.items():
            if times > 1:
                yield Problem(f"The id occurs {times} times.", f"{layer}[{name}]", "Give each its own id.")


def _stop_problems(stop: Stop, n_places: int) -> Iterator[Problem]:
    where = f"stops[{stop.stop_id}]"
    times = (("service_s", stop.service_s), ("soak_min_s", stop.soak_min_s), ("apply_s", stop.apply_s))
    for name, value in (*times, ("water_l", stop.water_l), ("rinse_l", stop.rinse_l), ("cleaner_l", stop.cleaner_l)):
        if not (math.isfinite(value) and value >= 0):
            yield Problem(f"{name} is {value:g}.", where, "Give a figure, 0 or more.")
    yield from _soak_problems(stop, where)
    if stop.priority not in (1, 2, 3):
        yield Problem(f"priority is {stop.priority}.", where, "Give 1 (lowest), 2 or 3 (highest).")
    if not 0 <= stop.place < n_places:
        yield Problem(f"place {stop.place} is not among {n_places} places.", where, "Build the matrix anew.")


def _soak_problems(stop: Stop, where: str) -> Iterator[Problem]:
    if 0 <= stop.service_s < stop.apply_s:
        yield Problem(f"apply_s {stop.apply_s:g} is above service_s {stop.service_s:g}.", where, "Give a part of it.")
    if stop.rinse_l > stop.water_l:
        yield Problem(f"rinse_l {stop.rinse_l:g} is above water_l {stop.water_l:g}.", where, "Give a part of it.")
    if not stop.soak_min_s <= stop.soak_max_s < math.inf and stop.soak_min_s >= 0:
        yield Problem(f"The soak is {stop.soak_min_s:g} to {stop.soak_max_s:g} s.", where, "Give the shorter first.")
    for low, high in stop.windows or ():
        if not (math.isfinite(low) and math.isfinite(high)):  # one that closes before it opens is never open
            yield Problem(f"A window runs from {low:g} to {high:g} s.", where, "Give two times of the day.")


def _crew_problems(crew: Crew, n_places: int) -> Iterator[Problem]:
    where = f"crews[{crew.crew_id}]"
    for place in sorted({crew.start_place, crew.end_place}):
        if not 0 <= place < n_places:
            yield Problem(f"place {place} is not among {n_places} places.", where, "Build the matrix anew.")
    # `not <` also refuses a missing time
    if not -math.inf < crew.shift_from_s < crew.shift_to_s < math.inf:
        text = f"The shift runs from {crew.shift_from_s:g} to {crew.shift_to_s:g} s."
        yield Problem(text, where, "Give a start before the end.")
    for name in ("pace_factor", "work_factor"):
        if not (math.isfinite(getattr(crew, name)) and getattr(crew, name) > 0):
            yield Problem(f"{name} is {getattr(crew, name):g}.", where, "Give a figure above 0.")
    if not (crew.water_l >= 0 and crew.cleaner_l >= 0 and crew.max_open >= 1 and crew.max_open_m >= 0):
        text = f"It carries {crew.water_l:g} l and {crew.cleaner_l:g} l, {crew.max_open} stones open."
        yield Problem(text, where, "Give litres of 0 or more and at least one stone.")
    yield from _break_problems(crew, where)


def _break_problems(crew: Crew, where: str) -> Iterator[Problem]:
    for rest in crew.breaks:
        if not (-math.inf < rest.from_s <= rest.latest_s < math.inf and 0 <= rest.length_s < math.inf):
            text = f"A break begins between {rest.from_s:g} and {rest.latest_s:g} s for {rest.length_s:g} s."
            yield Problem(text, where, "Give the earlier time first.")


def _walk_problems(stops: Sequence[Stop], walk: WalkMatrix) -> Iterator[Problem]:
    names: dict[int, str] = {}
    for stop in stops:
        names[stop.place] = f"{names[stop.place]}, {stop.stop_id}" if stop.place in names else stop.stop_id
    bad = ~(walk.seconds >= 0) | ~(walk.metres >= 0)
    bad |= np.isfinite(walk.seconds) & ~np.isfinite(walk.metres)
    for i, j in np.argwhere(bad)[:SHOWN]:
        ends = " to ".join(names.get(int(k), f"place {k}") for k in (i, j))
        text = f"The walk takes {walk.seconds[i, j]:g} s over {walk.metres[i, j]:g} m."
        yield Problem(text, f"walk[{ends}]", "Give times and lengths of 0 or more.")


def hopeless(table: DayTable) -> list[Unplanned]:
    """Return the stops that no crew could do even if it did nothing else, each with its reason."""
    nobody = np.flatnonzero(~table.allowed.any(axis=0)) if table.crews else np.arange(len(table.stops))
    return [_reason(table, int(k)) for k in nobody]


def _reason(table: DayTable, k: int) -> Unplanned:
    stop = table.stops[k]
    if not table.crews:
        return Unplanned(stop.stop_id, Reason.NO_CREW, "no crew on the list")
    able = [c for c, crew in enumerate(table.crews) if not stop.skill or stop.skill in crew.skills]
    if not able:
        detail = f"skill {stop.skill!r}: none of {len(table.crews)} crews has it"
        return Unplanned(stop.stop_id, Reason.NO_CREW_WITH_SKILL, detail)
    near = [c for c in able if table.walk_s[c, k] < BARRED_S]
    if not near:
        return Unplanned(stop.stop_id, Reason.UNREACHABLE, _shut_off(table, able[0], k))
    return _out_of_litres(table, near, k)


def _out_of_litres(table: DayTable, near: list[int], k: int) -> Unplanned:
    """Say whether the cans of those who get there are too small; otherwise it is a matter of time."""
    stop = table.stops[k]
    wet = [c for c in near if table.crews[c].water_l >= stop.carry_l]
    if not wet:
        most = max(table.crews[c].water_l for c in near)
        detail = f"{stop.carry_l:g} l at a time, {most:g} l carried at most"
        return Unplanned(stop.stop_id, Reason.NEEDS_MORE_WATER_THAN_CARRIED, detail)
    able = [c for c in wet if table.crews[c].cleaner_l >= stop.cleaner_l]
    if not able:
        most = max(table.crews[c].cleaner_l for c in wet)
        detail = f"{stop.cleaner_l:g} l, {most:g} l carried at most"
        return Unplanned(stop.stop_id, Reason.NEEDS_MORE_CLEANER_THAN_CARRIED, detail)
    full = [c for c in able if table.crews[c].water_l >= stop.water_l]
    if not full:
        most = max(table.crews[c].water_l for c in able)
        detail = f"{stop.water_l:g} l, {most:g} l carried, and no place to fill up between in time"
        return Unplanned(stop.stop_id, Reason.NO_REFILL, detail)
    return _out_of_time(table, full, k)


def _out_of_time(table: DayTable, able: list[int], k: int) -> Unplanned:
    """Say whether the shift is too short for the stop, or the times it is open."""
    stop = table.stops[k]
    need = table.walk_s[able, k] + [whole_s(table.sequencers[c].tasks[k]) for c in able]
    over = need - (table.shift_s[able, 1] - table.shift_s[able, 0])
    best = int(np.argmin(over))
    name = table.crews[able[best]].crew_id
    takes = in_words(whole_s(table.sequencers[able[best]].tasks[k]))
    if over[best] > 0 or stop.windows is None:
        late = f"are {in_words(int(over[best]))} more than" if over[best] > 0 else "leave no room for the breaks in"
        walked = in_words(int(table.walk_s[able[best], k]))
        soak = " and soak" if stop.soaks else ""
        detail = f"{takes} of work{soak} and {walked} of walking {late} the shift of crew {name}"
        return Unplanned(stop.stop_id, Reason.JOB_LONGER_THAN_SHIFT, detail)
    because = f" ({stop.why})" if stop.why else ""
    longest = max((high - low for low, high in stop.windows), default=0.0)
    shortest = min(whole_s(table.sequencers[c].tasks[k]) for c in able)
    if stop.windows and longest < shortest:
        short = in_words(math.ceil(shortest - longest))
        detail = f"takes {in_words(shortest)}, open for {in_words(int(longest))} at most, {short} too short{because}"
        return Unplanned(stop.stop_id, Reason.WINDOW_TOO_SHORT, detail)
    times = " and ".join(f"{clock(low)} to {clock(high)}" for low, high in stop.windows) or "at no time"
    detail = f"takes {takes}, open {times}; crew {name} cannot be there for that{because}"
    return Unplanned(stop.stop_id, Reason.WINDOW_OUTSIDE_SHIFT, detail)


def _shut_off(table: DayTable, c: int, k: int) -> str:
    base = table.crews[c].start_place
    barrier = table.walk.shut_off_by(table.stops[k].place, base)
    if barrier is None:
        return f"no way to and from the base of crew {table.crews[c].crew_id}"
    return f"no way to and from the base of crew {table.crews[c].crew_id}; a barrier shuts it off"
