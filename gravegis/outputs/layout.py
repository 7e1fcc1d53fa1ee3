"""Where map, panel and furniture stand on a page, in millimetres from its lower left corner; nothing is drawn.

The map gets the paper's direction and the place of the panel (below or beside it) that give it the largest scale.
The key is never cut; what is assumed gets smaller letters first and then a line that counts what is left out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import product
from typing import TYPE_CHECKING

from gravegis.errors import SettingError
from gravegis.outputs.blocks import GAP_MM, SIZES_PT, Rect, assumed_block, framed, key_block

if TYPE_CHECKING:
    from gravegis.outputs.blocks import Entry, Key, Line, Page

__all__ = ["PAPERS", "Furniture", "Layout", "arrange", "picture"]

PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
"""Sheet sizes upright: A4 of ISO 216, Letter of ANSI/ASME Y14.1."""

# Look of the page: own choices.
STRIP_MM = 9.5
PANEL_SHARE = 0.34
PANEL_STEP_MM = 2.0
BESIDE_MM = (58.0, 66.0, 74.0, 82.0, 92.0, 104.0, 116.0)
MAP_LEAST_MM = 45.0
NEARLY = 1.06
CUT_COSTS = 1.0
BAR_MM = 72.0
NORTH_MM = 30.0
REMARK_MM = 14.8


@dataclass(frozen=True, slots=True)
class Furniture:
    """Room for the scale bar, for remarks about the drawing, and for the north arrow."""

    bar: Rect
    remark: Rect
    north: Rect


@dataclass(frozen=True, slots=True)
class Layout:
    """A page with everything in its place, and the scale of the map."""

    paper: Rect
    map: Rect
    furniture: Furniture
    lines: tuple[Line, ...]
    keys: tuple[Key, ...]
    boxes: tuple[Rect, ...]
    denominator: int
    left_out_n: int = 0

    @property
    def mm_per_m(self) -> float:
        """Millimetres on paper for a metre on the ground."""
        return 1000.0 / self.denominator


def arrange(page: Page, entries: tuple[Entry, ...], size_m: tuple[float, float], paper: str = "A4") -> Layout:
    """Return the page whose map has the largest scale; of scales nearly as large, the one whose frame is fullest.

    Parameters
    ----------
    page
        Words around the map.
    entries
        Lines of the key.
    size_m
        Width and height of the ground to show. [m]
    paper
        A name of `PAPERS`.

    Raises
    ------
    SettingError
        For a paper that is not known.
    """
    if paper not in PAPERS:
        raise SettingError(f"there is no paper '{paper}'", remedy=f"Papers: {', '.join(PAPERS)}.")
    short, long = PAPERS[paper]
    tried = [
        panel(page, entries, Rect(0, 0, wide, high), size_m)
        for (wide, high), panel in product(((short, long), (long, short)), (_below, _beside))
    ]
    made = [one for one in tried if one is not None]
    if not made:
        raise SettingError(f"the key of this map has {len(entries)} lines, more than one page holds")
    worth = [_worth(page, one) for one in made]
    near = [one for one, cost in zip(made, worth, strict=True) if cost <= min(worth) * NEARLY]
    return max(near, key=lambda one: size_m[0] * size_m[1] / (one.map.width * one.map.height * one.denominator**2))


def _worth(page: Page, one: Layout) -> float:
    """Return the cost of a page, lower is better: the scale, dearer for each assumption left out."""
    return one.denominator * (1 + CUT_COSTS * one.left_out_n / max(len(page.assumed), 1))


def picture(width_mm: float, height_mm: float, bounds: tuple[float, float, float, float]) -> Layout:
    """Return a small picture for use on another page: a map over its scale bar, no words."""
    low = STRIP_MM + 0.5
    at = Rect(0.5, low, width_mm - 1.0, height_mm - low - 0.5)
    bar = Rect(0.5, 0.0, min(width_mm - 1.0, BAR_MM), STRIP_MM)
    nothing = Rect(0.0, 0.0, 0.0, 0.0)
    denominator = _denominator(at, (bounds[2] - bounds[0], bounds[3] - bounds[1]))
    return Layout(Rect(0.0, 0.0, width_mm, height_mm), at, Furniture(bar, nothing, nothing), (), (), (), denominator)


def _below(page: Page, entries: tuple[Entry, ...], paper: Rect, size_m: tuple[float, float]) -> Layout | None:
    """Return the page with the panel under the map: key on the left, what is assumed on the right."""
    lines, room = framed(page, paper)
    most, utmost = room.height * PANEL_SHARE, room.height - STRIP_MM - 2 * GAP_MM - MAP_LEAST_MM
    for height, size, cutting in _tries(most, utmost):
        limits = Rect(room.left, room.bottom, room.width, height)
        key = key_block(entries, limits, size)
        if key is None:
            continue
        start = room.left + (key.width + GAP_MM if entries else 0.0)
        beside = Rect(start, room.bottom, room.right - start, height)
        assumed = assumed_block(page, beside, cutting=cutting)
        if assumed is None:
            continue
        box = (Rect(start, beside.top - assumed.height, beside.width, assumed.height),) if assumed.lines else ()
        strip = Rect(room.left, room.bottom + height + (GAP_MM if height else 0.0), room.width, STRIP_MM)
        at = Rect(room.left, strip.top + 1.0, room.width, room.top - strip.top - 1.0)
        furniture = Furniture(
            Rect(strip.left, strip.bottom, BAR_MM, STRIP_MM),
            Rect(strip.left + BAR_MM, strip.bottom, strip.width - BAR_MM - NORTH_MM, STRIP_MM),
            Rect(strip.right - NORTH_MM, strip.bottom, NORTH_MM, STRIP_MM),
        )
        words = (*lines, *key.lines, *assumed.lines)
        return Layout(paper, at, furniture, words, key.keys, box, _denominator(at, size_m), assumed.left_out_n)
    return None


def _tries(most: float, utmost: float) -> list[tuple[float, float, bool]]:
    """Return heights and letter sizes of the panel to try in turn, and whether what is assumed may be cut."""
    steps = [PANEL_STEP_MM * n for n in range(int(most / PANEL_STEP_MM) + 1)]
    beyond = [PANEL_STEP_MM * n for n in range(len(steps), int(utmost / PANEL_STEP_MM) + 1)]
    return [
        *((height, size, False) for size in SIZES_PT for height in steps),
        *((most, size, True) for size in SIZES_PT),
        *((height, SIZES_PT[-1], True) for height in beyond),
    ]


def _beside(page: Page, entries: tuple[Entry, ...], paper: Rect, size_m: tuple[float, float]) -> Layout | None:
    """Return the page with the panel to the right of the map: the narrowest that holds all, else the best one cut."""
    lines, room = framed(page, paper)
    widths = [width for width in BESIDE_MM if width <= room.width / 2]
    for width, size in product(widths, SIZES_PT):
        whole = _panel_beside(page, entries, (paper, room, width, size), size_m, cutting=False)
        if whole is not None:
            return replace(whole, lines=(*lines, *whole.lines))
    cut = [_panel_beside(page, entries, (paper, room, width, SIZES_PT[-1]), size_m, cutting=True) for width in widths]
    made = [one for one in cut if one is not None]
    if not made:
        return None
    best = min(made, key=lambda one: _worth(page, one))
    return replace(best, lines=(*lines, *best.lines))


def _panel_beside(
    page: Page,
    entries: tuple[Entry, ...],
    place: tuple[Rect, Rect, float, float],
    size_m: tuple[float, float],
    *,
    cutting: bool,
) -> Layout | None:
    """Return the page but for title and foot; `place` is paper, room, width of the panel and letter size."""
    paper, room, width, size = place
    left = room.right - width
    low = room.bottom + 2 * STRIP_MM + REMARK_MM + 3 * GAP_MM
    key = key_block(entries, Rect(left, low, width, room.top - low), size)
    if key is None:
        return None
    under = Rect(left, low, width, room.top - low - key.height - (GAP_MM if entries else 0.0))
    assumed = assumed_block(page, under, cutting=cutting)
    if assumed is None:
        return None
    box = (Rect(left, under.top - assumed.height, width, assumed.height),) if assumed.lines else ()
    at = Rect(room.left, room.bottom, room.width - width - GAP_MM, room.height)
    row = room.bottom + STRIP_MM + GAP_MM
    furniture = Furniture(
        Rect(left, room.bottom, width, STRIP_MM),
        Rect(left, row, width, REMARK_MM),
        Rect(left, row + REMARK_MM + GAP_MM, NORTH_MM, STRIP_MM),
    )
    words = (*key.lines, *assumed.lines)
    return Layout(paper, at, furniture, words, key.keys, box, _denominator(at, size_m), assumed.left_out_n)


def _denominator(at: Rect, size_m: tuple[float, float]) -> int:
    """Return the scale as 1 : n, n rounded up to two figures, at which the ground fits the frame."""
    exact = 1000.0 * max(size_m[0] / at.width, size_m[1] / at.height, 1e-3)
    step = 10.0 ** (math.floor(math.log10(exact)) - 1)
    return max(1, math.ceil(exact / step - 1e-9) * round(step)) if step >= 1 else math.ceil(exact)
