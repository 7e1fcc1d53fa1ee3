"""Whether a day plan keeps every rule, tested again from the raw data (nothing of the solver is used)."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING

from gravegis.science.routing.model import Reason

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from gravegis.science.routing.model import Crew, CrewDay, DayPlan, Stop, Unplanned, WalkTable

__all__ = ["Violation", "check_plan"]

TOLERANCE_S = 1e-3
TOLERANCE_M = 1e-3
# A plan in whole seconds may round up two walks, the work and both ends of the shift.
ROUNDING_S = 5.0


@dataclass(frozen=True, slots=True)
class Violation:
    """A broken rule: its name, the stop or crew it concerns, and the figures."""

    rule: str
    who: str
    detail: str


def check_plan(plan: DayPlan, stops: Sequence[Stop], crews: Sequence[Crew], walk: WalkTable) -> list[Violation]:
    """Return every rule the plan breaks; an empty list means that these rules hold.

    Checked: each stop exactly once, planned or left out with a true reason; each crew one day; skills;
    shift; work and walking times not cut short; start and end at the base; nothing out of reach.
    Not checked: whether a better plan exists, and whether the input is true.
    """
    by_stop = {stop.stop_id: stop for stop in stops}
    by_crew = {crew.crew_id: crew for crew in crews}
    found = [*_each_stop_once(plan, by_stop), *_each_crew_once(plan, by_crew)]
    for day in plan.days:
        if day.crew_id in by_crew:
            found.extend(_crew_day(day, by_crew[day.crew_id], by_stop, walk))
    for left in plan.unplanned:
        if left.stop_id in by_stop:
            found.extend(_reason_holds(left, by_stop[left.stop_id], crews, walk))
    return found


def _each_stop_once(plan: DayPlan, by_stop: Mapping[str, Stop]) -> Iterator[Violation]:
    count = Counter(visit.stop_id for day in plan.days for visit in day.visits)
    count.update(left.stop_id for left in plan.unplanned)
    for stop_id in by_stop:
        if count[stop_id] == 0:
            yield Violation("stop missing", stop_id, "neither planned nor left out")
        elif count[stop_id] > 1:
            yield Violation("stop twice", stop_id, f"occurs {count[stop_id]} times")
    for stop_id in count:
        if stop_id not in by_stop:
            yield Violation("stop unknown", stop_id, "is not on the list of stops")


def _each_crew_once(plan: DayPlan, by_crew: Mapping[str, Crew]) -> Iterator[Violation]:
    count = Counter(day.crew_id for day in plan.days)
    for crew_id in by_crew:
        if count[crew_id] != 1:
            yield Violation("crew day", crew_id, f"has {count[crew_id]} days instead of one")
    for crew_id in count:
        if crew_id not in by_crew:
            yield Violation("crew unknown", crew_id, "is not on the list of crews")


def _crew_day(day: CrewDay, crew: Crew, by_stop: Mapping[str, Stop], walk: WalkTable) -> Iterator[Violation]:
    place, clock = crew.start_place, day.leave_base_s
    walk_s = walk_m = 0.0
    if not day.leave_base_s >= crew.shift_from_s - TOLERANCE_S:
        yield Violation("leaves early", crew.crew_id, f"at {day.leave_base_s:g} s")
    for visit in day.visits:
        stop = by_stop.get(visit.stop_id)
        if stop is None:
            return
        if stop.skill and stop.skill not in crew.skills:
            yield Violation("skill", visit.stop_id, f"crew {crew.crew_id} lacks {stop.skill!r}")
        hop_s = float(walk.seconds[place, stop.place]) * crew.pace_factor
        if not visit.arrive_s >= clock + hop_s - TOLERANCE_S:
            yield Violation("walk too short", visit.stop_id, f"{visit.arrive_s - clock:g} s for {hop_s:g} s")
        if not visit.leave_s >= visit.arrive_s + stop.service_s - TOLERANCE_S:
            stay_s = visit.leave_s - visit.arrive_s
            yield Violation("work cut short", visit.stop_id, f"{stay_s:g} s for {stop.service_s:g} s")
        walk_s, walk_m = walk_s + hop_s, walk_m + float(walk.metres[place, stop.place])
        place, clock = stop.place, visit.leave_s
    if day.visits:
        hop_s = float(walk.seconds[place, crew.end_place]) * crew.pace_factor
        walk_s, walk_m = walk_s + hop_s, walk_m + float(walk.metres[place, crew.end_place])
        clock += hop_s
    yield from _end_of_day(day, crew, clock, walk_s, walk_m)


def _end_of_day(day: CrewDay, crew: Crew, due_s: float, walk_s: float, walk_m: float) -> Iterator[Violation]:
    if not day.back_at_base_s >= due_s - TOLERANCE_S:
        yield Violation("way back too short", crew.crew_id, f"back at {day.back_at_base_s:g}, due {due_s:g} s")
    if not day.back_at_base_s <= crew.shift_to_s + TOLERANCE_S:
        late_s = day.back_at_base_s - crew.shift_to_s
        yield Violation("back late", crew.crew_id, f"{late_s / 60:.1f} min after the end of the shift")
    if not day.walk_s >= walk_s - TOLERANCE_S:
        yield Violation("walking time", crew.crew_id, f"{day.walk_s:g} s said, {walk_s:g} s needed")
    if not abs(day.walk_m - walk_m) <= TOLERANCE_M:
        yield Violation("walking length", crew.crew_id, f"{day.walk_m:g} m said, {walk_m:g} m walked")


def _reason_holds(left: Unplanned, stop: Stop, crews: Sequence[Crew], walk: WalkTable) -> Iterator[Violation]:
    true = _true_reasons(stop, crews, walk)
    if left.reason not in true:
        names = " or ".join(sorted(reason.name for reason in true))
        yield Violation("reason", left.stop_id, f"said {left.reason.name}, found {names}")


def _true_reasons(stop: Stop, crews: Sequence[Crew], walk: WalkTable) -> set[Reason]:
    if not crews:
        return {Reason.NO_CREW}
    able = [crew for crew in crews if not stop.skill or stop.skill in crew.skills]
    if not able:
        return {Reason.NO_CREW_WITH_SKILL}
    over_s = min(
        (walk.seconds[crew.start_place, stop.place] + walk.seconds[stop.place, crew.end_place]) * crew.pace_factor
        + stop.service_s
        - (crew.shift_to_s - crew.shift_from_s)
        for crew in able
    )
    if over_s == float("inf"):
        return {Reason.UNREACHABLE}
    reasons = {Reason.JOB_LONGER_THAN_SHIFT} if over_s > -ROUNDING_S else set()
    return reasons | ({Reason.NO_TIME_LEFT} if over_s <= 0 else set())
