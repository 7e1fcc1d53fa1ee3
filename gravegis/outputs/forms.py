"""Survey forms: the quick one with eight boxes a stone, the full one with a line per finding; paper and tables alike.

What is typed into the tables comes back through ``gravegis add SITE findings FILE --more`` and meets the same checks as
any other file. Quick and full survey stay apart: a finding of a box says so in its note.
"""

from __future__ import annotations

import csv
from typing import TYPE_CHECKING, Any

from openpyxl import Workbook
from openpyxl.styles import Font
from reportlab.lib.units import mm
from reportlab.platypus import Spacer, Table

from gravegis.errors import LayerError
from gravegis.layers.ticks import NOTHING_SEEN, ticks
from gravegis.outputs import paper as sheet
from gravegis.outputs import words
from gravegis.outputs.paper import BARE, SMALL, CheckBox, Head, Part, box, para, sized
from gravegis.outputs.tick_pictures import picture
from gravegis.science.condition.scores import FAMILIES, patterns
from gravegis.science.condition.tables import rows

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from reportlab.platypus import Flowable

    from gravegis.site import Site

__all__ = ["FULL_COLUMNS", "QUICK_COLUMNS", "full_form", "quick_form", "workbook", "write_forms"]

QUICK_COLUMNS = ("stone_id", "found_on", "by", *ticks(), NOTHING_SEEN, "note")
FULL_COLUMNS = (
    "stone_id", "pattern", "severity", "extent_frac", "face", "height_from_m", "height_to_m", "found_on", "by", "note",
)  # fmt: skip
FULL_LINES = 5
"""Empty lines for each stone of the full form on paper: own choice."""
_PICTURE = 11 * mm
HOW_QUICK = (
    "Two minutes a stone. Look at all sides, touch nothing that moves or leans. In a box write 1 a little, 2 clearly, "
    "3 badly, or x where you cannot say. Nothing of the eight: mark 'nothing seen'. A stone you passed over: leave the "
    "whole line empty; empty does not mean sound."
)
HOW_FULL = (
    "A line per finding. Pattern: a phrase of the list, or the glossary term. Severity 0 looked for and not there, 1 "
    "minor, 2 moderate, 3 major. Extent: share of the face, 0.1 is a tenth. Face as one reads the inscription: front, "
    "back, left, right, top. Heights in metres from the ground: where a stain ends is worth measuring."
)


def write_forms(site: Site, folder: Path, *, section: str | None = None, paper: str = "A4") -> list[Path]:
    """Write both forms as PDF, CSV and XLSX and return the files, quick ones first.

    Raises
    ------
    LayerError
        When the site has no stones, or none in the section.
    """
    stones = _stones(site, section)
    folder.mkdir(parents=True, exist_ok=True)
    made: list[Path] = []
    for name, draw, columns in (("quick", quick_form, QUICK_COLUMNS), ("full", full_form, FULL_COLUMNS)):
        files = [folder / f"{name}_survey.{kind}" for kind in ("pdf", "csv", "xlsx")]
        files[0].write_bytes(draw(site, section=section, paper=paper))
        lines = [[stone["stone_id"], *[""] * (len(columns) - 1)] for stone in stones]
        with files[1].open("w", newline="", encoding="utf-8-sig") as file:
            csv.writer(file).writerows([columns, *lines])
        workbook(columns, lines).save(files[2])
        made += files
    return made


def _stones(site: Site, section: str | None) -> list[dict[str, Any]]:
    """Return the stones in the order of rows and places, as one walks."""
    stones = [row for row in words.records(site, "stones") if section in (None, row["section"])]
    if not stones:
        sections = sorted({str(row["section"]) for row in words.records(site, "stones") if row["section"]})
        raise LayerError(
            f"no stones in section {section}" if section else "there are no stones to survey", where="stones",
            remedy=f"Sections: {', '.join(sections)}." if sections else "Bring the stones in first.",
        )  # fmt: skip
    return sorted(
        stones,
        key=lambda row: (words.in_order(row["section"] or ""), words.in_order(row["row"] or ""),
                         row["place_in_row"] or 0, words.in_order(row["stone_id"])),
    )  # fmt: skip


def workbook(columns: Sequence[str], lines: Sequence[Sequence[str]], *, names_n: int = 1) -> Workbook:
    """Return a workbook to type into; its first ``names_n`` columns hold names, kept as text."""
    made = Workbook()
    page = made.active
    assert page is not None
    page.title = "survey"
    page.append(list(columns))
    for line in lines:
        page.append([one or None for one in line])
    for row in page.iter_rows(min_col=1, max_col=names_n):
        for cell in row:
            cell.number_format = "@"  # a name such as 007 stays a name
    for cell in page[1]:
        cell.font = Font(bold=True)
    page.freeze_panes = "B2"
    return made


def quick_form(site: Site, *, section: str | None = None, paper: str = "A4") -> bytes:
    """Return the quick form: what each box means with its picture, then a line per stone."""
    width, _ = sheet.room(paper, wide=True)
    named, who, note = 0.09, 0.2, 0.13
    each = (1 - named - who - note) / (len(ticks()) + 1)
    heads = ["stone", "where", *ticks(), NOTHING_SEEN, "note"]
    cells = [
        [para(stone["stone_id"], sized(8, bold=True)), para(_where(stone), sized(7)),
         *(CheckBox() for _ in range(len(ticks()) + 1)), para("", SMALL)]
        for stone in _stones(site, section)
    ]  # fmt: skip
    widths = [share * width for share in (named, who, *[each] * (len(ticks()) + 1), note)]
    how = para(HOW_QUICK, SMALL)
    story: list[Flowable] = [
        how,
        Spacer(0, 4),
        _cards(width),
        Spacer(0, 4),
        sheet.grid(heads, cells, widths, tight=True),
    ]
    head = Head(
        title="Quick survey", line=f"{site.info.title}{f', section {section}' if section else ''}",
        right="day ____________  by ____________",
        foot="Local rules come first. A stone that moves: keep off, tell the leader.",
    )  # fmt: skip
    return sheet.build([Part(head, story)], title=f"Quick survey, {site.info.title}", paper=paper, wide=True)


def _cards(width: float) -> Table:
    """Return the eight boxes with picture, name and meaning, four beside each other."""
    cards = []
    each = width / 4
    for row in rows("quick_ticks"):
        text = [para(row["tick"], sized(8, bold=True)), para(row["meaning"], sized(7))]
        cards.append(
            Table([[picture(row["tick"], _PICTURE), text]], colWidths=[_PICTURE + 4, each - _PICTURE - 8], style=BARE)
        )
    return Table([cards[:4], cards[4:]], colWidths=[each] * 4, style=[*BARE, ("BOTTOMPADDING", (0, 0), (-1, -1), 3)])


def _where(stone: dict[str, Any]) -> str:
    return words.place(stone) or "place not recorded"


def full_form(site: Site, *, section: str | None = None, paper: str = "A4") -> bytes:
    """Return the full form: the phrases by family, then lines for each stone."""
    width, _ = sheet.room(paper, wide=True)
    shares = (0.09, 0.19, 0.07, 0.07, 0.08, 0.08, 0.08, 0.34)
    heads = ("stone", "pattern", "severity 0-3", "extent 0-1", "face", "height from (m)", "height to (m)", "note")
    cells: list[list[Any]] = []
    for stone in _stones(site, section):
        first = [para(stone["stone_id"], sized(8, bold=True)), para(_where(stone), sized(6.5))]
        cells += [[first if line == 0 else "", *[Spacer(0, 6 * mm)] * (len(heads) - 1)] for line in range(FULL_LINES)]
    story: list[Flowable] = [
        para(HOW_FULL, SMALL), Spacer(0, 4), *_phrases(width), Spacer(0, 4),
        sheet.grid(heads, cells, [share * width for share in shares], tight=True),
    ]  # fmt: skip
    head = Head(
        title="Full survey", line=f"{site.info.title}{f', section {section}' if section else ''}",
        right="day ____________  by ____________",
        foot="Local rules come first. Terms: ICOMOS-ISCS glossary, 2008; plain phrases in our own words.",
    )  # fmt: skip
    return sheet.build([Part(head, story)], title=f"Full survey, {site.info.title}", paper=paper, wide=True)


def _phrases(width: float) -> list[Flowable]:
    """Return the phrases of each family, with the term in brackets."""
    made: list[Flowable] = []
    for family in FAMILIES:
        terms = [(term, row["phrase"]) for term, row in patterns().terms.items() if row["family"] == family]
        text = "; ".join(f"{phrase} ({term})" for term, phrase in terms)
        made.append(box(family.capitalize(), [para(text, sized(7), most=4000)], width))
    return made
