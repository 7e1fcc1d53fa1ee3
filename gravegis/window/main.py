"""Opens the window: ``gravegis window [SITE]``."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

from PySide6.QtCore import QCoreApplication, QLibraryInfo, QLocale, QSettings, QTranslator
from PySide6.QtWidgets import QApplication

from gravegis.window.aside import aside
from gravegis.window.canvas import MapCanvas
from gravegis.window.frame import Window
from gravegis.window.scene import scene_of

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["SWITCH_S", "make_window", "open_window"]

SWITCH_S = 0.001
"""How often Python looks whether another thread wants to go on: the window must not wait long for the work. [s]"""


def make_window(settings: QSettings) -> Window:
    """Return the window with its map; an application must be there."""
    return Window(MapCanvas(), scene_of, settings)


def open_window(folder: Path | None) -> int:
    """Open the window on a ground, or on its first page, and return when it is closed."""
    sys.setswitchinterval(SWITCH_S)
    app = QApplication.instance() or QApplication(["gravegis"])
    _speak(app)
    settings = QSettings(QSettings.Format.IniFormat, QSettings.Scope.UserScope, "gravegis", "window")
    window = make_window(settings)
    window.show()
    aside().warm()
    if folder is not None:
        window.open(folder)
    return int(app.exec())


def _speak(app: QCoreApplication) -> None:
    """Let Qt's own dialogs speak the language of this computer."""
    translator = QTranslator(app)
    where = QLibraryInfo.path(QLibraryInfo.LibraryPath.TranslationsPath)
    if translator.load(QLocale(), "qtbase", "_", where):
        app.installTranslator(translator)
