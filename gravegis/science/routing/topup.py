"""Making good routes better: stops left over go in where they fit, orders change where that saves time or walking."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gravegis.science.routing.daytable import score

if TYPE_CHECKING:
    from collections.abc import Callable

    from gravegis.science.routing.daytable import DayTable

    Routes = list[list[int]]

__all__ = ["rebuild", "shorten", "top_up"]

PLACES_TRIED = 3  # own choice: a stop fits at one of the places with the smallest detour or nowhere
NEAR_TRIED = 25  # own choice


def top_up(table: DayTable, routes: Routes, *, among: list[int] | None = None) -> Routes:
    """Put stops that are left over where they fit, high priority and short work first."""
    filled = [list(route) for route in routes]
    planned = {stop for route in filled for stop in route}
    if among is None:
        among = [int(k) for k in np.flatnonzero(table.allowed.any(axis=0))]
    left = [k for k in among if k not in planned]
    left.sort(key=lambda k: (-table.stops[k].priority, int(table.work_s[:, k].min()), k))
    free = {c: _free(table, c, route) for c, route in enumerate(filled)}
    for k in left:
        options = []
        for c in np.flatnonzero(table.allowed[:, k]).tolist():
            added = table.added_s(c, filled[c], k)
            if int(added.min()) + int(table.work_s[c, k]) <= free[c]:
                options += [(int(added[at]), c, int(at)) for at in np.argsort(added, kind="stable")[:PLACES_TRIED]]
        ranked = sorted(options)
        # a crew with nothing to do is asked last, however far it has to walk
        for _, c, at in (
            *ranked[: 2 * PLACES_TRIED],
            *(one for one in ranked[2 * PLACES_TRIED :] if not filled[one[1]]),
        ):
            tried = [*filled[c][:at], k, *filled[c][at:]]
            if table.line(c, tried) is not None:
                filled[c], free[c] = tried, _free(table, c, tried)
                break
    return filled


def _free(table: DayTable, c: int, route: list[int]) -> int:
    line = table.line(c, route)
    return -1 if line is None else table.free_s(c, line)


def shorten(table: DayTable, routes: Routes, *, rounds: int, rng: np.random.Generator) -> Routes:
    """Move stops within their routes where that lowers time and walking at their price; so many tries a crew."""
    better = [list(route) for route in routes]
    for c, route in enumerate(better):
        line = table.line(c, route)
        if line is None or len(route) < 2:
            continue
        cost = line.cost
        for take, put in rng.integers(0, len(route), (rounds, 2)):
            tried = [*route[:take], *route[take + 1 :]]
            tried.insert(int(put), route[take])
            found = table.line(c, tried) if take != put else None
            if found is not None and found.cost < cost:
                route, cost = tried, found.cost
        better[c] = route
    return better


def rebuild(
    table: DayTable, routes: Routes, *, rounds: int, rng: np.random.Generator, cancelled: Callable[[], bool] | None
) -> Routes:
    """Take a few stops that follow each other out and fill up with what is near; kept where it is no worse."""
    best, worth = routes, score(table, routes)
    for _ in range(rounds):
        if cancelled is not None and cancelled():
            break
        busy = [c for c, route in enumerate(best) if route]
        if not busy:
            break
        c = int(rng.choice(busy))
        at, n = int(rng.integers(0, len(best[c]))), int(rng.integers(1, 5))
        tried = [list(route) for route in best]
        hole = tried[c][at]
        del tried[c][at : at + n]
        if table.line(c, tried[c]) is None:
            continue
        filled = top_up(table, tried, among=_near(table, tried, c, hole))
        if (found := score(table, filled)) > worth:
            best, worth = filled, found
    return best


def _near(table: DayTable, routes: Routes, c: int, hole: int) -> list[int]:
    """Return the stops left over that are near, short and of a high class."""
    planned = {stop for route in routes for stop in route}
    left = np.array([k for k in np.flatnonzero(table.allowed.any(axis=0)) if k not in planned], dtype=np.int64)
    cost = table.hop_s[c][table.place[hole], table.place[left]] + table.work_s[c, left]
    rank = np.array([-table.stops[k].priority for k in left])
    return [int(k) for k in left[np.lexsort((cost, rank))][:NEAR_TRIED]]
