"""What the hand on the map does, and the gestures it makes; a gesture knows pixels and ground, not the widget."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from enum import Enum
from typing import TYPE_CHECKING

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QPolygonF

from gravegis.outputs import symbols
from gravegis.window.canvas.inks import pen_of

if TYPE_CHECKING:
    from PySide6.QtGui import QPainter

    from gravegis.window.canvas.hold import Hold, Part
    from gravegis.window.canvas.view import View

__all__ = ["Area", "Carry", "Measure", "Pan", "Tool", "draw_area", "draw_measure"]

STILL_PX = 4.0
"""A press that moves less is a click."""


class Tool(Enum):
    """What a press on the map does."""

    PICK = "pick"
    BOX = "box"
    LASSO = "lasso"
    MEASURE = "measure"
    MOVE_HEAD = "move_head"


@dataclass(slots=True)
class Pan:
    """The ground is pulled along."""

    begin: QPointF
    view: View
    moved: bool = False


@dataclass(slots=True)
class Area:
    """A frame or a loop is drawn round stones, in pixels."""

    is_loop: bool
    corners: list[QPointF] = field(default_factory=list)


@dataclass(slots=True)
class Carry:
    """A head is held by one of its handles."""

    hold: Hold
    part: Part
    off_m: tuple[float, float]


@dataclass(slots=True)
class Measure:
    """Places measured between, on the ground. [m]"""

    places: list[tuple[float, float]] = field(default_factory=list)

    def length_m(self) -> float:
        """Return the length of the line."""
        pairs = zip(self.places, self.places[1:], strict=False)
        return sum(math.hypot(a[0] - b[0], a[1] - b[1]) for a, b in pairs)


def draw_area(painter: QPainter, area: Area, theme: str) -> None:
    """Draw the frame or the loop."""
    painter.setPen(pen_of(symbols.symbol("frame", theme)))
    fill = QColor(symbols.symbol("frame", theme).line)
    fill.setAlpha(22)
    painter.setBrush(fill)
    if area.is_loop:
        painter.drawPolygon(QPolygonF(area.corners))
    else:
        painter.drawRect(QRectF(area.corners[0], area.corners[-1]).normalized())


def draw_measure(painter: QPainter, places: list[QPointF], words: str, theme: str) -> None:
    """Draw the measured line with its length beside the last place."""
    pen = pen_of(symbols.symbol("measure", theme))
    painter.setPen(pen)
    painter.setBrush(Qt.BrushStyle.NoBrush)
    painter.drawPolyline(QPolygonF(places))
    painter.setBrush(QColor(symbols.PAPERS[theme]))
    for place in places:
        painter.drawEllipse(place, 4, 4)
    if len(places) > 1:
        plate(painter, places[-1] + QPointF(10, -10), words, theme)


def plate(painter: QPainter, left_low: QPointF, words: str, theme: str) -> None:
    """Write words on a plate of paper whose lower left corner is given."""
    size = painter.fontMetrics()
    box = QRectF(left_low.x(), left_low.y() - size.height() - 4, size.horizontalAdvance(words) + 12, size.height() + 4)
    painter.setPen(QColor(symbols.symbol("measure", theme).line))
    painter.setBrush(QColor(symbols.PAPERS[theme]))
    painter.drawRoundedRect(box, 3, 3)
    painter.drawText(box, Qt.AlignmentFlag.AlignCenter, words)
