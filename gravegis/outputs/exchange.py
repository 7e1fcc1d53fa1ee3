"""Files to hand over: tables for an office program, tracks for a hand-held receiver, single layers for a map program.

Tables are comma-separated, in UTF-8 with a byte-order mark: office programs that open such a file by a double click
take it for the old code page of the machine without the mark, and garble names; programs that read tables skip it.
"""

from __future__ import annotations

import csv
import math
import xml.etree.ElementTree as ET
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any

from gravegis.errors import LayerError, SettingError
from gravegis.outputs import words
from gravegis.outputs.days import crew_days, crew_file, point_of

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping
    from pathlib import Path

    import pyproj

    from gravegis.layers.canonical import Frame
    from gravegis.outputs.days import XY, CrewDay
    from gravegis.site import Site

__all__ = ["export_layer", "write_gpx", "write_tables"]

GPX = "http://www.topografix.com/GPX/1/1"  # namespace of GPX 1.1, an open standard
RISKY = ("=", "+", "-", "@", "\t", "\r", "＝", "＋", "－", "＠")
"""First signs that make an office program take a text for a formula (common practice, no source)."""
DIGITS = {"m": 2, "h": 1, "min": 1, "s": 0, "deg": 1, "l/min": 1}  # decimals by unit
# Distances between surveyed things: decimals by the standard error of the stone's position; own choice.
_ROUGH_M, _FINE_M = 0.5, 0.02
_MEASURED = frozenset({"distance_m", "margin_m", "nearest_head_m", "nearest_stone_m"})
_STONE = ("section", "row", "place_in_row", "tag")


@dataclass(frozen=True, slots=True)
class _Table:
    """One file: its rows are those of a layer; columns come from that layer or, by id, from others.

    `columns` are ``column``, ``layer.column`` or ``layer.column=heading``; the pseudo columns ``easting`` and
    ``northing`` are the place on the grid.
    """

    file: str
    layer: str
    columns: tuple[str, ...]
    order: Callable[[Mapping[str, Any]], Any]


def _of(layer: str, *names: str) -> tuple[str, ...]:
    return tuple(f"{layer}.{name}" for name in names)


TABLES = (
    _Table(
        "worklist.csv", "worklist",
        ("stone_id", *_of("stones", *_STONE, "material", "form"), "priority", "treatment", "who", "work_min", "hold",
         "first_step", "stone_condition.overall=condition_class", "reasons"),
        lambda row: (-(row["priority"] or 0), row["stone_id"]),
    ),
    _Table(
        "stops.csv", "stops",
        ("day", "crew_id", "seq", "stone_id", *_of("stones", *_STONE), "arrive_at", "leave_at", "work_min", "priority",
         *_of("worklist", "treatment", "first_step"), "stones.easting", "stones.northing"),
        lambda row: (row["day"], words.in_order(row["crew_id"]), row["seq"]),
    ),
    _Table(
        "heads.csv", "heads",
        ("head_stones.rank", "head_id", "tag", "zone_id", "kind", "fault",
         *_of("throws_computed", "mend_first", "pattern", "throw_m", "throw_low_m", "throw_high_m", "basis",
              "arc_from_deg", "arc_sweep_deg"),
         *_of("head_stones", "near_n", "half_n", "edge_n", "nearest_stone_id", "nearest_stone_m"),
         "easting", "northing"),
        lambda row: (row["head_stones"].get("rank") or math.inf, row["head_id"]),
    ),
    _Table(
        "stones_by_head.csv", "wetting_links",
        ("head_stones.rank=head_rank", "head_id", "zone_id", "stone_id", "distance_m", "margin_m",
         *_of("stones", *_STONE)),
        lambda row: (row["head_stones"].get("rank") or math.inf, row["head_id"], row["distance_m"] or 0.0),
    ),
    _Table(
        "stones.csv", "stones",
        ("stone_id", *_STONE, "find_me", "material", "form", "stability",
         *_of("stone_wetting", "reached", "margin_m", "heads_n", "season_h", "nearest_head_id", "nearest_head_m"),
         "stone_wetting.basis=wetting_basis", "stone_condition.overall=condition_class",
         "stone_condition.basis=condition_basis", "stone_condition.main_harm", "stone_clusters.cluster_id",
         *_of("worklist", "treatment", "who", "work_min", "priority", "hold"), "easting", "northing"),
        lambda row: row["stone_id"],
    ),
    _Table(
        "unplanned.csv", "unplanned",
        ("stone_id", *_of("stones", *_STONE), "reason", "reason=reason_in_words", "detail",
         *_of("worklist", "priority", "treatment")),
        lambda row: (row["reason"] or "", -(row["worklist"].get("priority") or 0), row["stone_id"]),
    ),
)  # fmt: skip


def write_tables(site: Site, folder: Path, *, with_names: bool = False) -> list[Path]:
    """Write a table per result that is there, and ``assumed.txt``; return the files.

    Cells of text columns that an office program would take for a formula get an apostrophe before them; figures
    are left alone. Distances have the decimals that the position of the stone allows.

    Parameters
    ----------
    with_names
        Include ``find_me``, the short inscriptions.
    """
    folder.mkdir(parents=True, exist_ok=True)
    written: list[Path] = []
    for table in TABLES:
        if table.layer in site:
            written.append(folder / table.file)
            _write_csv(written[-1], _rows_of(site, table, with_names=with_names))
    written.append(folder / "assumed.txt")
    written[-1].write_text("".join(f"{line}\n" for line in _assumed(site)), encoding="utf-8", newline="\n")
    return written


def _assumed(site: Site) -> Iterable[str]:
    """Give everything that was assumed, analysis by analysis, and every setting that is not the default."""
    yield f"What was missing and what was taken instead: {words.one_line(site.info.title)}"
    own = words.site_assumed(site)
    parts = [("the layers as brought in", [*own])] if own else []
    for record in site.log:
        changed = [f"set: {one}" for one in words.changed_settings(site, (record.analysis,))]
        parts.append((f"{record.analysis} (version {record.version})", [*words.told(record.assumed), *changed]))
    for name, said in parts:
        yield from ("", name, *(f"  {words.one_line(one)}" for one in said or ["nothing"]))


def _rows_of(site: Site, table: _Table, *, with_names: bool) -> Iterable[list[str]]:
    """Give the heading and the rows of a table as text."""
    columns = [_Column.read(text, table.layer) for text in table.columns if with_names or text != "find_me"]
    yield [one.heading for one in columns]
    by_id = {layer: _by_id(site, layer) for layer in {"stones", "head_stones", *(one.layer for one in columns)}}
    rows = [
        {**row, **{layer: found.get(str(row.get(key)), {}) for layer, (key, found) in by_id.items()}, table.layer: row}
        for row in words.records(site, table.layer)
    ]
    for row in sorted(rows, key=table.order):
        yield [one.text(row) for one in columns]


def _by_id(site: Site, layer: str) -> tuple[str, dict[str, dict[str, Any]]]:
    from gravegis.layers import schema

    key = schema.layer(layer).id_column or ""
    return key, {str(row[key]): row for row in words.records(site, layer)} if key else {}


@dataclass(frozen=True, slots=True)
class _Column:
    """Where a column of a table comes from, and how its values are written."""

    layer: str
    name: str
    heading: str

    @classmethod
    def read(cls, text: str, layer: str) -> _Column:
        source, _, heading = text.partition("=")
        other, dot, name = source.rpartition(".")
        return cls(other if dot else layer, name, heading or name)

    def text(self, row: Mapping[str, Any]) -> str:
        own = row[self.layer]
        if self.name in ("easting", "northing"):
            at = point_of(own.get("geometry"))
            return "" if at is None else f"{at[self.name == 'northing']:.2f}"
        value, (kind, unit) = own.get(self.name), _kind(self.layer, self.name)
        if self.heading == "reason_in_words":
            value = words.unplanned_because(value)
        if value is None:
            return ""
        if kind == "json":
            return _harmless(" ".join(words.reasons(value)))
        if kind == "number":
            error = row["stones"].get("position_error_m", row.get("position_error_m"))
            return words.number(value, _decimals(error) if self.name in _MEASURED else DIGITS.get(unit, 3))
        if kind == "flag":
            return "yes" if value else "no"
        return str(int(value)) if kind == "whole" else _harmless(str(value))


@cache
def _kind(layer: str, name: str) -> tuple[str, str]:
    from gravegis.layers import schema

    column = schema.layer(layer).columns[name]
    return column.kind, column.unit


def _decimals(error_m: float | None) -> int:
    if error_m is None:
        return 1
    return 0 if error_m > _ROUGH_M else 1 if error_m > _FINE_M else 2


def _harmless(text: str) -> str:
    """Return text that no office program takes for a formula."""
    return f"'{text}" if text.startswith(RISKY) else text


def _write_csv(file: Path, rows: Iterable[list[str]]) -> None:
    with file.open("w", encoding="utf-8-sig", newline="") as out:
        csv.writer(out).writerows(rows)


def write_gpx(site: Site, folder: Path, *, with_names: bool = False) -> list[Path]:
    """Write a GPX 1.1 file per crew and day that has stops: stops in order as waypoints, the way walked as a track.

    Places are degrees of WGS 84, longitude first from pyproj, eight decimals (about a millimetre). A hand-held
    receiver is metres out, stones stand about a metre apart: a waypoint leads near a stone, the sheet says which.

    Parameters
    ----------
    with_names
        Include ``find_me``, the short inscriptions.
    """
    folder.mkdir(parents=True, exist_ok=True)
    written: list[Path] = []
    for day in (one for one in crew_days(site) if one.stops):
        written.append(folder / f"{crew_file(day, taken=[file.stem for file in written])}.gpx")
        tree = ET.ElementTree(_gpx(site, day, with_names=with_names))
        ET.indent(tree)
        tree.write(written[-1], encoding="utf-8", xml_declaration=True)
    return written


def _gpx(site: Site, day: CrewDay, *, with_names: bool) -> ET.Element:
    import shapely

    to_degrees = _to_degrees(site.info.crs)
    root = ET.Element("gpx", {"xmlns": GPX, "version": "1.1", "creator": "gravegis"})
    about = ET.SubElement(root, "metadata")
    _say(about, "name", f"{site.info.title}, {words.crew_name(day.crew_id)}, {day.day}")
    _say(about, "desc", f"plan {words.plan_hash(site)}; compare each stone with the sheet before work")
    for stop in day.stops:
        if stop.at is None:
            continue
        point = _point(root, "wpt", stop.at, to_degrees)
        _say(point, "name", f"{stop.seq:02d} {stop.stone_id}")
        mark = stop.stone.get("find_me") if with_names else None
        said = [mark, words.place(stop.stone), words.looks(stop.stone, short=True), stop.work.get("treatment")]
        _say(point, "desc", "; ".join(str(one) for one in [*said, stop.work.get("first_step")] if one))
        _say(point, "type", "stop")
    legs = [leg for leg in day.legs if leg.length > 0]
    if legs:
        track = ET.SubElement(root, "trk")
        _say(track, "name", f"way of {words.crew_name(day.crew_id)}")
        for leg in legs:
            segment = ET.SubElement(track, "trkseg")
            for x, y in shapely.get_coordinates(leg).tolist():
                _point(segment, "trkpt", (x, y), to_degrees)
    return root


def _to_degrees(crs: str) -> pyproj.Transformer:
    import pyproj

    return pyproj.Transformer.from_crs(crs, "EPSG:4326", always_xy=True)


def _point(parent: ET.Element, name: str, at: XY, to_degrees: pyproj.Transformer) -> ET.Element:
    lon, lat = to_degrees.transform(*at)
    return ET.SubElement(parent, name, {"lat": f"{lat:.8f}", "lon": f"{lon:.8f}"})


def _say(parent: ET.Element, name: str, text: str) -> None:
    shown = words.one_line(text)
    if shown:
        ET.SubElement(parent, name).text = shown


def export_layer(site: Site, layer: str, file: Path, *, with_names: bool = False) -> int:
    """Write one layer to a file and return how many rows it has.

    Results carry the place of their stone or head. GeoJSON is in degrees of WGS 84 as its standard asks, the other
    kinds are in the CRS of the site; a table has columns ``easting`` and ``northing``, or ``wkt`` for lines and areas.

    Parameters
    ----------
    with_names
        Include ``find_me``, the short inscriptions.

    Raises
    ------
    LayerError
        When the site lacks the layer, or the file cannot hold it.
    SettingError
        For a file name that ends in none of the kinds written here.
    """
    if layer not in site:
        raise LayerError(f"the site has no layer '{layer}'", remedy=f"It has: {', '.join(site)}.")
    kind = file.suffix.lower()
    if kind not in WRITERS:
        raise SettingError(f"'{file.name}' is no kind of file written here", remedy=f"Kinds: {', '.join(WRITERS)}.")
    frame = _placed(site, layer)
    frame = frame if with_names else frame.drop(columns="find_me", errors="ignore")
    file.parent.mkdir(parents=True, exist_ok=True)
    WRITERS[kind](frame, layer, file)
    return len(frame)


def _placed(site: Site, layer: str) -> Frame:
    """Return a layer with the place of its stones or heads where it has none of its own."""
    import geopandas as gpd

    frame = site[layer]
    if "geometry" in frame.columns:
        return frame
    for key, other in (("stone_id", "stones"), ("head_id", "heads")):
        if key in frame.columns and other in site:
            places = site[other].set_index(key).geometry.reindex(frame[key])
            return gpd.GeoDataFrame(frame, geometry=gpd.GeoSeries(places.to_numpy(), crs=site.info.crs))
    return frame


def _as_csv(frame: Frame, layer: str, file: Path) -> None:
    del layer
    names = [str(name) for name in frame.columns if name != "geometry"]
    rows = [[_cell(value) for value in values] for values in zip(*(frame[n].tolist() for n in names), strict=True)]
    if "geometry" in frame.columns:
        shapes = list(frame.geometry)
        points = all(shape is None or shape.geom_type == "Point" for shape in shapes)
        names += ["easting", "northing"] if points else ["wkt"]
        for row, shape in zip(rows, shapes, strict=True):
            row += _place_cells(shape) if points else ["" if shape is None else shape.wkt]
    _write_csv(file, [[_harmless(name) for name in names], *rows])


def _cell(value: Any) -> str:  # noqa: ANN401 - a cell of any kind
    import pandas as pd

    if value is None or pd.isna(value):
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return repr(value) if isinstance(value, float) else str(value) if isinstance(value, int) else _harmless(str(value))


def _place_cells(shape: Any) -> list[str]:  # noqa: ANN401 - a shapely point or None
    at = point_of(shape)
    return ["", ""] if at is None else [f"{at[0]:.3f}", f"{at[1]:.3f}"]


def _needs_place(frame: Any, layer: str, file: Path) -> None:  # noqa: ANN401 - with or without a place
    if "geometry" not in frame.columns:
        raise LayerError(f"layer {layer} lies nowhere on the ground", where=file.name, remedy="Write it as .csv.")


def _as_geojson(frame: Any, layer: str, file: Path) -> None:  # noqa: ANN401 - with or without a place
    _needs_place(frame, layer, file)
    frame.to_crs("EPSG:4326").to_file(file, driver="GeoJSON", layer=layer, COORDINATE_PRECISION=9)


def _as_gpkg(frame: Any, layer: str, file: Path) -> None:  # noqa: ANN401 - with or without a place
    _needs_place(frame, layer, file)
    file.unlink(missing_ok=True)
    frame.to_file(file, driver="GPKG", layer=layer)


def _as_shp(frame: Any, layer: str, file: Path) -> None:  # noqa: ANN401 - with or without a place
    """Write a Shapefile: names have ten signs at most (the long ones go beside it); texts are cut with a mark."""
    from gravegis.layers.read.long_names import write_names

    _needs_place(frame, layer, file)
    families = {str(one).removeprefix("Multi") for one in frame.geometry.geom_type.dropna()}
    if len(families) > 1:
        raise LayerError(
            f"layer {layer} holds {' and '.join(sorted(families))}, a Shapefile only one kind", where=file.name,
            remedy="Write it as .gpkg or .geojson.",
        )  # fmt: skip
    short: dict[str, str] = {}
    for name in (str(one) for one in frame.columns if one != "geometry"):
        tries = (name[:10], *(f"{name[: 10 - len(str(count))]}{count}" for count in range(2, len(frame.columns) + 2)))
        short[name] = next(made for made in tries if made not in short.values())
    cut = frame.apply(lambda one: one.map(_fits_dbf, na_action="ignore") if one.dtype == "str" else one)
    cut.rename(columns=short).to_file(file, driver="ESRI Shapefile", encoding="utf-8")
    write_names(file, {made: name for name, made in short.items()})


def _fits_dbf(text: str) -> str:
    """Return text of at most 254 bytes, the room a Shapefile has; a cut one ends in an ellipsis."""
    raw = text.encode()
    return text if len(raw) <= 254 else f"{raw[:251].decode(errors='ignore')}…"


WRITERS: dict[str, Callable[[Any, str, Path], None]] = {
    ".csv": _as_csv, ".geojson": _as_geojson, ".gpkg": _as_gpkg, ".shp": _as_shp,
}  # fmt: skip
