"""The columns of a file, one below the other: what each becomes, in which unit, to accept or change."""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtWidgets import QCheckBox, QComboBox, QHBoxLayout, QLineEdit, QVBoxLayout, QWidget

from gravegis.layers.read.raw import shown
from gravegis.window.addlook import becomes_in_words, mapped, targets
from gravegis.window.parts import button, emptied, label
from gravegis.window.texts import content, say

if TYPE_CHECKING:
    from gravegis.layers.suggest import Suggestion
    from gravegis.window.addlook import Questions

__all__ = ["ColumnSheet"]

UNIT_CHARACTERS = 7


class _ColumnRow(QWidget):
    """One column: what stands in it, what it becomes, its unit, and whether that is taken."""

    def __init__(self, layer: str, asked: Suggestion) -> None:
        super().__init__()
        self.asked = asked
        name = shown([asked.in_file[:40]])
        self.becomes, self.unit, self.take = QComboBox(), QLineEdit(asked.unit), QCheckBox(say("add.take"))
        self.becomes.addItem(say("add.carried"), "")
        for one in targets(layer):
            self.becomes.addItem(content(becomes_in_words(layer, one)), one)
        self.becomes.setCurrentIndex(max(self.becomes.findData(asked.becomes), 0))
        self.becomes.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        self.becomes.setMinimumContentsLength(8)
        self.becomes.setAccessibleName(say("add.becomes", column=name))
        self.unit.setAccessibleName(say("add.unit", column=name))
        self.unit.setPlaceholderText(say("add.unit.hint"))
        self.unit.setMaximumWidth(self.unit.fontMetrics().averageCharWidth() * UNIT_CHARACTERS + 24)
        self.take.setAccessibleName(say("add.take.of", column=name))
        self.take.setChecked(asked.taken)
        self.becomes.activated.connect(lambda _: self.take.setChecked(bool(self.becomes.currentData())))
        examples = shown(one[:20] for one in asked.examples)
        rows, line = QVBoxLayout(self), QHBoxLayout()
        rows.setContentsMargins(0, 4, 0, 4)
        rows.setSpacing(2)
        rows.addWidget(label(say("add.column", column=name, count=asked.filled, examples=examples)))
        line.addWidget(self.becomes, 1)
        line.addWidget(self.unit)
        line.addWidget(self.take)
        rows.addLayout(line)
        rows.addWidget(label(content(asked.why), tone="faint"))

    def said(self) -> tuple[str, str, str]:
        """Return the column, what it becomes (empty: carried as it is) and its unit."""
        target = str(self.becomes.currentData() or "") if self.take.isChecked() else ""
        return self.asked.in_file, target, self.unit.text().strip()


class ColumnSheet(QWidget):
    """All columns of a file."""

    def __init__(self) -> None:
        super().__init__()
        self.rows: list[_ColumnRow] = []
        self.all = button(say("add.take.all"), self.take_all)
        self._at = QVBoxLayout()
        rows = QVBoxLayout(self)
        rows.setContentsMargins(0, 0, 0, 0)
        rows.addWidget(self.all)
        rows.addLayout(self._at)
        self.show_columns(None)

    def show_columns(self, asked: Questions | None) -> None:
        """Show the columns of a file; none for one that is not looked at yet."""
        emptied(self._at)
        self.rows = [_ColumnRow(asked.layer, one) for one in asked.rows] if asked is not None else []
        for row in self.rows:
            self._at.addWidget(row)
        self.all.setVisible(any(one.asked.becomes and not one.asked.taken for one in self.rows))

    def take_all(self) -> None:
        """Accept everything that is proposed."""
        for row in self.rows:
            row.take.setChecked(bool(row.becomes.currentData()))

    def mapping(self) -> list[str]:
        """Return what was accepted or changed, as the command `add` takes it.

        What the file says by itself and nobody changed is left to it.
        """
        return mapped([row.said() for row in self.rows if _is_other(row)])


def _is_other(row: _ColumnRow) -> bool:
    asked = row.asked
    return not asked.taken or row.said() != (asked.in_file, asked.becomes, asked.unit)
