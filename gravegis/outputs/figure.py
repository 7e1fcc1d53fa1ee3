"""The frame of a printed map: title, answer, key, scale, north, what is assumed, foot; and writing it to files."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import matplotlib as mpl
import numpy as np
import shapely
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patches import Polygon, Rectangle

from gravegis.outputs import blocks, labels, layout, paint, symbols, typeset, words
from gravegis.outputs.things import Thing

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from pathlib import Path

    import numpy.typing as npt
    from matplotlib.axes import Axes

    from gravegis.outputs.blocks import Entry, Key, Page, Rect
    from gravegis.outputs.layout import Layout
    from gravegis.outputs.symbols import Symbol

__all__ = ["Sheet", "entries_of", "make_sheet", "save_figure", "show"]

DPI = 150
FRAME_PT = 0.8
WARNING_LINE_PT = 2.5
FOOT_M = 0.3048
# Fonts stay text in the PDF; nothing of the reader's own matplotlib settings changes a page.
_RC: Any = {
    "pdf.fonttype": 42,
    "pdf.compression": 6,
    "lines.scale_dashes": True,
    "text.usetex": False,
    "text.hinting": "force_autohint",
    "savefig.bbox": None,
    "savefig.facecolor": "auto",
    "figure.autolayout": False,
    "figure.constrained_layout.use": False,
    "axes.facecolor": symbols.PAPER,
}


@dataclass(frozen=True, slots=True, eq=False)
class Sheet:
    """A page being drawn: `ground` are axes in metres, `paper` axes in millimetres over the whole page."""

    figure: Figure
    ground: Axes
    paper: Axes
    layout: Layout
    west_m: float
    south_m: float

    def to_mm(self, xy_m: npt.NDArray[Any]) -> npt.NDArray[np.float64]:
        """Return places in millimetres from the lower left corner of the map, shape (places, 2)."""
        made: npt.NDArray[np.float64] = (np.asarray(xy_m) - (self.west_m, self.south_m)) * self.layout.mm_per_m
        return made

    def board(self) -> labels.Board:
        """Return an empty board for labels, of the size of the map."""
        return labels.Board(self.layout.map.width, self.layout.map.height)


def entries_of(things: Iterable[Thing]) -> tuple[Entry, ...]:
    """Return the key of a display list: only what is drawn and has words."""
    return tuple(
        blocks.Entry(one.symbol, one.shape, one.words, one.sample, _side_m(one)) for one in things if one.words
    )


def _side_m(thing: Thing) -> float:
    """Return the median of the longer sides of footprints; 0 for other things."""
    if thing.shape != "stones":
        return 0.0
    box = shapely.bounds(thing.shapes)
    return float(np.median(np.max(box[:, 2:] - box[:, :2], axis=1)))


def make_sheet(
    page: Page, entries: tuple[Entry, ...], bounds: tuple[float, float, float, float], *, paper: str, north_deg: float
) -> Sheet:
    """Return a page with everything on it but the map.

    Parameters
    ----------
    page, entries
        Words around the map; lines of the key.
    bounds
        Ground to show: west, south, east, north. [m]
    paper
        ``A4`` or ``Letter``.
    north_deg
        Grid bearing of true north in the middle of the map; NaN where it is not known. [deg]
    """
    west, south, east, north = bounds
    made = layout.arrange(page, entries, (east - west, north - south), paper)
    sheet = bare_sheet(made, bounds)
    for line in made.lines:
        _put(sheet.paper, line)
    for box in made.boxes:
        sheet.paper.add_patch(_box(box))
    warning = blocks.band(page, made.paper)[1]
    if warning is not None:
        sheet.paper.add_patch(_box(warning, WARNING_LINE_PT))
    for key in made.keys:
        _draw_key(sheet.paper, key, made.mm_per_m)
    draw_bar(sheet.paper, made.furniture.bar, made.mm_per_m)
    _draw_north(sheet.paper, made.furniture.north, north_deg)
    return sheet


def bare_sheet(made: Layout, bounds: tuple[float, float, float, float]) -> Sheet:
    """Return a page with the frame of the map only; the ground is centred in it."""
    west, south, east, north = bounds
    wide, high = made.paper.width, made.paper.height
    with mpl.rc_context(_RC):
        figure = Figure(figsize=(wide / 25.4, high / 25.4), dpi=DPI, facecolor=symbols.PAPER)
        FigureCanvasAgg(figure)
        at = made.map
        ground = figure.add_axes((at.left / wide, at.bottom / high, at.width / wide, at.height / high))
        paper = figure.add_axes((0.0, 0.0, 1.0, 1.0), facecolor="none")
    width_m, height_m = at.width / made.mm_per_m, at.height / made.mm_per_m
    left, low = (west + east - width_m) / 2, (south + north - height_m) / 2
    ground.set(xlim=(left, left + width_m), ylim=(low, low + height_m), xticks=[], yticks=[])
    for spine in ground.spines.values():
        spine.set(linewidth=FRAME_PT, color=symbols.INK, zorder=90)
    paper.set(xlim=(0.0, wide), ylim=(0.0, high), xticks=[], yticks=[])
    paper.set_axis_off()
    return Sheet(figure, ground, paper, made, left, low)


def _put(axes: Axes, line: blocks.Line) -> None:
    paint.put_text(
        axes,
        line.text,
        (line.x_mm, line.y_mm),
        line.size_pt,
        bold=line.bold,
        verticalalignment="top",
        horizontalalignment=line.align,
    )


def _box(at: Rect, line_pt: float = 0.6) -> Rectangle:
    return Rectangle((at.left, at.bottom), at.width, at.height, fill=False, edgecolor=symbols.INK, linewidth=line_pt)


def _draw_key(axes: Axes, key: Key, mm_per_m: float) -> None:
    """Draw a line of the key with the painter of the map, at a scale of 1 mm for 1 m."""
    at, one = key.sample, key.entry
    x, y = at.left + at.width / 2, at.bottom + at.height / 2
    shapes = {
        "areas": shapely.box(at.left + 0.6, y - 1.5, at.right - 0.6, y + 1.5),
        "stones": shapely.box(x - 2.2, y - 0.8, x + 2.2, y + 0.8),
        "lines": shapely.LineString([(at.left, y), (at.right, y)]),
        "marks": shapely.Point(x, y),
    }
    small = one.shape == "stones" and one.side_m * mm_per_m < one.symbol.size_mm
    shape = "marks" if small else one.shape
    paint.draw(axes, Thing(one.symbol, shape, np.array([shapes[shape]], dtype=object)), 1.0)
    if one.sample:
        paint.put_text(
            axes, one.sample, (x, y), 5.5, bold=True, verticalalignment="center_baseline",
            horizontalalignment="center", color=symbols.text_on(one.symbol.fill),
        )  # fmt: skip


def draw_bar(axes: Axes, at: Rect, mm_per_m: float) -> None:
    """Draw a scale bar with metres above and feet below."""
    x, y = at.left + 2.5, at.bottom + at.height / 2
    longest = min(at.width - 16.0, 60.0)
    for unit_m, word, up in ((1.0, "m", 1.0), (FOOT_M, "ft", -1.0)):
        step, count = _steps(longest, mm_per_m * unit_m)
        length = step * count * mm_per_m * unit_m
        axes.add_patch(
            Rectangle((x, y), length, 0.9 * up, facecolor=symbols.PAPER, edgecolor=symbols.INK, linewidth=0.5)
        )
        for n in range(count + 1):
            place = x + n * step * mm_per_m * unit_m
            if n % 2 == 0 and n < count:
                piece = step * mm_per_m * unit_m
                axes.add_patch(Rectangle((place, y), piece, 0.9 * up, facecolor=symbols.INK, edgecolor="none"))
            paint.put_text(
                axes, f"{n * step:g}" + (f" {word}" if n == count else ""), (place, y + 1.3 * up), 6.5,
                horizontalalignment="center", verticalalignment="bottom" if up > 0 else "top",
            )  # fmt: skip


def _steps(longest_mm: float, mm_per_unit: float) -> tuple[float, int]:
    """Return a round step (1, 2 or 5 times a power of ten) of at least 11 mm and how many fit, one to four."""
    least = 11.0 / mm_per_unit
    power = 10.0 ** math.floor(math.log10(least))
    step = next(power * n for n in (1, 2, 5, 10) if power * n >= least * (1 - 1e-9))
    return step, max(1, min(4, int(longest_mm / (step * mm_per_unit))))


def _draw_north(axes: Axes, at: Rect, north_deg: float) -> None:
    """Draw an arrow to true north and say how far the grid is turned; to grid north where true is not known."""
    known = math.isfinite(north_deg)
    turn = math.radians(north_deg if known else 0.0)
    x, y, half = at.left + 5.0, at.bottom + at.height / 2, 4.2
    ahead, aside = np.array([math.sin(turn), math.cos(turn)]), np.array([math.cos(turn), -math.sin(turn)])
    middle = np.array([x, y])
    tip, tail = middle + half * ahead, middle - half * ahead
    for side, fill in ((1.9, symbols.INK), (-1.9, symbols.PAPER)):
        ring = np.array([tip, middle - 0.55 * half * ahead, tail + side * aside])
        axes.add_patch(Polygon(ring, closed=True, facecolor=fill, edgecolor=symbols.INK, linewidth=0.5))
    said = ("true north", f"grid turned {abs(north_deg):.1f}°") if known else ("grid north", "")
    for row, text in enumerate(said):
        if text:
            paint.put_text(axes, text, (x + 3.6, y + 2.9 - 3.0 * row), 6.5, verticalalignment="top")


def remark(sheet: Sheet, texts: Sequence[str]) -> None:
    """Put the scale in figures and remarks about the drawing between scale bar and north arrow."""
    at = sheet.layout.furniture.remark
    shown = words.unprinted(one.get_text() for axes in (sheet.ground, sheet.paper) for one in axes.texts)
    more = ". ".join(filter(None, [shown, *texts]))
    said = [f"1 : {sheet.layout.denominator} when printed at 100 %", *([f"{more}."] if more else [])]
    lines = [line for text in said for line in typeset.wrap(text, 6.5, at.width - 2.0)]
    most = int(at.height / typeset.line_mm(6.5))
    for row, line in enumerate(typeset.cut(lines, most, 6.5, at.width - 2.0)):
        paint.put_text(
            sheet.paper, line, (at.left + 1.0, at.top - row * typeset.line_mm(6.5)), 6.5, verticalalignment="top"
        )


def show(sheet: Sheet, placed: Iterable[labels.Placed]) -> None:
    """Draw labels that have their place, with a frame and a line to their place where asked for."""
    corner = sheet.layout.map
    leader: Symbol = symbols.symbol("leader")
    for one in placed:
        label = one.label
        x, y = corner.left + one.x, corner.bottom + one.y
        width, height = labels.box_mm(label)
        if one.stands_off:
            sheet.paper.plot(
                [corner.left + one.anchor.x, x], [corner.bottom + one.anchor.y, y],
                color=leader.line, linewidth=leader.width_mm / typeset.MM_PER_PT, zorder=leader.z,
            )  # fmt: skip
        frame = Rectangle((x - width / 2, y - height / 2), width, height, facecolor=symbols.PAPER, zorder=70)
        frame.set(alpha=1.0 if label.line else 0.8, edgecolor=label.line or "none", linewidth=0.9 * bool(label.line))
        sheet.paper.add_patch(frame)
        paint.put_text(
            sheet.paper, label.text, (x, y), label.size_pt, bold=label.bold, color=label.colour,
            horizontalalignment="center", verticalalignment="center",
        )  # fmt: skip


def save_figure(figure: Figure, stem: Path) -> tuple[Path, Path]:
    """Write ``stem.pdf`` and ``stem.png`` (150 dpi) and return their paths; same figure, same bytes."""
    stem.parent.mkdir(parents=True, exist_ok=True)
    made = tuple(stem.with_name(stem.name + suffix) for suffix in (".pdf", ".png"))
    with mpl.rc_context(_RC):
        figure.savefig(made[0], metadata={"CreationDate": None, "Creator": "gravegis", "Producer": "gravegis"})
        figure.savefig(made[1], dpi=DPI, metadata={"Software": "gravegis"})
    return made[0], made[1]
