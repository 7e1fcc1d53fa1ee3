"""What goes in and out by dialogs: folders and files chosen, the map in view saved or printed."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from PySide6.QtCore import QRect, QStandardPaths, Qt
from PySide6.QtGui import QPainter
from PySide6.QtPrintSupport import QPrintDialog, QPrinter
from PySide6.QtWidgets import QFileDialog

from gravegis.errors import GravegisError
from gravegis.window.texts import say

if TYPE_CHECKING:
    from gravegis.window.frame import Window

__all__ = ["ask_file", "ask_folder", "open_sample", "paint_page", "print_view", "sample_folder", "save_view"]


PATTERNS = "*.csv *.gpkg *.geojson *.json *.shp *.zip"


def sample_folder() -> Path:
    """Return where the sample ground of this person is kept."""
    base = QStandardPaths.writableLocation(QStandardPaths.StandardLocation.GenericDataLocation)
    return Path(base) / "gravegis" / "sample_ground"


def open_sample(window: Window) -> None:
    """Make the sample ground where it is not there yet, and open it."""
    from gravegis import sample, store

    folder = sample_folder()
    try:
        if not (folder / store.GPKG).is_file():
            window.start.said.setText(say("start.making", folder=folder))
            window.start.said.repaint()
            with store.locked(folder, make=True):
                sample.build(sample.find(), folder)
            window.start.said.setText("")
    except GravegisError as error:
        window.refused(error)
        return
    window.open(folder)


def ask_folder(window: Window) -> None:
    """Let the person choose a ground."""
    folder = QFileDialog.getExistingDirectory(window, say("start.open.ask"))
    if folder:
        window.open(Path(folder))


def ask_file(window: Window) -> None:
    """Let the person choose a file to bring in."""
    file, _ = QFileDialog.getOpenFileName(window, say("add.title"), "", say("add.filter", patterns=PATTERNS))
    if file:
        window.ask_about(Path(file))


def save_view(window: Window, file: str = "") -> None:
    """Save the map as it is seen."""
    if not file:
        file, _ = QFileDialog.getSaveFileName(
            window, say("print.view").replace("&", ""), "picture.png", say("print.filter")
        )
    if file and window.map.canvas.picture().save(file):
        window.foot.say(say("print.saved", file=file))
    elif file:
        window.foot.say(say("print.no_printer"))


def print_view(window: Window) -> None:
    """Print the map as it is seen."""
    printer = QPrinter(QPrinter.PrinterMode.HighResolution)
    if QPrintDialog(printer, window).exec() and not paint_page(window, printer):
        window.foot.say(say("print.no_printer"))


def paint_page(window: Window, printer: QPrinter) -> bool:
    """Put the map in view on one page, with the title of the ground above it; False where the printer refuses."""
    picture = window.map.canvas.picture()
    painter = QPainter()
    if not painter.begin(printer):
        return False
    page = QRect(0, 0, printer.width(), printer.height())
    high = painter.fontMetrics().height() * 2
    title = window.desk.site.info.title if window.desk is not None else ""
    painter.drawText(QRect(0, 0, page.width(), high), Qt.AlignmentFlag.AlignLeft, title)
    size = picture.size().scaled(page.width(), page.height() - high, Qt.AspectRatioMode.KeepAspectRatio)
    painter.drawImage(QRect(0, high, size.width(), size.height()), picture)
    return painter.end()
