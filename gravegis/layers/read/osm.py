"""Map extracts in OSM XML and PBF: points, lines and areas, with every tag as a column."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pandas as pd
import pyogrio
import shapely

from gravegis.errors import LayerError
from gravegis.layers.crs import understood
from gravegis.layers.read import pbf
from gravegis.layers.read.damage import library_reads
from gravegis.layers.read.raw import Raw, many, shown
from gravegis.layers.read.rows import as_raw, library_path, no_encoding, one_of, read_rows
from gravegis.layers.read.whole import Counted
from gravegis.layers.read.xml_text import scan

if TYPE_CHECKING:
    from pathlib import Path

    from gravegis.layers.canonical import Frame

__all__ = ["read_osm", "read_pbf"]

_BASIS = "map extracts are always longitude and latitude, WGS 84 (OSM XML 0.6)"
_LAYERS = ("points", "lines", "multilinestrings", "multipolygons", "other_relations")
_PAIR = re.compile(r'"((?:[^"\\]|\\.)*)"=>"((?:[^"\\]|\\.)*)"')
_MOST_TAGS = 200
_LEAST_POINTS = 2
_AGAIN = "Fetch the extract again."


def read_osm(path: Path, *, layer: str | None = None, encoding: str | None = None) -> Raw:
    """Read points, lines or multipolygons of a map extract in XML; raises LayerError when it is cut.

    Ways that the reader drops, such as those whose points lie outside the extract, are named.
    """
    no_encoding(encoding, "OSM XML says its encoding itself")
    ways = _tagged_ways(path)
    raw, seen = _extract(path, layer)
    return _with_lost(raw, ways, seen)


def _with_lost(raw: Raw, ways: dict[str, int], seen: set[str]) -> Raw:
    """Name the ways that no layer holds: the reader drops those with too few points without a word."""
    lost = [way for way, points_n in ways.items() if points_n < _LEAST_POINTS and way not in seen]
    if not lost:
        return raw
    said = f"{many(len(lost), 'way')} with tags dropped by the reader (too few points in the extract): {shown(lost)}"
    return Raw(raw.frame, raw.crs, raw.crs_basis, stated=True, notes=raw.notes, warnings=(*raw.warnings, said))


def read_pbf(path: Path, *, layer: str | None = None, encoding: str | None = None) -> Raw:
    """Read points, lines or multipolygons of a map extract in PBF; raises LayerError when it is cut.

    Ways that the reader drops are named as `read_osm` does.
    """
    no_encoding(encoding, "OSM PBF is always UTF-8")
    blocks = pbf.blocks(path)
    raw, seen = _extract(path, layer)
    return _with_lost(raw, pbf.tagged_ways(blocks), seen)


def _tagged_ways(path: Path) -> dict[str, int]:
    """Return how many of its points the file holds, for each way with tags, having read the text to its end."""
    ways, known, roots = dict[str, int](), set[str](), list[str]()
    way, points_n = "", 0

    def start(name: str, attributes: dict[str, str]) -> None:
        nonlocal way, points_n
        if not roots:
            roots.append(name)
        if name in ("node", "way", "relation"):
            way, points_n = attributes.get("id", "") if name == "way" else "", 0
            if name == "node":
                known.add(attributes.get("id", ""))
        elif name == "nd":
            points_n += attributes.get("ref") in known
        elif name == "tag" and way:
            ways[way] = points_n

    with path.open("rb") as stream:
        scan(stream, path.name, start=start)
    if roots != ["osm"]:
        raise LayerError(f"the file begins with <{roots[0][:40]}>, not <osm>", where=path.name, remedy=_AGAIN)
    return ways


def _extract(path: Path, wanted: str | None) -> tuple[Raw, set[str]]:
    """Return one layer, and the ids of the ways that any layer holds."""
    frames: dict[str, tuple[Frame, tuple[str, ...]]] = {}
    seen = set[str]()
    for name in _LAYERS:
        rows = _count(path, name)
        if not rows:
            continue
        frames[name] = read_rows(path, Counted(rows), layer=name)
        for column in ("osm_id", "osm_way_id"):
            if column in frames[name][0].columns and name != "points":
                seen |= set(frames[name][0][column].dropna().astype(str))
    counts = [f"{name} ({many(len(frame), 'row')})" for name, (frame, _) in frames.items()]
    name = one_of(counts, wanted, where=path.name, what="layers")
    frame, said = frames[name]
    frame = _spread(_one_id(frame))
    bad = frame.loc[shapely.is_missing(frame["geometry"].to_numpy()), "osm_id"].tolist()
    if bad:
        said = (
            *said,
            f"{many(len(bad), 'way')} whose outline cannot be drawn (points missing or too few): {shown(bad)}",
        )
    raw = as_raw(frame, understood("EPSG:4326")[0], "", said, ())
    return Raw(raw.frame, raw.crs, _BASIS, stated=True, notes=raw.notes, warnings=raw.warnings), seen


def _count(path: Path, name: str) -> int:
    with library_reads(path, remedy=_AGAIN):
        fids = pyogrio.raw.read(library_path(path), layer=name, columns=[], read_geometry=False, return_fids=True)[1]
        return len(fids)


def _one_id(frame: Frame) -> Frame:
    """Return the rows with one column of ids: areas have theirs in one of two."""
    if "osm_way_id" not in frame.columns:
        return frame
    either = frame["osm_id"].where(frame["osm_id"].notna(), frame["osm_way_id"])
    return frame.assign(osm_id=either).drop(columns="osm_way_id")


def _spread(frame: Frame) -> Frame:
    """Return the rows with the tags that have no column of their own in columns; empty columns are left out."""
    if "other_tags" in frame.columns:
        tags = [dict(_PAIR.findall(text)) if isinstance(text, str) else {} for text in frame["other_tags"]]
        names = [name for name in dict.fromkeys(key for one in tags for key in one) if name not in frame.columns]
        if len(names) <= _MOST_TAGS:
            columns = {
                name: pd.Series([one.get(name) for one in tags], index=frame.index, dtype=object) for name in names
            }
            frame = frame.drop(columns="other_tags").assign(**columns)
    kept = [name for name in frame.columns if name in ("osm_id", "geometry") or frame[name].notna().any()]
    return frame[kept]
