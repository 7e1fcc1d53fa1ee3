"""A head by hand: its place, throw and turn as typed; the map moves it by dragging and by arrow keys."""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QGridLayout, QLineEdit, QVBoxLayout, QWidget

from gravegis.window.evidence import row_of
from gravegis.window.parts import button, label
from gravegis.window.texts import content, say

if TYPE_CHECKING:
    from gravegis.errors import GravegisError
    from gravegis.site import Site
    from gravegis.window.reading import Reader

__all__ = ["HeadForm"]

UNITS = {"throw_m": "m", "arc_from_deg": "deg", "arc_sweep_deg": "deg", "x": "m", "y": "m"}


class HeadForm(QWidget):
    """Fields of one head; `put` gives its name and the texts that were changed, as the command `edit` takes them."""

    put = Signal(str, object)
    back = Signal()

    def __init__(self) -> None:
        super().__init__()
        self.head = ""
        self._reader: Reader | None = None
        self._shown: dict[str, str] = {}
        self.title = label(tone="title")
        self.wets = label()
        self.error = label(tone="warn")
        self.fields: dict[str, QLineEdit] = {}
        self._unit_labels = {name: label(wraps=False) for name in UNITS}
        grid = QGridLayout()
        for at, name in enumerate(UNITS):
            words, field = label(say(f"head.{name}")), QLineEdit()
            field.setAccessibleName(say(f"head.{name}"))
            field.returnPressed.connect(self._put)
            words.setBuddy(field)
            self.fields[name] = field
            grid.addWidget(words, 2 * at, 0, 1, 2)
            grid.addWidget(field, 2 * at + 1, 0)
            grid.addWidget(self._unit_labels[name], 2 * at + 1, 1)
        self.does = button(say("head.put"), self._put)
        self.back_ = button(say("head.back"), self.back.emit)
        rows = QVBoxLayout(self)
        rows.setContentsMargins(10, 8, 10, 8)
        rows.addWidget(self.title)
        rows.addWidget(label(say("head.words"), tone="faint"))
        rows.addLayout(grid)
        for part in (self.error, self.does, self.wets):
            rows.addWidget(part)
        rows.addStretch(1)
        rows.addWidget(self.back_)

    def show_head(self, site: Site, head: str, reader: Reader) -> None:
        """Show a head as it stands."""
        row = row_of(site, "heads", head)
        if row is None:
            return
        self.head, self._reader = head, reader
        self.title.setText(say("head.title", id=head))
        self.error.setText("")
        values = {name: row.get(name) for name in ("throw_m", "arc_from_deg", "arc_sweep_deg")}
        point = row.get("geometry")
        values |= {"x": getattr(point, "x", None), "y": getattr(point, "y", None)}
        for name, field in self.fields.items():
            value, inside = values[name], UNITS[name] if name not in ("x", "y") else ""
            text = "" if value is None else reader.bare(float(value), inside, 3)
            self._shown[name] = text
            field.setText(text)
            self._unit_labels[name].setText(reader.unit(inside) if inside else "m")
        self.tell_wetted(None)

    def tell_wetted(self, count: int | None) -> None:
        """Say how many stones it wets while it is dragged."""
        self.wets.setText("" if count is None else say("head.wets", count=count))

    def show_error(self, error: GravegisError) -> None:
        """Say what does not fit."""
        lines = [say("sheet.error", problem=content(one.problem), remedy=content(one.remedy)) for one in error.problems]
        self.error.setText("\n".join(lines))

    def _put(self) -> None:
        reader = self._reader
        if reader is None:
            return
        changed = {name: field.text() for name, field in self.fields.items() if field.text() != self._shown[name]}
        texts = {
            name: reader.typed(text, UNITS[name] if name not in ("x", "y") else "") for name, text in changed.items()
        }
        if texts:
            self.put.emit(self.head, texts)
