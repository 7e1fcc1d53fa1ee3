"""The site folder: create it, read it, save it whole or not at all.

Grids are written first, under names that hold their content hash; then the new GeoPackage is written beside the
old one, flushed to disk and put in its place. A reader or a crash meets the old site or the new one, never half.
"""

from __future__ import annotations

import contextlib
import errno
import logging
import os
import secrets
import shutil
import sqlite3
import tempfile
import warnings
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import geopandas as gpd
import pyogrio
import shapely

from gravegis.errors import GravegisError, StoreError
from gravegis.layers import schema
from gravegis.site import Site
from gravegis.store import grids, journal, migrate, photos, tables, versions
from gravegis.store.commit import commit
from gravegis.store.names import BESIDE, GPKG

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterator, Mapping

    from gravegis.layers.canonical import Frame
    from gravegis.site import SiteInfo

_log = logging.getLogger(__name__)

__all__ = ["create", "load", "refuse_if_there", "restore", "save"]

_PLACE = "_place"
_READS = 10
_BUSY_S = 5.0
# Names that no column of a person is likely to have, so that theirs are carried unchanged.
_LAYER_OPTIONS = {"FID": "_row", "GEOMETRY_NAME": _PLACE}


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
    """Read a site with the edits since its last save; a result whose grid is gone or damaged is dropped and logged.

    A site of an older schema is brought forward; its results are dropped and listed in the log. A save by another
    process in the meantime is noticed and the new site read, so that layers of two saves never mix. Raises
    StoreError when there is no site, it is damaged (the journal of edits too), or it was made by a newer gravegis.
    """
    path = folder / GPKG
    for _ in range(_READS):
        before = _identity(path)
        if before is None:
            raise versions.no_site(folder)
        try:
            site, lost = _read_site(path, folder)
            site = journal.replayed(site, folder)
            site.saves.add(journal.save_of(path).this)
        except (GravegisError, OSError, RuntimeError, ValueError):
            if _identity(path) == before:
                raise
        else:
            if _identity(path) == before:
                return _without_lost(site, lost, folder)
    raise StoreError(
        "the site is being saved again and again while it is read", where=str(path), remedy="Try again in a minute."
    )


def save(site: Site, folder: Path, *, saved_at: dt.datetime | None = None) -> None:
    """Write the whole site, the edits since the last save among it; the state before becomes a version.

    `saved_at` is the time the save is known by; default: now. Hold `locked(folder)` from load to save where
    others may write. Raises StoreError (nothing changed) when the disk or another program is in the way, or edits
    stand in the folder that this site was never read with.
    """
    path = folder / GPKG
    before = journal.read(folder)
    _refuse_unread_edits(site, before, folder)
    this = tables.SaveId(secrets.token_hex(8), before.save.this)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        named = grids.write(site, folder)
        with _beside(folder) as beside:
            _write_all(site, this, named, beside)
            commit(beside, path, saved_at)
    except (OSError, pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError, RuntimeError) as error:
        raise _cannot_write(error, path) from error
    site.saves.add(this.this)
    journal.empty(folder, before)
    grids.sweep(folder, named)
    photos.sweep(folder, site)


def _refuse_unread_edits(site: Site, found: journal.Journal, folder: Path) -> None:
    """Raise StoreError where a save would wipe out edits of a site that is not the one to be saved."""
    if not found.is_ours or not found.standing_n or found.save.this in site.saves:
        return
    count = f"{found.standing_n} edit{'' if found.standing_n == 1 else 's'}"
    raise StoreError(
        f"{count} since the last save of the site in this folder would be lost; nothing was changed", where=str(folder),
        remedy=f"Choose another folder, or save them first with gravegis run {folder}; "
        "they are then in the version before.",
    )  # fmt: skip


def restore(folder: Path, wanted: str) -> str:
    """Make an earlier version the present site, the present one a version; return the name of the one restored.

    Edits since the last save become a version of their own first. Raises StoreError (nothing lost) when there is no
    such version, it is damaged, or the disk is in the way.
    """
    file = versions.find(folder, wanted)
    site, lost = _read_site(file, folder)
    site = _without_lost(site, lost, folder)
    path = folder / GPKG
    try:
        with _beside(folder) as beside:
            # before the edits become a version: the one wanted may be the oldest, and go
            shutil.copyfile(file, beside)
            _settle(folder)
            commit(beside, path)
    except OSError as error:
        raise _cannot_write(error, path) from error
    grids.sweep(folder, _read(path, "grids"))
    photos.sweep(folder, site)
    return file.stem


def _settle(folder: Path) -> None:
    """Save the edits since the last save, so that the journal is empty; what cannot be read of them is put aside."""
    try:
        found = journal.read(folder)
        present = load(folder) if found.is_ours and found.entries else None
    except StoreError as error:
        _log.warning("%s", error)
        journal.put_aside(folder)
        return
    if present is None:
        journal.empty(folder, found)
    else:
        save(present, folder)


@contextlib.contextmanager
def _beside(folder: Path) -> Iterator[Path]:
    """Give a name for the new file, and leave nothing of it behind."""
    handle, name = tempfile.mkstemp(prefix=BESIDE, suffix=".gpkg", dir=folder)
    os.close(handle)
    beside = Path(name)
    beside.unlink()
    try:
        yield beside
    finally:
        for leftover in folder.glob(f"{beside.name}*"):
            leftover.unlink(missing_ok=True)


def _identity(path: Path) -> tuple[int, int, int] | None:
    """Return what changes when a file is replaced; None where there is none."""
    try:
        found = path.stat()
    except FileNotFoundError:
        return None
    return found.st_ino, found.st_size, found.st_mtime_ns


def _read_site(path: Path, folder: Path) -> tuple[Site, set[str]]:
    """Return the site in a file, and the names of grids that are gone or damaged."""
    counted = _quick_check(path)
    try:
        names = [str(name) for name, _ in pyogrio.list_layers(path)]
    except pyogrio.errors.DataSourceError as error:
        raise _damaged(path, str(error)) from None
    meta = {name: _read(path, name) for name in names if name == "site"}
    version = tables.version_of(meta, path)
    if version < schema.SCHEMA_VERSION:
        return _brought_forward(path, names, version, counted), set()
    meta |= {name: _read(path, name) for name in names if name in tables.NAMES}
    info, settings, log = tables.unpack(meta)
    layers = {name: _read(path, name, info.crs) for name in names if schema.is_known(name)}
    _refuse_lost_rows({**meta, **layers}, counted, path)
    found, lost = grids.read(folder, meta.get("grids"))
    return replace(Site(info, settings=settings, log=log).with_layers(layers), grids=found), lost


def _brought_forward(path: Path, names: list[str], version: int, counted: Mapping[str, int]) -> Site:
    """Return the inputs of a site of an older schema; its results are dropped and listed in the log."""
    frames = {name: _read(path, name) for name in names if migrate.is_carried(name)}
    _refuse_lost_rows(frames, counted, path)
    made = migrate.forward(frames, version, path)
    info, settings, _ = tables.unpack({name: made[name] for name in ("site", "settings") if name in made})
    layers = {name: _on_grid(frame, info.crs) for name, frame in made.items() if schema.is_known(name)}
    results = list(_read(path, "results_log")["analysis"]) if "results_log" in names else []
    _log.warning("%s: %s", path, migrate.dropped_words(version, results))
    return Site(info, settings=settings).with_layers(layers)


def _refuse_lost_rows(frames: Mapping[str, Frame], counted: Mapping[str, int], path: Path) -> None:
    for name, frame in frames.items():
        if len(frame) != counted.get(name, len(frame)):
            raise _damaged(path, f"{name} has {len(frame)} rows, {counted[name]} were written")


def _without_lost(site: Site, lost: set[str], folder: Path) -> Site:
    for record in [record for record in site.log if set(record.grids) & lost]:
        _log.warning("%s: the grid of %s is gone or damaged; its result is dropped", folder, record.analysis)
        site = site.without_result(record.analysis)
    return site


def _write_all(site: Site, this: tables.SaveId, named: Frame, path: Path) -> None:
    frames = {**tables.pack(site, this), "grids": named, **{name: _storable(site[name]) for name in site}}
    # SQLite would wait for the disk after every table, and no other thread could go on meanwhile: the window stood
    # still for seconds. Nobody reads this file before `commit` has waited for the disk once, with all of it.
    pyogrio.set_gdal_config_options({"OGR_SQLITE_SYNCHRONOUS": "OFF"})
    for name, frame in frames.items():
        _write(frame, name, path)
    _refuse_unless_whole(frames, path)


def _refuse_unless_whole(frames: Mapping[str, Frame], path: Path) -> None:
    """Count what was written; raises OSError: on a full disk the library may leave out a spatial index and not tell."""
    wanted = {name: len(frame) for name, frame in frames.items()}
    wanted.update({f"rtree_{name}_{_PLACE}_rowid": _placed(frame) for name, frame in frames.items() if _placed(frame)})
    try:
        with contextlib.closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)) as connection:
            found = {name: connection.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0] for name in wanted}
    except sqlite3.Error as error:
        raise OSError(errno.ENOSPC, f"not everything was written, the disk may be full ({error})", str(path)) from None
    if found != wanted:
        raise OSError(errno.ENOSPC, "not every row was written, the disk may be full", str(path))


def _placed(frame: Frame) -> int:
    """Return how many rows have a place on the map."""
    if not isinstance(frame, gpd.GeoDataFrame):
        return 0
    shapes = frame.geometry.to_numpy()
    return int((~shapely.is_missing(shapes) & ~shapely.is_empty(shapes)).sum())


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
        return _on_grid(placed, crs)
    return frame


def _on_grid(frame: Frame, crs: str | None) -> Frame:
    """Return a layer with the reference system of the site: the file may spell it another way."""
    return frame.set_crs(crs, allow_override=True) if crs and isinstance(frame, gpd.GeoDataFrame) else frame


def _quick_check(path: Path) -> dict[str, int]:
    """Let SQLite look at every page and return the rows written by layer.

    A GeoPackage damaged in the middle is otherwise read without an error. Closed before any other library opens
    the file: two SQLite libraries in one process do not see each other's locks.
    """
    try:
        opened = sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True, timeout=_BUSY_S)
        with contextlib.closing(opened) as connection:
            verdict = str(connection.execute("PRAGMA quick_check(1)").fetchone()[0])
            if verdict == "ok":
                counts = connection.execute("SELECT table_name, feature_count FROM gpkg_ogr_contents").fetchall()
                return {str(name): int(count) for name, count in counts if count is not None}
    except sqlite3.OperationalError as error:
        if error.sqlite_errorcode == sqlite3.SQLITE_BUSY:
            raise StoreError(
                "another program is writing into the site file", where=str(path),
                remedy="Save and close it there, then try again; nothing was changed.",
            ) from None  # fmt: skip
        verdict = str(error)
    except sqlite3.DatabaseError as error:
        verdict = str(error)
    raise _damaged(path, verdict)


def _damaged(path: Path, verdict: str) -> StoreError:
    if not os.access(path, os.R_OK):
        return StoreError("the site file may not be read", where=str(path), remedy="Ask for permission to read it.")
    return StoreError(
        f"the site file is damaged ({verdict})",
        where=str(path),
        remedy="Put back a copy of it, or an earlier version: gravegis versions SITE, gravegis restore SITE VERSION. "
        "Nothing was changed.",
    )


def _cannot_write(error: Exception, where: Path) -> StoreError:
    return StoreError(
        f"the site cannot be saved ({error}); nothing was changed",
        where=str(where),
        remedy="Check free space and write permission, close other programs that have the file open, save again.",
    )
