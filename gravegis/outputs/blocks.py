"""The words of a page broken into lines and put in their place: head, foot, key, what is assumed.

Everything is in millimetres from the lower left corner of the page; nothing is drawn.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import product
from typing import TYPE_CHECKING

from gravegis.outputs import typeset

if TYPE_CHECKING:
    from gravegis.outputs.symbols import Symbol

__all__ = [
    "GAP_MM",
    "MARGIN_MM",
    "SIZES_PT",
    "Block",
    "Entry",
    "Key",
    "Line",
    "Page",
    "Rect",
    "assumed_block",
    "band",
    "framed",
    "key_block",
]

# Look of the page: own choices.
MARGIN_MM = 10.0
GAP_MM = 2.5
ANSWER_LINES = 7
KEY_MM = 8.0
KEY_ROW_MM = 4.4
KEY_WORDS_MM = 46.0
SIZES_PT = (7.5, 7.0, 6.5)
ASSUMED_LEAST_MM = 52.0
SHOWN_LEAST = 3
FOOT_PT = 6.5
HEADING_PT = 8.0
PLACE_PT = 9.0
PAD_MM = 1.6
WARNING_PT = 10.0
BAND_PAD_MM = 2.2


@dataclass(frozen=True, slots=True)
class Rect:
    """A rectangle on the page. [mm]"""

    left: float
    bottom: float
    width: float
    height: float

    @property
    def right(self) -> float:
        """Right edge."""
        return self.left + self.width

    @property
    def top(self) -> float:
        """Upper edge."""
        return self.bottom + self.height


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of the key: what is drawn (``areas``, ``lines``, ``marks``, ``stones``) and the words for it.

    `side_m` is the usual longer side of footprints, so that the sample is a mark where the map shows marks. [m]
    """

    symbol: Symbol
    shape: str
    words: str
    sample: str = ""
    side_m: float = 0.0


@dataclass(frozen=True, slots=True)
class Key:
    """A line of the key in its place: the rectangle of the sample."""

    entry: Entry
    sample: Rect


@dataclass(frozen=True, slots=True)
class Line:
    """One line of text; (x, y) is its upper corner on the side of `align` (left or right)."""

    text: str
    x_mm: float
    y_mm: float
    size_pt: float
    bold: bool = False
    align: str = "left"


@dataclass(frozen=True, slots=True)
class Page:
    """The words around a map.

    `place` stands above the title, at most `lines_n` lines of answer below it;
    `made_on` and `data_on` are handed in: nothing here reads a clock. `warning` stands in a band above all.
    """

    title: str
    place: str = ""
    answer: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    assumed: tuple[str, ...] = ()
    sources: tuple[str, ...] = ()
    made_on: str = ""
    data_on: str = ""
    crs: str = ""
    plan_hash: str = ""
    page_n: int = 1
    pages_n: int = 1
    more: str = "assumed.txt"
    lines_n: int = ANSWER_LINES
    warning: str = ""


@dataclass(frozen=True, slots=True)
class Block:
    """A part of the panel: its lines and keys and the room it takes."""

    lines: tuple[Line, ...] = ()
    keys: tuple[Key, ...] = ()
    width: float = 0.0
    height: float = 0.0
    left_out_n: int = 0


def framed(page: Page, paper: Rect) -> tuple[list[Line], Rect]:
    """Return the lines of warning, title and foot, and the room between them."""
    width = paper.width - 2 * MARGIN_MM
    warning, at = band(page, paper)
    head, below = _head(page, paper.height - MARGIN_MM if at is None else at.bottom - GAP_MM, width)
    foot, above = _foot(page, paper, width)
    return warning + head + foot, Rect(MARGIN_MM, above, width, below - above)


def band(page: Page, paper: Rect) -> tuple[list[Line], Rect | None]:
    """Return the lines of the warning and the frame around them at the top of the page; None without a warning."""
    if not page.warning:
        return [], None
    width, top = paper.width - 2 * MARGIN_MM, paper.height - MARGIN_MM
    pitch, inner = typeset.line_mm(WARNING_PT), width - 2 * BAND_PAD_MM
    text = typeset.wrap(page.warning, WARNING_PT, inner, bold=True)
    high = pitch * len(text) + 2 * BAND_PAD_MM
    x, y = MARGIN_MM + BAND_PAD_MM, top - BAND_PAD_MM
    lines = [Line(line, x, y - pitch * row, WARNING_PT, bold=True) for row, line in enumerate(text)]
    # the thick line of the frame stays within the margins
    return lines, Rect(MARGIN_MM + 0.5, top - high, width - 1.0, high)


def _head(page: Page, y: float, width: float) -> tuple[list[Line], float]:
    lines: list[Line] = []
    for text in typeset.cut(typeset.wrap(page.place, PLACE_PT, width), 1, PLACE_PT, width):
        lines.append(Line(text, MARGIN_MM, y, PLACE_PT))
        y -= typeset.line_mm(PLACE_PT) + 0.3
    size = next((s for s in (15.0, 13.0, 11.0) if len(typeset.wrap(page.title, s, width, bold=True)) <= 1), 11.0)
    title = typeset.cut(typeset.wrap(page.title, size, width, bold=True), 2, size, width, bold=True)
    for text in title:
        lines.append(Line(text, MARGIN_MM, y, size, bold=True))
        y -= typeset.line_mm(size)
    size, answer = _answer(page.answer, page.cautions, width, page.lines_n)
    y -= 0.6
    for text in answer:
        lines.append(Line(text, MARGIN_MM, y, size))
        y -= typeset.line_mm(size)
    return lines, y - 1.2


def _answer(notes: tuple[str, ...], cautions: tuple[str, ...], width: float, lines_n: int) -> tuple[float, list[str]]:
    """Return size and lines of the answer: a paragraph a note, run together where there is no room, then cut.

    Cautions come last and are always whole; notes left out are counted.
    """
    for size, joined in product((9.0, 8.5, 8.0), (False, True)):
        texts = (" ".join(notes), " ".join(cautions)) if joined else (*notes, *cautions)
        lines = [line for text in texts for line in typeset.wrap(text, size, width)]
        if len(lines) <= lines_n:
            return size, lines
    last = typeset.wrap(" ".join(cautions), 8.0, width)
    most = max(lines_n - len(last), 1)
    for count in range(len(notes) - 1, 0, -1):
        shown = typeset.wrap(" ".join((*notes[:count], f"{len(notes) - count} more in answers.txt.")), 8.0, width)
        if len(shown) <= most:
            return 8.0, [*shown, *last]
    return 8.0, [*typeset.cut(typeset.wrap(" ".join(notes), 8.0, width), most, 8.0, width), *last]


def _foot(page: Page, paper: Rect, width: float) -> tuple[list[Line], float]:
    pitch = typeset.line_mm(FOOT_PT)
    plan = f"plan {page.plan_hash}, " if page.plan_hash else ""
    right = typeset.printable(f"{plan}page {page.page_n} of {page.pages_n}")
    rest = width - typeset.size_mm(right, FOOT_PT)[0] - 4
    said = [f"Data: {page.data_on}." if page.data_on else "", f"Made on {page.made_on}." if page.made_on else ""]
    said += [f"Coordinates: {page.crs}." if page.crs else ""]
    dates = typeset.cut(typeset.wrap(" ".join(filter(None, said)), FOOT_PT, rest), 2, FOOT_PT, rest)
    sources = typeset.wrap(f"Sources: {'; '.join(page.sources)}.", FOOT_PT, width) if page.sources else []
    left = [*typeset.cut(sources, 2, FOOT_PT, width), *(dates or [""])]
    top = MARGIN_MM + pitch * len(left)
    lines = [Line(text, MARGIN_MM, top - pitch * row, FOOT_PT) for row, text in enumerate(left) if text]
    return [*lines, Line(right, paper.width - MARGIN_MM, MARGIN_MM + pitch, FOOT_PT, align="right")], top + 1.2


def key_block(entries: tuple[Entry, ...], room: Rect, size: float) -> Block | None:
    """Return the key in columns from the upper left corner of a room; None where it does not fit."""
    if not entries:
        return Block()
    pitch = typeset.line_mm(size)
    texts = [typeset.wrap(entry.words, size, KEY_WORDS_MM) for entry in entries]
    column = KEY_MM + 1.5 + max(typeset.size_mm(line, size)[0] for text in texts for line in text)
    top = room.top - typeset.line_mm(HEADING_PT) - 0.6
    lines, keys = [Line("Key", room.left, room.top, HEADING_PT, bold=True)], list[Key]()
    x, y, lowest = room.left, top, top
    for entry, text in zip(entries, texts, strict=True):
        high = max(KEY_ROW_MM, pitch * len(text) + 1.0)
        if y - high < room.bottom and y < top:
            x, y = x + column + GAP_MM, top
        if y - high < room.bottom or x + column > room.right:
            return None
        keys.append(Key(entry, Rect(x, y - high, KEY_MM, high)))
        start = y - (high - pitch * len(text)) / 2
        lines += [Line(line, x + KEY_MM + 1.5, start - pitch * row, size) for row, line in enumerate(text)]
        y -= high
        lowest = min(lowest, y)
    return Block(tuple(lines), tuple(keys), x + column - room.left, room.top - lowest)


def assumed_block(page: Page, room: Rect, *, cutting: bool) -> Block | None:
    """Return what is assumed in the largest letters that fit; None where nothing does."""
    if not page.assumed:
        return Block()
    if room.width < ASSUMED_LEAST_MM:
        return None
    width, head = room.width - 2 * PAD_MM, typeset.line_mm(HEADING_PT) + 0.4
    for size in SIZES_PT:
        text = [line for item in page.assumed for line in _item(item, size, width)]
        if head + typeset.line_mm(size) * len(text) + 2 * PAD_MM <= room.height:
            return _boxed(text, room, size)
    return _cut_to(page, room, SIZES_PT[-1]) if cutting else None


def _cut_to(page: Page, room: Rect, size: float) -> Block | None:
    """Return as many whole assumptions as fit and a line that counts the rest; None where fewer than three fit."""
    head = typeset.line_mm(HEADING_PT) + 0.4
    rows = int((room.height - head - 2 * PAD_MM) / typeset.line_mm(size)) - 1
    if rows < 1:
        return None
    text, shown = list[str](), 0
    for item in page.assumed:
        made = _item(item, size, room.width - 2 * PAD_MM)
        if len(text) + len(made) > rows:
            break
        text, shown = [*text, *made], shown + 1
    if shown < min(SHOWN_LEAST, len(page.assumed)):
        return None
    text.append(typeset.printable(f"and {len(page.assumed) - shown} more, see {page.more}"))
    return replace(_boxed(text, room, size), left_out_n=len(page.assumed) - shown)


def _item(text: str, size: float, width: float) -> list[str]:
    return typeset.wrap(f"\u2013 {text}", size, width)


def _boxed(text: list[str], room: Rect, size: float) -> Block:
    head, pitch = typeset.line_mm(HEADING_PT) + 0.4, typeset.line_mm(size)
    x, y = room.left + PAD_MM, room.top - PAD_MM
    lines = [Line("Assumed", x, y, HEADING_PT, bold=True)]
    lines += [Line(line, x, y - head - pitch * row, size) for row, line in enumerate(text)]
    return Block(tuple(lines), (), room.width, head + pitch * len(text) + 2 * PAD_MM)
