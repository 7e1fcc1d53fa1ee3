"""How many stones crews do in a day: soaks used for other stones against waiting beside them, and plainer ways."""

from __future__ import annotations

import time
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from gravegis.science.routing.baseline import baseline_plan
from gravegis.science.routing.check import check_plan
from gravegis.science.routing.daytable import Rules
from gravegis.science.routing.ground import Ground
from gravegis.science.routing.solve import plan_day
from gravegis.science.routing.walking import walk_matrix
from scripts.benches.crewdays import MIX, SEED, full_day, made_up_day
from scripts.benches.figure import Figure

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gravegis.science.routing.model import DayPlan
    from scripts.benches.crewdays import Day
    from scripts.benches.figure import Work

PRICE = 1.0  # the default of analysis routes
PRICES = (0.0, 1.0, 2.0, 4.0)
NO_WARM_UP = "none: the search is as long as its rounds"


@dataclass(frozen=True, slots=True)
class _Done:
    stones: int
    priority: int
    walk_m: float

    def __str__(self) -> str:
        return f"{self.stones} stones, priority {self.priority}, {self.walk_m / 1000:.1f} km"


def run(work: Work) -> Iterator[Figure]:
    """Give gains in stones and priority over the same search with serial soaks, and the price of them in walking."""
    rounds = work.rows(1000, 20)
    for full, quick in ((150, 20), (300, 24), (600, 28)):
        yield from _one_day(work.rows(full, quick), f"routing.{full}", rounds)
    yield _full_rules(work.rows(150, 20), rounds)
    yield _matrix(work.rows(600, 40))


def _one_day(stones_n: int, name: str, rounds: int) -> Iterator[Figure]:
    day = made_up_day(stones_n)
    serial = day._replace(crews=[replace(crew, max_open=1) for crew in day.crews])
    free = day._replace(stops=[replace(one, apply_s=0.0, soak_min_s=0.0, soak_max_s=0.0) for one in day.stops])
    waits, ideal = _planned(serial, rounds), _planned(free, rounds)
    near = [_counted(one, baseline_plan(one.stops, one.crews, one.walk)) for one in (serial, day)]
    ours = {price: _planned(day, rounds, price) for price in PRICES}
    best = ours[PRICE]
    said = f"serial {waits}; no soaks at all {ideal}; nearest neighbour {near[0]}, interleaved {near[1]}; ours at " + (
        "; ".join(f"price {price:g} {done}" for price, done in ours.items())
    )
    short = max((one for one in ours.values() if one.walk_m <= 2 * waits.walk_m), key=lambda one: one.stones)
    rows = (
        ("stones", _gain(best.stones, waits.stones), "% more stones than serial", ">= 25"),
        ("priority", _gain(best.priority, waits.priority), "% more priority than serial", ">= 15"),
        ("walking", best.walk_m / waits.walk_m, "times the walking of serial", "<= 2.5"),
        ("short", _gain(short.stones, waits.stones), "% more stones, walking no more than 2 x", ">= 15"),
        ("ideal", -_gain(best.priority, ideal.priority), "% priority below the plan without soaks", "<= 6"),
    )
    for what, value, unit, target in rows:
        yield Figure(
            name=f"{name}.{what}", value=value, unit=unit, n=stones_n, target=target, data_set=f"seed {SEED}; {MIX}",
            baseline="the same search, one stone open at a time", warm_up=NO_WARM_UP, note=said,
        )  # fmt: skip


def _gain(ours: float, theirs: float) -> float:
    return 100.0 * (ours - theirs) / max(theirs, 1)


def _planned(day: Day, rounds: int, price: float = PRICE) -> _Done:
    rules = Rules(day.refills, price)
    return _counted(day, plan_day(day.stops, day.crews, day.walk, seed=1, iterations=rounds, rules=rules))


def _counted(day: Day, plan: DayPlan) -> _Done:
    """Count a plan that the independent check finds nothing wrong with."""
    if broken := check_plan(plan, day.stops, day.crews, day.walk, day.refills):
        raise AssertionError(broken[0])
    priority = {stop.stop_id: stop.priority for stop in day.stops}
    walked = sum(one.walk_m for one in plan.days)
    return _Done(len(plan.done), sum(priority[one] for one in plan.done), walked)


def _full_rules(stones_n: int, rounds: int) -> Figure:
    day = full_day(stones_n)
    begin = time.perf_counter()
    done = _planned(day, rounds)
    took_s = time.perf_counter() - begin
    return Figure(
        name="routing.full_rules", value=took_s, unit="s", n=stones_n, target="<= 20", warm_up=NO_WARM_UP,
        data_set=f"seed {SEED}; two skills, five taps, 6 or 25 l a stone, 60 l carried, windows, a break; 4 crews",
        note=f"{done}; checked again without a violation",
    )  # fmt: skip


def _matrix(stops_n: int) -> Figure:
    """Time the walking matrix on 40 ha with 14 obstacles; its error is measured in the tests."""
    chance = np.random.default_rng(SEED)
    boxes = [
        shapely.box(x, y, x + wide, y + deep)
        for x, y, wide, deep in np.column_stack([chance.uniform(20, 560, (14, 2)), chance.uniform(8, 60, (14, 2))])
    ]
    xy = chance.uniform(0, 630, (4 * stops_n, 2))
    xy = xy[~shapely.intersects_xy(shapely.union_all(boxes), *xy.T)][:stops_n]
    begin = time.perf_counter()
    walk_matrix(xy, Ground(barriers=boxes))
    return Figure(
        name="routing.matrix", value=time.perf_counter() - begin, unit="s", n=len(xy), target="<= 2",
        data_set=f"seed {SEED}; 14 rectangles of 8 to 60 m on 630 m by 630 m, stops all over", warm_up=NO_WARM_UP,
    )  # fmt: skip
