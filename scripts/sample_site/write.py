"""Write the layers so that the same content gives the same bytes: fixed order, fixed decimals, no dates of the day."""

from __future__ import annotations

import csv
import io
import json
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import shapely
from pyproj import Transformer

from .ground import CRS, LONLAT_CRS, shape_to_grid

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from pathlib import Path

LONLAT_DECIMALS = 9
# the header of a dbf file holds the day it was written; a fixed one keeps the bytes the same
DBF_DAY = "2026-10-31"


def write_csv(path: Path, columns: Sequence[str], rows: Iterable[dict[str, Any]]) -> None:
    """Write a table; what a row lacks is left empty."""
    text = io.StringIO()
    table = csv.writer(text, lineterminator="\n")
    table.writerow(columns)
    for row in rows:
        table.writerow(["" if row.get(name) is None else row[name] for name in columns])
    path.write_bytes(text.getvalue().encode("utf-8"))


def _lonlat(shape: shapely.Geometry) -> dict[str, Any]:
    to_lonlat = Transformer.from_crs(CRS, LONLAT_CRS, always_xy=True)

    def move(points: np.ndarray[Any, np.dtype[np.float64]]) -> np.ndarray[Any, np.dtype[np.float64]]:
        return np.column_stack(to_lonlat.transform(points[:, 0], points[:, 1]))

    moved = shapely.orient_polygons(shapely.transform(shape_to_grid(shape), move))
    geometry: dict[str, Any] = json.loads(shapely.to_geojson(moved))
    return geometry


def _numbers(coordinates: Any) -> str:  # noqa: ANN401  (nested lists of any depth)
    if isinstance(coordinates, list):
        return "[" + ", ".join(_numbers(part) for part in coordinates) + "]"
    return f"{coordinates:.{LONLAT_DECIMALS}f}"


def write_geojson(
    path: Path, columns: Sequence[str], rows: Iterable[dict[str, Any]], shapes: Iterable[shapely.Geometry]
) -> None:
    """Write a GeoJSON layer in degrees, one feature a line."""
    lines = []
    for row, shape in zip(rows, shapes, strict=True):
        geometry = _lonlat(shape)
        properties = json.dumps({name: row.get(name) for name in columns}, ensure_ascii=False)
        place = f'{{"type": "{geometry["type"]}", "coordinates": {_numbers(geometry["coordinates"])}}}'
        lines.append(f'{{"type": "Feature", "properties": {properties}, "geometry": {place}}}')
    body = ",\n".join(lines)
    path.write_bytes(f'{{"type": "FeatureCollection", "features": [\n{body}\n]}}\n'.encode())


def write_shapefile(path: Path, rows: list[dict[str, Any]], shapes: list[shapely.Polygon]) -> None:
    """Write a Shapefile on the map grid, all columns as text."""
    frame = gpd.GeoDataFrame(rows, geometry=[shape_to_grid(shape) for shape in shapes], crs=CRS)
    frame.to_file(
        path, driver="ESRI Shapefile", engine="pyogrio", DBF_DATE_LAST_UPDATE=DBF_DAY, ENCODING="UTF-8", RESIZE="YES"
    )


def write_json(path: Path, content: dict[str, Any]) -> None:
    """Write a small JSON file."""
    path.write_bytes((json.dumps(content, indent=2, ensure_ascii=False) + "\n").encode())
