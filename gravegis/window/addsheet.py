"""Bringing a file in: the questions of the command `add` as a sheet; all that is wrong with the file at once."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QCheckBox, QComboBox, QLineEdit, QVBoxLayout, QWidget

from gravegis.layers import schema
from gravegis.layers.naming import layer_in_words
from gravegis.window.columnsheet import ColumnSheet
from gravegis.window.parts import button, label, scrolled
from gravegis.window.texts import content, say

if TYPE_CHECKING:
    from collections.abc import Callable

    from gravegis.errors import GravegisError
    from gravegis.layers.bring import Brought
    from gravegis.site import Site
    from gravegis.window.addlook import Questions
    from gravegis.window.job import Work

__all__ = ["AddSheet", "bring_task", "layer_for"]


MOST_SAID = 4
"""Lines told about a file before it is brought in; own choice."""


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
    """Questions about one file; `wanted` gives layer, file and the answers as keywords of `bring_in`.

    `look_wanted` asks for a look at the file, so that its columns and places can be asked about.
    """

    wanted = Signal(str, object, object)
    look_wanted = Signal(str, object, object)
    left = Signal()

    def __init__(self) -> None:
        super().__init__()
        self.file = Path()
        self.name = label(tone="title")
        self.layer = QComboBox()
        for one in schema.layers().values():
            if one.role == "input":
                self.layer.addItem(content(layer_in_words(one.name)), one.name)
        self.columns, self.crs, self.encoding = ColumnSheet(), QComboBox(), QLineEdit()
        self.layer.activated.connect(lambda _: self._look())
        self.encoding.editingFinished.connect(self._look)
        self.crs.setEditable(True)
        self.crs.setInsertPolicy(QComboBox.InsertPolicy.NoInsert)
        for box in (self.layer, self.crs):
            box.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
            box.setMinimumContentsLength(12)
        self.crs.lineEdit().setPlaceholderText(say("add.crs.hint"))  # type: ignore[union-attr]
        self.found = label(tone="faint")
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
        rows.insertWidget(3, self.found)
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
        self.encoding.clear()
        self.swap.setChecked(False)
        self.error.setText("")
        self._look()

    def show_questions(self, asked: Questions) -> None:
        """Ask about the columns of the file and where its numbers lie."""
        if asked.layer != self.layer.currentData():
            return
        self.columns.show_columns(asked)
        self.found.setText("\n".join(content(one) for one in asked.said[:MOST_SAID]))
        self.crs.clear()
        self.crs.addItem(say("add.crs.stated", crs=asked.stated) if asked.stated else "", ("", False))
        for one in asked.candidates:
            self.crs.addItem(say("add.crs.fits", code=one.code, why=content(one.reason)),
                             (one.code, one.option.startswith("--swap-xy")))  # fmt: skip
        self.crs.setCurrentIndex(0)

    def _look(self) -> None:
        self.columns.show_columns(None)
        self.found.setText("")
        self.crs.clear()
        if not self.file.is_dir():
            self.look_wanted.emit(str(self.layer.currentData()), self.file, self.encoding.text().strip() or None)

    def _crs(self) -> tuple[str, bool]:
        """Return the reference system chosen or typed (empty: as the file says), and whether its numbers are turned."""
        at = self.crs.findText(self.crs.currentText())
        found = self.crs.itemData(at) if at >= 0 else None
        return (str(found[0]), bool(found[1])) if found else (self.crs.currentText().strip(), False)

    def show_error(self, error: GravegisError) -> None:
        """Say everything that is wrong with the file."""
        self.error.setText(
            "\n".join(
                say("sheet.error", problem=content(f"{one.where}: {one.problem}"), remedy=content(one.remedy))
                for one in error.problems
            )
        )

    def _go(self) -> None:
        crs, turned = self._crs()
        how = {
            "mapping": self.columns.mapping(), "crs": crs or None, "swap_xy": self.swap.isChecked() or turned,
            "encoding": self.encoding.text().strip() or None,
        }  # fmt: skip
        self.error.setText("")
        self.wanted.emit(str(self.layer.currentData()), self.file, how)
