"""One small sound file of every kind that is read, made afresh: for tests of kinds and for the fuzz run."""

from __future__ import annotations

import io
import struct
import warnings
import zipfile
import zlib
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import openpyxl
import pyogrio
import rasterio
import shapely
from ezdxf.enums import InsertUnits
from ezdxf.filemanagement import new
from PIL import Image

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

CRS = "EPSG:7854"
EAST, NORTH = 372000.0, 6250000.0
LON, LAT = 139.6143, -33.8793  # about the same place

CSV = "stone_id,lat,lon,height_m,year,surveyed_on,material\n" + "".join(
    f"S{n},{LAT + n * 1e-5:.6f},{LON:.6f},{1 + n / 10:.2f},18{70 + n},2024-05-{n + 1:02d},granite\n" for n in range(8)
)
TAPES = "head_id,kind,from_1,distance_1_m,from_2,distance_2_m,side\nT1,rotor,K1,3,K2,4,left\n"
WATER = "sample_id,source_id,ph,iron_mg_l,sampled_on\n1,B,7.1,<0.05,2024-05-06\n2,B,6.9,0.31,2024-05-07\n"
GEOJSON = (
    '{"type": "FeatureCollection", "features": ['
    + ",".join(
        f'{{"type": "Feature", "properties": {{"plot_id": "P{n}", "section": "A"}}, "geometry": {{"type": "Polygon", '
        f'"coordinates": [[[{LON + n * 1e-5}, {LAT}], [{LON + n * 1e-5 + 5e-6}, {LAT}], '
        f"[{LON + n * 1e-5}, {LAT + 1e-5}], [{LON + n * 1e-5}, {LAT}]]]}}}}"
        for n in range(5)
    )
    + "]}"
)
KML = f"""<?xml version="1.0" encoding="UTF-8"?>
<kml xmlns="http://www.opengis.net/kml/2.2"><Document><name>ground</name>
<Folder><name>stones</name>
<Placemark><name>S1</name><description><![CDATA[<table><tr><td>material</td><td>slate</td></tr></table>]]></description>
<Point><altitudeMode>absolute</altitudeMode><coordinates>{LON},{LAT},31.5</coordinates></Point></Placemark>
<Placemark><name>S2</name><ExtendedData><Data name="material"><value>marble</value></Data></ExtendedData>
<Point><coordinates>{LON + 1e-5},{LAT}</coordinates></Point></Placemark></Folder></Document></kml>
"""
GPX = f"""<?xml version="1.0"?>
<gpx version="1.1" creator="test" xmlns="http://www.topografix.com/GPX/1/1">
<wpt lat="{LAT}" lon="{LON}"><ele>31.5</ele><time>2024-05-06T01:02:03Z</time><name>S1</name><sym>flag</sym></wpt>
<wpt lat="{LAT + 1e-5}" lon="{LON}"><name>S2</name></wpt></gpx>
"""
OSM = f"""<?xml version="1.0"?>
<osm version="0.6">
<node id="1" lat="{LAT}" lon="{LON}"/><node id="2" lat="{LAT}" lon="{LON + 1e-4}"/>
<way id="10"><nd ref="1"/><nd ref="2"/><tag k="highway" v="footway"/><tag k="surface" v="gravel"/></way></osm>
"""


def points(n: int = 8) -> gpd.GeoDataFrame:
    places = [shapely.Point(EAST + i * 1.3, NORTH) for i in range(n)]
    return gpd.GeoDataFrame({"stone_id": [f"{i:03d}" for i in range(n)], "height_m": 1.5}, geometry=places, crs=CRS)


def plots_with_gaps() -> gpd.GeoDataFrame:
    """Outlines of which one is empty and one is missing, as programs write them."""
    shapes: list[Any] = [shapely.box(EAST, NORTH, EAST + 1, NORTH + 2), shapely.Polygon(), None]
    return gpd.GeoDataFrame({"plot_id": ["A", "B", "C"]}, geometry=shapes, crs=CRS)


def plat(path: Path, unit: InsertUnits = InsertUnits.Meters, *, origin: tuple[float, float] = (EAST, NORTH)) -> None:
    east, north = origin
    document = new("R2010")
    document.units = unit
    space = document.modelspace()
    block = document.blocks.new("STONE")
    block.add_line((0, 0), (0.4, 0))
    block.add_attdef("ID", (0, 0))
    for n in range(4):
        x = east + n * 2.0
        corners = [(x, north), (x + 1.2, north), (x + 1.2, north + 2.4), (x, north + 2.4)]
        if n % 2:
            space.add_lwpolyline(corners, close=True, dxfattribs={"layer": "PLOT"})
        else:
            for one, two in zip(corners, [*corners[1:], corners[0]], strict=True):
                space.add_line(one, two, dxfattribs={"layer": "PLOT"})
        space.add_text(f"A-{n}", dxfattribs={"layer": "LABEL"}).set_placement((x + 0.6, north + 1.2))
        insert = space.add_blockref("STONE", (x + 0.6, north + 2.4), dxfattribs={"layer": "STONE"})
        insert.add_attrib("ID", f"S{n}", (x, north))
    document.saveas(path)


def workbook(path: Path, *, epoch_1904: bool = False) -> None:
    book = openpyxl.Workbook()
    if epoch_1904:
        from openpyxl.utils.datetime import CALENDAR_MAC_1904

        book.epoch = CALENDAR_MAC_1904
    sheet: Any = book.active
    sheet.title = "stones"
    for row in CSV.splitlines():
        sheet.append([float(one) if one.replace(".", "").replace("-", "").isdigit() and "." in one else one
                      for one in row.split(",")])  # fmt: skip
    book.save(path)


def photo(
    path: Path, *, place: tuple[float, float] | None = (LON, LAT), north: str = "T", zone: str = "+09:30"
) -> None:
    picture = Image.effect_noise((64, 48), 40).convert("RGB")
    exif = Image.Exif()
    exif.get_ifd(0x8769).update({0x9003: "2024:05:06 07:08:09", **({0x9011: zone} if zone else {})})
    if place is not None:
        lon, lat = place
        exif.get_ifd(0x8825).update(
            {1: "S" if lat < 0 else "N", 2: _sexagesimal(lat), 3: "W" if lon < 0 else "E", 4: _sexagesimal(lon),
             16: north, 17: 95.5, 31: 4.0}
        )  # fmt: skip
    picture.save(path, exif=exif)


def _sexagesimal(degrees: float) -> tuple[float, float, float]:
    whole, rest = divmod(abs(degrees), 1)
    minutes, rest = divmod(rest * 60, 1)
    return whole, minutes, rest * 60


def raster(path: Path) -> None:
    with rasterio.open(
        path, "w", driver="GTiff", width=4, height=3, count=1, dtype="uint8", crs=CRS,
        transform=rasterio.transform.from_origin(EAST, NORTH, 0.5, 0.5),
    ) as made:  # fmt: skip
        made.write(np.zeros((1, 3, 4), dtype="uint8"))


def pbf(path: Path, *, cut_ways: int = 0) -> None:
    """A map extract with two nodes and a way, written after the open format (plain nodes, packed with zlib).

    `cut_ways` further ways, 11 and on, have one point in the extract and one beyond it.
    """

    def number(value: int) -> bytes:
        made = b""
        while value > 0x7F:
            made, value = made + bytes([value & 0x7F | 0x80]), value >> 7
        return made + bytes([value])

    def piece(field: int, data: bytes) -> bytes:
        return number(field << 3 | 2) + number(len(data)) + data

    def zigzag(value: int) -> bytes:
        return number((value << 1) ^ (value >> 63))

    def blob(kind: bytes, data: bytes) -> bytes:
        packed = zlib.compress(data)
        body = number(2 << 3) + number(len(data)) + piece(3, packed)
        head = piece(1, kind) + number(3 << 3) + number(len(body))
        return struct.pack(">I", len(head)) + head + body

    def node(name: int, lon: float, lat: float) -> bytes:
        lat_n, lon_n = (zigzag(round(one * 1e7)) for one in (lat, lon))
        return piece(1, number(1 << 3) + zigzag(name) + number(8 << 3) + lat_n + number(9 << 3) + lon_n)

    words = piece(1, b"") + piece(1, b"highway") + piece(1, b"footway")
    way = piece(3, number(1 << 3) + number(10) + piece(2, number(1)) + piece(3, number(2))
                + piece(8, zigzag(1) + zigzag(1)))  # fmt: skip
    for name in range(11, 11 + cut_ways):
        way += piece(3, number(1 << 3) + number(name) + piece(2, number(1)) + piece(3, number(2))
                     + piece(8, zigzag(1) + zigzag(98)))  # fmt: skip
    groups = piece(2, node(1, LON, LAT) + node(2, LON + 1e-4, LAT)) + piece(2, way)
    head = piece(4, b"OsmSchema-V0.6")
    path.write_bytes(blob(b"OSMHeader", head) + blob(b"OSMData", piece(1, words) + groups))


def zipped(path: Path, *files: Path) -> None:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for file in files:
            archive.write(file, f"from office/{file.name}")


def kmz(path: Path) -> None:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("doc.kml", KML)


def make_all(folder: Path) -> dict[str, Path]:
    """Write a file of every kind into a folder and return them by name."""
    folder.mkdir(parents=True, exist_ok=True)
    texts = {"a.csv": CSV, "tapes.csv": TAPES, "water.csv": WATER, "a.geojson": GEOJSON, "a.kml": KML, "a.gpx": GPX,
             "a.osm": OSM, "comma.csv": CSV.replace(",", ";").replace(".", ",")}  # fmt: skip
    for name, text in texts.items():
        (folder / name).write_text(text, encoding="utf-8")
    makers: dict[str, Callable[[Path], object]] = {
        "a.gpkg": lambda path: pyogrio.write_dataframe(points(), path, layer="stones"),
        "empty.gpkg": lambda path: pyogrio.write_dataframe(plots_with_gaps(), path, layer="plots"),
        "a.fgb": lambda path: pyogrio.write_dataframe(points(), path, driver="FlatGeobuf"),
        "a.shp": lambda path: pyogrio.write_dataframe(points(), path),
        "a.parquet": lambda path: points().to_parquet(path),
        "a.dxf": plat, "a.xlsx": workbook, "a.jpg": photo, "a.tif": raster, "a.osm.pbf": pbf, "a.kmz": kmz,
    }  # fmt: skip
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for name, maker in makers.items():
            maker(folder / name)
    zipped(folder / "a.zip", *folder.glob("a.[sdpc][hbrp][pfjxg]"))
    return {path.name: path for path in sorted(folder.iterdir())}


def bytes_of(book: openpyxl.Workbook) -> bytes:
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()
