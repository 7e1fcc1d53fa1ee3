"""Rasters, such as an aerial picture: recognised, with what they are, since a layer is rows."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gravegis.errors import LayerError
from gravegis.layers.read.damage import library_reads

if TYPE_CHECKING:
    from pathlib import Path

    from gravegis.layers.read.raw import Raw

__all__ = ["read_backdrop"]


def read_backdrop(path: Path, *, layer: str | None = None, encoding: str | None = None) -> Raw:
    """Refuse a raster as a layer, saying what it shows: its size, pixel and reference system.

    Raises LayerError always: stones are not read out of pictures.
    """
    del layer, encoding
    import rasterio

    with library_reads(path, "picture"), rasterio.open(path.resolve(), driver="GTiff") as raster:
        facts = f"{raster.width} x {raster.height} pixels, {raster.count} bands"
        placed = raster.crs is not None
        name = raster.crs.to_string()[:60] if placed else ""
        pixel = abs(raster.transform.a)
    if placed:
        words = f"this is a picture of the ground ({facts}, pixels of {pixel:g} in {name}): a backdrop, not rows"
    else:
        words = f"this is a picture without a place ({facts})"
    raise LayerError(
        words, where=path.name,
        remedy="Trace stones and paths from it in a map program and bring in what was traced; "
               "photos with a position come in as JPEG.",
    )  # fmt: skip
