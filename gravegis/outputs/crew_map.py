"""The small map on a crew sheet: stones, paths, walls, the way walked and the numbered stops, in vectors."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from reportlab.lib import colors
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.platypus import Flowable

from gravegis.outputs import symbols, words
from gravegis.outputs.days import MIDDLE, point_of
from gravegis.outputs.paper import BOLD_FONT, FONT, clean, draw_mark, pen

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from reportlab.pdfgen.canvas import Canvas

    from gravegis.outputs.days import XY, CrewDay
    from gravegis.site import Site

__all__ = ["STRIP", "CrewMap", "day_shape"]

STRIP = 12 * mm
"""Height of the strip below the map: scale, key, north. [pt]"""
# Look of the map: own choices.
_LEAST_M = 16.0
_AROUND = 0.06
_DISC = 4.6 * mm
_CAP = 5000
_ARROW_FROM_MM = 9.0
_RINGS = (0.0, 1.15, 1.8, 2.6, 3.6, 5.0, 7.0, 9.5)


@dataclass(frozen=True, slots=True)
class _Spot:
    """A round or oblong piece of paper that is taken: middle and half sizes. [pt]"""

    x: float
    y: float
    half_wide: float
    half_high: float

    def hits(self, other: _Spot) -> bool:
        return (
            abs(self.x - other.x) < self.half_wide + other.half_wide
            and abs(self.y - other.y) < self.half_high + other.half_high
        )


def day_shape(day: CrewDay) -> float | None:
    """Return height by width of the ground of a day; None where nothing of it has a place."""
    extent = _extent(day)
    return None if extent is None else (extent[3] - extent[1]) / (extent[2] - extent[0])


def _extent(day: CrewDay) -> tuple[float, float, float, float] | None:
    """Return west, south, east, north of all that a crew must find, with some ground around. [m]"""
    base = point_of(day.base.get("geometry"))
    shapes = [shapely.Point(one) for one in (base, *(stop.at for stop in day.listed)) if one]
    shapes += [leg for leg in day.legs if not leg.is_empty]
    if not shapes:
        return None
    west, south, east, north = shapely.total_bounds(shapes)
    around = max(_AROUND * max(east - west, north - south), 2.0)
    wide, high = max(east - west + 2 * around, _LEAST_M), max(north - south + 2 * around, _LEAST_M)
    x, y = (west + east) / 2, (south + north) / 2
    return x - wide / 2, y - high / 2, x + wide / 2, y + high / 2


class CrewMap(Flowable):  # type: ignore[misc]
    """The map of a crew's day as a flowable of fixed size; north on the grid is up."""

    def __init__(self, site: Site, day: CrewDay, width: float, height: float) -> None:
        super().__init__()
        self.width, self.height = width, height
        self._site, self._day = site, day
        self._extent = _extent(day) or (0.0, 0.0, _LEAST_M, _LEAST_M)

    def wrap(self, aW: float, aH: float) -> tuple[float, float]:  # noqa: N803 - names of the library
        """Return the fixed size."""
        del aW, aH
        return self.width, self.height

    @property
    def _scale(self) -> float:
        """Points on paper for a metre on the ground."""
        west, south, east, north = self._extent
        return float(min(self.width / (east - west), (self.height - STRIP) / (north - south)))

    def _paper(self, xy: Any) -> Any:  # noqa: ANN401 - an array of places, or one
        west, south, east, north = self._extent
        middle = np.array([(west + east) / 2, (south + north) / 2])
        return (np.asarray(xy) - middle) * self._scale + [self.width / 2, STRIP + (self.height - STRIP) / 2]

    def draw(self) -> None:
        """Draw the ground, the way, the stops, and the strip below."""
        canvas, high = self.canv, self.height - STRIP
        canvas.saveState()
        frame = canvas.beginPath()
        frame.rect(0, STRIP, self.width, high)
        canvas.clipPath(frame, stroke=0, fill=0)
        half = np.array([self.width, high]) / 2 / self._scale
        west, south, east, north = self._extent
        middle = np.array([(west + east) / 2, (south + north) / 2])
        view = shapely.box(*(middle - half), *(middle + half))
        self._draw_ground(view)
        self._draw_way()
        self._draw_labels(view)
        canvas.restoreState()
        canvas.setStrokeColor(colors.black)
        canvas.setLineWidth(0.8)
        canvas.rect(0, STRIP, self.width, high)
        self._draw_strip()

    def _draw_ground(self, view: shapely.Polygon) -> None:
        for row in words.records(self._site, "paths"):
            shape, width = row.get("geometry"), row["width_m"] or 0.6
            flat = shape.buffer(width / 2, cap_style="flat") if shape is not None and shape.length else shape
            self._shape(flat, symbols.symbol("path"), view)
        for row in words.records(self._site, "barriers"):
            self._shape(row.get("geometry"), symbols.symbol(symbols.barrier_kind(row["kind"])), view)
        # stones lie over gates, taps and the base: none is hidden by a mark
        for layer, kind in (("gates", "gate"), ("taps", "tap")):
            for row in words.records(self._site, layer):
                unfit = layer == "taps" and row["fit_to_drink"] is not True
                self._mark(row.get("geometry"), symbols.symbol("tap_unfit" if unfit else kind), view)
        self._mark(self._day.base.get("geometry"), symbols.symbol("base"), view)
        shown = [row for row in words.records(self._site, "stones") if _in(row.get("geometry"), view)]
        today = {stop.stone_id for stop in self._day.listed}
        for row in shown[:_CAP]:
            if row["stone_id"] not in today:
                self._shape(row["geometry"], symbols.symbol("stone"), view)

    def _shape(self, shape: Any, symbol: symbols.Symbol, view: shapely.Polygon) -> None:  # noqa: ANN401
        if not _in(shape, view):
            return
        if shape.geom_type.endswith("Point"):
            # a stone known as a point only has no outline to draw
            self._mark(shape, symbol, view)
            return
        pen(self.canv, symbol)
        self.canv.setFillColor(colors.HexColor(symbol.fill or symbols.PAPER))
        for part in shapely.get_parts(shape):
            is_area = part.geom_type == "Polygon"
            rings = [part.exterior, *part.interiors] if is_area else [part]
            path = self.canv.beginPath()
            for ring in rings:
                self._trace(path, shapely.get_coordinates(ring))
            self.canv.drawPath(path, stroke=int(bool(symbol.line)), fill=int(is_area and bool(symbol.fill)), fillMode=0)

    def _trace(self, path: Any, xy: Any) -> None:  # noqa: ANN401 - a path of the library, an array
        for k, (x, y) in enumerate(self._paper(xy).tolist()):
            (path.lineTo if k else path.moveTo)(x, y)

    def _mark(self, shape: Any, symbol: symbols.Symbol, view: shapely.Polygon) -> None:  # noqa: ANN401
        at = point_of(shape)
        if at is not None and view.contains(shapely.Point(at)):
            x, y = self._paper(at).tolist()
            draw_mark(self.canv, symbol, (x, y), symbol.size_mm * mm)

    def _draw_way(self) -> None:
        symbol = symbols.symbol("crew_1")
        for leg in self._day.legs:
            if not leg.length:
                continue
            pen(self.canv, symbol)
            path = self.canv.beginPath()
            for part in shapely.get_parts(leg):
                self._trace(path, shapely.get_coordinates(part))
            self.canv.drawPath(path, stroke=1, fill=0)
            if leg.length * self._scale > _ARROW_FROM_MM * mm:
                self._arrow(leg, symbol)
        self.canv.setDash([])

    def _arrow(self, leg: Any, symbol: symbols.Symbol) -> None:  # noqa: ANN401 - a shapely line
        """Put an arrowhead at the middle of a leg, so that the way can be followed the right way round."""
        back, tip = leg.interpolate(0.5, normalized=True), leg.interpolate(leg.length / 2 + 0.1)
        (x, y), (x1, y1) = self._paper((back.x, back.y)).tolist(), self._paper((tip.x, tip.y)).tolist()
        turn = math.atan2(y1 - y, x1 - x)
        path = self.canv.beginPath()
        for k, (along, aside) in enumerate(((5.5, 0.0), (-2.5, 3.0), (-2.5, -3.0))):
            dx = along * math.cos(turn) - aside * math.sin(turn)
            dy = along * math.sin(turn) + aside * math.cos(turn)
            (path.lineTo if k else path.moveTo)(x + dx, y + dy)
        path.close()
        self.canv.setFillColor(colors.HexColor(symbol.line))
        self.canv.drawPath(path, stroke=0, fill=1)

    def _draw_labels(self, view: shapely.Polygon) -> None:
        """Put the stops' numbers beside their stones, then the names of rows where there is room left."""
        at = {stop.label: self._paper(stop.at).tolist() for stop in self._day.listed if stop.at}
        at |= {"L": self._paper(self._post()).tolist()} if self._post() else {}
        dots = [_Spot(x, y, 2.2, 2.2) for x, y in at.values()]
        taken: list[_Spot] = []
        for text, (x, y) in at.items():
            spot = self._free(x, y, [*taken, *dots], _DISC / 2)
            taken.append(spot)
            pen(self.canv, symbols.symbol("leader"))
            self.canv.line(x, y, spot.x, spot.y)
            draw_mark(self.canv, symbols.symbol("stop_place"), (x, y), 3.6)
            draw_mark(self.canv, symbols.symbol("stop"), (spot.x, spot.y), _DISC)
            size = 7 if len(text) < 3 else 5.5
            self.canv.setFillColor(colors.black)
            self.canv.setFont(BOLD_FONT, size)
            self.canv.drawCentredString(spot.x, spot.y - size * 0.36, text)
        self._draw_row_names(view, [*taken, *dots])

    def _post(self) -> XY | None:
        """Return where the leader stands."""
        beside = self._day.facts.get("post_by")
        stone = next((row for row in words.records(self._site, "stones") if row["stone_id"] == beside), None)
        return point_of(stone.get("geometry")) if beside and stone else None

    def _free(self, x: float, y: float, taken: Sequence[_Spot], half: float) -> _Spot:
        """Return the nearest place for a disc that hides no other disc and no stop; the stone itself when all fail."""
        low, high = half + 1, self.height - half - 1
        for ring in _RINGS[1:]:
            for k in range(16):
                turn = math.radians(22.5 * k + 45)
                spot = _Spot(x + ring * _DISC * math.cos(turn), y + ring * _DISC * math.sin(turn), half, half)
                inside = low < spot.x < self.width - low and STRIP + low < spot.y < high
                if inside and not any(spot.hits(other) for other in taken):
                    return spot
        return _Spot(x, y, half, half)

    def _draw_row_names(self, view: shapely.Polygon, taken: list[_Spot]) -> None:
        self.canv.setFont(FONT, 6.5)
        for name, x, y in self._row_ends(view):
            half = pdfmetrics.stringWidth(name, FONT, 6.5) / 2 + 1
            spot = _Spot(x, y, half, 4)
            inside = half < x < self.width - half and STRIP + 4 < y < self.height - 4
            if not inside or any(spot.hits(other) for other in taken):
                continue
            taken.append(spot)
            self.canv.setFillColor(colors.white)
            self.canv.rect(x - half, y - 3.6, 2 * half, 7.6, stroke=0, fill=1)
            self.canv.setFillColor(colors.black)
            self.canv.drawCentredString(x, y - 2.3, name)

    def _row_ends(self, view: shapely.Polygon) -> Iterable[tuple[str, float, float]]:
        """Give the name of each row and where to write it: just before its first stone in view."""
        rows: dict[tuple[Any, Any], list[tuple[int, XY]]] = {}
        for stone in words.records(self._site, "stones"):
            at = point_of(stone.get("geometry"))
            if at and stone["row"] is not None and stone["place_in_row"] is not None and _in(stone["geometry"], view):
                rows.setdefault((stone["section"], stone["row"]), []).append((int(stone["place_in_row"]), at))
        for (_, row), places in sorted(rows.items(), key=str):
            ends = [np.asarray(self._paper(at)) for _, at in sorted(places)[:2]]
            away = ends[0] - ends[1] if len(ends) > 1 else np.array([0.0, -1.0])
            x, y = (ends[0] + away / (np.hypot(*away) or 1.0) * 10).tolist()
            yield clean(row, 16), x, y

    def _draw_strip(self) -> None:
        """Draw scale bar and north arrow below the map, and the key below them."""
        canvas, metre = self.canv, self._scale
        whole = next(n for n in (100, 50, 20, 10, 5, 2, 1) if n * metre < self.width * 0.4 or n == 1)
        canvas.setStrokeColor(colors.black)
        canvas.setFillColor(colors.black)
        canvas.setLineWidth(1.2)
        canvas.line(1, 23, 1 + whole * metre, 23)
        for x in (1, 1 + whole * metre):
            canvas.line(x, 20.5, x, 25.5)
        canvas.setFont(FONT, 6.5)
        canvas.drawString(5 + whole * metre, 21, f"{whole} m")
        _north(canvas, self.width - 7, 15)
        canvas.setFont(FONT, 6.5)
        left = 1.0
        for kind, name in self._key():
            wide = 12 + pdfmetrics.stringWidth(name, FONT, 6.5)
            if left + wide > self.width - 16:
                break
            draw_mark(canvas, symbols.symbol(kind), (left + 4, 8), 7)
            canvas.setFillColor(colors.black)
            canvas.drawString(left + 10, 6, name)
            left += wide + 7

    def _key(self) -> list[tuple[str, str]]:
        taps = words.records(self._site, "taps")
        return [
            ("stop", "stop (L: leader, +: spare)" if self._day.post else "stop"),
            *(
                [("base", "base (assumed)" if self._day.base.get("label") == MIDDLE else "base")]
                if self._day.base
                else []
            ),
            *([("gate", "gate")] if self._site.has("gates") else []),
            *([("tap", "drinking water")] if any(tap["fit_to_drink"] is True for tap in taps) else []),
            *([("tap_unfit", "not for rinsing")] if any(tap["fit_to_drink"] is not True for tap in taps) else []),
        ]


def _in(shape: Any, view: shapely.Polygon) -> bool:  # noqa: ANN401 - any geometry or none
    return shape is not None and not shape.is_empty and bool(view.intersects(shape))


def _north(canvas: Canvas, x: float, y: float) -> None:
    canvas.setFillColor(colors.black)
    canvas.setFont(BOLD_FONT, 7)
    canvas.drawCentredString(x, y, "N")
    path = canvas.beginPath()
    for k, (dx, dy) in enumerate(((0, 16), (-3.2, 7.5), (0, 9.2), (3.2, 7.5))):
        (path.lineTo if k else path.moveTo)(x + dx, y + dy)
    path.close()
    canvas.drawPath(path, stroke=0, fill=1)
