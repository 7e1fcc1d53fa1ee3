"""The search by itself, before anything is repaired or filled up."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gravegis.science.routing.daytable import table_of
from gravegis.science.routing.model import Crew, Stop
from gravegis.science.routing.search import Watch, search, whole_prices

if TYPE_CHECKING:
    from collections.abc import Callable

    Maker = Callable[..., Any]


def test_long_jobs_next_to_the_base_are_worth_doing(straight_walk: Maker) -> None:
    walk = straight_walk(np.array([(0, 0), (2, 0), (4, 0), (6, 0)], dtype=np.float64))
    stops = [Stop(f"s{k}", k, 7000, priority=k) for k in (1, 2, 3)]
    table = table_of(stops, [Crew("a", 0, 0, 0, 25_000)], walk)
    (route,) = search(table, [0, 1, 2], 1, Watch(50), None)
    assert sorted(route) == [0, 1, 2]


def test_no_crew_is_given_what_it_may_not_do(random_day: Maker) -> None:
    stops, crews, walk = random_day(40, 11, crews_n=3, shift_min=200)
    table = table_of(stops, crews, walk)
    routes = search(table, list(range(40)), 1, Watch(100), None)
    given = [(c, k) for c, route in enumerate(routes) for k in route]
    assert all(table.allowed[c, k] for c, k in given)
    assert any(stops[k].skill for _, k in given)
    for c, route in enumerate(routes):
        assert table.line(c, route) is not None


def test_several_stops_at_one_spot_are_all_done(straight_walk: Maker) -> None:
    walk = straight_walk(np.array([(0, 0), (50, 0)], dtype=np.float64))
    table = table_of([Stop(f"s{k}", 1, 10) for k in range(5)], [Crew("a", 0, 0, 0, 150)], walk)
    (route,) = search(table, [0, 1, 2, 3, 4], 1, Watch(50), None)
    assert sorted(route) == [0, 1, 2, 3, 4]
    line = table.line(0, route)
    assert line is not None
    assert line.back_s == 150


@given(st.floats(0.1, 10))
def test_a_price_of_walking_is_kept_to_a_tenth_in_whole_costs(price: float) -> None:
    on_foot, second = whole_prices(price)
    assert on_foot >= 1
    assert on_foot / second == pytest.approx(price, rel=0.1)


@pytest.mark.parametrize(
    ("price", "costs"), [(0.0, (0, 1)), (0.25, (1, 4)), (0.5, (1, 2)), (1.0, (1, 1)), (2.5, (5, 2))]
)
def test_usual_prices_of_walking_are_exact(price: float, costs: tuple[int, int]) -> None:
    assert whole_prices(price) == costs
