"""What cannot be planned, before any search: bad input stops the run, hopeless stops get a reason."""

from __future__ import annotations

import math
from collections import Counter
from typing import TYPE_CHECKING

import numpy as np

from gravegis.errors import LayerError, Problem
from gravegis.science.routing.daytable import BARRED_S, DayTable, in_words
from gravegis.science.routing.model import Reason, Unplanned

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
    if not (math.isfinite(stop.service_s) and stop.service_s >= 0):
        yield Problem(f"service_s is {stop.service_s:g}.", where, "Give the working time, 0 or more.")
    if stop.priority not in (1, 2, 3):
        yield Problem(f"priority is {stop.priority}.", where, "Give 1 (lowest), 2 or 3 (highest).")
    if not 0 <= stop.place < n_places:
        yield Problem(f"place {stop.place} is not among {n_places} places.", where, "Build the matrix anew.")


def _crew_problems(crew: Crew, n_places: int) -> Iterator[Problem]:
    where = f"crews[{crew.crew_id}]"
    for place in sorted({crew.start_place, crew.end_place}):
        if not 0 <= place < n_places:
            yield Problem(f"place {place} is not among {n_places} places.", where, "Build the matrix anew.")
    # `not <` also refuses a missing time
    if not -math.inf < crew.shift_from_s < crew.shift_to_s < math.inf:
        text = f"The shift runs from {crew.shift_from_s:g} to {crew.shift_to_s:g} s."
        yield Problem(text, where, "Give a start before the end.")
    if not (math.isfinite(crew.pace_factor) and crew.pace_factor > 0):
        yield Problem(f"pace_factor is {crew.pace_factor:g}.", where, "Give a figure above 0.")


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
    need = table.walk_s[near, k] + table.service_s[k]
    over = need - (table.shift_s[near, 1] - table.shift_s[near, 0])
    best = int(np.argmin(over))
    detail = (
        f"{in_words(int(table.service_s[k]))} of work and {in_words(int(table.walk_s[near[best], k]))} of "
        f"walking are {in_words(int(over[best]))} more than the shift of crew {table.crews[near[best]].crew_id}"
    )
    return Unplanned(stop.stop_id, Reason.JOB_LONGER_THAN_SHIFT, detail)


def _shut_off(table: DayTable, c: int, k: int) -> str:
    base = table.crews[c].start_place
    barrier = table.walk.shut_off_by(table.stops[k].place, base)
    if barrier is None:
        return f"no way to and from the base of crew {table.crews[c].crew_id}"
    return f"no way to and from the base of crew {table.crews[c].crew_id}; a barrier shuts it off"
