"""Pictures beside the site file, under names that hold their content hash; what nobody names is swept."""

from __future__ import annotations

import hashlib
import re
import shutil
from typing import TYPE_CHECKING

from gravegis.errors import StoreError
from gravegis.store import versions
from gravegis.store.commit import flush
from gravegis.store.names import PART, PHOTOS

if TYPE_CHECKING:
    from pathlib import Path

    from gravegis.site import Site

__all__ = ["keep", "sweep"]

_OURS = re.compile(r"photo-([0-9a-f]{16})(\.[a-z0-9]{1,8})?")


def keep(folder: Path, file: Path) -> str:
    """Copy a picture into the site folder and return the name it has there, for the column `file` of `photos`.

    Hold `locked(folder)` from here to the save or the edit that names it: what nobody names goes at the next save.
    The same picture kept twice is there once. Raises StoreError (nothing changed) where it cannot be read or written.
    """
    kind = file.suffix.lower() if re.fullmatch(r"\.[a-z0-9]{1,8}", file.suffix.lower()) else ""
    try:
        name = f"photo-{_hash(file)}{kind}"
        kept = folder / PHOTOS / name
        if not kept.is_file() or _hash(kept) != _hash(file):
            kept.parent.mkdir(exist_ok=True)
            _copy(file, kept)
            flush_names(kept.parent)
    except OSError as error:
        raise StoreError(
            f"the picture cannot be kept ({error.strerror or error}); nothing was changed", where=str(file),
            remedy="Check its name, free space and write permission of the site folder, then try again.",
        ) from error  # fmt: skip
    return name


def sweep(folder: Path, site: Site) -> None:
    """Remove pictures that neither the site nor a kept version names; those gravegis did not name itself stay."""
    earlier = versions.photos_named(folder)
    if earlier is None:
        return
    named = set(site["photos"]["file"].dropna()) if site.has("photos", "file") else set()
    for file in (folder / PHOTOS).glob("photo-*"):
        if file.name not in named | earlier and _is_ours(file):
            file.unlink(missing_ok=True)


def flush_names(folder: Path) -> None:
    """Have the disk hold the names in a folder, where the system can."""
    import os

    if os.name == "posix":
        flush(folder)


def _copy(file: Path, kept: Path) -> None:
    part = kept.with_name(f"{kept.name}{PART}")
    try:
        shutil.copyfile(file, part)
        flush(part)
        part.replace(kept)
    finally:
        part.unlink(missing_ok=True)


def _is_ours(file: Path) -> bool:
    """Whether the name of a file holds the hash of its content, as nobody else would name it."""
    found = _OURS.fullmatch(file.name)
    return found is not None and file.is_file() and not file.is_symlink() and _hash(file) == found[1]


def _hash(file: Path) -> str:
    with file.open("rb") as opened:
        return hashlib.file_digest(opened, "sha256").hexdigest()[:16]
