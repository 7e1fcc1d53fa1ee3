"""GeoPackage, GeoJSON and Shapefile: read whole or refused, with what each says about its place."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gravegis.layers.crs import understood
from gravegis.layers.read import whole
from gravegis.layers.read.long_names import longer_names
from gravegis.layers.read.rows import (
    as_raw,
    crs_member,
    cut_names,
    guessed_letters,
    has_places,
    layer_name,
    no_encoding,
    no_layer,
    read_rows,
)  # fmt: skip

if TYPE_CHECKING:
    from pathlib import Path

    from gravegis.layers.read.raw import Raw

__all__ = ["read_geojson", "read_geopackage", "read_shapefile"]

_RFC = "GeoJSON without a reference system is longitude and latitude, WGS 84 (RFC 7946)"


def read_geopackage(path: Path, *, layer: str | None = None, encoding: str | None = None) -> Raw:
    """Read a layer of a GeoPackage; raises LayerError when it is damaged or holds several and none is named."""
    no_encoding(encoding, "A GeoPackage is always UTF-8")
    whole.geopackage(path)
    name = layer_name(path, layer)
    counted = whole.geopackage_rows(path, name)
    frame, said = read_rows(path, counted, layer=name)
    crs, trouble = understood(frame.crs) if has_places(frame) and frame.crs is not None else (None, "")
    return as_raw(frame, crs, trouble, said, counted.notes)


def read_geojson(path: Path, *, layer: str | None = None, encoding: str | None = None) -> Raw:
    """Read a GeoJSON file; its old ``crs`` member is honoured where it names a known system.

    A member nobody knows leaves the reference system open: libraries take such a file for degrees without a word.
    """
    no_encoding(encoding, "GeoJSON is always UTF-8")
    no_layer(layer, "A GeoJSON file")
    counted = whole.geojson(path)
    frame, said = read_rows(path, counted, prefix="GeoJSON:")
    if counted.ids and "id" not in frame.columns:
        frame = frame.assign(id=np.array([None if one is None else str(one) for one in counted.ids], dtype=object))
    if counted.member is None:
        return as_raw(frame, understood("EPSG:4326")[0], "", said, counted.notes, implied=_RFC)
    crs, trouble = crs_member(counted.member)
    return as_raw(frame, crs, trouble, said, counted.notes)


def read_shapefile(path: Path, *, layer: str | None = None, encoding: str | None = None) -> Raw:
    """Read a Shapefile; raises LayerError when one of its files is missing, cut or of another table."""
    no_layer(layer, "A Shapefile")
    counted = whole.shapefile(path)
    frame, said = read_rows(path, counted, encoding=encoding)
    projection = whole.beside(path, ".prj")
    crs, trouble = None, ""
    if projection is not None and (text := projection.read_text(encoding="utf-8", errors="replace").strip()):
        crs, trouble = understood(text)
    frame, named = longer_names(frame, path)
    notes = [*counted.notes, *(named or cut_names(frame))]
    if encoding is None and whole.beside(path, ".cpg") is None:
        said = (*said, *guessed_letters(frame))
    return as_raw(frame, crs, trouble, said, tuple(notes))
