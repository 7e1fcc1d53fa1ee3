"""Which reasons for leaving a stop out are true, worked out from the raw data alone."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from gravegis.science.routing.model import Reason

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gravegis.science.routing.model import Break, Crew, Refill, Stop, WalkTable

__all__ = ["could_do_alone", "true_reasons"]

# A plan in whole seconds may round up two walks, both parts of the work, the soak and both ends of the shift.
ROUNDING_S = 8.0
SLACKS_S = (0.0, 1.0, ROUNDING_S / 2)
"""At the seconds between them rounding may decide: what holds for one of them is taken as true there."""


def true_reasons(
    stop: Stop, crews: Sequence[Crew], walk: WalkTable, refills: Sequence[Refill] = ()
) -> set[Reason]:  # fmt: skip
    """Return every reason that may truly be said of a stop left out."""
    if not crews:
        return {Reason.NO_CREW}
    able = [crew for crew in crews if not stop.skill or stop.skill in crew.skills]
    if not able:
        return {Reason.NO_CREW_WITH_SKILL}
    near = [crew for crew in able if math.isfinite(_walk(stop, crew, walk))]
    if not near:
        return {Reason.UNREACHABLE}
    if not (wet := [crew for crew in near if crew.water_l >= stop.carry_l]):
        return {Reason.NEEDS_MORE_WATER_THAN_CARRIED}
    if not (able := [crew for crew in wet if crew.cleaner_l >= stop.cleaner_l]):
        return {Reason.NEEDS_MORE_CLEANER_THAN_CARRIED}
    full = [crew for crew in able if crew.water_l >= stop.water_l]
    reasons = _of_time(stop, able, walk) | (_of_time(stop, full, walk) if full else {Reason.NO_REFILL})
    if Reason.NO_TIME_LEFT in reasons:
        reasons |= _out_of_litres(stop, able, walk, refills)
    return reasons


def _out_of_litres(stop: Stop, able: Sequence[Crew], walk: WalkTable, refills: Sequence[Refill]) -> set[Reason]:
    """Return what a crew may run out of because it reaches no place that keeps it."""
    reasons = set[Reason]()
    for crew in able:
        near = [
            one for one in refills
            if math.isfinite(walk.seconds[crew.start_place, one.place] + walk.seconds[one.place, crew.end_place])
        ]  # fmt: skip
        if stop.water_l > 0 and crew.water_l < math.inf and not any(one.water for one in near):
            reasons.add(Reason.NO_REFILL)
        if stop.cleaner_l > 0 and crew.cleaner_l < math.inf and not any(one.cleaner for one in near):
            reasons.add(Reason.NO_CLEANER_LEFT)
    return reasons


def could_do_alone(stop: Stop, crew: Crew, walk: WalkTable) -> bool:
    """Return whether a crew with nothing else to do has skill, way, litres and time for a stop, by some seconds."""
    has_it = not stop.skill or stop.skill in crew.skills
    holds = crew.water_l >= stop.water_l and crew.cleaner_l >= stop.cleaner_l
    return has_it and holds and all(_alone(stop, crew, walk, slack_s) for slack_s in SLACKS_S)


def _walk(stop: Stop, crew: Crew, walk: WalkTable) -> float:
    there, back = walk.seconds[crew.start_place, stop.place], walk.seconds[stop.place, crew.end_place]
    return float(there + back) * crew.pace_factor


def _takes(stop: Stop, crew: Crew) -> float:
    return stop.service_s * crew.work_factor + (stop.soak_min_s if stop.soaks else 0.0)


def _of_time(stop: Stop, able: Sequence[Crew], walk: WalkTable) -> set[Reason]:
    fits = [[_alone(stop, crew, walk, slack_s) for slack_s in SLACKS_S] for crew in able]
    reasons = {Reason.NO_TIME_LEFT} if any(map(any, fits)) else set()
    if any(map(all, fits)):
        return reasons
    spare_s = max(
        crew.shift_to_s - crew.shift_from_s - _walk(stop, crew, walk) - _takes(stop, crew) for crew in able
    )  # fmt: skip
    if stop.windows is None or spare_s < ROUNDING_S:
        reasons.add(Reason.JOB_LONGER_THAN_SHIFT)
    if stop.windows is not None:
        shortest_s = min(_takes(stop, crew) for crew in able)
        if stop.windows and all(high - low < shortest_s + ROUNDING_S for low, high in stop.windows):
            reasons.add(Reason.WINDOW_TOO_SHORT)
        reasons.add(Reason.WINDOW_OUTSIDE_SHIFT)
    return reasons


def _alone(stop: Stop, crew: Crew, walk: WalkTable, slack_s: float) -> bool:
    """Return whether a crew gets the stop done if it does nothing else, with so much time to spare at each end.

    A break is taken as soon as its time has come, or before what would last beyond its latest start.
    """
    due, clock_s = list(crew.breaks), crew.shift_from_s + slack_s
    out_s = float(walk.seconds[crew.start_place, stop.place]) * crew.pace_factor
    back_s = float(walk.seconds[stop.place, crew.end_place]) * crew.pace_factor
    first_s = (stop.apply_s if stop.soaks else stop.service_s) * crew.work_factor
    scrub_s = (stop.service_s - stop.apply_s) * crew.work_factor if stop.soaks else 0.0
    clock_s = _rested(due, clock_s, _begin(stop, crew, clock_s + out_s, slack_s) + first_s - clock_s)
    wet_s = _begin(stop, crew, clock_s + out_s, slack_s) + first_s
    clock_s = wet_s
    if stop.soaks:
        ready_s = wet_s + stop.soak_min_s
        clock_s = _rested(due, clock_s, max(clock_s, ready_s) + scrub_s - clock_s)
        begin_s = max(clock_s, ready_s)
        clock_s = begin_s + scrub_s
        in_window = stop.windows is None or any(
            low <= wet_s - first_s and clock_s + slack_s <= high for low, high in stop.windows
        )
        if begin_s > wet_s + stop.soak_max_s - slack_s or not in_window:
            return False
    while due and clock_s + back_s > due[0].latest_s:
        clock_s = _rested(due, clock_s, back_s)
    return clock_s + back_s + slack_s <= crew.shift_to_s


def _begin(stop: Stop, crew: Crew, arrive_s: float, slack_s: float) -> float:
    """Return when work begins in the first window that still holds all of it; inf without one."""
    if stop.windows is None:
        return arrive_s
    takes_s = _takes(stop, crew) + slack_s
    return min(
        (max(low, arrive_s) for low, high in stop.windows if max(low, arrive_s) + takes_s <= high), default=math.inf
    )


def _rested(due: list[Break], clock_s: float, busy_s: float) -> float:
    """Return the time after the breaks that come before something that long; those taken are struck off."""
    while due and not (clock_s < due[0].from_s and clock_s + busy_s <= due[0].latest_s):
        rest = due.pop(0)
        begin_s = max(clock_s, rest.from_s)
        clock_s = begin_s + rest.length_s if begin_s <= rest.latest_s else math.inf
    return clock_s
