"""Which reasons for leaving a stop out are true, worked out from the raw data alone."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from gravegis.science.routing.model import Reason

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gravegis.science.routing.model import Crew, Refill, Stop, WalkTable

__all__ = ["true_reasons"]

# A plan in whole seconds may round up two walks, both parts of the work, the soak and both ends of the shift.
ROUNDING_S = 8.0


def true_reasons(
    stop: Stop, crews: Sequence[Crew], walk: WalkTable, refills: Sequence[Refill] = ()
) -> set[Reason]:  # fmt: skip
    """Return every reason that may truly be said of a stop left out; a break may be why even a short job never fits."""
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


def _walk(stop: Stop, crew: Crew, walk: WalkTable) -> float:
    there, back = walk.seconds[crew.start_place, stop.place], walk.seconds[stop.place, crew.end_place]
    return float(there + back) * crew.pace_factor


def _takes(stop: Stop, crew: Crew) -> float:
    return stop.service_s * crew.work_factor + (stop.soak_min_s if stop.soaks else 0.0)


def _of_time(stop: Stop, able: Sequence[Crew], walk: WalkTable) -> set[Reason]:
    spare = [
        crew.shift_to_s - crew.shift_from_s - _walk(stop, crew, walk) - _takes(stop, crew) for crew in able
    ]  # fmt: skip
    rest_s = max((math.fsum(one.length_s for one in crew.breaks) for crew in able), default=0.0)
    reasons = {Reason.NO_TIME_LEFT} if max(spare) >= 0 else set()
    if max(spare) < ROUNDING_S or (rest_s and stop.windows is None):
        reasons.add(Reason.JOB_LONGER_THAN_SHIFT)
    if stop.windows is not None:
        shortest = min(_takes(stop, crew) for crew in able)
        if all(high - low < shortest + ROUNDING_S for low, high in stop.windows) and stop.windows:
            reasons.add(Reason.WINDOW_TOO_SHORT)
        if rest_s or not any(_reached(stop, crew, walk) for crew in able):
            reasons.add(Reason.WINDOW_OUTSIDE_SHIFT)
        if not any(_reached(stop, crew, walk, slack_s=0.0) for crew in able):
            reasons.discard(Reason.NO_TIME_LEFT)
    return reasons


def _reached(stop: Stop, crew: Crew, walk: WalkTable, *, slack_s: float = ROUNDING_S) -> bool:
    """Return whether the crew could do the stop alone in one of its windows, with some seconds to spare."""
    out_s = float(walk.seconds[crew.start_place, stop.place]) * crew.pace_factor
    back_s = float(walk.seconds[stop.place, crew.end_place]) * crew.pace_factor
    takes = _takes(stop, crew)
    for low, high in stop.windows or ():
        begin = max(low, crew.shift_from_s + out_s)
        if begin + takes + slack_s <= high and begin + takes + back_s + slack_s <= crew.shift_to_s:
            return True
    return False
