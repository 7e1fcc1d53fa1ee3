"""One day as whole seconds: how long every hop takes each crew, and what fits into its shift."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gravegis.science.routing.model import (
    PRIORITY_BASE,
    Crew,
    CrewDay,
    DayPlan,
    Provenance,
    Reason,
    Stop,
    Unplanned,
    Visit,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from gravegis.science.routing.walking import WalkMatrix

    Ints = NDArray[np.int64]
    Routes = list[list[int]]

__all__ = ["BARRED_S", "DayTable", "best_insertion", "finish_plan", "fit", "in_words", "score", "table_of", "top_up"]

# Stands for "not on foot": far above any shift, far below what the solver's integers can hold.
BARRED_S = 10_000_000


@dataclass(frozen=True, slots=True, eq=False)
class DayTable:
    """Stops and crews sorted by id, with times rounded up to whole seconds.

    ``hop_s[c]`` (places, places) is the walking time of crew c; ``allowed`` (crews, stops) says which
    crew may do which stop at all: it has the skill, gets there, and the job alone fits its shift.
    """

    stops: tuple[Stop, ...]
    crews: tuple[Crew, ...]
    walk: WalkMatrix
    hop_s: tuple[Ints, ...]
    place: Ints
    service_s: Ints
    walk_s: Ints
    """Walk of each crew out to each stop and back, shape (crews, stops); `BARRED_S` or more if barred. [s]"""
    shift_s: Ints
    """Start and end of each shift, shape (crews, 2), start rounded up and end down. [s]"""
    allowed: NDArray[np.bool_]

    def end_s(self, crew: int, order: Sequence[int]) -> int:
        """Return when the crew is back at its base after doing the stops in this order. [s]"""
        start = int(self.shift_s[crew, 0])
        if not order:
            return start
        way = self._way(crew, order)
        return start + int(self.hop_s[crew][way[:-1], way[1:]].sum() + self.service_s[list(order)].sum())

    def _way(self, crew: int, order: Sequence[int]) -> Ints:
        ends = self.crews[crew]
        return np.concatenate([[ends.start_place], self.place[list(order)], [ends.end_place]]).astype(np.int64)


def table_of(stops: Sequence[Stop], crews: Sequence[Crew], walk: WalkMatrix) -> DayTable:
    """Sort by place, then id, and round up to whole seconds; the order of the input leaves no trace.

    The place comes first so that another name for a stone leaves the plan as it is.
    """
    in_order = tuple(sorted(stops, key=lambda stop: (stop.place, stop.stop_id)))
    out = tuple(sorted(crews, key=lambda crew: crew.crew_id))
    paces = {crew.pace_factor: _whole(walk.seconds * crew.pace_factor) for crew in out}
    hop_s = tuple(paces[crew.pace_factor] for crew in out)
    place = np.array([stop.place for stop in in_order], dtype=np.int64)
    service_s = _whole(np.array([stop.service_s for stop in in_order], dtype=np.float64))
    walk_s = np.zeros((len(out), len(in_order)), dtype=np.int64)
    skilled = np.zeros((len(out), len(in_order)), dtype=bool)
    for c, crew in enumerate(out):
        walk_s[c] = hop_s[c][crew.start_place, place] + hop_s[c][place, crew.end_place]
        skilled[c] = [not stop.skill or stop.skill in crew.skills for stop in in_order]
    shift_s = np.array(
        [(math.ceil(crew.shift_from_s), math.floor(crew.shift_to_s)) for crew in out], dtype=np.int64
    ).reshape(-1, 2)
    fits = walk_s + service_s <= (shift_s[:, 1] - shift_s[:, 0])[:, None]
    allowed = skilled & fits & (walk_s < BARRED_S)
    return DayTable(in_order, out, walk, hop_s, place, service_s, walk_s, shift_s, allowed)


def in_words(seconds: int) -> str:
    """Return a duration for people: seconds below two minutes, otherwise minutes."""
    return f"{seconds} s" if seconds < 120 else f"{seconds / 60:.0f} min"


def _whole(seconds: NDArray[np.float64]) -> Ints:
    """Round up to whole seconds; a millionth above one is rounding noise. Infinite becomes barred."""
    up = np.ceil(seconds - 1e-6)
    return np.where(up < BARRED_S, up, BARRED_S).astype(np.int64)


def best_insertion(table: DayTable, crew: int, order: Sequence[int], stop: int) -> tuple[int, int]:
    """Return by how much the day gets longer with the stop at its best position, and that position."""
    if not order:
        return int(table.walk_s[crew, stop] + table.service_s[stop]), 0
    way, hop, place = table._way(crew, order), table.hop_s[crew], table.place[stop]
    added = hop[way[:-1], place] + hop[place, way[1:]] - hop[way[:-1], way[1:]]
    best = int(np.argmin(added))
    return int(added[best] + table.service_s[stop]), best


def fit(table: DayTable, routes: Routes) -> Routes:
    """Drop what a crew may not do, then low priorities with long detours, until every day fits."""
    fitted = []
    for c, route in enumerate(routes):
        order = [stop for stop in route if table.allowed[c, stop]]
        while table.end_s(c, order) > table.shift_s[c, 1]:
            saving = [
                (-table.stops[stop].priority, table.end_s(c, order) - table.end_s(c, order[:k] + order[k + 1 :]), -k)
                for k, stop in enumerate(order)
            ]
            del order[-max(saving)[2]]
        fitted.append(order)
    return fitted


def top_up(table: DayTable, routes: Routes) -> Routes:
    """Put stops that are left over where they fit, high priority and small detour first."""
    filled = [list(route) for route in routes]
    planned = {stop for route in filled for stop in route}
    left = [k for k in range(len(table.stops)) if k not in planned and table.allowed[:, k].any()]
    left.sort(key=lambda k: (-table.stops[k].priority, table.service_s[k], k))
    spare = [int(table.shift_s[c, 1]) - table.end_s(c, route) for c, route in enumerate(filled)]
    changed = True
    while changed:
        changed = False
        for k in list(left):
            added, c, at = _cheapest(table, filled, k)
            if added <= spare[c]:
                filled[c].insert(at, k)
                spare[c] -= added
                left.remove(k)
                changed = True
    return filled


def _cheapest(table: DayTable, routes: Routes, stop: int) -> tuple[int, int, int]:
    """Return (added seconds, crew, position) of the insertion that leaves the most time over."""
    options = []
    for c in np.flatnonzero(table.allowed[:, stop]):
        added, at = best_insertion(table, int(c), routes[c], stop)
        over = table.end_s(int(c), routes[c]) + added - int(table.shift_s[c, 1])
        options.append((max(over, 0), added, int(c), at))
    return min(options)[1:]


def score(table: DayTable, routes: Routes) -> tuple[int, int]:
    """Return priority points done and, as tie-break, minus the time from leaving to coming back."""
    points = sum(PRIORITY_BASE ** (table.stops[stop].priority - 1) for route in routes for stop in route)
    away = sum(table.end_s(c, route) - int(table.shift_s[c, 0]) for c, route in enumerate(routes))
    return points, -away


def finish_plan(table: DayTable, routes: Routes, refused: Sequence[Unplanned], provenance: Provenance) -> DayPlan:
    """Work out all times again from the matrix, and say why each stop left over is not in the plan."""
    planned = {stop for route in routes for stop in route}
    named = {left.stop_id for left in refused}
    left = [
        _no_time(table, routes, k)
        for k, stop in enumerate(table.stops)
        if k not in planned and stop.stop_id not in named
    ]
    days = tuple(_crew_day(table, c, route) for c, route in enumerate(routes))
    unplanned = tuple(sorted([*refused, *left], key=lambda item: item.stop_id))
    return DayPlan(days, unplanned, provenance)


def _no_time(table: DayTable, routes: Routes, stop: int) -> Unplanned:
    added, c, _ = _cheapest(table, routes, stop)
    over = table.end_s(c, routes[c]) + added - int(table.shift_s[c, 1])
    detail = f"takes {in_words(added)} with the walk; crew {table.crews[c].crew_id} would be back {in_words(over)} late"
    return Unplanned(table.stops[stop].stop_id, Reason.NO_TIME_LEFT, detail)


def _crew_day(table: DayTable, c: int, route: Sequence[int]) -> CrewDay:
    """Leave at the start of the shift, walk, work, walk back; nobody waits."""
    crew, hop, metres = table.crews[c], table.hop_s[c], table.walk.metres
    clock = leave = int(table.shift_s[c, 0])
    here, walk_s, walk_m, visits = crew.start_place, 0, 0.0, []
    for k in route:
        stop = table.stops[k]
        walk_s += int(hop[here, stop.place])
        walk_m += float(metres[here, stop.place])
        arrive = clock + int(hop[here, stop.place])
        clock = arrive + int(table.service_s[k])
        visits.append(Visit(stop.stop_id, arrive, clock))
        here = stop.place
    if route:
        walk_s += int(hop[here, crew.end_place])
        walk_m += float(metres[here, crew.end_place])
        clock += int(hop[here, crew.end_place])
    return CrewDay(crew.crew_id, tuple(visits), walk_m, walk_s, leave, clock)
