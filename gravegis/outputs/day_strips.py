"""The day on one page: crews as rows over a clock, told apart by pattern as well as by colour."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING

from reportlab.lib import colors
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.platypus import Spacer

from gravegis.layers.care import seconds_of
from gravegis.outputs import currency, symbols, words
from gravegis.outputs import paper as sheet
from gravegis.outputs.crew_words import DO_NOT_START
from gravegis.outputs.day_lanes import lanes_of
from gravegis.outputs.days import crew_days, staying
from gravegis.outputs.paper import BOLD_FONT, FONT, SMALL, Head, Part, clean, para

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from reportlab.pdfgen.canvas import Canvas

    from gravegis.outputs.day_lanes import CrewLane, Stretch
    from gravegis.outputs.days import CrewDay
    from gravegis.site import Site

__all__ = ["day_strips"]

RESTS_ON = ("routes",)
MOST_CREWS = 24
"""Crews on a page, and the sizes below: own choice. [pt]"""
NAMES, KEY_HIGH, CLOCK_HIGH = 42 * mm, 9 * mm, 6 * mm
ROW_LEAST, ROW_MOST = 14.0, 24 * mm
HANDS, SOAK = 0.46, 0.16
"""Shares of a row: what people do, and each soak below it."""
STEPS = ("work", "apply", "scrub", "soak", "refill", "break", "walk", "wait")


@dataclass(frozen=True, slots=True)
class _Clock:
    """Where a time of the day stands on paper."""

    from_s: float
    to_s: float
    left: float
    width: float

    def x(self, seconds: float) -> float:
        return self.left + (seconds - self.from_s) / (self.to_s - self.from_s) * self.width


def day_strips(site: Site, *, made_on: str = "", paper: str = "A4") -> bytes | None:
    """Return a page for each day of the plan, for the leader and the desk; None where no step has a time."""
    parts: list[Part] = []
    for day, of_day in itertools.groupby(crew_days(site), key=lambda one: one.day):
        every = list(of_day)
        lanes = lanes_of(site, every)
        pages = [lanes[low : low + MOST_CREWS] for low in range(0, len(lanes), MOST_CREWS)]
        parts.extend(_page(site, day, every, some, made_on, paper) for some in pages)
    if not parts:
        return None
    return sheet.build(parts, title=f"Day of the crews, {site.info.title}", paper=paper, wide=True)


def _page(
    site: Site, day: str, every: Sequence[CrewDay], lanes: Sequence[CrewLane], made_on: str, paper: str
) -> Part:  # fmt: skip
    head = Head(
        title=f"Day of the crews, {words.day(day)}",
        line=f"{site.info.title}. Numbers are those of the stops on the crew's sheet and map.",
        right=f"plan {words.plan_hash(site)}",
        foot=words.made(made_on, "A plan, not a timetable: a soak ends by the label, work ends when it is done."),
        warning=currency.mark(site, RESTS_ON, first=DO_NOT_START),
    )
    width, height = sheet.room(paper, wide=True, warning=head.warning)
    said = [para(one, sheet.sized(9)) for one in _said(every)]
    brought_in = words.site_assumed(site)
    assumed = [one for one in words.assumed(site, RESTS_ON) if one not in brought_in]
    said.append(para("; ".join(assumed) or "nothing was recorded", SMALL, lead="Assumed:", most=1200))
    used = sum(one.wrap(width, height)[1] for one in said) + 10
    facts = {one.crew_id: one for one in every}
    room = height - used
    row = max(ROW_LEAST, min(ROW_MOST, (room - KEY_HIGH - CLOCK_HIGH) / len(lanes)))
    drawn = sheet.Drawn(width, KEY_HIGH + CLOCK_HIGH + row * len(lanes), partial(_draw, lanes, facts, width, row))
    return Part(head, [drawn, Spacer(0, 6), *said])


def _said(every: Sequence[CrewDay]) -> list[str]:
    posts = sorted(
        {f"{one.crew['led_by']} stands {one.post_place}" for one in every if one.post and one.crew.get("led_by")}
    )
    home = staying([one.crew_id for one in every if not one.stops])
    told = [f"{words.sentence(one)}; all stones of the crews led lie in sight from there." for one in posts]
    return [*told, *([home] if home else [])]


def _draw(
    lanes: Sequence[CrewLane], facts: dict[str, CrewDay], width: float, row: float, canvas: Canvas
) -> None:  # fmt: skip
    spans = [lane.span_s for lane in lanes]
    ends = [at for lane in lanes if (at := _stop_s(facts[lane.crew_id])) is not None]
    low, high = min(one for one, _ in spans), max([*(one for _, one in spans), *ends])
    clock = _Clock(math.floor(low / 1800) * 1800, math.ceil(high / 1800) * 1800, NAMES, width - NAMES)
    top = KEY_HIGH + row * len(lanes)
    _draw_clock(canvas, clock, (KEY_HIGH, top))
    for place, lane in enumerate(lanes):
        base = top - row * (place + 1)
        canvas.setStrokeColor(sheet.LINE)
        canvas.setLineWidth(0.4)
        canvas.setDash([])
        canvas.line(0, base, width, base)
        _draw_name(canvas, facts[lane.crew_id], base, row)
        _draw_lane(canvas, clock, lane, base, row)
        _draw_stop_line(canvas, clock, facts[lane.crew_id], base, row)
    _draw_key(canvas)


def _draw_clock(canvas: Canvas, clock: _Clock, edge: tuple[float, float]) -> None:
    """Draw a line each half hour, with the hour above it."""
    low, high = edge
    canvas.setFillColor(colors.black)
    for seconds in range(int(clock.from_s), int(clock.to_s) + 1, 1800):
        x = clock.x(seconds)
        whole = seconds % 3600 == 0
        canvas.setStrokeColor(sheet.LINE)
        canvas.setLineWidth(0.6 if whole else 0.25)
        canvas.line(x, low, x, high + 2)
        canvas.setFont(BOLD_FONT if whole else FONT, 8 if whole else 6.5)
        text = f"{seconds // 3600:02d}:{seconds % 3600 // 60:02d}"
        canvas.drawCentredString(min(x, clock.left + clock.width - 11), high + 5, text)


def _draw_name(canvas: Canvas, day: CrewDay, base: float, row: float) -> None:
    canvas.setFillColor(colors.black)
    name, size = sheet.fitted(words.sentence(words.crew_name(day.crew_id)), 11, NAMES - 6, bold=True)
    canvas.setFont(BOLD_FONT, size)
    canvas.drawString(0, base + row - 12, name)
    said = [words.counted(len(day.stops), "stone")]
    said += [f"{round(day.facts['length_m'] / 10) * 10} m"] if day.facts.get("length_m") is not None else []
    said += [f"{day.facts['water_l']:.0f} l"] if day.facts.get("water_l") else []
    canvas.setFont(FONT, 7.5)
    if row >= 24:
        canvas.drawString(0, base + row - 22, clean(", ".join(said), 40))


def _draw_lane(canvas: Canvas, clock: _Clock, lane: CrewLane, base: float, row: float) -> None:
    low = base + row * (1 - HANDS) - 2
    for one in lane.hands:
        _draw_stretch(canvas, clock, one, low, row * HANDS - 2)
    shown = max(len(lane.soaks), 1)
    high = min(row * SOAK, (row * (1 - HANDS) - 4) / shown)
    for place, soaks in enumerate(lane.soaks, 1):
        for one in soaks:
            _draw_stretch(canvas, clock, one, low - place * high, high - 1)


def _draw_stretch(canvas: Canvas, clock: _Clock, one: Stretch, low: float, high: float) -> None:
    left, right = clock.x(one.from_s), clock.x(one.to_s)
    bar(canvas, one.kind, (left, low, max(right - left, 0.4), high))
    if not one.label:
        return
    size = min(8.0, high - 1.5)
    wide = pdfmetrics.stringWidth(one.label, BOLD_FONT, size)
    if size < 5 or wide + 1.5 > right - left:
        return
    symbol = symbols.symbol(one.kind)
    middle = (left + right) / 2
    if symbol.hatch:  # letters never stand on a pattern
        canvas.setFillColor(colors.white)
        canvas.rect(middle - wide / 2 - 0.7, low + (high - size) / 2, wide + 1.4, size, stroke=0, fill=1)
    dark = symbols.text_on(symbol.fill) if symbol.fill and not symbol.hatch else symbols.INK
    canvas.setFillColor(colors.HexColor(dark))
    canvas.setFont(BOLD_FONT, size)
    canvas.drawCentredString(middle, low + high / 2 - size * 0.36, one.label)


def bar(canvas: Canvas, kind: str, box: tuple[float, float, float, float]) -> None:
    """Draw a bar of the drawing table: filled, patterned, framed; a line where the kind has no body. [pt]"""
    symbol, (left, low, wide, high) = symbols.symbol(kind), box
    sheet.pen(canvas, symbol)
    if not symbol.fill:
        canvas.line(left, low + high / 2, left + wide, low + high / 2)
        canvas.setDash([])
        return
    canvas.setFillColor(colors.HexColor(symbol.fill))
    canvas.rect(left, low, wide, high, stroke=0, fill=1)
    canvas.saveState()
    inside = canvas.beginPath()
    inside.rect(left, low, wide, high)
    canvas.clipPath(inside, stroke=0, fill=0)
    canvas.setDash([])
    canvas.setLineWidth(0.45)
    HATCHED[symbol.hatch](canvas, left, low, left + wide, low + high)
    canvas.restoreState()
    sheet.pen(canvas, symbol)
    canvas.rect(left, low, wide, high, stroke=1, fill=0)
    canvas.setDash([])


def _slant(canvas: Canvas, x0: float, y0: float, x1: float, y1: float, *, down: bool = False) -> None:
    high = y1 - y0
    # from a fixed raster, so that neighbours join up
    for k in range(int((x0 - high) // 3.2), int((x1 + high) // 3.2) + 1):
        x = k * 3.2
        canvas.line(x, y1 if down else y0, x + high, y0 if down else y1)


def _cross(canvas: Canvas, x0: float, y0: float, x1: float, y1: float) -> None:
    _slant(canvas, x0, y0, x1, y1)
    _slant(canvas, x0, y0, x1, y1, down=True)


def _dots(canvas: Canvas, x0: float, y0: float, x1: float, y1: float) -> None:
    canvas.setFillColor(colors.HexColor(symbols.symbol("step_soak").line))
    for i in range(int(x0 // 2.6), int(x1 // 2.6) + 1):
        for j in range(int(y0 // 2.6), int(y1 // 2.6) + 1):
            canvas.circle(i * 2.6 + (1.3 if j % 2 else 0), j * 2.6, 0.42, stroke=0, fill=1)


def _level(canvas: Canvas, x0: float, y0: float, x1: float, y1: float) -> None:
    for j in range(int(y0 // 2.2), int(y1 // 2.2) + 1):
        canvas.line(x0, j * 2.2, x1, j * 2.2)


def _plain(canvas: Canvas, x0: float, y0: float, x1: float, y1: float) -> None:
    del canvas, x0, y0, x1, y1


HATCHED: dict[str, Callable[[Canvas, float, float, float, float], None]] = {
    "": _plain, "slant": _slant, "cross": _cross, "dots": _dots, "level": _level,
}  # fmt: skip
"""How each pattern of the drawing table is drawn within a rectangle."""


def _stop_s(day: CrewDay) -> float | None:
    at = day.facts.get("stop_at")
    return seconds_of(at) if isinstance(at, str) and at else None


def _draw_stop_line(canvas: Canvas, clock: _Clock, day: CrewDay, base: float, row: float) -> None:
    """Draw a thick line where a led crew stops."""
    at_s = _stop_s(day)
    if at_s is None:
        return
    x, text = clock.x(at_s), f"stop {words.clock(day.facts['stop_at'])}"
    canvas.setStrokeColor(colors.black)
    canvas.setLineWidth(2.2)
    canvas.line(x, base + 1, x, base + row - 1)
    canvas.setFont(BOLD_FONT, 7)
    canvas.setFillColor(colors.black)
    # to the left of the line where the page ends
    wide = pdfmetrics.stringWidth(text, BOLD_FONT, 7)
    canvas.drawString(x + 2.5 if x + wide + 4 < clock.left + clock.width else x - wide - 2.5, base + 3, text)


def _draw_key(canvas: Canvas) -> None:
    left = 0.0
    for kind in (f"step_{one}" for one in STEPS):
        said = symbols.symbol(kind).words
        bar(canvas, kind, (left, 3, 16, 9))
        canvas.setFont(FONT, 8)
        canvas.setFillColor(colors.black)
        canvas.drawString(left + 19, 5, said)
        left += 27 + pdfmetrics.stringWidth(said, FONT, 8)
