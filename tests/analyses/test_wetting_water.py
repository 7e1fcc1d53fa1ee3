"""Wetting: outlines, wind, turns and how sure a strike is, on small made sites."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from gravegis.errors import LayerError
from gravegis.science.irrigation.schedule import program_lines
from tests.analyses.test_wetting import CRS, E0, N0, heads_at, program, seen, site_of, stones_at, table, tablets, work


def quarter(throw_m: float = 8.0) -> gpd.GeoDataFrame:
    """Surveyed outline of H1: a quarter circle to the north-east."""
    at = np.radians(np.linspace(0, 90, 257))
    rim = [(E0 + throw_m * np.sin(a), N0 + throw_m * np.cos(a)) for a in at]
    known: dict[Any, Any] = {"throw_id": ["T1"], "head_id": ["H1"]}
    return gpd.GeoDataFrame(known, geometry=[shapely.Polygon([*rim, (E0, N0)])], crs=CRS)


def blowing(wind_m_s: float, from_deg: float, hours: range = range(24)) -> pd.DataFrame:
    """Weather of the first ten days of October by the hour."""
    at = [f"2026-10-{day:02d}T{hour:02d}:00:00Z" for day in range(1, 11) for hour in hours]
    ids = [f"W{i}" for i in range(len(at))]
    return pd.DataFrame({"weather_id": ids, "at": at, "wind_m_s": wind_m_s, "wind_from_deg": from_deg})


def arc_head(**columns: Any) -> gpd.GeoDataFrame:
    known = {"throw_m": 8.0, "zone_id": "Z1", "flow_l_min": 10.0, "arc_from_deg": 0.0, "arc_sweep_deg": 90.0}
    return heads_at((0, 0), **{**known, **columns})


# --- surveyed outlines ---


def test_an_outline_that_is_the_arc_gives_the_litres_of_the_arc() -> None:
    layers: dict[str, Any] = {"stones": tablets((2.5, 2.5)), "heads": arc_head(), "schedules": program()}
    by_arc, by_outline = work(site_of(**layers)), work(site_of(**layers, throws=quarter()))
    of_arc, of_outline = (table(one, "wetting_links")["season_l"].iloc[0] for one in (by_arc, by_outline))
    assert of_arc > 0
    # bearings of the turn are turned to the grid by about a degree, the outline is drawn on it
    assert of_outline == pytest.approx(of_arc, rel=1e-6)
    assert table(by_outline)["season_mm"].tolist() == pytest.approx(table(by_arc)["season_mm"].tolist(), rel=1e-6)


@pytest.mark.parametrize("columns", [{"arc_sweep_deg": np.nan}, {"arc_from_deg": np.nan}, {"kind": "strip end"}])
def test_an_outline_without_a_known_turn_gives_no_litres_and_says_so(columns: Any) -> None:
    layers: dict[str, Any] = {"stones": tablets((2.5, 2.5)), "heads": arc_head(**columns), "schedules": program()}
    result = work(site_of(**layers, throws=quarter()))
    assert table(result)["reached"].tolist() == [True]
    assert table(result, "wetting_links")["season_l"].isna().all()
    assert table(result)["season_mm"].isna().all()
    assert table(result, "face_wetting")["rate_l_m2_h"].isna().any()
    said = {one.what: one for one in result.assumed}
    assert said["heads.arc_sweep_deg"].rows_n == 1
    assert "outline" in said["heads.arc_sweep_deg"].words


def test_a_stone_in_the_outline_but_off_the_turn_noted_has_unknown_water_and_is_not_called_shaded() -> None:
    heads = arc_head(arc_from_deg=180.0)
    result = work(site_of(stones=tablets((2.5, 2.5)), heads=heads, throws=quarter(), schedules=program()))
    assert table(result)["state"].tolist() == ["rained on"]
    assert table(result)["season_mm"].isna().all()
    assert table(result, "wetting_links")["season_l"].isna().all()


@pytest.mark.parametrize("from_deg", [0.0, 90.0, 225.0])
def test_wind_moves_nothing_of_a_surveyed_outline(from_deg: float) -> None:
    layers: dict[str, Any] = {"stones": tablets((5.4, 5.4), (1, 1)), "heads": arc_head(), "schedules": program()}
    calm = work(site_of(**layers, throws=quarter()))
    windy = work(site_of(**layers, throws=quarter(), weather=blowing(4.0, from_deg)))
    for layer in ("stone_wetting", "face_wetting", "wetting_links"):
        pd.testing.assert_frame_equal(table(calm, layer), table(windy, layer))
    assert (table(windy)["season_mm"] > 0).all()


# --- struck: which part of a stone, and how sure ---


def kerb(*parts: tuple[float, float, float, float], **columns: Any) -> gpd.GeoDataFrame:
    shape = shapely.union_all([shapely.box(E0 + a, N0 + b, E0 + c, N0 + d) for a, b, c, d in parts])
    frame = stones_at((0, 0), height_m=0.9, facing_deg=180.0, **columns)
    return frame.set_geometry(gpd.GeoSeries([shape], crs=CRS))


def test_the_part_of_a_kerb_that_lies_behind_a_part_circle_is_not_struck_by_it() -> None:
    """Dry 0.5 m behind the head, wet 5.5 m before it: the stream passes over."""
    stones = kerb((-4, -0.6, 0.5, -0.5), (-4, -0.6, -3.9, 5.6), (-4, 5.5, 2, 5.6))
    heads = heads_at((0, 0), arc_from_deg=0.0, arc_sweep_deg=90.0)
    row = table(work(site_of(stones=stones, heads=heads))).loc["S1"]
    assert row["state"] == "rained on"
    assert row["struck_n"] == 0
    assert row["struck_prob"] < 0.01


@pytest.mark.parametrize("side", [1, -1])
def test_the_part_of_a_kerb_within_the_turn_and_the_stream_is_struck(side: int) -> None:
    """The same kerb with a part 1.2 m before the head, or as far behind it."""
    stones = kerb((-4, -0.6, 0.5, -0.5), (-4, -0.6, -3.9, 1.3), (-4, 1.2, side * 0.5, 1.3))
    row = table(work(site_of(stones=stones, heads=heads_at((0, 0), arc_from_deg=0.0, arc_sweep_deg=90.0)))).loc["S1"]
    assert (row["struck_prob"] > 0.9) == (side > 0)
    assert (row["state"] == "struck") == (side > 0)


def test_a_stone_just_within_a_stop_is_not_called_struck_where_places_are_rough() -> None:
    stones = tablets((-0.23, 1.0), position_error_m=0.35)  # its east end 7 cm within the turn
    heads = heads_at((0, 0), arc_from_deg=0.0, arc_sweep_deg=90.0, position_error_m=0.35)
    row = table(work(site_of(stones=stones, heads=heads))).loc["S1"]
    assert row["struck_prob"] < 0.5
    assert row["state"] == "uncertain"
    assert row["struck_n"] == 0
    sure, fine = stones.assign(position_error_m=0.005), heads.assign(position_error_m=0.005, throw_basis="measured")
    errors = {"bearing_error_deg": 0.5, "measured_throw_error_m": 0.01}
    row = table(work(site_of(stones=sure, heads=fine), **errors)).loc["S1"]
    assert (row["state"], row["struck_n"]) == ("struck", 1)


# --- struck as seen ---


def test_a_zone_seen_to_strike_marks_the_head_that_can_and_not_all_of_them() -> None:
    heads = heads_at((0, -1.2), (0, 7), (6, 0), zone_id="Z1")
    stones = tablets((0, 0))
    for zone in ("Z1", ""):
        result = work(site_of(stones=stones, heads=heads, observations=seen(("S1", zone, "", "struck", ""))))
        links = table(result, "wetting_links")
        assert links["struck"].to_dict() == {("S1", "H1"): True, ("S1", "H2"): False, ("S1", "H3"): False}
        assert table(result)[["state", "basis", "struck_n"]].iloc[0].tolist() == ["struck", "observed", 1]
        assert table(result)["struck_prob"].tolist() == [1.0]


def test_a_zone_seen_to_strike_where_no_head_can_marks_the_nearest() -> None:
    heads = heads_at((0, -7), (0, 6), zone_id="Z1")
    sights = seen(("S1", "Z1", "", "struck", ""))
    result = work(site_of(stones=tablets((0, 0)), heads=heads, observations=sights))
    assert table(result, "wetting_links")["struck"].to_dict() == {("S1", "H1"): False, ("S1", "H2"): True}
    # the nearest was seen itself, and only rained on it
    sights = seen(("S1", "Z1", "", "struck", ""), ("S1", "Z1", "H2", "wetted", ""))
    result = work(site_of(stones=tablets((0, 0)), heads=heads, observations=sights))
    assert table(result, "wetting_links")["struck"].to_dict() == {("S1", "H1"): True, ("S1", "H2"): False}


def test_a_stone_seen_struck_by_no_known_head_is_struck_for_sure_by_nobody_knows_how_many() -> None:
    heads = heads_at((0, 0), zone_id="Z1")
    result = work(site_of(stones=tablets((60, 0)), heads=heads, observations=seen(("S1", "", "", "struck", ""))))
    row = table(result).loc["S1"]
    assert (row["state"], row["struck_prob"]) == ("struck", 1.0)
    assert pd.isna(row["struck_n"])


# --- until the head is changed ---


def test_a_sight_without_zone_or_head_no_longer_counts_once_a_head_near_the_stone_was_changed() -> None:
    sights = seen(("S1", "", "", "dry", "2020-05-01"), ("S2", "", "", "dry", "2020-05-01"))
    stones = stones_at((5, 0), (65, 0))
    heads = heads_at((0, 0), (60, 0), changed_on=["2026-06-01", None])
    rows = table(work(site_of(stones=stones, heads=heads, observations=sights)))
    assert rows["state"].tolist() == ["rained on", "dry"]
    assert rows["basis"].tolist() == ["model", "observed"]
    # the head that was turned away counts too, one far off does not
    turned = heads_at((0, 0), (90, 0), changed_on=["2026-06-01", "2026-06-01"], arc_from_deg=180.0, arc_sweep_deg=90.0)
    sights = seen(("S1", "", "", "wetted", "2020-05-01"), ("S2", "", "", "wetted", "2020-05-01"))
    rows = table(work(site_of(stones=stones, heads=turned, observations=sights)))
    assert rows["basis"].tolist() == ["model", "observed"]


# --- water that nobody can reckon stays missing ---


def test_a_stone_seen_wetted_by_a_head_that_the_model_does_not_have_there_has_unknown_water() -> None:
    heads = heads_at((0, 0), zone_id="Z1", flow_l_min=15.0)
    result = work(site_of(stones=tablets((0, 14)), heads=heads, schedules=program(),
                          observations=seen(("S1", "Z1", "H1", "wetted", ""))))  # fmt: skip
    row = table(result).loc["S1"]
    assert row["season_h"] == pytest.approx(10.0)
    assert pd.isna(row["season_mm"])
    assert table(result, "face_wetting")["season_l_m2"].isna().all()


@pytest.mark.parametrize("sight", [("S1", "Z2", "", "wetted", ""), ("S1", "Z2", "H9", "wetted", "")])
def test_a_zone_seen_to_wet_that_the_model_does_not_have_there_leaves_the_depth_missing(sight: Any) -> None:
    heads = heads_at((0, 0), (60, 0), zone_id=["Z1", "Z2"], flow_l_min=15.0)
    lines = program(zone_id=["Z1", "Z2"], start_at=["05:00", "07:00"])
    layers: dict[str, Any] = {"stones": tablets((0, 6)), "heads": heads, "schedules": lines}
    assert (table(work(site_of(**layers)))["season_mm"] > 0).all()
    result = work(site_of(**layers, observations=seen(sight)))
    assert table(result)["season_h"].tolist() == pytest.approx([20.0])
    assert table(result)["season_mm"].isna().all()
    assert table(result, "face_wetting")["season_l_m2"].isna().all()


def test_a_stone_seen_wetted_by_an_unknown_head_besides_has_unknown_hours() -> None:
    heads = heads_at((0, 0), zone_id="Z1", flow_l_min=15.0)
    sights = seen(("S1", "", "H9", "wetted", ""))
    result = work(site_of(stones=tablets((0, 6)), heads=heads, schedules=program(), observations=sights))
    assert table(result)[["season_h", "season_mm"]].isna().all(axis=None)


def test_an_uncertain_stone_outside_a_throw_has_neither_no_hours_nor_no_water() -> None:
    heads = heads_at((0, 0), zone_id="Z1", flow_l_min=15.0)
    stones = stones_at((0, 10.3), (0, 40), position_error_m=0.5)
    rows = table(work(site_of(stones=stones, heads=heads, schedules=program())))
    assert rows["state"].tolist() == ["uncertain", "dry"]
    assert rows["reached"].tolist() == [False, False]
    for name in ("season_h", "season_mm", "wet_nights_n", "wet_spell_h"):
        assert rows[name].fillna(-1).tolist() == [-1, 0], name


# --- where the answer comes from ---


def test_a_state_that_another_zone_gives_is_not_called_observed() -> None:
    heads = heads_at((0, -1.2), (0, 7), zone_id=["Z1", "Z2"], throw_basis="measured", arc_sweep_deg=360.0)
    layers: dict[str, Any] = {"stones": tablets((0, 0)), "heads": heads}
    row = table(work(site_of(**layers, observations=seen(("S1", "Z2", "", "wetted", ""))))).loc["S1"]
    assert (row["state"], row["basis"], row["certainty"]) == ("struck", "model", "surveyed")
    guess = layers["heads"].assign(throw_basis=["assumed", "measured"])
    sights = seen(("S1", "Z2", "", "wetted", ""))
    row = table(work(site_of(stones=tablets((0, 0)), heads=guess, observations=sights))).loc["S1"]
    assert (row["state"], row["basis"], row["certainty"]) == ("struck", "model", "guessed")
    row = table(work(site_of(**layers, observations=seen(("S1", "Z1", "", "struck", ""))))).loc["S1"]
    assert (row["state"], row["basis"], row["certainty"]) == ("struck", "observed", "surveyed")


def test_certainty_is_that_of_the_head_that_gives_the_state() -> None:
    heads = heads_at((0, -1.2), (0, 7), throw_basis=["measured", "assumed"], arc_sweep_deg=360.0)
    row = table(work(site_of(stones=tablets((0, 0)), heads=heads))).loc["S1"]
    assert (row["state"], row["certainty"]) == ("struck", "surveyed")


def test_a_zone_seen_to_wet_does_not_hold_where_each_of_its_heads_was_looked_at_and_missed() -> None:
    heads = heads_at((0, 0), zone_id="Z1")
    sights = seen(("S1", "Z1", "H1", "dry", "2026-10-09"), ("S1", "Z1", "", "wetted", "2026-10-01"))
    row = table(work(site_of(stones=stones_at((5, 0)), heads=heads, observations=sights))).loc["S1"]
    assert (row["state"], row["basis"], bool(row["reached"])) == ("dry", "observed", False)


# --- wind ---


def test_distances_are_those_on_the_ground_whatever_the_wind() -> None:
    layers: dict[str, Any] = {"heads": heads_at((0, 0), zone_id="Z1", flow_l_min=15.0), "schedules": program()}
    layers["stones"] = tablets((0, 3.9), (0, -3.9), (0, 7), (2, -7), (0, -1.5))
    calm, windy = work(site_of(**layers)), work(site_of(**layers, weather=blowing(4.0, 180.0)))
    assert any("mean wind" in note for note in windy.notes)
    links = table(windy, "wetting_links")
    for stone, place in layers["stones"].set_index("stone_id").geometry.items():
        if (stone, "H1") in links.index:
            far = place.distance(shapely.Point(E0, N0))
            assert links.loc[(stone, "H1"), "distance_m"] == pytest.approx(far, abs=1e-9)
    bands = ["near_n", "half_n"]
    assert (table(calm, "head_stones")[bands] == table(windy, "head_stones")[bands]).all(axis=None)


@pytest.mark.parametrize(("hours", "carried"), [(range(5, 6), True), (range(6, 7), False)])
def test_the_end_of_a_run_is_no_hour_of_it(hours: range, carried: bool) -> None:
    """A run from 05:00 to 06:00 of a site in UTC; wind in one hour only."""
    layers: dict[str, Any] = {
        "stones": tablets((0, 3)),
        "heads": heads_at((0, 0), zone_id="Z1"),
        "schedules": program(),
    }
    others = blowing(0.0, 180.0, range(4, 5) if carried else range(5, 6))
    weather = pd.concat([blowing(4.0, 180.0, hours), others])
    weather["weather_id"] = [f"W{i}" for i in range(len(weather))]
    result = work(site_of(time_zone="UTC", **layers, weather=weather))
    said = [note for note in result.notes if "mean wind" in note]
    assert bool(said) == carried
    assert all("height" in note for note in said)


# --- what is missing is said ---


def test_a_strip_of_unknown_bearing_is_a_guess_and_leaves_the_stones_around_it_uncertain() -> None:
    strip = heads_at((0, 0), kind="strip end", throw_m=np.nan, strip_length_m=6.0, strip_width_m=1.5)
    strip = strip.assign(throw_basis="measured")
    stones = stones_at((0, 3), (0, -3), (3, 0), (0, 12))
    result = work(site_of(stones=stones, heads=strip))
    rows = table(result)
    assert rows["state"].tolist() == ["uncertain", "uncertain", "uncertain", "dry"]
    assert rows["certainty"].iloc[0] == "guessed"
    assert {one.what: one.rows_n for one in result.assumed}["heads.arc_from_deg"] == 1
    known = work(site_of(stones=stones, heads=strip.assign(arc_from_deg=0.0)))
    assert table(known)["state"].tolist() == ["rained on", "dry", "dry", "dry"]
    assert table(known)["certainty"].iloc[0] == "surveyed"
    assert "heads.arc_from_deg" not in {one.what for one in known.assumed}


def test_an_error_of_bearing_makes_the_sides_of_a_strip_uncertain() -> None:
    strip = heads_at((0, 0), kind="strip end", throw_m=np.nan, strip_length_m=20.0, strip_width_m=2.0, arc_from_deg=0.0)
    strip = strip.assign(throw_basis="measured", position_error_m=0.01)
    stones = stones_at((0.4, 18), (0.4, 3), position_error_m=0.01)
    rows = table(work(site_of(stones=stones, heads=strip), bearing_error_deg=3.0))
    assert rows["state"].tolist() == ["uncertain", "rained on"]


def test_strikes_already_seen_are_told_first() -> None:
    heads = heads_at((0, -1.2), zone_id="Z1")
    result = work(site_of(stones=tablets((0, 0)), heads=heads, observations=seen(("S1", "Z1", "H1", "struck", ""))))
    assert len(result.layers["head_looks"]) == 0
    assert result.notes[0].startswith("The stream itself strikes 1 of 1 stones")


# --- inputs at the ends of their ranges ---


def test_cycles_without_end_are_left_unread_with_the_reason() -> None:
    row: dict[str, object] = {"schedule_id": "R1", "zone_id": "Z1", "start_at": "05:00", "run_min": 60}
    for cycles_n in ("inf", float("inf"), "nan"):
        lines, unread = program_lines([{**row, "every": "daily", "cycles_n": cycles_n}])
        assert not lines
        assert "cycles" in unread[0].words


def test_water_that_cannot_be_followed_names_its_head(monkeypatch: pytest.MonkeyPatch) -> None:
    from gravegis.science.irrigation import ballistics

    monkeypatch.setattr(ballistics, "_LONGEST_S", 0.5)
    heads = heads_at((0, 0), pressure_kpa=1975.0, trajectory_deg=81.0)
    with pytest.raises(LayerError, match=r"H1.*still in the air"):
        work(site_of(stones=stones_at((5, 0)), heads=heads))


def test_a_level_stream_out_of_the_ground_gets_the_usual_riser_and_it_is_said() -> None:
    heads = heads_at((0, 0), trajectory_deg=0.0, riser_m=0.0, flow_l_min=10.0)
    result = work(site_of(stones=tablets((0, 1)), heads=heads))
    assert table(result)["state"].tolist() == ["struck"]
    assert {one.what: one.rows_n for one in result.assumed}["heads.riser_m"] == 1
