"""Pictures beside the site file, under names that hold their content hash; what nobody names is swept."""

from __future__ import annotations

import hashlib
import re
import shutil
from typing import TYPE_CHECKING

import pandas as pd

from gravegis.errors import StoreError
from gravegis.store import versions
from gravegis.store.commit import flush
from gravegis.store.names import PART, PHOTOS, PICTURED

if TYPE_CHECKING:
    from pathlib import Path

    from gravegis.site import Site

__all__ = ["keep", "keep_all", "sweep"]

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


def keep_all(site: Site, folder: Path, layer: str, beside: Path) -> tuple[Site, list[str]]:
    """Copy the pictures a layer names into the site folder; return the site that names the copies, and what is missing.

    `beside` is the folder the names count from. A name that leads out of it, or to nothing, stays as it is and is
    given back. What `keep` says of the lock holds here too.
    """
    if layer not in PICTURED or not site.has(layer, "file"):
        return site, []
    frame = site[layer]
    kept, missing = list[str | None](), list[str]()
    for name in frame["file"].astype(object):
        file = None if pd.isna(name) else _below(beside, str(name))
        if file is None and isinstance(name, str) and not _is_kept(folder, name):
            missing.append(name)
        kept.append(keep(folder, file) if file is not None else name)
    return site.with_layers({layer: frame.assign(file=pd.Series(kept, index=frame.index, dtype="str"))}), missing


def _is_kept(folder: Path, name: str) -> bool:
    return _OURS.fullmatch(name) is not None and (folder / PHOTOS / name).is_file()


def _below(folder: Path, name: str) -> Path | None:
    """Return the file of that name within the folder, None where there is none or it lies elsewhere."""
    try:
        file = (folder / name).resolve()
        return file if file.is_file() and file.is_relative_to(folder.resolve()) else None
    except (OSError, ValueError):
        return None


def sweep(folder: Path, site: Site) -> None:
    """Remove pictures that neither the site nor a kept version names; those gravegis did not name itself stay."""
    earlier = versions.pictures_named(folder)
    if earlier is None:
        return
    named = {name for layer in PICTURED if site.has(layer, "file") for name in site[layer]["file"].dropna()}
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
