from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gravegis.science.irrigation import hydraulics
from gravegis.science.irrigation.kinds import head_kinds

L_MIN_OF_GPM = 3.785411784
M2_OF_FT2 = 0.09290304
MM_OF_IN = 25.4


def in_h(gallons_min: float, square_feet: float) -> float:
    rate = hydraulics.rate_whole_area_mm_h(gallons_min * L_MIN_OF_GPM * 60.0, square_feet * M2_OF_FT2)
    return float(rate) / MM_OF_IN


@pytest.mark.cited("Torricelli, worked by hand: 4 mm, Cd 0.95, 300 kPa, 1000 kg/m3")
def test_flow_of_a_nozzle() -> None:
    assert float(hydraulics.orifice_flow_l_h(4.0, 300.0)) == pytest.approx(1052.72, rel=1e-4)
    assert float(hydraulics.nozzle_mm(1052.72, 300.0)) == pytest.approx(4.0, rel=1e-4)


@pytest.mark.cited("square root of 3/2")
def test_flow_at_another_pressure() -> None:
    assert float(hydraulics.flow_at_pressure(1.0, 200.0, 300.0)) == pytest.approx(1.22474, abs=1e-5)


@pytest.mark.cited("public utility page: 10 gpm on 1000 ft2; lecture slide: 8 gpm on 60 x 15 ft")
def test_precipitation_rate_of_some_area() -> None:
    assert in_h(10.0, 1000.0) == pytest.approx(0.9625, abs=1e-4)
    assert in_h(8.0, 900.0) == pytest.approx(0.8556, abs=1e-4)


@pytest.mark.cited("unit definitions: 231 in3 a gallon")
def test_one_gallon_a_minute_on_a_square_foot() -> None:
    assert in_h(1.0, 1.0) * MM_OF_IN == pytest.approx(2444.75, abs=0.01)


@pytest.mark.cited("area of a square and of an equilateral triangle")
def test_rate_of_a_spacing() -> None:
    assert float(hydraulics.rate_of_spacing_mm_h(1052.717, 9.0)) == pytest.approx(12.997, abs=0.01)
    triangle = hydraulics.rate_of_spacing_mm_h(1052.717, 9.0, pattern=hydraulics.TRIANGLE)
    assert float(triangle) == pytest.approx(15.007, abs=0.01)
    half = hydraulics.rate_of_spacing_mm_h(1052.717, 9.0, sweep_deg=180.0)
    assert float(half) == pytest.approx(25.993, abs=0.01)


@pytest.mark.cited("closed form of the drag-free stream: 300 kPa, 25 degrees, nozzle at 0.1 m")
def test_stream_height_and_strike_distance() -> None:
    speed = hydraulics.jet_speed_m_s(300.0)
    assert float(speed) == pytest.approx(24.517, abs=0.001)
    assert float(hydraulics.stream_height_m(2.0, speed, 25.0, 0.1)) == pytest.approx(0.993, rel=0.01)
    found = hydraulics.stream_strike_m([0.3, 0.6, 0.9, 1.2, 1.5, 2.0], speed, 25.0, 0.1)
    np.testing.assert_allclose(found, [0.43, 1.10, 1.78, 2.49, 3.22, 4.51], rtol=0.01)


def test_strike_distance_of_a_stone_below_the_nozzle_and_of_a_stream_that_stays_low() -> None:
    assert float(hydraulics.stream_strike_m(0.1, 24.5, 25.0, 0.3)) == 0.0
    assert float(hydraulics.stream_strike_m(0.9, 24.5, 5.0, 0.1)) == np.inf


@pytest.mark.cited("closed forms by integration")
@pytest.mark.parametrize("shape", sorted(hydraulics.PROFILES))
@pytest.mark.parametrize("sweep_deg", [40.0, 90.0, 360.0])
def test_profiles_hold_the_flow(shape: str, sweep_deg: float) -> None:
    edges = np.linspace(0.0, 10.0, 20_001)
    middle = (edges[1:] + edges[:-1]) / 2
    rate = hydraulics.profile_rate_mm_h(middle, 1052.7, 10.0, shape=shape, sweep_deg=sweep_deg)
    total = (rate * np.radians(sweep_deg) * middle * np.diff(edges)).sum()
    assert total == pytest.approx(1052.7, rel=1e-3)
    assert float(hydraulics.profile_rate_mm_h(10.001, 1052.7, 10.0, shape=shape)) == 0.0


@pytest.mark.cited("closed forms: 2 q / (r2 w) and 6 q (1 - t) / (r2 w)")
def test_uniform_and_triangular_rates() -> None:
    sweep = np.radians(120.0)
    uniform = hydraulics.profile_rate_mm_h(3.0, 800.0, 8.0, shape="uniform", sweep_deg=120.0)
    triangle = hydraulics.profile_rate_mm_h(3.0, 800.0, 8.0, shape="triangle", sweep_deg=120.0)
    assert float(uniform) == pytest.approx(2 * 800.0 / (64 * sweep), rel=1e-12)
    assert float(triangle) == pytest.approx(6 * 800.0 * (1 - 3 / 8) / (64 * sweep), rel=1e-12)


@pytest.mark.cited("flux through a plane: 10 mm/h, vx/vz 0.559")
def test_rate_on_a_face_in_even_rain() -> None:
    rate = hydraulics.face_rate_l_m2_h(10.0, 0.559, [0.0, 60.0, 180.0])
    np.testing.assert_allclose(rate, [5.59, 2.795, 0.0], atol=1e-3)


@given(st.floats(50, 800), st.floats(50, 800))
def test_more_pressure_throws_farther_and_the_rated_one_as_stated(rated_kpa: float, more_kpa: float) -> None:
    throws = hydraulics.throw_at_pressure(10.0, rated_kpa, [rated_kpa, rated_kpa + more_kpa, rated_kpa / 2])
    assert throws[0] == pytest.approx(10.0)
    assert throws[2] < throws[0] < throws[1]


@pytest.mark.cited("Cavazza 1965, from memory, unconfirmed: 4 mm under 30.6 m of head")
def test_throw_from_nozzle_is_an_upper_bound_for_lawn_heads() -> None:
    assert float(hydraulics.throw_from_nozzle_m(4.0, 300.0)) == pytest.approx(14.9, abs=0.1)
    assert float(hydraulics.throw_from_nozzle_m(4.0, 300.0)) < head_kinds()["rotor"].throw_high_m
