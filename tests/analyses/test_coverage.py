"""Coverage: each head's mass is kept on the raster, what is not known stays blank, evenness of a zone by hand."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from gravegis import pipeline
from gravegis.analyses.coverage import ANALYSIS, CoverageSettings
from gravegis.site import Site, SiteInfo

if TYPE_CHECKING:
    from gravegis.contract import Result

CRS, X, Y = "EPSG:32633", 500_000.0, 6_000_000.0
SCHEDULE = {"start_at": "02:00", "run_min": 60.0, "every": "daily", "from_on": "2026-06-01", "to_on": "2026-06-30"}


def site_of(heads: pd.DataFrame, **layers: pd.DataFrame) -> Site:
    """Heads at x and y from a corner of the ground, which is a square of 40 m with a stone in two corners."""
    placed = gpd.GeoDataFrame(
        heads.drop(columns=["x", "y"]), geometry=gpd.points_from_xy(heads["x"] + X, heads["y"] + Y), crs=CRS
    )
    stones = gpd.GeoDataFrame(
        {"stone_id": ["a", "b"]}, geometry=[shapely.Point(X, Y), shapely.Point(X + 40, Y + 40)], crs=CRS
    )
    corners = gpd.GeoDataFrame({"section_id": ["S"]}, geometry=[shapely.box(X, Y, X + 40, Y + 40)], crs=CRS)
    site = Site(SiteInfo("t", CRS, time_zone="Europe/Berlin")).with_layers(
        {"heads": placed, "stones": stones, "sections": corners, **layers}
    )
    return pipeline.run(site, ("throw",)).site


def four(**more: Any) -> pd.DataFrame:
    """A square of four full circles 10 m apart, head to head, 1,000 l/h each."""
    return pd.DataFrame(
        {"head_id": list("ABCD"), "x": [15.0, 25, 15, 25], "y": [15.0, 15, 25, 25], "throw_m": 10.0, "zone_id": "Z1",
         "flow_l_min": 1000 / 60, "kind": "rotor", "arc_sweep_deg": 360.0} | more
    )  # fmt: skip


def work(site: Site, **values: Any) -> Result:
    return ANALYSIS.work(site, CoverageSettings(**values))


def water_l(result: Result, name: str = "water_hour") -> float:
    grid = result.grids[name]
    return float(np.nansum(grid.values)) * grid.cell_m**2


@pytest.mark.cited("conservation of mass: what falls equals what flows")
@settings(max_examples=8)
@given(st.integers(0, 10_000), st.sampled_from(["0.25", "0.5", "1.3"]))
def test_the_raster_holds_what_the_heads_send_out(seed: int, cell_m: str) -> None:
    rng = np.random.default_rng(seed)
    n = int(rng.integers(1, 12))
    heads = pd.DataFrame({
        "head_id": [f"H{one}" for one in range(n)], "x": rng.uniform(0, 40, n), "y": rng.uniform(0, 40, n),
        "throw_m": rng.uniform(3, 14, n), "zone_id": rng.choice(["Z1", "Z2", ""], n),
        "flow_l_min": rng.uniform(2, 30, n), "arc_from_deg": rng.uniform(0, 359, n),
        "arc_sweep_deg": rng.choice([90.0, 180, 360], n),
    })  # fmt: skip
    result = work(site_of(heads), cell_m=cell_m)
    assert water_l(result) == pytest.approx(heads["flow_l_min"].sum() * 60, rel=0.005)
    table = result.layers["zone_uniformity"]
    by_zone = heads[heads["zone_id"] != ""].groupby("zone_id")["flow_l_min"].sum() * 60
    np.testing.assert_allclose(table.set_index("zone_id")["sent_l_h"], by_zone, rtol=1e-9)
    assert table["off_site_frac"].between(0, 1).all()


@pytest.mark.cited("definitions of Christiansen 1942 and of the low quarter (Merriam and Keller 1978)")
def test_a_square_of_heads_waters_the_ground_between_them() -> None:
    result = work(site_of(four()))
    row = result.layers["zone_uniformity"].iloc[0]
    grid = result.grids["water_rate"]
    rows, columns = grid.values.shape
    x = grid.left_m + (np.arange(columns) + 0.5) * grid.cell_m - X
    y = grid.top_m - (np.arange(rows) + 0.5) * grid.cell_m - Y
    between = grid.values[np.ix_((y > 15) & (y < 25), (x > 15) & (x < 25))].ravel()
    assert row["rate_mm_h"] == pytest.approx(between.mean())
    # a quarter of each circle lies in the square, and the others reach in no farther: 4 x 1000 / 4 l/h on 100 m2
    assert row["rate_mm_h"] == pytest.approx(10.0, rel=1e-3)
    assert row["cu"] == pytest.approx(100 * (1 - np.abs(between - between.mean()).sum() / between.sum()))
    lowest = np.sort(between)[: round(len(between) / 4)]
    assert row["du_lq"] == pytest.approx(100 * lowest.mean() / between.mean())
    assert (row["quarter"], row["measured_on"], row["off_site_frac"]) == ("nearest", "ground between the heads", 0.0)
    assert row["area_m2"] == pytest.approx(100.0)


@pytest.mark.cited("symmetry: a head on the straight edge of the site sends half of its water over it")
def test_half_the_water_of_a_head_on_the_edge_leaves_the_site() -> None:
    heads = pd.DataFrame({"head_id": ["A"], "x": 20.0, "y": 0.0, "throw_m": 8.0, "zone_id": "Z", "flow_l_min": 10.0,
                          "arc_sweep_deg": 360.0})  # fmt: skip
    row = work(site_of(heads), cell_m="0.25").layers["zone_uniformity"].iloc[0]
    assert row["off_site_frac"] == pytest.approx(0.5, abs=0.005)
    assert row["off_site_l_h"] == pytest.approx(300.0, abs=3.0)


def test_a_season_needs_a_schedule_and_counts_its_hours() -> None:
    heads = four()
    without = work(site_of(heads))
    assert set(without.grids) == {"water_rate", "water_hour"}
    assert without.layers["zone_uniformity"]["season_mm"].isna().all()
    schedule = pd.DataFrame({"schedule_id": ["R"], "zone_id": ["Z1"], **{k: [v] for k, v in SCHEDULE.items()}})
    made = work(site_of(heads, schedules=schedule))
    assert water_l(made, "water_season") == pytest.approx(30 * 4000, rel=0.005)  # 30 nights of an hour
    row = made.layers["zone_uniformity"].iloc[0]
    assert row["season_mm"] == pytest.approx(30 * row["rate_mm_h"])


def test_a_head_of_unknown_flow_leaves_its_ground_blank_and_its_zone_without_figures() -> None:
    heads = four(zone_id=["Z1", "Z1", "Z2", "Z2"], flow_l_min=[10.0, 10, 10, np.nan])
    result = work(site_of(heads))
    table = result.layers["zone_uniformity"].set_index("zone_id")
    assert float(table["rate_mm_h"].loc["Z1"]) > 0
    assert table.loc["Z2", ["rate_mm_h", "cu", "sent_l_h", "off_site_frac"]].isna().all()
    assert table.loc["Z2", "basis"] == "not all flows known"
    grid = result.grids["water_rate"]
    blank = int(np.isnan(grid.values).sum()) * grid.cell_m**2
    assert blank == pytest.approx(np.pi * 100, rel=0.01)
    assert any("unknown flow" in note for note in result.notes)


def test_like_heads_give_their_flow_only_where_asked_and_it_is_said() -> None:
    site = site_of(four(flow_l_min=[1000 / 60, 1000 / 60, 1000 / 60, np.nan]))
    filled = work(site)
    assert filled.layers["zone_uniformity"].loc[0, "basis"] == "some flows taken from like heads"
    assert water_l(filled) == pytest.approx(4000, rel=0.005)
    said = [str(one) for one in filled.assumed if one.what == "heads.flow_l_min"]
    assert said
    assert "all taken from like heads" in said[0]
    bare = work(site, fill_flow=False)
    assert bare.layers["zone_uniformity"]["rate_mm_h"].isna().all()


def test_without_any_flow_there_is_no_raster_and_no_figure() -> None:
    result = work(site_of(four(flow_l_min=np.nan)))
    assert result.grids == {}
    assert result.layers["zone_uniformity"][["rate_mm_h", "cu", "du_lq", "off_site_frac"]].isna().all(axis=None)
    assert "No zone has a flow" in result.notes[0]


def test_a_zone_off_the_site_loses_all_and_has_no_evenness() -> None:
    row = work(site_of(four(x=[90.0, 95, 90, 95], y=[90.0, 90, 95, 95]))).layers["zone_uniformity"].iloc[0]
    assert row["off_site_frac"] == pytest.approx(1.0)
    assert row[["rate_mm_h", "cu", "du_lq", "sc", "season_mm"]].isna().all()


def test_where_only_stones_and_heads_are_known_both_are_the_site() -> None:
    site = site_of(four(x=[90.0, 95, 90, 95], y=[90.0, 90, 95, 95])).without(("sections",))
    assert 0.0 < float(work(site).layers["zone_uniformity"]["off_site_frac"].iloc[0]) < 0.9


def test_a_surveyed_outline_holds_all_water_of_its_head() -> None:
    outline = shapely.box(X + 15, Y + 15, X + 20, Y + 20)
    throws = gpd.GeoDataFrame({"throw_id": ["t"], "head_id": ["A"]}, geometry=[outline], crs=CRS)
    heads = four().iloc[:1]
    result = work(site_of(heads, throws=throws))
    assert water_l(result) == pytest.approx(1000, rel=1e-6)
    grid = result.grids["water_hour"]
    assert (grid.values > 0).sum() * grid.cell_m**2 == pytest.approx(25.0, rel=0.02)


def test_two_groups_far_apart_do_not_count_the_dry_ground_between_them() -> None:
    small = {"y": [5.0, 5, 9, 9], "throw_m": 4.0}
    near, far = four(x=[5.0, 9, 5, 9], **small), four(head_id=list("EFGH"), x=[29.0, 33, 29, 33], **small)
    row = work(site_of(pd.concat([near, far]))).layers["zone_uniformity"].iloc[0]
    alone = work(site_of(near)).layers["zone_uniformity"].iloc[0]
    assert (row["area_m2"], alone["area_m2"]) == (pytest.approx(32.0), pytest.approx(16.0))
    assert row["du_lq"] == pytest.approx(alone["du_lq"], abs=1e-6)
