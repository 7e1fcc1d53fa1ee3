"""Files to hand over: tables for an office program, tracks for a hand-held receiver, single layers for a map program.

Tables are comma-separated, in UTF-8 with a byte-order mark: office programs that open such a file by a double click
take it for the old code page of the machine without the mark, and garble names; programs that read tables skip it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any

from gravegis.errors import LayerError, SettingError
from gravegis.outputs import carried, currency, words
from gravegis.outputs.carried import assumed_with
from gravegis.outputs.cells import harmless, write_csv
from gravegis.outputs.days import point_of
from gravegis.outputs.gpx import write_gpx
from gravegis.outputs.layer_files import WRITERS

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping
    from pathlib import Path

    from gravegis.layers.canonical import Frame
    from gravegis.site import Site

__all__ = ["assumed_with", "export_layer", "write_gpx", "write_tables"]

DIGITS = {
    "m": 2,
    "h": 1,
    "min": 1,
    "s": 0,
    "deg": 1,
    "l/min": 1,
    "mm/h": 1,
    "mm": 0,
    "percent": 0,
    "m2": 0,
    "l/h": 0,
}  # decimals by unit
# Distances between surveyed things: decimals by the standard error of the stone's position; own choice.
_ROUGH_M, _FINE_M = 0.5, 0.02
_MEASURED = frozenset({"distance_m", "margin_m", "nearest_head_m", "nearest_stone_m"})
_STONE = ("section", "row", "place_in_row", "tag")


@dataclass(frozen=True, slots=True)
class _Table:
    """One file: its rows are those of a layer; columns come from that layer or, by id, from others.

    `columns` are ``column``, ``layer.column`` or ``layer.column=heading``; the pseudo columns ``easting`` and
    ``northing`` are the place on the grid. Where nothing of column `tells` is known there is no such file.
    """

    file: str
    layer: str
    columns: tuple[str, ...]
    order: Callable[[Mapping[str, Any]], Any]
    tells: str = ""


def _of(layer: str, *names: str) -> tuple[str, ...]:
    return tuple(f"{layer}.{name}" for name in names)


TABLES = (
    _Table(
        "worklist.csv", "worklist",
        ("stone_id", *_of("stones", *_STONE, "material", "form"), "priority", "treatment", "method", "who", "work_min",
         "water_l", "cleaner_l", "hold", "hold_reason", "first_step", "not_from", "not_to", "due_on",
         "stone_condition.overall=condition_class", "reasons"),
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
        "zone_uniformity.csv", "zone_uniformity",
        ("zone_id", "heads_n", "flow_known_n", "basis", "rate_mm_h", "cu", "du_lq", "du_lh", "sc", "quarter",
         "measured_on", "area_m2", "season_mm", "sent_l_h", "off_site_l_h", "off_site_frac"),
        lambda row: words.in_order(row["zone_id"]), tells="rate_mm_h",
    ),
    _Table(
        "catch_tests.csv", "catch_tests",
        ("test_id", "head_id", "zone_id", "cans_n", "mean_mm", "weighted_mm", "cu", "cu_radial", "du_lq",
         "du_lh", "sc", "quarter", "rate_mm_h", "throw_m", "flow_l_min", "error_mm_h", "fit_throw_m", "fit_flow_l_min",
         "fit_error_mm_h"),
        lambda row: words.in_order(row["test_id"]),
    ),
    _Table(
        "change.csv", "stone_change",
        ("stone_id", *_of("stones", *_STONE), "harm", "before", "now", "change", "before_on", "now_on"),
        lambda row: (row["harm"] != "overall", row["harm"], row["stone_id"]),
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
        if table.layer in site and (not table.tells or site[table.layer][table.tells].notna().any()):
            written.append(folder / table.file)
            write_csv(written[-1], _rows_of(site, table, with_names=with_names))
    written.append(folder / "assumed.txt")
    written[-1].write_text("".join(f"{line}\n" for line in _assumed(site)), encoding="utf-8", newline="\n")
    return written


def _assumed(site: Site) -> Iterable[str]:
    """Give everything that was assumed, analysis by analysis, and every setting that is not the default."""
    yield f"What was missing and what was taken instead: {words.one_line(site.info.title)}"
    yield from currency.listed(site)
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
            return harmless(" ".join(words.reasons(value)))
        if kind == "number":
            error = row["stones"].get("position_error_m", row.get("position_error_m"))
            return words.number(value, _decimals(error) if self.name in _MEASURED else DIGITS.get(unit, 3))
        if kind == "flag":
            return "yes" if value else "no"
        return str(int(value)) if kind == "whole" else harmless(str(value))


@cache
def _kind(layer: str, name: str) -> tuple[str, str]:
    from gravegis.layers import schema

    column = schema.layer(layer).columns[name]
    return column.kind, column.unit


def _decimals(error_m: float | None) -> int:
    if error_m is None:
        return 1
    return 0 if error_m > _ROUGH_M else 1 if error_m > _FINE_M else 2


def export_layer(site: Site, layer: str, file: Path, *, with_names: bool = False) -> int:
    """Write one layer to a file and return how many rows it has; what was assumed goes with it (see `carried`).

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
    carried.by_file(site, layer, file)
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
