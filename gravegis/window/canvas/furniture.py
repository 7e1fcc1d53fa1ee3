"""Scale bar and north arrow, drawn live so that they always fit what is seen; lengths in the units of the reader."""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtCore import QLocale, QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QPen, QPolygonF

from gravegis.outputs import symbols

if TYPE_CHECKING:
    from PySide6.QtGui import QPainter

    from gravegis.window.canvas.view import View

__all__ = ["bar_length", "draw_furniture", "length_words"]

FOOT_M = 0.3048
"""International foot, exact by definition."""
_STEPS = (0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10000, 20000)
_LEAST_BAR_PX = 70


def bar_length(px_per_m: float, unit: str) -> tuple[float, str]:
    """Return the length of the bar in pixels, and its words; `unit` is ``metric`` or ``us``."""
    one_m, name = (FOOT_M, "ft") if unit == "us" else (1.0, "m")
    step = next((step for step in _STEPS if step * one_m * px_per_m >= _LEAST_BAR_PX), _STEPS[-1])
    return step * one_m * px_per_m, f"{QLocale().toString(float(step), 'g', 6)} {name}"


def length_words(length_m: float, unit: str) -> str:
    """Return a length as it is read: centimetres matter at stones, not over a whole ground."""
    value, name = (length_m / FOOT_M, "ft") if unit == "us" else (length_m, "m")
    return f"{QLocale().toString(value, 'f', 2 if value < 100 else 1)} {name}"


def draw_furniture(painter: QPainter, view: View, *, unit: str, north_deg: float, theme: str) -> None:
    """Draw the bar in the lower right corner, true north above in the right one, on plates of paper.

    Both stand at the right: the evidence card lies over the left of the map.
    """
    ink, paper = QColor(symbols.symbol("measure", theme).line), QColor(symbols.PAPERS[theme])
    paper.setAlpha(215)
    long_px, words = bar_length(view.px_per_m, unit)
    size = painter.fontMetrics()
    low = view.height_px - 12
    wide = max(long_px, size.horizontalAdvance(words)) + 16
    left = view.width_px - 8 - wide
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(paper)
    painter.drawRoundedRect(QRectF(left, low - size.height() - 12, wide, size.height() + 18), 3, 3)
    pen = QPen(ink, 2)
    pen.setCapStyle(Qt.PenCapStyle.FlatCap)
    painter.setPen(pen)
    at = left + 8
    painter.drawPolyline(
        QPolygonF([QPointF(at, low - 6), QPointF(at, low), QPointF(at + long_px, low), QPointF(at + long_px, low - 6)])
    )
    painter.drawText(QPointF(at + 2, low - 9), words)
    _north(painter, view, north_deg, ink, paper)


def _north(painter: QPainter, view: View, north_deg: float, ink: QColor, paper: QColor) -> None:
    high = painter.fontMetrics().height()
    painter.save()
    painter.translate(view.width_px - 28, 24 + high)
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(paper)
    painter.drawRoundedRect(QRectF(-18, -12 - high, 36, 40 + high), 3, 3)
    painter.rotate(north_deg)
    painter.setPen(QPen(ink, 1.5))
    painter.drawText(QRectF(-15, -10 - high, 30, high), Qt.AlignmentFlag.AlignCenter, "N")
    painter.drawLine(QPointF(0, 24), QPointF(0, 0))
    painter.setBrush(ink)
    painter.drawPolygon(QPolygonF([QPointF(0, -8), QPointF(5, 5), QPointF(-5, 5)]))
    painter.restore()
