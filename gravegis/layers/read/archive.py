"""Zip files, and kinds of file that are zip files inside: looked at before anything is unpacked."""

from __future__ import annotations

import tempfile
import zipfile
import zlib
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING

from gravegis.errors import LayerError
from gravegis.layers.read.raw import shown

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gravegis.layers.read.raw import Raw

__all__ = ["MOST_BYTES", "MOST_MEMBERS", "member_bytes", "opened", "read_zip"]

MOST_BYTES = 2_000_000_000
"""Most bytes unpacked of one archive: a Shapefile cannot be larger."""
MOST_MEMBERS = 10_000
"""Most files in one archive: common practice, no source."""
# Tables of blanks pack well; what is large and packs better than this is made to fill a disk: common practice, no
# source.
_LARGE_BYTES, _MOST_RATIO = 50_000_000, 200
_ENCRYPTED = 0x1
_AGAIN = "Unpack it yourself and look at what it holds."
_NOT_MEANT = (".txt", ".zip")  # a read-me, an archive in an archive
_BESIDE = (".shx", ".dbf", ".prj", ".cpg", ".cst", ".names.csv")
_TROUBLE = (zipfile.BadZipFile, NotImplementedError, RuntimeError, EOFError, zlib.error, ValueError)


@contextmanager
def opened(path: Path) -> Iterator[zipfile.ZipFile]:
    """Open an archive for reading, once its list of contents was found harmless.

    Raises LayerError for a damaged or locked archive, names that lead out of a folder, and contents that are far
    larger than the file: nothing is unpacked before that.
    """
    try:
        with zipfile.ZipFile(path) as archive:
            _look_at(archive, path)
            yield archive
    except LayerError:
        raise
    except _TROUBLE as error:
        raise LayerError(
            f"the archive cannot be opened ({error or type(error).__name__})", where=path.name, remedy=_AGAIN
        ) from None


def _look_at(archive: zipfile.ZipFile, path: Path) -> None:
    members = archive.infolist()
    out = [one.filename for one in members if leads_out(one.filename)]
    if out:
        raise LayerError(f"names in it lead out of its folder: {shown(out)}", where=path.name, remedy=_AGAIN)
    if len(members) > MOST_MEMBERS:
        raise LayerError(
            f"it holds {len(members)} files, {MOST_MEMBERS} are the most read", where=path.name, remedy=_AGAIN
        )
    total = sum(one.file_size for one in members)
    packed = max(sum(one.compress_size for one in members), 1)
    if total > MOST_BYTES or (total > _LARGE_BYTES and total / packed > _MOST_RATIO):
        words = f"unpacked it would be {total / 1e6:,.0f} MB, {total / packed:,.0f} times its size"
        raise LayerError(words, where=path.name, remedy=_AGAIN)
    if any(one.flag_bits & _ENCRYPTED for one in members):
        raise LayerError("it is locked by a password", where=path.name, remedy=_AGAIN)


def leads_out(name: str) -> bool:
    """Whether the name of a member leads out of the folder it would be unpacked in."""
    plain = name.replace("\\", "/")
    return plain.startswith("/") or ".." in plain.split("/") or ":" in plain.split("/")[0] or "\x00" in name


def member_bytes(archive: zipfile.ZipFile, name: str) -> bytes:
    """Return one unpacked member; its check sum is compared, and no more is unpacked than its head says."""
    return archive.read(name)


def read_zip(path: Path, *, layer: str | None = None, encoding: str | None = None) -> Raw:
    """Read the one file in a zip file that can be read: a Shapefile, also any other kind.

    ``layer`` may name the file within, or a layer of it where it is the only one. Raises LayerError when there is
    none or several, or the archive is not harmless.
    """
    from gravegis.layers.read import KINDS, read_file

    with opened(path) as archive:
        names = [one for one in archive.namelist() if _suffix(one) in KINDS and not _is_rest(one)]
        names = [one for one in names if not one.lower().endswith(".names.csv") and _suffix(one) not in _NOT_MEANT]
        wanted = [one for one in names if layer in (PurePosixPath(one).stem, PurePosixPath(one).name, one)]
        within = None if wanted else layer
        chosen = wanted or names
        if _all_photos(chosen):
            return _photos(archive, chosen)
        if len(chosen) != 1:
            said = shown(PurePosixPath(one).name for one in names) or "none"
            raise LayerError(
                f"the zip file holds {len(names)} files that can be read ({said}), one is wanted", where=path.name,
                remedy="Name one with --file-layer, or unpack it and add the file itself.",
            )  # fmt: skip
        with tempfile.TemporaryDirectory() as folder:
            raw = read_file(_unpacked(archive, chosen[0], Path(folder)), layer=within, encoding=encoding)
    return replace(raw, notes=(f"from {PurePosixPath(chosen[0]).name} in {path.name}", *raw.notes))


def _suffix(name: str) -> str:
    return PurePosixPath(name).suffix.lower()


def _all_photos(names: list[str]) -> bool:
    return len(names) > 1 and all(_suffix(one) in (".jpg", ".jpeg") for one in names)


def _photos(archive: zipfile.ZipFile, names: list[str]) -> Raw:
    from gravegis.layers.read.photo import read_photos

    with tempfile.TemporaryDirectory() as folder:
        for number, name in enumerate(names):
            below = Path(folder) / str(number)  # two folders of the archive may hold one name
            below.mkdir()
            (below / PurePosixPath(name).name).write_bytes(member_bytes(archive, name))
        return read_photos(Path(folder))


def _is_rest(name: str) -> bool:
    """Whether a member of a zip file is a folder or one of the shadows some systems add."""
    return name.endswith("/") or "__MACOSX" in name or PurePosixPath(name).name.startswith(".")


def _unpacked(archive: zipfile.ZipFile, name: str, folder: Path) -> Path:
    """Write a member, and what belongs beside a Shapefile, under a plain name of our own; return its path."""
    suffix = _suffix(name)
    target = folder / f"zipped{suffix}"
    target.write_bytes(member_bytes(archive, name))
    if suffix == ".shp":
        stem = name[: -len(suffix)].lower()
        for one in archive.namelist():
            rest = one.lower().removeprefix(stem)
            if rest in _BESIDE and one.lower().startswith(stem):
                (folder / f"zipped{rest}").write_bytes(member_bytes(archive, one))
    return target
