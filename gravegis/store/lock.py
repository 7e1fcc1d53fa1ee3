"""One writer at a time: `site.lock` says who writes; readers go on, they meet the old site or the new one."""

from __future__ import annotations

import contextlib
import datetime as dt
import getpass
import json
import logging
import os
import platform
import secrets
import sys
import time
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING

from gravegis.errors import StoreError
from gravegis.store import names
from gravegis.store.versions import no_site

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

__all__ = ["locked"]

_log = logging.getLogger(__name__)
# On a disk without links a lock is created and filled in two steps: one that is empty for this long was left so.
_TRIES, _PAUSE_S = 20, 0.05


@dataclass(frozen=True, slots=True)
class _Holder:
    """Who writes, as it stands in the lock."""

    user: str
    host: str
    pid: int
    time: str

    def __str__(self) -> str:
        return f"{self.user} on {self.host} (process {self.pid}) since {self.time}"

    def is_gone(self) -> bool:
        """Whether its process ran on this computer and runs no more; False wherever that cannot be known.

        Never asked on Windows, where the question itself would end the process.
        """
        if sys.platform == "win32" or self.host != platform.node():
            return False
        try:
            os.kill(self.pid, 0)
        except ProcessLookupError:
            return True
        except (PermissionError, OverflowError):
            return False
        return False


@contextlib.contextmanager
def locked(folder: Path, *, make: bool = False) -> Iterator[None]:
    """Hold the site for writing, from load to save; with `make` the folder is made where it is missing.

    Raises StoreError when another process holds it (with its name), where there is no site and none is to be
    made, or where the folder cannot be written. The lock of a process that is gone from this computer is taken
    over, which is said in the log. The lock goes whatever happens inside, and so does an empty folder made here.
    """
    new = [one for one in (folder, *folder.parents) if make and not one.exists()]
    if not make and not (folder / names.GPKG).exists() and not (folder / names.VERSIONS).is_dir():
        raise no_site(folder)
    path, ours = folder / names.LOCK, _ours()
    try:
        try:
            folder.mkdir(parents=True, exist_ok=True)
            _take(path, ours)
            _tidy(folder)
        except OSError as error:
            raise _cannot_lock(error, path) from error
        yield
    finally:
        _release(path, ours)
        for one in new:
            with contextlib.suppress(OSError):
                one.rmdir()


def _ours() -> bytes:
    try:
        user = getpass.getuser()
    except (OSError, KeyError, ImportError):
        user = "somebody"
    holder = _Holder(user, platform.node(), os.getpid(), dt.datetime.now(dt.UTC).isoformat())
    return json.dumps(asdict(holder)).encode()


def _take(path: Path, ours: bytes) -> None:
    for _ in range(_TRIES):
        with contextlib.suppress(FileExistsError):
            _create(path, ours)
            return
        try:
            theirs = path.read_bytes()
        except FileNotFoundError:
            continue
        holder = _holder(theirs)
        if holder is None:
            time.sleep(_PAUSE_S)
        elif not holder.is_gone():
            raise _refused(path, holder)
        elif _take_over(path, theirs, ours):
            _log.warning("%s: %s is gone and left its lock; taken over", path, holder)
            return
    raise StoreError(
        "somebody writes to this site, and who does not stand in the lock", where=str(path),
        remedy="If no gravegis is at work on this site, delete this file and try again. Nothing was changed.",
    )  # fmt: skip


def _create(path: Path, ours: bytes) -> None:
    """Make the lock with all that stands in it at once; raises FileExistsError where there is one.

    A writer killed on the way leaves no lock at all, or one that names it.
    """
    beside = path.with_name(f".{path.name}-{os.getpid()}-{secrets.token_hex(4)}")
    try:
        beside.write_bytes(ours)
        try:
            os.link(beside, path)
        except FileExistsError:
            raise
        except (OSError, NotImplementedError):
            # a disk without links, or somebody tidied the file away: in two steps, the best such a disk allows
            _create_in_two(path, ours)
    finally:
        beside.unlink(missing_ok=True)


def _create_in_two(path: Path, ours: bytes) -> None:
    descriptor = os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o644)
    try:
        with os.fdopen(descriptor, "wb") as opened:
            opened.write(ours)
    except BaseException:
        path.unlink(missing_ok=True)
        raise


def _holder(text: bytes) -> _Holder | None:
    """Return who holds the lock; None for a lock that is empty or not ours to read."""
    try:
        said = json.loads(text)
        holder = _Holder(str(said["user"]), str(said["host"]), int(said["pid"]), str(said["time"]))
    except (ValueError, TypeError, KeyError):
        return None
    return holder if holder.pid > 0 else None


def _take_over(path: Path, theirs: bytes, ours: bytes) -> bool:
    """Replace a stale lock; False where somebody else was quicker.

    Two that find the same stale lock queue for the file itself, so the second sees that it was replaced.
    """
    if sys.platform == "win32":
        return False
    import fcntl

    try:
        descriptor = os.open(path, os.O_RDONLY)
    except FileNotFoundError:
        return False
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX)
        is_same = path.exists() and os.path.samestat(os.fstat(descriptor), path.stat())
        if not is_same or path.read_bytes() != theirs:
            return False
        beside = path.with_name(f".{path.name}-{os.getpid()}")
        beside.write_bytes(ours)
        beside.replace(path)
    finally:
        os.close(descriptor)
    return True


def _tidy(folder: Path) -> None:
    """Remove what killed writers left half written."""
    for pattern in names.LEFTOVERS:
        for leftover in folder.glob(pattern):
            _log.info("%s was left by a writer that did not finish; removed", leftover)
            leftover.unlink(missing_ok=True)


def _release(path: Path, ours: bytes) -> None:
    try:
        if path.read_bytes() == ours:
            path.unlink()
    except FileNotFoundError:
        pass
    except OSError as error:
        _log.warning("%s cannot be removed (%s)", path, error)


def _refused(path: Path, holder: _Holder) -> StoreError:
    if holder.host == platform.node() and holder.pid == os.getpid():
        return StoreError("this program is writing to the site already", where=str(path), remedy="Let it finish first.")
    return StoreError(
        f"{holder} is writing to this site; nothing was changed",
        where=str(path),
        remedy="Wait until that is done. If you are sure that no gravegis is at work there, delete this file.",
    )


def _cannot_lock(error: OSError, path: Path) -> StoreError:
    return StoreError(
        f"the site cannot be written ({error.strerror or error}); nothing was changed",
        where=str(path),
        remedy="Check free space and write permission of the folder, or copy the site to a folder of your own.",
    )
