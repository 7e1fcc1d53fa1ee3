"""Making good routes better: stops left over go in where they fit, orders change where that saves time or walking."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gravegis.science.routing.model import PRIORITY_BASE

if TYPE_CHECKING:
    from collections.abc import Callable

    from gravegis.science.routing.daytable import DayTable

    Routes = list[list[int]]

__all__ = ["shorten", "swap_in", "top_up"]

PLACES_TRIED = 3  # own choice: a stop fits at one of the places with the smallest detour or nowhere


def top_up(table: DayTable, routes: Routes) -> Routes:
    """Put stops that are left over where they fit, high priority and short work first."""
    filled = [list(route) for route in routes]
    planned = {stop for route in filled for stop in route}
    left = [k for k in range(len(table.stops)) if k not in planned and table.allowed[:, k].any()]
    left.sort(key=lambda k: (-table.stops[k].priority, int(table.work_s[:, k].min()), k))
    free = {c: _free(table, c, route) for c, route in enumerate(filled)}
    for k in left:
        options = []
        for c in np.flatnonzero(table.allowed[:, k]):
            added = table.added_s(int(c), filled[c], k)
            if int(added.min()) + int(table.work_s[c, k]) <= free[int(c)]:
                options += [(int(added[at]), int(c), int(at)) for at in np.argsort(added, kind="stable")[:PLACES_TRIED]]
        for _, c, at in sorted(options)[: 2 * PLACES_TRIED]:
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


def swap_in(table: DayTable, routes: Routes, *, cancelled: Callable[[], bool] | None = None) -> Routes:
    """Give the place of a stop to one of a higher class, or to one of its class that takes less."""
    better = [list(route) for route in routes]
    planned = {stop for route in better for stop in route}
    left = [k for k in range(len(table.stops)) if k not in planned and table.allowed[:, k].any()]
    left.sort(key=lambda k: (-table.stops[k].priority, int(table.work_s[:, k].min()), k))
    for k in left[:200]:
        if cancelled is not None and cancelled():
            break
        gain = PRIORITY_BASE ** table.stops[k].priority
        for c in np.flatnonzero(table.allowed[:, k]):
            worth = [PRIORITY_BASE ** table.stops[one].priority for one in better[c]]
            spots = [at for at, value in enumerate(worth) if value < gain]
            spots.sort(key=lambda at: (worth[at], -int(table.work_s[c, better[c][at]])))
            rest_of = ([*better[c][:at], k, *better[c][at + 1 :]] for at in spots[:PLACES_TRIED])
            new = next((order for order in rest_of if table.line(int(c), order) is not None), None)
            if new is not None:
                better[c] = new
                break
    return better
