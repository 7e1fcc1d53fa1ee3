"""Names on the map: placed once for a picture, by worth, never one over another; what finds no room is left out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QFont, QFontMetricsF, QPainter, QPen

from gravegis.outputs import symbols

if TYPE_CHECKING:
    from collections.abc import Iterator

    from PySide6.QtCore import QRect

    from gravegis.outputs.symbols import Symbol
    from gravegis.window.canvas.look import Look
    from gravegis.window.canvas.view import View
    from gravegis.window.scene import Scene

__all__ = ["Letters", "letters_of", "paint_letters"]

HEAD_NAMES_FROM = 6.0
STONE_NAMES_FROM_PX = 34.0
SECTION_NAMES_TO = 20.0
MOST = 600
_CELL_PX = 64.0
_AROUND = ((1, 0), (-1, 0), (0, 1), (0, -1), (0.7, 0.7), (-0.7, 0.7), (0.7, -0.7), (-0.7, -0.7))
_FAR = (1.4, 2.4)
"""How far off a disc may stand that finds no room where it belongs, in its own widths."""


@dataclass(frozen=True, slots=True)
class Letter:
    """A text in its place. `disc` is the symbol of a disc round it; a disc that stands off has a line to `of_px`."""

    text: str
    box: QRectF
    colour: str
    bold: bool
    disc: Symbol | None = None
    of_px: QPointF | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Letters:
    """All texts of a picture, and how they are written."""

    placed: tuple[Letter, ...]
    font: QFont
    bold_font: QFont
    digit_font: QFont
    theme: str


@dataclass(frozen=True, slots=True)
class _Wish:
    """A text that wants a place: beside its pixel or round it."""

    text: str
    x_px: float
    y_px: float
    colour: str
    bold: bool = False
    gap_px: float = 7.0
    over: bool = False
    disc: Symbol | None = None


def letters_of(scene: Scene, view: View, look: Look, font: QFont) -> Letters:
    """Place the texts of a picture: numbers of stops, names of groups, sections, heads, then stones."""
    bold, digit = QFont(font), QFont(font)
    bold.setBold(True)
    digit.setBold(True)
    board = _Board(view.width_px, view.height_px)
    plain_size, bold_size = QFontMetricsF(font), QFontMetricsF(bold)
    placed: list[Letter] = []
    for wish in _wishes(scene, view, look):
        if len(placed) >= MOST:
            break
        found = _place(wish, board, bold_size if wish.bold or wish.disc else plain_size)
        if found is not None:
            placed.append(found)
    return Letters(tuple(placed), font, bold, digit, scene.theme)


def _wishes(scene: Scene, view: View, look: Look) -> Iterator[_Wish]:
    if "routes" in look.shown:
        yield from _stops(scene, view, look)
    if "names" not in look.shown:
        return
    yield from _areas(scene, view, look)
    yield from _heads(scene, view, look)
    yield from _stones(scene, view, look)


def _ink(scene: Scene) -> str:
    return symbols.text_on(symbols.PAPERS[scene.theme])


def _areas(scene: Scene, view: View, look: Look) -> Iterator[_Wish]:
    west, south, east, north = view.box_m
    for layer in scene.drawn:
        if not layer.labels or layer.group not in look.shown or view.px_per_m > SECTION_NAMES_TO:
            continue
        for text, x_m, y_m in zip(layer.labels, layer.x_m.tolist(), layer.y_m.tolist(), strict=True):
            if west < x_m < east and south < y_m < north:
                yield _Wish(text, *view.to_screen(x_m, y_m), _ink(scene), bold=True, over=True)


def _heads(scene: Scene, view: View, look: Look) -> Iterator[_Wish]:
    west, south, east, north = view.box_m
    heads = scene.heads
    if "heads" in look.shown and view.px_per_m >= HEAD_NAMES_FROM:
        colour = symbols.symbol("head", scene.theme).line
        there = (heads.x_m > west) & (heads.x_m < east) & (heads.y_m > south) & (heads.y_m < north)
        for row in np.flatnonzero(there).tolist():
            yield _Wish(str(heads.tags[row]), *view.to_screen(heads.x_m[row], heads.y_m[row]), colour)


def _stones(scene: Scene, view: View, look: Look) -> Iterator[_Wish]:
    stones = scene.stones
    if "stones" in look.shown and (stones.size_m or 0.6) * view.px_per_m >= STONE_NAMES_FROM_PX:
        for row in stones.tiles.rows_in(view.box_m).tolist():
            low = stones.tiles.row_bounds_m[row, 1]
            x_px, y_px = view.to_screen(stones.x_m[row], low)
            yield _Wish(str(stones.names[row]), x_px, y_px + 9, _ink(scene), gap_px=2.0, over=True)


def _stops(scene: Scene, view: View, look: Look) -> Iterator[_Wish]:
    day = look.day or min((route.day for route in scene.routes), default="")
    west, south, east, north = view.box_m
    for route in scene.routes:
        if route.day != day:
            continue
        for seq, x_m, y_m in zip(route.seq, route.x_m.tolist(), route.y_m.tolist(), strict=True):
            if west < x_m < east and south < y_m < north:
                text = f"{route.letter}{seq}"
                yield _Wish(text, *view.to_screen(x_m, y_m), route.symbol.line, bold=True, disc=route.symbol)


class _Board:
    """What is taken on the picture, by coarse squares."""

    def __init__(self, width_px: int, height_px: int) -> None:
        self._frame = QRectF(0, 0, width_px, height_px)
        self._taken: dict[tuple[int, int], list[QRectF]] = {}

    def take(self, box: QRectF) -> bool:
        """Take a box if it is free and within the picture."""
        if not self._frame.contains(box):
            return False
        squares = [
            (column, row)
            for column in range(int(box.left() // _CELL_PX), int(box.right() // _CELL_PX) + 1)
            for row in range(int(box.top() // _CELL_PX), int(box.bottom() // _CELL_PX) + 1)
        ]
        if any(other.intersects(box) for square in squares for other in self._taken.get(square, ())):
            return False
        for square in squares:
            self._taken.setdefault(square, []).append(box)
        return True


def _place(wish: _Wish, board: _Board, size: QFontMetricsF) -> Letter | None:
    wide, high = size.horizontalAdvance(wish.text) + 4, size.height()
    if wish.disc is not None:
        wide = high = max(wide, high)
    x, y, gap = wish.x_px, wish.y_px, wish.gap_px
    places = [(x - wide / 2, y - high / 2)]
    if not wish.over:
        places = [
            (x + gap, y - high / 2),
            (x - gap - wide, y - high / 2),
            (x - wide / 2, y + gap),
            (x - wide / 2, y - gap - high),
        ]
    if wish.disc is not None:
        places += [
            (x - wide / 2 + far * wide * east, y - high / 2 + far * high * south)
            for far in _FAR
            for east, south in _AROUND
        ]
    for left, top in places:
        box = QRectF(left, top, wide, high)
        if board.take(box):
            return Letter(wish.text, box, wish.colour, wish.bold, wish.disc, QPointF(x, y) if wish.disc else None)
    return None


def paint_letters(painter: QPainter, letters: Letters, strip: QRect) -> None:
    """Write the texts that touch a strip; the painter is clipped to it."""
    paper = QColor(symbols.PAPERS[letters.theme])
    paper.setAlpha(205)
    near = QRectF(strip).adjusted(-60, -60, 60, 60)
    for one in letters.placed:
        if not near.intersects(one.box):
            continue
        painter.setFont(letters.bold_font if one.bold else letters.font)
        if one.disc is not None:
            _disc(painter, one)
        else:
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(paper)
            painter.drawRoundedRect(one.box.adjusted(0, 1, 0, -1), 3, 3)
        painter.setPen(QColor(one.colour))
        painter.drawText(one.box, Qt.AlignmentFlag.AlignCenter, one.text)


def _disc(painter: QPainter, one: Letter) -> None:
    if one.disc is None or one.of_px is None:
        return
    pen = QPen(QColor(one.disc.line), 1.0)
    painter.setPen(pen)
    painter.drawLine(one.box.center(), one.of_px)
    pen.setWidthF(2.0)
    painter.setPen(pen)
    painter.setBrush(QColor(one.disc.fill))
    painter.drawEllipse(one.box)
