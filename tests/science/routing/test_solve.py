"""The day plan against published tours, exhaustive search and what must always hold."""

from __future__ import annotations

import itertools
import math
import sys
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString

from gravegis.errors import LayerError, SettingError
from gravegis.science.routing import solve
from gravegis.science.routing.baseline import baseline_plan
from gravegis.science.routing.check import Violation, check_plan
from gravegis.science.routing.ground import Ground
from gravegis.science.routing.model import BrokenPlanError, Crew, DayPlan, Reason, Stop, priority_points
from gravegis.science.routing.solve import plan_day
from gravegis.science.routing.walking import WalkMatrix, walk_matrix

if TYPE_CHECKING:
    import random
    from collections.abc import Callable

    Maker = Callable[..., Any]

DAY_S = 86_400

# TSPLIB (Reinelt 1991), instance berlin52: distances rounded to the nearest whole, optimal tour 7542.
BERLIN52 = [
    (565, 575), (25, 185), (345, 750), (945, 685), (845, 655), (880, 660), (25, 230), (525, 1000),
    (580, 1175), (650, 1130), (1605, 620), (1220, 580), (1465, 200), (1530, 5), (845, 680), (725, 370),
    (145, 665), (415, 635), (510, 875), (560, 365), (300, 465), (520, 585), (480, 415), (835, 625),
    (975, 580), (1215, 245), (1320, 315), (1250, 400), (660, 180), (410, 250), (420, 555), (575, 665),
    (1150, 1160), (700, 580), (685, 595), (685, 610), (770, 610), (795, 645), (720, 635), (760, 650),
    (475, 960), (95, 260), (875, 920), (700, 500), (555, 815), (830, 485), (1170, 65), (830, 610),
    (605, 625), (595, 360), (1340, 725), (1740, 245),
]  # fmt: skip


@pytest.mark.cited("TSPLIB, Reinelt 1991: berlin52, optimal tour 7542")
def test_one_crew_walks_the_published_best_tour() -> None:
    xy = np.array(BERLIN52, dtype=np.float64)
    whole = np.floor(np.hypot(*(xy[:, None] - xy).transpose(2, 0, 1)) + 0.5)
    walk = WalkMatrix.from_times(whole, whole)
    stops = [Stop(f"s{k:02d}", k, 0) for k in range(1, 52)]
    plan = plan_day(stops, [Crew("a", 0, 0, 0, DAY_S)], walk, seed=1, iterations=2000)
    assert not plan.unplanned
    assert 7542 <= plan.days[0].walk_s <= 7542 * 1.01  # below it the distances or the places were wrong
    assert plan.days[0].walk_m == plan.days[0].walk_s == plan.days[0].back_at_base_s
    assert plan.provenance.iterations == 2000
    assert plan.provenance.stopped_by == "iterations"


@pytest.mark.parametrize("seed", range(4))
def test_the_shortest_day_of_seven_stops_is_found(straight_walk: Maker, seed: int) -> None:
    xy = np.random.default_rng(seed).integers(0, 900, (9, 2)).astype(np.float64)
    hop = np.ceil(straight_walk(xy).seconds - 1e-6)
    shortest = min(
        hop[0, order[0]] + sum(hop[a, b] for a, b in itertools.pairwise(order)) + hop[order[-1], 1]
        for order in itertools.permutations(range(2, 9))
    )
    stops = [Stop(f"s{k}", k, 60) for k in range(2, 9)]
    plan = plan_day(stops, [Crew("a", 0, 1, 0, DAY_S)], straight_walk(xy), seed=1, iterations=200)
    assert plan.days[0].walk_s == shortest
    assert plan.days[0].back_at_base_s == shortest + 7 * 60


def most_points(stops: list[Stop], walk: WalkMatrix, crew: Crew) -> int:
    """Plain oracle: every order of every subset."""
    hop = np.ceil(walk.seconds - 1e-6)
    best = 0
    for n in range(1, len(stops) + 1):
        for order in itertools.permutations(stops, n):
            places = [crew.start_place, *(stop.place for stop in order), crew.end_place]
            took = sum(hop[a, b] for a, b in itertools.pairwise(places))
            if took + sum(stop.service_s for stop in order) <= crew.shift_to_s - crew.shift_from_s:
                best = max(best, sum(50 ** (stop.priority - 1) for stop in order))
    return best


@pytest.mark.parametrize("seed", range(8))
def test_a_short_shift_does_the_most_priority_that_is_possible(random_day: Maker, seed: int) -> None:
    stops, crews, walk = random_day(6, seed, crews_n=1, shift_min=60)
    plan = plan_day(stops, crews, walk, seed=1, iterations=200)
    assert priority_points(plan, stops) == most_points(stops, walk, crews[0])


def test_bad_rows_are_left_out_with_their_reason_and_the_good_one_is_planned() -> None:
    court = LineString([(40, 40), (60, 40), (60, 60), (40, 60), (40, 40)])
    xy = np.array([(0, 0), (10, 0), (20, 0), (30, 0), (50, 50)], dtype=np.float64)
    walk = walk_matrix(xy, Ground(barriers=[court]))
    stops = [
        Stop("good", 1, 30),
        Stop("long", 2, 500),
        Stop("gilded", 3, 30, skill="gilding"),
        Stop("shut in", 4, 10, priority=3),
    ]
    crews = [Crew("a", 0, 0, 0, 100)]
    plan = plan_day(stops, crews, walk, seed=1, iterations=20)
    assert plan.done == {"good"}
    left = {item.stop_id: item for item in plan.unplanned}
    assert {name: item.reason for name, item in left.items()} == {
        "long": Reason.JOB_LONGER_THAN_SHIFT,
        "gilded": Reason.NO_CREW_WITH_SKILL,
        "shut in": Reason.UNREACHABLE,
    }
    assert "gilding" in left["gilded"].detail
    assert "a barrier shuts it off" in left["shut in"].detail
    # 500 s of work and 20 m out and back at Tobler's open ground pace times 1.3: 31 s each, whole seconds up
    assert "8 min of work and 62 s of walking are 8 min more" in left["long"].detail
    alone = plan_day(stops, [], walk, seed=1, iterations=20)
    assert [item.reason for item in alone.unplanned] == [Reason.NO_CREW] * 4
    assert alone.days == ()


def test_what_is_left_for_want_of_time_is_told_with_the_minutes(straight_walk: Maker) -> None:
    walk = straight_walk(np.array([(0, 0), (60, 0), (120, 0)], dtype=np.float64))
    stops = [Stop("near", 1, 600, priority=3), Stop("far", 2, 600)]
    plan = plan_day(stops, [Crew("a", 0, 0, 0, 1200)], walk, seed=1, iterations=20)
    assert plan.done == {"near"}
    assert plan.days[0].back_at_base_s == 720
    (left,) = plan.unplanned
    assert left.reason is Reason.NO_TIME_LEFT
    # 600 s of work and 120 s more of walking after 720 s: 240 s over the shift
    assert left.detail == "takes 12 min with the walk; crew a would be back 4 min late"


def test_crews_differ_in_base_skill_shift_and_pace(straight_walk: Maker) -> None:
    walk = straight_walk(np.array([(0, 0), (1000, 0), (100, 0), (900, 0)], dtype=np.float64))
    stops = [Stop("west", 2, 60), Stop("east", 3, 60), Stop("east too", 3, 60, skill="lead letters")]
    crews = [
        Crew("slow", 0, 0, 100, 1000, pace_factor=2.0),
        Crew("skilled", 1, 1, 200, 1000, frozenset({"lead letters"})),
    ]
    plan = plan_day(stops, crews, walk, seed=1, iterations=50)
    days = {day.crew_id: day for day in plan.days}
    assert [visit.stop_id for visit in days["slow"].visits] == ["west"]
    assert (days["slow"].leave_base_s, days["slow"].visits[0].arrive_s) == (100, 300)
    assert (days["slow"].walk_m, days["slow"].walk_s, days["slow"].back_at_base_s) == (200, 400, 560)
    assert {visit.stop_id for visit in days["skilled"].visits} == {"east", "east too"}
    assert days["skilled"].back_at_base_s == 200 + 200 + 120


def test_a_day_without_stops_keeps_every_crew_at_its_base(straight_walk: Maker) -> None:
    crews = [Crew("a", 0, 1, 100, 200), Crew("b", 1, 0, 100, 200)]
    plan = plan_day([], crews, straight_walk(np.array([(0.0, 0.0), (5.0, 0.0)])), seed=1, iterations=20)
    assert [day.visits for day in plan.days] == [(), ()]
    assert plan.provenance.stopped_by == "nothing to search"


def test_bad_values_are_refused_with_every_name(straight_walk: Maker) -> None:
    walk = straight_walk(np.array([(0, 0), (9, 0), (9, 9)], dtype=np.float64))
    stops = [
        Stop("nan", 1, math.nan),
        Stop("neg", 1, -1.0),
        Stop("urgent", 1, 1, priority=4),
        Stop("lost", 9, 1),
        Stop("twin", 2, 1),
        Stop("twin", 2, 1),
    ]
    crews = [Crew("late", 0, 0, 500, 100), Crew("still", 0, 7, 0, 100, pace_factor=0.0)]
    with pytest.raises(LayerError) as caught:
        plan_day(stops, crews, walk, seed=1, iterations=20)
    places = [problem.where for problem in caught.value.problems]
    assert places == [
        "stops[twin]", "stops[nan]", "stops[neg]", "stops[urgent]", "stops[lost]",
        "crews[late]", "crews[still]", "crews[still]",
    ]  # fmt: skip
    assert isinstance(caught.value, ValueError)
    with pytest.raises(SettingError, match="iterations is 0"):
        plan_day([], [], walk, seed=1, iterations=0)


@pytest.mark.parametrize("value", [math.nan, -5.0, -math.inf])
def test_a_hole_in_the_matrix_is_refused_with_the_ids_of_the_pair(straight_walk: Maker, value: float) -> None:
    walk = straight_walk(np.array([(0, 0), (9, 0), (9, 9)], dtype=np.float64))
    walk.seconds[1, 2] = value
    stops = [Stop("ash", 1, 1), Stop("elm", 2, 1)]
    with pytest.raises(ValueError, match=r"walk\[ash to elm\]"):
        plan_day(stops, [Crew("a", 0, 0, 0, 100)], walk, seed=1, iterations=20)


def test_the_search_can_be_watched_and_stopped(random_day: Maker) -> None:
    stops, crews, walk = random_day(20, 5)
    shares: list[float] = []
    plan = plan_day(stops, crews, walk, seed=1, iterations=50, progress=shares.append)
    assert shares == sorted(shares)
    assert (shares[0], shares[-1]) == (0.0, 1.0)
    assert plan.provenance.stopped_by == "iterations"
    asked = itertools.count()
    stopped = plan_day(stops, crews, walk, seed=1, iterations=10**9, cancelled=lambda: next(asked) >= 10)
    assert stopped.provenance.stopped_by == "cancelled"
    assert stopped.provenance.iterations == 10
    assert not check_plan(stopped, stops, crews, walk)


def test_without_the_solver_the_plain_plan_is_given_and_says_so(
    random_day: Maker, monkeypatch: pytest.MonkeyPatch
) -> None:
    stops, crews, walk = random_day(30, 6)
    monkeypatch.setitem(sys.modules, "pyvrp", None)
    plan = plan_day(stops, crews, walk, seed=1, iterations=50)
    plain = baseline_plan(stops, crews, walk)
    assert (plan.days, plan.unplanned) == (plain.days, plain.unplanned)
    assert "pyvrp is not installed" in plan.provenance.solver


def test_a_plan_that_fails_its_check_is_never_returned(random_day: Maker, monkeypatch: pytest.MonkeyPatch) -> None:
    stops, crews, walk = random_day(5, 7)
    monkeypatch.setattr(solve, "check_plan", lambda *_: [Violation("skill", "s001", "crew c1 lacks it")])
    with pytest.raises(BrokenPlanError, match=r"skill \(s001\): crew c1 lacks it"):
        plan_day(stops, crews, walk, seed=1, iterations=5)


def test_an_earlier_plan_with_stops_and_crews_that_are_gone_still_starts_a_search(random_day: Maker) -> None:
    stops, crews, walk = random_day(30, 8, crews_n=3)
    earlier = plan_day(stops, crews, walk, seed=1, iterations=50)
    shorter = [replace(crew, shift_to_s=crew.shift_to_s - 9000) for crew in crews[1:]]
    plan = plan_day(stops[5:], shorter, walk, seed=1, iterations=50, warm=earlier)
    assert not check_plan(plan, stops[5:], shorter, walk)


def test_an_earlier_plan_is_kept_where_the_search_finds_nothing_as_good(
    random_day: Maker, monkeypatch: pytest.MonkeyPatch
) -> None:
    stops, crews, walk = random_day(80, 0, crews_n=3, shift_min=300)
    earlier = plan_day(stops, crews, walk, seed=1, iterations=200)
    monkeypatch.setattr(solve, "search", lambda table, *_: [[] for _ in table.crews])
    poor = plan_day(stops, crews, walk, seed=1, iterations=200)
    assert priority_points(poor, stops) < priority_points(earlier, stops)
    plan = plan_day(stops, crews, walk, seed=1, iterations=200, warm=earlier)
    assert plan.days == earlier.days
    assert plan.provenance.kept_earlier
    assert not earlier.provenance.kept_earlier


@pytest.mark.parametrize("seed", range(3))
def test_the_search_does_more_than_nearest_neighbour(random_day: Maker, seed: int) -> None:
    stops, crews, walk = random_day(80, seed, crews_n=3, shift_min=300)
    plan = plan_day(stops, crews, walk, seed=1, iterations=200)
    plain = baseline_plan(stops, crews, walk)
    assert priority_points(plan, stops) > priority_points(plain, stops)


def test_a_full_day_is_the_same_twice_and_passes_its_check(random_day: Maker) -> None:
    stops, crews, walk = random_day(150, 1, crews_n=4)
    first = plan_day(stops, crews, walk, seed=1, iterations=300)
    assert first == plan_day(stops, crews, walk, seed=1, iterations=300)
    assert not check_plan(first, stops, crews, walk)


days = st.tuples(st.integers(0, 14), st.integers(0, 10**6), st.integers(1, 3), st.integers(20, 200))


def planned(day: tuple[list[Stop], list[Crew], WalkMatrix], seed: int = 1, **more: Any) -> DayPlan:
    return plan_day(*day, seed=seed, iterations=20, **more)


@settings(max_examples=60)
@given(days)
def test_done_and_left_out_are_together_the_list_of_stops(random_day: Maker, day: tuple[int, ...]) -> None:
    stops, crews, walk = random_day(*day)
    plan = planned((stops, crews, walk))
    ids = [visit.stop_id for crew_day in plan.days for visit in crew_day.visits]
    ids += [item.stop_id for item in plan.unplanned]
    assert sorted(ids) == [stop.stop_id for stop in stops]
    assert not check_plan(plan, stops, crews, walk)
    assert not check_plan(baseline_plan(stops, crews, walk), stops, crews, walk)


@settings(max_examples=40)
@given(days, st.randoms(use_true_random=False))
def test_the_order_of_the_lists_leaves_no_trace(random_day: Maker, day: tuple[int, ...], order: random.Random) -> None:
    stops, crews, walk = random_day(*day)
    plan = planned((stops, crews, walk))
    order.shuffle(stops)
    order.shuffle(crews)
    assert planned((stops, crews, walk)) == plan


@settings(max_examples=60)
@given(days, st.booleans())
def test_one_crew_more_on_top_of_the_earlier_plan_never_lowers_the_priority_done(
    random_day: Maker, day: tuple[int, ...], skilled: bool
) -> None:
    stops, crews, walk = random_day(*day)
    before = planned((stops, crews, walk))
    skills = frozenset({"lead letters"} if skilled else ())
    more = [*crews, replace(crews[0], crew_id="b0", skills=skills)]
    after = planned((stops, more, walk), seed=2, warm=before)
    assert priority_points(after, stops) >= priority_points(before, stops)
    again = planned((stops, crews, walk), seed=2, warm=before)
    assert priority_points(again, stops) >= priority_points(before, stops)
