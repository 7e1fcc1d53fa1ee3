"""The bar along the top: where the job stands, stage by stage, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from PySide6.QtCore import QSize, Signal
from PySide6.QtWidgets import QGridLayout, QPushButton, QWidget

from gravegis.window.parts import button
from gravegis.window.sheet import lacks_in_words
from gravegis.window.stages import STAGES
from gravegis.window.texts import say

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from gravegis.window.state import StageState

__all__ = ["StageBar", "state_words"]


def state_words(state: StageState) -> str:
    """Return the state of a stage in words."""
    name = "state.survey" if state.stage == "survey" and state.kind == "done" else f"state.{state.kind}"
    if state.stage == "records" and state.kind == "nothing":
        name = "state.pages"
    return say(name, count=state.count, waits_on=state.waits_on, lacks=lacks_in_words(state.lacks[:1]))


class StageBar(QWidget):
    """One button per stage; they go into two or three lines where one is too narrow for their words."""

    chosen = Signal(str)

    def __init__(self) -> None:
        super().__init__()
        self.buttons: dict[str, QPushButton] = {}
        self._grid = QGridLayout(self)
        self._grid.setContentsMargins(6, 6, 6, 2)
        self._grid.setSpacing(4)
        self._columns = 0
        for stage in STAGES:
            made = button("", self._chooser(stage), name=stage, switch=True)
            made.setStyleSheet("text-align: left;")
            self.buttons[stage] = made
        self._lay_out(len(STAGES))

    def show_states(self, states: Sequence[StageState], now: str) -> None:
        """Show where every stage stands, and which one is looked at."""
        for number, state in enumerate(states, 1):
            name, words = say(f"stage.{state.stage}"), state_words(state)
            made = self.buttons[state.stage]
            made.setText(say("stage.button", number=number, name=name, state=words))
            made.setAccessibleName(say("stage.accessible", number=number, name=name, state=words))
            made.setChecked(state.stage == now)
        self._fit()

    def resizeEvent(self, event: Any) -> None:  # noqa: ANN401, N802 - Qt's event
        """Break the bar where it is too narrow."""
        super().resizeEvent(event)
        self._fit()

    def minimumSizeHint(self) -> QSize:  # noqa: N802
        """Return a width at which two stages stand side by side."""
        hint = super().minimumSizeHint()
        hint.setWidth(2 * self._widest() + 20)
        return hint

    def _widest(self) -> int:
        return max(one.sizeHint().width() for one in self.buttons.values())

    def _fit(self) -> None:
        room = self.width() - 12
        columns = next((n for n in (6, 3) if n * (self._widest() + 4) <= room), 2)
        if columns != self._columns:
            self._lay_out(columns)

    def _lay_out(self, columns: int) -> None:
        self._columns = columns
        for at, made in enumerate(self.buttons.values()):
            self._grid.removeWidget(made)
            self._grid.addWidget(made, at // columns, at % columns)
        for at in range(len(STAGES)):
            self._grid.setColumnStretch(at, 1 if at < columns else 0)

    def _chooser(self, stage: str) -> Callable[[], None]:
        return lambda: self.chosen.emit(stage)
