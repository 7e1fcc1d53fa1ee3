"""The search for good routes, done by PyVRP (an iterated local search); imported only when it is used."""

from __future__ import annotations

import math
import warnings
from dataclasses import dataclass, field
from importlib import import_module
from typing import TYPE_CHECKING

import numpy as np

from gravegis.science.routing.daytable import BARRED_S, DayTable
from gravegis.science.routing.model import PRIORITY_BASE, Crew
from gravegis.science.routing.timeline import whole_s

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from types import ModuleType

    from numpy.typing import NDArray

    Ints = NDArray[np.int64]
    Routes = list[list[int]]

__all__ = ["Watch", "has_solver", "search", "whole_prices"]

# PyVRP 0.14.1 returned infeasible plans with prizes of 1e10 and good ones up to this (measured).
PRIZE_MAX = 100_000_000
# Going to and fro between soaking stones; measured choice: 30 to 60 s lose the fewest stones afterwards.
ALLOWANCE_S = 45
UNIT_MAX = 10  # own choice: prices below a tenth count as a tenth


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
    with warnings.catch_warnings():
        # the solver doubts that the day is feasible; whatever it gives is cut to fit and checked afterwards
        warnings.simplefilter("ignore", pyvrp.exceptions.PenaltyBoundWarning)
        result = pyvrp.solve(data, watch, seed=seed, collect_stats=False, display=False, initial_solution=initial)
    routes: Routes = [[] for _ in table.crews]
    for route in result.best.routes():
        routes[route.vehicle_type()] = [jobs[visit.idx] for visit in route if visit.is_client()]
    return routes


def _problem_data(pyvrp: ModuleType, table: DayTable, jobs: Sequence[int]) -> object:
    """Return the model: one location for each base and stop, optional clients with prizes."""
    bases = list(dict.fromkeys(p for crew in table.crews for p in (crew.start_place, crew.end_place)))
    place = np.concatenate([bases, table.place[list(jobs)]]).astype(np.int64)
    of_crew, walks, durations = _profiles(table, jobs, place, len(bases))
    on_foot, second = whole_prices(table.rules.walk_price)
    loads = _loads(table)
    vehicles = [
        pyvrp.VehicleType(
            start_depot=bases.index(crew.start_place),
            end_depot=bases.index(crew.end_place),
            tw_early=int(table.shift_s[c, 0]),
            tw_late=max(int(table.shift_s[c, 1]) - _rest_s(crew), int(table.shift_s[c, 0])),
            unit_distance_cost=on_foot,
            unit_duration_cost=second,
            capacity=[_ml(full[c]) for full, _ in loads],
            profile=of_crew[c],
            name=crew.crew_id,
        )
        for c, crew in enumerate(table.crews)
    ]
    clients = [
        pyvrp.Client(
            len(bases) + k,
            prize=prize,
            delivery=[math.ceil(1000 * needs[job]) for _, needs in loads],
            **_window(table, job),
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
        walks,
        durations,
    )


def whole_prices(walk_price: float) -> tuple[int, int]:
    """Return the cost of a second on foot beside its own, and of a second: the solver counts whole costs only.

    The smallest that come within a tenth of the price: larger ones would leave the prizes less room.
    """
    for unit in range(1, UNIT_MAX):
        if abs(round(unit * walk_price) - unit * walk_price) <= 0.1 * unit * walk_price:
            return round(unit * walk_price), unit
    return max(round(UNIT_MAX * walk_price), 1), UNIT_MAX


def _loads(table: DayTable) -> list[tuple[list[float], list[float]]]:
    """Return what each crew carries and each stop needs of all that can nowhere be filled up: it lasts the day."""
    kept, crews, stops = table.rules.refills, table.crews, table.stops
    water = ([crew.water_l for crew in crews], [stop.water_l for stop in stops])
    cleaner = ([crew.cleaner_l for crew in crews], [stop.cleaner_l for stop in stops])
    refilled = (any(one.water for one in kept), any(one.cleaner for one in kept))
    return [load for load, again in zip((water, cleaner), refilled, strict=True) if not again and any(load[1])]


def _ml(litres: float) -> int:
    return min(math.floor(1000 * litres), 10**9) if litres < math.inf else 10**9


def _rest_s(crew: Crew) -> int:
    return sum(math.ceil(one.length_s) for one in crew.breaks if one.from_s < crew.shift_to_s)


def _window(table: DayTable, job: int) -> dict[str, int]:
    """Return when the work may begin: from the first opening to the last closing less the work."""
    windows = table.stops[job].windows
    if not windows:
        return {}
    whole = min(whole_s(one.tasks[job]) for one in table.sequencers)
    early = max(0, math.ceil(min(low for low, _ in windows)))
    return {"tw_early": early, "tw_late": max(early, math.floor(max(high for _, high in windows)) - whole)}


def _profiles(
    table: DayTable, jobs: Sequence[int], place: Ints, n_bases: int
) -> tuple[list[int], list[Ints], list[Ints]]:
    """Return which matrices each crew goes by, walking times, and walking with the work of where one comes from."""
    number: dict[tuple[float, float, float, bytes], int] = {}
    of_crew: list[int] = []
    walks: list[Ints] = []
    durations: list[Ints] = []
    for c, crew in enumerate(table.crews):
        mine = np.concatenate([np.ones(n_bases, dtype=bool), table.allowed[c, list(jobs)]])
        key = (crew.pace_factor, crew.work_factor, crew.water_l, mine.tobytes())
        if key not in number:
            number[key] = len(walks)
            walks.append(_hops(table.hop_s[c], place, mine))
            stay = np.concatenate([np.zeros(n_bases, dtype=np.int64), [_stay_s(table, c, job) for job in jobs]])
            durations.append(np.minimum(walks[-1] + stay.astype(np.int64)[:, None], BARRED_S))
            np.fill_diagonal(durations[-1], 0)
        of_crew.append(number[key])
    return of_crew, walks, durations


def _stay_s(table: DayTable, c: int, job: int) -> int:
    """Return the work at a stop, what going to and fro for its soak costs, and its share of the ways to water."""
    stop, crew = table.stops[job], table.crews[c]
    stay = int(table.work_s[c, job]) + (ALLOWANCE_S if stop.soaks and crew.max_open > 1 else 0)
    if stop.soaks and crew.max_open == 1:
        stay += table.sequencers[c].tasks[job].soak_min_s
    water = [one for one in table.rules.refills if one.water]
    if water and stop.water_l > 0 and stop.carry_l <= crew.water_l < math.inf:
        hop = table.hop_s[c]
        trip = min(2 * int(hop[stop.place, one.place]) + math.ceil(one.service_s) for one in water)
        stay += math.ceil(trip * stop.water_l / crew.water_l)
    return stay


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
    price = 1 + table.rules.walk_price
    stay = max(_stay_s(table, c, job) for c in range(len(table.crews)) for job in jobs)
    unit = math.ceil(whole_prices(table.rules.walk_price)[1] * price * (3 * stay + longest_walk + 1))
    return [min(unit * PRIORITY_BASE ** (table.stops[job].priority - 1), PRIZE_MAX) for job in jobs]
