"""GeoParquet and plain Parquet tables (extra `parquet`)."""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd

from gravegis.errors import LayerError
from gravegis.layers.crs import understood
from gravegis.layers.read.damage import library_reads
from gravegis.layers.read.rows import as_raw, has_places, no_encoding, no_layer

if TYPE_CHECKING:
    from pathlib import Path

    from gravegis.layers.canonical import Frame
    from gravegis.layers.read.raw import Raw

__all__ = ["read_parquet"]

_DEGREES = "GeoParquet without a reference system is longitude and latitude (GeoParquet 1.1)"


def read_parquet(path: Path, *, layer: str | None = None, encoding: str | None = None) -> Raw:
    """Read a GeoParquet file, or a Parquet table without places.

    Raises LayerError when it is cut or damaged, when its rows differ from its own count, and when the library for
    it is not installed.
    """
    no_encoding(encoding, "Parquet is always UTF-8")
    no_layer(layer, "A Parquet file")
    try:
        from pyarrow import parquet
    except ImportError:
        raise LayerError(
            "Parquet needs a library that is not installed",
            where=path.name,
            remedy='In the folder of gravegis: python -m pip install ".[parquet]"',
        ) from None
    with library_reads(path), parquet.ParquetFile(path) as file:
        counted, names = int(file.metadata.num_rows), {*(file.metadata.metadata or {})}
        frame: Frame = gpd.read_parquet(path) if b"geo" in names else file.read().to_pandas()
    if len(frame) != counted:
        raise LayerError(
            f"{len(frame)} rows were read, the file says it holds {counted}", where=path.name,
            remedy="The file is damaged: export it again.",
        )  # fmt: skip
    if not has_places(frame) and isinstance(frame, gpd.GeoDataFrame):
        frame = frame.rename_geometry("geometry")
    frame = frame.reset_index(drop=True)
    crs, trouble = understood(frame.crs) if has_places(frame) and frame.crs is not None else (None, "")
    implied = _DEGREES if crs is not None and crs.to_authority() == ("OGC", "CRS84") else ""
    return as_raw(frame, crs, trouble, (), (), implied=implied)
