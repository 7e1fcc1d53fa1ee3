"""The map canvas: a widget that shows a scene and tells what a person does on it."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from PySide6.QtCore import QPointF, QSize, Qt, QTimer, Signal
from PySide6.QtGui import QImage, QPainter
from PySide6.QtWidgets import QWidget

from gravegis.outputs import symbols
from gravegis.window.canvas.find import place_of
from gravegis.window.canvas.furniture import draw_furniture
from gravegis.window.canvas.hands import Hands
from gravegis.window.canvas.hold import Hold, hold_of
from gravegis.window.canvas.legend import samples_of
from gravegis.window.canvas.look import Look
from gravegis.window.canvas.overlay import draw_hold, draw_picked, draw_selected
from gravegis.window.canvas.pictures import Pictures
from gravegis.window.canvas.tools import Tool
from gravegis.window.canvas.view import View, fitting
from gravegis.window.scene import kinds_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    import numpy.typing as npt
    from PySide6.QtGui import (
        QFocusEvent,
        QMouseEvent,
        QPaintEvent,
        QPixmap,
        QResizeEvent,
        QWheelEvent,
    )

    from gravegis.window.canvas.rings import Box
    from gravegis.window.scene import Scene

__all__ = ["MapCanvas"]

SETTLE_MS = 30
"""Time without a gesture after which the picture is drawn sharp: own choice."""
KEY_PAUSE_MS = 450
"""Key presses closer together than this move a head in one gesture: own choice."""
MOST_LIVE = 300
"""Selected stones drawn live; more go into the base picture."""
_NOTHING: npt.NDArray[np.int64] = np.empty(0, dtype=np.int64)


class MapCanvas(QWidget):
    """Shows a `Scene`; pans, zooms, picks, selects, measures and moves heads.

    Signals: `picked` (layer, name; both empty when nothing lies there), `selected` (names of stones), `head_moved`
    (head, column -> value of layer heads) when a hand lets go of a head, `head_previewed` (head, stones it wets as
    it is held), `pointer_at` (place on the ground), `sharpened` when what is seen is sharp, `ready` when the picture
    with its margin is up to date.
    """

    picked = Signal(str, str)
    selected = Signal(object)
    head_moved = Signal(str, object)
    head_previewed = Signal(str, object)
    pointer_at = Signal(float, float)
    sharpened = Signal()
    ready = Signal()
    tools = {tool.value: tool for tool in Tool}  # noqa: RUF012 - a table, never changed

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setAttribute(Qt.WidgetAttribute.WA_OpaquePaintEvent)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setMouseTracking(True)
        self.setMinimumSize(240, 180)
        self.scene: Scene | None = None
        self.view = View(0.0, 0.0, 1.0, max(self.width(), 1), max(self.height(), 1))
        self.tool = Tool.PICK
        self.hold: Hold | None = None
        self.unit = "metric"
        self._look = Look(frozenset(), None, -1, _NOTHING, _NOTHING.astype(np.int8), _NOTHING, "")
        self._theme = "light"
        self._picked: tuple[str, str] | None = None
        self._selected = _NOTHING
        self.is_dropped = False  # whether a head was put down and the scene with it is not here yet
        self._fits = True
        self._hands = Hands(self)
        self._pictures = Pictures(self, self._taken)
        self._idle = QTimer(self, singleShot=True, interval=SETTLE_MS)
        self._idle.timeout.connect(self._redraw)
        self._keys = QTimer(self, singleShot=True, interval=KEY_PAUSE_MS)
        self._keys.timeout.connect(self.let_go)

    def sizeHint(self) -> QSize:  # noqa: N802 - Qt's name
        """Return the size the canvas asks for."""
        return QSize(900, 640)

    # --- what is shown ---

    def set_scene(self, scene: Scene) -> None:
        """Show another scene, or another state of the same: where the map looks stays, a new ground is shown whole."""
        is_new = self.scene is None or self.scene.title != scene.title or self.scene.crs != scene.crs
        self._pictures.show(scene, is_new=is_new, keeps_colours=scene.theme == self._theme)
        self.scene, self._theme = scene, scene.theme
        self.hold, self.is_dropped = None, False
        self._hands.forget()
        self._look = replace(self._look, held=-1, other_rows=_NOTHING, other_codes=_NOTHING.astype(np.int8))
        if is_new:
            self._look = replace(self._look, shown=self._look.shown or frozenset(kinds_of(scene)), selected=_NOTHING)
            self._selected, self._picked = _NOTHING, None
            self.whole_ground()
        self.refresh()

    def set_shown(self, kinds: frozenset[str]) -> None:
        """Show only these of `kinds`."""
        self._look = replace(self._look, shown=frozenset(kinds))
        self.refresh()

    def kinds(self) -> Mapping[str, str]:
        """Return what can be switched, with its words, in the order of the key."""
        return kinds_of(self.scene) if self.scene is not None else {}

    def samples(self, kind: str) -> list[tuple[QPixmap, str]]:
        """Return a small picture and the words of each symbol that hangs on one switch, for the key."""
        return samples_of(self.scene, kind) if self.scene is not None else []

    def set_theme(self, theme: str) -> None:
        """Draw in another theme, ``light`` or ``dark``."""
        symbols.table(theme)
        if self.scene is not None and theme != self._theme:
            from gravegis.window.scene import themed

            self.set_scene(themed(self.scene, theme))
        self._theme = theme

    def set_minute(self, minute: int | None, sprayed: frozenset[str] | tuple[str, ...] | list[str] = ()) -> None:
        """Show which zones spray at a minute of the day; None for no minute."""
        self._look = replace(self._look, sprayed=None if minute is None else frozenset(sprayed))
        self.refresh()

    def set_day(self, day: str) -> None:
        """Show the routes of one day; empty for the first there is."""
        self._look = replace(self._look, day=day)
        self.refresh()

    def set_picked(self, layer: str | None, name: str = "") -> None:
        """Mark one thing as picked, or nothing; no signal is given."""
        self._picked = (layer, name) if layer else None
        if self.hold is not None and self._picked != ("heads", self.hold.head_id):
            self.let_go()
        self._take_in_hand()
        self.update()

    def set_selected(self, ids: tuple[str, ...] | list[str]) -> None:
        """Mark stones as selected; no signal is given."""
        if self.scene is None:
            return
        self._selected = np.flatnonzero(np.isin(self.scene.stones.ids.astype(str), [str(one) for one in ids]))
        many = self._selected if len(self._selected) > MOST_LIVE else _NOTHING
        if len(many) or len(self._look.selected):
            self._look = replace(self._look, selected=many)
            self.refresh()
        self.update()

    def set_unit(self, unit: str) -> None:
        """Write lengths in ``metric`` or ``us`` units."""
        self.unit = unit
        self.update()

    def show_last_picture(self, image: QImage, bounds_m: Box, words: str) -> None:
        """Show the picture of an earlier time until the ground is read; `words` on it tell of when it is."""
        self._pictures.lay_under(image, bounds_m)
        self._hands.note = words
        self.view = fitting(bounds_m, self.width(), self.height())
        self.update()

    # --- where the map looks ---

    def whole_ground(self) -> None:
        """Show all of the ground."""
        if self.scene is not None:
            self.look_at(fitting(self.scene.bounds_m, self.width(), self.height()))
            self._fits = True

    def go_to(self, layer: str, name: str) -> bool:
        """Bring one thing into the middle, large enough to be seen; False where the scene has no place for it."""
        found = place_of(self.scene, layer, name) if self.scene is not None else None
        if found is None:
            return False
        x_m, y_m, size_m = found
        least, most = 12.0, min(self.width(), self.height()) / (size_m * 1.6)
        self.look_at(replace(self.view, x_m=x_m, y_m=y_m, px_per_m=min(max(self.view.px_per_m, least), max(most, 0.5))))
        return True

    def zoom_by(self, factor: float, at_px: tuple[float, float] | None = None) -> None:
        """Look closer (above 1) or from farther away; the place under `at_px`, or the middle, stays."""
        self.look_at(self.view.zoomed(factor, at_px))

    def pan_by(self, dx_px: float, dy_px: float) -> None:
        """Move the drawing right and down by so many pixels."""
        self.look_at(self.view.moved(dx_px, dy_px))

    def look_at(self, view: View) -> None:
        """Look at another place; the picture at hand is moved at once, the sharp one follows."""
        self.view, self._fits = view, False
        self._pictures.drop()
        self._idle.start()
        self.update()

    # --- tools and heads ---

    def set_tool(self, tool: Tool | str) -> None:
        """Take another tool; what was begun with the one before is dropped, a head moved by keys is put down."""
        self.let_go()
        self.tool = Tool(tool) if isinstance(tool, str) else tool
        self._hands.forget()
        self._take_in_hand()
        cursor = Qt.CursorShape.OpenHandCursor if self.tool is Tool.PICK else Qt.CursorShape.CrossCursor
        self.setCursor(cursor)
        self.update()

    def nudge_head(self, dx_m: float, dy_m: float) -> None:
        """Move the picked head east and north; presses that follow each other at once are one gesture."""
        self._by_key(lambda hold: hold.nudge(dx_m, dy_m))

    def turn_head(self, deg: float) -> None:
        """Turn the picked head clockwise."""
        self._by_key(lambda hold: hold.turn(deg))

    def resize_head(self, m: float) -> None:
        """Lengthen the throw of the picked head."""
        self._by_key(lambda hold: hold.resize(m))

    def cancel_gesture(self) -> None:
        """Drop what is in hand: a head goes back, a frame, loop or measured line goes."""
        self._keys.stop()
        self._hands.forget()
        if self.hold is not None and self.hold.now != self.hold.was:
            self.hold = None
            self.is_dropped = False
            self._look = replace(self._look, held=-1, other_rows=_NOTHING, other_codes=_NOTHING.astype(np.int8))
            self.refresh()
        self._take_in_hand()
        self.update()

    def let_go(self) -> None:
        """Put the head down where it is held, and tell what is other than before."""
        self._keys.stop()
        hold = self.hold
        if hold is None or self.is_dropped or hold.now == hold.was:
            return
        hold.settle()
        self.is_dropped = True
        self.head_previewed.emit(hold.head_id, hold.wetted_ids())
        self.follow_hold()
        self.head_moved.emit(hold.head_id, hold.changes())

    def preview(self) -> None:
        """Tell which stones the head in hand wets, and show it."""
        if self.hold is not None:
            self.head_previewed.emit(self.hold.head_id, self.hold.wetted_ids())
            self.update()

    def follow_hold(self) -> None:
        """Draw the base picture without the head in hand, and the stones it touched as they would be."""
        hold = self.hold
        if hold is None or self.scene is None:
            return
        has_state = bool((self.scene.stones.wet_code > 0).any())
        rows, codes = (hold.touched, hold.codes) if has_state else (_NOTHING, _NOTHING.astype(np.int8))
        self._look = replace(self._look, held=hold.row, other_rows=rows, other_codes=codes)
        self.refresh()

    def _by_key(self, change: object) -> None:
        if self._picked is None or self._picked[0] != "heads":
            return
        if self.is_dropped and self.hold is not None:
            return  # the scene with the last change is on its way
        if self.hold is None and self.scene is not None:
            self.hold = hold_of(self.scene, self._picked[1])
        if self.hold is None:
            return
        if self._look.held != self.hold.row:
            self.follow_hold()
        change(self.hold)  # type: ignore[operator]
        self.preview()
        self._keys.start()

    def _take_in_hand(self) -> None:
        """Show handles on the picked head while heads are moved."""
        wants = self.tool is Tool.MOVE_HEAD and self._picked is not None and self._picked[0] == "heads"
        if not wants:
            if self.hold is not None and not self.is_dropped and self.hold.now == self.hold.was:
                self.hold = None
                self._look = replace(self._look, held=-1)
            return
        if (
            self.scene is not None
            and self._picked is not None
            and (self.hold is None or (self.hold.head_id != self._picked[1] and not self.is_dropped))
        ):
            self.hold = hold_of(self.scene, self._picked[1])

    @property
    def shown(self) -> frozenset[str]:
        """What is switched on."""
        return self._look.shown

    # --- pictures ---

    def picture(self, *, density: float = 1.0) -> QImage:
        """Return what is seen as a sharp picture, so many times denser than the screen, with bar, north and marks."""
        size = self.view.width_px, self.view.height_px
        image = QImage(round(size[0] * density), round(size[1] * density), QImage.Format.Format_RGB32)
        image.setDevicePixelRatio(density)
        painter = QPainter(image)
        painter.drawImage(QPointF(0, 0), self.base_picture(density=density))
        painter.setFont(self.font())
        self._over(painter)
        painter.end()
        return image

    def base_picture(self, *, density: float = 1.0) -> QImage:
        """Return the ground that is seen, sharp, without bar, north and marks."""
        image = self._pictures.drawn_now(self.view, self._look, density=density, font=self.font())
        self.refresh()
        return image

    def refresh(self) -> None:
        """Draw the base picture anew."""
        self._idle.start()
        self.update()

    def _redraw(self) -> None:
        self._pictures.start(self.view, self._look, density=self.devicePixelRatioF(), font=self.font())

    def _taken(self, is_last: bool) -> None:
        self._hands.note = ""
        self.update()
        (self.ready if is_last else self.sharpened).emit()

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802
        """Move or scale the picture at hand and draw over it what changes with every frame."""
        del event
        painter = QPainter(self)
        self._pictures.draw(painter, self.view, self._theme)
        self._over(painter)
        painter.end()

    def _over(self, painter: QPainter) -> None:
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        if self.scene is not None:
            if len(self._selected) <= MOST_LIVE:
                draw_selected(painter, self.scene, self._selected, self.view)
            if self.hold is not None:
                has_handles = self.tool is Tool.MOVE_HEAD and not self.is_dropped
                draw_hold(painter, self.hold, self.view, self.shown, has_handles=has_handles)
            if self._picked is not None and (self.hold is None or self.hold.now == self.hold.was):
                draw_picked(painter, self.scene, self._picked, self.view)
            north_deg = self.scene.north_deg
            draw_furniture(painter, self.view, unit=self.unit, north_deg=north_deg, theme=self._theme)
        self._hands.draw(painter)

    # --- events ---

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802
        """Keep the middle; a ground that was seen whole stays so."""
        del event
        self.view = self.view.sized(self.width(), self.height())
        if self._fits:
            self.whole_ground()
        self.refresh()

    def mousePressEvent(self, event: QMouseEvent) -> None:  # noqa: N802
        """Begin a gesture."""
        self._hands.press(event)

    def mouseMoveEvent(self, event: QMouseEvent) -> None:  # noqa: N802
        """Go on with it."""
        self._hands.move(event)

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:  # noqa: N802
        """End it."""
        self._hands.release(event)

    def wheelEvent(self, event: QWheelEvent) -> None:  # noqa: N802
        """Look closer at the place under the pointer, or from farther away."""
        place = event.position()
        self.zoom_by(1.2 ** (event.angleDelta().y() / 120), (place.x(), place.y()))

    def focusOutEvent(self, event: QFocusEvent) -> None:  # noqa: N802
        """Put down a head that keys were moving."""
        if self._keys.isActive():
            self.let_go()
        super().focusOutEvent(event)

    def finish(self) -> None:
        """Wait until nothing is drawn beside the window any more; call it before the application ends."""
        self._pictures.finish()
