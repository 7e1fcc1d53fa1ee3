"""Sharp pictures made beside the window: one at a time, and one that is out of date stops by itself."""

from __future__ import annotations

import threading
from typing import TYPE_CHECKING

from PySide6.QtCore import QObject, QThreadPool, Signal

from gravegis.window.canvas.paint import base_of

if TYPE_CHECKING:
    from PySide6.QtGui import QFont

    from gravegis.window.canvas.look import Look
    from gravegis.window.canvas.paint import Material
    from gravegis.window.canvas.view import View

__all__ = ["Redrawer"]


class Redrawer(QObject):
    """Draws base pictures in one thread of its own; `drawn` brings generation, picture, view and whether it is last."""

    drawn = Signal(int, object, object, bool)

    def __init__(self, parent: QObject) -> None:
        super().__init__(parent)
        self._pool = QThreadPool(self)
        self._pool.setMaxThreadCount(1)
        self._lock = threading.Lock()
        self.generation = 0

    def drop(self) -> None:
        """Stop what is being drawn: it would be out of date."""
        with self._lock:
            self.generation += 1

    def start(self, material: Material, view: View, look: Look, *, density: float, font: QFont) -> None:
        """Draw a picture; what was being drawn is dropped."""
        self.drop()
        mine = self.generation

        def is_old() -> bool:
            return self.generation != mine

        def work() -> None:
            if is_old():
                return
            for image, shows, is_last in base_of(material, view, look, density=density, font=font, stop=is_old):
                try:
                    self.drawn.emit(mine, image, shows, is_last)
                except RuntimeError:  # the canvas went while its picture was drawn: nobody waits for it
                    return

        self._pool.start(work)

    def finish(self) -> None:
        """Drop what is being drawn and wait until the thread is idle."""
        self.drop()
        self._pool.waitForDone()
