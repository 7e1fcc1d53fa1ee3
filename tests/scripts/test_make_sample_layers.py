"""The sample ground: the files are what the script makes, and the ground is what its README says it is."""

from __future__ import annotations

import csv
import json
import math
import shutil
import subprocess
import sys
from itertools import pairwise
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from pyproj import Proj, Transformer

ROOT = Path(__file__).resolve().parents[2]
SCRIPT = ROOT / "scripts" / "make_sample_layers.py"
FOLDER = ROOT / "sample_layers" / "emberfield_rise"
GRID = 7854
WIDEST_THROW_M = 11.0
IDS = {
    "stones.geojson": "stone_id", "plots.shp": "plot_id", "heads.csv": "head_id", "zones.csv": "zone_id",
    "schedules.csv": "schedule_id", "paths.geojson": "path_id", "barriers.geojson": "barrier_id",
    "gates.geojson": "gate_id", "bases.csv": "base_id", "taps.csv": "tap_id", "crews.csv": "crew_id",
    "findings.csv": "finding_id", "wet_areas.geojson": "wet_area_id", "throws.geojson": "throw_id",
}  # fmt: skip
PLACED_TABLES = ("heads.csv", "taps.csv", "bases.csv")


def run_script(*arguments: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, str(SCRIPT), *arguments]
    return subprocess.run(command, capture_output=True, text=True, check=False, timeout=120)


def table(name: str) -> pd.DataFrame:
    """Read a layer without its geometry; ids stay text."""
    if name.endswith(".csv"):
        return pd.read_csv(FOLDER / name, dtype={IDS[name]: str, "tag": str})
    return pd.DataFrame(gpd.read_file(FOLDER / name).drop(columns="geometry"))


def shapes(name: str) -> gpd.GeoDataFrame:
    """Read a layer with a geometry, on the map grid."""
    if name.endswith(".csv"):
        rows = table(name)
        return gpd.GeoDataFrame(rows, geometry=gpd.points_from_xy(rows["easting"], rows["northing"]), crs=GRID)
    return gpd.read_file(FOLDER / name).to_crs(GRID)


@pytest.fixture(scope="module")
def stones() -> gpd.GeoDataFrame:
    return shapes("stones.geojson")


@pytest.fixture(scope="module")
def plots() -> gpd.GeoDataFrame:
    return shapes("plots.shp")


@pytest.fixture(scope="module")
def heads() -> gpd.GeoDataFrame:
    return shapes("heads.csv")


def bearing_on_grid_deg(true_deg: float, place: shapely.Point) -> float:
    """Turn a true bearing into one on the map grid, by the projection's own convergence."""
    lon, lat = Transformer.from_crs(GRID, 7844, always_xy=True).transform(place.x, place.y)
    return true_deg - float(Proj(f"EPSG:{GRID}").get_factors(lon, lat).meridian_convergence)


def widest_throw(head: pd.Series) -> shapely.Geometry:
    """Return the most ground a row of the table can mean: gaps are filled with the widest guess."""
    place = shapely.Point(head["geometry"])
    if head["kind"].startswith("strip"):
        return shapely.buffer(place, math.hypot(head["strip_length_m"], head["strip_width_m"]))
    throw_m = WIDEST_THROW_M if math.isnan(head["throw_m"]) else head["throw_m"]
    if math.isnan(head["arc_from_deg"]) or head["arc_sweep_deg"] == 360:
        return shapely.buffer(place, throw_m, quad_segs=64)
    start = bearing_on_grid_deg(head["arc_from_deg"], place)
    turns = np.radians(np.linspace(start, start + head["arc_sweep_deg"], 181))
    rim = np.column_stack([place.x + throw_m * np.sin(turns), place.y + throw_m * np.cos(turns)])
    return shapely.Polygon([(place.x, place.y), *rim])


@pytest.fixture(scope="module")
def throws(heads: gpd.GeoDataFrame) -> list[shapely.Geometry]:
    return [widest_throw(head) for _, head in heads.iterrows()]


@pytest.fixture(scope="module")
def wet(stones: gpd.GeoDataFrame, throws: list[shapely.Geometry]) -> pd.Series:
    return stones.intersects(shapely.union_all(throws))


def test_the_committed_files_are_what_the_script_makes() -> None:
    done = run_script("--check")
    assert done.returncode == 0, done.stderr


def test_two_runs_write_the_same_bytes(tmp_path: Path) -> None:
    for name in ("one", "two"):
        assert run_script("--folder", str(tmp_path / name)).returncode == 0
    one, two = ({path.name: path.read_bytes() for path in (tmp_path / name).iterdir()} for name in ("one", "two"))
    assert len(one) >= len(IDS)
    assert one == two


@pytest.mark.parametrize("harm", ["changed", "missing", "too many"])
def test_the_check_names_a_file_that_is_not_as_made(tmp_path: Path, harm: str) -> None:
    folder = tmp_path / "copy"
    shutil.copytree(FOLDER, folder)
    name = "extra.csv" if harm == "too many" else "taps.csv"
    if harm == "missing":
        (folder / name).unlink()
    else:
        (folder / name).write_text("tap_id\n", encoding="utf-8")
    before = sorted(path.name for path in folder.iterdir())
    done = run_script("--check", "--folder", str(folder))
    assert done.returncode == 1
    assert name in done.stderr
    assert sorted(path.name for path in folder.iterdir()) == before


def test_the_shapefile_does_not_hold_the_day_it_was_written() -> None:
    year, month, day = (FOLDER / "plots.dbf").read_bytes()[1:4]
    assert (1900 + year, month, day) == (2026, 10, 31)


def test_the_script_imports_nothing_of_the_package() -> None:
    code = (
        f"import runpy, sys; runpy.run_path({str(SCRIPT)!r}); "
        "print([name for name in sys.modules if name.split('.')[0] == 'gravegis'])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=120)
    assert done.stdout.strip() == "[]"


def test_the_ground_has_the_size_it_claims(stones: gpd.GeoDataFrame, plots: gpd.GeoDataFrame) -> None:
    assert 380 <= len(stones) <= 420
    assert 400 <= len(plots) <= 440
    assert stones["row"].nunique() == 14
    assert set(stones["section"]) == {"A", "B", "C"}


def test_thirty_heads_stand_in_four_zones(heads: gpd.GeoDataFrame) -> None:
    assert len(heads) == 30
    assert set(heads["zone_id"]) == set(table("zones.csv")["zone_id"]) == {"Z1", "Z2", "Z3", "Z4"}
    assert sorted(heads["fault"].dropna().unique()) == ["misting", "none", "tilted"]
    assert heads.loc[heads["kind"] == "rotor", "throw_m"].dropna().between(6, 11).all()
    assert heads[["flow_l_min", "pressure_kpa", "trajectory_deg", "tag"]].isna().any().all()


@pytest.mark.parametrize("name", IDS)
def test_no_id_is_missing_or_given_twice(name: str) -> None:
    ids = table(name)[IDS[name]]
    assert ids.notna().all()
    assert ids.is_unique


@pytest.mark.parametrize(
    ("name", "column", "target"),
    [
        ("stones.geojson", "plot_id", "plots.shp"), ("heads.csv", "zone_id", "zones.csv"),
        ("schedules.csv", "zone_id", "zones.csv"), ("findings.csv", "stone_id", "stones.geojson"),
        ("throws.geojson", "head_id", "heads.csv"), ("crews.csv", "base_id", "bases.csv"),
    ],
)  # fmt: skip
def test_every_name_used_is_given_somewhere(name: str, column: str, target: str) -> None:
    assert set(table(name)[column]) <= set(table(target)[column])


def test_columns_and_words_are_those_of_the_layer_schema() -> None:
    with (ROOT / "gravegis" / "layers" / "data" / "columns.csv").open(encoding="utf-8", newline="") as file:
        schema = list(csv.DictReader(file))
    for name in IDS:
        known = {row["column"]: row["values"] for row in schema if row["layer"] == name.partition(".")[0]}
        place = {"easting", "northing"} if name in PLACED_TABLES else set()
        rows = table(name)
        assert set(rows.columns) - place <= set(known), name
        for column in set(rows.columns) - place:
            words = set(known[column].split("|")) if known[column] else None
            assert words is None or set(rows[column].dropna().astype(str)) <= words, (name, column)


def test_the_readme_explains_every_file_and_column() -> None:
    readme = (ROOT / "sample_layers" / "README.md").read_text(encoding="utf-8")
    assert "invented" in readme
    assert "MIT" in readme
    for name in [*IDS, "site.json"]:
        assert name in readme
    words = set(readme.replace(",", " ").replace("|", " ").split())
    missing = {column for name in IDS for column in table(name).columns if column not in words}
    assert missing == set()


@pytest.mark.parametrize("name", ["stones.geojson", "plots.shp", "throws.geojson", "wet_areas.geojson"])
def test_every_ring_is_valid(name: str) -> None:
    layer = shapes(name)
    assert layer.is_valid.all()
    assert (layer.area > 0.01).all()


def test_geojson_is_in_degrees_with_rings_counter_clockwise() -> None:
    rings = [
        shapely.LinearRing(feature["geometry"]["coordinates"][0])
        for feature in json.loads((FOLDER / "stones.geojson").read_text(encoding="utf-8"))["features"]
    ]
    assert all(ring.is_ccw for ring in rings)
    assert all(139 < ring.bounds[0] < 140 and -34 < ring.bounds[1] < -33 for ring in rings)


def test_stones_and_plots_do_not_overlap_each_other(stones: gpd.GeoDataFrame, plots: gpd.GeoDataFrame) -> None:
    for layer in (stones, plots):
        polygons = layer.geometry.to_numpy()
        one, other = shapely.STRtree(polygons).query(polygons, predicate="intersects")
        assert (one[one != other].size) == 0


def test_each_stone_stands_on_its_own_plot(stones: gpd.GeoDataFrame, plots: gpd.GeoDataFrame) -> None:
    own = plots.set_index("plot_id").loc[stones["plot_id"]].geometry.values
    assert stones["plot_id"].is_unique
    assert shapely.covers(shapely.buffer(own, 0.002), stones.geometry.values).all()


def test_footprints_have_the_sizes_and_the_facing_of_the_table(stones: gpd.GeoDataFrame) -> None:
    for _, stone in stones.iterrows():
        turn = math.radians(bearing_on_grid_deg(stone["facing_deg"], stone.geometry.centroid))
        corners = shapely.get_coordinates(stone.geometry)[:4]
        out = corners @ np.array([math.sin(turn), math.cos(turn)])
        along = corners @ np.array([math.cos(turn), -math.sin(turn)])
        assert np.ptp(out) == pytest.approx(stone["thickness_m"], abs=0.004)  # corners are kept to the millimetre
        assert np.ptp(along) == pytest.approx(stone["width_m"], abs=0.004)


def test_plots_stand_as_close_as_claimed(plots: gpd.GeoDataFrame) -> None:
    for _, row in plots.groupby("row"):
        middles = row.sort_values("lot", key=lambda lot: lot.astype(int)).geometry.centroid
        steps = np.array([one.distance(other) for one, other in pairwise(middles)])
        assert steps.min() >= 1.2
        assert (steps > 1.5).sum() <= 1  # the cross path


def test_most_inscriptions_look_east(stones: gpd.GeoDataFrame) -> None:
    assert (stones["facing_deg"].between(80, 100)).mean() > 0.5
    assert (stones["facing_deg"].between(260, 280)).any()


def test_nothing_stands_on_a_path_and_no_head_in_a_stone(stones: gpd.GeoDataFrame, heads: gpd.GeoDataFrame) -> None:
    paths = shapes("paths.geojson")
    ground = shapely.union_all(
        [line.buffer(width / 2, cap_style="flat") for line, width in zip(paths.geometry, paths["width_m"], strict=True)]
    )
    assert not stones.intersects(ground).any()
    assert not heads.intersects(ground).any()
    assert not shapes("taps.csv").intersects(ground).any()
    footprints = shapely.union_all(stones.geometry.to_numpy())
    assert heads.distance(footprints).min() > 0.2


def test_the_paths_hang_together_and_go_through_both_openings() -> None:
    paths = shapely.union_all(shapes("paths.geojson").geometry.to_numpy())
    network = paths.buffer(0.002)
    assert network.geom_type == "Polygon"
    assert shapes("gates.geojson").distance(network).max() == 0
    assert shapes("bases.csv").distance(network).max() == 0


def test_a_good_few_stones_stand_close_to_a_head(stones: gpd.GeoDataFrame, heads: gpd.GeoDataFrame) -> None:
    near_m = stones.geometry.apply(lambda stone: heads.distance(stone).min())
    assert near_m.between(0.4, 2.0).sum() >= 25


def test_a_third_of_the_stones_stay_six_metres_clear_of_all_water(
    stones: gpd.GeoDataFrame, throws: list[shapely.Geometry]
) -> None:
    dry = stones[stones["section"] == "C"]
    assert 0.30 <= len(dry) / len(stones) <= 0.37
    drawn = [*shapes("throws.geojson").geometry, *shapes("wet_areas.geojson").geometry]
    assert dry.distance(shapely.union_all([*throws, *drawn])).min() >= 6.0


def test_wetted_stones_score_worse_than_dry_ones(stones: gpd.GeoDataFrame, wet: pd.Series) -> None:
    assert stones.loc[wet, "quick_score"].mean() > stones.loc[~wet, "quick_score"].mean() + 0.3
    assert (stones.loc[wet, "quick_score"] == 0).any()
    assert (stones.loc[~wet, "quick_score"] == 3).any()


def test_scores_and_checks_have_the_gaps_claimed(stones: gpd.GeoDataFrame) -> None:
    assert 1 <= stones["quick_score"].isna().sum() <= 20
    assert set(stones["quick_score"].dropna()) == {0, 1, 2, 3}
    share = stones["stability"].value_counts(normalize=True)
    assert share["unchecked"] == pytest.approx(0.10, abs=0.02)
    assert share["moves"] == pytest.approx(0.03, abs=0.01)
    assert (stones["stability"] == "do not approach").sum() == 1
    unchecked = stones["stability"] == "unchecked"
    assert (stones["stability_on"].isna() == unchecked).all()
    assert (stones["stability_by"].isna() == unchecked).all()


def test_findings_agree_with_the_scores(stones: gpd.GeoDataFrame) -> None:
    findings = table("findings.csv")
    score = stones.set_index("stone_id")["quick_score"]
    worst = findings.groupby("stone_id")["severity"].max()
    assert (worst == score.loc[worst.index]).all()
    assert (findings["severity"] >= 1).all()
    assert not findings.duplicated(["stone_id", "pattern"]).any()
    assert len(findings[["stone_id", "found_on"]].drop_duplicates()) == len(worst)
    harmed = score[score >= 1].index
    assert len(worst) / len(harmed) == pytest.approx(0.6, abs=0.08)


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
    hedge = shapes("barriers.geojson").set_index("kind").geometry["hedge"]
    opening = shapes("gates.geojson").set_index("kind").geometry["opening"]
    assert opening.distance(hedge) < 1e-4
    easting = stones.geometry.centroid.x
    dry = stones["section"] == "C"
    assert easting[~dry].max() < hedge.bounds[0]
    assert easting[dry].min() > hedge.bounds[2]


def test_programs_cross_new_year_and_one_runs_after_lunch() -> None:
    schedules = table("schedules.csv")
    assert (schedules["from_on"] > schedules["to_on"]).all()
    assert set(schedules["zone_id"]) == {"Z1", "Z2", "Z3", "Z4"}
    assert schedules.loc[schedules["start_at"] == "13:30", "zone_id"].tolist() == ["Z2"]


def test_one_tap_is_fit_to_drink_and_one_is_not() -> None:
    taps = table("taps.csv").set_index("source_id")["fit_to_drink"]
    assert taps.to_dict() == {"mains": "yes", "bore": "no"}


def test_the_site_file_says_where_and_when() -> None:
    site = json.loads((FOLDER / "site.json").read_text(encoding="utf-8"))
    assert set(site) == {"title", "crs", "time_zone", "elevation_m", "seed", "settings"}
    assert site["crs"] == f"EPSG:{GRID}"
    assert site["time_zone"] == "Australia/Adelaide"
    assert site["settings"] == {"routes": {"day": "2026-12-02"}, "worklist": {"as_of": "2026-12-02"}}
