"""Each planted fault is found, by name, and by nothing but its name."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from gravegis.science.routing.check import check_plan
from gravegis.science.routing.model import (
    Crew,
    CrewDay,
    DayPlan,
    Op,
    Provenance,
    Reason,
    Stop,
    Unplanned,
    Visit,
)
from gravegis.science.routing.walking import WalkMatrix

if TYPE_CHECKING:
    from collections.abc import Callable

# A line of places 100 m apart at one second a metre; place 4 cannot be reached.
X = np.arange(5) * 100.0
METRES = np.abs(X[:, None] - X)
METRES[4, :4] = METRES[:4, 4] = math.inf
WALK = WalkMatrix.from_times(METRES, METRES)
STOPS = [
    Stop("a", 1, 50),
    Stop("b", 2, 50, skill="lead letters"),
    Stop("c", 3, 50),
    Stop("far", 4, 50),
    Stop("big", 1, 5000),
    Stop("gilt", 1, 50, skill="gilding"),
]
CREWS = [
    Crew("one", 0, 0, 1000, 1600, frozenset({"lead letters"})),
    Crew("two", 0, 3, 1000, 1600, pace_factor=1.5),
]
MADE = Provenance("by hand", "", 0, 0, "no search")


def work(*visits: Visit) -> tuple[Op, ...]:
    """Return each visit as work begun on arrival, at the place of its stop."""
    place = {stop.stop_id: stop.place for stop in STOPS}
    return tuple(Op("work", one.stop_id, place.get(one.stop_id, 2), one.arrive_s, one.arrive_s, one.leave_s)
                 for one in visits)  # fmt: skip


def by_hand() -> DayPlan:
    """Return a plan worked out by hand: crew one does a and b, crew two goes to c and ends there."""
    one = CrewDay("one", work(Visit("a", 1100, 1150), Visit("b", 1250, 1300)), 400, 400, 1000, 1500)
    two = CrewDay("two", work(Visit("c", 1450, 1500)), 300, 450, 1000, 1500)
    left = (
        Unplanned("big", Reason.JOB_LONGER_THAN_SHIFT, ""),
        Unplanned("far", Reason.UNREACHABLE, ""),
        Unplanned("gilt", Reason.NO_CREW_WITH_SKILL, ""),
    )
    return DayPlan((one, two), left, MADE)


def broken(plan: DayPlan, stops: list[Stop] = STOPS, crews: list[Crew] = CREWS) -> list[tuple[str, str]]:
    return [(item.rule, item.who) for item in check_plan(plan, stops, crews, WALK)]


def first_day(**changed: Any) -> DayPlan:
    plan = by_hand()
    return replace(plan, days=(replace(plan.days[0], **changed), plan.days[1]))


def visits(*found: Visit) -> DayPlan:
    return first_day(ops=work(*found))


def test_a_plan_made_by_hand_keeps_every_rule() -> None:
    assert broken(by_hand()) == []


A, B = by_hand().days[0].visits


@pytest.mark.parametrize(("fault", "expected"), [
    (lambda: visits(A), [("stop missing", "b"), ("walking length", "one")]),
    (lambda: visits(A, B, replace(B, arrive_s=1300, leave_s=1350)),
     [("stop twice", "b"), ("way back too short", "one")]),
    (lambda: visits(A, B, Visit("ghost", 1300, 1300)), [("stop unknown", "ghost")]),
    (lambda: visits(A, replace(B, arrive_s=1249)), [("walk too short", "b")]),
    (lambda: visits(replace(A, arrive_s=1099, leave_s=1149), B), [("walk too short", "a")]),
    (lambda: visits(A, replace(B, leave_s=1299)), [("work cut short", "b")]),
    (lambda: visits(A, replace(B, arrive_s=math.nan)), [("walk too short", "b"), ("work cut short", "b")]),
    (lambda: first_day(back_at_base_s=1499), [("way back too short", "one")]),
    (lambda: first_day(back_at_base_s=1601), [("back late", "one")]),
    (lambda: first_day(leave_base_s=999), [("leaves early", "one")]),
    (lambda: first_day(walk_s=399), [("walking time", "one")]),
    (lambda: first_day(walk_m=399), [("walking length", "one")]),
    (lambda: replace(by_hand(), days=by_hand().days[:1]), [("stop missing", "c"), ("crew day", "two")]),
    (lambda: first_day(crew_id="three"), [("crew day", "one"), ("crew unknown", "three")]),
    (lambda: replace(by_hand(), unplanned=by_hand().unplanned[1:]), [("stop missing", "big")]),
])  # fmt: skip
def test_each_planted_fault_is_found(fault: Callable[[], DayPlan], expected: list[tuple[str, str]]) -> None:
    assert broken(fault()) == expected


def test_a_crew_without_the_skill_is_found() -> None:
    crews = [replace(CREWS[0], skills=frozenset()), replace(CREWS[1], skills=frozenset({"lead letters"}))]
    assert broken(by_hand(), crews=crews) == [("skill", "b")]


def test_a_visit_out_of_reach_is_found() -> None:
    plan = by_hand()
    day = replace(plan.days[1], ops=work(Visit("far", 1450, 1500)))
    left = (*plan.unplanned[::2], Unplanned("c", Reason.NO_TIME_LEFT, ""))
    found = broken(replace(plan, days=(plan.days[0], day), unplanned=left))
    assert ("walk too short", "far") in found
    assert ("way back too short", "two") in found


def test_a_slow_crew_is_held_to_its_own_pace() -> None:
    crews = [CREWS[0], replace(CREWS[1], pace_factor=1.6)]
    assert ("walk too short", "c") in broken(by_hand(), crews=crews)


@pytest.mark.parametrize(("stop_id", "said", "found"), [
    ("far", Reason.NO_TIME_LEFT, "UNREACHABLE"),
    ("big", Reason.UNREACHABLE, "JOB_LONGER_THAN_SHIFT"),
    ("gilt", Reason.NO_CREW, "NO_CREW_WITH_SKILL"),
])  # fmt: skip
def test_a_false_reason_is_found(stop_id: str, said: Reason, found: str) -> None:
    plan = by_hand()
    left = tuple(replace(item, reason=said) if item.stop_id == stop_id else item for item in plan.unplanned)
    (item,) = check_plan(replace(plan, unplanned=left), STOPS, CREWS, WALK)
    assert (item.rule, item.who) == ("reason", stop_id)
    assert item.detail == f"said {said.name}, found {found}"


def test_saying_no_time_of_a_stop_that_nobody_could_be_asked_to_do_is_found() -> None:
    left = (Unplanned("a", Reason.NO_TIME_LEFT, ""),)
    assert broken(DayPlan((), left, MADE), stops=STOPS[:1], crews=[]) == [("reason", "a")]
