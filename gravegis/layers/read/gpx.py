"""GPX: waypoints, routes and tracks of a hand-held receiver."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import geopandas as gpd
import pandas as pd
import shapely

from gravegis.layers.crs import understood
from gravegis.layers.read.raw import Raw, many, shown, tidy_names
from gravegis.layers.read.rows import no_encoding, one_of
from gravegis.layers.read.xml_text import tree, words_of

if TYPE_CHECKING:
    import xml.etree.ElementTree as ET
    from collections.abc import Callable
    from pathlib import Path

__all__ = ["read_gpx"]

_BASIS = "GPX is always longitude and latitude, WGS 84 (GPX 1.1 schema)"
_WORDS = {"name": "name", "desc": "description", "cmt": "comment", "sym": "symbol", "type": "type", "time": "time",
          "src": "source", "fix": "fix", "sat": "satellites", "hdop": "hdop"}  # fmt: skip


def read_gpx(path: Path, *, layer: str | None = None, encoding: str | None = None) -> Raw:
    """Read waypoints, routes or tracks; raises LayerError when the file is cut or holds several and none is named."""
    no_encoding(encoding, "GPX says its encoding itself")
    with path.open("rb") as stream:
        root = tree(stream, path.name, root=("gpx",))
    found = {name: nodes for name, tag in (("waypoints", "wpt"), ("routes", "rte"), ("tracks", "trk"))
             if (nodes := root.findall(tag))}  # fmt: skip
    counts = [f"{name} ({len(nodes)})" for name, nodes in found.items()]
    name = one_of(counts, layer, where=path.name, what="layers")
    return _rows(found[name], _SHAPES[name])


def _rows(nodes: list[ET.Element], shape: Callable[[ET.Element], shapely.Geometry | None]) -> Raw:
    rows, shapes, broken = list[dict[str, str]](), list[Any](), list[str]()
    for node in nodes:
        rows.append(_facts(node))
        try:
            shapes.append(shape(node))
        except (ValueError, TypeError, shapely.errors.ShapelyError):
            shapes.append(None)
            broken.append(rows[-1].get("name") or f"row {len(rows)}")
    columns = list(dict.fromkeys(key for row in rows for key in row))
    names, renamed = tidy_names([*columns, "geometry"], placed=True)
    values = {new: pd.Series([row.get(old) for row in rows], dtype="str")
              for new, old in zip(names, columns, strict=False)}  # fmt: skip
    frame = gpd.GeoDataFrame(values, geometry=gpd.GeoSeries(shapes, index=range(len(rows))))
    said = [f"places that cannot be read: {shown(broken)}; listed as rows without a place"] if broken else []
    notes = (f"{many(len(frame), 'row')}, {many(len(columns), 'column')}", *renamed)
    return Raw(frame, understood("EPSG:4326")[0], _BASIS, stated=True, notes=notes, warnings=tuple(said))


def _facts(node: ET.Element) -> dict[str, str]:
    facts = {ours: words for tag, ours in _WORDS.items() if (words := words_of(node, tag)) is not None}
    if (height := words_of(node, "ele")) is not None:
        facts["elevation_m"] = height
    extra = node.find("extensions")
    for one in extra.iter() if extra is not None else ():
        if one.text and one.text.strip() and not len(one):
            facts.setdefault(one.tag, one.text.strip())
    return facts


def _point(node: ET.Element) -> shapely.Geometry:
    return shapely.Point(_place(node))


def _place(node: ET.Element) -> tuple[float, float]:
    lon, lat = float(node.get("lon", "")), float(node.get("lat", ""))
    return lon, lat


def _route(node: ET.Element) -> shapely.Geometry | None:
    return _line([_place(one) for one in node.findall("rtept")])


def _track(node: ET.Element) -> shapely.Geometry | None:
    parts = [_line([_place(one) for one in part.findall("trkpt")]) for part in node.findall("trkseg")]
    lines = [one for one in parts if one is not None]
    return shapely.MultiLineString(lines) if len(lines) > 1 else (lines[0] if lines else None)


def _line(places: list[tuple[float, float]]) -> shapely.LineString | None:
    return shapely.LineString(places) if len(places) > 1 else None


_SHAPES: dict[str, Callable[[ET.Element], shapely.Geometry | None]] = {
    "waypoints": _point, "routes": _route, "tracks": _track,
}  # fmt: skip
