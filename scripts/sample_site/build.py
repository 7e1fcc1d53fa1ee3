"""Make the whole ground of Emberfield Rise and write its files, and apart from them the truth behind them."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any

import shapely

from . import findings as finding_module
from . import ground, harm, places, tables, ways, weather, write
from .heads import OUTLINED_HEAD, Head, make_heads, record, truth_of_heads
from .stones import Plot, Stone, make_plots, make_stones

if TYPE_CHECKING:
    from pathlib import Path

STONE_COLUMNS = (
    "stone_id", "plot_id", "section", "row", "place_in_row", "tag", "find_me", "material", "finish", "form",
    "height_m", "width_m", "thickness_m", "facing_deg", "year", "lean_deg", "significance", "quick_score", "stability",
    "stability_on", "stability_by", "position_error_m", "position_basis", "surveyed_on",
)  # fmt: skip
HEAD_COLUMNS = (
    "head_id", "easting", "northing", "throw_m", "kind", "tag", "zone_id", "arc_from_deg", "arc_sweep_deg",
    "flow_l_min", "pressure_kpa", "trajectory_deg", "strip_length_m", "strip_width_m", "fault", "tilt_deg",
    "throw_basis", "position_error_m", "seen_on",
)  # fmt: skip
FINDING_COLUMNS = (
    "finding_id", "stone_id", "pattern", "severity", "extent_frac", "face", "found_on", "by", "note",
)  # fmt: skip
PERMISSION_COLUMNS = ("permission_id", "stone_id", "section", "kind", "status", "until", "conditions")


@dataclass(frozen=True, slots=True)
class Made:
    """The whole ground: what stands on it, what truly ails it, what was written down of that."""

    plots: list[Plot]
    stones: list[Stone]
    heads: list[Head]
    findings: list[dict[str, Any]]
    finding_truth: list[dict[str, Any]]
    stone_truth: list[dict[str, Any]]
    head_truth: list[dict[str, Any]]


def on_map(place: tuple[float, float]) -> dict[str, str]:
    """Return the columns of a place on the map, to the millimetre."""
    east, north = shapely.get_coordinates(ground.shape_to_grid(shapely.Point(place)))[0]
    return {"easting": f"{east:.3f}", "northing": f"{north:.3f}"}


@cache
def make() -> Made:
    """Make the ground once; the same every time."""
    plots = make_plots()
    stones = make_stones(plots)
    heads = make_heads(stones)
    harms, where = harm.make_harm(stones, heads)
    findings, finding_truth = finding_module.make_findings(stones, heads, harms)
    stone_truth = finding_module.truth_of_stones(stones, where, on_map)
    head_truth = truth_of_heads(heads)
    record(heads)
    return Made(plots, stones, heads, findings, finding_truth, stone_truth, head_truth)


def _write_surveyed(folder: Path, made: Made) -> None:
    """Write what stands on the ground: plots, stones, heads, one surveyed outline."""
    plot_rows = [
        {"plot_id": plot.plot_id, "section": plot.row.section, "row": plot.row.name, "lot": str(plot.lot)}
        for plot in made.plots
    ]
    write.write_shapefile(folder / "plots.shp", plot_rows, [plot.ground for plot in made.plots])
    stone_rows = [stone.columns for stone in made.stones]
    drawn = [stone.ground if stone.surveyed is None else stone.surveyed for stone in made.stones]
    write.write_geojson(folder / "stones.geojson", STONE_COLUMNS, stone_rows, drawn)
    head_rows = [{**head.columns, **on_map(head.place)} for head in made.heads]
    write.write_csv(folder / "heads.csv", HEAD_COLUMNS, head_rows)
    outlined = next(head for head in made.heads if head.columns["head_id"] == OUTLINED_HEAD)
    row = {
        "throw_id": "TH1",
        "head_id": OUTLINED_HEAD,
        "basis": "wet edge flagged and surveyed",
        "seen_on": "2026-10-06",
    }
    write.write_geojson(folder / "throws.geojson", tuple(row), [row], [outlined.wets])


def _write_ways(folder: Path) -> None:
    """Write what crews walk on, cannot walk through, start from, and fill up at."""
    paths = [
        {"path_id": path.path_id, "surface": path.surface, "width_m": path.width_m, "wheelable": path.wheelable}
        for path in ways.PATHS
    ]
    lines = [shapely.LineString(path.line) for path in ways.PATHS]
    write.write_geojson(folder / "paths.geojson", tuple(paths[0]), paths, lines)
    barriers = [{"barrier_id": name, "kind": kind, "height_m": high} for name, kind, high, _ in ways.BARRIERS]
    walls = [shapely.LineString(line) for *_, line in ways.BARRIERS]
    write.write_geojson(folder / "barriers.geojson", tuple(barriers[0]), barriers, walls)
    gates = [{"gate_id": name, "kind": kind, "width_m": wide} for name, kind, wide, _ in ways.GATES]
    spots = [shapely.Point(place) for *_, place in ways.GATES]
    write.write_geojson(folder / "gates.geojson", tuple(gates[0]), gates, spots)
    bases = [
        {"base_id": base_id, "label": label, "tank_l": tank, **on_map(place)}
        for base_id, label, place, tank in ways.BASES
    ]
    write.write_csv(folder / "bases.csv", tuple(bases[0]), bases)
    names = ("tap_id", "source_id", "fit_to_drink", "fitting", "season")
    taps: list[dict[str, Any]] = []
    for tap_id, place, *facts in ways.TAPS:
        taps.append({**dict(zip(names, (tap_id, *facts), strict=True)), **on_map(place)})
    write.write_csv(folder / "taps.csv", tuple(taps[0]), taps)


def _write_places(folder: Path) -> None:
    """Write the patches of ground: hosed, shaded, to be spared, closed, fed."""
    corner = {"wet_area_id": "WA1", "source_id": "mains", "hours_week": 3.0, "basis": "told"}
    write.write_geojson(folder / "wet_areas.geojson", tuple(corner), [corner], [shapely.Polygon(places.HOSED_CORNER)])
    for name, (rows, shapes) in {
        "shade": places.shade_rows(),
        "sensitive": places.sensitive_rows(),
        "closures": places.closure_rows(),
        "grounds_log": places.grounds_log_rows(),
    }.items():
        write.write_geojson(folder / f"{name}.geojson", tuple(rows[0]), rows, shapes)


def _write_tables(folder: Path, made: Made) -> None:
    """Write the tables without a place, and the settings of the ground."""
    for name, rows in {
        "zones": tables.ZONES,
        "schedules": tables.SCHEDULES,
        "sources": tables.SOURCES,
        "water": tables.WATER,
        "catch_cans": tables.CATCH_CANS,
        "crews": tables.CREWS,
        "products": tables.PRODUCTS,
        "weather": weather.weather_rows(),
    }.items():
        write.write_csv(folder / f"{name}.csv", tuple(rows[0]), rows)
    write.write_csv(folder / "permissions.csv", PERMISSION_COLUMNS, tables.permissions(made.stones))
    write.write_csv(folder / "findings.csv", FINDING_COLUMNS, made.findings)
    write.write_json(folder / "site.json", tables.SITE)


def build(folder: Path) -> None:
    """Write every layer of the ground as a survey would hand it over."""
    made = make()
    _write_surveyed(folder, made)
    _write_ways(folder)
    _write_places(folder)
    _write_tables(folder, made)


def build_truth(folder: Path) -> None:
    """Write what no survey knows: true places, true wetting, the cause of each finding, the coefficients."""
    made = make()
    for name, rows in {
        "stones": made.stone_truth,
        "heads": made.head_truth,
        "findings": made.finding_truth,
        "coefficients": harm.coefficient_rows(),
    }.items():
        write.write_csv(folder / f"{name}.csv", tuple(rows[0]), rows)
