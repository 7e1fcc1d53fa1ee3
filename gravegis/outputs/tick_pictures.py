"""A small picture for each box of the quick survey, drawn by us: lines and dots in a square, black on any printer."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

from reportlab.lib import colors

from gravegis.outputs.paper import Drawn

if TYPE_CHECKING:
    from collections.abc import Mapping

    from reportlab.pdfgen.canvas import Canvas

__all__ = ["PICTURES", "picture"]

_SLAB = ((0.2, 0.05), (0.2, 0.75), (0.35, 0.92), (0.65, 0.92), (0.8, 0.75), (0.8, 0.05), (0.2, 0.05))

Line = tuple[tuple[float, float], ...]

PICTURES: Mapping[str, tuple[tuple[Line, ...], tuple[tuple[float, float, float], ...]]] = {
    "open crack": ((((0.62, 0.92), (0.5, 0.7), (0.58, 0.52), (0.42, 0.3), (0.5, 0.05)),), ()),
    "sounds hollow": (
        (((0.3, 0.42), (0.38, 0.5), (0.3, 0.58)), ((0.42, 0.36), (0.54, 0.5), (0.42, 0.64)),
         ((0.54, 0.3), (0.7, 0.5), (0.54, 0.7))),
        (),
    ),
    "grains on your thumb": (
        (),
        tuple((0.3 + 0.09 * (k % 5) + 0.03 * (k % 2), 0.14 + 0.09 * (k // 5), 0.022) for k in range(20)),
    ),
    "flakes at edge": (
        (((0.8, 0.7), (0.92, 0.66), (0.8, 0.56)), ((0.8, 0.48), (0.95, 0.42), (0.8, 0.34)),
         ((0.8, 0.24), (0.9, 0.2), (0.8, 0.12))),
        (),
    ),
    "orange stain": (
        (((0.2, 0.5), (0.32, 0.56), (0.45, 0.48), (0.6, 0.58), (0.8, 0.5)),),
        tuple((0.26 + 0.12 * (k % 5), 0.12 + 0.11 * (k // 5), 0.012) for k in range(15)),
    ),
    "white hard crust": (
        (((0.2, 0.4), (0.3, 0.46), (0.36, 0.4), (0.46, 0.48), (0.56, 0.4), (0.66, 0.46), (0.8, 0.4)),
         ((0.3, 0.4), (0.3, 0.26)), ((0.46, 0.42), (0.46, 0.2)), ((0.66, 0.4), (0.66, 0.24))),
        (),
    ),
    "green film": (
        tuple(((0.24, 0.16 + 0.1 * k), (0.34, 0.2 + 0.1 * k), (0.46, 0.14 + 0.1 * k), (0.6, 0.2 + 0.1 * k),
               (0.76, 0.16 + 0.1 * k)) for k in range(4)),
        (),
    ),
    "leafy or crusty growth": (
        (((0.36, 0.3), (0.28, 0.38), (0.34, 0.46), (0.44, 0.42), (0.46, 0.32), (0.36, 0.3)),
         ((0.56, 0.5), (0.5, 0.6), (0.58, 0.68), (0.7, 0.62), (0.68, 0.52), (0.56, 0.5))),
        ((0.6, 0.3, 0.05), (0.4, 0.62, 0.05), (0.68, 0.2, 0.03)),
    ),
}  # fmt: skip
"""Per box: lines and dots (place and radius) within a square of side 1, beside the outline of a stone."""


def picture(tick: str, side: float) -> Drawn:
    """Return the picture of a box; raises KeyError for one that has none. [pt]"""
    lines, dots = PICTURES[tick]

    def paint(canvas: Canvas) -> None:
        canvas.setStrokeColor(colors.black)
        canvas.setFillColor(colors.black)
        canvas.setLineWidth(0.5)
        _polyline(canvas, _SLAB, side)
        canvas.setLineWidth(1.0)
        for line in lines:
            _polyline(canvas, line, side)
        for x, y, radius in dots:
            canvas.circle(x * side, y * side, radius * side, stroke=0, fill=1)

    return Drawn(side, side, paint)


def _polyline(canvas: Canvas, points: Line, side: float) -> None:
    for (x, y), (to_x, to_y) in pairwise(points):
        canvas.line(x * side, y * side, to_x * side, to_y * side)
