from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gravegis.science.irrigation import tables as module
from gravegis.science.irrigation.ballistics import Launch, fly
from gravegis.science.irrigation.drops import diameter_at_share, share_below, size_and_spread, spray_kinds
from gravegis.science.irrigation.hydraulics import face_rate_l_m2_h, jet_speed_m_s, stream_strike_m
from gravegis.science.irrigation.rays.water import strike_distance_m
from gravegis.science.irrigation.tables import (
    DISTANCES_N,
    HEIGHTS_N,
    SprayTable,
    build_table,
    from_bytes,
    stretch,
    table_for,
    table_keys,
    to_bytes,
)

ROTOR = build_table(table_keys(["rotor"], 300.0, 25.0, 0.1)[0][0])
SPRAY = build_table(table_keys(["spray"], np.nan, np.nan, np.nan)[0][0])


def share_at(table: SprayTable, distance_m: float, height_m: float) -> float:
    """Bilinear look-up, plainly."""
    places, heights = np.linspace(0, table.throw_m, DISTANCES_N), np.linspace(0, table.top_m, HEIGHTS_N)
    row = [np.interp(distance_m, places, table.share_below[:, j]) for j in range(HEIGHTS_N)]
    return float(np.interp(height_m, heights, row))


@pytest.mark.parametrize("table", [ROTOR, SPRAY])
def test_table_is_a_share_that_grows_with_height_and_lands_with_distance(table: SprayTable) -> None:
    assert table.share_below.shape == (DISTANCES_N, HEIGHTS_N)
    assert (np.diff(table.share_below, axis=1) >= 0).all()
    assert (np.diff(table.share_below[:, 0]) >= 0).all()
    assert table.share_below[0, 0] == 0.0
    assert (table.share_below[-1] == 1.0).all()
    assert (table.share_below[:, -1] == 1.0).all()


@pytest.mark.cited("model regression: prototype, 4 mm, 300 kPa, 25 degrees, rates by ring of 1 m from 1 m out")
def test_radial_profile_of_a_rotor() -> None:
    landed = np.array([share_at(ROTOR, float(r), 0.0) for r in range(1, 13)])
    rate = 1052.7 * np.diff(landed) / (np.pi * np.diff(np.arange(1.0, 13.0) ** 2))
    expected = [3.60, 2.84, 2.31, 2.08, 2.25, 2.35, 2.32, 2.21, 1.91, 2.07, 1.87]
    np.testing.assert_allclose(rate, expected, rtol=0.06)


@pytest.mark.cited("volume closure: all the water lands within the throw (cannot detect a wrong shape)")
def test_profile_holds_the_flow() -> None:
    landed = np.array([share_at(ROTOR, r, 0.0) for r in np.linspace(0, ROTOR.throw_m, 200)])
    assert np.diff(landed).sum() == pytest.approx(1.0, abs=0.005)


@pytest.mark.cited("model regression: prototype, face of 0.9 m against the ground, 3 to 12 m")
def test_faces_far_from_the_head_get_about_half_to_nine_tenths_of_the_ground() -> None:
    expected = [0.61, 0.54, 0.65, 0.63, 0.69, 0.74, 0.79, 0.87, 0.86, 0.59]
    found = []
    for r in range(3, 13):
        near, far = r - 0.5, min(r + 0.5, ROTOR.throw_m)
        ground = (share_at(ROTOR, far, 0.0) - share_at(ROTOR, near, 0.0)) / (np.pi * (far**2 - near**2))
        face = (share_at(ROTOR, r, 0.9) - share_at(ROTOR, r, 0.0)) / (2 * np.pi * r * 0.9)
        found.append(face / ground)
    np.testing.assert_allclose(found, expected, atol=0.1)


@pytest.mark.cited("model regression: prototype, face of 0.9 m at 1.5 m, 122 L/m2h, 35 times the ground rate")
def test_face_near_the_head_is_struck_at_tens_of_times_the_ground_rate() -> None:
    face = 1052.7 * (share_at(ROTOR, 1.5, 0.9) - share_at(ROTOR, 1.5, 0.0)) / (2 * np.pi * 1.5 * 0.9)
    ground = 1052.7 * (share_at(ROTOR, 2.0, 0.0) - share_at(ROTOR, 1.0, 0.0)) / (np.pi * 3.0)
    assert face == pytest.approx(122.0, rel=0.05)
    assert 25 < face / ground < 40


@pytest.mark.parametrize("at_m", [6.0, 8.0, 9.0, 11.0])
def test_low_faces_agree_with_the_flux_of_the_drops_that_land_there(at_m: float) -> None:
    """The table's catch over the lowest 5 cm is the ground rate times vx/vz of the drops landing there."""
    d50_mm, spread = size_and_spread(spray_kinds()["rotor"], 300.0)
    whole = float(share_below(5.8, d50_mm, spread)) * 0.99
    rank = np.linspace(0.001, 1.0, 800)
    flight = fly(
        np.clip(diameter_at_share(rank * whole, d50_mm, spread), 0.1, 5.8), Launch(float(jet_speed_m_s(300.0)), 25, 0.1)
    )
    near = np.abs(flight.range_m - at_m) < 0.25
    slope = (flight.along_m_s[near] / flight.down_m_s[near]).mean()
    band = near.sum() / 800 / (2 * np.pi * at_m * 0.5)
    places = np.linspace(at_m - 0.25, at_m + 0.25, 21)
    low = np.mean([(share_at(ROTOR, r, 0.05) - share_at(ROTOR, r, 0.0)) / (2 * np.pi * r * 0.05) for r in places])
    assert low == pytest.approx(float(face_rate_l_m2_h(band, slope)), rel=0.1)


@pytest.mark.cited("exact length of the shadow of 0.9 m at the end of flight: 2 mm 0.643 m, 3 mm 0.748 m (derived)")
@pytest.mark.parametrize(("diameter_mm", "length_m"), [(1.0, 0.498), (2.0, 0.643), (3.0, 0.748), (4.0, 0.802)])
def test_length_of_the_shadow_at_the_end_of_flight(diameter_mm: float, length_m: float) -> None:
    flight = fly([diameter_mm], Launch(float(jet_speed_m_s(300.0)), 25.0, 0.1))
    down = slice(int(np.argmax(flight.z_m[:, 0])), None)
    cleared = np.interp(-0.9, -flight.z_m[down, 0], flight.x_m[down, 0])
    assert flight.range_m[0] - cleared == pytest.approx(length_m, rel=0.01)


@pytest.mark.parametrize("throw_m", [6.0, 9.0, 12.4, 18.0, 30.0])
def test_stretched_pattern_ends_at_the_stated_throw_and_keeps_its_order(throw_m: float) -> None:
    one, two = (float(part) for part in stretch(ROTOR.throw_m, throw_m))
    share = np.linspace(0, 1, 101)
    place = share * (one + two * share)
    assert place[-1] == pytest.approx(1.0)
    assert (np.diff(place) > 0).all()
    if throw_m < 20:
        assert place[1] * ROTOR.throw_m / (share[1] * throw_m) == pytest.approx(1.0, abs=0.02)  # near field unstretched


@pytest.mark.cited("closed form of the drag-free stream at 300 kPa, 25 degrees; air drag makes it a little longer")
@pytest.mark.parametrize("throw_m", [9.0, 12.4])
def test_strike_distance_follows_the_stream(throw_m: float) -> None:
    heights = np.array([0.3, 0.6, 0.9, 1.2])
    free = stream_strike_m(heights, float(jet_speed_m_s(300.0)), 25.0, 0.1)
    ours = strike_distance_m([ROTOR], np.zeros(4, np.int64), np.full(4, throw_m), heights)
    np.testing.assert_allclose(ours, free, rtol=0.08)


def test_tall_stone_is_struck_no_farther_than_the_stream_rises() -> None:
    tall = strike_distance_m([ROTOR], np.zeros(1, np.int64), np.array([12.4]), [10.0])
    assert 4.0 < tall[0] < 8.0
    low = strike_distance_m([ROTOR], np.zeros(2, np.int64), np.full(2, 12.4), [0.05, 0.0])
    assert low.tolist() == [0.0, 0.0]


@pytest.mark.parametrize("kind", ["rotor", "spray"])
def test_a_low_stream_strikes_a_tall_stone_as_far_as_it_holds_together(kind: str) -> None:
    """Checks of low angles: a stone that the stream never clears is in its way until it lands or falls apart."""
    angles = [0, 1, 3, 5, 10, 15, 20]
    tables = [build_table(table_keys([kind], np.nan, angle, 0.1)[0][0]) for angle in angles]
    usual = build_table(table_keys([kind], np.nan, np.nan, 0.1)[0][0])
    tall = np.array([table.strike_m[-1] for table in tables])
    assert tall[0] > 0.6 * tables[0].throw_m  # level: as far as it flies
    assert (np.diff(tall) >= 0).all()
    assert (tall <= usual.strike_m[-1]).all()
    assert tall[4:] == pytest.approx(usual.strike_m[-1])  # which lands beyond
    for table in tables[1:]:
        rising = table.strike_m[: np.argmax(table.strike_m == table.strike_m[-1])]
        assert (np.diff(rising) >= 0).all()


@settings(max_examples=20)
@given(st.integers(0, 6), st.integers(0, 6))
def test_wind_is_one_of_six_classes(wind: int, also: int) -> None:
    keys, place = table_keys(["rotor", "rotor"], 300.0, 25.0, 0.1, [float(wind), float(also)])
    assert len(keys) == len({min(wind, 5), min(also, 5)})
    assert keys[place[0]].wind_class == min(wind, 5)


def test_keys_are_rounded_and_shared() -> None:
    keys, place = table_keys(["rotor"] * 4, [300, 309, np.nan, 320], [25, 25.4, np.nan, 25], [0.1, 0.12, np.nan, 0.1])
    assert place.tolist() == [0, 0, 0, 1]
    assert [key.pressure_kpa for key in keys] == [300.0, 325.0]
    assert keys[0].name != keys[1].name


def test_unknown_kinds_and_wild_figures_are_refused() -> None:
    with pytest.raises(ValueError, match="Unknown kinds of head: fountain"):
        table_keys(["fountain", "rotor"], 300.0, 25.0, 0.1)
    with pytest.raises(ValueError, match=r"head 0: pressure_kpa is 1e\+06, .*; head 0: angle_deg is -5"):
        table_keys(["rotor"], 1e6, -5.0, 0.1)


def test_coefficients_are_part_of_the_key(monkeypatch: pytest.MonkeyPatch) -> None:
    before = table_keys(["rotor"], 300.0, 25.0, 0.1)[0][0]
    monkeypatch.setattr(module, "coefficient_hash", lambda: "another")
    assert table_keys(["rotor"], 300.0, 25.0, 0.1)[0][0].name != before.name


class Folder(dict[str, bytes]):
    """A cache that counts what is put into it."""

    puts = 0

    def put(self, name: str, data: bytes) -> None:
        self.puts += 1
        self[name] = data


def test_cache_changes_nothing_but_time(monkeypatch: pytest.MonkeyPatch) -> None:
    key, cache = table_keys(["rotor"], 300.0, 25.0, 0.1)[0][0], Folder()
    monkeypatch.setattr(module, "build_table", lambda _: ROTOR)
    first = table_for(key, cache)
    again = table_for(key, cache)
    without = table_for(key)
    assert cache.puts == 1
    for table in (again, without):
        assert to_bytes(table) == to_bytes(first)
    cache[key.name] = cache[key.name][:-1]  # cut short
    assert to_bytes(table_for(key, cache)) == to_bytes(first)
    assert cache.puts == 2


def test_a_table_built_again_is_the_same_to_the_last_bit() -> None:
    """So that it makes no difference whether a cache was emptied in between."""
    assert to_bytes(build_table(table_keys(["rotor"], 300.0, 25.0, 0.1)[0][0])) == to_bytes(ROTOR)


def test_damaged_bytes_are_refused() -> None:
    data = to_bytes(ROTOR)
    assert to_bytes(from_bytes(data)) == data
    for bad in (b"", data[:-8], data[:100] + b"x" + data[101:]):
        with pytest.raises(ValueError, match="Not a whole spray table"):
            from_bytes(bad)


def test_law_is_part_of_the_key_and_changes_the_pattern() -> None:
    key = table_keys(["rotor"], 300.0, 25.0, 0.1, law="fukui")[0][0]
    assert build_table(key).throw_m > 1.2 * ROTOR.throw_m
    assert replace(key, law="measured").name != key.name
