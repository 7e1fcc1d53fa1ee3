"""The list of stops on a crew sheet: one row a stone, nothing smaller than a wet glove's owner can read."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from reportlab.lib.units import mm
from reportlab.platypus import Spacer

from gravegis.outputs import paper as sheet
from gravegis.outputs import symbols, words
from gravegis.outputs.crew_steps import ways_of
from gravegis.outputs.crew_words import MATCH, READ, READ_PT, STRONG
from gravegis.outputs.paper import Blank, CheckBox, para
from gravegis.science.care.treatment import LOOK_FIRST

if TYPE_CHECKING:
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


def stop_list(day: CrewDay, width: float) -> list[Flowable]:
    """Return the list of stops; its head comes back on every page and no stop is torn apart."""
    if not day.stops:
        return []
    widths = [MARGIN_WIDE, width - MARGIN_WIDE]
    letter_of = {seq: way.letter for way in ways_of(day) for seq in way.stops}
    cells = [
        [_margin(stop, widths[0] - 6), _about(stop, widths[1] - 6, letter_of.get(str(stop.seq), ""))]
        for stop in day.stops
    ]
    head = [para(name, sheet.sized(READ_PT, bold=True)) for name in COLUMNS]
    table = sheet.grid(COLUMNS, cells, widths, tight=True)
    table._cellvalues[0] = head  # the head of other tables is smaller
    return [Spacer(0, 4), para(MATCH, STRONG), Spacer(0, 3), table]


def _margin(stop: StopLine, width: float) -> list[Flowable]:
    """Return number and box, when to be there, and when the soak ends: printed where known, else to write in."""
    start, end = words.clock(stop.stop.get("arrive_at")), words.clock(stop.stop.get("leave_at"))
    time = "–".join(filter(None, [start, end]))
    lines: list[Flowable] = [_Tick(stop.seq, width)]
    lines += [para(time, READ)] if time else []
    soak = words.clock(stop.stop.get("soak_end_at"))
    if soak:
        lines.append(para(f"soak ends {soak}", STRONG))
    elif "cleaner" in str(stop.work.get("treatment") or ""):
        lines.append(Blank("soak ends", width, size=READ_PT, high=16))
    return lines


def _about(stop: StopLine, width: float, letter: str) -> list[Flowable]:
    """Return what heads the row, what to beware of, how to recognise the stone, what to do."""
    return [*_heading(stop, width), *_cautions(stop), *_recognise(stop), *_to_do(stop, width, letter)]


def _heading(stop: StopLine, width: float) -> list[Flowable]:
    stone = stop.stone
    # a tag that repeats the id would name the stone twice
    tag = f"tag {stone['tag']}" if stone.get("tag") and stone["tag"] != stop.stone_id else ""
    mark = f"“{stone['find_me']}”" if stone.get("find_me") else ""
    beside = ", ".join(filter(None, [mark, tag]))
    if len(stop.stone_id) <= BESIDE_ID:
        return [para(f"{stop.stone_id} {beside}", STRONG, most=MOST_SIGNS)]
    title, size = sheet.fitted(stop.stone_id, READ_PT, width, bold=True, least=6)
    return [para(title, sheet.sized(size, bold=True)), *([para(beside, STRONG, most=MOST_SIGNS)] if beside else [])]


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


def _recognise(stop: StopLine) -> list[Flowable]:
    """Return where it stands and what it looks like; neighbours and sizes where no words on the stone tell it."""
    stone = stop.stone
    place, marked = words.place(stone), bool(stone.get("find_me"))
    where = "; ".join(filter(None, [place, "" if marked else stop.neighbours, "" if place else stop.from_before]))
    looks = words.looks(stone, short=marked)
    if marked and looks and stone.get("year"):
        looks = f"{looks}, dated {stone['year']:.0f}"
    said = [words.sentence(text)[:MOST_SIGNS] for text in (where, looks) if text]
    if not said and not marked and not stone.get("tag"):
        said = ["Nothing is recorded to recognise it by: ask before you start"]
    return [para(". ".join(said) + ".", READ, most=2 * MOST_SIGNS)] if said else []


def _to_do(stop: StopLine, width: float, letter: str) -> list[Flowable]:
    """Return what to do in a line: the letter of the list of steps, its first words, and what is special here."""
    work = stop.work
    treatment = str(work.get("treatment") or "No treatment was worked out: look and record, clean nothing")
    lead = f"{letter}:" if letter else ""
    if work.get("treatment") == LOOK_FIRST:
        return [Blank(f"{lead} {treatment}; how bad 0 1 2 3; harm, face", width, size=READ_PT, high=17)]
    # the list of steps says in full what is put on the stone
    short = treatment.partition(":")[0] if letter else treatment
    way = f" ({work['method']})" if work.get("method") else ""
    said = [f"{short}{way}"]
    stays = words.staying(work.get("reasons"))
    said += [f"stays: {words.listed(stays, 4)}"] if stays else []
    said += [f"look again {work['due_on']}"] if work.get("due_on") else []
    return [para("; ".join(said) + ".", READ, lead=lead)]


class _Tick(sheet.Drawn):
    """The number of a stop as on the map, and a box to tick."""

    def __init__(self, seq: int, width: float) -> None:
        super().__init__(width, 7 * mm, partial(self._draw_both, str(seq)))

    def _draw_both(self, text: str, canvas: Canvas) -> None:
        side, middle = 6.4 * mm, 3.4 * mm
        sheet.draw_mark(canvas, symbols.symbol("stop"), (side / 2, middle), side)
        size = READ_PT if len(text) < 3 else 7.5
        canvas.setFillColorRGB(0, 0, 0)
        canvas.setFont(sheet.BOLD_FONT, size)
        canvas.drawCentredString(side / 2, middle - size * 0.36, text)
        canvas.setLineWidth(0.9)
        canvas.rect(side + 2 * mm, middle - 2.5 * mm, 5 * mm, 5 * mm)
