"""Put a finished file in the place of `site.gpkg`: the one moment at which a save happens."""

from __future__ import annotations

import os
import time
from typing import TYPE_CHECKING

from gravegis.store import versions

if TYPE_CHECKING:
    import datetime as dt
    from pathlib import Path

__all__ = ["commit", "flush"]

_RETRY_S = 5.0
_PAUSE_S = 0.25


def commit(beside: Path, path: Path, saved_at: dt.datetime | None = None) -> None:
    """Flush the new file, keep the old one as a version, replace it, and flush the folder.

    `saved_at` is the time of the save, by which its version will be named; default: now. Raises OSError, with
    the old file in its place.
    """
    if saved_at is not None:
        os.utime(beside, (saved_at.timestamp(), saved_at.timestamp()))
    flush(beside)
    kept = versions.keep(path)
    try:
        _replace(beside, path)
    except OSError:
        if kept is not None:
            kept.unlink(missing_ok=True)
        raise
    if os.name == "posix":
        flush(path.parent)
    versions.prune(path.parent)


def flush(path: Path) -> None:
    """Have the disk hold what was written to a file, or the names in a folder."""
    descriptor = os.open(path, os.O_RDONLY if path.is_dir() else os.O_RDWR)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _replace(beside: Path, path: Path) -> None:
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
            return
