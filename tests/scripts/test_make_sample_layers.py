"""The sample ground: the files are what the script makes, rows and columns are those the README names."""

from __future__ import annotations

import csv
import json
import math
import shutil
import subprocess
import sys
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import pytest
import shapely

from tests.scripts.emberfield import (
    FOLDER,
    IDS,
    KEPT,
    PLACED_TABLES,
    ROOT,
    bearing_on_grid_deg,
    shapes,
    table,
)

if TYPE_CHECKING:
    from pathlib import Path

    import geopandas as gpd

SCRIPT = ROOT / "scripts" / "make_sample_layers.py"


def run_script(*arguments: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, str(SCRIPT), *arguments]
    return subprocess.run(command, capture_output=True, text=True, check=False, timeout=120)


def test_the_committed_files_are_what_the_script_makes() -> None:
    done = run_script("--check")
    assert done.returncode == 0, done.stderr


def test_two_runs_write_the_same_bytes(tmp_path: Path) -> None:
    for name in ("one", "two"):
        assert run_script("--folder", str(tmp_path / name)).returncode == 0
    one, two = (
        {str(path.relative_to(tmp_path / name)): path.read_bytes() for path in (tmp_path / name).rglob("*.*")}
        for name in ("one", "two")
    )
    assert len(one) >= len(IDS)
    assert one == two


@pytest.mark.parametrize("harm", ["changed", "missing", "too many"])
def test_the_check_names_a_file_that_is_not_as_made(tmp_path: Path, harm: str) -> None:
    shutil.copytree(KEPT, tmp_path / "copy")
    folder = tmp_path / "copy" / "emberfield_rise"
    name = "extra.csv" if harm == "too many" else "taps.csv"
    if harm == "missing":
        (folder / name).unlink()
    else:
        (folder / name).write_text("tap_id\n", encoding="utf-8")
    before = sorted(path.name for path in folder.iterdir())
    done = run_script("--check", "--folder", str(tmp_path / "copy"))
    assert done.returncode == 1
    assert f"emberfield_rise/{name}" in done.stderr.replace("\\", "/")
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


def test_the_ground_has_the_size_it_claims(
    stones: gpd.GeoDataFrame, plots: gpd.GeoDataFrame, heads: gpd.GeoDataFrame
) -> None:
    assert len(stones) == 1200
    assert len(plots) == 1300
    assert stones["row"].nunique() == 26
    assert set(stones["section"]) == {"A", "B", "C", "D", "E"}
    watered = shapely.convex_hull(shapely.union_all(heads.geometry.to_numpy()))
    assert 8_500 <= watered.area <= 10_500  # about 1 ha


def test_ninety_heads_stand_in_eight_zones(heads: gpd.GeoDataFrame) -> None:
    assert len(heads) == 90
    assert set(heads["zone_id"]) == set(table("zones.csv")["zone_id"]) == {f"Z{number}" for number in range(1, 9)}
    faults = heads["fault"].value_counts()
    assert faults["tilted"] == faults["misting"] == 1
    assert set(faults.index) == {"misting", "none", "tilted"}
    assert (heads.loc[heads["kind"] == "rotor", "throw_m"].dropna() == 12.0).all()
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
        ("zones.csv", "source_id", "sources.csv"), ("water.csv", "source_id", "sources.csv"),
        ("taps.csv", "source_id", "sources.csv"), ("permissions.csv", "stone_id", "stones.geojson"),
    ],
)  # fmt: skip
def test_every_name_used_is_given_somewhere(name: str, column: str, target: str) -> None:
    assert set(table(name)[column].dropna()) <= set(table(target)[column])


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


@pytest.mark.parametrize(
    "name", ["stones.geojson", "plots.shp", "throws.geojson", "wet_areas.geojson", "shade.geojson", "sensitive.geojson",
             "closures.geojson", "grounds_log.geojson"],
)  # fmt: skip
def test_every_ring_is_valid(name: str) -> None:
    layer = shapes(name)
    assert layer.is_valid.all()
    assert (layer.area[layer.geom_type != "Point"] > 0.01).all()


def test_geojson_is_in_degrees_with_rings_counter_clockwise() -> None:
    rings = [
        shapely.LinearRing(feature["geometry"]["coordinates"][0])
        for feature in json.loads((FOLDER / "stones.geojson").read_text(encoding="utf-8"))["features"]
        if feature["geometry"]["type"] == "Polygon"
    ]
    assert all(ring.is_ccw for ring in rings)
    assert all(139 < ring.bounds[0] < 140 and -34 < ring.bounds[1] < -33 for ring in rings)


def test_stones_and_plots_do_not_overlap_each_other(stones: gpd.GeoDataFrame, plots: gpd.GeoDataFrame) -> None:
    for layer in (stones, plots):
        polygons = layer.geometry.to_numpy()
        one, other = shapely.STRtree(polygons).query(polygons, predicate="intersects")
        assert (one[one != other].size) == 0


def test_each_surveyed_stone_stands_on_its_own_plot(stones: gpd.GeoDataFrame, plots: gpd.GeoDataFrame) -> None:
    assert stones["plot_id"].is_unique
    stones = stones[stones["position_basis"] == "survey receiver"]
    own = plots.set_index("plot_id").loc[stones["plot_id"]].geometry.values
    assert shapely.covers(shapely.buffer(own, 0.002), stones.geometry.values).all()


def test_footprints_have_the_sizes_and_the_facing_of_the_table(stones: gpd.GeoDataFrame) -> None:
    for _, stone in stones[stones.geom_type == "Polygon"].iterrows():
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
    surveyed = stones[stones.geom_type == "Polygon"]
    assert not surveyed.intersects(ground).any()
    assert not heads.intersects(ground).any()
    assert not shapes("taps.csv").intersects(ground).any()
    footprints = shapely.union_all(surveyed.geometry.to_numpy())
    assert heads.distance(footprints).min() > 0.2


def test_the_paths_hang_together_and_go_through_all_openings() -> None:
    paths = shapely.union_all(shapes("paths.geojson").geometry.to_numpy())
    network = paths.buffer(0.002)
    assert network.geom_type == "Polygon"
    assert shapes("gates.geojson").distance(network).max() == 0
    assert shapes("bases.csv").set_index("label").geometry["tool store"].distance(network) == 0


def test_a_good_few_stones_stand_close_to_a_head(stones: gpd.GeoDataFrame, heads: gpd.GeoDataFrame) -> None:
    near_m = stones.geometry.apply(lambda stone: heads.distance(stone).min())
    # practitioners' count for a lawn laid out like this: 7 % of its stones within 1.78 m of a head
    assert 0.04 <= (near_m[stones["section"] != "C"] <= 1.78).mean() <= 0.14


def test_a_third_of_the_stones_stay_six_metres_clear_of_all_water(
    stones: gpd.GeoDataFrame, throws: list[shapely.Geometry]
) -> None:
    dry = stones[stones["section"] == "C"]
    assert 0.30 <= len(dry) / len(stones) <= 0.37
    drawn = [*shapes("throws.geojson").geometry, *shapes("wet_areas.geojson").geometry]
    assert dry.distance(shapely.union_all([*throws, *drawn])).min() >= 6.0
