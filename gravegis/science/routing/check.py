"""Whether a day plan keeps every rule, tested again from the raw data (nothing of the solver is used)."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from gravegis.science.routing.check_crew import Violation, crew_day
from gravegis.science.routing.check_led import led_reasons, led_rules, may_go
from gravegis.science.routing.check_reasons import true_reasons
from gravegis.science.routing.model import Reason

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from gravegis.science.routing.model import Crew, DayPlan, LedRules, Refill, Stop, WalkTable

__all__ = ["Violation", "check_plan"]


def check_plan(
    plan: DayPlan, stops: Sequence[Stop], crews: Sequence[Crew], walk: WalkTable, refills: Sequence[Refill] = (),
    *, led: LedRules | None = None,
) -> list[Violation]:  # fmt: skip
    """Return every rule the plan breaks; an empty list means that these rules hold.

    Checked: each stop exactly once, planned or left out with a true reason; each crew one day; skills; shift; work
    and walking times not cut short; soaks neither too short nor too long; how many stones soak at a time and how far
    apart; windows; water and cleaner carried, filled up only where it is fit; breaks; start and end at the base;
    nothing out of reach. With `led` also: each leader has one post and sees every stone of
    the crews from it, and there are trained people enough for the novices who are out. Not checked: whether a better
    plan exists, and whether the input is true.
    """
    by_stop = {stop.stop_id: stop for stop in stops}
    by_crew = {crew.crew_id: crew for crew in crews}
    found = [*_each_stop_once(plan, by_stop), *_each_crew_once(plan, by_crew)]
    for day in plan.days:
        if day.crew_id in by_crew:
            found.extend(crew_day(day, by_crew[day.crew_id], by_stop, walk, {one.refill_id: one for one in refills}))
    if led is not None:
        found.extend(led_rules(plan, by_stop, crews, led))
    found.extend(_reasons_hold(plan, stops, crews, (walk, refills), led))
    return found


def _each_stop_once(plan: DayPlan, by_stop: Mapping[str, Stop]) -> Iterator[Violation]:
    firsts = Counter(op.ref for day in plan.days for op in day.ops if op.kind in {"work", "apply"})
    scrubs = Counter(op.ref for day in plan.days for op in day.ops if op.kind == "scrub")
    count = firsts | scrubs  # the two parts of one visit count once
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


def _reasons_hold(
    plan: DayPlan, stops: Sequence[Stop], crews: Sequence[Crew], ways: tuple[WalkTable, Sequence[Refill]],
    led: LedRules | None,
) -> Iterator[Violation]:  # fmt: skip
    by_stop = {stop.stop_id: stop for stop in stops}
    for left in plan.unplanned:
        stop = by_stop.get(left.stop_id)
        if stop is None:
            continue
        true = true_reasons(stop, crews, *ways)
        if led is not None:
            # only who may go there can be short of time; what bars everybody stays true
            may = may_go(plan, stop, crews, led)
            mine = true_reasons(stop, may, *ways) if may else set()
            true = (true - {Reason.NO_TIME_LEFT}) | mine | led_reasons(plan, stop, crews, led)
        if left.reason not in true:
            names = " or ".join(sorted(reason.name for reason in true))
            yield Violation("reason", left.stop_id, f"said {left.reason.name}, found {names}")
