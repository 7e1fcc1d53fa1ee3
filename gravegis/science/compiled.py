"""Where compiled loops come from: says where numba keeps its code before numba is loaded.

Compiled code is kept in the user's cache folder, under the version of gravegis and a hash of every ``kernels.py`` and
``bundles.py``: numba does not notice when something changes that a loop takes from another file. Where nothing can be
written there, it is kept for this run only. Where numba is missing or does not work, `load` gives None and the callers
work without it, slower, with the same numbers.
"""

from __future__ import annotations

import atexit
import hashlib
import importlib
import os
import shutil
import sys
import tempfile
from functools import cache
from importlib import metadata
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from types import ModuleType

_PLACE = "NUMBA_CACHE_DIR"


@cache
def load(module: str) -> ModuleType | None:
    """Return a module of compiled loops by its full name, None where numba does not work here."""
    if _PLACE not in os.environ and "numba" not in sys.modules:
        os.environ[_PLACE] = str(_writable(cache_folder()))
    try:
        return importlib.import_module(module)
    except (ImportError, RuntimeError, OSError, KeyError):  # no place to keep code; a numba without an option we use
        return None


def cache_folder() -> Path:
    """Folder for the compiled code of this version and these loops; made by whoever writes there."""
    here = Path(__file__).parent
    digest = hashlib.sha256()
    for path in sorted([*here.rglob("kernels.py"), *here.rglob("bundles.py")]):
        digest.update(path.relative_to(here).as_posix().encode() + path.read_bytes())
    try:
        version = metadata.version("gravegis")
    except metadata.PackageNotFoundError:
        version = "unknown"
    return _user_cache() / "gravegis" / version / digest.hexdigest()[:16]


def _user_cache() -> Path:
    if sys.platform == "win32":
        return Path(os.environ.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local")
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Caches"
    return Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache")


def _writable(folder: Path) -> Path:
    """Return the folder, or a new one of this user alone that goes with the run: numba runs what it finds there."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            return folder
    except OSError:
        made = Path(tempfile.mkdtemp(prefix="gravegis-compiled-"))
        atexit.register(shutil.rmtree, made, ignore_errors=True)
        return made
