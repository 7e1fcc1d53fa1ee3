"""Write Juniper Bench as it would be sent, and apart from it the truth in metres and SI."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import geopandas as gpd
import shapely
from pyproj import Transformer

from scripts.sample_site.write import DBF_DAY, write_csv

from . import ground

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from .ground import Row


def _shapefile(path: Path, rows: Sequence[Row]) -> None:
    """Write a Shapefile in US survey feet; column names are cut to ten letters, as the format asks."""
    frame = gpd.GeoDataFrame([row.given for row in rows], geometry=[row.shape for row in rows], crs=ground.METRIC_CRS)
    frame.to_crs(ground.FEET_CRS).to_file(
        path, driver="ESRI Shapefile", engine="pyogrio", DBF_DATE_LAST_UPDATE=DBF_DAY, ENCODING="UTF-8", RESIZE="YES"
    )


def _phone_rows() -> list[dict[str, Any]]:
    to_lonlat = Transformer.from_crs(ground.METRIC_CRS, ground.LONLAT_CRS, always_xy=True)
    made = []
    for row in ground.stones():
        lon, lat = to_lonlat.transform(*shapely.get_coordinates(row.shape)[0])
        made.append({**row.given, "LATITUDE": f"{lat:.9f}", "LONGITUDE": f"{lon:.9f}"})
    return made


def build(folder: Path) -> None:
    """Write what the contractor sends: a plan in feet, a list of phone points, a sheet of the laboratory."""
    for name in ("plots", "heads", "zones", "pipes"):
        _shapefile(folder / f"{name}.shp", getattr(ground, name)())
    phone = _phone_rows()
    write_csv(folder / "gps_stones.csv", tuple(phone[0]), phone)
    lines = [dict(zip(("Parameter", "Result", "Units"), line, strict=True)) for line in ground.LAB_SHEET]
    write_csv(folder / "lab_sheet.csv", ("Parameter", "Result", "Units"), lines)


def build_truth(folder: Path) -> None:
    """Write every row in metres on EPSG:32149 and SI, shapes to a tenth of a millimetre."""
    for name in ("plots", "heads", "zones", "stones"):
        rows = [
            {**_rounded(row.truth), "wkt": shapely.to_wkt(row.shape, rounding_precision=4, trim=True)}
            for row in getattr(ground, name)()
        ]
        write_csv(folder / f"{name}.csv", tuple(rows[0]), rows)
    write_csv(folder / "water.csv", tuple(ground.WATER_TRUTH), [ground.WATER_TRUTH])


def _rounded(row: dict[str, Any]) -> dict[str, Any]:
    return {name: round(value, 4) if isinstance(value, float) else value for name, value in row.items()}
