"""Grids as GeoTIFF beside the site file, under names that hold their content hash."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from gravegis.site import Raster

if TYPE_CHECKING:
    from pathlib import Path

    from gravegis.layers.canonical import Frame
    from gravegis.site import Site

__all__ = ["read", "sweep", "write"]

FOLDER = "grids"
_COLUMNS = ("name", "file", "meaning", "unit")


def write(site: Site, folder: Path) -> Frame:
    """Write every grid not yet there and return the table that names them."""
    rows = []
    for name, grid in sorted(site.grids.items()):
        file = folder / FOLDER / f"{name}-{content_hash(grid)[:12]}.tif"
        if not file.exists():
            file.parent.mkdir(exist_ok=True)
            to_geotiff(grid, site.info.crs, file)
        rows.append({"name": name, "file": file.name, "meaning": grid.meaning, "unit": grid.unit})
    return pd.DataFrame(rows, columns=list(_COLUMNS)).astype("str")


def read(folder: Path, named: Frame | None) -> tuple[dict[str, Raster], set[str]]:
    """Return the grids a site names, and the names of those whose file is gone or cannot be read."""
    import rasterio

    grids: dict[str, Raster] = {}
    lost: set[str] = set()
    for row in (pd.DataFrame() if named is None else named).itertuples():
        try:
            with rasterio.open(folder / FOLDER / str(row.file)) as opened:
                grids[str(row.name)] = Raster(
                    values=opened.read(1).astype("float64"),
                    left_m=opened.transform.c,
                    top_m=opened.transform.f,
                    cell_m=opened.transform.a,
                    meaning=str(row.meaning),
                    unit=str(row.unit),
                )
        except rasterio.errors.RasterioIOError:
            lost.add(str(row.name))
    return grids, lost


def sweep(folder: Path, named: Frame) -> None:
    """Remove grid files of ours that the site names no more."""
    kept = set(named["file"])
    for file in (folder / FOLDER).glob("*-????????????.tif"):
        if file.name not in kept:
            file.unlink(missing_ok=True)


def content_hash(grid: Raster) -> str:
    """Return a SHA-256 of the cells and of where they lie."""
    head = f"{grid.values.shape}|{grid.left_m!r}|{grid.top_m!r}|{grid.cell_m!r}|{grid.meaning}|{grid.unit}"
    return hashlib.sha256(head.encode() + grid.values.astype("float32").tobytes()).hexdigest()


def to_geotiff(grid: Raster, crs: str, file: Path) -> None:
    """Write one grid as a GeoTIFF (32-bit, NaN where nothing is said)."""
    import rasterio
    from rasterio.transform import from_origin

    rows, columns = grid.values.shape
    beside = file.with_suffix(".part.tif")
    with rasterio.open(
        beside, "w", driver="GTiff", height=rows, width=columns, count=1, dtype="float32", crs=crs, nodata=np.nan,
        transform=from_origin(grid.left_m, grid.top_m, grid.cell_m, grid.cell_m), compress="deflate",
    ) as opened:  # fmt: skip
        opened.write(grid.values.astype("float32"), 1)
        opened.update_tags(1, meaning=grid.meaning, unit=grid.unit)
    beside.replace(file)
