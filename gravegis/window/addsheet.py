"""Bringing a file in: the questions of the command `add` as a sheet; all that is wrong with the file at once."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QCheckBox, QComboBox, QLineEdit, QPlainTextEdit, QVBoxLayout, QWidget

from gravegis.layers import schema
from gravegis.layers.naming import layer_in_words
from gravegis.window.parts import button, label, scrolled
from gravegis.window.texts import content, say

if TYPE_CHECKING:
    from collections.abc import Callable

    from gravegis.errors import GravegisError
    from gravegis.layers.bring import Brought
    from gravegis.site import Site
    from gravegis.window.job import Work

__all__ = ["AddSheet", "bring_task", "layer_for"]


def layer_for(file: Path) -> str:
    """Return the layer that the name of a file speaks of; stones where it speaks of none."""
    inputs = [one.name for one in schema.layers().values() if one.role == "input"]
    stem = file.stem.lower()
    return next(
        (one for one in sorted(inputs, key=len, reverse=True) if one in stem or one.rstrip("s") in stem), "stones"
    )


def bring_task(site: Site, layer: str, file: Path, **how: object) -> Callable[[Work], Brought[Site]]:
    """Return the task that reads a file into a site."""

    def task(work: Work) -> Brought[Site]:
        from gravegis.layers import bring

        work.tell(0.1, file.name)
        done = bring.bring_in(site, layer, file, **how)  # type: ignore[arg-type]
        work.tell(0.9, file.name)
        return done

    return task


class AddSheet(QWidget):
    """Questions about one file; `wanted` gives layer, file and the answers as keywords of `bring_in`."""

    wanted = Signal(str, object, object)
    left = Signal()

    def __init__(self) -> None:
        super().__init__()
        self.file = Path()
        self.name = label(tone="title")
        self.layer = QComboBox()
        for one in schema.layers().values():
            if one.role == "input":
                self.layer.addItem(content(layer_in_words(one.name)), one.name)
        self.columns, self.crs, self.encoding = QPlainTextEdit(), QLineEdit(), QLineEdit()
        self.columns.setTabChangesFocus(True)
        self.columns.setMaximumHeight(self.fontMetrics().height() * 6)
        self.crs.setPlaceholderText(say("add.crs.hint"))
        self.swap = QCheckBox()
        self.error = label(tone="warn")
        self.add, self.leave = button(say("add.try"), self._go), button(say("add.cancel"), self.left.emit)
        inside = QWidget()
        rows = QVBoxLayout(inside)
        rows.addWidget(label(say("add.title"), tone="title"))
        rows.addWidget(self.name)
        asked = ((self.layer, "add.layer"), (self.columns, "add.columns"), (self.crs, "add.crs"),
                 (self.swap, "add.swap"), (self.encoding, "add.encoding"))  # fmt: skip
        for field, text in asked:
            words = label(say(text))
            words.setBuddy(field)
            field.setAccessibleName(say(text))
            rows.addWidget(words)
            rows.addWidget(field)
        for part in (self.error, self.add, self.leave):
            rows.addWidget(part)
        rows.addStretch(1)
        outer = QVBoxLayout(self)
        outer.setContentsMargins(0, 0, 0, 0)
        outer.addWidget(scrolled(inside))

    def show_file(self, file: Path) -> None:
        """Ask about a file."""
        self.file = file
        self.name.setText(file.name)
        self.layer.setCurrentIndex(max(self.layer.findData(layer_for(file)), 0))
        self.columns.clear()
        self.crs.clear()
        self.encoding.clear()
        self.swap.setChecked(False)
        self.error.setText("")

    def show_error(self, error: GravegisError) -> None:
        """Say everything that is wrong with the file."""
        self.error.setText(
            "\n".join(
                say("sheet.error", problem=content(f"{one.where}: {one.problem}"), remedy=content(one.remedy))
                for one in error.problems
            )
        )

    def _go(self) -> None:
        lines = [one.strip() for one in self.columns.toPlainText().splitlines() if one.strip()]
        how = {
            "mapping": lines, "crs": self.crs.text().strip() or None, "swap_xy": self.swap.isChecked(),
            "encoding": self.encoding.text().strip() or None,
        }  # fmt: skip
        self.error.setText("")
        self.wanted.emit(str(self.layer.currentData()), self.file, how)
