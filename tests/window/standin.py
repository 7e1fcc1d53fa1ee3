"""A map that draws nothing, for tests of what lies around the map: it keeps what it was told."""

from __future__ import annotations

from typing import Any

import shapely
from PySide6.QtCore import Signal
from PySide6.QtGui import QColor, QImage, QPainter
from PySide6.QtWidgets import QWidget


def scene_of(site: Any, *, theme: str, before: Any = None) -> Any:
    del before
    return site, theme


class PlainMap(QWidget):
    picked = Signal(str, str)
    selected = Signal(object)
    head_moved = Signal(str, object)
    head_previewed = Signal(str, object)
    pointer_at = Signal(float, float)
    ready = Signal()

    def __init__(self) -> None:
        super().__init__()
        self.setMinimumSize(200, 120)
        self.scene: Any = None
        self.told: dict[str, Any] = {}
        self.is_cancelled = False

    def set_scene(self, scene: Any) -> None:
        self.scene = scene
        self.ready.emit()

    def kinds(self) -> dict[str, str]:
        return {"stones": "stones", "heads": "sprinkler heads", "wetted": "ground some head wets"}

    def samples(self, kind: str) -> list[Any]:
        del kind
        return []

    def set_shown(self, kinds: frozenset[str]) -> None:
        self.told["shown"] = kinds

    def set_theme(self, theme: str) -> None:
        self.told["theme"] = theme

    def set_unit(self, unit: str) -> None:
        self.told["unit"] = unit

    def set_minute(self, minute: int | None, zones: Any) -> None:
        self.told["minute"] = (minute, tuple(zones))

    def set_picked(self, layer: str | None, id: str = "") -> None:
        self.told["picked"] = (layer, id)

    def set_selected(self, ids: Any) -> None:
        self.told["selected"] = ids

    def go_to(self, layer: str, id: str) -> None:
        self.told["at"] = (layer, id)

    def whole_ground(self) -> None:
        self.told["whole"] = True

    def zoom_by(self, factor: float) -> None:
        self.told["zoom"] = factor

    def pan_by(self, dx_px: float, dy_px: float) -> None:
        self.told["pan"] = (dx_px, dy_px)

    def set_tool(self, tool: Any) -> None:
        self.told["tool"] = tool

    def cancel_gesture(self) -> None:
        self.is_cancelled = True

    def nudge_head(self, dx_m: float, dy_m: float) -> None:
        point = self._row()["geometry"].iloc[0]
        self.head_moved.emit(self.told["picked"][1], {"geometry": shapely.Point(point.x + dx_m, point.y + dy_m)})

    def turn_head(self, deg: float) -> None:
        bearing = (float(self._row()["arc_from_deg"].iloc[0]) + deg) % 360
        self.head_moved.emit(self.told["picked"][1], {"arc_from_deg": bearing})

    def resize_head(self, m: float) -> None:
        self.head_moved.emit(self.told["picked"][1], {"throw_m": float(self._row()["throw_m"].iloc[0]) + m})

    def picture(self) -> QImage:
        made = QImage(self.size(), QImage.Format.Format_RGB32)
        made.fill(QColor("#dddddd"))
        painter = QPainter(made)
        painter.drawText(20, 40, "map")
        painter.end()
        return made

    def _row(self) -> Any:
        heads = self.scene[0]["heads"]
        return heads[heads["head_id"] == self.told["picked"][1]]
