"""Every small case of the shared folder comes in as its list asks, or ends in one clear message."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pytest
import shapely

from gravegis.errors import CrsError, GravegisError, LayerError
from gravegis.layers import canonical, schema
from gravegis.layers.bring import Brought, bring_in
from gravegis.layers.check import check_site
from gravegis.layers.read import read_file
from gravegis.layers.read.angles import parse_angle
from gravegis.layers.read.table import read_table
from gravegis.site import Site, SiteInfo

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture
def cases(shared: Path) -> Path:
    if not (shared / "cases").is_dir():
        pytest.skip("no folder of shared cases")
    return shared / "cases"


def new() -> Site:
    return Site(SiteInfo("Test ground", ""))


def bring(path: Path, layer: str, site: Site | None = None, **options: Any) -> Brought[Site]:
    return bring_in(site or new(), layer, path, **options)


def reached_pairs(site: Site) -> int:
    """Count stones within the throw of each head, by a plain loop over distances."""
    heads, stones = site["heads"], site["stones"]
    away_m = [[head.distance(stone) for stone in stones.geometry] for head in heads.geometry]
    return int((np.array(away_m) <= heads["throw_m"].to_numpy()[:, None]).sum())


def reached_stones(site: Site) -> int:
    heads, stones = site["heads"], site["stones"]
    away_m = np.array([[head.distance(stone) for stone in stones.geometry] for head in heads.geometry])
    return int((away_m <= heads["throw_m"].to_numpy()[:, None]).any(axis=0).sum())


def test_every_file_comes_in_or_ends_in_one_clear_error_and_the_site_stays(cases: Path) -> None:
    site = bring(cases / "mixedcrs_stones.geojson", "stones").site
    before = {name: canonical.content_hash(site[name]) for name in site}
    outcomes = {}
    for path in sorted(cases.iterdir()):
        for layer in ("stones", "heads", "plots", "findings", "observations", "paths"):
            for options in ({}, {"crs": "EPSG:32610"}, {"swap_xy": True}):
                try:
                    brought = bring_in(site, layer, path, **options)
                except GravegisError as error:
                    assert error.problems[0].problem  # noqa: PT017 - either outcome is right
                    outcomes[path.name, layer] = "refused"
                else:
                    assert set(brought.site) >= set(site)
                    outcomes[path.name, layer] = "in"
    assert {name: canonical.content_hash(site[name]) for name in site} == before
    assert {"in", "refused"} == set(outcomes.values())


def test_noprj_is_refused_until_a_system_is_named_and_then_assumed(cases: Path) -> None:
    with pytest.raises(CrsError, match=r"does not say(.|\n)*--crs EPSG:326ZZ"):
        bring(cases / "noprj.shp", "stones")
    brought = bring(cases / "noprj.shp", "stones", crs="EPSG:32610")
    assert len(brought.site["stones"]) == 12
    assert "EPSG:32610, as typed" in brought.assumed[0]
    near = bring(cases / "mixedcrs_heads.gpkg", "heads").site
    with pytest.raises(CrsError, match=r"--crs EPSG:326\d\d|--crs EPSG:269\d\d"):
        bring(cases / "noprj.shp", "stones", near)


def test_cut10_keeps_its_columns_and_guesses_nothing(cases: Path) -> None:
    brought = bring(cases / "cut10.shp", "stones")
    stones = brought.site["stones"]
    assert {"condition_", "conditio_1", "conditio_2"} <= set(stones.columns)
    assert "quick_score" not in stones.columns
    assert any("end after 10 letters" in note for note in brought.notes)
    named = bring(cases / "cut10.shp", "stones", mapping=["tag=conditio_2"])
    assert named.site["stones"]["tag"].tolist() == ["x"] * 12


def test_layers_in_two_systems_meet(cases: Path) -> None:
    site = bring(cases / "mixedcrs_stones.geojson", "stones").site
    brought = bring(cases / "mixedcrs_heads.gpkg", "heads", site)
    assert reached_pairs(brought.site) == 12
    assert any("EPSG:2992 to EPSG:32610, accuracy 4 m" in words for words in brought.assumed)
    assert [one for one in check_site(brought.site) if one.severity == "error"] == []


def test_a_layer_elsewhere_is_an_error_in_check_not_an_empty_overlay(cases: Path) -> None:
    site = bring(cases / "mixedcrs_stones.geojson", "stones").site
    site = bring(cases / "mixedcrs_heads.gpkg", "heads", site).site
    heads = gpd.GeoDataFrame(site["heads"])
    moved = site.with_layers({"heads": heads.set_geometry(gpd.GeoSeries(heads["geometry"]).translate(5000, 0))})
    assert any("would be empty" in one.problem.problem for one in check_site(moved) if one.severity == "error")


def test_invalid_plots_are_mended_listed_and_the_twin_flagged(cases: Path) -> None:
    brought = bring(cases / "invalid_plots.gpkg", "plots")
    plots = brought.site["plots"].set_index("plot_id")
    assert plots.geometry.area.round(6).to_dict() == {"bow": 2.0, "ok": 4.0, "ok_again": 4.0, "spike": 4.0}
    words = "\n".join(brought.warnings)
    assert "bow (self-intersection; area 0.00 -> 2.00 m2)" in words
    assert "spike (self-intersection; area 4.00 -> 4.00 m2)" in words
    assert "ok_again = ok" in words


def test_cp1252_is_decoded_and_asked_about(cases: Path) -> None:
    brought = bring(cases / "cp1252.shp", "stones")
    assert set(brought.site["stones"]["material"]) == {"grès", "Sandstein weiß"}
    assert any("--encoding" in words for words in brought.warnings)
    assert set(bring(cases / "cp1252.shp", "stones", encoding="cp1252").site["stones"]["material"]) == {
        "grès",
        "Sandstein weiß",
    }


def test_dms_is_read_but_for_the_o_which_is_asked_about(cases: Path) -> None:
    with pytest.raises(
        LayerError, match=r"'121º19′47,6″ O' in row 5 names O, which is east in German and west in French"
    ):
        bring(cases / "dms.csv", "stones")
    rows = read_table(cases / "dms.csv").frame.set_index("stone_id")
    lat = {name: parse_angle(text, "lat") for name, text in rows["lat"].items()}
    lon = {name: parse_angle(text, "lon") for name, text in rows["lon"].items() if name != "E"}
    assert lat == pytest.approx({
        "A": 44 + 3 / 60 + 0.5 / 3600, "B": 44 + 3 / 60 + 0.6 / 3600, "C": 44 + 3.0117 / 60, "D": 44.050197,
        "E": 44 + 3 / 60 + 0.9 / 3600, "F": 44 + 3 / 60 + 1 / 3600, "G": -0.5,
    })  # fmt: skip
    assert lon == pytest.approx({
        "A": -(121 + 19 / 60 + 48 / 3600), "B": -(121 + 19 / 60 + 47.9 / 3600), "C": -(121 + 19.7967 / 60),
        "D": -121.329942, "F": -(121 + 19 / 60 + 47.5 / 3600), "G": 0.25,
    })  # fmt: skip


def test_dms_comes_in_once_the_o_is_an_e_or_w(cases: Path, tmp_path: Path) -> None:
    lines = (cases / "dms.csv").read_text(encoding="utf-8").replace("″ O", "″ W").splitlines()
    (tmp_path / "dms.csv").write_text("\n".join(lines[:-1]), encoding="utf-8")
    site = bring(tmp_path / "dms.csv", "stones").site
    assert len(site["stones"]) == 6
    assert site.info.crs == "EPSG:32610"
    assert np.ptp(shapely.get_coordinates(site["stones"].geometry.array), axis=0).max() < 25


def test_swapped_is_found_by_range_and_by_neighbours_and_the_swap_offered(cases: Path) -> None:
    path = cases / "swapped.csv"
    for site in (new(), bring(cases / "mixedcrs_heads.gpkg", "heads").site):
        for options in ({}, {"crs": "EPSG:4326"}):
            with pytest.raises(CrsError, match="--swap-xy"):
                bring(path, "stones", site, **options)
    brought = bring(path, "stones", crs="EPSG:4326", swap_xy=True).site["stones"]
    other = bring(cases / "mixedcrs_stones.geojson", "stones").site["stones"]
    assert brought.geometry.distance(other.geometry).max() < 0.02  # seven decimals of a degree are about a centimetre


def test_a_known_crs_member_is_honoured_an_unknown_one_stops(cases: Path) -> None:
    site = bring(cases / "crsmember.geojson", "stones").site
    assert site.info.crs == "EPSG:32610"
    assert shapely.get_coordinates(site["stones"].geometry.array)[0].tolist() == [634000.0, 4879000.0]
    with pytest.raises(CrsError, match=r"urn:ogc:def:crs:EPSG::999999(.|\n)*UTM in metres, about 44\.1 degrees north"):
        bring(cases / "crsmember_unknown.geojson", "stones")
    named = bring(cases / "crsmember_unknown.geojson", "stones", crs="EPSG:32610").site
    assert canonical.equal(named["stones"], site["stones"])


def test_folders_of_kml_are_listed_and_none_is_dropped(cases: Path) -> None:
    with pytest.raises(LayerError, match=r"2 folders: stones \(12 placemarks\), heads \(1 placemark\)"):
        bring(cases / "folders.kml", "stones")
    site = bring(cases / "folders.kml", "stones", file_layer="stones", mapping=["stone_id=name"]).site
    stones = site["stones"]
    assert len(stones) == 12
    assert not shapely.has_z(stones.geometry.array).any()
    assert stones["condition"].tolist()[:6] == ["1", "2", "3", "4", "5", "1"]
    # a height counts only where the file says that it is one: every second stone is clamped to the ground
    assert stones["altitude_m"].fillna("").tolist() == ["1105.2", ""] * 6
    other = bring(cases / "mixedcrs_stones.geojson", "stones").site["stones"]
    assert stones.geometry.distance(other.geometry).max() < 0.02
    heads = bring(cases / "folders.kml", "heads", site, file_layer="heads", mapping=["head_id=name", "kind=name"])
    assert len(heads.site["heads"]) == 1


def test_a_plat_gives_plots_with_their_labels_and_blocks_with_their_attributes(cases: Path) -> None:
    path = cases / "plat.dxf"
    with pytest.raises(LayerError, match=r"2 layers: PLOT \(15 lines\), STONE \(6 points\)"):
        bring(path, "plots")
    with pytest.raises(CrsError, match="does not say which reference system"):
        bring(path, "plots", file_layer="PLOT")
    plots = read_file(path, layer="PLOT")
    assert plots.frame["label"].tolist() == ["A-1", "A-2", "A-3", "A-4", "A-5", "A-6"]
    assert plots.frame.geometry.area.to_numpy() == pytest.approx([1.2 * 2.2] * 6)
    assert plots.unit_m == 1.0
    stones = read_file(path, layer="STONE")
    assert stones.frame["ID"].tolist() == [f"S0{number}" for number in range(6)]
    assert stones.frame.geometry.x.to_numpy() == pytest.approx([0.6, 2.2, 3.8, 0.6, 2.2, 3.8])


def test_a_way_of_a_map_extract_that_cannot_be_drawn_is_named(cases: Path) -> None:
    raw = read_file(cases / "degenerate.osm")
    assert raw.frame["osm_id"].tolist() == ["10", "11"]
    assert raw.frame["geometry"].isna().tolist() == [False, True]
    assert any("1 way" in words and words.endswith("11") for words in raw.warnings)
    brought = bring(cases / "degenerate.osm", "plots")
    assert len(brought.site["plots"]) == 1
    assert any("11" in words for words in brought.warnings)


def test_two_stones_at_one_stop_come_in_and_are_flagged(cases: Path) -> None:
    brought = bring(cases / "dup_stops.csv", "stones", mapping=["stone_id=stop"], crs="EPSG:32610")
    assert brought.site["stones"]["stone_id"].tolist() == ["A", "B", "B2", "C", "D"]
    assert any("at the same place: B and B2" in one.problem.problem for one in check_site(brought.site))


def test_decimal_comma_and_thousand_points_are_read_and_the_guess_shown(cases: Path) -> None:
    brought = bring(cases / "decimal_comma.csv", "stones", crs="EPSG:32610")
    stones = brought.site["stones"]
    assert shapely.get_coordinates(stones.geometry.array).tolist() == [
        [634000.0, 4879000.0],
        [634001.6, 4879000.0],
        [634003.2, 4879000.0],
    ]
    assert stones["height_m"].tolist()[:2] == [1.05, 1.2]
    assert stones["lean_deg"].tolist()[::2] == [3.5, 12.0]
    assert stones["height_m"].isna().tolist() == [False, False, True]
    assert stones["lean_deg"].isna().tolist() == [False, True, False]
    assert "separated by semicolon" in brought.notes[0]
    assert "decimal comma" in brought.notes[0]


def test_web_mercator_is_worked_out_in_true_metres(cases: Path) -> None:
    site = bring(cases / "webmercator_stones.gpkg", "stones").site
    site = bring(cases / "webmercator_heads.gpkg", "heads", site).site
    assert site.info.crs == "EPSG:32610"
    assert reached_stones(site) == 10


def test_mixed_geometry_is_opened_and_bare_throws_beside_feet_are_refused(cases: Path) -> None:
    path = cases / "mixed_geom.geojson"
    for mapping in ((), ("throw_m=throw",)):
        with pytest.raises(LayerError, match=r"'4.5' in row 2, '15 ft' in row 1"):
            bring(path, "heads", mapping=mapping)
    brought = bring(path, "heads", mapping=("throw_m=throw m",))
    heads = brought.site["heads"].set_index("head_id")
    assert heads["throw_m"].round(3).fillna(0).to_dict() == {"1": 4.572, "2-1": 4.5, "2-2": 4.5, "3": 0}
    assert heads["id_in_file"].to_dict() == {"1": "1", "2-1": "2", "2-2": "2", "3": "3"}
    assert any("left out: 3 (line)" in words for words in brought.warnings)


def test_every_layer_of_the_schema_refuses_what_it_cannot_hold(cases: Path) -> None:
    for layer in schema.layers().values():
        try:
            bring(cases / "invalid_plots.gpkg", layer.name)
        except GravegisError as error:
            assert error.problems[0].problem  # noqa: PT017 - either outcome is right
