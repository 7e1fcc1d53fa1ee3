"""One leader, many pairs: in sight, mixed, by priority, and the same whoever stays at home."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest
import shapely

from gravegis.science.routing.check import check_plan
from gravegis.science.routing.ground import Ground
from gravegis.science.routing.led import mixing, plan_with_leaders, who_goes
from gravegis.science.routing.model import Crew, DayPlan, LedRules, Reason, Refill, Stop
from gravegis.science.routing.walking import WalkMatrix, walk_matrix

if TYPE_CHECKING:
    from collections.abc import Sequence

MORNING_S = (9.25 * 3600, 11.5 * 3600)
"""Half past eight to noon less 45 minutes before and 30 after: 135 minutes."""
SHED = Refill("tank", 0, 240, cleaner=True)


def pair(name: str, leader: str = "leader", trained_n: int = 0, **more: object) -> Crew:
    one = Crew(name, 0, 0, *MORNING_S, work_factor=1.75, water_l=20, max_open=2, leader=leader, trained_n=trained_n)
    return replace(one, **more)  # type: ignore[arg-type]


FOUR = [pair(f"V{k}", trained_n=k % 2) for k in (1, 2, 3, 4)]


def lawn(seed: int, n: int = 150, side_m: float = 160.0) -> tuple[list[Stop], np.ndarray]:
    """Stones of three classes, some to clean with a soak, on a lawn with the base at its middle."""
    chance = np.random.default_rng(seed)
    xy = np.concatenate([[[side_m / 2, side_m / 2]], chance.uniform(0, side_m, (n, 2))])
    stops = []
    for k in range(n):
        soaks, minutes = bool(chance.random() < 0.4), 60.0 * int(chance.integers(5, 21))
        stops.append(
            Stop(
                f"s{k:02d}", k + 1, minutes, int(chance.integers(1, 4)), apply_s=minutes * 0.35 if soaks else 0.0,
                soak_min_s=600.0 * soaks, soak_max_s=1200.0 * soaks, water_l=8.0 * soaks, rinse_l=4.0 * soaks,
            )
        )  # fmt: skip
    return stops, xy


def rules(xy: np.ndarray, **more: object) -> LedRules:
    return replace(LedRules(40.0, 8.0, xy), **more)  # type: ignore[arg-type]


def planned(
    stops: Sequence[Stop], crews: Sequence[Crew], xy: np.ndarray, led: LedRules | None = None
) -> tuple[DayPlan, WalkMatrix]:  # fmt: skip
    from gravegis.science.routing.daytable import Rules

    walk = walk_matrix(xy, Ground())
    plan = plan_with_leaders(stops, crews, walk, led=led or rules(xy), rules=Rules((SHED,)), seed=1, iterations=30)
    return plan, walk


@pytest.mark.parametrize("seed", range(5))
def test_all_stones_of_a_leaders_pairs_lie_within_sight_of_the_post(seed: int) -> None:
    stops, xy = lawn(seed)
    plan, _ = planned(stops, FOUR, xy)
    (post,) = plan.posts
    place = {stop.stop_id: stop.place for stop in stops}
    done = [place[name] for name in plan.done]
    spare = [place[name] for one in plan.spares for name in one.stop_ids]
    assert len(done) >= 12
    assert all(np.hypot(*(xy[k] - xy[post.place])) <= 40.0 for k in [*done, *spare])


@pytest.mark.parametrize("seed", range(5))
def test_each_list_is_by_priority_with_spares_nobody_else_has(seed: int) -> None:
    stops, xy = lawn(seed)
    plan, _ = planned(stops, FOUR, xy)
    rank = {stop.stop_id: stop.priority for stop in stops}
    for day in plan.days:
        listed = [rank[visit.stop_id] for visit in day.visits]
        assert listed == sorted(listed, reverse=True)
    spare = [name for one in plan.spares for name in one.stop_ids]
    assert spare
    assert len(set(spare)) == len(spare)
    assert not plan.done & set(spare)


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("missing", [("V4",), ("V1", "V3"), ("V2", "V3", "V4")])
def test_who_stays_at_home_takes_only_their_own_list_along(seed: int, missing: tuple[str, ...]) -> None:
    """Five of eight come: the lists of those who are there hold unchanged, and the check of the rest finds nothing."""
    stops, xy = lawn(seed)
    plan, walk = planned(stops, FOUR, xy)
    here = [crew for crew in FOUR if crew.crew_id not in missing]
    days = tuple(day for day in plan.days if day.crew_id not in missing)
    done = {visit.stop_id for day in days for visit in day.visits}
    kept = [stop for stop in stops if stop.stop_id in done]
    rest = replace(plan, days=days, unplanned=())
    assert check_plan(rest, kept, here, walk, (SHED,), led=rules(xy)) == []
    assert all(day.back_at_base_s <= MORNING_S[1] for day in days)


def test_the_morning_is_135_minutes_and_no_list_is_longer() -> None:
    stops, xy = lawn(1)
    plan, _ = planned(stops, FOUR, xy)
    assert all(day.back_at_base_s - day.leave_base_s <= 135 * 60 for day in plan.days)
    assert sum(day.back_at_base_s - day.leave_base_s for day in plan.days) > 4 * 100 * 60


def test_pairs_let_no_more_stones_soak_than_they_may() -> None:
    stops, xy = lawn(2)
    alone = [replace(crew, max_open=1) for crew in FOUR]
    plan, walk = planned(stops, alone, xy)
    assert check_plan(plan, stops, alone, walk, (SHED,), led=rules(xy)) == []


def test_a_crew_by_itself_takes_the_best_of_what_the_leaders_pairs_leave() -> None:
    stops, xy = lawn(3)
    plan, _ = planned(stops, [*FOUR, replace(pair("C1", leader=""), work_factor=1.0)], xy)
    own = next(day for day in plan.days if day.crew_id == "C1")
    assert len(own.visits) > 3
    assert {one.reason for one in plan.unplanned} == {Reason.NO_TIME_LEFT}


def test_what_nobody_may_be_sent_to_is_out_of_sight_by_name() -> None:
    stops = [Stop(f"s{k}", k + 1, 300.0) for k in range(3)]
    xy = np.array([(0.0, 0.0), (5.0, 0.0), (10.0, 0.0), (200.0, 0.0)])
    plan, _ = planned(stops, FOUR[:1], xy)
    (left,) = plan.unplanned
    assert (left.stop_id, left.reason) == ("s2", Reason.OUT_OF_SIGHT)
    assert left.detail == "leader stands beside stone s0"


def test_a_hedge_nobody_sees_over_parts_the_block() -> None:
    stops = [Stop(f"s{k}", k + 1, 300.0, priority=2 if k == 0 else 1) for k in range(4)]
    xy = np.array([(0.0, 0.0), (5.0, 0.0), (10.0, 0.0), (5.0, 20.0), (15.0, 1.0)])
    hedge = shapely.LineString([(-50, 10), (50, 10)])
    plan, _ = planned(stops, FOUR[:1], xy, rules(xy, screens=(hedge,)))
    assert {one.stop_id: one.reason for one in plan.unplanned} == {"s2": Reason.OUT_OF_SIGHT}
    assert planned(stops, FOUR[:1], xy)[0].unplanned == ()


def test_pairs_beyond_the_ratio_stay_at_the_base() -> None:
    """Two pairs with one trained of two, two with none: with the leader three trained for six novices."""
    assert [crew.crew_id for crew in who_goes(FOUR, 2.0)] == ["V1", "V2", "V3", "V4"]
    assert [crew.crew_id for crew in who_goes(FOUR, 1.0)] == ["V1", "V3"]
    stops, xy = lawn(4)
    plan, _ = planned(stops, FOUR, xy, rules(xy, novices_n=1.0))
    assert [day.crew_id for day in plan.days if day.ops] == ["V1", "V3"]


def test_where_all_stay_for_want_of_trained_people_that_is_the_reason() -> None:
    stops, xy = lawn(4, n=3)
    plan, _ = planned(stops, [pair("V1")], xy, rules(xy, novices_n=0.0))
    assert {one.reason for one in plan.unplanned} == {Reason.TOO_FEW_TRAINED}


def test_trained_people_are_shared_out_where_one_pair_has_two_and_another_none() -> None:
    group = [pair("V1", trained_n=2), pair("V2"), pair("V3", trained_n=1), pair("V4")]
    assert mixing(group) == [("V1", "V2")]
    assert mixing(FOUR) == []


def test_the_same_list_gives_the_same_plan_whatever_its_order() -> None:
    stops, xy = lawn(5)
    first, _ = planned(stops, FOUR, xy)
    again, _ = planned(stops[::-1], FOUR[::-1], xy)
    assert first == again


def plant(what: str) -> list[tuple[str, str]]:
    """Return what the check finds after one fault was planted in a good plan."""
    stops, xy = lawn(0)
    plan, walk = planned(stops, FOUR, xy)
    led = rules(xy)
    if what == "far":
        # the first stop of V1 moves on the map, the plan stays
        name = next(day for day in plan.days if day.crew_id == "V1").visits[0].stop_id
        place = next(stop.place for stop in stops if stop.stop_id == name)
        moved = xy.copy()
        moved[place] = xy[plan.posts[0].place] + [40.5, 0.0]
        led = rules(moved)
    crews = [replace(crew, trained_n=0, people_n=3) for crew in FOUR] if what == "novices" else FOUR
    posts = {"no post": (), "two posts": plan.posts * 2}.get(what, plan.posts)
    left = () if what == "no post" else plan.unplanned
    kept = stops if what != "no post" else [stop for stop in stops if stop.stop_id in plan.done]
    found = check_plan(replace(plan, posts=posts, unplanned=left), kept, crews, walk, (SHED,), led=led)
    return [(one.rule, one.who) for one in found]


def test_the_check_finds_a_stone_out_of_sight_too_many_novices_and_a_missing_post() -> None:
    stops, xy = lawn(0)
    first = next(day for day in planned(stops, FOUR, xy)[0].days if day.crew_id == "V1").visits[0].stop_id
    assert plant("nothing") == []
    assert plant("far") == [("out of sight", first)]
    assert plant("novices") == [("too few trained", "leader")]
    assert plant("no post") == [("post", "leader")]
    assert plant("two posts") == [("post", "leader")]


def test_a_false_word_about_sight_is_found() -> None:
    stops, xy = lawn(0)
    plan, walk = planned(stops, [*FOUR, pair("C1", leader="")], xy)
    near = next(
        one for one in plan.unplanned if one.reason is Reason.NO_TIME_LEFT and _near(plan, stops, xy, one.stop_id)
    )
    lied = tuple(replace(one, reason=Reason.OUT_OF_SIGHT) if one == near else one for one in plan.unplanned)
    found = check_plan(
        replace(plan, unplanned=lied), stops, [*FOUR, pair("C1", leader="")], walk, (SHED,), led=rules(xy)
    )
    assert [(one.rule, one.who) for one in found] == [("reason", near.stop_id)]


def _near(plan: DayPlan, stops: Sequence[Stop], xy: np.ndarray, name: str) -> bool:
    place = next(stop.place for stop in stops if stop.stop_id == name)
    return bool(np.hypot(*(xy[place] - xy[plan.posts[0].place])) <= 40.0)


def test_a_stone_that_is_shut_when_the_list_is_done_is_nobodys_spare() -> None:
    """Four stones of an hour fill the morning; of two left over one may not be wetted from ten o'clock on."""
    hour = [Stop(f"s{k}", k + 1, 1800.0, priority=3) for k in range(2)]
    early = Stop("early", 3, 600.0, windows=((0.0, 10 * 3600.0),))
    late = Stop("late", 4, 1800.0)
    xy = np.array([(0.0, 0.0), (5.0, 0.0), (6.0, 0.0), (7.0, 0.0), (8.0, 0.0)])
    plan, _ = planned([*hour, early, late], [pair("V1", work_factor=2.0)], xy)
    assert plan.done == {"s0", "s1"}
    assert plan.spares[0].stop_ids == ("late",)
