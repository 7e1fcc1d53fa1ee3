"""What to measure next: counted by hand on made ground, in order on poor lists and on the sample site."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from gravegis.layers import canonical, schema
from gravegis.layers.ask import MOST_N, MOST_OF_A_KIND_N, next_measurements
from gravegis.site import Site, SiteInfo

CRS = "EPSG:7854"
E0, N0 = 372000.0, 6250000.0
NOTHING_ELSE = {"stability": "moves", "quick_score": 1, "material": "granite", "facing_deg": 90.0,
                "position_error_m": 0.05}  # fmt: skip


def at(*x_m: float, **columns: Any) -> gpd.GeoDataFrame:
    places = [shapely.Point(E0 + x, N0) for x in x_m]
    return gpd.GeoDataFrame({name: [value] * len(places) if np.isscalar(value) else value
                             for name, value in columns.items()}, geometry=places, crs=CRS)  # fmt: skip


def stones(*x_m: float, **columns: Any) -> gpd.GeoDataFrame:
    return at(*x_m, stone_id=[f"S{i + 1}" for i in range(len(x_m))], **{**NOTHING_ELSE, **columns})


def heads(*x_m: float, **columns: Any) -> gpd.GeoDataFrame:
    whole = {"throw_m": 10.0, "throw_basis": "measured", "arc_sweep_deg": 360.0, "zone_id": "Z", "kind": "rotor"}
    return at(*x_m, head_id=[f"H{i + 1}" for i in range(len(x_m))],
              **{**whole, "position_error_m": 0.05, **columns})  # fmt: skip


def hours() -> pd.DataFrame:
    return pd.DataFrame({"schedule_id": ["R"], "zone_id": ["Z"], "start_at": ["03:00"], "run_min": [9.0],
                             "every": ["daily"]})  # fmt: skip


def asked(**layers: Any) -> dict[str, int]:
    site = Site(SiteInfo("made", CRS)).with_layers({"schedules": hours(), **layers})
    return {one.words: one.changes_n for one in next_measurements(site)}


def test_where_nothing_is_missing_nothing_is_asked() -> None:
    assert asked(stones=stones(1, 5, 9), heads=heads(0)) == {}


def test_a_throw_by_kind_bears_on_the_stones_between_the_ends_of_its_range() -> None:
    # a rotor throws 4.6 to 18 m (head_kinds.csv): S2 to S4 lie between
    made = asked(stones=stones(4, 5, 11, 17.9, 18.1), heads=heads(0, throw_m=None))
    assert made == {"Pace the throw of H1 at three bearings": 3}


def test_a_throw_nobody_measured_is_doubted_by_a_tenth_and_a_measured_one_is_not() -> None:
    ground = stones(8.9, 9.1, 10.9, 11.1)
    assert asked(stones=ground, heads=heads(0, throw_basis="stated")) == {"Pace the throw of H1 at three bearings": 2}
    assert asked(stones=ground, heads=heads(0)) == {}


def test_a_head_without_throw_and_kind_may_be_told_by_its_kind() -> None:
    made = asked(stones=stones(1, 17, 19), heads=heads(0, throw_m=None, kind=None))
    assert made == {"Pace the throw of H1 at three bearings, or note what kind of head it is": 2}


def test_an_unknown_turn_bears_on_all_stones_within_the_throw() -> None:
    words = "Note where H1 turns: two landmarks, or that it goes full circle"
    assert asked(stones=stones(1, 9, 11), heads=heads(0, arc_sweep_deg=None)) == {words: 2}
    outline = gpd.GeoDataFrame({"throw_id": ["t"], "head_id": ["H1"]},
                               geometry=[shapely.Point(E0, N0).buffer(10)], crs=CRS)  # fmt: skip
    assert asked(stones=stones(1, 9, 11), heads=heads(0, arc_sweep_deg=None), throws=outline) == {}


def test_phone_points_are_taped_stone_by_stone_and_a_lost_head_from_two_good_stones() -> None:
    made = asked(stones=stones(1, 3, 5, 7, position_error_m=4.0), heads=heads(0, position_error_m=4.0))
    assert made == {"Tape the distance from head H1 to stones S1, S2, S3": 3}
    # S4 stands 5 m from the limit of 2 m, more than the error of 4 m
    made = asked(stones=stones(1, 3, 5, 7), heads=heads(0, position_error_m=4.0))
    assert made == {"Tape the distances from head H1 to stones S1 and S2: they place the head": 3}
    assert asked(stones=stones(1, 3, position_error_m=0.1), heads=heads(0, position_error_m=0.1)) == {}


def test_a_zone_without_a_programme_bears_on_the_stones_its_heads_reach() -> None:
    ground, water = stones(1, 9, 25, 45), heads(0, 20, zone_id=["Y", "Z"])
    assert asked(stones=ground, heads=water) == {"Ask the superintendent for the programme of zone Y": 2}
    made = asked(stones=ground, heads=heads(0, 20, zone_id=None))
    assert made == {"Ask the superintendent which zone waters H1, H2, and when it runs": 3}


def test_rows_are_named_and_a_label_of_two_sections_is_told_with_its_section() -> None:
    ground = stones(1, 2, 3, 4, 5, section=["A", "A", "B", "B", "B"], row=["1", "1", "1", "2", "2"], quick_score=None)
    assert asked(stones=ground, heads=heads(100)) == {
        "Quick survey of row 1 of section A": 2,
        "Quick survey of row 2": 2,
        "Quick survey of row 1 of section B": 1,
    }


def test_stability_asks_who_checked_or_has_it_checked() -> None:
    said = stones(1, 2, 3, 4, row=["r"] * 4, stability=[None, "firm", "unchecked", "firm"],
                  stability_on=[None, None, None, "2026-01-01"])  # fmt: skip
    made = asked(stones=said, heads=heads(100))
    assert made["Who checked the stability of stones in row r, when, and what was found?"] == 2
    assert (
        made["Have somebody trained check the stability of stones in row r, by eye first; local rules come first"] == 1
    )


def test_what_no_analysis_reads_yet_comes_last_and_says_so() -> None:
    ground = stones(*range(1, 9), section=["A"] * 8, facing_deg=None, quick_score=[None] + [1] * 7)
    site = Site(SiteInfo("made", CRS)).with_layers({"stones": ground, "heads": heads(0), "schedules": hours()})
    first, last = next_measurements(site)
    assert (first.changes_n, first.waits_for) == (1, "")
    assert last.words.startswith("Which way do inscriptions look in section A?")
    assert (last.changes_n, last.waits_for) == (8, "faces, which are not worked out yet")


def test_where_nothing_is_known_of_the_water_one_walks_the_ground() -> None:
    assert asked(stones=stones(1, 2)) == {
        "Walk the ground while each zone runs, and write down which stones get wet": 2
    }


def test_no_stones_and_empty_layers_ask_nothing() -> None:
    assert next_measurements(Site(SiteInfo("bare", ""))) == []
    bare = Site(SiteInfo("bare", CRS)).with_layers({name: canonical.empty(name, CRS) for name in schema.layers()})
    assert next_measurements(bare) == []
    placeless = stones(1).set_geometry(gpd.GeoSeries([shapely.Point()], crs=CRS))
    assert asked(stones=placeless) == {}


@given(st.lists(st.floats(-40, 40), min_size=1, max_size=12), st.lists(st.floats(-40, 40), min_size=1, max_size=6))
def test_never_more_than_ten_nor_four_of_a_kind_and_most_stones_first(x: list[float], h: list[float]) -> None:
    bare = stones(*x, **dict.fromkeys(NOTHING_ELSE)).dropna(axis=1, how="all")
    site = Site(SiteInfo("made", CRS)).with_layers({"stones": bare, "heads": heads(*h, arc_sweep_deg=None)})
    made = next_measurements(site)
    assert 1 <= len(made) <= MOST_N
    counts = [(bool(one.waits_for), -one.changes_n) for one in made]
    assert counts == sorted(counts)
    assert all(1 <= one.changes_n <= len(x) for one in made)
    for kind in ("Note where", "Pace", "Tape", "Quick survey"):
        assert sum(one.words.startswith(kind) for one in made) <= MOST_OF_A_KIND_N


def test_the_sample_site_asks_for_the_throw_by_kind_and_the_unknown_turn(sample_site: Site) -> None:
    made = {one.words: one.changes_n for one in next_measurements(sample_site)}
    rows, ground = sample_site["heads"].set_index("head_id"), np.asarray(sample_site["stones"].geometry)
    away_m = shapely.distance(ground, rows.geometry["H03"])
    # H03 is a rotor without a throw: 4.6 to 18 m by head_kinds.csv
    assert made["Pace the throw of H03 at three bearings"] == int(((away_m >= 4.6) & (away_m <= 18.0)).sum())
    turning = [head for head in rows.index if np.isnan(rows["arc_sweep_deg"][head]) and rows["kind"][head] == "rotor"]
    assert turning
    for head in turning:
        words = f"Note where {head} turns: two landmarks, or that it goes full circle"
        assert made[words] == int((shapely.distance(ground, rows.geometry[head]) <= rows["throw_m"][head]).sum())
    assert not any("programme" in words for words in made)


@pytest.mark.full
def test_a_thousand_heads_and_a_hundred_thousand_stones_take_seconds() -> None:
    import time

    rng = np.random.default_rng(3)
    ground = stones(*rng.uniform(0, 20_000, 100_000))
    site = Site(SiteInfo("big", CRS)).with_layers({"stones": ground, "heads": heads(*rng.uniform(0, 20_000, 1_000))})
    begun = time.perf_counter()
    assert len(next_measurements(site)) >= 1
    assert time.perf_counter() - begun < 10.0
