"""KML and KMZ: folders as layers; links to other places are counted and never followed."""

from __future__ import annotations

from dataclasses import dataclass, field
from html.parser import HTMLParser
from io import BytesIO
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import pandas as pd
import shapely

from gravegis.errors import LayerError
from gravegis.layers.crs import understood
from gravegis.layers.read import archive
from gravegis.layers.read.raw import Raw, many, shown, tidy_names
from gravegis.layers.read.rows import no_encoding, one_of
from gravegis.layers.read.xml_text import tree, words_of

if TYPE_CHECKING:
    import xml.etree.ElementTree as ET
    from collections.abc import Iterator
    from pathlib import Path

__all__ = ["read_kml", "read_kmz"]

_BASIS = "KML is always longitude and latitude, WGS 84 (OGC KML 2.3)"
_SHAPES = ("Point", "LineString", "LinearRing", "Polygon", "MultiGeometry", "Track", "MultiTrack")
_FOLDERS = ("Document", "Folder")
_LOOSE = "(in no folder)"
_OURS = ("name", "description", "address", "altitude_m", "geometry")

_MULTI: dict[type, Any] = {
    shapely.Point: shapely.MultiPoint, shapely.LineString: shapely.MultiLineString,
    shapely.Polygon: shapely.MultiPolygon,
}  # fmt: skip

Coordinates = list[tuple[float, float]]


@dataclass(slots=True)
class _Found:
    """Rows by folder, and what was left out."""

    rows: dict[str, list[dict[str, Any]]] = field(default_factory=dict)
    links_n: int = 0
    pictures_n: int = 0
    broken: list[str] = field(default_factory=list)


def read_kml(path: Path, *, layer: str | None = None, encoding: str | None = None) -> Raw:
    """Read one folder of a KML file; raises LayerError when it is cut, or holds several and none is named."""
    no_encoding(encoding, "KML says its encoding itself")
    with path.open("rb") as stream:
        return _layer(tree(stream, path.name, root=("kml",)), path, layer)


def read_kmz(path: Path, *, layer: str | None = None, encoding: str | None = None) -> Raw:
    """Read one folder of the main KML file in a KMZ archive."""
    no_encoding(encoding, "KML says its encoding itself")
    with archive.opened(path) as packed:
        names = [name for name in packed.namelist() if name.lower().endswith(".kml")]
        main = [name for name in names if name.lower() == "doc.kml"] or names[:1]
        if not main:
            raise LayerError("there is no KML file in it", where=path.name, remedy="Export it again.")
        text = archive.member_bytes(packed, main[0])
    raw = _layer(tree(BytesIO(text), path.name, root=("kml",)), path, layer)
    others = [name for name in names if name not in main]
    if not others:
        return raw
    said = f"{many(len(others), 'further KML file')} in the archive left out: {shown(others)}"
    return Raw(raw.frame, raw.crs, raw.crs_basis, stated=True, notes=raw.notes, warnings=(*raw.warnings, said))


def _layer(root: ET.Element, path: Path, wanted: str | None) -> Raw:
    found = _Found()
    _walk(root, (), found)
    counts = [f"{name} ({many(len(rows), 'placemark')})" for name, rows in found.rows.items()]
    name = one_of(counts, wanted, where=path.name, what="folders")
    rows = found.rows[name]
    columns = list(dict.fromkeys(key for row in rows for key in row if key != "geometry"))
    frame = gpd.GeoDataFrame(
        {key: pd.Series([row.get(key) for row in rows], dtype="str") for key in columns},
        geometry=gpd.GeoSeries([row["geometry"] for row in rows], index=range(len(rows))),
    )
    names, renamed = tidy_names(frame.columns, placed=True)
    frame = gpd.GeoDataFrame(frame.set_axis(names, axis="columns"), geometry="geometry")
    notes = (f"{len(frame)} rows, {len(columns)} columns", "heights are left out of distances", *renamed)
    return Raw(frame, understood("EPSG:4326")[0], _BASIS, stated=True, notes=notes, warnings=tuple(_said(found)))


def _said(found: _Found) -> Iterator[str]:
    if found.links_n:
        yield f"{many(found.links_n, 'link')} to KML elsewhere not followed: nothing is read from a network"
    if found.pictures_n:
        yield f"{many(found.pictures_n, 'picture')} laid over the ground left out"
    if found.broken:
        yield f"places that cannot be read: {shown(found.broken)}; the rows are listed as without a place"


def _walk(parent: ET.Element, folders: tuple[str, ...], found: _Found) -> None:
    for child in parent:
        if child.tag in _FOLDERS:
            name = words_of(child, "name") or child.tag
            _walk(child, (*folders, name) if child.tag == "Folder" else folders, found)
        elif child.tag == "Placemark":
            row = _row(child, found)
            found.rows.setdefault("/".join(folders) or _LOOSE, []).append(row)
        else:
            found.links_n += child.tag == "NetworkLink"
            found.pictures_n += child.tag.endswith("Overlay")


def _row(mark: ET.Element, found: _Found) -> dict[str, Any]:
    name = words_of(mark, "name")
    row: dict[str, Any] = {"name": name}
    description = words_of(mark, "description")
    if description:
        pairs, rest = _described(description)
        row.update({key: value for key, value in pairs.items() if key.lower() not in _OURS})
        row["description"] = rest or None
    for key, value in _extended(mark):
        row[f"{key}_" if key.lower() in _OURS else key] = value
    for place in ("when", "begin", "end"):
        stamp = next((one.text for one in mark.iter(place) if one.text), None)
        if stamp:
            row[place] = stamp.strip()
    try:
        shapes = [_shape(child) for child in mark if child.tag in _SHAPES]
    except (ValueError, shapely.errors.ShapelyError) as error:
        found.broken.append(f"{name or 'a placemark'} ({error})")
        shapes = []
    row["geometry"] = _together(shapes)
    if (height := _height(mark)) is not None:
        row["altitude_m"] = height
    return row


def _extended(mark: ET.Element) -> Iterator[tuple[str, str | None]]:
    """Give the typed and the untyped pairs a placemark may carry."""
    for data in mark.iter("Data"):
        if data.get("name"):
            yield data.get("name", ""), words_of(data, "value")
    for data in mark.iter("SimpleData"):
        if data.get("name"):
            yield data.get("name", ""), (data.text or "").strip() or None


def _height(mark: ET.Element) -> str | None:
    """Return the height of a point above the sea, where the file says it is one; ``clampToGround`` means no height."""
    point = mark.find("Point")
    if point is None or words_of(point, "altitudeMode") != "absolute":
        return None
    parts = (words_of(point, "coordinates") or "").split(",")
    return parts[2].strip() if len(parts) == 3 else None


def _shape(node: ET.Element) -> shapely.Geometry:
    if node.tag == "Point":
        (place,) = _coordinates(words_of(node, "coordinates") or "") or [(float("nan"), float("nan"))]
        return shapely.Point(place)
    if node.tag in ("LineString", "LinearRing"):
        return shapely.LineString(_coordinates(words_of(node, "coordinates") or ""))
    if node.tag == "Polygon":
        outer = node.find("outerBoundaryIs/LinearRing")
        if outer is None:
            raise ValueError("an outline without its outer ring")
        holes = [_ring(one) for one in node.findall("innerBoundaryIs/LinearRing")]
        return shapely.Polygon(_ring(outer), holes)
    if node.tag == "Track":
        words = [one.text or "" for one in node if one.tag == "coord"]
        return shapely.LineString(_coordinates(" ".join(",".join(one.split()) for one in words)))
    return _together([_shape(child) for child in node if child.tag in _SHAPES]) or shapely.GeometryCollection()


def _ring(node: ET.Element) -> Coordinates:
    return _coordinates(words_of(node, "coordinates") or "")


def _together(shapes: list[shapely.Geometry]) -> Any:  # noqa: ANN401 - any shape, or None
    if len(shapes) <= 1:
        return shapes[0] if shapes else None
    kinds = {type(one) for one in shapes}
    maker = _MULTI.get(next(iter(kinds))) if len(kinds) == 1 else None
    return (maker or shapely.GeometryCollection)(shapes)


def _coordinates(text: str) -> Coordinates:
    """Return ``lon,lat`` or ``lon,lat,height`` tuples parted by blanks; raises ValueError for anything else."""
    made = []
    for word in text.replace(", ", ",").split():
        parts = word.split(",")
        if len(parts) not in (2, 3):
            raise ValueError(f"'{word[:30]}' is no longitude,latitude")
        made.append((float(parts[0]), float(parts[1])))
    return made


class _Cells(HTMLParser):
    """Takes the cells of tables and the text around them out of a description; scripts and styles are left out."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.rows: list[list[str]] = []
        self.rest: list[str] = []
        self.silent = 0
        self.in_cell = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.silent += tag in ("script", "style")
        if tag == "tr":
            self.rows.append([])
        elif tag in ("td", "th") and self.rows:
            self.rows[-1].append("")
            self.in_cell = True

    def handle_endtag(self, tag: str) -> None:
        self.silent -= tag in ("script", "style") and self.silent > 0
        if tag in ("td", "th", "tr", "table"):
            self.in_cell = False

    def handle_data(self, data: str) -> None:
        if self.silent:
            return
        if self.in_cell:
            self.rows[-1][-1] += data
        else:
            self.rest.append(data)


def _described(text: str) -> tuple[dict[str, str], str]:
    """Return the pairs of a table in a description, and its other words."""
    cells = _Cells()
    cells.feed(text)
    cells.close()
    pairs = {row[0].strip(): row[1].strip() for row in cells.rows if len(row) == 2 and row[0].strip()}
    others = [" ".join(row) for row in cells.rows if len(row) != 2]
    return pairs, " ".join(" ".join([*cells.rest, *others]).split())
