"""Stones on the base picture: dots while they are small, footprints by tile and code when they are not."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QBrush, QColor, QFont, QImage, QPainter, QPen

from gravegis.outputs import symbols
from gravegis.window.canvas.inks import brush_of, ground_transform, hatch_of, ink_on, path_of, pen_of, stamp_mark
from gravegis.window.canvas.look import WET_N, face_of

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy.typing as npt
    from PySide6.QtGui import QPainterPath

    from gravegis.window.canvas.look import Face
    from gravegis.window.canvas.rings import Box, Ints
    from gravegis.window.canvas.stones import Stones
    from gravegis.window.canvas.view import View

    Codes = npt.NDArray[np.int8]

__all__ = ["StonePaths", "paint_digits", "paint_stones"]

# Sizes of a stone on the screen from which more of it is drawn; own choice, from looking at it. [px]
DOTS_BELOW_PX = 2.6
OUTLINE_FROM_PX = 5.0
HATCH_FROM_PX = 12.0
DIGIT_FROM_PX = 25.0
USUAL_M = 0.6
MOST_MARKS = 4000
RINGS_FROM_PX_PER_M = 9.0
_RANK = np.array([0, 1, 2, 3, 4, 0])
"""How far up a class lies where dots fall on one another: the worst on top, without a class above all but that."""


class StonePaths:
    """Paths of the footprints by tile and code, made when first drawn; a tile whose codes changed is made anew."""

    def __init__(self, stones: Stones) -> None:
        self.stones = stones
        self._held: dict[int, tuple[bytes, list[tuple[int, QPainterPath]]]] = {}

    def of_tile(self, tile: int, codes: Codes) -> list[tuple[int, QPainterPath]]:
        """Return code and path of each kind of stone in a tile."""
        rows = self.stones.tiles.rows_of(tile)
        now = codes[rows]
        held = self._held.get(tile)
        if held is None or held[0] != now.tobytes():
            rings = self.stones.rings
            made = [(int(code), path_of(rings, rings.of_rows(rows[now == code]))) for code in np.unique(now)]
            held = self._held[tile] = (now.tobytes(), made)
        return held[1]

    def taken_over(self, stones: Stones) -> StonePaths:
        """Return the paths for stones of the same ground in another state."""
        made = StonePaths(stones)
        if stones.rings is self.stones.rings:
            made._held = self._held
        return made


def paint_stones(
    painter: QPainter, view: View, box: Box, paths: StonePaths, codes: Codes, *, theme: str, stop: Callable[[], bool]
) -> None:
    """Draw the stones of a box of ground; the painter is clipped to it and works in pixels of the view."""
    stones = paths.stones
    size_px = (stones.size_m or USUAL_M) * view.px_per_m
    rows = stones.tiles.rows_in(box) if size_px < DOTS_BELOW_PX or stones.is_point.any() else np.empty(0, np.int64)
    if size_px < DOTS_BELOW_PX:
        _dots(painter, view, stones, rows, codes, theme)
        return
    by_code: dict[int, list[QPainterPath]] = {}
    for tile in stones.tiles.in_box(box).tolist():
        if stop():
            return
        for code, path in paths.of_tile(tile, codes):
            by_code.setdefault(code, []).append(path)
    painter.save()
    painter.setTransform(ground_transform(view), combine=True)
    for code, some in sorted(by_code.items()):
        if stop():
            break
        _footprints(painter, some, face_of(code, theme), size_px, theme)
    painter.restore()
    _points(painter, view, stones, rows[stones.is_point[rows]] if len(rows) else rows, codes, theme)


def _footprints(painter: QPainter, paths: list[QPainterPath], face: Face, size_px: float, theme: str) -> None:
    """Draw the body of stones of one code, then hatch and outline that tell class and wetting."""
    body, over = face.body, face.over
    fill = body.fill or symbols.PAPERS[theme]
    edge = over if over is not None and over.width_mm > body.width_mm else body
    painter.setBrush(brush_of(body))
    painter.setPen(pen_of(edge) if size_px >= OUTLINE_FROM_PX else _thin(body))
    for path in paths:
        painter.drawPath(path)
    if size_px < HATCH_FROM_PX:
        return
    painter.setPen(Qt.PenStyle.NoPen)
    for one in (body, over):
        if one is not None and one.hatch:
            painter.setBrush(hatch_of(one.hatch, ink_on(one.line, fill)))
            for path in paths:
                painter.drawPath(path)


def _thin(body: symbols.Symbol) -> QPen:
    """Small stones have no room for an outline; light ones still need an edge to be seen on the paper."""
    pen = QPen(QColor(body.line), 0.6)
    pen.setCosmetic(True)
    return pen


def _points(painter: QPainter, view: View, stones: Stones, rows: Ints, codes: Codes, theme: str) -> None:
    if len(rows) > MOST_MARKS:
        _dots(painter, view, stones, rows, codes, theme)
        return
    for row in rows.tolist():
        face = face_of(int(codes[row]), theme)
        x_px, y_px = view.to_screen(stones.x_m[row], stones.y_m[row])
        body = face.body
        if face.over is not None and face.over.width_mm > body.width_mm:
            body = replace(body, line=face.over.line, width_mm=face.over.width_mm)
        stamp_mark(painter, body, x_px, y_px, size_px=max(face.body.size_mm * 4, 5.0))
        if face.over is not None and face.over.hatch and view.px_per_m >= RINGS_FROM_PX_PER_M:
            painter.setPen(pen_of(face.over))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawEllipse(QPointF(x_px, y_px), 5.0, 5.0)


def _dots(painter: QPainter, view: View, stones: Stones, rows: Ints, codes: Codes, theme: str) -> None:
    """Draw stones as dots of one numpy picture; of dots that fall on one another the worst is seen."""
    if not len(rows):
        return
    density = painter.device().devicePixelRatioF()
    clip = painter.clipBoundingRect().toAlignedRect()
    width, height = max(int(clip.width() * density), 1), max(int(clip.height() * density), 1)
    scale = view.px_per_m * density
    side = max(1, round(min((stones.size_m or USUAL_M) * scale * 0.9, 3)))
    x = ((stones.x_m[rows] - view.x_m) * scale + (view.width_px / 2 - clip.x()) * density - side / 2).astype(np.int64)
    y = ((view.y_m - stones.y_m[rows]) * scale + (view.height_px / 2 - clip.y()) * density - side / 2).astype(np.int64)
    some = codes[rows].astype(np.int64)
    order = np.argsort(_RANK[some // WET_N] * WET_N + _wet_rank(some % WET_N), kind="stable")
    colours = np.zeros(64, dtype=np.uint32)
    for code in np.unique(some).tolist():
        colours[code] = _dot_colour(face_of(code, theme), theme)
    x, y, ink = x[order], y[order], colours[some[order]]
    picture = np.zeros((height, width), dtype=np.uint32)
    for right in range(side):
        for down in range(side):
            there = (x + right >= 0) & (y + down >= 0) & (x + right < width) & (y + down < height)
            picture[y[there] + down, x[there] + right] = ink[there]
    image = QImage(picture.data, width, height, width * 4, QImage.Format.Format_ARGB32_Premultiplied)
    image.setDevicePixelRatio(density)
    painter.drawImage(clip.topLeft(), image)


def _wet_rank(wet: Ints) -> Ints:
    """Close to a head above reached above not known above dry."""
    return np.array([0, 1, 3, 4, 2])[wet]


def _dot_colour(face: Face, theme: str) -> int:
    """Return the colour of a dot: without room for an outline, a fill too near to the paper gives way to the line."""
    fill, line = face.body.fill, face.body.line
    clear = bool(fill) and symbols.contrast(fill, symbols.PAPERS[theme]) >= 1.35
    return int(QColor(fill if clear else line).rgba())


def paint_digits(
    painter: QPainter, view: View, box: Box, stones: Stones, codes: Codes, *, theme: str, font: QFont
) -> None:
    """Write the class into stones that are large enough, so that no class is told by colour alone."""
    if (stones.size_m or USUAL_M) * view.px_per_m < DIGIT_FROM_PX:
        return
    painter.setFont(font)
    for row in stones.tiles.rows_in(box).tolist():
        face = face_of(int(codes[row]), theme)
        if not face.digit:
            continue
        x_px, y_px = view.to_screen(stones.x_m[row], stones.y_m[row])
        plate = QRectF(x_px - 7, y_px - 8, 14, 16)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(QBrush(QColor(face.body.fill or symbols.PAPERS[theme])))
        painter.drawRect(plate)
        painter.setPen(QColor(symbols.text_on(face.body.fill or symbols.PAPERS[theme])))
        painter.drawText(plate, Qt.AlignmentFlag.AlignCenter, face.digit)
