"""Readers: one file in, rows as the file has them and what it says about their place out."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from gravegis.errors import LayerError
from gravegis.layers.read.kinds import TABLE, by_content, by_ending, check_content, reader_of
from gravegis.layers.read.raw import Raw

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["KINDS", "Raw", "read_file"]

_BESIDE_SHP = (".shx", ".dbf", ".prj", ".cpg")

KINDS = tuple(ending for kind in TABLE for ending in kind.endings)
"""Endings of the files that can be read."""


def read_file(path: Path, *, layer: str | None = None, encoding: str | None = None) -> Raw:
    """Read one layer of a file; a folder is read as a folder of photos.

    Nothing is fetched from a network, whatever the file names.

    Parameters
    ----------
    path
        A file of one of the kinds in `kinds.TABLE`, known by its ending, else by its first bytes.
    layer
        Layer, folder or sheet within the file, where it holds several.
    encoding
        Of a text or of the table of a Shapefile; by default found out, and the guess is shown in the notes.

    Raises
    ------
    LayerError
        When the file is not there, of a kind that is not read, damaged or cut: never half read.
    """
    ending = path.suffix.lower()
    if not path.exists():
        raise LayerError("there is no such file", where=str(path), remedy="Look at its name and folder.")
    if path.is_dir():
        from gravegis.layers.read.photo import read_photos

        return read_photos(path, layer=layer, encoding=encoding)
    if not path.is_file():
        raise LayerError("this is no file", where=str(path), remedy="Name one file.")
    if ending in _BESIDE_SHP:
        raise LayerError(f"{ending} is a part of a Shapefile", where=path.name, remedy="Name its .shp file.")
    try:
        return _read(path, layer=layer, encoding=encoding)
    except OSError as error:
        raise LayerError(f"the file cannot be read ({error})", where=path.name, remedy="Look at its rights.") from error
    except MemoryError:
        raise LayerError("the file needs more memory than there is", where=path.name, remedy="Split it.") from None


def _read(path: Path, *, layer: str | None, encoding: str | None) -> Raw:
    kind, notes = by_ending(path), list[str]()
    if kind is None and (kind := by_content(path)) is not None:
        notes.append(f"its first bytes say that it is {kind.name}")
    if kind is None:
        check_content(path, TABLE[0])
        raise LayerError(
            f"files of the kind '{path.suffix.lower() or path.name}' are not read", where=path.name,
            remedy=f"Export it as CSV, GeoJSON, GeoPackage or Shapefile ({', '.join(KINDS)}).",
        )  # fmt: skip
    check_content(path, kind)
    raw = reader_of(kind)(path, layer=layer, encoding=encoding)
    return replace(raw, notes=(*notes, *raw.notes)) if notes else raw
