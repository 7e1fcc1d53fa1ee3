"""The side sheet, the strip below the map and the line at the foot: what the frame puts together."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QComboBox, QHBoxLayout, QStackedWidget, QVBoxLayout, QWidget

from gravegis.layers import schema
from gravegis.layers.naming import layer_in_words
from gravegis.window.addsheet import AddSheet
from gravegis.window.headform import HeadForm
from gravegis.window.parts import WordButton, WrapLayout, button, emptied, label, scrolled
from gravegis.window.sheet import QuestionSheet
from gravegis.window.strips import ClockStrip, CrewsStrip
from gravegis.window.texts import content, say
from gravegis.window.twin import ListTwin

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gravegis.site import Site

__all__ = ["Foot", "Records", "Side", "Strip", "Survey"]


class Survey(QWidget):
    """What is known of the ground, and a way to add to it."""

    add_asked = Signal()

    def __init__(self) -> None:
        super().__init__()
        self._tables = QVBoxLayout()
        inside = QWidget()
        rows = QVBoxLayout(inside)
        rows.addWidget(label(say("survey.question"), tone="title"))
        rows.addWidget(label(say("survey.words"), tone="faint"))
        self.add = button(say("survey.add"), self.add_asked.emit)
        rows.addWidget(self.add)
        rows.addLayout(self._tables)
        rows.addStretch(1)
        outer = QVBoxLayout(self)
        outer.setContentsMargins(0, 0, 0, 0)
        outer.addWidget(scrolled(inside))

    def show_site(self, site: Site) -> None:
        """List the tables there are."""
        emptied(self._tables)
        for name in site:
            if schema.layer(name).role == "input":
                words = say("survey.table", name=content(layer_in_words(name)), count=site.rows_n(name))
                self._tables.addWidget(label(words))


class Records(QWidget):
    """Pages, tables and the map in view, for people who are not at the desk."""

    pages_asked = Signal(str)
    view_asked = Signal()
    paper_asked = Signal()
    question_asked = Signal(str)

    def __init__(self) -> None:
        super().__init__()
        self._questions = QVBoxLayout()
        self.size_ = QComboBox()
        self.size_.addItems(["A4", "Letter"])
        self.size_.setAccessibleName(say("print.size"))
        self.pages = button(say("print.pages"), lambda: self.pages_asked.emit(self.size_.currentText()))
        inside = QWidget()
        outer = QVBoxLayout(self)
        outer.setContentsMargins(0, 0, 0, 0)
        outer.addWidget(scrolled(inside))
        rows = QVBoxLayout(inside)
        rows.addWidget(label(say("stage.records"), tone="title"))
        rows.addWidget(label(say("stage.records.words"), tone="faint"))
        line = QHBoxLayout()
        line.addWidget(label(say("print.size")))
        line.addWidget(self.size_)
        rows.addLayout(line)
        rows.addWidget(self.pages)
        rows.addWidget(button(say("print.view"), self.view_asked.emit))
        rows.addWidget(button(say("print.paper"), self.paper_asked.emit))
        rows.addLayout(self._questions)
        rows.addStretch(1)

    def show_questions(self, questions: Mapping[str, str]) -> None:
        """Offer the questions of this stage: name of the analysis -> question."""
        emptied(self._questions)
        for name, words in questions.items():
            self._questions.addWidget(WordButton(content(words), "", partial(self.question_asked.emit, name)))


class Side(QStackedWidget):
    """The sheet at the side: one page at a time, the question of the stage or what was asked for."""

    def __init__(self) -> None:
        super().__init__()
        self.question, self.survey, self.records = QuestionSheet(), Survey(), Records()
        self.head, self.add = HeadForm(), AddSheet()
        words = label(say("stage.empty"))
        words.setAlignment(Qt.AlignmentFlag.AlignTop)
        words.setMargin(10)
        self.empty = scrolled(words)
        self.head_area = scrolled(self.head)
        for page in (self.question, self.survey, self.records, self.head_area, self.add, self.empty):
            self.addWidget(page)


class Strip(QWidget):
    """Below the map: the day's clock, the crews or the list."""

    def __init__(self) -> None:
        super().__init__()
        self.clock, self.crews, self.list = ClockStrip(), CrewsStrip(), ListTwin()
        self.pages = QStackedWidget()
        self.which = QComboBox()
        self.which.setAccessibleName(say("strip.choose"))
        for name, page in (("clock", self.clock), ("crews", self.crews), ("list", self.list)):
            self.which.addItem(say(f"strip.{name}"), name)
            self.pages.addWidget(scrolled(page) if name != "list" else page)
        self.which.currentIndexChanged.connect(self.pages.setCurrentIndex)
        rows = QHBoxLayout(self)
        rows.setContentsMargins(6, 2, 6, 2)
        left = QVBoxLayout()
        left.addWidget(self.which)
        left.addStretch(1)
        rows.addLayout(left)
        rows.addWidget(self.pages, 1)

    def turn_to(self, name: str) -> None:
        """Show one of the three."""
        self.which.setCurrentIndex(self.which.findData(name))


class Foot(QWidget):
    """The line at the foot: what happened last, and how things are shown."""

    undo = Signal()
    redo = Signal()
    keys = Signal()
    units = Signal(str)
    dark = Signal(bool)
    larger = Signal(int)

    def __init__(self) -> None:
        super().__init__()
        self.said, self.at = label(say("foot.ready")), label(tone="faint", wraps=False)
        self.said.setAccessibleName(say("foot.ready"))
        self.units_ = QComboBox()
        self.units_.setAccessibleName(say("view.units"))
        for one in ("metric", "us"):
            self.units_.addItem(say(f"view.{one}"), one)
        self.units_.currentIndexChanged.connect(lambda _: self.units.emit(str(self.units_.currentData())))
        self.dark_ = button(say("view.dark"), lambda: self.dark.emit(self.dark_.isChecked()), switch=True)
        self.bigger = button(say("view.bigger.sign"), lambda: self.larger.emit(1), name=say("view.bigger"))
        self.smaller = button(say("view.smaller.sign"), lambda: self.larger.emit(-1), name=say("view.smaller"))
        parts = (button(say("view.undo"), self.undo.emit), button(say("view.redo"), self.redo.emit), self.units_,
                 self.dark_, self.smaller, self.bigger, button(say("view.keys"), self.keys.emit))  # fmt: skip
        line = WrapLayout(gap=4)
        for part in parts:
            line.addWidget(part)
        line.addWidget(self.at)
        rows = QVBoxLayout(self)
        rows.setContentsMargins(6, 0, 6, 4)
        rows.setSpacing(2)
        rows.addWidget(self.said)
        rows.addLayout(line)

    def say(self, words: str) -> None:
        """Say what happened."""
        self.said.setText(words)
        self.said.setAccessibleName(words)
