"""Rasters, such as an aerial picture: a backdrop under the maps, whose outline is the one row."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import geopandas as gpd
import shapely

from gravegis.errors import LayerError
from gravegis.layers.read.damage import library_reads
from gravegis.layers.read.raw import Raw
from gravegis.layers.read.rows import no_encoding, no_layer

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["read_backdrop"]

_MOST_PIXELS = 4_000_000_000  # common practice, no source


def read_backdrop(path: Path, *, layer: str | None = None, encoding: str | None = None) -> Raw:
    """Read the outline of a raster as one row, with its file and the side of a pixel.

    `picture` of what is returned says what it shows. Raises LayerError when the raster has no place, or is damaged.
    """
    no_encoding(encoding, "A picture")
    no_layer(layer, "A picture")
    import rasterio

    with library_reads(path, "picture"), rasterio.open(path.resolve(), driver="GTiff") as raster:
        wide, high, bands = raster.width, raster.height, raster.count
        transform, system = raster.transform, raster.crs
        # the last line is read, so that a file that was cut is noticed
        raster.read(1, window=((high - 1, high), (0, wide)))
    facts = f"{wide} x {high} pixels, {bands} bands"
    if system is None or transform.is_identity or wide * high > _MOST_PIXELS:
        wrong = "is larger than is read here" if wide * high > _MOST_PIXELS else "has no place on the ground"
        raise LayerError(
            f"this is a picture that {wrong} ({facts})", where=path.name,
            remedy="Export it as a GeoTIFF of the ground with its reference system; photos come in as JPEG.",
        )  # fmt: skip
    from gravegis.layers.crs import understood

    crs, trouble = understood(_wkt(system))
    corners = [transform @ corner for corner in ((0, 0), (wide, 0), (wide, high), (0, high))]
    metre = crs.axis_info[0].unit_conversion_factor if crs is not None and crs.is_projected else None
    pixel_m = None if metre is None else abs(transform.a) * metre if not transform.b else None
    frame = gpd.GeoDataFrame(
        {"backdrop_id": [path.stem], "file": [path.name], "pixel_m": [pixel_m]}, geometry=[shapely.Polygon(corners)]
    )
    side = f"pixels of {abs(transform.a):g} {'units' if crs is None else crs.axis_info[0].unit_name}"
    basis = "" if crs is None else f"the picture says {crs.name}"
    return Raw(frame, crs, basis, stated=crs is not None, trouble=trouble, picture=f"{facts}, {side}", notes=(facts,))


def _wkt(system: Any) -> str:  # noqa: ANN401 - a system of the library
    try:
        return str(system.to_wkt())
    except Exception:  # noqa: BLE001 - a system of a damaged file, which the library cannot write down
        return "a system without words"
