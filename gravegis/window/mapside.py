"""The map with what lies on it: the evidence card over it, the key below it, and the keys that move it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from PySide6.QtCore import QEvent, QObject, Qt, Signal
from PySide6.QtWidgets import QComboBox, QPushButton, QVBoxLayout, QWidget

from gravegis.window.card import CardView
from gravegis.window.parts import WrapLayout, button, scrolled
from gravegis.window.texts import content, say

if TYPE_CHECKING:
    from collections.abc import Callable

    from PySide6.QtGui import QKeyEvent

__all__ = ["TOOLS", "MapSide"]

TOOLS = ("pick", "box", "lasso", "measure", "move_head")
ALWAYS = ("stones", "heads", "plots", "paths", "barriers", "points", "names", "backdrop")
AT_STAGE = {
    "survey": ("wet_areas", "throws"), "wetting": ("wetting", "wetted", "throws", "wet_areas"),
    "harm": ("wetting", "wetted", "throws", "wet_areas"), "condition": ("condition", "clusters", "grid:share"),
    "plan": ("condition", "routes"), "records": ("condition", "routes"),
}  # fmt: skip
"""What is drawn at first, always and at each stage; the key switches everything at every stage. Own choice."""
PAN_PX, PAN_FAR_PX = 60, 240
NUDGE_M, NUDGE_FAR_M = 0.1, 1.0
TURN_DEG = 5.0
CARD_SHARE = 0.42
_ARROWS = {
    Qt.Key.Key_Left: (-1, 0), Qt.Key.Key_Right: (1, 0), Qt.Key.Key_Up: (0, 1), Qt.Key.Key_Down: (0, -1),
}  # fmt: skip
_HANDS = {
    Qt.Key.Key_V: "pick",
    Qt.Key.Key_B: "box",
    Qt.Key.Key_L: "lasso",
    Qt.Key.Key_D: "measure",
    Qt.Key.Key_M: "move_head",
}


class MapSide(QWidget):
    """Holds the map canvas; `stepped` asks for the next flagged stone, `middle_asked` for the card of the middle."""

    stepped = Signal(int)
    middle_asked = Signal()
    keys_asked = Signal()
    hand_changed = Signal(str)

    def __init__(self, canvas: Any) -> None:  # noqa: ANN401 - the map canvas
        super().__init__()
        self.canvas = canvas
        self.canvas.setAccessibleName(say("map.name"))
        self.canvas.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.canvas.installEventFilter(self)
        self.card = CardView(canvas)
        self.switches: dict[str, QPushButton] = {}
        self.stage = "survey"
        self._switched_at: dict[tuple[str, str], bool] = {}
        self._key = WrapLayout(gap=4)
        self.hand = QComboBox()
        self.hand.setAccessibleName(say("map.tool"))
        for one in TOOLS:
            self.hand.addItem(say(f"tool.{one}"), one)
        self.hand.currentIndexChanged.connect(self._take_hand)
        self.whole = button(say("map.fit"), self.canvas.whole_ground)
        inside = QWidget()
        inside.setLayout(self._key)
        self.foot = scrolled(inside)
        self.foot.setAccessibleName(say("map.key"))
        rows = QVBoxLayout(self)
        rows.setContentsMargins(6, 0, 0, 0)
        rows.setSpacing(4)
        rows.addWidget(self.canvas, 1)
        rows.addWidget(self.foot)
        self._key.addWidget(self.hand)
        self._key.addWidget(self.whole)

    def show_key(self) -> None:
        """Show a switch for every kind of thing that the map can draw; the key is the switch."""
        offered = [(str(kind), str(words)) for kind, words in self.canvas.kinds().items()]
        if list(self.switches) == [kind for kind, _ in offered]:
            return
        for one in self.switches.values():
            self._key.removeWidget(one)
            one.hide()
            one.deleteLater()
        self.switches = {}
        for kind, words in offered:
            made = button(content(words), self._switcher(kind), switch=True)
            samples = self.canvas.samples(kind)
            if samples:
                made.setIcon(samples[0][0])
                made.setToolTip("\n".join(content(one) for _, one in samples))
            self.switches[kind] = made
            self._key.addWidget(made)
            made.show()
        self.show_stage(self.stage)
        self.fit_key()

    def show_stage(self, stage: str) -> None:
        """Show what the question of a stage is about, and what was switched on or off at it before."""
        self.stage = stage
        wanted = (*ALWAYS, *AT_STAGE.get(stage, ()))
        for kind, one in self.switches.items():
            one.setChecked(self._switched_at.get((stage, kind), kind.startswith(wanted)))
        self._switched()

    def nearest_to_middle(self) -> str:
        """Return the stone nearest to the middle of the map; empty where there is none."""
        scene, view = self.canvas.scene, self.canvas.view
        if scene is None or not len(scene.stones.ids):
            return ""
        square = (scene.stones.x_m - view.x_m) ** 2 + (scene.stones.y_m - view.y_m) ** 2
        return str(scene.stones.ids[int(square.argmin())])

    def place_card(self) -> None:
        """Put the card over the map, never wider than its part of it."""
        wide = max(int(self.canvas.width() * CARD_SHARE), self.card.minimumSizeHint().width())
        high = self.canvas.height() - 20
        self.card.setGeometry(10, 10, min(wide, self.canvas.width() - 20), max(min(high, 460 * self._larger()), 60))

    def fit_key(self) -> None:
        """Give the key the height of its switches, three lines at most, two of large text; more is scrolled to."""
        line = self.whole.sizeHint().height() + 4
        needed = self._key.heightForWidth(max(self.foot.viewport().width(), 100))
        self.foot.setFixedHeight(min(max(needed, line), (4 - self._larger()) * line) + 2)

    def take_hand(self, tool: str) -> None:
        """Take another hand on the map."""
        self.hand.setCurrentIndex(TOOLS.index(tool))

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:  # noqa: N802
        """Take the keys of the map, and keep the card in its place."""
        if watched is self.canvas and event.type() == QEvent.Type.Resize:
            self.place_card()
            self.fit_key()
        if watched is self.canvas and event.type() == QEvent.Type.KeyPress:
            return self._key_pressed(event)  # type: ignore[arg-type]
        return False

    def _larger(self) -> int:
        return 2 if self.font().pointSizeF() > 14 else 1

    def _key_pressed(self, event: QKeyEvent) -> bool:
        key, text = Qt.Key(event.key()), event.text()
        is_far = bool(event.modifiers() & Qt.KeyboardModifier.ShiftModifier)
        if event.modifiers() & (Qt.KeyboardModifier.ControlModifier | Qt.KeyboardModifier.AltModifier):
            return False
        if key in _ARROWS:
            self._arrow(*_ARROWS[key], is_far=is_far)
        elif key in _HANDS:
            self.take_hand(_HANDS[key])
        elif key in (Qt.Key.Key_N, Qt.Key.Key_P):
            self.stepped.emit(1 if key == Qt.Key.Key_N else -1)
        elif key in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self.middle_asked.emit()
        else:
            return self._sign(text)
        return True

    def _sign(self, text: str) -> bool:
        """Do what a sign stands for; False for one that stands for nothing."""
        does = {
            "+": lambda: self.canvas.zoom_by(1.25), "-": lambda: self.canvas.zoom_by(0.8),
            "=": lambda: self.canvas.zoom_by(1.25), "0": self.canvas.whole_ground, "?": self.keys_asked.emit,
        }  # fmt: skip
        if self.hand.currentData() == "move_head":
            does |= {
                "[": lambda: self.canvas.turn_head(-TURN_DEG), "]": lambda: self.canvas.turn_head(TURN_DEG),
                ",": lambda: self.canvas.resize_head(-NUDGE_M), ".": lambda: self.canvas.resize_head(NUDGE_M),
            }  # fmt: skip
        if text not in does:
            return False
        does[text]()
        return True

    def _arrow(self, right: int, up: int, *, is_far: bool) -> None:
        if self.hand.currentData() == "move_head":
            step = NUDGE_FAR_M if is_far else NUDGE_M
            self.canvas.nudge_head(right * step, up * step)
        else:
            step_px = PAN_FAR_PX if is_far else PAN_PX
            # the view moves the way of the arrow, so what is drawn moves the other way
            self.canvas.pan_by(-right * step_px, up * step_px)

    def _take_hand(self) -> None:
        self.canvas.set_tool(str(self.hand.currentData()))
        self.hand_changed.emit(str(self.hand.currentData()))

    def _switcher(self, kind: str) -> Callable[[], None]:
        def switch() -> None:
            self._switched_at[self.stage, kind] = self.switches[kind].isChecked()
            self._switched()

        return switch

    def _switched(self) -> None:
        self.canvas.set_shown(frozenset(kind for kind, one in self.switches.items() if one.isChecked()))
