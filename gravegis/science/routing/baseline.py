"""The plain plan: always the nearest stop of the highest class; fallback and comparison."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gravegis.science.routing.daytable import DayTable, Rules, finish_plan, table_of
from gravegis.science.routing.model import DayPlan, Provenance
from gravegis.science.routing.precheck import hopeless, validate
from gravegis.science.routing.topup import top_up

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from gravegis.science.routing.model import Crew, Stop
    from gravegis.science.routing.walking import WalkMatrix

__all__ = ["baseline_plan", "nearest_neighbour"]


def baseline_plan(
    stops: Sequence[Stop], crews: Sequence[Crew], walk: WalkMatrix, *, rules: Rules | None = None
) -> DayPlan:
    """Return the nearest-neighbour plan by priority class, soaks interleaved, filled up with what still fits.

    Raises LayerError for impossible values; needs no solver and no chance.
    """
    validate(stops, crews, walk)
    table = table_of(stops, crews, walk, rules or Rules())
    routes = top_up(table, nearest_neighbour(table))
    made = Provenance("nearest neighbour", "", seed=0, iterations=0, stopped_by="no search")
    return finish_plan(table, routes, hopeless(table), made)


def nearest_neighbour(table: DayTable) -> list[list[int]]:
    """Return for each crew the order of its stops; the crew that is free first chooses next."""
    routes: list[list[int]] = [[] for _ in table.crews]
    open_ = np.ones(len(table.stops), dtype=bool)
    priority = np.array([stop.priority for stop in table.stops], dtype=np.int64)
    free = {c: int(table.shift_s[c, 0]) for c in range(len(table.crews))}
    while free:
        c = min(free, key=lambda crew: (free[crew], crew))
        chosen = _nearest_fit(table, c, routes[c], open_ & table.allowed[c], priority)
        if chosen is None:
            del free[c]
            continue
        routes[c].append(chosen)
        open_[chosen] = False
        line = table.line(c, routes[c])
        free[c] = free[c] if line is None else line.back_s
    return routes


def _nearest_fit(
    table: DayTable, c: int, route: list[int], open_: NDArray[np.bool_], priority: NDArray[np.int64]
) -> int | None:
    """Return the nearest stop of the highest class that still fits behind the route."""
    line = table.line(c, route)
    if line is None:
        return None
    here = table.place[route[-1]] if route else table.crews[c].start_place
    hop = table.hop_s[c][here, table.place]
    wait = table.free_s(c, line) + int(table.hop_s[c][here, table.crews[c].end_place])
    fits = np.flatnonzero(open_ & (hop + table.work_s[c] <= wait))
    for k in sorted(fits, key=lambda one: (-priority[one], hop[one], one)):
        if table.line(c, [*route, int(k)]) is not None:
            return int(k)
    return None
