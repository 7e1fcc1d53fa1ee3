"""Where tables of how water flies are kept between runs: files in the user's cache folder, never in a site.

Whether a table is found there changes nothing but time: its name holds a hash of all it depends on, a damaged one is
built again, and a folder that cannot be written to is no error.
"""

from __future__ import annotations

import os
import tempfile
from dataclasses import dataclass
from pathlib import Path

from gravegis.science.compiled import cache_folder

__all__ = ["PLACE", "Kept", "cache"]

PLACE = "GRAVEGIS_SPRAY_TABLES"
"""Name of the setting of the computer that says where else to keep them."""


@dataclass(frozen=True, slots=True)
class Kept:
    """Tables as files of one folder, and in memory for this process."""

    folder: Path
    seen: dict[str, bytes]

    def get(self, name: str) -> bytes | None:
        """Return what was put under this name, None if nothing was."""
        if name not in self.seen:
            try:
                self.seen[name] = (self.folder / name).read_bytes()
            except OSError:
                return None
        return self.seen[name]

    def put(self, name: str, data: bytes) -> None:
        """Keep this under the name; written beside first, so that nobody reads half a table."""
        self.seen[name] = data
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            with tempfile.NamedTemporaryFile(dir=self.folder, delete=False) as beside:
                beside.write(data)
            Path(beside.name).replace(self.folder / name)
        except OSError:
            return


def cache() -> Kept:
    """Return the tables of this user."""
    own = os.environ.get(PLACE)
    return Kept(Path(own) if own else cache_folder().parent.parent / "spray_tables", {})
