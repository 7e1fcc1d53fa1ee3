"""Earlier saves: the last five site files are kept in `versions/`, as hard links where the disk has them."""

from __future__ import annotations

import contextlib
import datetime as dt
import hashlib
import json
import logging
import os
import shutil
import sqlite3
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from gravegis.errors import StoreError
from gravegis.layers import schema
from gravegis.store import names
from gravegis.store.names import PICTURED

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

__all__ = [
    "KEPT", "Version", "cells", "describe", "find", "grids_named", "keep", "listing", "no_site", "pictures_named",
    "prune",
]  # fmt: skip

_log = logging.getLogger(__name__)
KEPT = 5  # common practice, no source; named in DEVELOPERS.md
_STAMP = "%Y%m%dT%H%M%S.%fZ"


@dataclass(frozen=True, slots=True)
class Version:
    """One saved state: when it was saved, rows by layer, the analyses whose results it holds.

    `name` is empty for the present state; `damage` says why it cannot be read, empty where it can.
    """

    name: str
    file: Path
    saved_at: dt.datetime
    layers: Mapping[str, int]
    results: tuple[str, ...]
    time_zone: str = ""
    damage: str = ""


def keep(path: Path) -> Path | None:
    """Keep the site file as a version before it is replaced; return what was made, None where nothing was."""
    if not path.is_file():
        return None
    kept = path.parent / names.VERSIONS / f"{_name_of(path)}.gpkg"
    if kept.exists():
        return None
    kept.parent.mkdir(exist_ok=True)
    try:
        os.link(path, kept)
    except OSError:  # sticks and some shared drives have no hard links
        part = kept.with_name(f"{kept.name}{names.PART}")
        try:
            shutil.copy2(path, part)
            part.replace(kept)
        finally:
            part.unlink(missing_ok=True)
    return kept


def prune(folder: Path) -> None:
    """Remove all but the newest versions."""
    for old in _files(folder)[KEPT:]:
        old.unlink(missing_ok=True)


def listing(folder: Path) -> list[Version]:
    """Return the kept versions, newest first; a damaged one is listed and says so."""
    return [describe(file, name=file.stem) for file in _files(folder)]


def find(folder: Path, wanted: str) -> Path:
    """Return the file of a version by its name or an unmistakable piece of it; raises StoreError."""
    files = _files(folder)
    found = [one for one in files if one.stem == wanted] or [one for one in files if wanted and wanted in one.stem]
    if len(found) == 1:
        return found[0]
    there = ", ".join(one.stem for one in files) or "none"
    raise StoreError(
        f"{'several versions are' if found else 'no version is'} called {wanted!r}",
        where=str(folder / names.VERSIONS),
        remedy=f"There are: {there}.",
    )


def grids_named(folder: Path) -> set[str] | None:
    """Return the grid files that kept versions name; None where one of them cannot tell."""
    named: set[str] = set()
    for file in _files(folder):
        try:
            named.update(str(row[0]) for row in _ask(file, 'SELECT "file" FROM "grids"'))
        except sqlite3.Error as error:
            _log.warning("%s cannot be read (%s); grids are left alone", file, error)
            return None
    return named


def pictures_named(folder: Path) -> set[str] | None:
    """Return the pictures that kept versions name; None where one of them cannot tell."""
    named: set[str] = set()
    for file in _files(folder):
        try:
            for layer in PICTURED:
                columns = {str(row[0]) for row in _ask(file, f"SELECT name FROM pragma_table_info('{layer}')")}
                rows = _ask(file, f'SELECT "file" FROM "{layer}"') if "file" in columns else []
                named.update(str(row[0]) for row in rows if row[0] is not None)
        except sqlite3.Error as error:
            _log.warning("%s cannot be read (%s); pictures are left alone", file, error)
            return None
    return named


def describe(file: Path, *, name: str = "") -> Version:
    """Return what a site file holds, without reading its layers."""
    saved_at = _moment(name) if name else dt.datetime.fromtimestamp(file.stat().st_mtime, dt.UTC)
    try:
        tables = [str(row[0]) for row in _ask(file, "SELECT table_name FROM gpkg_contents")]
        layers = {one: int(_ask(file, f'SELECT count(*) FROM "{one}"')[0][0]) for one in tables if schema.is_known(one)}
        results = tuple(str(row[0]) for row in _ask(file, 'SELECT analysis FROM "results_log"'))
        facts = {str(fact): json.loads(value) for fact, value in _ask(file, 'SELECT fact, value FROM "site"')}
    except (sqlite3.Error, ValueError) as error:
        return Version(name, file, saved_at, {}, (), damage=str(error))
    return Version(name, file, saved_at, layers, results, str(facts.get("time_zone") or ""))


def cells(file: Path, layer: str, columns: Sequence[str]) -> list[tuple[Any, ...]]:
    """Return columns of a layer of a saved state, row by row; [] where it has no such layer or not all of them."""
    try:
        there = {str(row[0]) for row in _ask(file, f"SELECT name FROM pragma_table_info('{layer}')")}
        named = ", ".join(f'"{one}"' for one in columns)
        return _ask(file, f'SELECT {named} FROM "{layer}"') if there.issuperset(columns) else []
    except sqlite3.Error as error:
        raise StoreError(f"the earlier save cannot be read ({error})", where=str(file)) from error


def no_site(folder: Path) -> StoreError:
    """Return the error of a folder without a site file."""
    if _files(folder):
        return StoreError(
            "the site file is gone, earlier versions are there",
            where=str(folder),
            remedy=f"List them: gravegis versions {folder} . Put one back: gravegis restore {folder} VERSION .",
        )
    return StoreError(
        "there is no site here",
        where=str(folder),
        remedy=f'Make one: gravegis new {folder} --title "..." .',
    )


def _files(folder: Path) -> list[Path]:
    """Return the files of versions, newest first; other files in the folder are not ours."""
    found = []
    for file in (folder / names.VERSIONS).glob("*.gpkg"):
        with contextlib.suppress(ValueError):
            found.append((_moment(file.stem), file))
    return [file for _, file in sorted(found, reverse=True)]


def _name_of(path: Path) -> str:
    moment = dt.datetime.fromtimestamp(path.stat().st_mtime, dt.UTC)
    with path.open("rb") as opened:
        content = hashlib.file_digest(opened, "sha256").hexdigest()
    return f"{moment.strftime(_STAMP)}-{content[:8]}"


def _moment(name: str) -> dt.datetime:
    return dt.datetime.strptime(name.rsplit("-", 1)[0], _STAMP).replace(tzinfo=dt.UTC)


def _ask(file: Path, question: str) -> list[tuple[Any, ...]]:
    with contextlib.closing(sqlite3.connect(f"{file.resolve().as_uri()}?mode=ro", uri=True)) as connection:
        return connection.execute(question).fetchall()
