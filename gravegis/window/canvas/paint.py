"""The base picture: all that lies on the ground, drawn in strips that a new gesture can stop."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np
import shapely
from PySide6.QtCore import QRect, QRectF, Qt
from PySide6.QtGui import QColor, QFont, QImage, QPainter, QPen

from gravegis.outputs import symbols
from gravegis.window.canvas.ground import Route
from gravegis.window.canvas.inks import (
    PX_PER_MM,
    brush_of,
    ground_transform,
    hatch_of,
    ink_on,
    path_of,
    pen_of,
    stamp_mark,
)
from gravegis.window.canvas.lettering import Letters, letters_of, paint_letters
from gravegis.window.canvas.look import stone_codes
from gravegis.window.canvas.paint_stones import StonePaths, paint_digits, paint_stones
from gravegis.window.canvas.rings import rings_of, tiles_of

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    import numpy.typing as npt
    from PySide6.QtGui import QPainterPath

    from gravegis.outputs.symbols import Symbol
    from gravegis.window.canvas.ground import Drawn, GridPicture
    from gravegis.window.canvas.look import Look
    from gravegis.window.canvas.rings import Box, Rings, Tiles
    from gravegis.window.canvas.view import View
    from gravegis.window.scene import Scene

__all__ = ["Material", "base_of", "material_of", "strips_of"]

Stop = "Callable[[], bool]"
THROWS_FROM_PX_PER_M = 2.5
MARKS_FROM_PX_PER_M = 1.2
MARGIN = 0.25
STRIPS_N = 4
MOST_WIDE = 60
_GRID_OPACITY = 0.75


@dataclass(frozen=True, slots=True, eq=False)
class Material:
    """What is kept of a scene between two pictures: paths made once, and tiles of the throws."""

    scene: Scene
    stones: StonePaths
    throw_rings: Rings
    throw_tiles: Tiles
    grids: dict[str, QImage]
    backdrops: tuple[QImage, ...]
    paths: dict[tuple[int, int], QPainterPath] = field(default_factory=dict)

    def throw(self, row: int) -> QPainterPath:
        """Return the path of the ground of one head.

        Each is drawn by itself: one path of many grounds that overlap costs 10 to 100 times as much (measured).
        """
        key = -1, row
        if key not in self.paths:
            self.paths[key] = path_of(self.throw_rings, self.throw_rings.of_rows(np.array([row])))
        return self.paths[key]

    def path(self, layer: Drawn | Route, tile: int) -> QPainterPath:
        """Return the path of one tile of a layer."""
        key = id(layer), tile
        if key not in self.paths:
            rows = layer.tiles.rows_of(tile)
            # rings within a ring are holes in the ground, never in a line walked
            self.paths[key] = path_of(layer.rings, layer.rings.of_rows(rows), is_winding=isinstance(layer, Route))
        return self.paths[key]


def material_of(scene: Scene, before: Material | None = None) -> Material:
    """Return what is kept of a scene; paths of stones that stand where they stood are taken over."""
    stones = before.stones.taken_over(scene.stones) if before is not None else StonePaths(scene.stones)
    # turned one way round, or grounds that overlap would cut holes into each other
    outlines = shapely.orient_polygons(scene.heads.outlines)
    bounds_m = shapely.bounds(outlines) if len(outlines) else np.empty((0, 4))
    grids = {one.name: _grid_image(one, scene.theme) for one in scene.grids}
    backdrops = tuple(_picture(one.rgba) for one in scene.backdrops)
    return Material(scene, stones, rings_of(outlines), tiles_of(bounds_m), grids, backdrops)


def _grid_image(grid: GridPicture, theme: str) -> QImage:
    table = np.zeros((6, 4), dtype=np.uint8)
    for place, kind in enumerate(symbols.heat_kinds(theme), start=1):
        fill = QColor(symbols.symbol(kind, theme).fill)
        table[place] = fill.red(), fill.green(), fill.blue(), 255
    return _picture(table[grid.classes])


def _picture(rgba: npt.NDArray[np.uint8]) -> QImage:
    pixels = np.ascontiguousarray(rgba)
    high, wide = pixels.shape[:2]
    return QImage(pixels.tobytes(), wide, high, wide * 4, QImage.Format.Format_RGBA8888).copy()


def strips_of(view: View, whole: View) -> tuple[list[QRect], list[QRect]]:
    """Return the strips of what is seen, and those of the margin round it, in pixels of the whole picture."""
    left, top = (whole.width_px - view.width_px) // 2, (whole.height_px - view.height_px) // 2
    cuts = [top + round(view.height_px * place / STRIPS_N) for place in range(STRIPS_N + 1)]
    seen = [QRect(left, cuts[n], view.width_px, cuts[n + 1] - cuts[n]) for n in range(STRIPS_N)]
    right = left + view.width_px
    rest = [
        QRect(0, 0, whole.width_px, top),
        QRect(0, top + view.height_px, whole.width_px, whole.height_px - top - view.height_px),
        QRect(0, top, left, view.height_px), QRect(right, top, whole.width_px - right, view.height_px),
    ]  # fmt: skip
    return seen, [one for one in rest if one.width() > 0 and one.height() > 0]


def base_of(
    material: Material, view: View, look: Look, *, density: float, font: QFont, stop: Callable[[], bool]
) -> Iterator[tuple[QImage, View, bool]]:
    """Give the picture of what is seen, then the same with its margin; nothing more once `stop` says so.

    Each comes with the view it shows and whether it is the last one.
    """
    whole = view.grown(MARGIN)
    image = QImage(round(whole.width_px * density), round(whole.height_px * density), QImage.Format.Format_RGB32)
    image.setDevicePixelRatio(density)
    scene = material.scene
    codes = stone_codes(scene.stones, look)
    letters = letters_of(scene, whole, look, font)
    seen, rest = strips_of(view, whole)
    for place, strip in enumerate([*seen, *rest]):
        if place == len(seen):
            part = _denser(_united(seen), density)
            yield image.copy(part), view, False
        _strip(image, material, whole, strip, look, codes, letters, stop)
        if stop():
            return
    yield image, whole, True


def _denser(box: QRect, density: float) -> QRect:
    left, top, width, height = (round(side * density) for side in (box.x(), box.y(), box.width(), box.height()))
    return QRect(left, top, width, height)


def _united(strips: list[QRect]) -> QRect:
    made = strips[0]
    for one in strips[1:]:
        made = made.united(one)
    return made


def _strip(
    image: QImage, material: Material, view: View, strip: QRect, look: Look, codes: npt.NDArray[np.int8],
    letters: Letters, stop: Callable[[], bool],
) -> None:  # fmt: skip
    scene, theme = material.scene, material.scene.theme
    painter = QPainter(image)
    painter.setClipRect(strip)
    painter.fillRect(strip, QColor(symbols.PAPERS[theme]))
    west, north = view.to_ground(strip.left() - 8, strip.top() - 8)
    east, south = view.to_ground(strip.right() + 8, strip.bottom() + 8)
    box = west, south, east, north
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    _backdrop(painter, material, view, look)
    low = [one for one in scene.drawn if one.symbol.z < symbols.symbol("spraying", theme).z]
    _water(painter, material, view, box, look, is_fill=True)
    _grids(painter, material, view, look)
    for layer in low:
        _layer(painter, material, view, box, look, layer)
    _water(painter, material, view, box, look, is_fill=False)
    for layer in scene.drawn:
        if layer not in low and layer.symbol.z < 40 and not stop():
            _layer(painter, material, view, box, look, layer)
    if "stones" in look.shown and not stop():
        paint_stones(painter, view, box, material.stones, codes, theme=theme, stop=stop)
        paint_digits(painter, view, box, scene.stones, codes, theme=theme, font=letters.digit_font)
    _selected(painter, material, view, box, look)
    _head_marks(painter, material, view, box, look)
    for layer in scene.drawn:
        if layer.symbol.z >= 40 and not stop():
            _layer(painter, material, view, box, look, layer)
    _routes(painter, material, view, box, look)
    paint_letters(painter, letters, strip)
    painter.end()


def _backdrop(painter: QPainter, material: Material, view: View, look: Look) -> None:
    if "backdrop" not in look.shown:
        return
    painter.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform)
    for picture, image in zip(material.scene.backdrops, material.backdrops, strict=True):
        painter.drawImage(_rect(view, picture.bounds_m), image)
    painter.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform, on=False)


def _grids(painter: QPainter, material: Material, view: View, look: Look) -> None:
    for grid in material.scene.grids:
        if f"grid:{grid.name}" in look.shown:
            painter.setOpacity(_GRID_OPACITY)
            painter.drawImage(_rect(view, grid.bounds_m), material.grids[grid.name])
            painter.setOpacity(1.0)


def _rect(view: View, box: Box) -> QRectF:
    left, top = view.to_screen(box[0], box[3])
    right, bottom = view.to_screen(box[2], box[1])
    return QRectF(left, top, right - left, bottom - top)


def _water(
    painter: QPainter, material: Material, view: View, box: Box, look: Look, *, is_fill: bool
) -> None:  # fmt: skip
    """Draw the ground that heads wet: as one tone first, later each outline and what is sprayed at this minute.

    One tone over all: grounds that overlap need no transparency and look as one, as on paper.
    """
    scene, theme = material.scene, material.scene.theme
    heads = scene.heads
    rows = material.throw_tiles.rows_in(box)
    rows = rows[rows != look.held]
    if not len(rows):
        return
    painter.save()
    painter.setTransform(ground_transform(view), combine=True)
    if is_fill and "wetted" in look.shown:
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(brush_of(symbols.symbol("wetted", theme)))
        _each(painter, material, rows)
    elif not is_fill:
        sprayed = np.isin(heads.zones[rows], list(look.sprayed or ()))
        _sprayed(painter, material, rows[sprayed], theme)
        if "throws" in look.shown and view.px_per_m >= THROWS_FROM_PX_PER_M:
            _outlines(painter, material, rows[~sprayed], theme)
    painter.restore()


def _each(painter: QPainter, material: Material, rows: npt.NDArray[np.int64]) -> None:
    for row in rows.tolist():
        painter.drawPath(material.throw(row))


def _sprayed(painter: QPainter, material: Material, rows: npt.NDArray[np.int64], theme: str) -> None:
    """Draw ground sprayed now: all of it as one, then the hatch, then the outlines."""
    drawn = symbols.symbol("spraying", theme)
    for brush in (brush_of(drawn), hatch_of(drawn.hatch, ink_on(drawn.line, drawn.fill))):
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(brush)
        _each(painter, material, rows)
    painter.setPen(_pen(drawn, len(rows)))
    painter.setBrush(Qt.BrushStyle.NoBrush)
    _each(painter, material, rows)


def _outlines(painter: QPainter, material: Material, rows: npt.NDArray[np.int64], theme: str) -> None:
    """Draw the outline of each throw in the line of its zone."""
    heads = material.scene.heads
    names = sorted({str(one) for one in heads.zones.tolist() if one}, key=lambda name: (len(name), name))
    painter.setBrush(Qt.BrushStyle.NoBrush)
    for zone in np.unique(heads.zones[rows].astype(str)).tolist():
        drawn = symbols.zone_symbol(names.index(zone), theme) if zone else symbols.symbol("throw", theme)
        painter.setPen(_pen(drawn, len(rows)))
        _each(painter, material, rows[heads.zones[rows] == zone])


def _pen(drawn: Symbol, count: int) -> QPen:
    """Return the pen of a symbol; many lines are drawn 1 px wide, for which Qt has a way ten times as fast."""
    if count <= MOST_WIDE:
        return pen_of(drawn)
    return pen_of(replace(drawn, width_mm=1.0 / PX_PER_MM))


def _layer(painter: QPainter, material: Material, view: View, box: Box, look: Look, layer: Drawn) -> None:
    if layer.group not in look.shown:
        return
    drawn = layer.symbol
    if layer.shape == "marks":
        _marks(painter, view, box, layer)
        return
    painter.save()
    painter.setTransform(ground_transform(view), combine=True)
    painter.setPen(pen_of(drawn))
    for tile in layer.tiles.in_box(box).tolist():
        path = material.path(layer, tile)
        painter.setBrush(brush_of(drawn) if layer.shape == "areas" else Qt.BrushStyle.NoBrush)
        painter.drawPath(path)
        if layer.shape == "areas" and drawn.hatch:
            painter.setBrush(
                hatch_of(drawn.hatch, ink_on(drawn.line, drawn.fill or symbols.PAPERS[material.scene.theme]))
            )
            painter.drawPath(path)
    painter.restore()


def _marks(painter: QPainter, view: View, box: Box, layer: Drawn) -> None:
    for row in layer.tiles.rows_in(box).tolist():
        stamp_mark(painter, layer.symbol, *view.to_screen(layer.x_m[row], layer.y_m[row]))


def _head_marks(painter: QPainter, material: Material, view: View, box: Box, look: Look) -> None:
    if "heads" not in look.shown:
        return
    heads, theme = material.scene.heads, material.scene.theme
    west, south, east, north = box
    there = (heads.x_m >= west) & (heads.x_m <= east) & (heads.y_m >= south) & (heads.y_m <= north)
    rows = np.flatnonzero(there)
    is_small = view.px_per_m < MARKS_FROM_PX_PER_M and len(rows) > 300
    for row in rows.tolist():
        if row != look.held:
            drawn = symbols.symbol("head_fault" if heads.is_faulty[row] else "head", theme)
            _mark(painter, drawn, view, (heads.x_m[row], heads.y_m[row]), is_small=is_small)


def _mark(painter: QPainter, drawn: Symbol, view: View, place: tuple[float, float], *, is_small: bool) -> None:
    x_px, y_px = view.to_screen(*place)
    stamp_mark(painter, drawn, x_px, y_px, size_px=5.0 if is_small else 0.0)


def _selected(painter: QPainter, material: Material, view: View, box: Box, look: Look) -> None:
    if not len(look.selected):
        return
    rows = np.intersect1d(material.scene.stones.tiles.rows_in(box), look.selected, assume_unique=True)
    painter.save()
    painter.setTransform(ground_transform(view), combine=True)
    painter.setPen(pen_of(symbols.symbol("selected", material.scene.theme)))
    painter.setBrush(Qt.BrushStyle.NoBrush)
    painter.drawPath(path_of(material.scene.stones.rings, material.scene.stones.rings.of_rows(rows)))
    painter.restore()


def _routes(painter: QPainter, material: Material, view: View, box: Box, look: Look) -> None:
    routes = material.scene.routes
    if "routes" not in look.shown or not routes:
        return
    day = look.day or min(route.day for route in routes)
    painter.save()
    painter.setTransform(ground_transform(view), combine=True)
    painter.setBrush(Qt.BrushStyle.NoBrush)
    mine = [route for route in routes if route.day == day]
    for route in mine:
        painter.setPen(pen_of(route.symbol))
        for tile in route.tiles.in_box(box).tolist():
            painter.drawPath(material.path(route, tile))
    painter.restore()
    for route in mine:
        for x_m, y_m in zip(route.x_m.tolist(), route.y_m.tolist(), strict=True):
            stamp_mark(painter, symbols.symbol("stop_place", material.scene.theme), *view.to_screen(x_m, y_m))
