"""The map canvas: what is drawn on the screen, and how it is picked, selected, measured and moved by hand.

The modules `rings`, `stones`, `heads` and `ground` know no Qt; the widget is loaded when it is asked for.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from gravegis.window.canvas.tools import Tool
    from gravegis.window.canvas.widget import MapCanvas

__all__ = ["MapCanvas", "Tool"]


def __getattr__(name: str) -> object:
    if name == "MapCanvas":
        from gravegis.window.canvas.widget import MapCanvas

        return MapCanvas
    if name == "Tool":
        from gravegis.window.canvas.tools import Tool

        return Tool
    raise AttributeError(name)
