"""The evidence card over the map: what is known of the thing picked, where it comes from, and what to do about it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QPixmap
from PySide6.QtWidgets import QFrame, QHBoxLayout, QVBoxLayout, QWidget

from gravegis.layers.naming import layer_in_words
from gravegis.window.parts import WordButton, WrapLayout, button, emptied, label, scrolled
from gravegis.window.texts import content, say

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from gravegis.window.evidence import Card, Fact

__all__ = ["CardView"]

SEEN = ("struck", "wetted", "mist", "dry")
PHOTO_PX = 160


class CardView(QFrame):
    """Shows one card. `opened` asks for that of another row, `stepped` for the next (1) or previous (-1) flagged."""

    opened = Signal(str, str)
    stepped = Signal(int)
    saw = Signal(str, str)
    by_hand = Signal(str)
    closed = Signal()

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self.setObjectName("card")
        self.setAccessibleName(say("card.name"))
        self.setAutoFillBackground(True)
        self.card: Card | None = None
        self.title = label(tone="title")
        self.place = label(tone="faint", wraps=False)
        self.close_ = button(say("card.close"), self.closed.emit)
        self.previous = button(say("card.previous"), lambda: self.stepped.emit(-1))
        self.next = button(say("card.next"), lambda: self.stepped.emit(1))
        self._facts, self._does = QVBoxLayout(), WrapLayout()
        self._facts.setSpacing(1)
        head = QHBoxLayout()
        head.addWidget(self.title, 1)
        head.addWidget(self.close_)
        inside = QWidget()
        rows = QVBoxLayout(inside)
        rows.setContentsMargins(0, 0, 4, 0)
        rows.addLayout(self._facts)
        rows.addLayout(self._does)
        marks = "   ".join(say(f"card.{one}") for one in ("measured", "worked out", "missing"))
        rows.addWidget(label(marks, tone="faint"))
        rows.addStretch(1)
        walk = WrapLayout()
        walk.addWidget(self.previous)
        walk.addWidget(self.next)
        walk.addWidget(self.place)
        outer = QVBoxLayout(self)
        outer.setContentsMargins(8, 6, 8, 6)
        outer.addLayout(head)
        self._scroll = scrolled(inside)
        outer.addWidget(self._scroll, 1)
        outer.addLayout(walk)
        self.hide()

    def show_card(self, card: Card, folder: Path, flagged: tuple[str, ...]) -> None:
        """Show a card."""
        self.card = card
        name = f"card.{card.layer}"
        kind = (
            say(name)
            if card.layer in ("stones", "heads", "zones", "plots", "stops")
            else content(layer_in_words(card.layer))
        )
        self.title.setText(say("card.title", kind=kind, id=card.id))
        emptied(self._facts)
        for fact in card.facts:
            self._facts.addWidget(self._line(fact))
        self._more(card, folder)
        emptied(self._does)
        self._actions(card)
        at = flagged.index(card.id) + 1 if card.layer == "stones" and card.id in flagged else 0
        self.place.setText(say("card.flagged", place=at, count=len(flagged)) if at else "")
        self.place.setVisible(bool(at))
        for one in (self.previous, self.next):
            one.setVisible(bool(flagged))
        self._scroll.verticalScrollBar().setValue(0)
        self.show()
        self.raise_()

    def _more(self, card: Card, folder: Path) -> None:
        if card.photos:
            self._facts.addWidget(label(say("card.photos", count=len(card.photos)), tone="title"))
            for file in card.photos:
                picture = QPixmap(str(folder / "photos" / file))
                shown = label(file)
                if not picture.isNull():
                    shown.setPixmap(picture.scaledToWidth(PHOTO_PX, Qt.TransformationMode.SmoothTransformation))
                    shown.setAccessibleName(file)
                self._facts.addWidget(shown)
        if card.history:
            self._facts.addWidget(label(say("card.history"), tone="title"))
            for line in card.history:
                self._facts.addWidget(label(content(line)))

    def _line(self, fact: Fact) -> QWidget:
        """Return a line: one that leads to another row is a button, the others are words."""
        mark, name = say(f"card.mark.{fact.basis}"), content(fact.name)
        words = (
            say("card.fact", mark=mark, name=name, value=content(fact.value))
            if fact.value
            else say("card.fact.missing", mark=mark, name=name)
        )
        where = say("card.fact.opens", basis=say(f"card.{fact.basis}"), name=name, value=fact.value,
                    layer=content(layer_in_words(fact.layer)), row=fact.row)  # fmt: skip
        card = self.card
        if card is not None and _leads(card, fact):
            return WordButton(words, where, lambda: self.opened.emit(fact.layer, fact.row))
        made = label(words)
        made.setToolTip(where)
        return made

    def _actions(self, card: Card) -> None:
        if card.layer == "stones":
            self._does.addWidget(label(say("card.saw"), wraps=False))
            for seen in SEEN:
                does = self._saw(card.id, seen)
                name = say("card.saw.of", id=card.id, seen=say(f"card.{seen}"))
                self._does.addWidget(button(say(f"card.{seen}"), does, name=name))
        if card.layer == "heads":
            self._does.addWidget(button(say("card.by_hand"), lambda: self.by_hand.emit(card.id)))

    def _saw(self, id: str, seen: str) -> Callable[[], None]:
        return lambda: self.saw.emit(id, seen)


def _leads(card: Card, fact: Fact) -> bool:
    """Whether a line leads to a card of its own: results of a stone stand on the card of the stone itself."""
    is_stop = "stops" in (fact.layer, card.layer) and fact.layer != card.layer
    return bool(fact.row) and (fact.row != card.id or is_stop)
