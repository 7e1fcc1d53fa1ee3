"""The plain plan: always the nearest stop of the highest class; fallback and comparison."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gravegis.science.routing.daytable import DayTable, finish_plan, table_of, top_up
from gravegis.science.routing.model import DayPlan, Provenance
from gravegis.science.routing.precheck import hopeless, validate

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gravegis.science.routing.model import Crew, Stop
    from gravegis.science.routing.walking import WalkMatrix

__all__ = ["baseline_plan", "nearest_neighbour"]


def baseline_plan(stops: Sequence[Stop], crews: Sequence[Crew], walk: WalkMatrix) -> DayPlan:
    """Return the nearest-neighbour plan by priority class, filled up with what still fits.

    Raises LayerError for impossible values; needs no solver and no chance.
    """
    validate(stops, crews, walk)
    table = table_of(stops, crews, walk)
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
        hop, end = table.hop_s[c], table.crews[c].end_place
        here = table.place[routes[c][-1]] if routes[c] else table.crews[c].start_place
        ready = free[c] + hop[here, table.place] + table.service_s
        fits = open_ & table.allowed[c] & (ready + hop[table.place, end] <= table.shift_s[c, 1])
        if not fits.any():
            del free[c]
            continue
        best = np.flatnonzero(fits & (priority == priority[fits].max()))
        k = int(best[np.argmin(hop[here, table.place[best]])])
        routes[c].append(k)
        open_[k] = False
        free[c] = int(ready[k])
    return routes
