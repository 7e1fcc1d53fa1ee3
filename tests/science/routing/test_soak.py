"""Soaks, cans, windows and breaks: closed forms, rules the planner keeps, planted faults the check finds."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from gravegis.errors import LayerError
from gravegis.science.routing import solve
from gravegis.science.routing.baseline import baseline_plan
from gravegis.science.routing.check import check_plan
from gravegis.science.routing.daytable import Rules, table_of
from gravegis.science.routing.model import Break, BrokenPlanError, Crew, DayPlan, Op, Reason, Refill, Stop
from gravegis.science.routing.solve import plan_day
from gravegis.science.routing.walking import WalkMatrix

if TYPE_CHECKING:
    from collections.abc import Callable

MIN = 60


def line_of(*x_m: float) -> WalkMatrix:
    """Places on a line, one second a metre."""
    x = np.array(x_m, dtype=np.float64)
    metres = np.abs(x[:, None] - x)
    return WalkMatrix.from_times(metres, metres)


def stone(name: str, place: int, **more: object) -> Stop:
    """A stone of 8 min, 10 min soak (15 more at most), 15 min."""
    whole = {"apply_s": 8 * MIN, "soak_min_s": 10 * MIN, "soak_max_s": 40 * MIN, **more}
    return Stop(name, place, 23 * MIN, **whole)  # type: ignore[arg-type]


@pytest.mark.cited("own closed form: n (a + b) + max(0, s - (min(n, K) - 1) a), stones at one spot")
@pytest.mark.parametrize(("stones_n", "open_n", "soak_min", "minutes"), [
    (1, 3, 10, 33), (2, 3, 10, 48), (3, 2, 10, 71), (3, 3, 10, 69), (5, 3, 10, 115), (3, 1, 10, 99),
    (3, 3, 20, 73), (3, 3, 30, 83),
])  # fmt: skip
def test_soaks_overlap_as_the_closed_form_says(stones_n: int, open_n: int, soak_min: int, minutes: int) -> None:
    stops = [stone(f"s{k}", 0, soak_min_s=soak_min * MIN, soak_max_s=90 * MIN) for k in range(stones_n)]
    crew = Crew("a", 0, 0, 0, 200 * MIN, max_open=open_n)
    line = table_of(stops, [crew], line_of(0.0)).line(0, list(range(stones_n)))
    assert line is not None
    assert line.back_s == minutes * MIN


@pytest.mark.cited("worked by hand: 15 l can, two stones of 10 l, tap at 30 m on a line")
def test_cans_are_filled_on_the_way_when_the_second_stone_needs_more() -> None:
    stops = [Stop("one", 1, 0, water_l=10), Stop("two", 2, 0, water_l=10)]
    tap = Refill("tap", 3, 3)
    plan = plan_day(stops, [Crew("a", 0, 0, 0, 1000, water_l=15)], line_of(0, 10, 20, 30), seed=1, iterations=50,
                    rules=Rules((tap,)))  # fmt: skip
    (day,) = plan.days
    assert plan.done == {"one", "two"}
    assert (day.leave_base_s, day.back_at_base_s, day.walk_m) == (0, 63, 60)
    assert [op.ref for op in day.ops if op.kind == "refill"] == ["tap"]


def test_cans_may_be_filled_during_a_soak() -> None:
    stops = [stone("one", 1, water_l=30.0, rinse_l=15.0)]
    crew = Crew("a", 0, 0, 0, 60 * MIN, water_l=20)
    plan = plan_day(stops, [crew], line_of(0, 50, 60), seed=1, iterations=10, rules=Rules((Refill("tap", 2, 60),)))
    assert [op.kind for op in plan.days[0].ops] == ["apply", "refill", "scrub"]
    # filling up costs nothing: it is done while the stone soaks
    assert plan.days[0].back_at_base_s == 50 + 33 * MIN + 50


@pytest.mark.parametrize(("stop", "reason", "figures"), [
    (Stop("bad", 1, 500 * MIN), Reason.JOB_LONGER_THAN_SHIFT, "500 min of work"),
    (Stop("bad", 1, 60, skill="gilding"), Reason.NO_CREW_WITH_SKILL, "gilding"),
    (Stop("bad", 1, 60, water_l=20), Reason.NEEDS_MORE_WATER_THAN_CARRIED, "20 l at a time, 15 l"),
    (Stop("bad", 1, 60, cleaner_l=9), Reason.NEEDS_MORE_CLEANER_THAN_CARRIED, "9 l, 5 l"),
    (Stop("bad", 1, 1200, windows=((3600, 4500),)), Reason.WINDOW_TOO_SHORT, "300 s|5 min too short"),
    (Stop("bad", 1, 60, windows=((5000, 4000),)), Reason.WINDOW_TOO_SHORT, "too short"),
    (Stop("bad", 1, 60, windows=((90000, 99000),)), Reason.WINDOW_OUTSIDE_SHIFT, "25:00 to 27:30"),
    (Stop("bad", 1, 60, windows=()), Reason.WINDOW_OUTSIDE_SHIFT, "at no time"),
])  # fmt: skip
def test_a_stone_that_cannot_be_done_says_why_with_figures_and_the_good_one_is_planned(
    stop: Stop, reason: Reason, figures: str
) -> None:
    crew = Crew("a", 0, 0, 0, 300 * MIN, water_l=15, cleaner_l=5)
    plan = plan_day([stop, Stop("good", 1, 60)], [crew], line_of(0, 10), seed=1, iterations=20)
    assert plan.done == {"good"}
    (left,) = plan.unplanned
    assert left.reason is reason
    assert any(words in left.detail for words in figures.split("|")), left.detail


def test_without_water_to_fill_up_what_the_first_cans_give_is_done_and_the_rest_says_so() -> None:
    stops = [Stop(f"s{k}", 1, 60, water_l=10) for k in range(3)]
    plan = plan_day(stops, [Crew("a", 0, 0, 0, 3600, water_l=20)], line_of(0, 10), seed=1, iterations=20)
    assert len(plan.done) == 2
    assert [left.reason for left in plan.unplanned] == [Reason.NO_REFILL]


def test_water_from_a_tap_and_cleaner_from_a_base_are_fetched_one_after_the_other_where_no_place_has_both() -> None:
    """5 l of 10 and 1 l of 2 a stone: after two stones both are gone; the tap has no cleaner, the shed no water."""
    stops = [Stop(f"s{k}", 1, 60, water_l=5, cleaner_l=1) for k in range(6)]
    kept = (Refill("tap", 2, 30), Refill("shed", 0, 20, water=False, cleaner=True))
    crew = Crew("a", 0, 0, 0, 3600, water_l=10, cleaner_l=2)
    plan = plan_day(stops, [crew], line_of(0, 10, 16), seed=1, iterations=20, rules=Rules(kept))
    assert len(plan.done) == 6
    assert [op.ref for op in plan.days[0].ops if op.kind == "refill"] == ["tap", "shed"] * 2
    # out 10 s, six stones of a minute, home 10 s; twice to the tap 6 s, 30 s, to the shed 16 s, 20 s, back 10 s
    assert plan.days[0].back_at_base_s == 10 + 6 * 60 + 10 + 2 * (6 + 30 + 16 + 20 + 10)


def test_two_places_are_taken_in_the_order_that_is_shorter() -> None:
    stops = [Stop(f"s{k}", 1, 60, water_l=10, cleaner_l=2) for k in range(2)]
    kept = (Refill("tap", 3, 0), Refill("store", 2, 0, water=False, cleaner=True))
    crew = Crew("a", 0, 4, 0, 3600, water_l=10, cleaner_l=2)
    plan = plan_day(stops, [crew], line_of(0, 50, 40, 70, 50), seed=1, iterations=20, rules=Rules(kept))
    assert plan.days[0].back_at_base_s == 50 + 60 + 60 + 60
    assert len(plan.done) == 2


def test_a_crew_whose_cleaner_is_used_up_for_good_says_so() -> None:
    stops = [Stop(f"s{k}", 1, 60, cleaner_l=1) for k in range(3)]
    plan = plan_day(stops, [Crew("a", 0, 0, 0, 3600, cleaner_l=2)], line_of(0, 10), seed=1, iterations=20)
    assert len(plan.done) == 2
    assert [left.reason for left in plan.unplanned] == [Reason.NO_CLEANER_LEFT]


def test_water_behind_a_wall_is_no_water() -> None:
    stops = [Stop(f"s{k}", 1, 60, water_l=10) for k in range(3)]
    metres = np.array([[0, 10, np.inf], [10, 0, np.inf], [np.inf, np.inf, 0]])
    plan = plan_day(stops, [Crew("a", 0, 0, 0, 3600, water_l=20)], WalkMatrix.from_times(metres, metres), seed=1,
                    iterations=20, rules=Rules((Refill("tap", 2, 30),)))  # fmt: skip
    assert [left.reason for left in plan.unplanned] == [Reason.NO_REFILL]


def test_a_break_is_taken_between_its_times() -> None:
    stops = [Stop(f"s{k}", 1, 20 * MIN) for k in range(12)]
    crew = Crew("a", 0, 0, 0, 240 * MIN, breaks=(Break(100 * MIN, 130 * MIN, 30 * MIN),))
    plan = plan_day(stops, [crew], line_of(0, 10), seed=1, iterations=20)
    (rest,) = [op for op in plan.days[0].ops if op.kind == "break"]
    assert 100 * MIN <= rest.start_s <= 130 * MIN
    assert rest.end_s - rest.start_s == 30 * MIN
    assert len(plan.done) == 10


def test_a_beginner_takes_its_own_time_and_the_soak_stays_as_it_is() -> None:
    crew = Crew("a", 0, 0, 0, 300 * MIN, work_factor=2.0)
    plan = plan_day([stone("one", 1)], [crew], line_of(0, 0), seed=1, iterations=10)
    assert plan.days[0].back_at_base_s == (16 + 10 + 30) * MIN


# --- the check ------------------------------------------------------------------------------------------------------

WALK = line_of(0, 10, 20, 100)
TAP = Refill("tap", 2, 60)
SOAKING = [
    stone("a", 1, water_l=10.0, rinse_l=5.0, cleaner_l=1.0, windows=((0.0, 90.0 * MIN),), why="a zone runs"),
    stone("b", 2, skill="cleaner"),
]
CREW = Crew("one", 0, 0, 0, 120 * MIN, frozenset({"cleaner"}), water_l=10, cleaner_l=2, max_open_m=40,
            breaks=(Break(10 * MIN, 30 * MIN, 10 * MIN),))  # fmt: skip


def good() -> DayPlan:
    plan = plan_day(SOAKING, [CREW], WALK, seed=1, iterations=20, rules=Rules((TAP,)))
    assert plan.done == {"a", "b"}
    return plan


def late(plan: DayPlan, kind: str, ref: str, by_s: float) -> DayPlan:
    """Move a step and all after it."""
    ops, moved = list[Op](), False
    for op in plan.days[0].ops:
        moved = moved or (op.kind == kind and op.ref == ref)
        shift = by_s if moved else 0.0
        ops.append(replace(op, arrive_s=op.arrive_s + shift, start_s=op.start_s + shift, end_s=op.end_s + shift))
    day = replace(plan.days[0], ops=tuple(ops), back_at_base_s=plan.days[0].back_at_base_s + by_s)
    return replace(plan, days=(day,))


def changed(plan: DayPlan, kind: str, ref: str, **to: Any) -> DayPlan:
    ops = tuple(replace(op, **to) if (op.kind, op.ref) == (kind, ref) else op for op in plan.days[0].ops)
    return replace(plan, days=(replace(plan.days[0], ops=ops),))


def without(plan: DayPlan, kind: str) -> DayPlan:
    ops = tuple(op for op in plan.days[0].ops if op.kind != kind)
    return replace(plan, days=(replace(plan.days[0], ops=ops),))


FAULTS: dict[str, tuple[Callable[[], DayPlan], list[Stop], Crew, tuple[Refill, ...]]] = {
    "soak too short": (lambda: good(), [replace(SOAKING[0], soak_min_s=39 * MIN), SOAKING[1]], CREW, (TAP,)),
    "soak too long": (lambda: late(good(), "scrub", "a", 45 * MIN), SOAKING, CREW, (TAP,)),
    "too many open": (lambda: good(), SOAKING, replace(CREW, max_open=1), (TAP,)),
    "open too far apart": (lambda: good(), SOAKING, replace(CREW, max_open_m=5), (TAP,)),
    "outside its window": (
        lambda: good(), [replace(SOAKING[0], windows=((0.0, 600.0),)), SOAKING[1]], CREW, (TAP,),
    ),
    "no water": (lambda: good(), [replace(SOAKING[0], water_l=99), SOAKING[1]], CREW, (TAP,)),
    "no cleaner": (lambda: good(), [replace(SOAKING[0], cleaner_l=3), SOAKING[1]], CREW, (TAP,)),
    "break": (lambda: without(good(), "break"), SOAKING, CREW, (TAP,)),
    "skill": (lambda: good(), SOAKING, replace(CREW, skills=frozenset()), (TAP,)),
    "work cut short": (lambda: good(), SOAKING, replace(CREW, work_factor=1.5), (TAP,)),
    "left soaking": (lambda: without(good(), "scrub"), SOAKING, CREW, (TAP,)),
    "back late": (lambda: good(), SOAKING, replace(CREW, shift_to_s=40 * MIN), (TAP,)),
    "wrong place": (lambda: changed(good(), "apply", "a", place=2), SOAKING, CREW, (TAP,)),
}  # fmt: skip


@pytest.mark.parametrize("rule", FAULTS)
def test_each_planted_fault_of_a_day_is_found_by_its_rule(rule: str) -> None:
    make, stops, crew, refills = FAULTS[rule]
    assert check_plan(good(), SOAKING, [CREW], WALK, (TAP,)) == []
    found = {item.rule for item in check_plan(make(), stops, [crew], WALK, refills)}
    assert rule in found


def test_filling_cans_where_the_water_is_not_fit_is_found() -> None:
    stops = [Stop("one", 1, 60, water_l=10), Stop("two", 2, 60, water_l=10)]
    crew = Crew("a", 0, 0, 0, 1000, water_l=15)
    plan = plan_day(stops, [crew], WALK, seed=1, iterations=20, rules=Rules((TAP,)))
    assert plan.done == {"one", "two"}
    assert {item.rule for item in check_plan(plan, stops, [crew], WALK, ())} == {"water not fit", "no water"}


def test_a_plan_that_breaks_a_rule_is_never_shown(monkeypatch: pytest.MonkeyPatch) -> None:
    def forged(*_: object, **__: object) -> DayPlan:
        return without(good(), "scrub")

    whole = good()
    assert check_plan(whole, SOAKING, [CREW], WALK, (TAP,)) == []
    plan = forged()
    monkeypatch.setattr(solve, "finish_plan", lambda *_: plan)
    with pytest.raises(BrokenPlanError, match="left soaking"):
        plan_day(SOAKING, [CREW], WALK, seed=1, iterations=5, rules=Rules((TAP,)))


def test_bad_soaks_litres_and_breaks_are_refused_by_name() -> None:
    stops = [
        Stop("long", 1, 60, apply_s=90), Stop("back", 1, 60, soak_min_s=9, soak_max_s=5), Stop("dry", 1, 60, water_l=-1)
    ]  # fmt: skip
    crew = Crew("a", 0, 0, 0, 900, work_factor=0.0, breaks=(Break(50, 40, 5),))
    with pytest.raises(LayerError) as caught:
        plan_day(stops, [crew], WALK, seed=1, iterations=5)
    assert {one.where for one in caught.value.problems} == {
        "stops[long]", "stops[back]", "stops[dry]", "crews[a]",
    }  # fmt: skip


# --- cases and noon -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("crews_n", [1, 2])
def test_two_stops_at_one_place_with_one_narrow_window_say_which_cannot_be_met_and_by_how_much(crews_n: int) -> None:
    """A, B, B2 and C as in the shared case: B and B2 take 20 min in a window of 15."""
    xy = np.array([(0, 0), (40, 0), (60, 30), (60, 30), (90, 10)], dtype=np.float64)
    metres = np.hypot(*(xy[:, None] - xy).transpose(2, 0, 1))

    def clock(hours: int, minutes: int) -> float:
        return 3600.0 * hours + 60.0 * minutes

    stops = [
        Stop("A", 1, 15 * MIN, windows=((clock(8, 0), clock(8, 20)),)),
        Stop("B", 2, 20 * MIN, windows=((clock(9, 0), clock(9, 15)),)),
        Stop("B2", 3, 20 * MIN, windows=((clock(9, 0), clock(9, 15)),)),
        Stop("C", 4, 15 * MIN, windows=((clock(7, 0), clock(16, 0)),)),
    ]
    crews = [Crew(f"c{k}", 0, 0, clock(7, 0), clock(16, 0)) for k in range(crews_n)]
    plan = plan_day(stops, crews, WalkMatrix.from_times(metres, metres), seed=1, iterations=50)
    assert plan.done == {"A", "C"}
    assert [left.stop_id for left in plan.unplanned] == ["B", "B2"]
    for left in plan.unplanned:
        assert left.reason is Reason.WINDOW_TOO_SHORT
        assert "takes 20 min, open for 15 min at most, 5 min too short" in left.detail


def test_at_noon_few_stones_of_those_who_stay_change_hands_when_one_of_four_goes_home(
    random_day: Callable[..., tuple[list[Stop], list[Crew], WalkMatrix]],
) -> None:
    stops, crews, walk = random_day(60, 5, crews_n=4, shift_min=450)
    morning = plan_day(stops, crews, walk, seed=1, iterations=100)
    noon_s = 12 * 3600
    begun = {visit.stop_id for day in morning.days for visit in day.visits if visit.arrive_s < noon_s}
    staying = [replace(crew, shift_from_s=noon_s + 1800) for crew in crews[:3]]
    open_ = [stop for stop in stops if stop.stop_id not in begun]
    after = plan_day(open_, staying, walk, seed=1, iterations=100, warm=morning, keep=True)
    before = {visit.stop_id: day.crew_id for day in morning.days for visit in day.visits}
    now = {visit.stop_id: day.crew_id for day in after.days for visit in day.visits}
    theirs = [one for one, crew in before.items() if one not in begun and crew in {c.crew_id for c in staying}]
    moved = [one for one in theirs if now.get(one) != before[one]]
    assert theirs
    assert len(moved) < 0.2 * len(theirs)
    assert set(now) - set(theirs), "what the fourth left is taken up"


def test_the_plain_plan_obeys_the_same_rules() -> None:
    plan = baseline_plan(SOAKING, [CREW], WALK, rules=Rules((TAP,)))
    assert plan.done == {"a", "b"}
    assert check_plan(plan, SOAKING, [CREW], WALK, (TAP,)) == []
