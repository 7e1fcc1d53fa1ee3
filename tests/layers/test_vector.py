from __future__ import annotations

import json
import sqlite3
import zipfile
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import pyogrio
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from gravegis.errors import LayerError
from gravegis.layers.read import read_file

if TYPE_CHECKING:
    from pathlib import Path

CRS = "EPSG:7854"


def ten(n: int = 10) -> gpd.GeoDataFrame:
    shapes = [shapely.box(372000 + i, 6250000, 372000.5 + i, 6250000.3) for i in range(n)]
    return gpd.GeoDataFrame({"stone_id": [f"{i:03d}" for i in range(n)], "height_m": 1.5}, geometry=shapes, crs=CRS)


def collection(features: list[dict[str, Any]], **more: Any) -> str:
    return json.dumps({"type": "FeatureCollection", **more, "features": features})


def feature(x: float = 1.0, y: float = 2.0, **properties: Any) -> dict[str, Any]:
    place = {"type": "Point", "coordinates": [x, y]}
    return {"type": "Feature", "properties": properties, "geometry": place}


@pytest.mark.parametrize("name", ["a.gpkg", "a.shp", "a.geojson", "A.GEOJSON"])
def test_each_kind_gives_its_rows_and_its_reference_system(tmp_path: Path, name: str) -> None:
    frame = ten() if not name.lower().endswith("json") else ten().to_crs("EPSG:4326")
    pyogrio.write_dataframe(frame, tmp_path / name, driver="GeoJSON" if name.startswith("A") else None)
    raw = read_file(tmp_path / name)
    assert raw.frame["stone_id"].tolist() == [f"{i:03d}" for i in range(10)]
    assert raw.frame["geometry"].notna().all()
    assert raw.crs is not None
    assert raw.crs.to_epsg() == (4326 if "json" in name.lower() else 7854)


def test_a_zipped_shapefile_is_read(tmp_path: Path) -> None:
    pyogrio.write_dataframe(ten(), tmp_path / "a.shp")
    with zipfile.ZipFile(tmp_path / "a.zip", "w") as archive:
        for part in tmp_path.glob("a.[dspc]*"):
            archive.write(part, f"folder/{part.name}")
    raw = read_file(tmp_path / "a.zip")
    assert len(raw.frame) == 10
    assert raw.crs is not None
    assert raw.crs.to_epsg() == 7854


def test_a_zip_without_one_shapefile_is_refused(tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "a.zip", "w") as archive:
        archive.writestr("readme.txt", "x")
    with pytest.raises(LayerError, match="holds 0 files that can be read"):
        read_file(tmp_path / "a.zip")
    (tmp_path / "b.zip").write_bytes(b"PK nonsense")
    with pytest.raises(LayerError, match="cannot be opened"):
        read_file(tmp_path / "b.zip")


@pytest.mark.parametrize("kept", [0.02, 0.1, 0.5, 0.9, 0.999])
@pytest.mark.parametrize("name", ["a.gpkg", "a.shp", "a.geojson"])
def test_a_cut_file_is_refused_never_half_read(tmp_path: Path, name: str, kept: float) -> None:
    pyogrio.write_dataframe(ten(300), tmp_path / name)
    path = tmp_path / name
    path.write_bytes(path.read_bytes()[: int(path.stat().st_size * kept)])
    with pytest.raises(LayerError, match=r"cut|no Shapefile"):
        read_file(path)


@pytest.mark.parametrize("part", [".dbf", ".shx"])
def test_a_shapefile_without_one_of_its_files_is_refused(tmp_path: Path, part: str) -> None:
    pyogrio.write_dataframe(ten(), tmp_path / "a.shp")
    (tmp_path / f"a{part}").unlink()
    with pytest.raises(LayerError, match=rf"{part} is not there"):
        read_file(tmp_path / "a.shp")


@pytest.mark.parametrize("part", [".dbf", ".shx"])
def test_a_shapefile_with_a_cut_or_foreign_part_is_refused(tmp_path: Path, part: str) -> None:
    pyogrio.write_dataframe(ten(), tmp_path / "a.shp")
    whole = (tmp_path / f"a{part}").read_bytes()
    (tmp_path / f"a{part}").write_bytes(whole[: len(whole) // 2])
    with pytest.raises(LayerError, match="cut"):
        read_file(tmp_path / "a.shp")
    pyogrio.write_dataframe(ten(7), tmp_path / "b.shp")
    (tmp_path / f"a{part}").write_bytes((tmp_path / f"b{part}").read_bytes())
    with pytest.raises(LayerError, match="do not belong together"):
        read_file(tmp_path / "a.shp")


@pytest.mark.cited("../shared/checks/overlay_and_clusters.md, row 20: libraries read it without an error")
def test_a_geopackage_damaged_in_the_middle_is_refused(tmp_path: Path) -> None:
    pyogrio.write_dataframe(ten(2000), tmp_path / "a.gpkg")
    whole = bytearray((tmp_path / "a.gpkg").read_bytes())
    middle = len(whole) // 2 // 4096 * 4096
    whole[middle : middle + 4096] = b"\xff" * 4096
    (tmp_path / "a.gpkg").write_bytes(bytes(whole))
    with pytest.raises(LayerError, match="damaged"):
        read_file(tmp_path / "a.gpkg")


def test_a_geopackage_row_with_a_broken_outline_is_told(tmp_path: Path) -> None:
    pyogrio.write_dataframe(ten(), tmp_path / "a.gpkg", layer="t", layer_options={"SPATIAL_INDEX": "NO"})
    with sqlite3.connect(tmp_path / "a.gpkg") as connection:
        for name in ("ST_IsEmpty", "ST_MinX", "ST_MaxX", "ST_MinY", "ST_MaxY"):
            connection.create_function(name, 1, lambda *_: 1)
        connection.execute("UPDATE t SET geom = X'00112233' WHERE fid = 1")
    connection.close()
    raw = read_file(tmp_path / "a.gpkg")
    assert raw.frame["geometry"].isna().sum() == 1
    assert raw.warnings[0].startswith("1 outline of the file cannot be read")


def test_several_layers_are_listed_and_one_is_taken_by_name(tmp_path: Path) -> None:
    pyogrio.write_dataframe(ten(), tmp_path / "a.gpkg", layer="one")
    pyogrio.write_dataframe(ten(3), tmp_path / "a.gpkg", layer="two", append=True)
    with pytest.raises(LayerError, match=r"has 2 layers: one, two(.|\n)*--file-layer"):
        read_file(tmp_path / "a.gpkg")
    with pytest.raises(LayerError, match="no layer 'three'"):
        read_file(tmp_path / "a.gpkg", layer="three")
    assert len(read_file(tmp_path / "a.gpkg", layer="two").frame) == 3


def test_deleted_rows_of_a_dbase_table_are_counted(tmp_path: Path) -> None:
    pyogrio.write_dataframe(ten(), tmp_path / "a.shp")
    table = bytearray((tmp_path / "a.dbf").read_bytes())
    start = int.from_bytes(table[8:10], "little")
    table[start : start + 1] = b"*"
    (tmp_path / "a.dbf").write_bytes(bytes(table))
    raw = read_file(tmp_path / "a.shp")
    assert raw.frame["stone_id"].tolist() == [f"{i:03d}" for i in range(1, 10)]
    assert "1 row marked as deleted in the file left out" in raw.notes


def test_a_shapefile_without_prj_says_nothing_about_its_place(tmp_path: Path) -> None:
    pyogrio.write_dataframe(ten(), tmp_path / "a.shp")
    (tmp_path / "a.prj").unlink()
    raw = read_file(tmp_path / "a.shp")
    assert (raw.crs, raw.trouble, raw.stated) == (None, "", False)


def test_names_cut_after_ten_letters_are_kept_and_told(tmp_path: Path) -> None:
    frame = ten().rename(columns={"height_m": "condition_grade_2026"}).assign(condition_grade_2025=1)
    with pytest.warns(RuntimeWarning, match="Normalized"):
        pyogrio.write_dataframe(frame, tmp_path / "a.shp")
    raw = read_file(tmp_path / "a.shp")
    assert list(raw.frame.columns) == ["stone_id", "condition_", "conditio_1", "geometry"]
    assert any("condition_, conditio_1" in note for note in raw.notes)


@pytest.mark.parametrize(
    ("member", "epsg"),
    [
        ("epsg:32610", 32610), ("urn:ogc:def:crs:EPSG::32610", 32610), ("urn:ogc:def:crs:OGC:1.3:CRS84", 4326),
        ("EPSG:4326", 4326),
    ],
)  # fmt: skip
def test_a_known_crs_member_is_honoured(tmp_path: Path, member: str, epsg: int) -> None:
    text = collection([feature()], crs={"type": "name", "properties": {"name": member}})
    (tmp_path / "a.geojson").write_text(text)
    raw = read_file(tmp_path / "a.geojson")
    assert raw.stated
    assert raw.crs is not None
    assert raw.crs.to_epsg() == epsg


@pytest.mark.parametrize(
    "member", [{"type": "name", "properties": {"name": "EPSG:999999"}}, {"type": "link"}, "EPSG:4326", {}, 7]
)
def test_an_unknown_crs_member_is_never_degrees(tmp_path: Path, member: Any) -> None:
    (tmp_path / "a.geojson").write_text(collection([feature()], crs=member))
    raw = read_file(tmp_path / "a.geojson")
    assert raw.crs is None
    assert "'crs' member" in raw.trouble


def test_without_a_member_geojson_is_degrees_as_its_standard_says(tmp_path: Path) -> None:
    for text in (collection([feature()]), collection([feature()], crs=None)):
        (tmp_path / "a.geojson").write_text(text)
        raw = read_file(tmp_path / "a.geojson")
        assert raw.crs is not None
        assert not raw.stated
        assert "RFC 7946" in raw.crs_basis


def test_a_ring_of_two_points_does_not_hide_the_other_rows(tmp_path: Path) -> None:
    ring = {
        "type": "Feature",
        "properties": {"a": 1},
        "geometry": {"type": "Polygon", "coordinates": [[[0, 0], [1, 1]]]},
    }
    (tmp_path / "a.geojson").write_text(collection([ring, feature(a=2)]))
    raw = read_file(tmp_path / "a.geojson")
    assert raw.frame["geometry"].isna().tolist() == [True, False]
    assert any(words.startswith("1 outline of the file cannot be read") for words in raw.warnings)


def test_lists_dates_and_names_of_geojson_become_what_a_site_can_hold(tmp_path: Path) -> None:
    rows = [feature(a=[1, 2], b={"c": 1}, fid=3, geometry="x", on="2020-01-02"), feature(on="2020-02-03")]
    (tmp_path / "a.geojson").write_text(collection(rows))
    frame = read_file(tmp_path / "a.geojson").frame
    assert list(frame.columns) == ["a", "b", "fid_", "on", "geometry_", "geometry"]
    assert frame["geometry_"].tolist()[0] == "x"
    assert frame["a"].tolist()[0] == "[1, 2]"
    assert frame["b"].tolist()[0] == "{'c': 1}"
    assert frame["on"].tolist() == ["2020-01-02", "2020-02-03"]


@pytest.mark.parametrize("ids", [[7, 8], ["a7", "a8"], ["a7", None]])
def test_names_that_geojson_gives_its_features_are_kept(tmp_path: Path, ids: list[Any]) -> None:
    (tmp_path / "a.geojson").write_text(collection([{"id": one, **feature(a=1)} for one in ids]))
    made = read_file(tmp_path / "a.geojson").frame
    assert made["id"].fillna("").tolist() == [str(one or "") for one in ids]


@pytest.mark.parametrize(
    "text",
    ["", "[]", "{}", "null", '{"type": "Topology"}', '{"type": "FeatureCollection", "features": [1]}', "{", "\xff"],
)
def test_json_that_is_no_feature_collection_is_refused(tmp_path: Path, text: str) -> None:
    (tmp_path / "a.geojson").write_text(text, encoding="latin-1")
    with pytest.raises(LayerError, match=r"GeoJSON|features|UTF-8"):
        read_file(tmp_path / "a.geojson")


@given(st.binary(max_size=200), st.sampled_from([".gpkg", ".geojson", ".shp", ".zip"]))
def test_any_bytes_end_in_a_clear_error(tmp_path_factory: pytest.TempPathFactory, data: bytes, kind: str) -> None:
    path = tmp_path_factory.mktemp("v") / f"a{kind}"
    path.write_bytes(data)
    with pytest.raises(LayerError):
        read_file(path)


def test_options_that_do_not_fit_the_kind_are_refused(tmp_path: Path) -> None:
    pyogrio.write_dataframe(ten(), tmp_path / "a.gpkg")
    with pytest.raises(LayerError, match="always UTF-8"):
        read_file(tmp_path / "a.gpkg", encoding="cp1252")
    (tmp_path / "a.geojson").write_text(collection([feature()]))
    with pytest.raises(LayerError, match="one layer only"):
        read_file(tmp_path / "a.geojson", layer="x")


def test_a_table_in_another_alphabet_is_read_with_its_encoding(tmp_path: Path) -> None:
    frame = ten(2).assign(material="мрамор")
    pyogrio.write_dataframe(frame, tmp_path / "a.shp", encoding="cp1251")
    for part in (".cpg",):
        (tmp_path / f"a{part}").unlink(missing_ok=True)
    table = bytearray((tmp_path / "a.dbf").read_bytes())
    table[29] = 0  # no language driver, as many programs write it
    (tmp_path / "a.dbf").write_bytes(bytes(table))
    assert "--encoding" in read_file(tmp_path / "a.shp").warnings[0]
    assert read_file(tmp_path / "a.shp", encoding="cp1251").frame["material"].tolist() == ["мрамор"] * 2


@pytest.mark.parametrize("name", ["a.gpkg", "a.shp"])
def test_a_column_called_geometry_is_not_lost(tmp_path: Path, name: str) -> None:
    frame = ten(2).rename_geometry("place").assign(geometry=["p", "q"])
    pyogrio.write_dataframe(frame, tmp_path / name)
    made = read_file(tmp_path / name).frame
    assert made["geometry_"].tolist() == ["p", "q"]
    assert shapely.get_type_id(made["geometry"].array).tolist() == [3, 3]


def test_fewer_rows_than_the_file_says_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    pyogrio.write_dataframe(ten(), tmp_path / "a.gpkg")
    monkeypatch.setattr(pyogrio, "read_dataframe", lambda *_, **__: ten(9))
    with pytest.raises(LayerError, match="9 rows were read, the file says it holds 10"):
        read_file(tmp_path / "a.gpkg")
