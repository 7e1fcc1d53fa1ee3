"""Where compiled loops come from: says where numba keeps its code before numba is loaded.

Compiled code is kept in the user's cache folder, under the version of gravegis and a hash of every ``kernels.py``:
numba does not notice when a loop changes that another file calls. Where numba is missing or cannot keep anything,
`load` gives None and the callers work without it, slower, with the same numbers.
"""

from __future__ import annotations

import hashlib
import importlib
import os
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
    for path in sorted(here.rglob("kernels.py")):
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
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            return folder
    except OSError:
        return Path(tempfile.gettempdir()) / "gravegis-compiled"
