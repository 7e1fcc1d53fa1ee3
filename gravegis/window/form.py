"""The form of an analysis, made from the settings it declares; what is typed goes the one road, `Analysis.read`."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QCheckBox, QComboBox, QHBoxLayout, QLineEdit, QVBoxLayout, QWidget

from gravegis.errors import SettingError
from gravegis.kinds import Choice, Flag, Number
from gravegis.window.parts import button, label
from gravegis.window.texts import content, say

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gravegis.contract import Analysis
    from gravegis.kinds import Kind
    from gravegis.window.reading import Reader

__all__ = ["Form", "setting_words"]

_ENDINGS = (
    "_m", "_mm", "_h", "_min", "_deg", "_l", "_n", "_frac", "_kpa", "_pct", "_s", "_degc", "_k", "_l_min", "_mm_h",
    "_m_s", "_years", "_days", "_months", "_kg",
)  # fmt: skip


def setting_words(name: str) -> str:
    """Return the name of a setting in words: ``near_m`` is ``Near``."""
    ending = max((one for one in _ENDINGS if name.endswith(one)), key=len, default="")
    words = name.removesuffix(ending).replace("_", " ").strip() or name
    return content(words[0].upper() + words[1:])


class Form(QWidget):
    """One field per setting with its unit, range and source; `typed` gives what differs from what the site has."""

    changed = Signal()

    def __init__(self, analysis: Analysis[Any], saved: Mapping[str, object], reader: Reader) -> None:
        super().__init__()
        self.analysis = analysis
        self._saved = saved
        self.fields: dict[str, _Field] = {}
        rows = QVBoxLayout(self)
        rows.setContentsMargins(0, 0, 0, 0)
        now = analysis.read({}, saved)
        for name, (default, kind) in analysis.kinds().items():
            field = _Field(name, kind, default, getattr(now, name), reader)
            field.changed.connect(self._on_changed)
            self.fields[name] = field
            rows.addWidget(field)

    def typed(self) -> dict[str, str]:
        """Return what was typed and differs from what the site has saved, as the command line would get it."""
        return {name: field.typed() for name, field in self.fields.items() if field.differs()}

    def values(self) -> Any:  # noqa: ANN401 - the settings of this analysis
        """Return the settings as they stand; raises SettingError with everything that cannot be read."""
        return self.analysis.read(self.typed(), self._saved)

    def show_problems(self) -> bool:
        """Show what is wrong under each field; True where nothing is."""
        fine = True
        for field in self.fields.values():
            fine = field.look() and fine
        return fine

    def explain(self, *, wanted: bool) -> None:
        """Show or hide range, usual value and source of every setting."""
        for field in self.fields.values():
            field.why.setVisible(wanted)

    def _on_changed(self) -> None:
        self.show_problems()
        self.changed.emit()


class _Field(QWidget):
    """One setting: its name, a box to type into, its unit, what it means, why this value, and what is wrong."""

    changed = Signal()

    def __init__(self, name: str, kind: Kind, default: object, value: object, reader: Reader) -> None:
        super().__init__()
        self.name, self._kind, self._default, self._start, self._reader = name, kind, default, value, reader
        words = setting_words(name)
        self._unit = kind.unit if isinstance(kind, Number) else ""
        self.box = self._box(value)
        self.box.setAccessibleName(words)
        self.box.setAccessibleDescription(f"{content(kind.help)} {self._why()}")
        self.box.setToolTip(content(kind.help))
        self._put = self._text()
        line = QHBoxLayout()
        line.setContentsMargins(0, 0, 0, 0)
        self.title = label(words)
        self.title.setBuddy(self.box)
        line.addWidget(self.title, 1)
        line.addWidget(self.box, 1)
        if reader.unit(self._unit):
            line.addWidget(label(reader.unit(self._unit), wraps=False))
        self.meaning = label(content(kind.help), tone="faint")
        self.why = label(self._why(), tone="faint")
        self.dot = label(say("sheet.changed", default=self._usual()))
        self.back = button(say("sheet.reset"), self.reset, name=say("sheet.reset.of", name=words))
        self.error = label("", tone="warn")
        self.error.setAccessibleName(words)
        changed = QHBoxLayout()
        changed.addWidget(self.dot, 1)
        changed.addWidget(self.back)
        rows = QVBoxLayout(self)
        rows.setContentsMargins(0, 0, 0, 6)
        rows.setSpacing(2)
        rows.addLayout(line)
        rows.addWidget(self.error)
        rows.addWidget(self.meaning)
        rows.addWidget(self.why)
        rows.addLayout(changed)
        self.why.hide()
        self.look()

    def typed(self) -> str:
        """Return the text as the command line would get it."""
        return self._reader.typed(self._text(), self._unit) if isinstance(self._kind, Number) else self._text()

    def differs(self) -> bool:
        """Whether somebody changed it since it was shown."""
        return self._text() != self._put

    def put(self, text: str) -> None:
        """Type a text into the field, as a person would."""
        if isinstance(self.box, QCheckBox):
            self.box.setChecked(text == "yes")
        elif isinstance(self.box, QComboBox):
            self.box.setCurrentIndex(max(self.box.findData(text), 0))
        else:
            self.box.setText(text)
            self.box.editingFinished.emit()

    def reset(self) -> None:
        """Go back to the usual value."""
        self.put(self._shown(self._default))
        self.changed.emit()

    def look(self) -> bool:
        """Say what is wrong, and whether the value is the usual one; True where it can be read."""
        problem = ""
        value = self._start
        if self.differs():
            try:
                value = self._kind.read(self.typed())
            except SettingError as error:
                one = error.problems[0]
                remedy = one.remedy or self._range()
                problem = say("sheet.error", problem=content(one.problem), remedy=content(remedy))
        self.error.setText(problem)
        self.error.setVisible(bool(problem))
        is_other = not problem and value != self._default
        self.dot.setVisible(is_other)
        self.back.setVisible(is_other)
        return not problem

    def _box(self, value: object) -> Any:  # noqa: ANN401 - one of three kinds of box
        if isinstance(self._kind, Flag):
            check = QCheckBox(say("sheet.yes"))
            check.setChecked(bool(value))
            check.toggled.connect(lambda _: self.changed.emit())
            return check
        if isinstance(self._kind, Choice):
            combo = QComboBox()
            for one in self._kind.options:
                combo.addItem(content(one), one)
            combo.setCurrentIndex(combo.findData(value))
            combo.currentIndexChanged.connect(lambda _: self.changed.emit())
            combo.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
            combo.setMinimumContentsLength(8)
            return combo
        line = QLineEdit(self._shown(value))
        line.editingFinished.connect(self.changed.emit)
        return line

    def _text(self) -> str:
        if isinstance(self.box, QCheckBox):
            return "yes" if self.box.isChecked() else "no"
        if isinstance(self.box, QComboBox):
            return str(self.box.currentData())
        return str(self.box.text())

    def _shown(self, value: object) -> str:
        if isinstance(self._kind, Number) and isinstance(value, (int, float)):
            # more digits than usual: what is shown must be what is used
            return self._reader.bare(float(value), self._unit, 0 if self._kind.is_whole else 6)
        if isinstance(self._kind, Flag):
            return "yes" if value else "no"
        return str(value)

    def _usual(self) -> str:
        if isinstance(self._kind, Flag):
            return say("sheet.yes") if self._default else say("sheet.no")
        shown = self._shown(self._default)
        if not shown:
            return say("sheet.usual.nothing")
        return f"{shown} {self._reader.unit(self._unit)}".rstrip() if self._unit else content(shown)

    def _range(self) -> str:
        if isinstance(self._kind, Number):
            low, high = (self._reader.bare(one, self._unit, 3) for one in (self._kind.low, self._kind.high))
            return f"{low} – {high} {self._reader.unit(self._unit)}".rstrip()
        return content(self._kind.range_text())

    def _why(self) -> str:
        return say("sheet.why.words", range=self._range(), default=self._usual(), source=content(self._kind.source))
