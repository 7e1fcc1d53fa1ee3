"""What one crew does when: wet, soak, scrub, refill and rest, for stones in a given order.

While one stone soaks the crew wets the next or scrubs an older one. Stones are scrubbed in the order they were wetted.
Every step taken leaves a way to finish all that is open, in time and back at the base: there are no dead ends.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

from gravegis.science.routing.model import CrewDay, Op

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from gravegis.science.routing.model import Crew, Refill, Stop

__all__ = ["Sequencer", "Task", "Timeline", "clock", "task_of", "whole_s"]

FULL_DAY = ((-(10**9), 10**9),)
WIDTH = 2  # states kept a stage: own choice
LITRE_SLACK = 1e-9


class Task(NamedTuple):
    """A stop as whole seconds of one crew."""

    place: int
    first_s: int
    scrub_s: int
    soak_min_s: int
    soak_max_s: int
    water_l: float
    rinse_l: float
    cleaner_l: float
    windows: tuple[tuple[int, int], ...]
    soaks: bool


class Timeline(NamedTuple):
    """A finished sequence: steps, when the crew is back, seconds walked and the cost it was chosen by."""

    ops: tuple[Op, ...]
    back_s: int
    walk_s: int
    cost: float


class _State(NamedTuple):
    cost: float
    clock_s: int
    walk_s: int
    place: int
    open: tuple[tuple[int, int, int], ...]
    water_l: float
    cleaner_l: float
    rested: int
    link: tuple[object, ...] | None


def task_of(stop: Stop, crew: Crew) -> Task:
    """Return the stop in whole seconds of the crew, rounded so that no limit gets wider."""
    factor = crew.work_factor
    first = _up(stop.apply_s * factor) if stop.soaks else _up(stop.service_s * factor)
    scrub = _up((stop.service_s - stop.apply_s) * factor) if stop.soaks else 0
    given = FULL_DAY if stop.windows is None else tuple(sorted((_up(a), math.floor(b)) for a, b in stop.windows))
    limits = (_up(stop.soak_min_s), math.floor(stop.soak_max_s)) if stop.soaks else (0, 0)
    rinse = stop.rinse_l if stop.soaks else 0.0
    return Task(stop.place, first, scrub, *limits, stop.water_l - rinse, rinse, stop.cleaner_l, given, stop.soaks)


def whole_s(task: Task) -> int:
    """Return the shortest time from the first touch of a stop to its last. [s]"""
    return task.first_s + task.soak_min_s + task.scrub_s


def clock(seconds: float) -> str:
    """Return seconds since midnight as hours and minutes."""
    return f"{int(seconds) // 3600:02d}:{int(seconds) % 3600 // 60:02d}"


def _up(seconds: float) -> int:
    return math.ceil(seconds - 1e-6)


@dataclass(slots=True)
class Sequencer:
    """Makes the timeline of one crew for any order of its stops; ``price`` is what a second of walking costs more."""

    crew: Crew
    names: tuple[str, ...]
    tasks: tuple[Task, ...]
    hop_s: list[list[int]]
    metres: list[list[float]]
    refills: tuple[Refill, ...] = ()
    price: float = 0.0
    shift_s: tuple[int, int] = (0, 0)
    width: int = WIDTH

    def __post_init__(self) -> None:
        """Take the shift in whole seconds, inside the one given."""
        self.shift_s = (math.ceil(self.crew.shift_from_s), math.floor(self.crew.shift_to_s))

    def run(self, order: Sequence[int]) -> Timeline | None:
        """Return the cheapest timeline found for the stops in this order, None where they do not all fit."""
        crew = self.crew
        start = self.shift_s[0]
        stages = [_State(start, start, 0, crew.start_place, (), crew.water_l, crew.cleaner_l, 0, None)]
        done: list[_State] = []
        for made in self._stages(order, stages):
            done = made
        best = [home for state in done if (home := self._home(state)) is not None]
        if not best:
            return None
        last = min(best, key=lambda state: state.cost)
        ops: list[Op] = []
        link = last.link
        while link is not None:
            ops.append(link[1])  # type: ignore[arg-type]
            link = link[0]  # type: ignore[assignment]
        return Timeline(tuple(reversed(ops)), last.clock_s, last.walk_s, last.cost)

    def _stages(self, order: Sequence[int], first: list[_State]) -> Iterator[list[_State]]:
        """Wet one stop after the other; yields the states with all stops finished, last of all."""
        n, layer = len(order), {(0, 0): first}
        finished = first if not n else []
        while layer:
            ahead: dict[tuple[int, int], list[_State]] = {}
            for (at, opened), states in layer.items():
                for state in states:
                    if at < n:
                        wet = self._next(state, order[at])
                        if wet is not None and self._can_finish(wet):
                            ahead.setdefault((at + 1, len(wet.open)), []).append(wet)
                    if opened:
                        ahead.setdefault((at, opened - 1), []).append(self._scrub(state))  # type: ignore[arg-type]
            layer = {key: self._kept(states) for key, states in ahead.items()}
            finished = finished + layer.pop((n, 0), [])
        yield finished

    def _kept(self, states: list[_State]) -> list[_State]:
        if len(states) <= self.width:
            return states
        return sorted(states, key=lambda state: (state.cost, state.clock_s, state.place))[: self.width]

    def _next(self, state: _State, k: int) -> _State | None:
        """Walk to a stop, by way of water where the cans are short, and wet it or do all its work."""
        task = self.tasks[k]
        if task.soaks and not self._may_open(state, task):
            return None
        at: _State | None = state
        if task.water_l > state.water_l + LITRE_SLACK or task.cleaner_l > state.cleaner_l + LITRE_SLACK:
            at = self._refill(state, task.place, task.water_l, task.cleaner_l)
        hop = 0 if at is None else self.hop_s[at.place][task.place]
        busy_s = None if at is None else self._until(task, at.clock_s + hop)
        if at is None or busy_s is None:
            return None
        at = self._rest(at, busy_s - at.clock_s)
        if at is None:
            return None
        arrive = at.clock_s + hop
        end_s = self._until(task, arrive)
        if end_s is None:
            return None
        begin = end_s - task.first_s
        high = next(high for low, high in task.windows if low <= begin and begin + whole_s(task) <= high)
        end = end_s
        op = Op("apply" if task.soaks else "work", self.names[k], task.place, arrive, begin, end)
        waiting = (*at.open, (k, end, high)) if task.soaks else at.open
        left = (at.water_l - task.water_l, at.cleaner_l - task.cleaner_l)
        return self._moved(at, (end, hop, task.place), op, waiting, left)

    def _until(self, task: Task, arrive_s: int) -> int | None:
        """Return when the first part ends in the first window that holds the whole work; None without one."""
        whole = whole_s(task)
        for low, high in task.windows:
            begin = max(arrive_s, low)
            if begin + whole <= high:
                return begin + task.first_s
        return None

    def _may_open(self, state: _State, task: Task) -> bool:
        if len(state.open) >= self.crew.max_open:
            return False
        far, tasks = self.crew.max_open_m, self.tasks
        return all(self.metres[tasks[k].place][task.place] <= far for k, _, _ in state.open)

    def _scrub(self, state: _State) -> _State | None:
        """Walk to the stop that soaks longest, wait for the end of its soak, scrub and rinse it."""
        (k, wet_s, high), *rest = state.open
        task = self.tasks[k]
        at: _State | None = state
        if task.rinse_l > state.water_l + LITRE_SLACK:
            at = self._refill(state, task.place, task.rinse_l, 0.0)
        if at is None:
            return None
        hop = self.hop_s[at.place][task.place]
        ready_s = max(at.clock_s + hop, wet_s + task.soak_min_s)
        at = self._rest(at, ready_s + task.scrub_s - at.clock_s)
        if at is None:
            return None
        arrive = at.clock_s + hop
        begin = max(arrive, wet_s + task.soak_min_s)
        end = begin + task.scrub_s
        if begin > wet_s + task.soak_max_s or end > high:
            return None
        op = Op("scrub", self.names[k], task.place, arrive, begin, end)
        return self._moved(at, (end, hop, task.place), op, tuple(rest), (at.water_l - task.rinse_l, at.cleaner_l))

    def _refill(self, state: _State, then: int, water_l: float, cleaner_l: float) -> _State | None:
        """Fill the cans where it is the least way round; None where no place gives what is short."""
        if water_l > self.crew.water_l or cleaner_l > self.crew.cleaner_l:
            return None
        no_water, no_cleaner = water_l > state.water_l + LITRE_SLACK, cleaner_l > state.cleaner_l + LITRE_SLACK
        ways = self._ways_to_fill(no_water=no_water, no_cleaner=no_cleaner)
        if not ways:
            return None
        at: _State | None = state
        for row in min(ways, key=lambda way: (self._round_s(state.place, way, then), way)):
            at = None if at is None else self._fill(at, self.refills[row])
        return at

    def _ways_to_fill(self, *, no_water: bool, no_cleaner: bool) -> list[tuple[int, ...]]:
        """Return the places that give all that is short; where none does, two one after the other, in both orders."""
        waters = [row for row, one in enumerate(self.refills) if one.water]
        cleaners = [row for row, one in enumerate(self.refills) if one.cleaner]
        if no_water and no_cleaner:
            both: list[tuple[int, ...]] = [(row,) for row in waters if row in cleaners]
            return both or [way for a in waters for b in cleaners for way in ((a, b), (b, a))]
        return [(row,) for row in (waters if no_water else cleaners)]

    def _round_s(self, place: int, way: tuple[int, ...], then: int) -> float:
        """Return the time of walking to places of filling, filling there, and walking on. [s]"""
        stands = [place, *(self.refills[row].place for row in way), then]
        return sum(self.hop_s[a][b] for a, b in pairwise(stands)) + sum(self.refills[row].service_s for row in way)

    def _fill(self, state: _State, one: Refill) -> _State | None:
        service, hop = _up(one.service_s), self.hop_s[state.place][one.place]
        at = self._rest(state, hop + service)
        if at is None:
            return None
        arrive = at.clock_s + hop
        op = Op("refill", one.refill_id, one.place, arrive, arrive, arrive + service)
        water = self.crew.water_l if one.water else at.water_l
        cleaner = self.crew.cleaner_l if one.cleaner else at.cleaner_l
        return self._moved(at, (arrive + service, hop, one.place), op, at.open, (water, cleaner))

    def _rest(self, state: _State, busy_s: int) -> _State | None:
        """Take the break that is due before something that takes so long; None where it cannot begin in time."""
        while state.rested < len(self.crew.breaks):
            due = self.crew.breaks[state.rested]
            if state.clock_s < due.from_s and state.clock_s + busy_s <= due.latest_s:
                return state
            begin = max(state.clock_s, _up(due.from_s))
            if begin > due.latest_s:
                return None
            op = Op("break", "", state.place, state.clock_s, begin, begin + _up(due.length_s))
            cost = state.cost + op.end_s - state.clock_s
            link = (state.link, op)
            state = state._replace(cost=cost, clock_s=int(op.end_s), rested=state.rested + 1, link=link)
        return state

    def _moved(
        self, state: _State, to: tuple[int, int, int], op: Op, waiting: tuple[tuple[int, int, int], ...],
        left: tuple[float, float],
    ) -> _State:  # fmt: skip
        end, hop, place = to
        cost = state.cost + end - state.clock_s + self.price * hop
        return _State(cost, end, state.walk_s + hop, place, waiting, *left, state.rested, (state.link, op))

    def _can_finish(self, state: _State) -> bool:
        at: _State | None = state
        while at is not None and at.open:
            at = self._scrub(at)
        return at is not None and self._home(at) is not None

    def _home(self, state: _State) -> _State | None:
        """Walk back to the base; None where that is after the shift."""
        if state.link is None:
            return state
        hop = self.hop_s[state.place][self.crew.end_place]
        at = state
        while at.rested < len(self.crew.breaks) and at.clock_s + hop > self.crew.breaks[at.rested].latest_s:
            rested = self._rest(at, hop)
            if rested is None:
                return None
            at = rested
        back = at.clock_s + hop
        if back > self.shift_s[1]:
            return None
        cost = at.cost + (1 + self.price) * hop
        return at._replace(cost=cost, clock_s=back, walk_s=at.walk_s + hop, place=self.crew.end_place)

    def day(self, line: Timeline | None) -> CrewDay:
        """Return the timeline as the crew's day, with the metres of the ways walked."""
        start = self.shift_s[0]
        if line is None or not line.ops:
            return CrewDay(self.crew.crew_id, (), 0.0, 0.0, start, start)
        way = [self.crew.start_place, *(op.place for op in line.ops), self.crew.end_place]
        walk_m = math.fsum(self.metres[a][b] for a, b in pairwise(way))
        return CrewDay(self.crew.crew_id, line.ops, walk_m, line.walk_s, start, line.back_s)
