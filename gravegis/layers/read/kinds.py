"""The kinds of file that are read: endings, what their first bytes look like, and where their reader stands.

A new kind is one module and one row of the table.
"""

from __future__ import annotations

import importlib
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

from gravegis.errors import LayerError

if TYPE_CHECKING:
    from pathlib import Path, PurePath

    from gravegis.layers.read.raw import Raw

__all__ = ["NOT_READ", "TABLE", "Kind", "Reader", "by_content", "by_ending", "check_content", "not_read", "reader_of"]

_HEAD = 4096


class Reader(Protocol):
    """What a module of a kind gives."""

    def __call__(self, path: Path, *, layer: str | None = None, encoding: str | None = None) -> Raw:
        """Read one layer of a file, whole or not at all."""


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind: its name in words, endings, pattern of its first bytes (empty: any), module and function."""

    name: str
    endings: tuple[str, ...]
    sign: bytes
    module: str
    function: str


_XML = rb"(?s)\A(?:\xef\xbb\xbf)?\s*(?:<\?xml.*?\?>\s*)?(?:<!--.*?-->\s*)*(?:<!DOCTYPE[^<]*(?:<![^<]*)*)?<"

TABLE: tuple[Kind, ...] = (
    Kind("a table of text", (".csv", ".tsv", ".txt"), b"", "table", "read_table"),
    Kind("a GeoPackage", (".gpkg",), rb"\ASQLite format 3\x00", "vector", "read_geopackage"),
    Kind("GeoJSON", (".geojson", ".json"), rb"(?s)\A(?:\xef\xbb\xbf)?\s*\{\s*\"", "vector", "read_geojson"),
    Kind("a Shapefile", (".shp",), rb"\A\x00\x00\x27\x0a", "vector", "read_shapefile"),
    Kind("FlatGeobuf", (".fgb",), rb"\Afgb[\x01-\x0f]fgb", "flatgeobuf", "read_flatgeobuf"),
    Kind("GeoParquet", (".parquet", ".geoparquet"), rb"\APAR1", "parquet", "read_parquet"),
    Kind(
        "a spreadsheet",
        (".xlsx", ".xlsm"),
        rb"(?s)\APK\x03\x04.*(?:xl/|docProps/|\[Content_Types\])",
        "sheet",
        "read_sheet",
    ),
    Kind("KMZ", (".kmz",), rb"(?s)\APK\x03\x04.*\.kml", "kml", "read_kmz"),
    Kind("a zip file", (".zip",), rb"\APK\x03\x04", "archive", "read_zip"),
    Kind("KML", (".kml",), _XML + rb"(?:\w+:)?kml\b", "kml", "read_kml"),
    Kind("GPX", (".gpx",), _XML + rb"(?:\w+:)?gpx\b", "gpx", "read_gpx"),
    Kind("OSM XML", (".osm",), _XML + rb"osm\b", "osm", "read_osm"),
    Kind("OSM PBF", (".pbf",), rb"(?s)\A\x00\x00..\x0a\x09OSMHeader", "osm", "read_pbf"),
    Kind("DXF", (".dxf",), rb"\A(?:\s*999\r?\n[^\n]*\n)*\s*0\r?\n\s*SECTION", "drawing", "read_drawing"),
    Kind("a photo", (".jpg", ".jpeg"), rb"\A\xff\xd8\xff", "photo", "read_photos"),
    Kind("a raster", (".tif", ".tiff"), rb"\A(?:II[\x2a\x2b]\x00|MM\x00[\x2a\x2b])", "backdrop", "read_backdrop"),
)
"""Every kind, the more particular before the more general where their first bytes are alike."""

# What cannot be read but is often sent: pattern, name, what to do.
NOT_READ: tuple[tuple[bytes, str, str], ...] = (
    (rb"\A\xd0\xcf\x11\xe0", "a spreadsheet of the old kind (.xls)", "Open it and save it as .xlsx or CSV."),
    (rb"\AAC10\d\d", "a drawing in DWG", "Ask for it as DXF."),
    (rb"\A%PDF", "a PDF", "Ask for the data it was printed from: DXF, Shapefile or a table."),
    (rb"(?s)\A....ftyp(?:hei|mif|avi)", "a photo in HEIC", "Export it as JPEG with its position."),
    (rb"\A\x1f\x8b", "packed with gzip", "Unpack it first."),
    (rb"\ARar!|\A7z\xbc\xaf", "an archive of a kind not read", "Unpack it first."),
)


def by_ending(path: PurePath) -> Kind | None:
    """Return the kind that the name of a file tells."""
    ending = path.suffix.lower()
    return next((kind for kind in TABLE if ending in kind.endings), None)


def by_content(path: Path) -> Kind | None:
    """Return the kind that the first bytes of a file tell; text tables have none."""
    head = _head(path)
    return next((kind for kind in TABLE if kind.sign and re.search(kind.sign, head)), None)


def _head(path: Path) -> bytes:
    with path.open("rb") as stream:
        return stream.read(_HEAD)


def not_read(path: Path) -> str:
    """Return in words what a file is that is not read; empty where nobody knows or it is read."""
    head = _head(path)
    return next((name for sign, name, _ in NOT_READ if re.search(sign, head)), "")


def check_content(path: Path, kind: Kind) -> None:
    """Raise LayerError where a file is of a kind that is not read, or of another kind than its name says."""
    head = _head(path)
    for sign, name, remedy in NOT_READ:
        if re.search(sign, head):
            raise LayerError(f"this is {name}, which is not read", where=path.name, remedy=remedy)
    inside = by_content(path)
    if inside is None or (kind.sign and re.search(kind.sign, head)):
        return
    raise LayerError(
        f"the file is called {path.suffix.lower()} but holds {inside.name}", where=path.name,
        remedy=f"Rename it to {inside.endings[0]} if that is right.",
    )  # fmt: skip


def reader_of(kind: Kind) -> Reader:
    """Return the reader of a kind; its module and the libraries it needs are loaded now, not before."""
    module = importlib.import_module(f"gravegis.layers.read.{kind.module}")
    reader: Reader = getattr(module, kind.function)
    return reader
