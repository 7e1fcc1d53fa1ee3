"""Map extracts in OSM XML and PBF: points, lines and areas, with every tag as a column."""

from __future__ import annotations

import re
import struct
import zlib
from typing import TYPE_CHECKING

import pandas as pd
import pyogrio
import shapely

from gravegis.errors import LayerError
from gravegis.layers.crs import understood
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
# Limits of the format (OSM PBF): head of a block 64 KiB, its data 32 MiB.
_MOST_HEAD, _MOST_BLOCK = 64 * 1024, 32 * 1024 * 1024


def read_osm(path: Path, *, layer: str | None = None, encoding: str | None = None) -> Raw:
    """Read points, lines or multipolygons of a map extract in XML; raises LayerError when it is cut.

    Ways that the reader drops, such as those whose points lie outside the extract, are named.
    """
    no_encoding(encoding, "OSM XML says its encoding itself")
    ways = _tagged_ways(path)
    raw, seen = _extract(path, layer)
    lost = [way for way, points_n in ways.items() if points_n < _LEAST_POINTS and way not in seen]
    if not lost:
        return raw
    said = f"{many(len(lost), 'way')} with tags dropped by the reader (too few points in the extract): {shown(lost)}"
    return Raw(raw.frame, raw.crs, raw.crs_basis, stated=True, notes=raw.notes, warnings=(*raw.warnings, said))


def read_pbf(path: Path, *, layer: str | None = None, encoding: str | None = None) -> Raw:
    """Read points, lines or multipolygons of a map extract in PBF; raises LayerError when it is cut."""
    no_encoding(encoding, "OSM PBF is always UTF-8")
    _check_blocks(path)
    return _extract(path, layer)[0]


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


def _check_blocks(path: Path) -> None:
    """Walk over the blocks of a PBF file to its end; raises LayerError where it is cut or a block is too large."""
    size, at = path.stat().st_size, 0
    with path.open("rb") as stream:
        while at < size:
            stream.seek(at)
            head = stream.read(4)
            length = struct.unpack(">I", head)[0] if len(head) == 4 else _MOST_HEAD + 1
            if length > _MOST_HEAD:
                raise LayerError("the file is cut or damaged", where=path.name, remedy=_AGAIN)
            data = _data_size(stream.read(length))
            at += 4 + length + data
            if not 0 < data <= _MOST_BLOCK or at > size:
                raise LayerError("the file is cut or damaged", where=path.name, remedy=_AGAIN)
            _unpack(stream.read(data), path)


def _data_size(head: bytes) -> int:
    """Return the data size in the head of a block: field 3, a number; 0 where there is none."""
    at = 0
    while at < len(head):
        key, at = _varint(head, at)
        value, at = _varint(head, at)
        if key >> 3 == 3 and key & 7 == 0:
            return value
        at += value if key & 7 == 2 else 0
    return 0


def _varint(data: bytes, at: int) -> tuple[int, int]:
    value = shift = 0
    while at < len(data) and shift < 64:
        value |= (data[at] & 0x7F) << shift
        at += 1
        if data[at - 1] < 0x80:
            break
        shift += 7
    return value, at


def _unpack(blob: bytes, path: Path) -> None:
    """Unpack the data of a block, so that a damaged one is noticed: the reader would pass over it."""
    at = 0
    while at < len(blob):
        key, at = _varint(blob, at)
        value, at = _varint(blob, at)
        if key & 7 != 2:
            continue
        part, at = blob[at : at + value], at + value
        if key >> 3 == 3:
            unpacker = zlib.decompressobj()
            try:
                unpacker.decompress(part, _MOST_BLOCK)
            except zlib.error:
                raise LayerError("the file is damaged", where=path.name, remedy=_AGAIN) from None
            if unpacker.unconsumed_tail or not unpacker.eof:
                raise LayerError("the file is damaged", where=path.name, remedy=_AGAIN)
