"""The site folder: create it, read it, save it whole or not at all.

Grids are written first, under names that hold their content hash; then the new GeoPackage is written beside the
old one, flushed to disk and put in its place. A reader or a crash meets the old site or the new one, never half.
"""

from __future__ import annotations

import logging
import os
import sqlite3
import tempfile
import time
import warnings
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import geopandas as gpd
import pyogrio

from gravegis.errors import StoreError
from gravegis.layers import schema
from gravegis.site import Site
from gravegis.store import grids, tables

if TYPE_CHECKING:
    from gravegis.layers.canonical import Frame
    from gravegis.site import SiteInfo

_log = logging.getLogger(__name__)

__all__ = ["GPKG", "create", "load", "refuse_if_there", "save"]

GPKG = "site.gpkg"
_RETRY_S = 5.0
_PAUSE_S = 0.25
# Names that no column of a person is likely to have, so that theirs are carried unchanged.
_LAYER_OPTIONS = {"FID": "_row", "GEOMETRY_NAME": "_place"}


def refuse_if_there(folder: Path) -> None:
    """Raise StoreError where the folder holds a site already."""
    if (folder / GPKG).exists():
        raise StoreError(
            "there is a site in this folder already", where=str(folder / GPKG), remedy="Choose another folder name."
        )


def create(folder: Path, info: SiteInfo) -> Site:
    """Make a new, empty site folder and return the site; raises StoreError where one stands already."""
    refuse_if_there(folder)
    site = Site(info)
    save(site, folder)
    return site


def load(folder: Path) -> Site:
    """Read a site; a result whose grid file is gone or damaged is dropped, with a warning to the log.

    Raises StoreError when there is no site, it is damaged, or it was made by a newer gravegis.
    """
    path = folder / GPKG
    if not path.is_file():
        raise StoreError(
            "there is no site here",
            where=str(folder),
            remedy=f'Make one: gravegis new {folder} --title "..." .',
        )
    _quick_check(path)
    try:
        names = [str(name) for name, _ in pyogrio.list_layers(path)]
    except pyogrio.errors.DataSourceError as error:
        raise _damaged(path, str(error)) from None
    meta = {name: _read(path, name) for name in names if name in tables.NAMES}
    info, settings, log = tables.unpack(meta, path)
    layers = {name: _read(path, name, info.crs) for name in names if schema.is_known(name)}
    found, lost = grids.read(folder, meta.get("grids"))
    site = replace(Site(info, settings=settings, log=log).with_layers(layers), grids=found)
    for record in [record for record in site.log if set(record.grids) & lost]:
        _log.warning("%s: the grid of %s is gone or damaged; its result is dropped", folder, record.analysis)
        site = site.without_result(record.analysis)
    return site


def save(site: Site, folder: Path) -> None:
    """Write the whole site; raises StoreError (nothing changed) when the disk or another program is in the way."""
    path = folder / GPKG
    try:
        folder.mkdir(parents=True, exist_ok=True)
        named = grids.write(site, folder)
        handle, beside = tempfile.mkstemp(prefix=".site-", suffix=".gpkg", dir=folder)
        os.close(handle)
    except OSError as error:
        raise _cannot_write(error, folder) from error
    try:
        Path(beside).unlink()
        _write_all(site, named, Path(beside))
        _flush(Path(beside))
        _put_in_place(Path(beside), path)
    except (OSError, pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError, RuntimeError) as error:
        raise _cannot_write(error, path) from error
    finally:
        for leftover in folder.glob(f"{Path(beside).name}*"):
            leftover.unlink(missing_ok=True)
    grids.sweep(folder, named)


def _write_all(site: Site, named: Frame, path: Path) -> None:
    for name, table in {**tables.pack(site), "grids": named}.items():
        _write(table, name, path)
    for name in site:
        _write(_storable(site[name]), name, path)


def _write(frame: Frame, name: str, path: Path) -> None:
    options = dict(_LAYER_OPTIONS) if isinstance(frame, gpd.GeoDataFrame) else {"FID": _LAYER_OPTIONS["FID"]}
    place = {"geometry_type": "Unknown"} if isinstance(frame, gpd.GeoDataFrame) else {}
    with warnings.catch_warnings():
        # an empty or all-missing column has no type of its own; ours are restored by the schema on reading
        warnings.filterwarnings("ignore", category=UserWarning, module="pyogrio")
        pyogrio.write_dataframe(
            frame, path, layer=name, driver="GPKG", append=path.exists(), layer_options=options, **place
        )


def _storable(frame: Frame) -> Frame:
    """Return the layer with types the file knows: numbers that may be missing are stored as such."""
    made = frame.copy(deep=False)
    for column in made.columns:
        if str(made[column].dtype) in ("Int64", "boolean"):
            has_gaps = bool(made[column].isna().any())
            made[column] = made[column].astype("float64" if has_gaps else "int64")
    return made


def _read(path: Path, name: str, crs: str | None = None) -> Frame:
    frame: Frame = pyogrio.read_dataframe(path, layer=name)
    if isinstance(frame, gpd.GeoDataFrame):
        placed = frame if frame.geometry.name == "geometry" else frame.rename_geometry("geometry")
        return placed.set_crs(crs, allow_override=True) if crs else placed
    return frame


def _quick_check(path: Path) -> None:
    """Let SQLite look at every page: a GeoPackage damaged in the middle is otherwise read without an error."""
    try:
        with sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True) as connection:
            verdict = connection.execute("PRAGMA quick_check(1)").fetchone()[0]
        connection.close()
    except sqlite3.DatabaseError as error:
        verdict = str(error)
    if verdict != "ok":
        raise _damaged(path, verdict)


def _damaged(path: Path, verdict: str) -> StoreError:
    if not os.access(path, os.R_OK):
        return StoreError("the site file may not be read", where=str(path), remedy="Ask for permission to read it.")
    return StoreError(
        f"the site file is damaged ({verdict})", where=str(path), remedy="Put back a copy of it; nothing was changed."
    )


def _flush(path: Path) -> None:
    descriptor = os.open(path, os.O_RDWR)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _put_in_place(beside: Path, path: Path) -> None:
    """Replace the old file; on Windows another program that reads it makes this fail for a while."""
    until = time.monotonic() + _RETRY_S
    while True:
        try:
            beside.replace(path)
        except PermissionError:
            if time.monotonic() > until:
                raise
            time.sleep(_PAUSE_S)
        else:
            break
    if os.name == "posix":
        folder = os.open(path.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)


def _cannot_write(error: Exception, where: Path) -> StoreError:
    return StoreError(
        f"the site cannot be saved ({error}); nothing was changed",
        where=str(where),
        remedy="Check free space and write permission, close other programs that have the file open, save again.",
    )
