"""What mouse and pointer do on the map, by tool."""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtCore import QPointF, Qt

from gravegis.window.canvas.find import PICK_PX, found_at, stones_in_box, stones_in_loop
from gravegis.window.canvas.furniture import length_words
from gravegis.window.canvas.tools import STILL_PX, Area, Carry, Measure, Pan, Tool, draw_area, draw_measure, plate

if TYPE_CHECKING:
    from PySide6.QtGui import QMouseEvent, QPainter

    from gravegis.window.canvas.widget import MapCanvas

__all__ = ["Hands"]

HANDLE_PX = 11.0


class Hands:
    """Gestures on a canvas: one at a time, the one measured line that stays, and a note shown over the map."""

    def __init__(self, canvas: MapCanvas) -> None:
        self._canvas = canvas
        self._gesture: Pan | Area | Carry | None = None
        self._measure = Measure()
        self.note = ""

    def forget(self) -> None:
        """Drop what is going on."""
        self._gesture, self._measure = None, Measure()

    def press(self, event: QMouseEvent) -> None:
        """Begin: the left button does what the tool does, any other pulls the ground along."""
        canvas = self._canvas
        canvas.setFocus(Qt.FocusReason.MouseFocusReason)
        place = event.position()
        self._gesture = Pan(place, canvas.view)
        if event.button() != Qt.MouseButton.LeftButton or canvas.scene is None:
            return
        if canvas.tool in (Tool.BOX, Tool.LASSO):
            self._gesture = Area(canvas.tool is Tool.LASSO, [place])
        elif canvas.tool is Tool.MOVE_HEAD:
            self._gesture = self._carry(place) or self._gesture

    def move(self, event: QMouseEvent) -> None:
        """Go on."""
        canvas, place = self._canvas, event.position()
        canvas.pointer_at.emit(*canvas.view.to_ground(place.x(), place.y()))
        gesture = self._gesture
        if isinstance(gesture, Pan):
            far = place - gesture.begin
            gesture.moved = gesture.moved or far.manhattanLength() > STILL_PX
            if gesture.moved:
                canvas.look_at(gesture.view.moved(far.x(), far.y()))
        elif isinstance(gesture, Area):
            gesture.corners.append(place)
            canvas.update()
        elif isinstance(gesture, Carry):
            x_m, y_m = canvas.view.to_ground(place.x(), place.y())
            gesture.hold.drag(gesture.part, x_m - gesture.off_m[0], y_m - gesture.off_m[1])
            canvas.preview()

    def release(self, event: QMouseEvent) -> None:
        """End: a press that hardly moved is a click."""
        canvas, gesture = self._canvas, self._gesture
        self._gesture = None
        if isinstance(gesture, Pan) and not gesture.moved and event.button() == Qt.MouseButton.LeftButton:
            self._click(event.position())
        elif isinstance(gesture, Area) and canvas.scene is not None:
            self._select(gesture)
        elif isinstance(gesture, Carry):
            canvas.let_go()
        canvas.update()

    def draw(self, painter: QPainter) -> None:
        """Draw the gesture going on, the measured line and the note."""
        canvas = self._canvas
        theme = canvas.scene.theme if canvas.scene is not None else "light"
        if isinstance(self._gesture, Area) and len(self._gesture.corners) > 1:
            draw_area(painter, self._gesture, theme)
        if self._measure.places:
            places = [QPointF(*canvas.view.to_screen(*one)) for one in self._measure.places]
            draw_measure(painter, places, length_words(self._measure.length_m(), canvas.unit), theme)
        if self.note:
            plate(painter, QPointF(12, 40), self.note, theme)

    def _carry(self, place: QPointF) -> Carry | None:
        """Take the handle under the pointer, else pick the head under it and take that."""
        canvas = self._canvas
        if canvas.scene is None or canvas.is_dropped:
            return None
        taken = self._handle(place)
        if taken is None:
            x_m, y_m = canvas.view.to_ground(place.x(), place.y())
            found = found_at(canvas.scene, x_m, y_m, px_per_m=canvas.view.px_per_m, shown=frozenset(["heads"]))
            if found is None:
                return None
            if canvas.hold is None or canvas.hold.head_id != found[1]:
                self._tell_picked(*found)
            taken = "place"
        hold = canvas.hold
        if hold is None:
            return None
        canvas.follow_hold()
        x_m, y_m = canvas.view.to_ground(place.x(), place.y())
        off_m = (x_m - hold.now.x_m, y_m - hold.now.y_m) if taken == "place" else (0.0, 0.0)
        return Carry(hold, taken, off_m)

    def _handle(self, place: QPointF) -> str | None:
        canvas = self._canvas
        if canvas.hold is None:
            return None
        far = {
            part: (QPointF(*canvas.view.to_screen(*at)) - place).manhattanLength()
            for part, at in canvas.hold.handles().items()
        }
        part = min(far, key=lambda one: far[one])
        return part if far[part] <= HANDLE_PX + PICK_PX / 2 else None

    def _click(self, place: QPointF) -> None:
        canvas = self._canvas
        x_m, y_m = canvas.view.to_ground(place.x(), place.y())
        if canvas.tool is Tool.MEASURE:
            self._measure.places.append((x_m, y_m))
            return
        if canvas.scene is not None:
            found = found_at(canvas.scene, x_m, y_m, px_per_m=canvas.view.px_per_m, shown=canvas.shown)
            self._tell_picked(*(found or ("", "")))

    def _select(self, area: Area) -> None:
        canvas = self._canvas
        if canvas.scene is None:
            return
        corners = [canvas.view.to_ground(one.x(), one.y()) for one in area.corners]
        if area.is_loop:
            rows = stones_in_loop(canvas.scene, corners)
        else:
            (x1, y1), (x2, y2) = corners[0], corners[-1]
            rows = stones_in_box(canvas.scene, (min(x1, x2), min(y1, y2), max(x1, x2), max(y1, y2)))
        ids = tuple(canvas.scene.stones.ids[rows].tolist())
        canvas.set_selected(ids)
        canvas.selected.emit(ids)

    def _tell_picked(self, layer: str, name: str) -> None:
        self._canvas.set_picked(layer or None, name)
        self._canvas.picked.emit(layer, name)
