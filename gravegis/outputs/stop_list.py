"""The list of stops on a crew sheet: one row a stone, nothing smaller than a wet glove's owner can read."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from reportlab.lib.colors import black
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.platypus import Spacer, Table

from gravegis.outputs import paper as sheet
from gravegis.outputs import symbols, words
from gravegis.outputs.crew_steps import ways_of
from gravegis.outputs.crew_words import MATCH, READ, READ_PT, STRONG
from gravegis.outputs.paper import FONT, Blank, CheckBox, clean, para
from gravegis.outputs.pictures import thumbnail
from gravegis.science.care.treatment import LOOK_FIRST

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from reportlab.pdfgen.canvas import Canvas
    from reportlab.platypus import Flowable

    from gravegis.outputs.days import CrewDay, StopLine

__all__ = ["stop_list"]

COLUMNS = ("stop, done", "stone and how to recognise it; what to do")
MARGIN_WIDE = 33 * mm
"""Room for number, box, times and the end of the soak: own choice. [pt]"""
MOST_SIGNS = 200
"""Signs of one line about a stone that are printed, so that several stops stand on a page; own choice."""
BESIDE_ID = 24
"""Signs of an id beside which the words on the stone still stand; own choice."""
PICTURE = 21 * mm
"""Side of the picture of a stone: own choice. [pt]"""
WRITE_IN = 45 * mm
"""Least room to write a harm and a face in: own choice. [pt]"""


def stop_list(day: CrewDay, width: float, pictures: Mapping[str, Path] | None = None) -> list[Flowable]:
    """Return the list of stops, then a stop line and spare stones where the day has some.

    Its head comes back on every page and no stop is torn apart. `pictures` are photos by stone.
    """
    if not day.stops:
        return []
    widths = [MARGIN_WIDE, width - MARGIN_WIDE]
    letter_of = {seq: way.letter for way in ways_of(day) for seq in way.stops}
    cells: list[list[list[Flowable]]] = []
    lines: list[int] = []
    for stop in day.listed:
        if stop.spare and stop.seq == 1:
            lines.append(len(cells) + 1)
            cells.append(_stop_line(day))
        file = (pictures or {}).get(stop.stone_id)
        picture = thumbnail(file, PICTURE, PICTURE) if file is not None else None
        about = _about(stop, widths[1] - 6, letter_of.get(stop.label, ""), picture)
        cells.append([_margin(stop, widths[0] - 6), about])
    if day.facts.get("stop_at") and not day.spares:
        lines.append(len(cells) + 1)
        cells.append(_stop_line(day))
    head = [para(name, sheet.sized(READ_PT, bold=True)) for name in COLUMNS]
    table = sheet.grid(COLUMNS, cells, widths, tight=True)
    table._cellvalues[0] = head  # the head of other tables is smaller
    for row in lines:
        table.setStyle([("BACKGROUND", (0, row), (-1, row), sheet.SHADE), ("LINEABOVE", (0, row), (-1, row), 3, black)])
    return [Spacer(0, 4), para(MATCH, STRONG), Spacer(0, 3), table]


def _stop_line(day: CrewDay) -> list[list[Flowable]]:
    """Return the row that parts the day's stones from spare ones."""
    at = words.clock(day.facts.get("stop_at"))
    lead = f"STOP HERE AT {at}." if at else "STOP HERE."
    more = " Time left before that? Go on below, only with what can be rinsed by then." if day.spares else ""
    said = f"Rinse what still soaks, begin no other stone, walk back.{more}"
    return [[para(at or "", sheet.sized(16, bold=True))], [para(said, READ, lead=lead)]]


def _margin(stop: StopLine, width: float) -> list[Flowable]:
    """Return number and box, when to be there, and when the soak ends: printed where known, else to write in."""
    start, end = words.clock(stop.stop.get("arrive_at")), words.clock(stop.stop.get("leave_at"))
    lines: list[Flowable] = [_Tick(stop.label, start, width)]
    soak = words.clock(stop.stop.get("soak_end_at"))
    if soak:
        lines += [para(f"soak ends {soak}", STRONG), para(f"done {end}", READ)]
    elif "cleaner" in str(stop.work.get("treatment") or ""):
        lines.append(Blank("soak ends", width, size=READ_PT, high=16))
    return lines


def _about(stop: StopLine, width: float, letter: str, picture: Flowable | None) -> list[Flowable]:
    """Return what heads the row, what to beware of, how to recognise the stone, what to do, and its picture."""
    wide = width - (PICTURE + 2 * mm if picture is not None else 0)
    where, looks = _recognise(stop)
    lines = [*_heading(stop, wide, where), *_cautions(stop), *_rest(stop, wide, letter, looks)]
    if picture is None:
        return lines
    beside = Table([[lines, picture]], colWidths=[wide, PICTURE + 2 * mm])
    beside.setStyle([*sheet.BARE, ("ALIGN", (1, 0), (1, 0), "RIGHT")])
    return [beside]


def _rest(stop: StopLine, width: float, letter: str, looks: str) -> list[Flowable]:
    """Return what the stone looks like and what to do, on one line where there is room left to write."""
    if stop.work.get("treatment") != LOOK_FIRST:
        return [*([para(f"{looks}.", READ, most=2 * MOST_SIGNS)] if looks else []), _to_do(stop, letter)]
    write = f"{letter}: bad 0 1 2 3; harm, face" if letter else f"{LOOK_FIRST}; bad 0 1 2 3; harm, face"
    together = f"{looks}. {write}" if looks else write
    room = width - pdfmetrics.stringWidth(clean(together), FONT, READ_PT)
    if room >= WRITE_IN or not looks:
        return [Blank(together, width, size=READ_PT, high=17)]
    return [para(f"{looks}.", READ, most=2 * MOST_SIGNS), Blank(write, width, size=READ_PT, high=17)]


def _heading(stop: StopLine, width: float, where: str) -> list[Flowable]:
    """Return the id with the words on the stone, then where it stands."""
    stone = stop.stone
    # a tag that repeats the id would name the stone twice
    tag = f"tag {stone['tag']}" if stone.get("tag") and stone["tag"] != stop.stone_id else ""
    mark = f"“{stone['find_me']}”" if stone.get("find_me") else ""
    beside = ", ".join(filter(None, [mark, tag]))
    told = f"{where}." if where else ""
    if len(stop.stone_id) <= BESIDE_ID:
        lead = f"{stop.stone_id} {beside}".strip()[:MOST_SIGNS]
        return [para(told, READ, lead=lead, most=2 * MOST_SIGNS)]
    title, size = sheet.fitted(stop.stone_id, READ_PT, width, bold=True, least=6)
    return [para(title, sheet.sized(size, bold=True)), para(told, READ, lead=beside[:MOST_SIGNS])]


def _cautions(stop: StopLine) -> list[Flowable]:
    work = stop.work
    lines: list[Flowable] = []
    if work.get("hold"):
        lines.append(para(work["hold"], STRONG, lead="Held:"))
    if work.get("who") not in (None, "crew"):
        lines.append(para(work["who"], STRONG, lead="Only:"))
    if work.get("first_step"):
        lines.append(CheckBox(str(sheet.clean(work["first_step"], 40)), side=4 * mm, size=READ_PT))
    if work.get("not_from"):
        hot = f"not from {words.clock(work['not_from'])} to {words.clock(work['not_to'])}"
        lines.append(para(hot, READ, lead="Wet it"))
    return lines


def _recognise(stop: StopLine) -> tuple[str, str]:
    """Return where it stands and what it looks like; neighbours and sizes where no words on the stone tell it."""
    stone = stop.stone
    place, marked = words.place(stone), bool(stone.get("find_me"))
    where = "; ".join(filter(None, [place, "" if marked else stop.neighbours, "" if place else stop.from_before]))
    looks = words.looks(stone, short=marked)
    if marked and looks and stone.get("year") and f"{stone['year']:.0f}" not in str(stone["find_me"]):
        looks = f"{looks}, dated {stone['year']:.0f}"
    where, looks = (words.sentence(text)[:MOST_SIGNS] for text in (where, looks))
    if not where and not looks and not marked and not stone.get("tag"):
        where = "Nothing is recorded to recognise it by: ask before you start"
    return where, looks


def _to_do(stop: StopLine, letter: str) -> Flowable:
    """Return what to do in a line: the letter of the list of steps, its first words, and what is special here."""
    work = stop.work
    treatment = str(work.get("treatment") or "No treatment was worked out: look and record, clean nothing")
    # the list of steps says in full what is put on the stone and how
    way = f" ({work['method']})" if work.get("method") else ""
    said = [treatment.partition(":")[0] if letter else f"{treatment}{way}"]
    stays = words.staying(work.get("reasons"))
    said += [f"stays: {words.listed(stays, 4)}"] if stays else []
    said += [f"look again {work['due_on']}"] if work.get("due_on") else []
    return para("; ".join(said) + ".", READ, lead=f"{letter}:" if letter else "")


class _Tick(sheet.Drawn):
    """The number of a stop as on the map, a box to tick, and when to be there."""

    def __init__(self, label: str, time: str, width: float) -> None:
        super().__init__(width, 7 * mm, partial(self._draw_all, label, time))

    def _draw_all(self, label: str, time: str, canvas: Canvas) -> None:
        side, middle = 6.4 * mm, 3.4 * mm
        sheet.draw_mark(canvas, symbols.symbol("stop"), (side / 2, middle), side)
        # a plus is as wide as two figures
        size = READ_PT if len(label) < 3 and label.isdigit() else 9.0 if len(label) < 3 else 7.5
        canvas.setFillColorRGB(0, 0, 0)
        canvas.setFont(sheet.BOLD_FONT, size)
        canvas.drawCentredString(side / 2, middle - size * 0.36, label)
        canvas.setLineWidth(0.9)
        canvas.rect(side + 2 * mm, middle - 2.5 * mm, 5 * mm, 5 * mm)
        canvas.setFont(FONT, READ_PT)
        canvas.drawString(side + 9 * mm, middle - READ_PT * 0.36, time)
