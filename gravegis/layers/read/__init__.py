"""Readers: one file in, rows as the file has them and what it says about their place out."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gravegis.errors import LayerError
from gravegis.layers.read.raw import Raw
from gravegis.layers.read.table import read_table
from gravegis.layers.read.vector import read_geojson, read_geopackage, read_shapefile, read_zip

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["KINDS", "Raw", "read_file"]

_VECTOR = {
    ".gpkg": read_geopackage,
    ".geojson": read_geojson,
    ".json": read_geojson,
    ".shp": read_shapefile,
    ".zip": read_zip,
}
_TABLE = (".csv", ".tsv", ".txt")
_BESIDE_SHP = (".shx", ".dbf", ".prj", ".cpg")

KINDS = (*_TABLE, *_VECTOR)
"""Endings of the files that can be read."""


def read_file(path: Path, *, layer: str | None = None, encoding: str | None = None) -> Raw:
    """Read one layer of a file.

    Parameters
    ----------
    path
        A table of text (.csv, .tsv, .txt), .gpkg, .geojson, .json, .shp with the files beside it, or a .zip of those.
    layer
        Layer within the file, where it holds several.
    encoding
        Of a text or of the table of a Shapefile; by default found out, and the guess is shown in the notes.

    Raises
    ------
    LayerError
        When the file is not there, of a kind that is not read, damaged or cut: never half read.
    """
    kind = path.suffix.lower()
    if not path.exists():
        raise LayerError("there is no such file", where=str(path), remedy="Look at its name and folder.")
    if not path.is_file():
        raise LayerError("this is a folder, not a file", where=str(path), remedy="Name one file.")
    if kind in _BESIDE_SHP:
        raise LayerError(f"{kind} is a part of a Shapefile", where=path.name, remedy="Name its .shp file.")
    if kind not in KINDS:
        raise LayerError(
            f"files of the kind '{kind or path.name}' are not read yet", where=path.name,
            remedy=f"Export it as CSV, GeoJSON, GeoPackage or Shapefile ({', '.join(KINDS)}).",
        )  # fmt: skip
    try:
        if kind in _VECTOR:
            return _VECTOR[kind](path, layer=layer, encoding=encoding)
        if layer is not None:
            raise LayerError("A table holds one layer only", where="--file-layer", remedy="Leave --file-layer out.")
        return read_table(path, encoding=encoding)
    except OSError as error:
        raise LayerError(f"the file cannot be read ({error})", where=path.name, remedy="Look at its rights.") from error
