"""What the map of a ground showed last, with its day, until the ground is read: kept with the other caches."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import TYPE_CHECKING

from PySide6.QtCore import QStandardPaths

from gravegis.window.canvas import MapCanvas
from gravegis.window.canvas.last import keep_picture, last_picture
from gravegis.window.texts import say

if TYPE_CHECKING:
    from gravegis.window.frame import Window

__all__ = ["keep_view", "show_last_view", "view_file"]


def view_file(folder: Path) -> Path:
    """Return where the last picture of the ground in a folder is kept; not in the folder, which may be shared."""
    base = QStandardPaths.writableLocation(QStandardPaths.StandardLocation.GenericCacheLocation)
    name = hashlib.sha256(str(folder.resolve()).encode()).hexdigest()[:24]
    return Path(base) / "gravegis" / "views" / f"{name}.png"


def keep_view(window: Window) -> None:
    """Keep what the map shows; where that cannot be written, nothing is kept."""
    canvas = window.map.canvas
    if window.desk is None or not isinstance(canvas, MapCanvas):
        return
    file = view_file(window.desk.folder)
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
    except OSError:
        return
    keep_picture(canvas, file)


def show_last_view(window: Window, folder: Path) -> bool:
    """Show at once what was seen last of a ground, with its day; False where nothing was kept."""
    canvas, file = window.map.canvas, view_file(folder)
    kept = last_picture(file) if isinstance(canvas, MapCanvas) and file.is_file() else None
    if kept is None:
        return False
    canvas.show_last_picture(kept.image, kept.bounds_m, say("map.last", day=kept.kept_on))
    canvas.repaint()
    return True
