"""Two people at the window: one has a mouse and nothing else, one has keys and nothing else."""

from __future__ import annotations

from typing import Any

from PySide6.QtCore import QPoint, QPointF, Qt
from PySide6.QtGui import QWheelEvent
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QAbstractButton, QApplication, QComboBox, QLineEdit, QWidget

LEFT = Qt.MouseButton.LeftButton
MOST_TABS = 150


def name_of(widget: QWidget) -> str:
    return widget.accessibleName()


class Mouse:
    """Clicks and drags what can be seen; finds it by its name on the screen."""

    def __init__(self, window: Any, settled: Any) -> None:
        self.window, self.settled = window, settled

    def button(self, words: str) -> QAbstractButton:
        QApplication.processEvents()
        found: list[QAbstractButton] = [one for one in self.window.findChildren(QAbstractButton)
                 if one.isVisible() and words.lower() in name_of(one).lower()]  # fmt: skip
        assert found, words
        return min(found, key=lambda one: not name_of(one).lower().startswith(words.lower()))

    def click(self, words: str) -> None:
        button = self.button(words)
        QApplication.processEvents()
        assert button.isEnabled(), words
        _scroll_to(button)
        assert not button.visibleRegion().isEmpty(), f"{words}: nothing of it can be clicked"
        QTest.mouseClick(button, LEFT, pos=button.visibleRegion().boundingRect().center())
        self.settled()

    def take(self, box: QComboBox, data: str) -> None:
        """Turn the wheel over a box until it shows an entry; without a screen its list has no room to open."""
        assert not box.visibleRegion().isEmpty()
        for _ in range(box.count()):
            by = box.findData(data) - box.currentIndex()
            if by:
                _wheel(box, -120 if by > 0 else 120)
        self.settled()
        assert box.currentData() == data

    def row(self, table: Any, name: str) -> None:
        """Click on a row of the list."""
        model = table.model()
        at = next(k for k in range(model.rowCount()) if model.index(k, 0).data() == name)
        table.scrollTo(model.index(at, 0))
        QTest.mouseClick(table.viewport(), LEFT, pos=table.visualRect(model.index(at, 0)).center())
        self.settled()

    def at(self, x_m: float, y_m: float) -> QPoint:
        canvas = self.window.map.canvas
        place = QPoint(*(round(one) for one in canvas.view.to_screen(x_m, y_m)))
        assert canvas.rect().contains(place), "out of sight"
        assert canvas.childAt(place) is None, f"{canvas.childAt(place)} lies over it"
        return place

    def drag(self, part: str, x_m: float, y_m: float) -> None:
        """Drag a handle of the head in hand to a place on the ground."""
        canvas = self.window.map.canvas
        begin, end = self.at(*canvas.hold.handles()[part]), self.at(x_m, y_m)
        QTest.mousePress(canvas, LEFT, pos=begin)
        for step in range(1, 6):
            QTest.mouseMove(canvas, begin + (end - begin) * (step / 5))
        QTest.mouseRelease(canvas, LEFT, pos=end)
        self.settled()


class Keys:
    """Types and walks by Tab; never says which part of the window gets the keys."""

    def __init__(self, window: Any, settled: Any) -> None:
        self.window, self.settled = window, settled

    def at(self) -> QWidget:
        return QApplication.activeModalWidget() or QApplication.focusWidget() or self.window

    def press(self, key: Qt.Key, modifiers: Qt.KeyboardModifier = Qt.KeyboardModifier.NoModifier) -> None:
        QTest.keyClick(self.at(), key, modifiers)
        self.settled()

    def control(self, key: Qt.Key, *, shift: bool = False) -> None:
        extra = Qt.KeyboardModifier.ShiftModifier if shift else Qt.KeyboardModifier.NoModifier
        self.press(key, Qt.KeyboardModifier.ControlModifier | extra)

    def type(self, words: str) -> None:
        QTest.keyClicks(self.at(), words)

    def tab_to(self, words: str) -> QWidget:
        for _ in range(MOST_TABS):
            here = QApplication.focusWidget()
            if here is not None and words.lower() in name_of(here).lower() and here.isEnabled():
                return here
            QTest.keyClick(self.at(), Qt.Key.Key_Tab)
        raise AssertionError(f"Tab does not lead to {words}")

    def push(self, words: str) -> None:
        self.tab_to(words)
        self.press(Qt.Key.Key_Space)

    def take(self, words: str, data: str) -> None:
        """Go to a box and down to an entry."""
        box: Any = self.tab_to(words)
        assert isinstance(box, QComboBox)
        QTest.keyClick(box, Qt.Key.Key_Home)
        while box.currentData() != data:
            before = box.currentIndex()
            QTest.keyClick(box, Qt.Key.Key_Down)
            assert box.currentIndex() != before, data
        self.settled()

    def write(self, words: str, text: str) -> None:
        """Go to a field and write in it what shall stand there."""
        field = self.tab_to(words)
        assert isinstance(field, QLineEdit)
        QTest.keyClick(field, Qt.Key.Key_A, Qt.KeyboardModifier.ControlModifier)
        QTest.keyClicks(field, text)


def _scroll_to(widget: QWidget) -> None:
    """Scroll a part into sight, as the wheel of a mouse does."""
    from PySide6.QtWidgets import QScrollArea

    above = widget.parentWidget()
    while above is not None:
        if isinstance(above, QScrollArea):
            above.ensureWidgetVisible(widget)
        above = above.parentWidget()
    QApplication.processEvents()


def _wheel(widget: QWidget, by: int) -> None:
    at = QPointF(widget.rect().center())
    event = QWheelEvent(
        at, QPointF(widget.mapToGlobal(at.toPoint())), QPoint(), QPoint(0, by), Qt.MouseButton.NoButton,
        Qt.KeyboardModifier.NoModifier, Qt.ScrollPhase.NoScrollPhase, False,
    )  # fmt: skip
    QApplication.sendEvent(widget, event)
