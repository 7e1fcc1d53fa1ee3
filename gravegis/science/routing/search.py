"""The search for good routes, done by PyVRP (an iterated local search); imported only when it is used."""

from __future__ import annotations

from dataclasses import dataclass, field
from importlib import import_module
from typing import TYPE_CHECKING

import numpy as np

from gravegis.science.routing.daytable import BARRED_S, DayTable
from gravegis.science.routing.model import PRIORITY_BASE

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from types import ModuleType

    from numpy.typing import NDArray

    Ints = NDArray[np.int64]
    Routes = list[list[int]]

__all__ = ["Watch", "has_solver", "search"]

# PyVRP 0.14.1 returned infeasible plans with prizes of 1e10 and good ones up to this (measured).
PRIZE_MAX = 100_000_000


@dataclass(slots=True)
class Watch:
    """Stops the search after so many iterations, or when it is told to; reports the share done."""

    iterations: int
    progress: Callable[[float], object] | None = None
    cancelled: Callable[[], bool] | None = None
    done: int = field(default=0, init=False)
    stopped_by: str = field(default="iterations", init=False)

    def __call__(self, best_cost: int) -> bool:
        """Return True when the search has to end; PyVRP asks before each iteration."""
        if self.cancelled is not None and self.cancelled():
            self.stopped_by = "cancelled"
            return True
        if self.progress is not None:
            self.progress(min(self.done / self.iterations, 1.0))
        if self.done >= self.iterations:
            return True
        self.done += 1
        return False


def has_solver() -> bool:
    """Return True where PyVRP can be imported."""
    try:
        import_module("pyvrp")
    except ImportError:
        return False
    return True


def search(table: DayTable, jobs: Sequence[int], seed: int, watch: Watch, start: Routes | None) -> Routes:
    """Return for each crew the order of its stops that the search found best.

    Parameters
    ----------
    table
        The day in whole seconds.
    jobs
        The stops to search over: every one that some crew may do.
    seed
        Start of the random numbers; same seed and iterations give the same routes.
    watch
        When to stop.
    start
        Routes that fit, to start from; None starts from chance.

    Needs `has_solver`.
    """
    pyvrp = import_module("pyvrp")
    data = _problem_data(pyvrp, table, jobs)
    initial = None
    if start is not None and any(start):  # the search starts badly from an empty plan
        number = {job: client for client, job in enumerate(jobs)}
        initial = pyvrp.Solution(
            data,
            [pyvrp.Route(data, [number[stop] for stop in order], c) for c, order in enumerate(start) if order],
        )
    result = pyvrp.solve(data, watch, seed=seed, collect_stats=False, display=False, initial_solution=initial)
    routes: Routes = [[] for _ in table.crews]
    for route in result.best.routes():
        routes[route.vehicle_type()] = [jobs[visit.idx] for visit in route if visit.is_client()]
    return routes


def _problem_data(pyvrp: ModuleType, table: DayTable, jobs: Sequence[int]) -> object:
    """Return the model: one location for each base and stop, optional clients with prizes."""
    bases = list(dict.fromkeys(p for crew in table.crews for p in (crew.start_place, crew.end_place)))
    place = np.concatenate([bases, table.place[list(jobs)]]).astype(np.int64)
    of_crew, matrices = _profiles(table, jobs, place, len(bases))
    vehicles = [
        pyvrp.VehicleType(
            start_depot=bases.index(crew.start_place),
            end_depot=bases.index(crew.end_place),
            tw_early=int(table.shift_s[c, 0]),
            tw_late=int(table.shift_s[c, 1]),
            unit_distance_cost=0,
            unit_duration_cost=1,
            profile=of_crew[c],
            name=crew.crew_id,
        )
        for c, crew in enumerate(table.crews)
    ]
    clients = [
        pyvrp.Client(
            len(bases) + k,
            service_duration=int(table.service_s[job]),
            prize=prize,
            required=False,
            name=table.stops[job].stop_id,
        )
        for k, (job, prize) in enumerate(zip(jobs, _prizes(table, jobs), strict=True))
    ]
    return pyvrp.ProblemData(
        [pyvrp.Location(0, 0) for _ in place],
        clients,
        [pyvrp.Depot(k) for k in range(len(bases))],
        vehicles,
        matrices,
        matrices,
    )


def _profiles(table: DayTable, jobs: Sequence[int], place: Ints, n_bases: int) -> tuple[list[int], list[Ints]]:
    """Return which matrix each crew walks by, and the matrices: one for each pace and set of stops."""
    number: dict[tuple[float, bytes], int] = {}
    of_crew: list[int] = []
    matrices: list[Ints] = []
    for c, crew in enumerate(table.crews):
        mine = np.concatenate([np.ones(n_bases, dtype=bool), table.allowed[c, list(jobs)]])
        key = (crew.pace_factor, mine.tobytes())
        if key not in number:
            number[key] = len(matrices)
            matrices.append(_hops(table.hop_s[c], place, mine))
        of_crew.append(number[key])
    return of_crew, matrices


def _hops(hop_s: Ints, place: Ints, open_: NDArray[np.bool_]) -> Ints:
    """Return the crew's walking times between locations; what it may not do is out of its reach."""
    hops = hop_s[np.ix_(place, place)].copy()
    hops[~open_, :] = BARRED_S
    hops[:, ~open_] = BARRED_S
    np.fill_diagonal(hops, 0)
    return hops


def _prizes(table: DayTable, jobs: Sequence[int]) -> list[int]:
    """Return what leaving each stop out costs: always more than doing it, fiftyfold a class up to the solver's limit.

    The lowest is over three times the longest job and the longest walk out and back (measured choice:
    smaller prizes gave empty plans).
    """
    allowed = table.allowed[:, list(jobs)]
    longest_walk = int(table.walk_s[:, list(jobs)][allowed].max())
    unit = 3 * int(table.service_s[list(jobs)].max()) + longest_walk + 1
    return [min(unit * PRIORITY_BASE ** (table.stops[job].priority - 1), PRIZE_MAX) for job in jobs]
