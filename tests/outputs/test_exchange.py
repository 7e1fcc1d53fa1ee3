"""Files to hand over: nothing lost, nothing that runs, positions that come back where they were."""

from __future__ import annotations

import csv
import json
import xml.etree.ElementTree as ET
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from gravegis.errors import LayerError, SettingError
from gravegis.outputs import cells, exchange, words
from gravegis.site import ResultRecord, Site, SiteInfo
from tests.outputs.current import current

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

CRS = "EPSG:7854"
GPX = {"g": "http://www.topografix.com/GPX/1/1"}
HOSTILE = "=A&B <b>\u202eevil\u202c\n</wpt> \u0001 \"quoted\", 'single' ﷽"
RISKY = ("=1+1", "+1", "-1", "@SUM(A1)", "\tx", "＝1", "-12 to the left")


def make_site(crs: str = CRS, *, east: float = 372000.0, north: float = 6250000.0, **stones: Any) -> Site:
    """Return four stones, two heads, a plan of two crews with walked lines, and a log."""
    ids = ["S2", "S10", "S1", "S3"]
    points = [shapely.Point(east + 1.234 * k, north + 2.5 * k) for k in range(4)]
    boxes = [shapely.box(one.x - 0.3, one.y - 0.1, one.x + 0.3, one.y + 0.1) for one in points]
    base = (east - 10, north - 10)
    plan = [("C1", 1, 0), ("C1", 2, 2), ("C2", 1, 1)]
    legs = [("C1", 1, [base, points[0].coords[0]]), ("C1", 2, [points[0].coords[0], points[2].coords[0]]),
            ("C2", 1, [base, (east, north - 5), points[1].coords[0]])]  # fmt: skip
    reasons = json.dumps([{"code": "leader_checks_first", "values": {}}])
    layers = {
        "stones": gpd.GeoDataFrame(
            {"stone_id": ids, "section": "A", "row": "3", "place_in_row": [1, 2, 3, 4], "tag": "0007",
             "find_me": "Ann Known", "material": "marble", "form": "tablet",
             "position_error_m": [0.05, 4.0, None, 0.005], **stones}, geometry=boxes, crs=crs),
        "heads": gpd.GeoDataFrame({"head_id": ["H1", "H2"], "tag": ["1", None]}, geometry=points[:2], crs=crs),
        "zones": pd.DataFrame({"zone_id": ["Z1"]}),
        "stone_wetting": pd.DataFrame({"stone_id": ids, "reached": [True, False, None, True],
                                       "margin_m": [1.2345, -3.4567, None, 0.0049], "basis": "model"}),
        "wetting_links": pd.DataFrame({"stone_id": ["S2", "S10", "S2"], "head_id": ["H1", "H1", "H2"],
                                       "zone_id": "Z1", "distance_m": [3.14159, 1.5, 0.2], "margin_m": 1.0}),
        "head_stones": pd.DataFrame({"head_id": ["H1", "H2"], "near_n": [0, 1], "rank": [2, 1]}),
        "worklist": pd.DataFrame({"stone_id": ids, "treatment": "clean: water and soft brush", "who": "crew",
                                  "work_min": 20.0, "priority": [1, 3, 2, 3], "reasons": reasons}),
        "stops": pd.DataFrame([{"crew_id": crew, "day": "2026-12-02", "seq": seq, "stone_id": ids[k],
                                "arrive_at": "08:00"} for crew, seq, k in plan]),
        "legs": gpd.GeoDataFrame(
            [{"crew_id": crew, "day": "2026-12-02", "seq": seq, "geometry": shapely.LineString(way)}
             for crew, seq, way in legs], geometry="geometry", crs=crs),
        "unplanned": pd.DataFrame({"stone_id": ["S3"], "reason": "NO_TIME_LEFT", "detail": "no time left"}),
    }  # fmt: skip
    site = Site(SiteInfo("Testground", crs)).with_layers(layers)
    record = ResultRecord("throw", 1, {}, 1, {}, {}, (), (), ("arc unknown: full circle",))
    return current(site.with_result({}, {}, record))


def table(folder: Path, name: str) -> list[dict[str, str]]:
    with (folder / name).open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file))


def written(site: Site, folder: Path, **options: Any) -> Mapping[str, list[dict[str, str]]]:
    files = exchange.write_tables(site, folder, **options)
    return {file.stem: table(folder, file.name) for file in files if file.suffix == ".csv"}


def test_all_tables_are_written_with_every_row(tmp_path: Path) -> None:
    site = make_site()
    tables = written(site, tmp_path)
    layers = {"worklist": "worklist", "stops": "stops", "heads": "heads", "stones_by_head": "wetting_links",
              "stones": "stones", "unplanned": "unplanned"}  # fmt: skip
    assert {name: len(rows) for name, rows in tables.items()} == {name: len(site[one]) for name, one in layers.items()}
    assert (tmp_path / "assumed.txt").read_text(encoding="utf-8").splitlines()[2:4] == [
        "throw (version 1)", "  arc unknown: full circle",
    ]  # fmt: skip


def test_a_reason_stands_in_words_beside_its_code(tmp_path: Path) -> None:
    [row] = written(make_site(), tmp_path)["unplanned"]
    assert (row["reason"], row["reason_in_words"]) == ("NO_TIME_LEFT", "no time left")


def test_a_walk_without_length_and_a_crew_without_stones_give_no_track(tmp_path: Path) -> None:
    site = make_site()
    legs = site["legs"]
    spot = shapely.LineString([(372000.0, 6250000.0)] * 2)
    days = pd.DataFrame({"crew_id": ["C1", "C9"], "day": "2026-12-02", "stones_n": [2, 0]})
    flat = legs.assign(geometry=gpd.GeoSeries([spot, shapely.LineString(), spot], crs=CRS))
    files = exchange.write_gpx(site.with_layers({"legs": flat, "crew_days": days}), tmp_path)
    assert [file.name for file in files] == ["crew_C1_2026-12-02.gpx", "crew_C2_2026-12-02.gpx"]
    for file in files:
        root = ET.parse(file).getroot()
        assert root.findall("g:trk", GPX) == []
        assert len(root.findall("g:wpt", GPX)) > 0


def test_assumed_file_tells_what_was_assumed_of_the_layers(tmp_path: Path) -> None:
    site = make_site()
    info = replace(site.info, assumed=("stones: moved, 3 m", "heads: moved, 3 m"))
    exchange.write_tables(replace(site, info=info), tmp_path)
    assert "\n  stones, heads: moved, 3 m\n" in (tmp_path / "assumed.txt").read_text(encoding="utf-8")


def test_tables_begin_with_a_byte_order_mark_and_end_lines_as_the_standard_says(tmp_path: Path) -> None:
    exchange.write_tables(make_site(find_me="Zoë Ŵood"), tmp_path, with_names=True)
    raw = (tmp_path / "stones.csv").read_bytes()
    assert raw.startswith(b"\xef\xbb\xbfstone_id,")
    assert raw.count(b"\r\n") == raw.count(b"\n") == 5  # RFC 4180
    assert "Zoë Ŵood" in raw.decode("utf-8-sig")
    assert pd.read_csv(tmp_path / "stones.csv").columns[0] == "stone_id"  # readers of tables skip the mark


def test_worst_heads_and_most_urgent_work_come_first(tmp_path: Path) -> None:
    tables = written(make_site(), tmp_path)
    assert [row["head_id"] for row in tables["heads"]] == ["H2", "H1"]
    assert [(row["head_id"], row["stone_id"]) for row in tables["stones_by_head"]] == [
        ("H2", "S2"), ("H1", "S10"), ("H1", "S2"),
    ]  # fmt: skip
    assert [row["priority"] for row in tables["worklist"]] == ["3", "3", "2", "1"]


def test_names_are_left_out_unless_asked_for(tmp_path: Path) -> None:
    site = make_site()
    exchange.write_tables(site, tmp_path / "without")
    exchange.write_gpx(site, tmp_path / "without")
    for kind in ("csv", "geojson", "gpkg", "shp"):
        exchange.export_layer(site, "stones", tmp_path / "without" / f"stones_alone.{kind}")
    for file in (tmp_path / "without").iterdir():
        assert b"Ann Known" not in file.read_bytes(), file.name
    assert written(site, tmp_path / "with", with_names=True)["stones"][0]["find_me"] == "Ann Known"
    exchange.write_gpx(site, tmp_path / "with", with_names=True)
    assert "Ann Known" in (tmp_path / "with" / "crew_C1_2026-12-02.gpx").read_text(encoding="utf-8")


@pytest.mark.parametrize("text", RISKY)
def test_texts_that_look_like_formulas_are_disarmed(text: str, tmp_path: Path) -> None:
    stripped = text.strip()  # layers keep texts stripped, so a leading tab never arrives here
    wanted = stripped if stripped == "x" else f"'{stripped}"
    site = make_site(tag=text)
    assert {row["tag"] for row in written(site, tmp_path)["stones"]} == {wanted}
    exchange.export_layer(site, "stones", tmp_path / "one.csv")
    assert {row["tag"] for row in table(tmp_path, "one.csv")} == {wanted}


def test_figures_keep_their_minus_sign(tmp_path: Path) -> None:
    by_id = {row["stone_id"]: row for row in written(make_site(), tmp_path)["stones"]}
    assert by_id["S10"]["margin_m"] == "-3"


@given(st.text(min_size=1, max_size=12))
def test_no_text_cell_begins_like_a_formula_and_none_is_lost(text: str) -> None:
    cell = cells.harmless(text)
    assert not cell.startswith(("=", "+", "-", "@", "\t", "\r"))
    assert cell.removeprefix("'") == text or cell == text


def test_distances_have_the_decimals_the_position_allows(tmp_path: Path) -> None:
    tables = written(make_site(), tmp_path)
    margin = {row["stone_id"]: row["margin_m"] for row in tables["stones"]}
    assert margin == {"S2": "1.2", "S10": "-3", "S1": "", "S3": "0"}  # errors 0.05, 4, unknown, 0.005 m
    distance = {(row["head_id"], row["stone_id"]): row["distance_m"] for row in tables["stones_by_head"]}
    assert distance["H1", "S2"] == "3.1"


def test_unknown_stays_empty_and_flags_are_words(tmp_path: Path) -> None:
    reached = {row["stone_id"]: row["reached"] for row in written(make_site(), tmp_path)["stones"]}
    assert reached == {"S2": "yes", "S10": "no", "S1": "", "S3": "yes"}


def test_reasons_are_sentences_and_ids_keep_their_zeros(tmp_path: Path) -> None:
    rows = written(make_site(), tmp_path)["worklist"]
    assert rows[0]["reasons"].startswith("Unchecked: the leader checks first")
    assert rows[0]["tag"] == "0007"


def test_reasons_of_strangers_are_disarmed_too(tmp_path: Path) -> None:
    site = make_site()
    work = site["worklist"].assign(reasons=json.dumps([{"code": "=cmd", "values": {}}]))
    rows = written(site.with_layers({"worklist": work}), tmp_path)["worklist"]
    assert {row["reasons"] for row in rows} == {"'=cmd"}


def test_poor_site_gives_the_tables_it_can(tmp_path: Path) -> None:
    site = make_site()
    bare = Site(site.info).with_layers({"stones": site["stones"][["stone_id", "geometry"]]})
    files = exchange.write_tables(bare, tmp_path)
    assert [file.name for file in files] == ["stones.csv", "assumed.txt"]
    assert [row["reached"] for row in table(tmp_path, "stones.csv")] == [""] * 4
    assert exchange.write_gpx(bare, tmp_path) == []


@pytest.mark.parametrize(("crs", "east", "north"), [
    ("EPSG:7854", 372000.0, 6250000.0), ("EPSG:32630", 530000.0, 5700000.0), ("EPSG:32149", 500000.0, 200000.0),
])  # fmt: skip
def test_waypoints_come_back_to_their_stones_within_two_centimetres(
    crs: str, east: float, north: float, tmp_path: Path
) -> None:
    site = make_site(crs, east=east, north=north)
    files = exchange.write_gpx(site, tmp_path)
    assert [file.name for file in files] == ["crew_C1_2026-12-02.gpx", "crew_C2_2026-12-02.gpx"]
    places = site["stones"].set_index("stone_id").geometry.centroid
    for file, crew in zip(files, ("C1", "C2"), strict=True):
        stops = site["stops"][site["stops"]["crew_id"] == crew]
        points = pyogrio.read_dataframe(file, layer="waypoints").to_crs(crs)
        assert list(points["name"]) == [f"{k:02d} {one}" for k, one in enumerate(stops["stone_id"], 1)]
        assert points.geometry.distance(gpd.GeoSeries(places[stops["stone_id"]].to_numpy(), crs=crs)).max() < 0.02


def test_track_follows_the_walked_lines(tmp_path: Path) -> None:
    site = make_site()
    exchange.write_gpx(site, tmp_path)
    points = pyogrio.read_dataframe(tmp_path / "crew_C2_2026-12-02.gpx", layer="track_points").to_crs(CRS)
    walked = shapely.get_coordinates(site["legs"].query("crew_id == 'C2'").geometry.to_numpy())
    assert np.abs(shapely.get_coordinates(points.geometry.to_numpy()) - walked).max() < 0.02
    tracks = pyogrio.read_dataframe(tmp_path / "crew_C1_2026-12-02.gpx", layer="tracks")
    assert shapely.get_num_geometries(tracks.geometry.iloc[0]) == 2  # one segment a leg


def test_gpx_has_the_order_of_its_standard_and_the_plan(tmp_path: Path) -> None:
    site = make_site()
    [file, _] = exchange.write_gpx(site, tmp_path)
    root = ET.parse(file).getroot()
    assert root.tag == "{http://www.topografix.com/GPX/1/1}gpx"
    assert root.get("version") == "1.1"
    assert [one.tag.rpartition("}")[2] for one in root] == ["metadata", "wpt", "wpt", "trk"]
    assert words.plan_hash(site) in root.findtext("g:metadata/g:desc", "", GPX)
    for point in root.findall("g:wpt", GPX):
        assert [one.tag.rpartition("}")[2] for one in point] == ["name", "desc", "type"]
        assert all(len(point.get(name, "").partition(".")[2]) >= 7 for name in ("lat", "lon"))


def test_hostile_names_give_sound_xml_on_one_line(tmp_path: Path) -> None:
    site = make_site(find_me=HOSTILE, row=HOSTILE)
    [file, _] = exchange.write_gpx(site, tmp_path, with_names=True)
    text = ET.parse(file).getroot().findtext("g:wpt/g:desc", "", GPX)
    assert "=A&B <b>evil </wpt>" in text
    assert not set(text) & set("\n\u202e\u202c\u0001")


def test_hostile_texts_survive_a_table_unchanged_but_for_the_apostrophe(tmp_path: Path) -> None:
    site = make_site(find_me=HOSTILE)
    rows = written(site, tmp_path, with_names=True)["stones"]
    assert {row["find_me"] for row in rows} == {f"'{site['stones']['find_me'].iloc[0]}"}


@pytest.mark.parametrize("kind", ["geojson", "gpkg", "shp"])
@pytest.mark.parametrize("layer", ["stones", "heads", "worklist", "stops", "legs", "wetting_links", "head_stones"])
def test_exported_layers_come_back_with_every_row_in_its_place(layer: str, kind: str, tmp_path: Path) -> None:
    site = make_site()
    file = tmp_path / "sub" / f"out.{kind}"
    assert exchange.export_layer(site, layer, file) == len(site[layer])
    back = pyogrio.read_dataframe(file).to_crs(CRS)
    key = "stone_id" if "stone_id" in back else "head_id" if "head_id" in back else None
    own = site[layer]
    assert len(back) == len(own)
    if key:
        assert list(back[key]) == list(own[key])
        places = site["stones" if key == "stone_id" else "heads"].set_index(key).geometry.centroid
        wanted = gpd.GeoSeries(places[own[key]].to_numpy(), crs=CRS)
        assert back.geometry.centroid.distance(wanted).max() < 0.002


def test_exported_table_has_places_or_outlines(tmp_path: Path) -> None:
    site = make_site()
    exchange.export_layer(site, "heads", tmp_path / "heads.csv")
    assert table(tmp_path, "heads.csv")[0] | {"tag": ""} == {
        "head_id": "H1", "tag": "", "easting": "372000.000", "northing": "6250000.000",
    }  # fmt: skip
    exchange.export_layer(site, "stones", tmp_path / "stones.csv")
    assert shapely.from_wkt(table(tmp_path, "stones.csv")[0]["wkt"]).area == pytest.approx(0.6 * 0.2)
    assert exchange.export_layer(site, "zones", tmp_path / "zones.csv") == 1


def test_long_texts_are_cut_in_a_shapefile_with_a_mark(tmp_path: Path) -> None:
    site = make_site(material="ü" * 300)
    exchange.export_layer(site, "stones", tmp_path / "out.shp")
    cut = pyogrio.read_dataframe(tmp_path / "out.shp")["material"].iloc[0]
    assert cut == "ü" * 125 + "…"  # two bytes each, 254 in all with the mark


def test_what_cannot_be_exported_is_refused_in_words(tmp_path: Path) -> None:
    site = make_site()
    with pytest.raises(LayerError, match=r"no layer 'ghosts'[\s\S]*It has: stones"):
        exchange.export_layer(site, "ghosts", tmp_path / "x.csv")
    with pytest.raises(SettingError, match=r"x\.docx[\s\S]*\.csv, \.geojson, \.gpkg, \.shp"):
        exchange.export_layer(site, "stones", tmp_path / "x.docx")
    with pytest.raises(LayerError, match=r"zones lies nowhere[\s\S]*\.csv"):
        exchange.export_layer(site, "zones", tmp_path / "x.gpkg")
    mixed = site["stones"]
    mixed.loc[0, "geometry"] = mixed.geometry.iloc[0].centroid
    with pytest.raises(LayerError, match=r"Point and Polygon[\s\S]*\.gpkg"):
        exchange.export_layer(site.with_layers({"stones": mixed}), "stones", tmp_path / "x.shp")


def test_same_site_gives_the_same_bytes(tmp_path: Path) -> None:
    for name in ("a", "b"):
        exchange.write_tables(make_site(), tmp_path / name)
        exchange.write_gpx(make_site(), tmp_path / name)
    for file in (tmp_path / "a").iterdir():
        assert file.read_bytes() == (tmp_path / "b" / file.name).read_bytes()
