"""A person who sees only words: reads what is on the screen as a reader aloud gets it, and presses what it says."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from PySide6.QtCore import QRect, Qt
from PySide6.QtGui import QAccessible
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication

if TYPE_CHECKING:
    from collections.abc import Iterator

ROLES = QAccessible.Role
PRESSED = (ROLES.Button, ROLES.PushButton, ROLES.CheckBox, ROLES.RadioButton)


class Walker:
    """Counts every press; knows names, roles and places of what is visible, nothing of the program."""

    def __init__(self, window: Any, settled: Any) -> None:
        self._window, self._settled = window, settled
        self.actions: list[str] = []

    def seen(self) -> Iterator[Any]:
        """Everything that can be seen just now."""
        for _ in range(3):  # a layout within a layout is made anew when Qt comes to it
            QApplication.processEvents()
        page = QApplication.activeModalWidget() or self._window
        yield from _below(QAccessible.queryAccessibleInterface(page), QRect())

    def words(self) -> list[str]:
        return [one.text(QAccessible.Text.Name) for one in self.seen() if one.text(QAccessible.Text.Name)]

    def press(self, words: str) -> str:
        """Press the first thing that says so, and wait as a person would; gives its whole name back."""
        found = next(
            (one for one in self.seen()
             if one.role() in PRESSED and words.lower() in one.text(QAccessible.Text.Name).lower()), None
        )  # fmt: skip
        assert found is not None, (words, self.words())
        assert not found.state().disabled, words
        name = str(found.text(QAccessible.Text.Name))
        self.actions.append(name)
        QTest.mouseClick(found.object(), Qt.MouseButton.LeftButton)
        self._settled()
        return name

    def choose(self, box: str, entry: str) -> None:
        """Open a box and take an entry: two actions."""
        found = next(
            (one for one in self.seen()
             if one.role() == ROLES.ComboBox and box.lower() in one.object().accessibleName().lower()), None
        )  # fmt: skip
        assert found is not None, (box, self.words())
        combo: Any = found.object()
        at = next((k for k in range(combo.count()) if combo.itemText(k).lower() == entry.lower()), -1)
        assert at >= 0, (entry, [combo.itemText(k) for k in range(combo.count())])
        self.actions += [f"open {box}", f"take {entry}"]
        combo.setCurrentIndex(at)
        self._settled()


def _below(one: Any, room: QRect) -> Iterator[Any]:
    """Go down the tree, leaving out what is hidden or scrolled out of its place."""
    for at in range(one.childCount()):
        child = one.child(at)
        if child is None or not child.isValid() or child.state().invisible:
            continue
        place = child.rect()
        seen = place if room.isNull() else place.intersected(room)
        if seen.isEmpty():
            continue
        yield child
        yield from _below(child, seen)
