"""The page around every printed sheet: paper, fonts, running head and foot, boxes, tables, blanks to fill in.

Black on white, so that a grey printer loses nothing. Fonts are embedded; the same input gives the same bytes.
"""

from __future__ import annotations

import io
import re
import unicodedata
from dataclasses import dataclass, field
from functools import cache, partial
from pathlib import Path
from typing import TYPE_CHECKING, Any
from xml.sax.saxutils import escape

from reportlab.lib import colors
from reportlab.lib.pagesizes import A4, LETTER, landscape
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    BaseDocTemplate,
    Flowable,
    Frame,
    NextPageTemplate,
    PageBreak,
    PageTemplate,
    Paragraph,
    Table,
)

from gravegis.errors import SettingError
from gravegis.outputs import symbols, words

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

__all__ = [
    "BARE", "BODY", "BOLD", "BOLD_FONT", "FONT", "HEAD", "LINE", "NOTE", "PAPERS", "SMALL", "Blank", "CheckBox",
    "Drawn", "Head", "Part", "Triangle", "box", "build", "clean", "draw_mark", "fitted", "grid", "para", "pen",
    "room", "sized",
]  # fmt: skip

PAPERS = {"A4": A4, "Letter": LETTER}
"""Sheet sizes upright: A4 of ISO 216, Letter of ANSI/ASME Y14.1. [pt]"""

FONT, BOLD_FONT = "DejaVuSans", "DejaVuSans-Bold"
MARGIN = 10 * mm  # own choice: most printers can print this far out
HEAD_HIGH, FOOT_HIGH = 13.5 * mm, 5 * mm
DESCENT = 2.0
"""How far letters of the foot reach below their line. [pt]"""
LINE = colors.HexColor("#4d4d4d")
SHADE = colors.HexColor("#ececec")
PITCH = 1.24
"""Line pitch in font sizes; lines of the font are 1.164 high, so they never touch."""
_LONGEST = 400
"""Signs of one typed text that are printed; own choice, keeps a row shorter than a page."""


@cache
def sized(size: float, *, bold: bool = False) -> ParagraphStyle:
    """Return the style of running text of a size in points."""
    name = BOLD_FONT if bold else FONT
    return ParagraphStyle(f"{name}{size}", fontName=name, fontSize=size, leading=size * PITCH)


BODY, BOLD, NOTE, SMALL, HEAD = sized(8.5), sized(8.5, bold=True), sized(8), sized(7), sized(12, bold=True)
WARNING = sized(10, bold=True)
BAND_GAP = 5.0
"""Between a warning and what stands below it. [pt]"""


@cache
def _fonts() -> frozenset[int]:
    """Register the fonts that come with matplotlib, and return the signs they have."""
    import matplotlib as mpl

    folder = Path(mpl.get_data_path()) / "fonts" / "ttf"
    made = [TTFont(name, str(folder / f"{name}.ttf")) for name in (FONT, BOLD_FONT)]
    for one in made:
        pdfmetrics.registerFont(one)
    return frozenset(made[0].face.charToGlyph) & frozenset(made[1].face.charToGlyph)


# Letters written from right to left, with what stands between them; the library draws in reading order only.
_RTL = "\u0590-\u08ff\ufb1d-\ufdff\ufe70-\ufefc"
_RIGHT_TO_LEFT = re.compile(f"[{_RTL}]+(?:[^\\w{_RTL}]+[{_RTL}]+)*")


def clean(text: object, most: int = _LONGEST) -> str:
    """Return typed text as it is printed: one line, no control or direction signs, signs without a glyph by number.

    Text longer than `most` ends in an ellipsis. Right-to-left words are turned into drawing order, which holds
    within a line; Arabic letters are not joined.
    """
    line = _RIGHT_TO_LEFT.sub(_turned, words.one_line(text))
    kept = (sign for sign in line if unicodedata.category(sign) != "Cf")
    shown = words.printable("".join(kept), _fonts())
    return shown if len(shown) <= most else f"{shown[: most - 1].rstrip()}…"


def _turned(found: re.Match[str]) -> str:
    """Return a run of right-to-left letters in the order it is drawn, marks kept on their letters."""
    letters: list[str] = []
    for sign in found.group():
        if letters and unicodedata.combining(sign):
            letters[-1] += sign
        else:
            letters.append(sign)
    return "".join(reversed(letters))


def para(text: object, style: ParagraphStyle = BODY, *, lead: str = "", most: int = _LONGEST) -> Paragraph:
    """Return a paragraph of any text, signs of markup included; `lead` goes before it in bold."""
    bold = f'<font name="{BOLD_FONT}">{escape(clean(lead, most))}</font> ' if lead else ""
    return Paragraph(bold + escape(clean(text, most)), style)


def fitted(text: object, size: float, width: float, *, bold: bool = False, least: float = 5.5) -> tuple[str, float]:
    """Return text and the size at which it fits a width on one line; below the least size it is cut."""
    shown, font = clean(text), BOLD_FONT if bold else FONT
    while size > least and pdfmetrics.stringWidth(shown, font, size) > width:
        size -= 0.5
    while len(shown) > 1 and pdfmetrics.stringWidth(shown, font, size) > width:
        shown = f"{shown[:-2].rstrip()}…"
    return shown, size


@dataclass(frozen=True, slots=True)
class Head:
    """The words on every page of a part: title, a line below it, a short text on the right, and the foot.

    `warning` stands in a thick frame above the story of every page.
    """

    title: str
    line: str = ""
    right: str = ""
    foot: str = ""
    warning: str = ""


@dataclass(frozen=True, slots=True)
class Part:
    """Pages with the same head; each part starts on a new page."""

    head: Head
    story: list[Flowable] = field(default_factory=list)


def _size(paper: str, *, wide: bool) -> tuple[float, float]:
    if paper not in PAPERS:
        raise SettingError(f"there is no paper '{paper}'", remedy=f"Papers: {', '.join(PAPERS)}.")
    width, height = landscape(PAPERS[paper]) if wide else PAPERS[paper]
    return float(width), float(height)


def room(paper: str, *, wide: bool = False, warning: str = "") -> tuple[float, float]:
    """Return width and height left for the story of a page; raises SettingError for an unknown paper. [pt]"""
    width, height = _size(paper, wide=wide)
    inner = width - 2 * MARGIN
    return inner, height - 2 * MARGIN - HEAD_HIGH - FOOT_HIGH - _band(warning, inner)[1]


def _band(warning: str, width: float) -> tuple[Table | None, float]:
    """Return the frame with a warning, and the height it takes from the story with the gap below it. [pt]"""
    if not warning:
        return None, 0.0
    made = Table([[Triangle(), para(warning, WARNING, most=1000)]], colWidths=[9 * mm, width - 9 * mm])
    made.setStyle([
        ("FONTNAME", (0, 0), (-1, -1), FONT),
        ("BOX", (0, 0), (-1, -1), 2.5, colors.black),
        ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
        ("TOPPADDING", (0, 0), (-1, -1), 4),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 5),
        ("LEFTPADDING", (0, 0), (-1, -1), 5),
        ("RIGHTPADDING", (0, 0), (-1, -1), 5),
    ])  # fmt: skip
    return made, made.wrap(width, 1000)[1] + BAND_GAP


def build(parts: Sequence[Part], *, title: str, paper: str = "A4", wide: bool = False) -> bytes:
    """Return the PDF of all parts, pages counted through.

    `wide` lays the paper on its side. Raises SettingError for an unknown paper.
    """
    _fonts()
    size, file = _size(paper, wide=wide), io.BytesIO()
    document = BaseDocTemplate(file, pagesize=size, title=clean(title), author="gravegis", invariant=1, lang="en")
    story: list[Flowable] = []
    for k, part in enumerate(parts):
        width, height = room(paper, wide=wide, warning=part.head.warning)
        # a frame without padding: widths of tables are then the room itself
        frame = Frame(MARGIN, MARGIN + FOOT_HIGH, width, height, 0, 0, 0, 0, id=str(k))
        document.addPageTemplates(PageTemplate(str(k), [frame], onPage=partial(_draw_head, part.head)))
        shown = _texts([*part.story, clean(part.head.title), clean(part.head.line)])
        note = [para(f"{one}.", SMALL)] if (one := words.unprinted(shown)) else []
        story += [NextPageTemplate(str(k)), *([PageBreak()] if k else []), *part.story, *note]
    document.build(story, canvasmaker=_CountedCanvas)
    return file.getvalue()


def _texts(parts: Any) -> Iterator[str]:  # noqa: ANN401 - nested lists of text and of anything the library draws
    """Give every text of paragraphs, in tables and in flowables that hold others."""
    if isinstance(parts, str):
        yield parts
    elif isinstance(parts, Paragraph):
        yield parts.getPlainText()
    elif isinstance(parts, (list, tuple)):
        for part in parts:
            yield from _texts(part)
    else:
        yield from _texts([*getattr(parts, "_cellvalues", ()), *(getattr(parts, "_content", None) or ())])


class _CountedCanvas(Canvas):  # type: ignore[misc]
    """A canvas that knows how many pages there are before it writes the first."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:  # noqa: ANN401 - passed on unchanged
        super().__init__(*args, **{**kwargs, "initialFontName": FONT})
        self._pages: list[dict[str, Any]] = []

    def showPage(self) -> None:  # noqa: N802 - name of the library
        self._pages.append(dict(self.__dict__))
        self._startPage()

    def save(self) -> None:
        for k, page in enumerate(self._pages, start=1):
            self.__dict__.update(page)
            self.setFont(FONT, 7)
            self.drawRightString(self._pagesize[0] - MARGIN, MARGIN + DESCENT, f"page {k} of {len(self._pages)}")
            super().showPage()
        super().save()


def _draw_head(head: Head, canvas: Canvas, document: BaseDocTemplate) -> None:
    width, height = document.pagesize
    top, inner = height - MARGIN, width - 2 * MARGIN
    right, right_size = fitted(head.right, 8.5, inner * 0.4)
    right_wide = pdfmetrics.stringWidth(right, FONT, right_size)
    title, size = fitted(head.title, 14, inner - right_wide - 4 * mm, bold=True, least=9)
    canvas.setFont(BOLD_FONT, size)
    canvas.drawString(MARGIN, top - 13.5, title)
    canvas.setFont(FONT, right_size)
    canvas.drawRightString(width - MARGIN, top - 13.5, right)
    line, size = fitted(head.line, 8.5, inner, least=6)
    canvas.setFont(FONT, size)
    canvas.drawString(MARGIN, top - 27.5, line)
    canvas.setLineWidth(0.8)
    canvas.line(MARGIN, top - 32, width - MARGIN, top - 32)
    band, high = _band(head.warning, inner)
    if band is not None:
        band.drawOn(canvas, MARGIN, top - HEAD_HIGH - high + BAND_GAP)
    foot, size = fitted(head.foot, 7, inner - 28 * mm)
    canvas.setFont(FONT, size)
    canvas.drawString(MARGIN, MARGIN + DESCENT, foot)


def grid(head: Sequence[str], cells: Sequence[Sequence[Any]], widths: Sequence[float], *, tight: bool = False) -> Table:
    """Return a table whose head comes back on every page and whose rows stay whole. [pt]"""
    inner = [[para(word, sized(7, bold=True)) for word in head], *cells]
    made = Table(inner, colWidths=list(widths), repeatRows=1, hAlign="LEFT")
    pad = 1.5 if tight else 3
    made.setStyle([
        ("FONTNAME", (0, 0), (-1, -1), FONT),
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("BACKGROUND", (0, 0), (-1, 0), SHADE),
        ("LINEBELOW", (0, 0), (-1, -1), 0.4, LINE),
        ("LINEAFTER", (0, 0), (-2, -1), 0.25, LINE),
        ("BOX", (0, 0), (-1, -1), 0.8, colors.black),
        ("LEFTPADDING", (0, 0), (-1, -1), 3),
        ("RIGHTPADDING", (0, 0), (-1, -1), 3),
        ("TOPPADDING", (0, 0), (-1, -1), pad),
        ("BOTTOMPADDING", (0, 0), (-1, -1), pad),
    ])  # fmt: skip
    return made


def box(
    title: str, lines: Sequence[Flowable], width: float, *, heavy: bool = False, columns: int = 1, mark: bool = False
) -> Table:
    """Return a framed box with a heading; its lines run down the columns, and it may go on over a page.

    `heavy` is a thick frame, `mark` a warning triangle before the heading.
    """
    down = -(-len(lines) // columns)
    # one column may go on over a page line by line; columns beside each other stay one row, each packed for itself
    body = [[one] for one in lines] if columns == 1 else [[lines[n * down : (n + 1) * down] for n in range(columns)]]
    heading: Any = para(title, HEAD if heavy else BOLD)
    if mark:
        heading = Table([[Triangle(), heading]], colWidths=[8 * mm, width - 8 * mm - 8], style=BARE)
    rows = [[heading, *[""] * (columns - 1)], *body]
    made = Table(rows, colWidths=[width / columns] * columns, repeatRows=1, hAlign="LEFT")
    made.setStyle([
        ("FONTNAME", (0, 0), (-1, -1), FONT),
        ("SPAN", (0, 0), (-1, 0)),
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("BOX", (0, 0), (-1, -1), 2.2 if heavy else 0.8, colors.black),
        ("LEFTPADDING", (0, 0), (-1, -1), 4),
        ("RIGHTPADDING", (0, 0), (-1, -1), 4),
        ("TOPPADDING", (0, 0), (-1, -1), 1.2),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 1.2),
        ("TOPPADDING", (0, 0), (-1, 0), 3),
        ("BOTTOMPADDING", (0, -1), (-1, -1), 4),
    ])  # fmt: skip
    return made


BARE = [
    ("FONTNAME", (0, 0), (-1, -1), FONT),
    ("LEFTPADDING", (0, 0), (-1, -1), 0),
    ("RIGHTPADDING", (0, 0), (-1, -1), 0),
    ("TOPPADDING", (0, 0), (-1, -1), 0),
    ("BOTTOMPADDING", (0, 0), (-1, -1), 0),
    ("VALIGN", (0, 0), (-1, -1), "TOP"),
]
"""Style of a table that only places things: no padding, no lines."""


class Drawn(Flowable):  # type: ignore[misc]
    """Something drawn in a rectangle of fixed size."""

    def __init__(self, width: float, height: float, draw: Callable[[Canvas], None]) -> None:
        super().__init__()
        self.width, self.height, self._paint = width, height, draw

    def wrap(self, aW: float, aH: float) -> tuple[float, float]:  # noqa: N803 - names of the library
        """Return the fixed size."""
        del aW, aH
        return self.width, self.height

    def draw(self) -> None:
        """Draw at the place the page gives."""
        self._paint(self.canv)


class CheckBox(Drawn):
    """An empty square to tick, 5 mm wide, with words beside it where given."""

    def __init__(self, text: str = "", *, side: float = 5 * mm, size: float = 8.5) -> None:
        wide = pdfmetrics.stringWidth(text, FONT, size) + 4 if text else 0.0
        super().__init__(side + wide, side + 1, self._square)
        self._words, self._side, self._font_size = text, side, size

    def _square(self, canvas: Canvas) -> None:
        canvas.setLineWidth(0.9)
        canvas.rect(0.5, 0.5, self._side, self._side)
        if self._words:
            canvas.setFont(FONT, self._font_size)
            canvas.drawString(self._side + 4, (self._side - self._font_size * 0.7) / 2, self._words)


class Blank(Drawn):
    """Words, then a line to write on that reaches the full width."""

    def __init__(self, text: str, width: float, *, high: float = 7 * mm, size: float = 8.5) -> None:
        super().__init__(width, high, self._line)
        self._words, self._font_size = clean(text), size

    def _line(self, canvas: Canvas) -> None:
        canvas.setFont(FONT, self._font_size)
        canvas.drawString(0, 3, self._words)
        start = pdfmetrics.stringWidth(self._words, FONT, self._font_size) + (3 if self._words else 0)
        canvas.setLineWidth(0.5)
        canvas.line(min(start, self.width), 1.5, self.width, 1.5)


class Triangle(Drawn):
    """The warning triangle of the drawing table."""

    def __init__(self, side: float = 6 * mm) -> None:
        super().__init__(side, side, self._triangle)

    def _triangle(self, canvas: Canvas) -> None:
        draw_mark(canvas, symbols.symbol("head_fault"), (self.width / 2, self.height / 2), self.width)


def draw_mark(canvas: Canvas, symbol: symbols.Symbol, at: tuple[float, float], side: float) -> None:
    """Draw the mark of a symbol around a place, as wide as `side`. [pt]"""
    pen(canvas, symbol)
    for trace in symbols.MARKS[symbol.mark]:
        path = canvas.beginPath()
        for k, (x, y) in enumerate(trace.points):
            (path.lineTo if k else path.moveTo)(at[0] + x * side, at[1] + y * side)
        if trace.closed:
            path.close()
        inked = trace.paint == "ink"
        canvas.setFillColor(colors.HexColor((symbol.line if inked else symbol.fill) or symbols.PAPER))
        canvas.drawPath(path, stroke=int(not inked), fill=int(inked or (trace.paint == "body" and bool(symbol.fill))))


def pen(canvas: Canvas, symbol: symbols.Symbol) -> None:
    """Take the pen of a symbol: colour, width and dashes of its line."""
    canvas.setStrokeColor(colors.HexColor(symbol.line or symbol.fill or symbols.INK))
    canvas.setLineWidth(symbol.width_mm * mm)
    canvas.setDash([length * mm for length in symbol.dash_mm])
