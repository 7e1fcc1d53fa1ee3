"""Write the invented burial ground Emberfield Rise into sample_layers/, or check that it is still the same.

``python scripts/make_sample_layers.py`` writes the files; with ``--check`` it makes them again elsewhere and
compares byte for byte.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[1]
if str(ROOT) not in sys.path:  # run as a script, only scripts/ is on the path
    sys.path.insert(0, str(ROOT))

import shapely  # noqa: E402  (after the path is set, as all below)

from scripts.sample_site import condition, ground, tables, write  # noqa: E402
from scripts.sample_site import heads as heads_module  # noqa: E402
from scripts.sample_site.heads import OUTLINED_HEAD, Head, make_heads  # noqa: E402
from scripts.sample_site.stones import Plot, Stone, make_plots, make_stones  # noqa: E402

FOLDER = ROOT / "sample_layers" / "emberfield_rise"

STONE_COLUMNS = (
    "stone_id", "plot_id", "section", "row", "place_in_row", "tag", "find_me", "material", "finish", "form",
    "height_m", "width_m", "thickness_m", "facing_deg", "year", "lean_deg", "quick_score", "stability",
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
SCHEDULE_COLUMNS = (
    "schedule_id", "zone_id", "program", "start_at", "run_min", "every", "cycles_n", "soak_min", "from_on",
    "to_on", "adjust_pct", "kind",
)  # fmt: skip
CREW_COLUMNS = ("crew_id", "people_n", "skills", "shift_from", "shift_to", "base_id", "carries")


def _on_map(place: tuple[float, float]) -> dict[str, str]:
    east, north = shapely.get_coordinates(ground.shape_to_grid(shapely.Point(place)))[0]
    return {"easting": f"{east:.3f}", "northing": f"{north:.3f}"}


def _write_surveyed(folder: Path, plots: list[Plot], stones: list[Stone], heads: list[Head]) -> None:
    """Write what stands on the ground: plots, stones, heads, one surveyed outline."""
    plot_rows = [
        {"plot_id": plot.plot_id, "section": plot.row.section, "row": plot.row.name, "lot": str(plot.lot)}
        for plot in plots
    ]
    write.write_shapefile(folder / "plots.shp", plot_rows, [plot.ground for plot in plots])
    stone_rows = [stone.columns for stone in stones]
    write.write_geojson(folder / "stones.geojson", STONE_COLUMNS, stone_rows, [stone.ground for stone in stones])
    head_rows = [{**head.columns, **_on_map(head.place)} for head in heads]
    write.write_csv(folder / "heads.csv", HEAD_COLUMNS, head_rows)
    outlined = next(head for head in heads if head.columns["head_id"] == OUTLINED_HEAD)
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
        for path in ground.PATHS
    ]
    lines = [shapely.LineString(path.line) for path in ground.PATHS]
    write.write_geojson(folder / "paths.geojson", tuple(paths[0]), paths, lines)
    barriers = [{"barrier_id": name, "kind": kind, "height_m": high} for name, kind, high, _ in ground.BARRIERS]
    walls = [shapely.LineString(line) for *_, line in ground.BARRIERS]
    write.write_geojson(folder / "barriers.geojson", tuple(barriers[0]), barriers, walls)
    gates = [{"gate_id": name, "kind": kind, "width_m": wide} for name, kind, wide, _ in ground.GATES]
    spots = [shapely.Point(place) for *_, place in ground.GATES]
    write.write_geojson(folder / "gates.geojson", tuple(gates[0]), gates, spots)
    base = {"base_id": "BS1", "label": "tool store", **_on_map(ground.BASE)}
    write.write_csv(folder / "bases.csv", tuple(base), [base])
    names = ("tap_id", "source_id", "fit_to_drink", "fitting", "season")
    taps: list[dict[str, Any]] = []
    for tap_id, place, *facts in ground.TAPS:
        taps.append({**dict(zip(names, (tap_id, *facts), strict=True)), **_on_map(place)})
    write.write_csv(folder / "taps.csv", tuple(taps[0]), taps)


def _write_tables(folder: Path, findings: list[dict[str, Any]]) -> None:
    """Write the tables without a place, the hosed corner, and the settings of the ground."""
    write.write_csv(folder / "zones.csv", tuple(tables.ZONES[0]), tables.ZONES)
    write.write_csv(folder / "schedules.csv", SCHEDULE_COLUMNS, tables.SCHEDULES)
    write.write_csv(folder / "crews.csv", CREW_COLUMNS, tables.CREWS)
    write.write_csv(folder / "findings.csv", FINDING_COLUMNS, findings)
    corner = {"wet_area_id": "WA1", "source_id": "mains", "hours_week": 3.0, "basis": "told"}
    shape = shapely.Polygon(ground.HOSED_CORNER)
    write.write_geojson(folder / "wet_areas.geojson", tuple(corner), [corner], [shape])
    write.write_json(folder / "site.json", tables.SITE)


def build(folder: Path) -> None:
    """Make the whole ground and write every file of it into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    plots = make_plots()
    stones = make_stones(plots)
    heads = make_heads(stones)
    condition.score_stones(stones, heads)
    findings = condition.make_findings(stones, heads)
    heads_module.record(heads)
    _write_surveyed(folder, plots, stones, heads)
    _write_ways(folder)
    _write_tables(folder, findings)


def differences(made: Path, kept: Path) -> list[str]:
    """Return the names of files that differ, are missing, or are too many."""
    names = {path.name for folder in (made, kept) if folder.is_dir() for path in folder.iterdir()}

    def same(name: str) -> bool:
        ours, theirs = made / name, kept / name
        return ours.is_file() and theirs.is_file() and ours.read_bytes() == theirs.read_bytes()

    return sorted(name for name in names if not same(name))


def main(arguments: list[str] | None = None) -> int:
    """Write the files, or with --check compare; return the exit code."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--check", action="store_true", help="compare with the files kept, write nothing")
    parser.add_argument("--folder", type=Path, default=FOLDER, help="folder to write or compare")
    options = parser.parse_args(arguments)
    if not options.check:
        build(options.folder)
        print(f"written: {options.folder}")
        return 0
    with tempfile.TemporaryDirectory() as scratch:
        build(Path(scratch))
        differ = differences(Path(scratch), options.folder)
    if differ:
        print("differ from what the script makes: " + ", ".join(differ), file=sys.stderr)
        return 1
    print("the same as what the script makes")
    return 0


if __name__ == "__main__":
    sys.exit(main())
