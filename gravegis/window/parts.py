"""Small pieces every part of the window is put together from: labels, buttons, boxes that wrap their contents."""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtCore import QPoint, QRect, QSize, Qt
from PySide6.QtWidgets import QFrame, QLabel, QLayout, QPushButton, QScrollArea, QSizePolicy, QVBoxLayout, QWidget

if TYPE_CHECKING:
    from collections.abc import Callable

    from PySide6.QtWidgets import QLayoutItem

__all__ = ["WordButton", "WrapLayout", "button", "emptied", "label", "scrolled"]


def label(text: str = "", *, tone: str = "", wraps: bool = True) -> QLabel:
    """Return a label; tone is title, faint or warn."""
    made = QLabel(text)
    made.setTextFormat(Qt.TextFormat.PlainText)
    made.setWordWrap(wraps)
    if tone:
        made.setProperty("tone", tone)
    if wraps:
        made.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Minimum)
        made.setMinimumWidth(10)
    return made


def button(text: str, does: Callable[[], object] | None = None, *, name: str = "", switch: bool = False) -> QPushButton:
    """Return a button with its accessible name; a switch stays pressed."""
    made = QPushButton(text)
    made.setAccessibleName(name or text.replace("&", "").replace("\n", ", "))
    made.setAutoDefault(False)
    made.setCheckable(switch)
    if does is not None:
        made.clicked.connect(lambda *_: does())
    return made


def scrolled(inside: QWidget) -> QScrollArea:
    """Return a part that scrolls up and down only: what does not fit is reached, never cut."""
    area = QScrollArea()
    area.setWidgetResizable(True)
    area.setFrameShape(QFrame.Shape.NoFrame)
    area.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
    area.setFocusPolicy(Qt.FocusPolicy.NoFocus)
    area.setWidget(inside)
    return area


def emptied(layout: QLayout) -> None:
    """Take everything out of a layout."""
    while layout.count():
        item = layout.takeAt(0)
        widget, inner = (None, None) if item is None else (item.widget(), item.layout())
        if widget is not None:
            widget.hide()
            widget.setParent(None)
            widget.deleteLater()
        elif inner is not None:
            emptied(inner)


class WrapLayout(QLayout):
    """Lays things side by side and goes on in the next line, as words do."""

    def __init__(self, parent: QWidget | None = None, gap: int = 6) -> None:
        super().__init__(parent)
        self._items: list[QLayoutItem] = []
        self._gap = gap
        self.setContentsMargins(0, 0, 0, 0)

    def addItem(self, item: QLayoutItem) -> None:  # noqa: N802
        """Add one."""
        self._items.append(item)

    def count(self) -> int:
        """Return how many there are."""
        return len(self._items)

    def itemAt(self, index: int) -> QLayoutItem | None:  # noqa: N802
        """Return one, None beyond the last."""
        return self._items[index] if 0 <= index < len(self._items) else None

    def takeAt(self, index: int) -> QLayoutItem | None:  # noqa: N802
        """Take one out."""
        return self._items.pop(index) if 0 <= index < len(self._items) else None

    def expandingDirections(self) -> Qt.Orientation:  # noqa: N802
        """Take no more than is needed."""
        return Qt.Orientation(0)

    def hasHeightForWidth(self) -> bool:  # noqa: N802
        """Whether the height follows from the width."""
        return True

    def heightForWidth(self, width: int) -> int:  # noqa: N802
        """Return the height that this width leads to."""
        return self._lay(QRect(0, 0, width, 0), only_measure=True)

    def setGeometry(self, rect: QRect) -> None:  # noqa: N802
        """Lay everything out."""
        super().setGeometry(rect)
        self._lay(rect, only_measure=False)

    def sizeHint(self) -> QSize:  # noqa: N802
        """Return the size it likes."""
        return self.minimumSize()

    def minimumSize(self) -> QSize:  # noqa: N802
        """Return the size of the widest."""
        size = QSize()
        for item in self._items:
            size = size.expandedTo(item.minimumSize())
        return size

    def _lay(self, rect: QRect, *, only_measure: bool) -> int:
        x, y, high = rect.x(), rect.y(), 0
        for item in self._items:
            widget = item.widget()
            if widget is not None and widget.isHidden():
                continue
            size = item.sizeHint()
            if x > rect.x() and x + size.width() > rect.right() + 1:
                x, y, high = rect.x(), y + high + self._gap, 0
            if not only_measure:
                item.setGeometry(QRect(QPoint(x, y), size))
            x, high = x + size.width() + self._gap, max(high, size.height())
        return y + high - rect.y()


class WordButton(QPushButton):
    """A line of words that opens something; wraps as words do, which a plain button cannot."""

    def __init__(self, words: str, where: str, does: object) -> None:
        super().__init__()
        self.setAccessibleName(f"{words}. {where}" if where else words)
        self.setToolTip(where)
        self.setStyleSheet("text-align: left; border-style: dotted; padding: 1px 3px;")
        self.setAutoDefault(False)
        self._words = label(words)
        self._rows = QVBoxLayout(self)
        self._rows.setContentsMargins(0, 1, 4, 1)
        self._rows.addWidget(self._words)
        self._words.setAttribute(Qt.WidgetAttribute.WA_TransparentForMouseEvents)
        self.clicked.connect(does)

    def words(self) -> str:
        """Return what it says."""
        return self._words.text()

    def hasHeightForWidth(self) -> bool:  # noqa: N802
        """Whether the height follows from the width."""
        return True

    def heightForWidth(self, width: int) -> int:  # noqa: N802
        """Return the height of its words at this width."""
        return self._rows.totalHeightForWidth(width)

    def sizeHint(self) -> QSize:  # noqa: N802
        """Return the size of its words."""
        return self._rows.totalSizeHint()

    def minimumSizeHint(self) -> QSize:  # noqa: N802
        """Return the least size of its words."""
        return self._rows.totalMinimumSize()
