"""Files of people who never heard of gravegis; read beside the repository, skipped where they are not there."""

from __future__ import annotations

import zipfile
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pytest
import shapely
from pyproj import CRS

from gravegis.errors import CrsError, GravegisError, LayerError
from gravegis.layers import bring, canonical, place, schema
from gravegis.layers.geometry import mend
from gravegis.layers.match import agreement, join_by_place
from gravegis.layers.read import coordinates, read_file
from gravegis.layers.read.coordinates import Pair
from gravegis.site import Site, SiteInfo

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture
def real(shared: Path) -> Path:
    if not (shared / "real").is_dir():
        pytest.skip("no folder of real files")
    return shared / "real"


def new() -> Site:
    return Site(SiteInfo("Test ground", ""))


@pytest.mark.cited("../shared/real/README.md, plots_a")
def test_plots_rows_and_sections_of_one_ground_agree_by_place(real: Path) -> None:
    folder = real / "plots_a"
    site = bring.bring_in(new(), "sections", folder / "section.geojson", mapping=["section=sectionnum"]).site
    site = bring.bring_in(site, "rows", folder / "rows.geojson").site
    brought = bring.bring_in(site, "plots", folder / "graves.geojson")
    plots, rows, sections = (brought.site[name] for name in ("plots", "rows", "sections"))
    assert brought.warnings == ()
    assert (len(plots), len(rows), len(sections)) == (2152, 98, 10)
    assert brought.site.info.crs == "EPSG:32636"
    assert "12-1-1" in set(plots["plot_id"])

    in_rows, in_sections = join_by_place(plots, rows), join_by_place(plots, sections)
    assert len(in_rows.none) == len(in_rows.several) == 0
    for column in ("row", "section"):
        alike, differ = agreement(plots, rows, in_rows, (column, column))
        assert (alike, len(differ)) == (2152, 0)
    assert agreement(plots, sections, in_sections, ("section", "section"))[0] == 2152

    area_m2 = plots.geometry.area
    assert area_m2.sum() == pytest.approx(7951.7, abs=0.1)
    assert area_m2.mean() == pytest.approx(3.695, abs=1e-3)
    assert (area_m2.min(), area_m2.max()) == pytest.approx((2.283, 5.769), abs=1e-3)


def test_plots_without_words_get_them_from_the_place(real: Path) -> None:
    folder = real / "plots_a"
    site = bring.bring_in(new(), "plots", folder / "graves.geojson").site
    known = site["plots"]
    bare = site.with_layers({"plots": known.drop(columns=["row", "section"])})
    bare = bring.bring_in(bare, "rows", folder / "rows.geojson").site
    filled = bring.bring_in(bare, "sections", folder / "section.geojson", mapping=["section=sectionnum"]).site["plots"]
    assert filled["row"].tolist() == known["row"].tolist()
    assert filled["section"].tolist() == known["section"].tolist()


def pair_of(real: Path, x: str, y: str, crs: str) -> gpd.GeoSeries:
    raw = read_file(real / "county_points" / "sites.csv")
    found = coordinates.points(raw.frame, Pair(x, y, "degrees" if "ITUDE" in x else "either"), raw.decimal)
    assert found.problems == ()
    frame = raw.frame.assign(geometry=gpd.GeoSeries(found.geometry))
    return gpd.GeoSeries(place.to_site_crs(frame, CRS(crs), "EPSG:26985").frame["geometry"])


@pytest.mark.cited("../shared/real/README.md, county_points")
def test_feet_and_degrees_of_a_county_agree_and_two_datums_do_not(real: Path) -> None:
    feet = pair_of(real, "POINT_X", "POINT_Y", "EPSG:2248")
    degrees = pair_of(real, "LONGITUDE", "LATITUDE", "EPSG:4269")
    other = pair_of(real, "X", "Y", "EPSG:4269")
    assert feet.distance(degrees).median() == pytest.approx(0.006, abs=0.002)
    assert other.distance(degrees).median() == pytest.approx(0.90, abs=0.02)
    assert other.distance(degrees).max() == pytest.approx(16_900, abs=100)


def test_a_table_with_three_pairs_is_asked_about_and_a_county_is_no_site(real: Path) -> None:
    path = real / "county_points" / "sites.csv"
    with pytest.raises(LayerError, match=r'3 pairs of coordinates(.|\n)*--column x="POINT_X" --column y="POINT_Y"'):
        bring.bring_in(new(), "stones", path)
    with pytest.raises(CrsError, match=r"km wide, more than 30 km; farthest from the middle: \d+ \("):
        bring.bring_in(new(), "stones", path, mapping=["x=POINT_X", "y=POINT_Y"], crs="EPSG:2248")


def test_a_part_of_the_county_comes_in_on_the_metric_twin_of_its_feet(real: Path, tmp_path: Path) -> None:
    lines = (real / "county_points" / "sites.csv").read_text(encoding="utf-8-sig").splitlines()
    (tmp_path / "part.csv").write_text("\n".join(lines[:2]), encoding="utf-8-sig")
    options: dict[str, Any] = {"mapping": ["x=POINT_X", "y=POINT_Y"], "crs": "EPSG:2248"}
    site = bring.bring_in(new(), "stones", tmp_path / "part.csv", **options).site
    assert site.info.crs == "EPSG:26985"
    feet = shapely.get_coordinates(site["stones"].geometry.array)[0] * 3937 / 1200
    assert feet == pytest.approx([1227697.99997234, 537578.625111], abs=1e-3)


def test_a_state_is_refused_as_one_site(real: Path) -> None:
    with pytest.raises(CrsError, match=r"645\.\d km wide(.|\n)*several sites"):
        bring.bring_in(new(), "stones", real / "points_state" / "sites.geojson")


def test_a_datum_nobody_can_name_is_refused(real: Path) -> None:
    with pytest.raises(CrsError, match="datum nobody can name"):
        bring.bring_in(new(), "plots", real / "old_datum_shp" / "olinda1.shp")


def test_survey_feet_become_the_metric_twin(real: Path, tmp_path: Path) -> None:
    raw = read_file(real / "us_feet" / "nybb_16a.zip")
    assert raw.crs is not None
    assert raw.crs.to_epsg() == 2263
    xy = shapely.get_coordinates(raw.frame["geometry"].array)
    assert place.choose_site_crs(raw.crs, xy).code == "EPSG:32118"
    with zipfile.ZipFile(real / "us_feet" / "nybb_16a.zip") as archive:
        archive.extractall(tmp_path)
    shape = next(tmp_path.rglob("*.shp"))
    assert read_file(shape).frame["geometry"].tolist() == raw.frame["geometry"].tolist()
    with pytest.raises(CrsError, match="km wide"):
        bring.bring_in(new(), "sections", shape)


def test_a_null_geometry_is_listed(real: Path) -> None:
    with pytest.raises(CrsError, match=r"km wide(.|\n)*SF to NY"):
        bring.bring_in(new(), "paths", real / "us_feet" / "null_geom.geojson")


@pytest.mark.cited("../shared/real/README.md, campus")
def test_fourteen_of_863_surfaces_are_invalid_and_mended_to_the_same_ground(real: Path) -> None:
    brought = bring.bring_in(new(), "sensitive", real / "campus" / "landscape_hard.geojson")
    surfaces = brought.site["sensitive"]
    assert len(surfaces) == 863
    assert any(words.startswith("14 invalid outlines mended") for words in brought.warnings)
    assert surfaces.geometry.is_valid.all()
    raw = read_file(real / "campus" / "landscape_hard.geojson")
    frame = canonical.conform(raw.frame, "sensitive")
    assert raw.crs is not None
    moved = place.to_site_crs(frame, raw.crs, brought.site.info.crs).frame
    assert int((~moved.geometry.is_valid).sum()) == 14
    assert mend(moved, schema.layer("sensitive")).errors == []
    np.testing.assert_allclose(surfaces.geometry.area, moved.geometry.area, rtol=1e-6)


@pytest.mark.cited("../shared/real/README.md, campus")
def test_trees_with_repeated_ids_are_numbered_and_assets_come_in(real: Path) -> None:
    assert len(bring.bring_in(new(), "stones", real / "campus" / "trees.csv").site["stones"]) == 9315
    assets = bring.bring_in(new(), "stones", real / "campus" / "assets_condition.geojson").site["stones"]
    assert len(assets) == 223
    nearest_m = shapely.STRtree(assets.geometry.array).query_nearest(
        assets.geometry.array, return_distance=True, exclusive=True
    )[1]
    assert nearest_m.min() == pytest.approx(1.22, abs=0.01)


@pytest.mark.cited("../shared/real/README.md, pipes")
def test_pipes_in_survey_feet_end_on_their_nodes_and_are_as_long_as_stated(real: Path) -> None:
    site = bring.bring_in(new(), "taps", real / "pipes" / "ky4_junctions.geojson").site
    pipes = bring.bring_in(site, "paths", real / "pipes" / "ky4_pipes.geojson").site["paths"]
    assert site.info.crs == "EPSG:3546"
    nodes = site["taps"].set_index("tap_id").geometry
    known = pipes[pipes["start_node_name"].isin(nodes.index)]
    starts = shapely.get_point(known.geometry.array, 0)
    assert shapely.distance(starts, nodes.loc[known["start_node_name"]].array).max() < 0.01
    stated_m = pipes["length"].to_numpy(dtype="float64")
    assert np.median(pipes.geometry.length / stated_m) == pytest.approx(1.0, abs=0.01)


def test_drawn_numbers_without_a_place_are_refused(real: Path) -> None:
    with pytest.raises(CrsError, match="km wide"):
        bring.bring_in(new(), "taps", real / "pipes" / "Net1_hydrant_data.geojson")


def test_messy_tables_are_read_as_they_are(real: Path) -> None:
    goods = read_file(real / "tables" / "messy_condition" / "grave_goods.csv")
    assert goods.decimal == ","
    assert goods.frame.columns.tolist()[0] == "Context"
    wells = bring.bring_in(new(), "water", real / "water" / "wells_major_ions.csv").site["water"]
    assert len(wells) == 157
    assert wells["ph"].isna().sum() == 4
    wind = read_file(real / "irrigation" / "uniformity_vs_wind.csv")
    assert (wind.decimal, len(wind.frame.columns)) == (".", 5)


def test_every_file_ends_well(real: Path) -> None:
    tried = 0
    for path in sorted(one for one in real.rglob("*") if one.is_file() and one.stat().st_size < 1_000_000):
        for layer in ("stones", "findings", "paths"):
            site = new()
            try:
                brought = bring.bring_in(site, layer, path)
            except GravegisError as error:
                assert error.problems[0].problem  # noqa: PT017 - either outcome is right
            else:
                assert len(brought.site[layer]) > 0
            assert len(site) == 0
            tried += 1
    assert tried > 50
