"""What is drawn over the base picture in every frame: the picked, the selected, the head in hand and its stones."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QPainter

from gravegis.outputs import symbols
from gravegis.window.canvas.find import place_of
from gravegis.window.canvas.inks import brush_of, draw_mark, ground_transform, hatch_of, ink_on, path_of, pen_of
from gravegis.window.canvas.look import WET_N, face_of
from gravegis.window.canvas.rings import rings_of
from gravegis.window.canvas.stones import NO_LAYER

if TYPE_CHECKING:
    from gravegis.window.canvas.hold import Hold
    from gravegis.window.canvas.rings import Ints
    from gravegis.window.canvas.view import View
    from gravegis.window.scene import Scene

__all__ = ["draw_hold", "draw_picked", "draw_selected"]

_TICK_PX = 9.0


def draw_hold(painter: QPainter, hold: Hold, view: View, shown: frozenset[str], *, has_handles: bool) -> None:
    """Draw the head in hand, the ground it wets, and the stones whose state it changes, as they would be."""
    theme = hold.scene.theme
    painter.save()
    painter.setTransform(ground_transform(view), combine=True)
    held = symbols.symbol("held", theme)
    outline = hold.outline
    if outline is not None:
        rings = rings_of(np.array([outline], dtype=object))
        path = path_of(rings, np.arange(len(rings.first) - 1))
        painter.setPen(pen_of(held))
        # lines of a hatch need no smooth edge, which would cost more than all else of a frame
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, on=False)
        painter.fillPath(path, hatch_of(held.hatch, held.line, alpha=0.35))
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawPath(path)
    if "stones" in shown:
        _stones(painter, hold, view, shown)
    painter.restore()
    drawn = symbols.symbol("head_fault" if hold.scene.heads.is_faulty[hold.row] else "head", theme)
    draw_mark(painter, drawn, *view.to_screen(hold.now.x_m, hold.now.y_m), size_px=14.0)
    if has_handles:
        for part, place in hold.handles().items():
            if part != "place":
                draw_mark(painter, symbols.symbol("handle", theme), *view.to_screen(*place))


def _stones(painter: QPainter, hold: Hold, view: View, shown: frozenset[str]) -> None:
    stones, theme = hold.scene.stones, hold.scene.theme
    rows = hold.touched
    classes = stones.class_code[rows].astype(int) if "condition" in shown else np.full(len(rows), NO_LAYER)
    codes = classes * WET_N + hold.codes
    size_px = (stones.size_m or 0.6) * view.px_per_m
    for code in np.unique(codes).tolist():
        face = face_of(code, theme)
        path = path_of(stones.rings, stones.rings.of_rows(rows[codes == code]))
        painter.setBrush(brush_of(face.body))
        painter.setPen(pen_of(face.over or face.body))
        painter.drawPath(path)
        for one in (face.body, face.over):
            if one is not None and one.hatch and size_px > 8:
                painter.setBrush(hatch_of(one.hatch, ink_on(one.line, face.body.fill or symbols.PAPERS[theme])))
                painter.drawPath(path)


def draw_selected(painter: QPainter, scene: Scene, rows: Ints, view: View) -> None:
    """Draw a dashed line round the stones selected."""
    if not len(rows):
        return
    painter.save()
    painter.setTransform(ground_transform(view), combine=True)
    painter.setPen(pen_of(symbols.symbol("selected", scene.theme)))
    painter.setBrush(Qt.BrushStyle.NoBrush)
    painter.drawPath(path_of(scene.stones.rings, scene.stones.rings.of_rows(rows)))
    painter.restore()
    if (scene.stones.size_m or 0.6) * view.px_per_m < 8:
        painter.setPen(pen_of(symbols.symbol("selected", scene.theme)))
        for row in rows[:400].tolist():
            x_px, y_px = view.to_screen(scene.stones.x_m[row], scene.stones.y_m[row])
            painter.drawEllipse(QPointF(x_px, y_px), 5, 5)


def draw_picked(painter: QPainter, scene: Scene, picked: tuple[str, str], view: View) -> None:
    """Draw four ticks round what is picked: it is found without its colour."""
    found = place_of(scene, *picked)
    if found is None:
        return
    x_m, y_m, size_m = found
    if picked[0] in ("heads", "taps", "gates", "bases"):
        size_m = 0.0
    x_px, y_px = view.to_screen(x_m, y_m)
    half = max(size_m * view.px_per_m / 2, 8.0) + 4
    painter.setPen(pen_of(symbols.symbol("picked", scene.theme)))
    painter.setBrush(Qt.BrushStyle.NoBrush)
    for east, south in ((1, 1), (1, -1), (-1, 1), (-1, -1)):
        corner = QPointF(x_px + east * half, y_px + south * half)
        painter.drawLine(corner, corner + QPointF(east * _TICK_PX, south * _TICK_PX))
    if picked[0] == "stones":
        painter.drawRect(QRectF(x_px - half, y_px - half, 2 * half, 2 * half)) if half < 12 else None
