"""The question sheet: one question of the stage, its settings, work it out and stop, then the answer in words."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QPixmap
from PySide6.QtWidgets import (
    QCheckBox,
    QComboBox,
    QDialog,
    QFrame,
    QHBoxLayout,
    QLabel,
    QPlainTextEdit,
    QProgressBar,
    QVBoxLayout,
    QWidget,
)

from gravegis.layers.naming import column_in_words, layer_in_words
from gravegis.outputs import words
from gravegis.outputs.help_pictures import help_pictures
from gravegis.window.evidence import struck
from gravegis.window.form import Form
from gravegis.window.parts import WordButton, WrapLayout, button, emptied, label, scrolled
from gravegis.window.texts import content, say

if TYPE_CHECKING:
    from collections.abc import Iterable

    from gravegis.contract import Analysis
    from gravegis.outputs.help_pictures import HelpPicture
    from gravegis.window.desk import Desk
    from gravegis.window.reading import Reader

__all__ = ["QuestionSheet", "lacks_in_words"]


def lacks_in_words(lacks: Iterable[str]) -> str:
    """Return layers and columns that are missing, in words."""
    found = []
    for one in lacks:
        layer, _, column = one.partition(".")
        name = content(layer_in_words(layer))
        found.append(f"{name}, {content(column_in_words(layer, column))}" if column else name)
    return "; ".join(dict.fromkeys(found))


class QuestionSheet(QWidget):
    """Shows one analysis of a stage; `asked` carries its name, what was typed, and whether to remember it.

    `opened` asks for the card of a thing that the answer names.
    """

    asked = Signal(str, object, bool)
    stop_asked = Signal()
    opened = Signal(str, str)

    def __init__(self) -> None:
        super().__init__()
        self.setAccessibleName(say("sheet.name"))
        self.analysis: Analysis[Any] | None = None
        self.form: Form | None = None
        self._desk: Desk | None = None
        self._reader: Reader | None = None
        self.choose = QComboBox()
        self.choose.setAccessibleName(say("sheet.choose"))
        self.choose.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        self.choose.setMinimumContentsLength(10)
        self.choose.currentIndexChanged.connect(self._chosen)
        self.question = label(tone="title")
        self.run = button(say("sheet.run"), self._ask)
        self.stop = button(say("sheet.stop"), self.stop_asked.emit)
        self.why = button(say("sheet.why"), self._explain, switch=True)
        self.help = button(say("sheet.help"), self._help)
        self.keep = QCheckBox(say("sheet.keep"))
        self.keep.setAccessibleName(say("sheet.keep").replace("&", ""))
        self.bar = QProgressBar()
        self.bar.setAccessibleName(say("sheet.progress"))
        self.bar.setTextVisible(False)
        self.doing = label(tone="faint")
        self._form_at, self._answer_at = QVBoxLayout(), QVBoxLayout()
        self._lay_out()
        self.set_running(running=False)

    def _lay_out(self) -> None:
        inside = QWidget()
        rows = QVBoxLayout(inside)
        rows.setContentsMargins(10, 8, 10, 8)
        for one in (self.choose, self.question):
            rows.addWidget(one)
        rows.addLayout(self._answer_at)
        rows.addLayout(self._form_at)
        line = WrapLayout()
        line.addWidget(self.why)
        line.addWidget(self.help)
        rows.addLayout(line)
        rows.addStretch(1)
        outer = QVBoxLayout(self)
        outer.setContentsMargins(0, 0, 0, 6)
        outer.addWidget(scrolled(inside), 1)
        foot = QVBoxLayout()
        foot.setContentsMargins(10, 0, 10, 0)
        runs = QHBoxLayout()
        runs.addWidget(self.run, 1)
        runs.addWidget(self.stop)
        for part in (self.keep, self.bar, self.doing):
            foot.addWidget(part)
        foot.insertLayout(1, runs)
        outer.addLayout(foot)

    def show_stage(self, desk: Desk, names: tuple[str, ...], reader: Reader, wanted: str = "") -> None:
        """Show the questions of a stage; the one named, else the first that is open or late, else the last."""
        self._desk, self._reader = desk, reader
        late = {one.analysis for one in desk.late()}
        ran = {one.analysis for one in desk.site.log}
        todo = [name for name in names if name not in ran or name in late]
        self.choose.blockSignals(True)
        self.choose.clear()
        for name in names:
            self.choose.addItem(content(desk.pool[name].title), name)
        at = wanted if wanted in names else (todo or list(names))[0 if todo else -1]
        self.choose.setCurrentIndex(names.index(at))
        self.choose.setVisible(len(names) > 1)
        self.choose.blockSignals(False)
        self._show(at)

    def set_running(self, *, running: bool) -> None:
        """Show that something is worked out, or no longer."""
        self.run.setEnabled(not running)
        self.stop.setEnabled(running)
        self.choose.setEnabled(not running)
        self.bar.setVisible(running)
        if running:
            self.bar.setRange(0, 1000)
            self.bar.setValue(0)

    def tell(self, share: float, words: str) -> None:
        """Show how far the work is."""
        self.bar.setValue(round(1000 * share))
        self.doing.setText(say("sheet.running", words=content(words)))

    def _chosen(self) -> None:
        if self.choose.currentData():
            self._show(str(self.choose.currentData()))

    def _show(self, name: str) -> None:
        if self._desk is None or self._reader is None:
            return
        self.analysis = self._desk.pool[name]
        self.question.setText(content(self.analysis.question))
        self.doing.setText("")
        emptied(self._form_at)
        self.form = Form(self.analysis, self._desk.site.settings.get(name, {}), self._reader)
        self._form_at.addWidget(self.form)
        self.form.explain(wanted=self.why.isChecked())
        self.keep.setVisible(bool(self.form.fields))
        self.show_answer()

    def show_answer(self) -> None:
        """Show the answer there is, or what is missing for one."""
        emptied(self._answer_at)
        if self._desk is None or self.analysis is None:
            return
        name = self.analysis.name
        late = next((one for one in self._desk.late() if one.analysis == name), None)
        record = next((one for one in self._desk.site.log if one.analysis == name), None)
        if late is not None:
            reasons = "; ".join(content(one) for one in late.reasons)
            self._answer_at.addWidget(label(say("sheet.late", reasons=reasons), tone="warn"))
        if record is None:
            makers = {layer for one in self._desk.pool.values() for layer in one.gives}
            lacks = [one for one in self.analysis.lacks(self._desk.site) if one.partition(".")[0] not in makers]
            told = say("sheet.lacks", lacks=lacks_in_words(lacks)) if lacks else say("sheet.no_answer")
            self._answer_at.addWidget(label(told, tone="faint"))
            return
        self._worst()
        for note in record.notes:
            self._answer_at.addWidget(label(content(note)))
        self._answer_at.addWidget(_assumed(words.told(record.assumed)))

    def _worst(self) -> None:
        """Offer the stone that is struck hardest, where the answer is about the spray."""
        if self._desk is None or self._reader is None or self.analysis is None:
            return
        found = struck(self._desk.site) if "stone_wetting" in {*self.analysis.gives, *self.analysis.needs} else ()
        for stone, head, metres in found[:1]:
            far = "" if metres is None else self._reader.quantity(metres, "m")
            words = say("sheet.worst", stone=stone, head=head, far=far) if far else say("sheet.worst.seen", stone=stone)
            self._answer_at.addWidget(WordButton(words, "", partial(self.opened.emit, "stones", stone)))

    def _ask(self) -> None:
        if self.form is not None and self.analysis is not None and self.form.show_problems():
            self.asked.emit(self.analysis.name, self.form.typed(), self.keep.isChecked())

    def _explain(self) -> None:
        if self.form is not None:
            self.form.explain(wanted=self.why.isChecked())

    def _help(self) -> None:
        if self.analysis is None:
            return
        page = QDialog(self)
        page.setWindowTitle(say("sheet.help.title", title=content(self.analysis.title)))
        text = QPlainTextEdit(help_text(self.analysis))
        text.setReadOnly(True)
        text.setAccessibleName(page.windowTitle())
        text.setTabChangesFocus(True)
        rows = QVBoxLayout(page)
        rows.addWidget(text)
        for picture in help_pictures(self.analysis.name):
            rows.addWidget(_pictured(picture, self.window().width() // 2))
            rows.addWidget(label(content(picture.words)))
        rows.addWidget(button(say("keys.close"), page.accept))
        page.resize(self.window().width() * 2 // 3, self.window().height() * 2 // 3)
        page.setModal(True)
        page.show()


def _pictured(picture: HelpPicture, width: int) -> QLabel:
    """Return a picture of a help page, no wider than it is or than there is room."""
    shown, drawn = QLabel(), QPixmap(picture.file)
    shown.setPixmap(drawn.scaledToWidth(min(width, drawn.width()), Qt.TransformationMode.SmoothTransformation))
    shown.setAccessibleName(content(picture.words))
    return shown


def help_text(analysis: Analysis[Any]) -> str:
    """Return what the question is, how it is answered and from what sources, in words."""
    import inspect

    method = " ".join(inspect.cleandoc(analysis.run.__doc__ or "").split())
    return "\n\n".join(content(one) for one in (analysis.question, method, *analysis.sources) if one)


def _assumed(lines: tuple[str, ...]) -> QFrame:
    """Return the box that says what was missing and what was taken instead."""
    box = QFrame()
    box.setObjectName("assumed")
    rows = QVBoxLayout(box)
    rows.addWidget(label(say("sheet.assumed"), tone="title"))
    for line in lines:
        rows.addWidget(label(content(line)))
    if not lines:
        rows.addWidget(label(say("sheet.assumed.none")))
    return box
