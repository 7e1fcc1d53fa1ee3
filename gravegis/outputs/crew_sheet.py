"""One printed sheet per crew and day, and one list of the stones nobody visits.

Stones to work on are the only ones named on a crew sheet, each once, as the heading of its row; everything else is
told by place, so that nobody starts on a stone that was only mentioned.
"""

from __future__ import annotations

import io
from pathlib import PurePath
from typing import TYPE_CHECKING

from pypdf import PdfReader
from reportlab.graphics.barcode.qr import QrCodeWidget
from reportlab.lib.units import mm
from reportlab.platypus import Flowable, Spacer, Table

from gravegis.outputs import currency, words
from gravegis.outputs import paper as sheet
from gravegis.outputs.crew_map import CrewMap, day_shape
from gravegis.outputs.crew_steps import after_stops
from gravegis.outputs.crew_words import BEFORE, BLANKS, DO_NOT_START, READ, STOP_AND_CALL, STRONG
from gravegis.outputs.days import crew_days, crew_files, file_stem
from gravegis.outputs.not_today import RESTS_ON, not_today
from gravegis.outputs.paper import Blank, Head, Part, box, para
from gravegis.outputs.pictures import newest_photos, photos_above
from gravegis.outputs.stop_list import stop_list
from gravegis.science.care.supplies import load_for

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from reportlab.pdfgen.canvas import Canvas

    from gravegis.outputs.days import CrewDay, StopLine
    from gravegis.site import Site

__all__ = ["crew_sheet", "write_crew_sheets"]

MOST_PAGES = 4
"""Pages a pair gets at most where its stops allow it: asked for in practice, no source."""
LEAST_MAP = 150.0
"""Height below which the map gets a page of its own: own choice. [pt]"""


def write_crew_sheets(site: Site, folder: Path, *, made_on: str = "", paper: str = "A4") -> list[Path]:
    """Write one PDF per crew and day with stones to go to, and ``not_today.pdf`` where stones are left over.

    Returns the files.

    Parameters
    ----------
    made_on
        Printed as it is; nothing here reads a clock.
    paper
        ``A4`` or ``Letter``.

    Raises
    ------
    SettingError
        For a paper that is not known.
    """
    folder.mkdir(parents=True, exist_ok=True)
    sheets = crew_files(crew_days(site), folder, ".pdf")
    for day, file in sheets:
        file.write_bytes(crew_sheet(site, day, made_on=made_on, paper=paper, photos=photos_above(folder)))
    written = [file for _, file in sheets]
    if site.has("unplanned"):
        written.append(folder / "not_today.pdf")
        written[-1].write_bytes(not_today(site, made_on=made_on, paper=paper))
    return written


def crew_sheet(
    site: Site, day: CrewDay, *, made_on: str = "", paper: str = "A4", photos: Path | None = None
) -> bytes:  # fmt: skip
    """Return the sheet of one crew and day as PDF: front page with map, stops, steps, what stays, what was assumed.

    `photos` is the folder of pictures kept in the site; without it, or where they would need a fifth page, the stones
    have none on the sheet.
    """
    plan = words.plan_hash(site)
    head = Head(
        title=f"{words.sentence(words.crew_name(day.crew_id))}, {words.day(day.day)}",
        line=f"{site.info.title}. {_who(day)}",
        right=f"plan {plan}",
        foot=words.made(made_on, "Local rules and the label of the product come before this sheet."),
        warning=currency.mark(site, RESTS_ON, first=DO_NOT_START),
    )
    width, height = sheet.room(paper, warning=head.warning)
    code = f"{file_stem(day.crew_id, day.day)} {plan}"
    seen = _pictures(site, day, photos) if photos is not None else {}
    made = b""
    # what was assumed is for the desk too, and pictures stand in pictures.pdf; a fifth page is for nobody
    for brief, shown in ((False, seen), (True, seen), (True, {})) if seen else ((False, {}), (True, {})):
        # a page once built is spent: each try draws its own
        front = _front(site, day, code, width, height)
        story = [*front, *stop_list(day, width, shown), *after_stops(site, day, width, brief=brief)]
        made = sheet.build([Part(head, story)], title=f"{head.title}, {site.info.title}", paper=paper)
        if len(PdfReader(io.BytesIO(made)).pages) <= MOST_PAGES:
            break
    return made


def _pictures(site: Site, day: CrewDay, photos: Path) -> dict[str, Path]:
    """Return by stone the file of its picture, where leave for one is on file."""
    found = newest_photos(site)
    return {
        stop.stone_id: photos / PurePath(str(found[stop.stone_id]["file"])).name
        for stop in day.listed
        if stop.stone_id in found
    }


def _who(day: CrewDay) -> str:
    crew, said = day.crew, []
    if crew.get("people_n") is not None:
        said.append("1 person" if crew["people_n"] == 1 else f"{crew['people_n']} people")
    if crew.get("shift_from") and crew.get("shift_to"):
        said.append(f"Shift {words.clock(crew['shift_from'])} to {words.clock(crew['shift_to'])}")
    base = day.base.get("label") or day.base.get("base_id") or crew.get("base_id")
    said.append(f"Base: {base}" if base else "Base not named")
    return ". ".join(said) + "."


def _front(site: Site, day: CrewDay, code: str, width: float, height: float) -> list[Flowable]:
    """Return the first page: when to stop, what to know, the day in a few lines, and the map in what is left."""
    stop = box("STOP and call the conservator", [para(f"• {one}", READ) for one in STOP_AND_CALL], width, heavy=True,
               columns=2, mark=True)  # fmt: skip
    half = width / 2 - 10
    to_fill: list[Flowable] = [Blank(text, half, size=11, high=20) for text in BLANKS]
    before = box("Before you start", [para(text, READ, lead=lead) for lead, text in BEFORE], width, columns=2)
    third = width / 3 - 6
    names = Table(
        [[Blank(text, third, size=11) for text in ("Leader", "Phone", "Started, ended")]], colWidths=[width / 3] * 3
    )
    names.setStyle(sheet.BARE)
    help_ = Table([to_fill[:2], to_fill[2:]], colWidths=[width / 2] * 2, style=sheet.BARE)
    wide = width - 24 * mm
    facts = Table([[_facts(site, day), _Code(code, 24 * mm)]], colWidths=[wide, 24 * mm])
    facts.setStyle([*sheet.BARE, ("TOPPADDING", (0, 0), (-1, -1), 4), ("ALIGN", (1, 0), (1, 0), "RIGHT")])
    top: list[Flowable] = [stop, Spacer(0, 4), before, names, help_, facts, Spacer(0, 3)]
    if day_shape(day) is None or not day.stops:
        return top
    left = height - sum(one.wrap(width, height)[1] for one in top) - 4
    # little room left: the map goes to the next page, half of it, before the list
    return [*top, CrewMap(site, day, width, left if left >= LEAST_MAP else height * 0.5)]


def _facts(site: Site, day: CrewDay) -> list[Flowable]:
    facts, stops = day.facts, day.stops
    said = [f"{words.sentence(words.counted(len(stops), 'stone'))} for this crew today"]
    if words.clock(facts.get("leave_at")) and stops:
        said.append(
            f"leave the base {words.clock(facts['leave_at'])}, back {words.clock(facts.get('return_at')) or '—'}"
        )
    if words.minutes(facts.get("work_min")) and stops:
        said.append(f"{words.minutes(facts['work_min'])} of work")
    if facts.get("length_m") is not None and stops:
        said.append(f"about {round(facts['length_m'] / 10) * 10} m on foot")
    lines: list[Flowable] = [para(", ".join(said) + ".", STRONG)]
    if day.post:
        lines.append(
            para(f"{day.post}. Stay in sight; nobody begins before the leader is there.", READ, lead="Leader:")
        )
    if day.crew.get("carries"):
        lines.append(para(str(day.crew["carries"]), READ, lead="You carry:"))
    if load := _load(day):
        lines.append(para(load, READ, lead="Load:"))
    lines.append(
        para(_checked(stops), READ, lead="Checked:")
        if stops
        else para("See not_today.pdf for what waits and why.", READ)
    )
    zones = _zones(site, stops)
    if zones:
        lines.append(para(zones, READ, lead="Sprinklers:"))
    return lines


def _load(day: CrewDay) -> str:
    """Return what to load for these stops, in whole containers; empty where no amounts are known."""
    work = [stop.work for stop in day.stops]
    water = [float(one.get("water_l") or 0.0) for one in work]
    cleaner = [float(one.get("cleaner_l") or 0.0) for one in work]
    if not sum(water):
        return ""
    people = int(day.crew.get("people_n") or 2)
    load = load_for(water, cleaner, [0.0] * len(work), people_n=people, good_tap=False, container_l=20.0,
                    cleaner_container_l=5.0)  # fmt: skip
    mixed = f", {load.cleaner_l:.1f} l cleaner ready to use" if load.cleaner_l else ""
    return (
        f"{load.water_l:.0f} l drinking-grade water ({load.water_containers_n} x 20 l){mixed}, {load.brushes_n} soft "
        f"brushes, {load.sticks_n} soft sticks, gloves, goggles, camera, pencil."
    )


def _checked(stops: Sequence[StopLine]) -> str:
    """Say what the records hold about how firmly the stones stand, and what nobody has looked at."""
    firm = [stop for stop in stops if stop.stone.get("stability") == "firm"]
    dates = [stop.stone["stability_on"] for stop in firm if stop.stone.get("stability_on")]
    first = sum(1 for stop in stops if stop.work.get("first_step"))
    oldest = f" (the oldest check {min(dates)})" if dates else ""
    leader = (
        f"; {'it' if len(stops) == 1 else first} start{'s' * (first == 1)} with the leader's check" if first else ""
    )
    count = "The stone is" if len(stops) == len(firm) == 1 else "The stone is not" if len(stops) == 1 else (
        f"{len(firm) or 'None'} of {len(stops)} stones {'is' if len(firm) < 2 else 'are'}"
    )  # fmt: skip
    return (
        f"{count} recorded as firm{oldest}{leader}. Not checked: how they stand today, "
        f"the ground, the weather, what lives there."
    )


def _zones(site: Site, stops: Sequence[StopLine]) -> str:
    ids = {stop.stone_id for stop in stops}
    links = [row for row in words.records(site, "wetting_links") if row["stone_id"] in ids]
    zones = sorted({str(row["zone_id"]) for row in links if row["zone_id"] is not None})
    if not links:
        return ""
    named = f"zone {zones[0]} reaches" if len(zones) == 1 else f"zones {words.listed(zones, 12)} reach"
    which = named if zones else "heads reach"
    return f"{which} today's stones and must be off: ask the leader whether the request was signed."


class _Code(sheet.Drawn):
    """Day and plan as a square code for a scanner; never a web address."""

    def __init__(self, text: str, side: float) -> None:
        super().__init__(side, side, self._squares)
        self._code = QrCodeWidget(text, barLevel="M").qr
        self._code.make()

    def _squares(self, canvas: Canvas) -> None:
        count = self._code.getModuleCount()
        # four modules of white around it, as the standard of the code asks
        step = self.width / (count + 8)
        for row in range(count):
            for column in range(count):
                if self._code.isDark(row, column):
                    left, low = (column + 4) * step, (count + 3 - row) * step
                    canvas.rect(left, low, step, step, stroke=0, fill=1)
