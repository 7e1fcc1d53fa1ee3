"""The first page: the sample ground, a ground of one's own, those opened before."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QHBoxLayout, QVBoxLayout, QWidget

from gravegis.window.parts import button, emptied, label, scrolled
from gravegis.window.texts import say

if TYPE_CHECKING:
    from collections.abc import Callable

    from PySide6.QtCore import QSettings

__all__ = ["StartPage", "recent", "remember"]

MOST_RECENT = 6
"""Grounds remembered; own choice."""


def recent(settings: QSettings) -> list[Path]:
    """Return the folders opened before that are still there, the last one first."""
    held = settings.value("recent", [])
    names = [held] if isinstance(held, str) else list(held or [])  # type: ignore[call-overload]
    return [Path(one) for one in names if (Path(one) / "site.gpkg").is_file()]


def remember(settings: QSettings, folder: Path) -> None:
    """Put a folder first among those opened before."""
    others = [str(one) for one in recent(settings) if one != folder.resolve()]
    settings.setValue("recent", [str(folder.resolve()), *others][:MOST_RECENT])


class StartPage(QWidget):
    """What is seen before a ground is open."""

    sample = Signal()
    open_ = Signal()
    opened = Signal(object)

    def __init__(self) -> None:
        super().__init__()
        self.said = label(tone="warn")
        self._recent = QVBoxLayout()
        inside = QWidget()
        inside.setMaximumWidth(900)
        page = QWidget()
        outer = QVBoxLayout(self)
        outer.addWidget(scrolled(page))
        across = QHBoxLayout(page)
        across.addStretch(1)
        across.addWidget(inside, 6)
        across.addStretch(1)
        rows = QVBoxLayout(inside)
        rows.setContentsMargins(20, 60, 20, 40)
        rows.setSpacing(12)
        rows.addWidget(label(say("start.title"), tone="title"))
        rows.addWidget(label(say("start.words")))
        self.sample_ = button(say("start.sample"), self.sample.emit)
        rows.addWidget(self.sample_)
        rows.addWidget(button(say("start.open"), self.open_.emit))
        rows.addWidget(label(say("start.recent"), tone="title"))
        rows.addLayout(self._recent)
        rows.addWidget(self.said)
        rows.addStretch(1)

    def show_recent(self, folders: list[Path]) -> None:
        """Show what was opened before."""
        emptied(self._recent)
        for folder in folders:
            self._recent.addWidget(button(str(folder), self._opener(folder)))
        if not folders:
            self._recent.addWidget(label(say("start.recent.none"), tone="faint"))

    def _opener(self, folder: Path) -> Callable[[], None]:
        return lambda: self.opened.emit(folder)
