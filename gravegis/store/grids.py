"""Grids as GeoTIFF beside the site file, under names that hold their content hash."""

from __future__ import annotations

import errno
import hashlib
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from gravegis.site import Raster
from gravegis.store import versions
from gravegis.store.commit import flush
from gravegis.store.names import GRIDS, PART

if TYPE_CHECKING:
    from pathlib import Path

    from gravegis.layers.canonical import Frame
    from gravegis.site import Site

__all__ = ["read", "sweep", "write"]

_COLUMNS = ("name", "file", "meaning", "unit")


def write(site: Site, folder: Path) -> Frame:
    """Write every grid not yet there, whole, and return the table that names them; raises OSError."""
    rows = []
    for name, grid in sorted(site.grids.items()):
        file = folder / GRIDS / f"{name}-{content_hash(grid)[:12]}.tif"
        if not _holds(file, grid):
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
            with rasterio.open(folder / GRIDS / str(row.file)) as opened:
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
    """Remove grid files of ours that neither the site nor a kept version names."""
    earlier = versions.grids_named(folder)
    if earlier is None:
        return
    kept = {*named["file"], *earlier}
    for file in (folder / GRIDS).glob("*-????????????.tif"):
        if file.name not in kept:
            file.unlink(missing_ok=True)


def content_hash(grid: Raster) -> str:
    """Return a SHA-256 of the cells and of where they lie."""
    head = f"{grid.values.shape}|{grid.left_m!r}|{grid.top_m!r}|{grid.cell_m!r}|{grid.meaning}|{grid.unit}"
    return hashlib.sha256(head.encode() + grid.values.astype("float32").tobytes()).hexdigest()


def to_geotiff(grid: Raster, crs: str, file: Path) -> None:
    """Write one grid as a GeoTIFF (32-bit, NaN where nothing is said); raises OSError where it did not arrive whole.

    A full disk is no error to the library that writes, so what was written is read back before it gets its name.
    """
    import rasterio
    from rasterio.transform import from_origin

    rows, columns = grid.values.shape
    beside = file.with_suffix(f"{PART}.tif")
    try:
        with rasterio.open(
            beside, "w", driver="GTiff", height=rows, width=columns, count=1, dtype="float32", crs=crs, nodata=np.nan,
            transform=from_origin(grid.left_m, grid.top_m, grid.cell_m, grid.cell_m), compress="deflate",
        ) as opened:  # fmt: skip
            opened.write(grid.values.astype("float32"), 1)
            opened.update_tags(1, meaning=grid.meaning, unit=grid.unit)
        if not _holds(beside, grid):
            raise OSError(errno.ENOSPC, "the grid did not arrive whole, the disk may be full", str(file))
        flush(beside)
        beside.replace(file)
    finally:
        beside.unlink(missing_ok=True)


def _holds(file: Path, grid: Raster) -> bool:
    import rasterio

    if not file.exists():
        return False
    try:
        with rasterio.open(file) as opened:
            return np.array_equal(opened.read(1), grid.values.astype("float32"), equal_nan=True)
    except rasterio.errors.RasterioError:
        return False
