"""The pictures a canvas holds: the sharp one, moved and scaled during gestures, and the whole ground under it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QImage, QPainter

from gravegis.outputs import symbols
from gravegis.window.canvas.paint import base_of, material_of
from gravegis.window.canvas.worker import Redrawer

if TYPE_CHECKING:
    from collections.abc import Callable

    from PySide6.QtGui import QFont
    from PySide6.QtWidgets import QWidget

    from gravegis.window.canvas.look import Look
    from gravegis.window.canvas.paint import Material
    from gravegis.window.canvas.rings import Box
    from gravegis.window.canvas.view import View
    from gravegis.window.scene import Scene

__all__ = ["Pictures"]

_Held = tuple[QImage, "Box", float]


class Pictures:
    """Pictures of one scene; `taken` is told of each that arrives, and whether it is the last one for now."""

    def __init__(self, owner: QWidget, taken: Callable[[bool], None]) -> None:
        self._material: Material | None = None
        self._base: _Held | None = None
        self._under: _Held | None = None
        self._taken = taken
        self._redrawer = Redrawer(owner)
        self._redrawer.drawn.connect(self._take, Qt.ConnectionType.QueuedConnection)

    @property
    def is_shown(self) -> bool:
        """Whether any picture of the ground has been drawn."""
        return self._base is not None

    def show(self, scene: Scene, *, is_new: bool, keeps_colours: bool) -> None:
        """Draw another scene from now on; the pictures at hand stay until it is drawn."""
        self._redrawer.drop()
        self._material = material_of(scene, None if is_new else self._material)
        if is_new:
            self._base = None
        if not keeps_colours:
            self._under = None

    def lay_under(self, image: QImage, bounds_m: Box) -> None:
        """Show a picture of an earlier time where there is no other."""
        self._under = (image, bounds_m, 1.0)

    def start(self, view: View, look: Look, *, density: float, font: QFont) -> None:
        """Begin to draw sharply what is seen."""
        if self._material is not None and view.width_px > 1 and view.height_px > 1:
            self._redrawer.start(self._material, view, look, density=density, font=font)

    def drop(self) -> None:
        """Stop what is being drawn."""
        self._redrawer.drop()

    def finish(self) -> None:
        """Stop what is being drawn and wait for it."""
        self._redrawer.finish()

    def draw(self, painter: QPainter, view: View, theme: str) -> None:
        """Draw the pictures at hand as they lie in a view."""
        painter.fillRect(QRectF(0, 0, view.width_px, view.height_px), QColor(symbols.PAPERS[theme]))
        if self._under is not None and not (self._base is not None and _holds(self._base[1], view.box_m)):
            _blit(painter, self._under, view)
        if self._base is not None:
            _blit(painter, self._base, view)

    def drawn_now(self, view: View, look: Look, *, density: float, font: QFont) -> QImage:
        """Return the sharp picture of a view, drawn at once; the painter of sharp pictures is stopped for it."""
        self._redrawer.finish()
        if self._material is None:
            image = QImage(view.width_px, view.height_px, QImage.Format.Format_RGB32)
            image.fill(QColor(symbols.PAPERS["light"]))
            return image
        return next(base_of(self._material, view, look, density=density, font=font, stop=lambda: False))[0]

    def _take(self, generation: int, image: QImage, view: View, is_last: bool) -> None:
        if generation != self._redrawer.generation or self._material is None:
            return
        self._base = (image, view.box_m, view.px_per_m)
        if _holds(view.box_m, self._material.scene.bounds_m):
            self._under = self._base
        self._taken(is_last)


def _blit(painter: QPainter, held: _Held, view: View) -> None:
    image, (west, south, east, north), scale = held
    left, top = view.to_screen(west, north)
    if abs(scale - view.px_per_m) < 1e-9:
        painter.drawImage(QPointF(round(left), round(top)), image)
    else:
        right, bottom = view.to_screen(east, south)
        painter.drawImage(QRectF(left, top, right - left, bottom - top), image)


def _holds(outer: Box, inner: Box) -> bool:
    slack = 1e-6
    low = outer[0] <= inner[0] + slack and outer[1] <= inner[1] + slack
    return low and outer[2] >= inner[2] - slack and outer[3] >= inner[3] - slack
