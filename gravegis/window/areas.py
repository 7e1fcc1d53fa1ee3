"""From part to part of the window: stages, map, sheet, strip, line at the foot."""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QApplication, QWidget

if TYPE_CHECKING:
    from gravegis.window.frame import Window

__all__ = ["next_area"]

_REASON = Qt.FocusReason.ShortcutFocusReason


def next_area(window: Window) -> None:
    """Give the keys to the next part of the window."""
    here_is = QApplication.focusWidget() or QWidget()
    areas = [
        window.bar.buttons[window.stage], window.map.canvas, window.side, window.strip.pages, window.foot.units_,
    ]  # fmt: skip
    here = next((k for k, one in enumerate(areas) if one.hasFocus() or one.isAncestorOf(here_is)), -1)
    target = areas[(here + 1) % len(areas)]
    target.setFocus(_REASON)
    if not target.hasFocus() and target.focusPolicy() == Qt.FocusPolicy.NoFocus:
        inside = [one for one in target.findChildren(QWidget) if one.isVisible() and _takes_focus(one)]
        if inside:
            inside[0].setFocus(_REASON)


def _takes_focus(widget: QWidget) -> bool:
    return bool(widget.focusPolicy() & Qt.FocusPolicy.TabFocus) and widget.isEnabled()
