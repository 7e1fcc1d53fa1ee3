"""The block of a leader: the post, and a list by priority for each of the pairs."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import shapely

from gravegis.science.routing.model import PRIORITY_BASE, WORK, Post, Spares
from gravegis.science.routing.timeline import whole_s

if TYPE_CHECKING:
    from collections.abc import Iterator, Set

    from numpy.typing import NDArray

    from gravegis.science.routing.daytable import DayTable
    from gravegis.science.routing.model import LedRules
    from gravegis.science.routing.timeline import Timeline

    Bools = NDArray[np.bool_]
    Ints = NDArray[np.int64]
    Routes = list[list[int]]

__all__ = ["choose_post", "lists_by_class", "sees", "spares_of"]

# Own choices: posts tried and looked at closely, seconds of walking and going to and fro a stop, longest wait for a
# stone while others could be worked on, and stones tried for the next place of a list.
POSTS_TRIED, LOOKED_AT = 400, 12
HOP_S = 60
LONG_WAIT_S = 600
NEXT_TRIED = 12


def sees(led: LedRules, post: int, place: int) -> bool:
    """Return whether a place is near enough to a post, with nothing between that hides it."""
    return bool(_seen(led, led.xy_m[post], led.xy_m[[place]])[0])


def _seen(led: LedRules, post_xy_m: NDArray[np.float64], xy_m: NDArray[np.float64]) -> Bools:
    near = np.hypot(*(xy_m - post_xy_m).T) <= led.sight_m
    if led.screens and near.any():
        views = shapely.linestrings(np.stack([np.broadcast_to(post_xy_m, xy_m[near].shape), xy_m[near]], axis=1))
        hidden = shapely.intersects(np.asarray(views)[:, None], np.array(led.screens, dtype=object)).any(axis=1)
        near[np.flatnonzero(near)[hidden]] = False
    return np.asarray(near, dtype=bool)


def choose_post(table: DayTable, led: LedRules) -> Post | None:
    """Return the stop beside which a leader sees the most urgent work the crews can do; None without such work.

    Between posts of equal worth the one nearest to the base counts.
    """
    able = np.flatnonzero(table.allowed.any(axis=0))
    if not len(able):
        return None
    order = able[np.lexsort((table.work_s[:, able].min(axis=0), [-table.stops[k].priority for k in able]))]
    xy_m, tried = led.xy_m[table.place[order]], able[:: -(-len(able) // POSTS_TRIED)]
    rough = []
    for k in tried.tolist():
        near = np.hypot(*(xy_m - led.xy_m[table.place[k]]).T) <= led.sight_m
        rough.append((*_worth(table, order[near]), -int(table.walk_s[:, k].min()), -k))
    best = max(
        (*_worth(table, order[_seen(led, led.xy_m[table.place[-k]], xy_m)]), walk, k)
        for _, _, walk, k in sorted(rough, reverse=True)[:LOOKED_AT]
    )
    stop = table.stops[-best[-1]]
    return Post(table.crews[0].leader, stop.stop_id, stop.place)


def _worth(table: DayTable, order: Ints) -> tuple[int, int]:
    """Return the points and the number of the stops, taken in this order, that fill the crews' time."""
    room_s = int((table.shift_s[:, 1] - table.shift_s[:, 0]).sum())
    taken = order[np.cumsum(table.work_s[:, order].mean(axis=0) + HOP_S) <= room_s]
    return sum(PRIORITY_BASE ** (table.stops[k].priority - 1) for k in taken.tolist()), len(taken)


def lists_by_class(table: DayTable) -> Routes:
    """Return for each crew its stops, the most urgent first; whoever is free first takes the next.

    A stone that must be waited for while others are open comes later than its class.
    """
    routes: Routes = [[] for _ in table.crews]
    free = {c: int(table.shift_s[c, 0]) for c in range(len(table.crews))}
    open_ = set(np.flatnonzero(table.allowed.any(axis=0)).tolist())
    while free and open_:
        c = min(free, key=lambda crew: (free[crew], crew))
        chosen = _next(table, c, routes[c], open_)
        if chosen is None:
            del free[c]
            continue
        routes[c].append(chosen)
        open_.remove(chosen)
        line = table.line(c, routes[c])
        free[c] = free[c] if line is None else line.back_s
    return [_shorter(table, c, route) for c, route in enumerate(routes)]


def _next(table: DayTable, c: int, route: list[int], open_: set[int]) -> int | None:
    """Return the stop of the highest class that costs least behind the list, without a long wait where one is there."""
    before = table.line(c, route)
    if before is None:
        return None
    late: list[tuple[int, float, int]] = []
    for priority, found in _classes(table, c, route, open_):
        soon: list[tuple[float, int]] = []
        for k in found:
            line = table.line(c, [*route, k])
            if line is not None:
                cost = line.cost - before.cost
                (late.append((-priority, cost, k)) if _waits(table, line, k) else soon.append((cost, k)))
        if soon:
            return min(soon)[1]
    return min(late)[2] if late else None


def _waits(table: DayTable, line: Timeline, k: int) -> bool:
    first = next(op for op in line.ops if op.ref == table.stops[k].stop_id and op.kind in WORK)
    return first.start_s - first.arrive_s > LONG_WAIT_S


def _classes(table: DayTable, c: int, route: list[int], open_: set[int]) -> Iterator[tuple[int, list[int]]]:
    """Give the nearest open stops of each class the crew may do, the highest class first."""
    here = table.place[route[-1]] if route else table.crews[c].start_place
    hop = table.hop_s[c][here]
    mine = sorted((k for k in open_ if table.allowed[c, k]), key=lambda k: (int(hop[table.place[k]]), k))
    for priority in (3, 2, 1):
        found = [k for k in mine if table.stops[k].priority == priority]
        if found:
            yield priority, found[:NEXT_TRIED]


def _shorter(table: DayTable, c: int, route: list[int]) -> list[int]:
    """Change places of stops that follow each other in a class as long as that saves time and walking."""
    best, line = route, table.line(c, route)
    better = line is not None
    while better and line is not None:
        better = False
        for at, (one, two) in enumerate(pairwise(best)):
            if table.stops[one].priority != table.stops[two].priority:
                continue
            tried = [*best[:at], two, one, *best[at + 2 :]]
            found = table.line(c, tried)
            if found is not None and found.cost < line.cost:
                best, line, better = tried, found, True
                break
    return best


def _still_open(table: DayTable, c: int, k: int, route: list[int]) -> bool:
    """Return whether a stop may be worked on once the list is done."""
    windows, line = table.stops[k].windows, table.line(c, route)
    if windows is None or line is None:
        return True
    done_s = max((op.end_s for op in line.ops), default=float(table.shift_s[c, 0]))
    return any(low <= done_s and done_s + whole_s(table.sequencers[c].tasks[k]) <= high for low, high in windows)


def spares_of(table: DayTable, routes: Routes, spares_n: int, *, taken: Set[str]) -> tuple[Spares, ...]:
    """Return for each crew what it goes on with if time is left: urgent, then near its last stop; each stone once.

    `taken` are the stops somebody does already.
    """
    gone = {k for k, stop in enumerate(table.stops) if stop.stop_id in taken}
    made = []
    for c, route in enumerate(routes):
        own: list[int] = []
        while len(own) < spares_n:
            left = {
                int(k)
                for k in np.flatnonzero(table.allowed[c]).tolist()
                if k not in gone and _still_open(table, c, k, route)
            }
            found = next(_classes(table, c, [*route, *own], left), None)
            if found is None:
                break
            own.append(found[1][0])
            gone.add(own[-1])
        made.append(Spares(table.crews[c].crew_id, tuple(table.stops[k].stop_id for k in own)))
    return tuple(made)
