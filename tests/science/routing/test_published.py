"""The day plan against published instances and against exact tours by dynamic programming."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from gravegis.science.routing.daytable import Rules
from gravegis.science.routing.model import Crew, DayPlan, Stop
from gravegis.science.routing.solve import plan_day
from gravegis.science.routing.walking import WalkMatrix
from tests.science.routing.instances import A_N32_K5, C101_25, EIL51, GR17, R101_25

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

LONG_S = 10**6


def beelines(xy: Sequence[tuple[int, ...]]) -> Floats:
    points = np.array([one[:2] for one in xy], dtype=np.float64)
    return np.asarray(np.hypot(*(points[:, None] - points).transpose(2, 0, 1)))


def rounded(xy: Sequence[tuple[int, ...]]) -> Floats:
    """TSPLIB EUC_2D."""
    return np.asarray(np.floor(beelines(xy) + 0.5))


def gr17() -> Floats:
    hop = np.zeros((17, 17))
    for row, line in enumerate(GR17.split("\n")[1:-1], 1):
        hop[row, :row] = [int(word) for word in line.split()]
    return np.asarray(hop + hop.T)


def tour(hop: Floats, iterations: int = 2000) -> DayPlan:
    stops = [Stop(f"s{k:02d}", k, 0) for k in range(1, len(hop))]
    walk = WalkMatrix.from_times(hop, hop)
    return plan_day(stops, [Crew("a", 0, 0, 0, LONG_S)], walk, seed=1, iterations=iterations)


def shortest_tour(hop: Floats) -> float:
    """Held and Karp 1962: the shortest way through every set of stops to each of its stops."""
    n = len(hop) - 1
    best = np.full((1 << n, n), np.inf)
    best[1 << np.arange(n), np.arange(n)] = hop[0, 1:]
    for stops in range(1, 1 << n):
        for last in np.flatnonzero(np.isfinite(best[stops])):
            for to in range(n):
                if not stops >> to & 1:
                    there = stops | 1 << to
                    best[there, to] = min(best[there, to], best[stops, last] + hop[last + 1, to + 1])
    return float((best[-1] + hop[1:, 0]).min())


@pytest.mark.cited("TSPLIB, Reinelt 1991: gr17, optimal tour 2085; eil51, 426")
@pytest.mark.parametrize(("hop", "optimum"), [(gr17(), 2085), (rounded(EIL51), 426)], ids=["gr17", "eil51"])
def test_one_crew_walks_the_published_tours(hop: Floats, optimum: int) -> None:
    plan = tour(hop)
    assert not plan.unplanned
    assert optimum <= plan.days[0].walk_s <= optimum * 1.01  # below it distances or places were wrong


@pytest.mark.cited("Held and Karp 1962: exact tours by dynamic programming")
@pytest.mark.parametrize("stops_n", [4, 7, 9, 10])
def test_tours_of_a_few_stops_are_the_shortest_there_are(stops_n: int) -> None:
    xy = np.random.default_rng(stops_n).integers(0, 900, (stops_n + 1, 2))
    hop = rounded([tuple(one) for one in xy.tolist()])
    assert tour(hop, 300).days[0].walk_s == shortest_tour(hop)


@pytest.mark.full
@pytest.mark.parametrize("seed", range(3))
def test_tours_of_twelve_stops_are_the_shortest_there_are(seed: int) -> None:
    hop = rounded([tuple(one) for one in np.random.default_rng(seed).integers(0, 900, (13, 2)).tolist()])
    assert tour(hop, 500).days[0].walk_s == shortest_tour(hop)


@pytest.mark.cited("CVRPLIB, Augerat et al. 1995: A-n32-k5, optimum 784")
def test_five_crews_whose_cans_are_never_filled_share_the_stops_as_published() -> None:
    hop = rounded(A_N32_K5)
    stops = [Stop(f"s{k:02d}", k, 0, water_l=A_N32_K5[k][2]) for k in range(1, 32)]
    crews = [Crew(f"c{k}", 0, 0, 0, LONG_S, water_l=100) for k in range(5)]
    plan = plan_day(stops, crews, WalkMatrix.from_times(hop, hop), seed=1, iterations=2000)
    assert not plan.unplanned
    assert 784 <= sum(day.walk_s for day in plan.days) <= 784 * 1.01


@pytest.mark.cited("Solomon 1987: R101 and C101 with 25 customers, 617.1 by 8 and 191.3 by 3 vehicles")
@pytest.mark.parametrize(("rows", "first", "service", "crews_n", "optimum"), [
    (R101_25, (41, 49, 10, 161, 171), 100, 8, 6171), (C101_25, (45, 68, 10, 912, 967), 900, 3, 1913),
], ids=["R101", "C101"])  # fmt: skip
def test_times_in_which_a_stone_is_open_are_kept_as_published(
    rows: list[tuple[int, ...]], first: tuple[int, ...], service: int, crews_n: int, optimum: int
) -> None:
    """Ours bound the end of the work too: the published last begin and the service. Walking is priced highest."""
    assert rows[1] == first, "the customers are rotated"
    hop = np.floor(10 * beelines(rows))
    stops = [
        Stop(f"s{k:02d}", k, service, water_l=load, windows=((10.0 * low, 10.0 * high + service),))
        for k, (_, _, load, low, high) in enumerate(rows) if k
    ]  # fmt: skip
    crews = [Crew(f"c{k}", 0, 0, 0, 10 * rows[0][4], water_l=200) for k in range(crews_n)]
    plan = plan_day(stops, crews, WalkMatrix.from_times(hop, hop), seed=1, iterations=2000, rules=Rules((), 10.0))
    assert not plan.unplanned
    assert optimum <= sum(day.walk_s for day in plan.days) <= optimum * 1.005
    assert sum(bool(day.ops) for day in plan.days) == crews_n
