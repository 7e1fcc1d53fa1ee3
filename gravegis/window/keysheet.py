"""The keys: what is bound to the whole window, and the sheet that lists them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtGui import QKeySequence, QShortcut
from PySide6.QtWidgets import QDialog, QVBoxLayout, QWidget

from gravegis.window.parts import button, label, scrolled
from gravegis.window.texts import say

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

__all__ = ["bind", "show_keys"]

LINES = ("stages", "run", "stop", "areas", "find", "undo", "pan", "zoom", "whole", "card", "next", "hands", "head",
         "clock", "print", "text", "close_window", "sheet")  # fmt: skip


def bind(window: QWidget, does: Mapping[str, Callable[[], object]]) -> None:
    """Bind keys to the whole window."""
    for keys, action in does.items():
        shortcut = QShortcut(QKeySequence(keys), window)
        shortcut.activated.connect(action)


def show_keys(window: QWidget) -> QDialog:
    """Show the sheet of keys."""
    page = QDialog(window)
    page.setWindowTitle(say("keys.title"))
    inside = QWidget()
    rows = QVBoxLayout(inside)
    for one in LINES:
        rows.addWidget(label(say(f"keys.{one}")))
    rows.addStretch(1)
    outer = QVBoxLayout(page)
    outer.addWidget(scrolled(inside))
    close = button(say("keys.close"), page.accept)
    outer.addWidget(close)
    page.resize(window.width() * 2 // 3, window.height() * 2 // 3)
    page.setModal(True)
    page.show()
    close.setFocus()
    return page
