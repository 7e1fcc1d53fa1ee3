"""Limits of a working day against the published worked examples."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gravegis.science.care.limits import (
    DAY_LIMITS,
    US,
    heat_band,
    heat_index_degf,
    lifting_index,
    recommended_weight,
)
from gravegis.science.care.sizes import tipping


@pytest.mark.cited("US National Weather Service heat-index chart, whole degrees: 106, 121, 118, 105")
def test_heat_index_of_the_chart() -> None:
    made = heat_index_degf([90, 96, 100, 86], [70, 65, 50, 90])
    assert np.round(made).tolist() == [106, 121, 118, 105]
    assert made == pytest.approx([105.92, 121.03, 118.32, 105.39], abs=0.01)


@pytest.mark.cited("US National Weather Service heat-index equation page: the simple formula and both adjustments")
def test_heat_index_of_cool_and_of_dry_air() -> None:
    assert heat_index_degf(75, 50) == pytest.approx(74.775, abs=0.01)
    assert heat_index_degf(95, 10) == pytest.approx(89.450, abs=0.01)


@given(st.floats(60, 115), st.floats(0, 99), st.floats(0.1, 1))
def test_damper_air_never_feels_cooler(temperature: float, humidity: float, more: float) -> None:
    low, high = heat_index_degf([temperature] * 2, [humidity, humidity + more])
    # the published fit steps where the simple formula ends and where an adjustment begins
    assert high >= low - 1.5


def test_bands_are_those_of_the_chart() -> None:
    assert [heat_band(one) for one in (79.9, 80, 90, 103, 125)] == [
        "", "caution", "extreme caution", "danger", "extreme danger",
    ]  # fmt: skip


@pytest.mark.cited("NIOSH 94-110 (rev. 2021), example 4: 34.9 lb at the start, 15.2 lb at the end, multipliers rounded")
def test_lifting_equation_example_four() -> None:
    start = recommended_weight(horizontal=10, vertical=22, travel=37, frequency=0.88, coupling=0.95, constants=US)
    end = recommended_weight(horizontal=20, vertical=59, travel=37, frequency=0.88, coupling=1.0, constants=US)
    # the example rounds each multiplier to two places; not rounded the equation gives 34.81 and 15.25
    assert start == pytest.approx(34.81, abs=0.05)
    assert end == pytest.approx(15.25, abs=0.05)
    assert start == pytest.approx(34.9, abs=0.1)


@pytest.mark.cited("NIOSH 94-110 (rev. 2021): the load constant, 23 kg or 51 lb, under the best conditions")
def test_best_conditions_give_the_load_constant() -> None:
    assert recommended_weight(horizontal=25, vertical=75, travel=25) == pytest.approx(23.0, abs=1e-9)
    assert recommended_weight(horizontal=10, vertical=30, constants=US) == pytest.approx(51.0, abs=1e-9)


@pytest.mark.cited("NIOSH 94-110 (rev. 2021): beyond 25 in or 135 degrees the recommended weight is 0")
def test_nothing_is_lifted_far_from_the_body_or_twisted() -> None:
    assert recommended_weight(horizontal=25.1, vertical=30, constants=US) == 0
    assert recommended_weight(horizontal=30, vertical=75, twist_deg=136) == 0
    assert lifting_index(20, 0) == float("inf")
    assert lifting_index(23, 23) == 1


@pytest.mark.cited("plane geometry of a slab: 0.6 x 1.0 x 0.075 m at 2590 kg/m3")
def test_tipping_of_a_thin_slab() -> None:
    made = tipping(1.0, 0.6, 0.075, 2590)
    assert made.mass_kg[0] == pytest.approx(116.55, abs=0.01)
    assert made.push_kgf[0] == pytest.approx(4.371, abs=0.01)
    assert made.lean_deg[0] == pytest.approx(4.289, abs=0.01)


def test_every_limit_of_the_day_says_where_it_comes_from() -> None:
    for name, words in DAY_LIMITS:
        assert any(one in words for one in ("Weather Service", "NIOSH", "no source", "thunder")), name
        assert "safe" not in words.lower()
