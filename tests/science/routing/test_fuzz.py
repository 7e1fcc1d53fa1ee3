"""Odd days of all kinds: every stone is planned or has its reason, and the check finds nothing."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely

from gravegis.errors import LayerError
from gravegis.science.routing.baseline import baseline_plan
from gravegis.science.routing.check import check_plan
from gravegis.science.routing.daytable import Rules
from gravegis.science.routing.ground import Ground
from gravegis.science.routing.led import plan_with_leaders
from gravegis.science.routing.model import Break, Crew, LedRules, Refill, Stop
from gravegis.science.routing.solve import plan_day
from gravegis.science.routing.walking import WalkMatrix, walk_matrix

SHIFT_S = (8 * 3600.0, 12 * 3600.0)


def odd_stop(k: int, place: int, chance: np.random.Generator) -> Stop:
    """A stone that may soak, be thirsty, take 500 minutes or be open only at odd times."""
    wet, scrub = (60.0 * int(value) for value in chance.integers(1, 25, 2))
    if chance.random() < 0.05:
        scrub = 500 * 60.0
    soak = float(chance.integers(0, 1200)) if chance.random() < 0.6 else 0.0
    windows = None
    if chance.random() < 0.4:
        # a third of them close before they open
        spans = chance.uniform(6 * 3600, 14 * 3600, (int(chance.integers(0, 4)), 2))
        windows = tuple((float(low), float(high)) for low, high in spans)
    thirst = float(chance.integers(0, 40)) if chance.random() < 0.5 else 0.0
    return Stop(
        f"s{k}", place, wet + scrub, int(chance.integers(1, 4)), "cleaner" if chance.random() < 0.3 else "",
        apply_s=wet, soak_min_s=soak, soak_max_s=soak + float(chance.integers(0, 900)) if soak else 0.0,
        water_l=thirst, rinse_l=thirst / 2, cleaner_l=float(chance.random()), windows=windows, why="odd hours",
    )  # fmt: skip


def odd_day(seed: int) -> tuple[list[Stop], list[Crew], WalkMatrix, Rules]:
    chance = np.random.default_rng(seed)
    n, crews_n = int(chance.integers(0, 16)), int(chance.integers(0, 4))
    xy = np.round(chance.uniform(0, 120, (n + 3, 2)))
    if chance.random() < 0.3:
        xy[3:] = xy[-1]  # all on one spot
    court = [shapely.box(20, 20, 60, 60).exterior] if chance.random() < 0.5 else []
    walk = walk_matrix(xy, Ground(barriers=court))
    crews = [
        Crew(
            f"c{k}", 0, int(chance.integers(0, 2)), *SHIFT_S, frozenset({"cleaner"} if chance.random() < 0.5 else ()),
            pace_factor=float(chance.uniform(0.8, 1.5)), work_factor=float(chance.uniform(0.8, 2)),
            water_l=float(chance.integers(5, 40)), cleaner_l=float(chance.uniform(0, 4)),
            breaks=(Break(10 * 3600, 11 * 3600, 1200),) if chance.random() < 0.5 else (),
            max_open=int(chance.integers(1, 5)), max_open_m=float(chance.integers(0, 60)),
        )
        for k in range(crews_n)
    ]  # fmt: skip
    taps = (Refill("tap", 2, 120), Refill("shed", 0, 60, water=False, cleaner=True))
    rules = Rules(taps[: int(chance.integers(0, 3))], float(chance.integers(0, 5)) / 2)
    return [odd_stop(k, k + 3, chance) for k in range(n)], crews, walk, rules


def odd_led(seed: int, crews: list[Crew], places_n: int) -> tuple[list[Crew], LedRules]:
    """Give some crews one of two leaders, who see 5 to 150 m over places of their own."""
    chance = np.random.default_rng((seed, 1))
    xy = np.round(chance.uniform(0, 120, (places_n, 2)))
    led = [
        replace(crew, leader=str(chance.choice(["", "one", "two"])), people_n=int(chance.integers(1, 4)),
                trained_n=int(chance.integers(0, 2)))
        for crew in crews
    ]  # fmt: skip
    screens = (shapely.LineString([(60, 0), (60, 120)]),) if chance.random() < 0.5 else ()
    return led, LedRules(float(chance.uniform(5, 150)), float(chance.integers(0, 5)), xy, screens)


def holds(seed: int) -> None:
    stops, crews, walk, rules = odd_day(seed)
    some, led = odd_led(seed, crews, len(walk.seconds))
    block = plan_with_leaders(stops, some, walk, led=led, seed=seed, iterations=15, rules=rules)
    assert check_plan(block, stops, some, walk, rules.refills, led=led) == [], seed
    for plan in (
        block,
        plan_day(stops, crews, walk, seed=seed, iterations=15, rules=rules),
        baseline_plan(stops, crews, walk, rules=rules),
    ):
        assert plan is block or check_plan(plan, stops, crews, walk, rules.refills) == [], seed
        named = [visit.stop_id for day in plan.days for visit in day.visits]
        left = [one.stop_id for one in plan.unplanned]
        assert sorted(named + left) == sorted(stop.stop_id for stop in stops), seed
        assert all(one.detail for one in plan.unplanned), seed


@pytest.mark.parametrize("seed", range(20))
def test_an_odd_day_is_planned_or_explained(seed: int) -> None:
    holds(seed)


@pytest.mark.full
def test_five_hundred_odd_days_are_planned_or_explained() -> None:
    for seed in range(500):
        holds(seed)


def test_a_place_that_is_not_a_number_is_refused_by_name() -> None:
    with pytest.raises(LayerError, match=r"places\[1\]"):
        walk_matrix(np.array([(0.0, 0.0), (math.nan, 1.0)]), Ground())
