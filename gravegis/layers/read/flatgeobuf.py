"""FlatGeobuf: read whole or refused."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pyogrio

from gravegis.layers.crs import understood
from gravegis.layers.read.damage import library_reads
from gravegis.layers.read.rows import as_raw, has_places, library_path, no_encoding, no_layer, read_rows
from gravegis.layers.read.whole import Counted

if TYPE_CHECKING:
    from pathlib import Path

    from gravegis.layers.read.raw import Raw

__all__ = ["read_flatgeobuf"]


def read_flatgeobuf(path: Path, *, layer: str | None = None, encoding: str | None = None) -> Raw:
    """Read a FlatGeobuf file; raises LayerError when it is cut, or holds fewer rows than its head says."""
    no_encoding(encoding, "FlatGeobuf is always UTF-8")
    no_layer(layer, "A FlatGeobuf file")
    with library_reads(path):
        rows = int(pyogrio.read_info(library_path(path), force_feature_count=True)["features"])
    frame, said = read_rows(path, Counted(rows))
    crs, trouble = understood(frame.crs) if has_places(frame) and frame.crs is not None else (None, "")
    return as_raw(frame, crs, trouble, said, ())
