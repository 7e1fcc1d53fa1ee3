"""Drag laws, drop sizes and flight. Rows marked "model regression" pin our own model, not nature."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gravegis.science.irrigation import drag, drops
from gravegis.science.irrigation.ballistics import Flights, Launch, fly
from gravegis.science.irrigation.hydraulics import jet_speed_m_s
from gravegis.science.irrigation.kinds import head_kinds

SPEED = float(jet_speed_m_s(300.0))


def flown(diameter_mm: float, **more: float) -> Flights:
    return fly([diameter_mm], Launch(SPEED, 25.0, 0.1, **more))  # type: ignore[arg-type]


@pytest.mark.cited("Gunn and Kinzer 1949 (the law is made from this table: regression only)")
def test_measured_law_falls_as_measured() -> None:
    diameter, speed = drag.fall_speed_table()
    some = diameter >= 0.5
    np.testing.assert_allclose(drag.fall_speed_m_s(diameter[some]), speed[some], rtol=0.01)


@pytest.mark.cited("Fukui et al. 1980, coefficients from memory, unconfirmed")
def test_fukui_law_is_pinned() -> None:
    np.testing.assert_allclose(drag.fall_speed_m_s([2.0, 5.0], law="fukui"), [6.47, 10.97], rtol=0.005)


@pytest.mark.cited("Fukui et al. 1980: its own pieces meet")
@pytest.mark.parametrize(("reynolds", "jump"), [(128.0, 0.001), (1440.0, 0.0002)])
def test_fukui_law_is_continuous(reynolds: float, jump: float) -> None:
    below, above = (drag.LAWS["fukui"](np.ones(1), np.array([reynolds * side]))[0] for side in (1.0, 1.0 + 1e-9))
    assert abs(below - above) < jump


def test_sphere_law_falls_as_an_open_library_says() -> None:
    fluids = pytest.importorskip("fluids")
    for diameter in (1.0, 2.0, 3.0, 4.0, 5.0):
        theirs = fluids.v_terminal(
            D=diameter / 1000, rhop=998.2, rho=drag.AIR_KG_M3, mu=drag.AIR_PA_S, Method="Clift_Gauvin"
        )
        assert float(drag.fall_speed_m_s(diameter, law="clift gauvin")) / theirs == pytest.approx(1.0, abs=0.02)


def test_unknown_law_is_refused() -> None:
    with pytest.raises(KeyError, match="newton"):
        drag.fall_speed_m_s(1.0, law="newton")


@pytest.mark.cited("closed form without air: 24.517 m/s, 25 degrees, nozzle at 0.1 m")
def test_flight_without_air() -> None:
    flight = fly([3.0], Launch(24.517, 25.0, 0.1, law=""))
    assert flight.range_m[0] == pytest.approx(47.167, rel=1e-3)
    assert flight.apex_m[0] == pytest.approx(5.5737, rel=1e-3)


@pytest.mark.cited("model regression: prototype of the measured law, 2 mm")
def test_flight_of_a_drop_of_2_mm() -> None:
    flight = flown(2.0)
    assert flight.range_m[0] == pytest.approx(8.77, rel=0.02)
    assert flight.apex_m[0] == pytest.approx(1.92, rel=0.02)
    assert np.degrees(np.arctan2(flight.down_m_s, flight.along_m_s))[0] == pytest.approx(60.8, rel=0.02)


@pytest.mark.cited("model regression: prototype, 3 mm in 4 m/s of wind along and against the throw")
def test_flight_in_the_wind() -> None:
    assert flown(3.0, wind_along_m_s=4.0).range_m[0] == pytest.approx(15.57, rel=0.02)
    assert flown(3.0, wind_along_m_s=-4.0).range_m[0] == pytest.approx(6.85, rel=0.02)
    assert 3.1 <= flown(3.0, wind_across_m_s=4.0).aside_m[0] <= 3.3


def test_larger_drops_and_more_pressure_carry_farther() -> None:
    assert (np.diff(fly(np.linspace(0.5, 5.0, 46), Launch(SPEED, 25.0, 0.1)).range_m) > 0).all()
    by_pressure = [fly([3.0], Launch(float(jet_speed_m_s(kpa)), 25.0, 0.1)).range_m[0] for kpa in range(100, 501, 50)]
    assert (np.diff(by_pressure) > 0).all()


def test_farthest_angle_of_3_mm_drops_lies_about_30_degrees() -> None:
    ranges = [fly([3.0], Launch(SPEED, angle, 0.1)).range_m[0] for angle in range(15, 46)]
    assert 28 <= 15 + int(np.argmax(ranges)) <= 34


def test_halving_the_step_moves_no_landing_by_a_tenth_of_a_millimetre() -> None:
    diameter = np.linspace(0.3, 6.0, 40)
    whole, half = (fly(diameter, Launch(SPEED, 25.0, 0.1), step_s=step).range_m for step in (0.002, 0.001))
    assert np.abs(whole - half).max() < 1e-4


@pytest.mark.parametrize(("diameter_mm", "riser_m"), [(0.05, 0.1), (1.0, -0.1)])
def test_dust_and_nozzles_below_ground_are_refused(diameter_mm: float, riser_m: float) -> None:
    with pytest.raises(ValueError, match=r"0\.1 mm or more and the nozzle above ground"):
        fly([diameter_mm], Launch(SPEED, 25.0, riser_m))


@pytest.mark.cited("Best 1950: median of rain of 1, 5 and 10 mm/h")
def test_median_drop_of_rain() -> None:
    np.testing.assert_allclose(drops.rain_median_mm([1.0, 5.0, 10.0]), [1.105, 1.605, 1.885], rtol=0.002)


@pytest.mark.cited("Kincaid, Solomon and Oliphant 1996 with coefficients from memory, unconfirmed; 4 mm under 30.59 m")
def test_drop_sizes_of_a_rotor() -> None:
    d50_mm, spread = drops.size_and_spread(drops.spray_kinds()["rotor"], 300.0)
    assert d50_mm == pytest.approx(1.866, abs=0.005)
    assert spread == pytest.approx(1.844, abs=0.005)
    assert float(drops.share_below(d50_mm, d50_mm, spread)) == pytest.approx(0.5)


@settings(max_examples=50)
@given(st.floats(0.001, 0.999), st.floats(0.3, 5.0), st.floats(0.5, 3.0))
def test_diameter_and_share_are_inverse(share: float, d50_mm: float, spread: float) -> None:
    diameter = drops.diameter_at_share(share, d50_mm, spread)
    assert float(drops.share_below(diameter, d50_mm, spread)) == pytest.approx(share, abs=1e-9)


def test_every_kind_of_head_has_spray_with_a_source() -> None:
    assert set(drops.spray_kinds()) == set(head_kinds())
    assert all(kind.source for kind in drops.spray_kinds().values())
