"""Qt must not take references off None: one release of the binding did, and the program died of it within minutes."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Any

import pytest
from PySide6.QtCore import QCoreApplication, QObject, QPointF, QTimer
from PySide6.QtGui import QBrush, QColor, QImage, QPainter, QPen, QPolygonF
from PySide6.QtWidgets import QLabel, QVBoxLayout, QWidget

if TYPE_CHECKING:
    from collections.abc import Callable

CALLS = 1000
MOST_A_CALL = 0.05


def calls(qtbot: Any, painter: QPainter) -> dict[str, Callable[[], object]]:
    """More than eight kinds of call that give nothing back."""
    widget = QWidget()
    label, layout, parent = QLabel(widget), QVBoxLayout(), QObject()
    timer = QTimer(parent)
    timer.timeout.connect(lambda: None)
    qtbot.addWidget(widget)
    brush, pen = QBrush(QColor("#123456")), QPen(QColor("#654321"))
    shape = QPolygonF([QPointF(0, 0), QPointF(5, 0), QPointF(5, 5)])
    kept: list[Any] = [widget, parent]
    return {
        "setBrush": lambda: (painter.setBrush(brush), kept)[0],
        "setPen": lambda: painter.setPen(pen),
        "drawPolygon": lambda: painter.drawPolygon(shape),
        "setCosmetic": lambda: pen.setCosmetic(True),
        "setText": lambda: label.setText("stone"),
        "findChild": lambda: parent.findChild(QLabel, "nobody"),
        "emit": lambda: timer.timeout.emit(),
        "setSpacing": lambda: layout.setSpacing(3),
        "processEvents": QCoreApplication.processEvents,
    }


def drift(call: Callable[[], object]) -> float:
    """Return how many references None gains or loses a call."""
    for _ in range(20):
        call()
    before = sys.getrefcount(None)
    for _ in range(CALLS):
        call()
    return (sys.getrefcount(None) - before) / CALLS


@pytest.mark.skipif(sys.version_info >= (3, 12), reason="None is immortal from Python 3.12: its count never moves")
def test_no_call_takes_or_leaves_references_to_nothing(qtbot: Any) -> None:
    picture = QImage(20, 20, QImage.Format.Format_RGB32)
    painter = QPainter(picture)
    found = {name: drift(call) for name, call in calls(qtbot, painter).items()}
    painter.end()  # before the picture goes
    assert len(found) >= 8
    assert all(abs(one) <= MOST_A_CALL for one in found.values()), found


@pytest.mark.skipif(sys.version_info >= (3, 12), reason="None is immortal from Python 3.12: its count never moves")
def test_a_leak_of_one_reference_in_ten_calls_is_seen() -> None:
    held: list[None] = []
    count = iter(range(100_000))

    def leaks() -> None:
        if next(count) % 10 == 0:
            held.append(None)

    assert drift(leaks) > MOST_A_CALL
