"""The last picture of a ground, kept beside its site so that it is seen at once while the site is read."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING

from PySide6.QtGui import QImage

if TYPE_CHECKING:
    from pathlib import Path

    from gravegis.window.canvas.rings import Box
    from gravegis.window.canvas.widget import MapCanvas

__all__ = ["LastPicture", "keep_picture", "last_picture"]

_BOUNDS, _KEPT_ON = "ground", "kept on"


@dataclass(frozen=True, slots=True, eq=False)
class LastPicture:
    """A picture, the ground it shows [m] and the day it was kept (ISO)."""

    image: QImage
    bounds_m: Box
    kept_on: str


def keep_picture(canvas: MapCanvas, file: Path, *, kept_on: str = "") -> bool:
    """Write what the canvas shows, with its ground and the day, as PNG; False where nothing is shown or written.

    The name of the file must end in ``.png``.
    `kept_on` is the day as ISO date, empty for today on this computer's clock.
    """
    if canvas.scene is None:
        return False
    image = canvas.base_picture()
    image.setText(_BOUNDS, " ".join(repr(side) for side in canvas.view.box_m))
    image.setText(_KEPT_ON, kept_on or dt.datetime.now().astimezone().date().isoformat())
    return image.save(str(file))


def last_picture(file: Path) -> LastPicture | None:
    """Return the picture kept; None where there is none or it is not one of ours."""
    image = QImage(str(file))
    sides = image.text(_BOUNDS).split()
    if image.isNull() or len(sides) != 4:
        return None
    try:
        west, south, east, north = (float(side) for side in sides)
    except ValueError:
        return None
    return LastPicture(image, (west, south, east, north), image.text(_KEPT_ON))
