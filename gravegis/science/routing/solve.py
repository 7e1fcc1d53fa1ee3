"""Which crew does which stops in which order on one day."""

from __future__ import annotations

from importlib.metadata import version
from typing import TYPE_CHECKING

import numpy as np

from gravegis.errors import SettingError
from gravegis.science.routing.baseline import nearest_neighbour
from gravegis.science.routing.check import check_plan
from gravegis.science.routing.daytable import DayTable, Rules, finish_plan, fit, score, table_of
from gravegis.science.routing.model import BrokenPlanError, Crew, DayPlan, Provenance, Stop
from gravegis.science.routing.precheck import hopeless, validate
from gravegis.science.routing.search import Watch, has_solver, search
from gravegis.science.routing.topup import rebuild, shorten, top_up

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from gravegis.science.routing.walking import WalkMatrix

    Routes = list[list[int]]

__all__ = ["plan_day"]

POLISH_ROUNDS, MOVES_TRIED, REBUILDS = 2, 40, 40  # own choice


def plan_day(
    stops: Sequence[Stop],
    crews: Sequence[Crew],
    walk: WalkMatrix,
    *,
    seed: int,
    iterations: int,
    rules: Rules | None = None,
    warm: DayPlan | None = None,
    keep: bool = False,
    progress: Callable[[float], object] | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> DayPlan:
    """Return a checked plan of one day: every stop is visited once or left out with its reason.

    Parameters
    ----------
    stops, crews
        Their order does not matter; ids must be unique.
    walk
        Times and lengths between the places they name.
    seed, iterations
        Same seed and iterations give the same plan; 500 to 2000 iterations serve a day (measured).
    warm
        An earlier plan to start from. The better of it (as far as it still holds) and the plan found
        is kept, so that one crew more never lowers the priority done.
    rules
        Where cans are filled, and what walking costs.
    keep
        Only mend the earlier plan: what still holds stays as it is, and what fell out or is new goes in where it
        fits. For noon, when a crew went home: nobody who stays has to start anew.
    progress
        Called with the share done, 0 to 1.
    cancelled
        Asked before each iteration; True ends the search, and the best plan so far is returned.

    A stop of a higher class is worth fifty of the class below; between equal plans the one with less time
    out counts. Times are whole seconds, rounded up. Raises LayerError (a ValueError) for impossible
    values, and BrokenPlanError if the plan does not pass its own check. Where PyVRP is not installed
    the nearest-neighbour plan is returned and its provenance says so.
    """
    if iterations < 1:
        raise SettingError(f"iterations is {iterations}.", where="iterations", remedy="Give 1 or more.")
    rules = rules or Rules()
    validate(stops, crews, walk)
    table = table_of(stops, crews, walk, rules)
    refused = hopeless(table)
    earlier = None if warm is None else top_up(table, fit(table, _routes_of(table, warm)))
    watch = Watch(iterations, progress, cancelled)
    if keep and earlier is not None:
        watch.stopped_by = "no search"
        found, solver = earlier, ("earlier plan mended", "")
    else:
        found, solver = _found(table, seed, watch, earlier)
    kept = earlier is not None and score(table, earlier) >= score(table, found)
    made = Provenance(*solver, seed, watch.done, watch.stopped_by, kept_earlier=kept)
    routes = top_up(table, earlier if earlier is not None and kept else found)
    plan = finish_plan(table, routes, refused, made)
    if broken := check_plan(plan, stops, crews, walk, rules.refills):
        raise BrokenPlanError("; ".join(f"{item.rule} ({item.who}): {item.detail}" for item in broken))
    return plan


def _found(table: DayTable, seed: int, watch: Watch, earlier: Routes | None) -> tuple[Routes, tuple[str, str]]:
    """Return the routes of the search and the name and version of what searched."""
    jobs = [k for k in range(len(table.stops)) if table.allowed[:, k].any()]
    if not jobs:
        watch.stopped_by = "nothing to search"
        return [[] for _ in table.crews], ("none", "")
    plain = top_up(table, nearest_neighbour(table))
    if not has_solver():
        watch.stopped_by = "no search"
        return plain, ("nearest neighbour (pyvrp is not installed)", "")
    # measured on 9 lists of 60 to 300 stops: started here, the search mostly does more than from chance
    start = plain if earlier is None else max(earlier, plain, key=lambda routes: score(table, routes))
    routes = search(table, jobs, seed, watch, start)
    better = _polished(table, fit(table, routes), seed, watch)
    return max(better, plain, key=lambda found: score(table, found)), ("pyvrp", version("pyvrp"))


def _polished(table: DayTable, routes: Routes, seed: int, watch: Watch) -> Routes:
    """Fill the routes up and shorten them in turn; the better of each two is kept."""
    best = top_up(table, routes)
    rng = np.random.default_rng(seed)
    for _ in range(POLISH_ROUNDS):
        if watch.cancelled is not None and watch.cancelled():
            watch.stopped_by = "cancelled"
            break
        tried = shorten(table, best, rounds=MOVES_TRIED, rng=rng)
        tried = rebuild(table, top_up(table, tried), rounds=REBUILDS, rng=rng, cancelled=watch.cancelled)
        if score(table, tried) <= score(table, best):
            break
        best = tried
    return best


def _routes_of(table: DayTable, plan: DayPlan) -> Routes:
    """Return the earlier plan as routes of today's crews; stops and crews that are gone fall out."""
    number = {stop.stop_id: k for k, stop in enumerate(table.stops)}
    by_crew = {day.crew_id: day for day in plan.days}
    seen: set[int] = set()
    routes: Routes = []
    for crew in table.crews:
        day = by_crew.get(crew.crew_id)
        ids = [visit.stop_id for visit in day.visits] if day is not None else []
        order = [k for k in dict.fromkeys(number[name] for name in ids if name in number) if k not in seen]
        seen.update(order)
        routes.append(order)
    return routes
