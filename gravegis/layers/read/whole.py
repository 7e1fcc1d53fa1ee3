"""Whether a file is whole: libraries read a half of some kinds without a word."""

from __future__ import annotations

import json
import sqlite3
import struct
import time
from contextlib import closing
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from gravegis.errors import LayerError
from gravegis.layers.read.raw import many

if TYPE_CHECKING:
    from pathlib import Path

    import numpy.typing as npt

__all__ = ["Counted", "geojson", "geopackage", "shapefile"]

_AGAIN = "Copy or export the file again."
_MOST_COUNTING_S = 10.0  # a million rows are counted in a second; common practice, no source


@dataclass(frozen=True, slots=True)
class Counted:
    """What the file itself says it holds: rows, rows that have a geometry (None: it does not say), the crs member.

    `clash` tells that one of its columns is called geometry, `ids` holds the names that GeoJSON gives its features
    beside their properties: the reader would lose both.
    """

    rows: int
    placed: int | None = None
    clash: bool = False
    member: Any = None
    notes: tuple[str, ...] = ()
    ids: tuple[object, ...] = ()


@dataclass(frozen=True, slots=True)
class _Marker:
    """Stands for a feature of a GeoJSON text, so that a large file is not held twice."""

    placed: bool
    clash: bool
    name: object


def geojson(path: Path) -> Counted:
    """Read a GeoJSON text to its end; raises LayerError when it is cut, not UTF-8 or something else."""
    try:
        with path.open(encoding="utf-8-sig") as stream:
            top = json.load(stream, object_pairs_hook=_lean)
    except UnicodeDecodeError:
        raise LayerError("the file is not UTF-8, as GeoJSON must be", where=path.name, remedy=_AGAIN) from None
    except _LinkedError:
        raise LayerError(
            "its 'crs' member is a link to elsewhere, and the library would follow it", where=path.name,
            remedy="Take the member out of the file and name the system with --crs.",
        ) from None  # fmt: skip
    except (json.JSONDecodeError, RecursionError) as error:
        raise LayerError(f"the file is cut or no GeoJSON ({error})", where=path.name, remedy=_AGAIN) from None
    if isinstance(top, _Marker):
        return _counted([top], None)
    kind = top.get("type") if isinstance(top, dict) else None
    if kind != "FeatureCollection" or not isinstance(top.get("features"), list):
        words = f"type {kind!r}" if kind else "no type"
        raise LayerError(
            f"the file is JSON but no GeoJSON feature collection ({words})", where=path.name,
            remedy="Export it as a GeoJSON FeatureCollection.",
        )  # fmt: skip
    features = [one for one in top["features"] if isinstance(one, _Marker)]
    if len(features) != len(top["features"]):
        raise LayerError("some members of 'features' are no features", where=path.name, remedy=_AGAIN)
    return _counted(features, top.get("crs"))


def _counted(features: list[_Marker], member: object) -> Counted:
    names = tuple(one.name for one in features)
    return Counted(
        len(features),
        sum(one.placed for one in features),
        any(one.clash for one in features),
        member,
        ids=names if any(name is not None for name in names) else (),
    )


class _LinkedError(Exception):
    """Stops the reading of a text that names a reference system by an address."""


def _lean(pairs: list[tuple[str, Any]]) -> Any:  # noqa: ANN401 - whatever JSON holds
    if any(name == "crs" and _is_link(value) for name, value in pairs):
        raise _LinkedError
    found = dict(pairs)
    if found.get("type") == "Feature":
        properties = found.get("properties")
        has = properties if isinstance(properties, dict) else {}
        return _Marker(found.get("geometry") is not None, "geometry" in has, found.get("id"))
    return {"type": found["type"]} if "coordinates" in found and "type" in found else found


def _is_link(member: object) -> bool:
    """Whether a ``crs`` member, of the collection or of anything in it, is an address; only names are read here."""
    return isinstance(member, dict) and bool(member.get("properties")) and member.get("type") not in ("name", "EPSG")


def geopackage(path: Path) -> None:
    """Let SQLite look at every page; raises LayerError when the file is cut or damaged.

    The connection is closed before any other library opens the file: locks are kept per process.
    """
    if path.stat().st_size == 0:
        raise LayerError("the file is empty", where=path.name, remedy=_AGAIN)
    try:
        with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)) as connection:
            verdict = connection.execute("PRAGMA quick_check(1)").fetchone()[0]
    except (sqlite3.DatabaseError, UnicodeDecodeError) as error:  # a message may hold bytes of the damaged page
        verdict = str(error)
    if verdict != "ok":
        raise LayerError(f"the GeoPackage is cut or damaged ({verdict})", where=path.name, remedy=_AGAIN)


def geopackage_rows(path: Path, layer: str) -> Counted:
    """Return how many rows of a layer there are and how many have a geometry, as its table says."""
    quoted = '"' + layer.replace('"', '""') + '"'
    try:
        with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)) as connection:
            _limited(connection)
            rows = int(connection.execute(f"SELECT count(*) FROM {quoted}").fetchone()[0])
            found = connection.execute(
                "SELECT column_name FROM gpkg_geometry_columns WHERE table_name = ?", (layer,)
            ).fetchone()
            if found is None:
                return Counted(rows)
            names = [row[1] for row in connection.execute(f"PRAGMA table_info({quoted})")]
            column = '"' + str(found[0]).replace('"', '""') + '"'
            placed = connection.execute(f"SELECT count({column}) FROM {quoted}").fetchone()[0]
            return Counted(rows, int(placed), "geometry" in names and found[0] != "geometry")
    except (sqlite3.DatabaseError, UnicodeDecodeError) as error:
        raise LayerError(f"the GeoPackage cannot be read ({error})", where=path.name, remedy=_AGAIN) from None


def _limited(connection: sqlite3.Connection) -> None:
    """Stop a query that does not end: a layer may be a view, and a view may go round for ever."""
    ends_at = time.monotonic() + _MOST_COUNTING_S
    connection.set_progress_handler(lambda: time.monotonic() > ends_at, 100_000)


def shapefile(path: Path) -> Counted:
    """Check the three files of a Shapefile against each other; raises LayerError when one is missing or cut."""
    index, table = beside(path, ".shx"), beside(path, ".dbf")
    missing = [kind for kind, found in ((".shx", index), (".dbf", table)) if found is None]
    if missing or index is None or table is None:
        raise LayerError(
            f"a Shapefile is several files, and {' and '.join(missing)} is not there beside it", where=path.name,
            remedy="Copy all files of that name: .shp, .shx, .dbf, .prj, .cpg.",
        )  # fmt: skip
    for file in (path, index):
        _check_length(file)
    placed = _outlines(path, index)
    shapes = len(placed)
    rows, deleted = _table_rows(table)
    if shapes != rows:
        raise LayerError(
            f"the outlines ({shapes}) and the table ({rows} rows) do not belong together", where=path.name,
            remedy="Copy all files of that name again.",
        )  # fmt: skip
    notes = (f"{many(deleted, 'row')} marked as deleted in the file left out",) if deleted else ()
    return Counted(
        rows - deleted, None if deleted else int(placed.sum()), clash=_field_named_geometry(table), notes=notes
    )


def _outlines(path: Path, index: Path) -> npt.NDArray[np.bool_]:
    """Return for each row whether it has an outline; raises LayerError where the index points beside the outlines.

    A library reads a row whose outline lies beyond the end of the file as a row without one.
    """
    shapes = np.fromfile(path, dtype=np.uint8)
    pairs = np.fromfile(index, dtype=">i4", offset=100)
    pairs = pairs[: len(pairs) // 2 * 2].reshape(-1, 2).astype(np.int64) * 2
    start, length = pairs[:, 0], pairs[:, 1]
    if ((start < 100) | (length < 4) | (start + 8 + length > len(shapes))).any():
        raise LayerError("the index and the outlines do not belong together", where=index.name, remedy=_AGAIN)
    said = shapes[start[:, None] + np.arange(4, 8)].astype(np.int64) @ (1 << np.array([24, 16, 8, 0]))
    if (said * 2 != length).any():
        raise LayerError("the index and the outlines do not belong together", where=index.name, remedy=_AGAIN)
    kinds = shapes[start[:, None] + np.arange(8, 12)]
    return np.asarray(kinds.any(axis=1))


def beside(path: Path, suffix: str) -> Path | None:
    """Return the file of the same name with another suffix, in either case of letters."""
    for kind in (suffix, suffix.upper()):
        if (found := path.with_suffix(kind)).is_file():
            return found
    return None


def _check_length(file: Path) -> None:
    size = file.stat().st_size
    with file.open("rb") as stream:
        head = stream.read(28)
    if len(head) < 28 or struct.unpack(">i", head[:4])[0] != 9994:
        raise LayerError("this is no Shapefile", where=file.name, remedy=_AGAIN)
    stated = 2 * struct.unpack(">i", head[24:28])[0]
    if stated != size:
        raise LayerError(
            f"the file is cut: its head says {stated} bytes, there are {size}", where=file.name, remedy=_AGAIN
        )


def _table_rows(table: Path) -> tuple[int, int]:
    """Return the rows of a dBASE table and how many of them are marked as deleted."""
    size = table.stat().st_size
    with table.open("rb") as stream:
        head = stream.read(12)
        if len(head) < 12:
            raise LayerError("the table is cut", where=table.name, remedy=_AGAIN)
        rows, start, length = struct.unpack("<IHH", head[4:12])
        if length == 0 or size < start + rows * length:
            raise LayerError(
                f"the table is cut: its head says {rows} rows, they do not fit into {size} bytes",
                where=table.name, remedy=_AGAIN,
            )  # fmt: skip
        stream.seek(start)
        deleted = sum(stream.read(length)[:1] == b"*" for _ in range(rows))
    return rows, deleted


def _field_named_geometry(table: Path) -> bool:
    with table.open("rb") as stream:
        stream.seek(32)
        while (head := stream.read(32)) and head[:1] != b"\r" and len(head) == 32:
            if head[:11].split(b"\x00")[0] == b"geometry":
                return True
    return False
