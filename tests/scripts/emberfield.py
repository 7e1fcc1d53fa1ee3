"""The files of Emberfield Rise as the tests read them, and the most ground each head can mean."""

from __future__ import annotations

import math
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import Proj, Transformer

ROOT = Path(__file__).resolve().parents[2]
KEPT = ROOT / "sample_layers"
FOLDER = KEPT / "emberfield_rise"
TRUTH = KEPT / "emberfield_rise_truth"
GRID = 7854
WIDEST_THROW_M = 18.0  # the longest a rotor or rotary nozzle without a known throw may reach
IDS = {
    "stones.geojson": "stone_id", "plots.shp": "plot_id", "heads.csv": "head_id", "zones.csv": "zone_id",
    "schedules.csv": "schedule_id", "paths.geojson": "path_id", "barriers.geojson": "barrier_id",
    "gates.geojson": "gate_id", "bases.csv": "base_id", "taps.csv": "tap_id", "crews.csv": "crew_id",
    "findings.csv": "finding_id", "wet_areas.geojson": "wet_area_id", "throws.geojson": "throw_id",
    "sources.csv": "source_id", "water.csv": "sample_id", "shade.geojson": "shade_id",
    "sensitive.geojson": "sensitive_id", "closures.geojson": "closure_id", "permissions.csv": "permission_id",
    "products.csv": "product_id", "grounds_log.geojson": "grounds_log_id",
}  # fmt: skip
PLACED_TABLES = ("heads.csv", "taps.csv", "bases.csv")


def table(name: str) -> pd.DataFrame:
    """Read a layer without its geometry; ids stay text."""
    if name.endswith(".csv"):
        return pd.read_csv(FOLDER / name, dtype={IDS[name]: str, "tag": str})
    return pd.DataFrame(gpd.read_file(FOLDER / name).drop(columns="geometry"))


def shapes(name: str) -> gpd.GeoDataFrame:
    """Read a layer with a geometry, on the map grid."""
    if name.endswith(".csv"):
        rows = table(name)
        return gpd.GeoDataFrame(rows, geometry=gpd.points_from_xy(rows["easting"], rows["northing"]), crs=GRID)
    return gpd.read_file(FOLDER / name).to_crs(GRID)


def coefficients() -> dict[tuple[str, str], float]:
    rows = pd.read_csv(TRUTH / "coefficients.csv", keep_default_na=False)
    return {(row["name"], row["material"]): float(row["value"]) for _, row in rows.iterrows()}


def bearing_on_grid_deg(true_deg: float, place: shapely.Point) -> float:
    """Turn a true bearing into one on the map grid, by the projection's own convergence."""
    lon, lat = Transformer.from_crs(GRID, 7844, always_xy=True).transform(place.x, place.y)
    return true_deg - float(Proj(f"EPSG:{GRID}").get_factors(lon, lat).meridian_convergence)


def widest_throw(head: pd.Series) -> shapely.Geometry:
    """Return the most ground a row of the table can mean: gaps are filled with the widest guess."""
    place = shapely.Point(head["geometry"])
    if head["kind"].startswith("strip"):
        return shapely.buffer(place, math.hypot(head["strip_length_m"], head["strip_width_m"]))
    throw_m = WIDEST_THROW_M if math.isnan(head["throw_m"]) else head["throw_m"]
    if math.isnan(head["arc_from_deg"]) or head["arc_sweep_deg"] == 360:
        return shapely.buffer(place, throw_m, quad_segs=64)
    start = bearing_on_grid_deg(head["arc_from_deg"], place)
    turns = np.radians(np.linspace(start, start + head["arc_sweep_deg"], 181))
    rim = np.column_stack([place.x + throw_m * np.sin(turns), place.y + throw_m * np.cos(turns)])
    return shapely.Polygon([(place.x, place.y), *rim])
