"""Every kind of file comes in whole, by its name or its first bytes, or is refused in words."""

from __future__ import annotations

import struct
import subprocess
import sys
import zipfile
from pathlib import PurePosixPath
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import openpyxl
import pyogrio
import pytest
import shapely
from ezdxf.enums import InsertUnits
from ezdxf.filemanagement import new as new_drawing

from gravegis.errors import GravegisError, LayerError
from gravegis.layers.bring import bring_in
from gravegis.layers.read import KINDS, read_file
from gravegis.layers.read.kinds import TABLE, by_content, by_ending
from gravegis.site import Site, SiteInfo
from tests.layers import every_kind

if TYPE_CHECKING:
    from pathlib import Path

# What a file of each kind gives when read: layer to name, rows.
GIVES = {
    "a.csv": (None, 8), "comma.csv": (None, 8), "a.gpkg": (None, 8), "a.fgb": (None, 8), "a.shp": (None, 8),
    "a.parquet": (None, 8), "a.geojson": (None, 5), "a.kml": (None, 2), "a.kmz": (None, 2), "a.gpx": (None, 2),
    "a.osm": (None, 1), "a.osm.pbf": (None, 1), "a.dxf": ("STONE", 4), "a.xlsx": (None, 8), "a.jpg": (None, 1),
    "a.zip": (None, 8), "empty.gpkg": (None, 3), "tapes.csv": (None, 1), "water.csv": (None, 2),
}  # fmt: skip


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    return every_kind.make_all(tmp_path_factory.mktemp("sound"))


def new() -> Site:
    return Site(SiteInfo("Test ground", ""))


@pytest.mark.parametrize("name", GIVES)
def test_each_kind_gives_its_rows(sound: dict[str, Path], name: str) -> None:
    layer, rows = GIVES[name]
    assert len(read_file(sound[name], layer=layer).frame) == rows


def test_every_kind_of_the_table_is_tried_here() -> None:
    tried = {by_ending(PurePosixPath(name)) for name in (*GIVES, "a.tif")}
    assert set(TABLE) == tried
    assert len(KINDS) == len(set(KINDS))


@pytest.mark.parametrize("name", [name for name in GIVES if not name.endswith("csv")])
def test_a_file_without_its_ending_is_known_by_its_first_bytes(
    sound: dict[str, Path], tmp_path: Path, name: str
) -> None:
    layer, rows = GIVES[name]
    if name == "a.shp":
        pytest.skip("a Shapefile is several files of one name")
    path = tmp_path / "upload.bin"
    path.write_bytes(sound[name].read_bytes())
    raw = read_file(path, layer=layer)
    assert len(raw.frame) == rows
    assert "its first bytes say" in raw.notes[0]


@pytest.mark.parametrize(("name", "ending"), [("a.xlsx", ".csv"), ("a.kml", ".geojson"), ("a.jpg", ".gpkg")])
def test_a_wrong_ending_is_said(sound: dict[str, Path], tmp_path: Path, name: str, ending: str) -> None:
    path = tmp_path / f"a{ending}"
    path.write_bytes(sound[name].read_bytes())
    with pytest.raises(LayerError, match=rf"called {ending} but holds(.|\n)*Rename it"):
        read_file(path)


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "old kind"),
        (b"AC1032 drawing", "DWG"),
        (b"%PDF-1.7", "PDF"),
        (b"\x00\x00\x00\x18ftypheic", "HEIC"),
        (b"\x1f\x8b\x08", "gzip"),
    ],
)
def test_kinds_often_sent_and_not_read_are_named_with_what_to_ask_for(tmp_path: Path, data: bytes, words: str) -> None:
    for ending in (".csv", ".bin", ".xlsx"):
        (tmp_path / f"a{ending}").write_bytes(data)
        with pytest.raises(LayerError, match=words):
            read_file(tmp_path / f"a{ending}")


@pytest.mark.parametrize("kept", [0.1, 0.5, 0.9, 0.99])
@pytest.mark.parametrize(
    "name", ["a.fgb", "a.parquet", "a.kml", "a.kmz", "a.gpx", "a.osm", "a.osm.pbf", "a.dxf", "a.xlsx", "a.jpg", "a.zip"]
)
def test_a_cut_file_is_refused_never_half_read(sound: dict[str, Path], tmp_path: Path, name: str, kept: float) -> None:
    data = sound[name].read_bytes()
    path = tmp_path / name
    path.write_bytes(data[: int(len(data) * kept)])
    with pytest.raises(LayerError):
        read_file(path, layer=GIVES[name][0])


@pytest.mark.cited("../shared/checks/overlay_and_clusters.md, section 4.3: libraries read these without an error")
def test_a_large_flatgeobuf_cut_in_half_is_refused(tmp_path: Path) -> None:
    frame = gpd.GeoDataFrame({"n": range(5000)}, geometry=gpd.points_from_xy(range(5000), range(5000)), crs="EPSG:7854")
    pyogrio.write_dataframe(frame, tmp_path / "a.fgb", driver="FlatGeobuf")
    assert len(read_file(tmp_path / "a.fgb").frame) == 5000
    data = (tmp_path / "a.fgb").read_bytes()
    (tmp_path / "a.fgb").write_bytes(data[: len(data) // 2])
    with pytest.raises(LayerError):
        read_file(tmp_path / "a.fgb")


@pytest.mark.cited("../shared/checks/overlay_and_clusters.md, section 4.3: libraries read these without an error")
def test_a_cut_shapefile_whose_head_was_mended_is_refused_by_its_index(tmp_path: Path) -> None:
    shapes = [shapely.box(i, 0, i + 0.5, 1) for i in range(300)]
    pyogrio.write_dataframe(gpd.GeoDataFrame({"n": range(300)}, geometry=shapes, crs="EPSG:7854"), tmp_path / "a.shp")
    data = (tmp_path / "a.shp").read_bytes()
    half = len(data) // 2 // 2 * 2
    (tmp_path / "a.shp").write_bytes(data[:24] + struct.pack(">i", half // 2) + data[28:half])
    with pytest.raises(LayerError, match="do not belong together"):
        read_file(tmp_path / "a.shp")


def test_kml_and_gpx_agree_with_the_general_library(sound: dict[str, Path]) -> None:
    for name, layer in (("a.kml", "stones"), ("a.gpx", "waypoints")):
        ours = read_file(sound[name]).frame
        theirs = pyogrio.read_dataframe(sound[name], layer=layer)
        assert shapely.equals_exact(
            shapely.force_2d(ours["geometry"].array), shapely.force_2d(theirs["geometry"].array), 1e-9
        ).all()


def test_folders_in_folders_shapes_of_all_kinds_and_links_elsewhere(tmp_path: Path) -> None:
    ring = "<LinearRing><coordinates>0,0 1,0 1,1 0,0</coordinates></LinearRing>"
    text = f"""<kml><Document><Folder><name>A</name><Folder><name>B</name>
    <Placemark><name>p</name><Polygon><outerBoundaryIs>{ring}</outerBoundaryIs></Polygon></Placemark>
    <Placemark><name>l</name><LineString><coordinates>0,0,5 1,1,5</coordinates></LineString></Placemark>
    <Placemark><name>m</name><MultiGeometry><Point><coordinates>0,0</coordinates></Point>
    <Point><coordinates>1,1</coordinates></Point></MultiGeometry></Placemark>
    <Placemark><name>bad</name><Point><coordinates>north of the gate</coordinates></Point></Placemark>
    </Folder></Folder><NetworkLink><Link><href>http://127.0.0.1:9/x.kml</href></Link></NetworkLink></Document></kml>"""
    (tmp_path / "a.kml").write_text(text)
    raw = read_file(tmp_path / "a.kml", layer="A/B")
    kinds = [None if one is None else one.geom_type for one in raw.frame["geometry"]]
    assert kinds == ["Polygon", "LineString", "MultiPoint", None]
    assert any("1 link to KML elsewhere not followed" in words for words in raw.warnings)
    assert any("bad" in words for words in raw.warnings)


def test_a_plat_is_made_of_closed_and_open_lines_alike(sound: dict[str, Path]) -> None:
    raw = read_file(sound["a.dxf"], layer="PLOT")
    assert raw.frame["label"].tolist() == ["A-0", "A-1", "A-2", "A-3"]
    assert raw.frame.geometry.area.to_numpy() == pytest.approx([1.2 * 2.4] * 4)
    stones = read_file(sound["a.dxf"], layer="STONE").frame
    assert stones["ID"].tolist() == ["S0", "S1", "S2", "S3"]


def test_plots_drawn_as_one_grid_of_lines_share_their_edges_and_loose_lines_are_told(tmp_path: Path) -> None:
    document = new_drawing("R2010")
    space = document.modelspace()
    for x in range(4):
        space.add_line((x, 0), (x, 2))
    for y in range(3):
        space.add_line((0, y), (3, y))
    space.add_line((9, 9), (10, 9))
    space.add_circle((20, 20), 1.0)
    space.add_text("7").set_placement((0.5, 0.5))
    space.add_text("old").set_placement((50, 50))
    document.saveas(tmp_path / "a.dxf")
    raw = read_file(tmp_path / "a.dxf")
    areas = sorted(raw.frame.geometry.area)
    assert areas[:6] == pytest.approx([1.0] * 6)
    assert areas[6] == pytest.approx(np.pi, rel=2e-3)
    assert raw.frame["label"].dropna().tolist() == ["7"]
    assert any("1 line close no outline" in words for words in raw.warnings)
    assert any("1 text in no outline left out: old" in words for words in raw.notes)


@pytest.mark.parametrize(
    ("unit", "crs", "options", "match"),
    [
        (InsertUnits.Meters, "EPSG:7854", {}, ""),
        (InsertUnits.Feet, "EPSG:2992", {}, ""),
        (InsertUnits.Feet, "EPSG:7854", {}, "its unit is 0.3048 m"),
        (InsertUnits.Unitless, "EPSG:7854", {}, "does not say in which unit"),
        (InsertUnits.Unitless, "EPSG:7854", {"unit": "m"}, ""),
        (InsertUnits.Feet, "EPSG:7854", {"unit": "m"}, ""),
    ],
)
def test_the_unit_of_a_drawing_is_held_against_the_grid(
    tmp_path: Path, unit: InsertUnits, crs: str, options: dict[str, Any], match: str
) -> None:
    origin = (1312335.958, 1000000.0) if crs == "EPSG:2992" else (every_kind.EAST, every_kind.NORTH)
    every_kind.plat(tmp_path / "a.dxf", unit, origin=origin)
    how: Any = {"crs": crs, "file_layer": "PLOT", **options}
    if crs == "EPSG:2992":  # a grid in international feet, elsewhere
        site = bring_in(new(), "plots", tmp_path / "a.dxf", **how).site
        assert site["plots"].geometry.area.iloc[0] == pytest.approx(1.2 * 2.4 * 0.3048**2, rel=1e-3)
    elif match:
        with pytest.raises(GravegisError, match=match):
            bring_in(new(), "plots", tmp_path / "a.dxf", **how)
    else:
        plots = bring_in(new(), "plots", tmp_path / "a.dxf", **how).site["plots"]
        assert plots.geometry.area.iloc[0] == pytest.approx(1.2 * 2.4, rel=1e-3)


def test_a_drawing_in_millimetres_comes_in_metres_once_it_is_said(tmp_path: Path) -> None:
    document = new_drawing("R2010")
    corners = [(x * 1000, y * 1000) for x, y in ((372000, 6250000), (372002, 6250000), (372002, 6250001))]
    document.modelspace().add_lwpolyline(corners, close=True)
    document.saveas(tmp_path / "a.dxf")
    brought = bring_in(new(), "plots", tmp_path / "a.dxf", crs="EPSG:7854", unit="mm")
    assert brought.site["plots"].geometry.area.tolist() == pytest.approx([1.0])
    assert any("counted in mm, as typed" in words for words in brought.assumed)


def test_sheets_and_tables_side_by_side_are_layers(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.title = "cans"
    for row in (["Test of a line"], ["can", "depth", None, "can", "depth", None], [1, 2.5, None, 1, 3.5],
                [2, 2.0, None, 2, 3.0], [3, 1.0]):  # fmt: skip
        sheet.append(row)
    book.create_sheet("notes").append(["nobody"])
    book.save(tmp_path / "a.xlsx")
    with pytest.raises(LayerError, match=r"cans table 1, cans table 2"):
        read_file(tmp_path / "a.xlsx")
    one, two = (read_file(tmp_path / "a.xlsx", layer=f"cans table {n}").frame for n in (1, 2))
    assert one["depth"].tolist() == ["2.5", "2", "1"]
    assert two["depth"].tolist() == ["3.5", "3"]


def test_a_formula_without_a_stored_result_is_told(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    for row in (["zone_id", "run_min"], ["Z1", "=2+3"], ["Z2", 7]):
        sheet.append(row)
    book.save(tmp_path / "a.xlsx")
    raw = read_file(tmp_path / "a.xlsx")
    assert raw.frame["run_min"].isna().tolist() == [True, False]
    assert any("1 formula of the sheet without a stored result" in words for words in raw.warnings)


@pytest.mark.parametrize("epoch_1904", [False, True])
def test_both_day_counts_of_workbooks_give_the_same_days(tmp_path: Path, *, epoch_1904: bool) -> None:
    every_kind.workbook(tmp_path / "a.xlsx", epoch_1904=epoch_1904)
    raw = read_file(tmp_path / "a.xlsx")
    assert raw.epoch == ("1904" if epoch_1904 else "1900")
    assert raw.frame["surveyed_on"].tolist()[:2] == ["2024-05-01", "2024-05-02"]


def test_a_folder_of_photos_gives_positions_bearings_and_times(tmp_path: Path) -> None:
    folder = tmp_path / "photos"
    (folder / "more").mkdir(parents=True)
    every_kind.photo(folder / "S1.jpg")
    every_kind.photo(folder / "more" / "S1.jpg", place=None, zone="")
    every_kind.photo(folder / "S2.JPG", north="M")
    with pytest.raises(LayerError, match="1 bearing counted from magnetic north"):
        bring_in(new(), "photos", folder)
    brought = bring_in(new(), "photos", folder, bearings="magnetic", declination_deg=8.0)
    photos = brought.site["photos"].set_index("photo_id")
    assert photos.index.tolist() == ["S2", "more/S1", "photos/S1"]
    assert photos.loc["photos/S1", "bearing_deg"] == 95.5
    assert photos.loc["S2", "bearing_deg"] == 103.5
    assert photos.loc["S2", "bearing_north"] == "true"
    assert photos.loc["S2", "taken_at"] == "2024-05-05T21:38:09Z"
    assert photos.loc["S2", "position_error_m"] == 4.0
    assert photos.loc["more/S1", "taken_local"] == "2024-05-06T07:08:09"
    away = gpd.GeoSeries([shapely.Point(every_kind.LON, every_kind.LAT)], crs="EPSG:4326").to_crs(brought.site.info.crs)
    assert photos.geometry["S2"].distance(away.iloc[0]) < 0.01
    assert photos.geometry["more/S1"] is None
    assert any("1 photo without a position: more/S1" in words for words in brought.warnings)


def test_a_raster_is_a_backdrop_and_no_layer_of_rows(sound: dict[str, Path]) -> None:
    with pytest.raises(LayerError, match=r"picture of the ground \(4 x 3 pixels(.|\n)*pixels of 0\.5"):
        bring_in(Site(SiteInfo("Test ground", "")), "stones", sound["a.tif"])
    drawn = bring_in(Site(SiteInfo("Test ground", "")), "backdrops", sound["a.tif"]).site["backdrops"]
    assert drawn["pixel_m"].tolist() == [0.5]
    assert drawn.geometry.area.tolist() == pytest.approx([4 * 3 * 0.25])


def test_tags_of_a_map_extract_are_columns_in_both_forms(sound: dict[str, Path]) -> None:
    for name in ("a.osm", "a.osm.pbf"):
        frame = read_file(sound[name], layer="lines").frame
        assert frame["highway"].tolist() == ["footway"]
        assert shapely.get_num_points(frame["geometry"].array).tolist() == [2]
    assert read_file(sound["a.osm"]).frame["surface"].tolist() == ["gravel"]


def test_a_zip_holds_any_kind_and_a_layer_of_it_can_be_named(sound: dict[str, Path], tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "a.zip", "w") as archive:
        for name in ("a.dxf", "a.gpx"):
            archive.write(sound[name], f"x/{name}")
        archive.writestr("x/readme.txt", "from the office")
    with pytest.raises(LayerError, match=r"holds 2 files that can be read \(a\.dxf, a\.gpx\)"):
        read_file(tmp_path / "a.zip")
    assert len(read_file(tmp_path / "a.zip", layer="a.gpx").frame) == 2
    with zipfile.ZipFile(tmp_path / "b.zip", "w") as archive:
        archive.write(sound["a.dxf"], "plat.dxf")
    assert len(read_file(tmp_path / "b.zip", layer="STONE").frame) == 4


def test_parquet_without_its_library_is_told(sound: dict[str, Path]) -> None:
    code = (
        "import sys; sys.modules['pyarrow'] = None\n"
        "from pathlib import Path\nfrom gravegis.errors import LayerError\nfrom gravegis.layers.read import read_file\n"
        f"try: read_file(Path({str(sound['a.parquet'])!r}))\nexcept LayerError as error: print(error)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert ".[parquet]" in done.stdout


def test_a_table_needs_none_of_the_libraries_of_other_kinds() -> None:
    code = (
        "import sys, gravegis.layers.read\nfrom pathlib import Path\n"
        "print([n for n in ('ezdxf', 'openpyxl', 'PIL', 'fiona', 'rasterio') if n in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_content_of_text_is_no_kind(sound: dict[str, Path]) -> None:
    assert by_content(sound["a.csv"]) is None
