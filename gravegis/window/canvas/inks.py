"""From the drawing table to Qt: paths of outlines and marks, pens, brushes and samples for the key."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

import numpy as np
from PySide6.QtCore import QByteArray, QDataStream, QPointF, QRectF, Qt
from PySide6.QtGui import QBrush, QColor, QImage, QPainter, QPainterPath, QPen, QPixmap, QTransform

from gravegis.outputs import symbols

if TYPE_CHECKING:
    from gravegis.outputs.symbols import Symbol
    from gravegis.window.canvas.rings import Ints, Rings
    from gravegis.window.canvas.view import View

__all__ = [
    "PX_PER_MM",
    "brush_of",
    "draw_mark",
    "ground_transform",
    "hatch_of",
    "ink_on",
    "path_of",
    "pen_of",
    "sample",
    "stamp_mark",
]

PX_PER_MM = 3.8
"""Pixels of the screen for a millimetre of the drawing table: 96 to the inch, rounded."""
_ELEMENT = np.dtype([("kind", ">i4"), ("x", ">f8"), ("y", ">f8")])
_PATTERNS = {
    "slant": Qt.BrushStyle.BDiagPattern, "cross": Qt.BrushStyle.DiagCrossPattern, "dots": Qt.BrushStyle.Dense6Pattern,
    "level": Qt.BrushStyle.HorPattern,
}  # fmt: skip


def path_of(rings: Rings, which: Ints, *, is_winding: bool = True) -> QPainterPath:
    """Return some rings as one path, written as the bytes Qt reads so that no loop runs over corners.

    With `is_winding` shapes that overlap stay filled; without it rings within rings are holes.
    """
    path = QPainterPath()
    xy_m, begin = rings.corners(which)
    if not len(xy_m):
        return path
    elements = np.empty(len(xy_m), dtype=_ELEMENT)
    elements["kind"] = 1
    elements["kind"][begin[begin < len(xy_m)]] = 0
    elements["x"], elements["y"] = xy_m[:, 0], xy_m[:, 1]
    tail = np.array([int(begin[-1]), int(is_winding)], dtype=">i4").tobytes()
    data = np.array([len(xy_m)], dtype=">i4").tobytes() + elements.tobytes() + tail
    QDataStream(QByteArray(data)) >> path
    return path


def ground_transform(view: View) -> QTransform:
    """Return the way from the ground to the pixels of a view."""
    scale = view.px_per_m
    return QTransform(scale, 0, 0, -scale, view.width_px / 2 - view.x_m * scale, view.height_px / 2 + view.y_m * scale)


@cache
def pen_of(symbol: Symbol, *, least_px: float = 1.0) -> QPen:
    """Return the pen of a symbol, as wide on the screen at any scale; no pen where the symbol has no line."""
    if not symbol.line:
        return QPen(Qt.PenStyle.NoPen)
    width = max(symbol.width_mm * PX_PER_MM, least_px)
    pen = QPen(QColor(symbol.line), width)
    pen.setCosmetic(True)
    pen.setJoinStyle(Qt.PenJoinStyle.MiterJoin)
    pen.setCapStyle(Qt.PenCapStyle.FlatCap)
    if symbol.dash_mm:
        pen.setDashPattern([max(piece * PX_PER_MM / width, 0.1) for piece in symbol.dash_mm])
    return pen


@cache
def brush_of(symbol: Symbol) -> QBrush:
    """Return the plain fill of a symbol; none where it has none."""
    return QBrush(QColor(symbol.fill)) if symbol.fill else QBrush(Qt.BrushStyle.NoBrush)


@cache
def ink_on(line: str, fill: str) -> str:
    """Return a line colour where it stands out from a fill (3:1), else black or white, whichever reads better."""
    return line if line and symbols.contrast(line, fill) >= 3.0 else symbols.text_on(fill)


@cache
def hatch_of(hatch: str, colour: str, *, alpha: float = 1.0) -> QBrush:
    """Return a hatch as a brush that keeps its step on the screen; none for an empty name."""
    ink = QColor(colour)
    ink.setAlphaF(alpha)
    return QBrush(ink, _PATTERNS[hatch]) if hatch else QBrush(Qt.BrushStyle.NoBrush)


@cache
def _traces(mark: str) -> tuple[tuple[str, QPainterPath], ...]:
    made = []
    for trace in symbols.MARKS[mark]:
        path = QPainterPath(QPointF(trace.points[0][0], -trace.points[0][1]))
        for x, y in trace.points[1:]:
            path.lineTo(x, -y)
        if trace.closed:
            path.closeSubpath()
        made.append((trace.paint, path))
    return tuple(made)


def draw_mark(painter: QPainter, symbol: Symbol, x_px: float, y_px: float, *, size_px: float = 0.0) -> None:
    """Draw the mark of a symbol round a pixel; the painter works in pixels."""
    size = size_px or symbol.size_mm * PX_PER_MM
    painter.save()
    painter.translate(x_px, y_px)
    painter.scale(size, size)
    pen = QPen(pen_of(symbol))
    pen.setStyle(Qt.PenStyle.SolidLine)  # a dashed outline of a few pixels only looks torn
    for paint, path in _traces(symbol.mark or "disc"):
        painter.setPen(pen if paint != "ink" else QPen(Qt.PenStyle.NoPen))
        fill = {"body": brush_of(symbol), "ink": QBrush(QColor(symbol.line or symbol.fill))}
        painter.setBrush(fill.get(paint, QBrush(Qt.BrushStyle.NoBrush)))
        painter.drawPath(path)
    painter.restore()


@cache
def _stamp(symbol: Symbol, size_px: float, density: float) -> QImage:
    side = int(size_px + 2 * symbol.width_mm * PX_PER_MM) + 4
    image = QImage(round(side * density), round(side * density), QImage.Format.Format_ARGB32_Premultiplied)
    image.setDevicePixelRatio(density)
    image.fill(Qt.GlobalColor.transparent)
    painter = QPainter(image)
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    draw_mark(painter, symbol, side / 2, side / 2, size_px=size_px)
    painter.end()
    return image


def stamp_mark(painter: QPainter, symbol: Symbol, x_px: float, y_px: float, *, size_px: float = 0.0) -> None:
    """Draw the mark of a symbol round a pixel, made once and then only copied: for marks by the thousand."""
    density = painter.device().devicePixelRatioF()
    image = _stamp(symbol, size_px or symbol.size_mm * PX_PER_MM, density)
    half = image.width() / density / 2
    painter.drawImage(QPointF(x_px - half, y_px - half), image)


def sample(symbol: Symbol, paper: str, width_px: int = 30, height_px: int = 18) -> QPixmap:
    """Return a small picture of a symbol for the key."""
    picture = QPixmap(width_px, height_px)
    picture.fill(QColor(paper))
    painter = QPainter(picture)
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    if symbol.mark and symbol.family not in ("stone wetting", "condition", "stone"):
        draw_mark(painter, symbol, width_px / 2, height_px / 2, size_px=min(symbol.size_mm * PX_PER_MM, height_px - 3))
    elif symbol.fill or symbol.hatch:
        box = QRectF(2.5, 2.5, width_px - 5, height_px - 5)
        painter.setPen(pen_of(symbol))
        painter.setBrush(brush_of(symbol))
        painter.drawRect(box)
        if symbol.hatch:
            painter.fillRect(box, hatch_of(symbol.hatch, ink_on(symbol.line, symbol.fill or paper)))
    else:
        painter.setPen(pen_of(symbol))
        painter.drawLine(QPointF(2, height_px / 2), QPointF(width_px - 2, height_px / 2))
    painter.end()
    return picture
