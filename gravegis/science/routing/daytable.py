"""One day as whole seconds: what every hop and stop takes each crew, and how routes become a checked plan."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from gravegis.science.routing.model import PRIORITY_BASE, Crew, DayPlan, Provenance, Reason, Refill, Stop, Unplanned
from gravegis.science.routing.timeline import Sequencer, Task, Timeline, task_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from gravegis.science.routing.walking import WalkMatrix

    Ints = NDArray[np.int64]
    Routes = list[list[int]]

__all__ = ["BARRED_S", "DayTable", "Rules", "finish_plan", "fit", "in_words", "points_of", "score", "table_of"]

# Stands for "not on foot": far above any shift, far below what the solver's integers can hold.
BARRED_S = 10_000_000


@dataclass(frozen=True, slots=True)
class Rules:
    """What holds for the day beside stops and crews.

    ``refills`` are the places whose water is fit for rinsing; ``walk_price`` is how many more seconds of the day a
    second of walking counts: 0 takes the most stones, higher walks less.
    """

    refills: tuple[Refill, ...] = ()
    walk_price: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class DayTable:
    """Stops and crews sorted, with times rounded up to whole seconds.

    ``hop_s[c]`` (places, places) is the walking time of crew c, ``work_s`` (crews, stops) its hands-on time;
    ``allowed`` (crews, stops) says which crew could do which stop if it did nothing else.
    """

    stops: tuple[Stop, ...]
    crews: tuple[Crew, ...]
    walk: WalkMatrix
    rules: Rules
    hop_s: tuple[Ints, ...]
    place: Ints
    work_s: Ints
    walk_s: Ints
    """Walk of each crew out to each stop and back, shape (crews, stops); `BARRED_S` or more if barred. [s]"""
    shift_s: Ints
    allowed: NDArray[np.bool_]
    sequencers: tuple[Sequencer, ...]
    known: dict[tuple[int, tuple[int, ...]], Timeline | None] = field(default_factory=dict)

    def line(self, crew: int, order: Sequence[int]) -> Timeline | None:
        """Return the timeline of a crew for an order, None where it does not fit; the same each time."""
        key = (crew, tuple(order))
        if key not in self.known:
            if len(self.known) > 200_000:
                self.known.clear()
            self.known[key] = self.sequencers[crew].run(order)
        return self.known[key]

    def free_s(self, crew: int, line: Timeline) -> int:
        """Return the time of the shift in which the crew neither walks nor works: waiting, and before the end. [s]"""
        waiting = sum(op.start_s - op.arrive_s for op in line.ops)
        return int(self.shift_s[crew, 1] - line.back_s + waiting)

    def added_s(self, crew: int, order: Sequence[int], stop: int) -> Ints:
        """Return how much walking the stop adds at each place of the order, shape (len(order) + 1,). [s]"""
        hop, place = self.hop_s[crew], int(self.place[stop])
        ends = self.crews[crew]
        way = np.concatenate([[ends.start_place], self.place[list(order)], [ends.end_place]]).astype(np.int64)
        return np.asarray(hop[way[:-1], place] + hop[place, way[1:]] - hop[way[:-1], way[1:]], dtype=np.int64)


def table_of(stops: Sequence[Stop], crews: Sequence[Crew], walk: WalkMatrix, rules: Rules | None = None) -> DayTable:
    """Sort by place, then id, and round up to whole seconds; the order of the input leaves no trace.

    The place comes first so that another name for a stone leaves the plan as it is.
    """
    rules = rules or Rules()
    in_order = tuple(sorted(stops, key=lambda stop: (stop.place, stop.stop_id)))
    out = tuple(sorted(crews, key=lambda crew: crew.crew_id))
    paces = {crew.pace_factor: _whole(walk.seconds * crew.pace_factor) for crew in out}
    hop_s = tuple(paces[crew.pace_factor] for crew in out)
    hops = {pace: table.tolist() for pace, table in paces.items()}
    metres, names = walk.metres.tolist(), tuple(stop.stop_id for stop in in_order)
    sequencers = tuple(
        Sequencer(
            crew, names, tuple(task_of(stop, crew) for stop in in_order), hops[crew.pace_factor], metres,
            rules.refills, rules.walk_price,
        )
        for crew in out
    )  # fmt: skip
    place = np.array([stop.place for stop in in_order], dtype=np.int64)
    shape = (len(out), len(in_order))
    work_s = np.array([[_work(task) for task in one.tasks] for one in sequencers], dtype=np.int64).reshape(shape)
    walk_s = np.zeros(shape, dtype=np.int64)
    for c, crew in enumerate(out):
        walk_s[c] = hop_s[c][crew.start_place, place] + hop_s[c][place, crew.end_place]
    shift_s = np.array([one.shift_s for one in sequencers], dtype=np.int64).reshape(-1, 2)
    allowed = np.array([_alone(one, in_order, walk_s[c]) for c, one in enumerate(sequencers)], dtype=bool)
    return DayTable(
        in_order, out, walk, rules, hop_s, place, work_s, walk_s, shift_s, allowed.reshape(shape), sequencers
    )


def _work(task: Task) -> int:
    return task.first_s + task.scrub_s


def _alone(one: Sequencer, stops: Sequence[Stop], walk_s: Ints) -> list[bool]:
    """Return which stops the crew could do if it did nothing else."""
    skills = one.crew.skills
    return [
        bool(walk_s[k] < BARRED_S and (not stop.skill or stop.skill in skills) and one.run([k]) is not None)
        for k, stop in enumerate(stops)
    ]


def in_words(seconds: int) -> str:
    """Return a duration for people: seconds below two minutes, otherwise minutes."""
    return f"{seconds} s" if seconds < 120 else f"{seconds / 60:.0f} min"


def _whole(seconds: NDArray[np.float64]) -> Ints:
    """Round up to whole seconds; a millionth above one is rounding noise. Infinite becomes barred."""
    up = np.ceil(seconds - 1e-6)
    return np.where(up < BARRED_S, up, BARRED_S).astype(np.int64)


def fit(table: DayTable, routes: Routes) -> Routes:
    """Drop what a crew may not do, then of each class the stop whose loss frees most, until every day fits."""
    return [_fitted(table, c, [k for k in route if table.allowed[c, k]]) for c, route in enumerate(routes)]


def _fitted(table: DayTable, c: int, wished: list[int]) -> list[int]:
    """Take the stops one after the other; where the next does not fit, drop the least worth of those so far."""
    order: list[int] = []
    for k in wished:
        order.append(k)
        while table.line(c, order) is None:
            work = table.work_s[c]
            if table.stops[k].windows is not None and table.line(c, order[:-1]) is not None:
                order.pop()
                break
            worst = min(order, key=lambda one: (table.stops[one].priority, -int(work[one]), -order.index(one)))
            order.remove(worst)
    return order


def points_of(table: DayTable, routes: Routes) -> int:
    """Return the priority points of the stops in the routes."""
    return sum(PRIORITY_BASE ** (table.stops[stop].priority - 1) for route in routes for stop in route)


def score(table: DayTable, routes: Routes) -> tuple[int, float]:
    """Return priority points done and, as tie-break, minus the time away and the price of its walking."""
    lines = [table.line(c, route) for c, route in enumerate(routes)]
    if any(line is None for line in lines):  # taking a stop out can leave the rest without a way to fit
        return -1, 0.0
    cost = sum(line.cost - int(table.shift_s[c, 0]) for c, line in enumerate(lines) if line is not None and line.ops)
    return points_of(table, routes), -cost


def finish_plan(table: DayTable, routes: Routes, refused: Sequence[Unplanned], provenance: Provenance) -> DayPlan:
    """Return the timelines as a plan, and say why each stop left over is not in it."""
    planned = {stop for route in routes for stop in route}
    named = {left.stop_id for left in refused}
    left = [
        _no_time(table, routes, k)
        for k, stop in enumerate(table.stops)
        if k not in planned and stop.stop_id not in named
    ]
    days = tuple(one.day(table.line(c, routes[c])) for c, one in enumerate(table.sequencers))
    unplanned = tuple(sorted([*refused, *left], key=lambda item: item.stop_id))
    return DayPlan(days, unplanned, provenance)


def _no_time(table: DayTable, routes: Routes, k: int) -> Unplanned:
    """Say how much the stop takes beside what the crew with most time over has to spare."""
    able, stop, options = np.flatnonzero(table.allowed[:, k]).tolist(), table.stops[k], []
    for c in able:
        line = table.line(c, routes[c])
        free = 0 if line is None else table.free_s(c, line)
        takes = int(table.added_s(c, routes[c], k).min() + table.work_s[c, k])
        options.append((takes - free, takes, free, c))
    over, takes, free, c = min(options)
    name = table.crews[c].crew_id
    if over <= 0 and (dry := _without_refill(table, c, stop)) is not None:
        return dry
    detail = f"takes {in_words(takes)} with the walk; crew {name} "
    if over > 0:
        detail += f"would be back {in_words(over)} late"
    else:
        detail += f"has {in_words(free)} over, in no piece that fits" + (f" ({stop.why})" if stop.why else "")
    return Unplanned(stop.stop_id, Reason.NO_TIME_LEFT, detail)


def _without_refill(table: DayTable, c: int, stop: Stop) -> Unplanned | None:
    """Return the stop as left out for want of water or cleaner, where the crew reaches no place that has it."""
    crew, hop = table.crews[c], table.hop_s[c]
    near = [
        one for one in table.rules.refills
        if hop[crew.start_place, one.place] < BARRED_S and hop[one.place, crew.end_place] < BARRED_S
    ]  # fmt: skip
    for need_l, full_l, kept, reason in (
        (stop.water_l, crew.water_l, any(one.water for one in near), Reason.NO_REFILL),
        (stop.cleaner_l, crew.cleaner_l, any(one.cleaner for one in near), Reason.NO_CLEANER_LEFT),
    ):
        if need_l > 0 and full_l < math.inf and not kept:
            detail = f"{need_l:g} l, of the {full_l:g} l of crew {crew.crew_id} too little is left"
            return Unplanned(stop.stop_id, reason, detail)
    return None
