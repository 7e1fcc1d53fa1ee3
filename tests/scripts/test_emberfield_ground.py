"""The sample ground is what its README says it is: water, ways, people, weather."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import pytest
import shapely

from tests.scripts.emberfield import (
    FOLDER,
    GRID,
    TRUTH,
    shapes,
    table,
)

if TYPE_CHECKING:
    import geopandas as gpd


def test_scores_and_checks_have_the_gaps_claimed(stones: gpd.GeoDataFrame) -> None:
    assert stones["quick_score"].isna().sum() == 28
    assert set(stones["quick_score"].dropna()) == {0, 1, 2, 3}
    share = stones["stability"].value_counts(normalize=True)
    assert share["unchecked"] == pytest.approx(0.15, abs=0.005)
    assert share["moves"] == pytest.approx(0.03, abs=0.01)
    assert (stones["stability"] == "do not approach").sum() == 3
    unchecked = stones["stability"] == "unchecked"
    assert (stones["stability_on"].isna() == unchecked).all()
    assert (stones["stability_by"].isna() == unchecked).all()
    assert 0.02 <= stones["height_m"].isna().mean() <= 0.08


def test_flush_markers_lie_in_a_section_of_their_own(stones: gpd.GeoDataFrame) -> None:
    lawn = stones[stones["section"] == "D"]
    assert len(lawn) == 200
    assert (lawn["form"] == "flush marker").all()


def test_the_hosed_corner_has_stones_and_no_head(
    stones: gpd.GeoDataFrame, heads: gpd.GeoDataFrame, throws: list[shapely.Geometry]
) -> None:
    corner = shapes("wet_areas.geojson")
    assert "head_id" not in corner.columns
    ground = corner.geometry.iloc[0]
    assert stones.intersects(ground).sum() >= 15
    assert not heads.intersects(ground).any()
    assert ground.intersection(shapely.union_all(throws)).area < 0.05 * ground.area


def test_the_night_is_too_short_for_the_programme() -> None:
    """All zones on one bore, one after the other: program A needs more minutes than the source allows."""
    allowed = table("sources.csv").set_index("source_id")["allowed"]["bore"]
    start, end = (int(part[:2]) * 60 + int(part[3:5]) for part in allowed.split()[0].split("-"))
    assert (start, end) == (120, 360)
    runs = table("schedules.csv")
    daily = runs[(runs["program"] == "A") & (runs["every"] == "daily")]
    assert (daily["run_min"] * daily["cycles_n"]).sum() > end - start
    limit = table("sources.csv").set_index("source_id")["flow_limit_l_min"]["bore"]
    flows = pd.read_csv(TRUTH / "heads.csv").merge(table("heads.csv")[["head_id", "zone_id"]], on="head_id")
    by_zone = flows.groupby("zone_id")["flow_l_min"].sum()
    assert (by_zone <= limit).all()
    assert by_zone.sum() > 2 * limit  # so they cannot run at once


def test_the_only_straight_way_from_the_store_is_the_gate(stones: gpd.GeoDataFrame) -> None:
    wall = shapes("barriers.geojson").set_index("kind").geometry["wall"]
    gates = shapes("gates.geojson").set_index("kind").geometry
    store = shapely.Point(table("bases.csv").loc[0, ["easting", "northing"]].to_numpy(dtype=float))
    assert gates["gate"].distance(wall) < 1e-4
    assert store.distance(gates["gate"]) < 6
    middles = stones.geometry.centroid
    ends = shapely.get_coordinates(middles.to_numpy())
    sights = shapely.linestrings(np.stack([np.broadcast_to([store.x, store.y], ends.shape), ends], axis=1))
    assert shapely.crosses(sights, wall).all()
    # going round the end of the wall is longer than going through it, for every stone
    through = store.distance(gates["gate"]) + middles.distance(gates["gate"])
    for end in (shapely.Point(wall.coords[0]), shapely.Point(wall.coords[-1])):
        assert (store.distance(end) + middles.distance(end) > through).all()


def test_the_hedge_parts_the_lawn_from_the_dry_section(stones: gpd.GeoDataFrame) -> None:
    hedges = shapes("barriers.geojson").set_index("barrier_id").geometry
    gates = shapes("gates.geojson").set_index("gate_id").geometry
    assert gates["G2"].distance(hedges["H1"]) < 1e-4
    assert gates["G3"].distance(hedges["H2"]) < 1e-4
    easting = stones.geometry.centroid.x
    dry = stones["section"] == "C"
    assert easting[~dry].max() < hedges["H1"].bounds[0]
    assert easting[dry].min() > hedges["H1"].bounds[2]


def test_programs_cross_new_year_and_two_zones_run_after_lunch() -> None:
    schedules = table("schedules.csv")
    assert (schedules["from_on"] > schedules["to_on"]).all()
    assert set(schedules["zone_id"]) == {f"Z{number}" for number in range(1, 9)}
    late = schedules[schedules["start_at"].between("12:00", "17:00")]
    assert late["zone_id"].tolist() == ["Z2", "Z7"]


def test_one_tap_is_fit_to_drink_and_one_is_not() -> None:
    taps = table("taps.csv").set_index("source_id")["fit_to_drink"]
    assert taps.to_dict() == {"mains": "yes", "bore": "no"}


@pytest.mark.cited(
    "40 CFR 143.3, secondary limits: iron 0.3 mg/L, manganese 0.05 mg/L, total dissolved solids 500 mg/L"
)
def test_the_bore_is_rich_in_iron_and_its_ions_balance() -> None:
    water: Any = table("water.csv").set_index("sample_id")
    bore: Any = water.loc["WS1"]
    assert bore["iron_basis"] == "total"
    assert bore["iron_mg_l"] > 10 * 0.3
    assert bore["manganese_mg_l"] > 0.05
    assert water.loc["WS3", "iron_mg_l"] < 0.3
    # milligrams per milliequivalent, from atomic masses
    cations = {"calcium": 20.039, "magnesium": 12.1525, "sodium": 22.990, "potassium": 39.098}
    anions = {"chloride": 35.45, "sulfate": 48.03, "alkalinity": 50.043}
    plus, minus = (sum(water[f"{name}_mg_l"] / each for name, each in ions.items()) for ions in (cations, anions))
    assert ((plus - minus).abs() / (plus + minus) < 0.02).all()


def test_six_military_markers_wait_for_leave(stones: gpd.GeoDataFrame) -> None:
    marked = stones.loc[stones["significance"] == "official military marker", "stone_id"]
    assert len(marked) == 6
    asked = table("permissions.csv").set_index("stone_id").loc[marked, "status"]
    assert set(asked) == {"unknown", "pending"}


def test_a_funeral_closes_stones_on_the_day_of_the_plan(stones: gpd.GeoDataFrame) -> None:
    closures = shapes("closures.geojson").set_index("kind")
    day = json.loads((FOLDER / "site.json").read_text(encoding="utf-8"))["settings"]["routes"]["day"]
    funeral: Any = closures.loc["funeral"]
    assert pd.Timestamp(funeral["from_at"]).date().isoformat() == day
    assert stones.intersects(funeral.geometry.buffer(funeral["quiet_m"])).sum() >= 10


def test_the_pond_has_stones_within_its_buffer(stones: gpd.GeoDataFrame) -> None:
    pond = shapes("sensitive.geojson").iloc[0]
    assert pond["kind"] == "pond"
    assert not stones.intersects(pond.geometry).any()
    assert stones.intersects(pond.geometry.buffer(pond["buffer_m"])).sum() >= 3


def test_a_trained_pair_and_a_volunteer_morning_are_at_work() -> None:
    """Minutes of work as practitioners give them: shift less set-up and breaks, 330 to 360 and about 135."""
    crews = table("crews.csv").set_index("crew_id")
    hours = pd.to_timedelta(crews["shift_to"] + ":00") - pd.to_timedelta(crews["shift_from"] + ":00")
    work_min = hours.dt.total_seconds() / 60 - 75
    assert 330 <= work_min["C1"] <= 360
    volunteers = crews[crews.index.str.startswith("V")]
    assert len(volunteers) == 4
    assert (work_min[volunteers.index] == 135).all()
    assert volunteers["led_by"].notna().all()
    assert volunteers["work_factor"].between(1.5, 2.0).all()


def test_the_weather_is_a_whole_year_of_hours_that_can_be() -> None:
    file = FOLDER / "weather.csv"
    assert file.stat().st_size < 600_000
    rows = pd.read_csv(file, parse_dates=["at"])
    assert len(rows) == 8760
    assert (rows["at"].diff().dropna() == pd.Timedelta(hours=1)).all()
    assert rows["temp_degc"].between(-8, 46).all()
    assert rows["humidity_frac"].between(0.05, 1).all()
    local = rows.assign(hour=rows["at"].dt.tz_convert("Australia/Adelaide").dt.hour)
    assert local.groupby("hour")["temp_degc"].mean().idxmax() in range(14, 18)
    assert (local.loc[local["hour"].isin([23, 0, 1, 2]), "sun_w_m2"] == 0).all()
    january, july = (rows.loc[rows["at"].dt.month == month, "temp_degc"].mean() for month in (1, 7))
    assert january - july == pytest.approx(15, abs=4)
    assert 150 < rows["rain_mm"].sum() < 400


def test_the_site_file_says_where_and_when() -> None:
    site = json.loads((FOLDER / "site.json").read_text(encoding="utf-8"))
    assert set(site) == {"title", "crs", "time_zone", "elevation_m", "seed", "settings"}
    assert site["crs"] == f"EPSG:{GRID}"
    assert site["time_zone"] == "Australia/Adelaide"
    assert site["settings"] == {"routes": {"day": "2026-12-02"}, "worklist": {"as_of": "2026-12-02"}}
