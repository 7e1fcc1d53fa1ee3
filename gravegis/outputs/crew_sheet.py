"""One printed sheet per crew and day, and one list of the stones nobody visits.

Stones to work on are the only ones named on a crew sheet, each once, as the heading of its row; everything else is
told by place, so that nobody starts on a stone that was only mentioned.
"""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Any

from reportlab.graphics.barcode.qr import QrCodeWidget
from reportlab.lib.units import mm
from reportlab.platypus import Flowable, KeepTogether, Spacer, Table

from gravegis.outputs import currency, symbols, words
from gravegis.outputs import paper as sheet
from gravegis.outputs.crew_map import STRIP, CrewMap, day_shape
from gravegis.outputs.days import crew_days, crew_file, file_stem
from gravegis.outputs.not_today import RESTS_ON, not_today
from gravegis.outputs.paper import BOLD, SMALL, Blank, CheckBox, Head, Part, box, para
from gravegis.science.care.steps import steps_of
from gravegis.science.care.treatment import LOOK_FIRST, LOOK_PLAN, steps_for

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from reportlab.pdfgen.canvas import Canvas

    from gravegis.outputs.days import CrewDay, StopLine
    from gravegis.site import Site

__all__ = ["crew_sheet", "write_crew_sheets"]

COLUMNS = ("stop, done", "stone and how to recognise it", "time", "what to do", "done / not done because")
WIDTHS = (0.095, 0.415, 0.075, 0.2, 0.215)
"""Shares of the width, own choice."""

# What a crew must know: practice of the trade in own words; figures without a source are said to have none.
STOP_AND_CALL = (
    "It moves, or leans more than was noted",
    "Grains, flakes, a hollow sound, an open crack",
    "Paint, gold, inlay, a portrait, lead or metal",
    "The stone is not the one described",
    "A colour that is not the growth's own",
    "Something buried, or human remains",
    "Anyone objects",
    "The film dries before you can brush",
    "Stone hot to the hand, or colder than 5 °C",
    "A nest, a snake, broken glass; thunder",
)
BEFORE = (
    ("Never alone:", "two people in sight of each other, always. Minors handle no chemicals."),
    ("Unstable stones:", "nobody stands, kneels, sits or eats where a stone could fall. Do not lean on it, rock it or "
     "test it by force. This sheet does not say that a stone may be leaned on."),
    ("Heat:", "drink before you are thirsty, rest in the shade. Never wet a stone that is hot to the hand."),
    ("Cold:", "no wet work below 5 °C or with frost expected in the next 24 to 48 h (common practice, no source)."),
    ("Thunder:", "at the first thunder stop and go indoors or into a vehicle; wait 30 min after the last."),
    ("Animals:", "look before you reach. Ask what lives here: snakes, spiders, ticks, stinging insects."),
    ("Ground:", "sunken or hollow ground, vaults, wet grass, glass, low boughs, vehicles and mowers."),
    ("Water is heavy:", "20 L weigh 20 kg. Cart it. Rinse only with water known as drinking water."),
    ("Cleaner:", "the label of the product decides: strength, time on the stone, gloves, goggles, first aid. Never mix "
     "it with bleach or soap. Keep it out of drains and ponds."),
    ("Take along:", "this sheet, pencil, camera, gloves, goggles, soft brushes, wooden or soft plastic sticks, "
     "drinking water."),
)  # fmt: skip
MOST_SIGNS = 240
"""Signs of one line about a stone that are printed, so that several stops stand on a page; own choice."""
GRADES = "How bad: 0 none, 1 minor, 2 moderate, 3 major"
BLANKS = ("Ambulance: address", "Gate and where it is", "First aid, eyewash", "Nearest help, phone")
TO_WRITE = (
    "Who worked today", "Water used, where from", "",
    "Found beneath, or seen on stones that are not on the list", "",
)  # fmt: skip
DO_NOT_START = "do not start work by this sheet, ask for a new one."
MATCH = (
    "Compare each stone with its description before you touch it; a position alone never proves that it is the right "
    "one. If it does not match: stop, photograph, ask."
)


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
    written: list[Path] = []
    for day in crew_days(site):
        if not day.stops:
            continue
        written.append(folder / f"{crew_file(day, taken=[file.stem for file in written])}.pdf")
        written[-1].write_bytes(crew_sheet(site, day, made_on=made_on, paper=paper))
    if site.has("unplanned"):
        written.append(folder / "not_today.pdf")
        written[-1].write_bytes(not_today(site, made_on=made_on, paper=paper))
    return written


def crew_sheet(site: Site, day: CrewDay, *, made_on: str = "", paper: str = "A4") -> bytes:
    """Return the sheet of one crew and day as PDF: front page with map, stops, steps, what stays, what was assumed."""
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
    story = [*_front(site, day, code, width, height), *_stops(day, width), *_after(site, day, width)]
    return sheet.build([Part(head, story)], title=f"{head.title}, {site.info.title}", paper=paper)


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
    """Return the first page: who, the day in a line, what to know, the map, and when to stop."""
    third = width / 3 - 6
    names = Table(
        [[Blank("Leader", third), Blank("Phone", third), Blank("Started, ended", third)]], colWidths=[width / 3] * 3
    )
    names.setStyle(sheet.BARE)
    wide = width - 22 * mm
    facts = Table([[_facts(site, day), _Code(code, 22 * mm)]], colWidths=[wide, 22 * mm])
    facts.setStyle([*sheet.BARE, ("TOPPADDING", (0, 0), (-1, -1), 5), ("ALIGN", (1, 0), (1, 0), "RIGHT")])
    stop = box("STOP and call the conservator", [para(f"• {one}", sheet.sized(10)) for one in STOP_AND_CALL], width,
               heavy=True, columns=2, mark=True)  # fmt: skip
    top = [names, facts]
    left = height - sum(one.wrap(width, height)[1] for one in (*top, stop)) - 14
    return [*top, Spacer(0, 5), _middle(site, day, width, left), Spacer(0, 5), stop, Spacer(0, 3)]


def _middle(site: Site, day: CrewDay, width: float, height: float) -> Flowable:
    """Return 'before you start' and the map: beside each other where the ground is tall, else one above the other."""
    shape = day_shape(day) if day.stops else None
    if shape is None:
        return _before(width, height, columns=1)
    if shape > 0.85:
        wide = min(max((height - STRIP) / shape, 0.42 * width), 0.58 * width)
        beside = _before(width - wide - 5, height, columns=1)
        both = Table([[beside, CrewMap(site, day, wide, height)]], colWidths=[width - wide, wide])
        both.setStyle(sheet.BARE)
        return both
    above = _before(width, height * 0.45, columns=2)
    rest = height - above.wrap(width, height)[1] - 5
    return KeepTogether([above, Spacer(0, 5), CrewMap(site, day, width, rest)])


def _before(width: float, height: float, *, columns: int) -> Flowable:
    """Return what to know and fill in before the start, in the largest letters that fit a height."""
    made: Flowable = Spacer(0, 0)
    for size in (9.5, 9, 8.5, 8):
        style = sheet.sized(size)
        lines: list[Flowable] = [Blank(text, width / columns - 10, size=size, high=size * 2.3) for text in BLANKS]
        lines += [para(text, style, lead=lead) for lead, text in BEFORE]
        made = box("Before you start", lines, width, columns=columns)
        if made.wrap(width, height)[1] <= height:
            break
    return made


def _facts(site: Site, day: CrewDay) -> list[Flowable]:
    facts, stops = day.facts, day.stops
    said = [f"{words.sentence(words.counted(len(stops), 'stone'))} for this crew today"]
    if words.clock(facts.get("leave_at")) and stops:
        said.append(f"leave the base {words.clock(facts['leave_at'])}, back {words.clock(facts.get('back_at')) or '—'}")
    if words.minutes(facts.get("work_min")) and stops:
        said.append(f"{words.minutes(facts['work_min'])} of work")
    if facts.get("walk_m") is not None and stops:
        said.append(f"about {round(facts['walk_m'] / 10) * 10} m on foot")
    lines = [para(", ".join(said) + ".", BOLD)]
    if day.crew.get("carries"):
        lines.append(para(str(day.crew["carries"]), lead="You carry:"))
    lines.append(para(_checked(stops), lead="Checked:") if stops else para("See not_today.pdf for what waits and why."))
    zones = _zones(site, stops)
    if zones:
        lines.append(para(zones, lead="Sprinklers:"))
    return lines


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
        f"the ground around them, the weather, what lives there."
    )


def _zones(site: Site, stops: Sequence[StopLine]) -> str:
    ids = {stop.stone_id for stop in stops}
    links = [row for row in words.records(site, "wetting_links") if row["stone_id"] in ids]
    zones = sorted({str(row["zone_id"]) for row in links if row["zone_id"] is not None})
    if not links:
        return ""
    named = f"zone {zones[0]} reaches" if len(zones) == 1 else f"zones {words.listed(zones, 12)} reach"
    which = named if zones else "heads reach"
    return (
        f"{which} today's stones. Ask for them to be off from the evening before until 24 h after (common practice, no "
        f"source); the label of a cleaner may ask for longer."
    )


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


def _stops(day: CrewDay, width: float) -> list[Flowable]:
    """Return the list of stops; its head comes back on every page and no stop is torn apart."""
    if not day.stops:
        return []
    widths = [share * width for share in WIDTHS]
    table = sheet.grid(COLUMNS, [_stop_cells(stop, widths) for stop in day.stops], widths)
    return [Spacer(0, 6), para(MATCH, BOLD), Spacer(0, 3), table]


def _stop_cells(stop: StopLine, widths: Sequence[float]) -> list[Any]:
    title, size = sheet.fitted(stop.stone_id, 12, widths[1] - 8, bold=True, least=6)
    return [
        _Tick(stop.seq, widths[0] - 6),
        [para(title, sheet.sized(size, bold=True)), *_recognise(stop)],
        [para(line) for line in _times(stop)],
        _to_do(stop),
        _to_write(stop, widths[4] - 6),
    ]


def _to_write(stop: StopLine, width: float) -> list[Flowable]:
    """Return room to write; for a stone to be looked at, what is to be noted."""
    if stop.work.get("treatment") != LOOK_FIRST:
        return [Spacer(0, 15 * mm)]
    return [Blank(text, width, size=7, high=6.4 * mm) for text in ("harm", "how bad 0 1 2 3, face", "")]


def _recognise(stop: StopLine) -> list[Flowable]:
    stone = stop.stone
    # a tag that repeats the id would name the stone twice
    tag = f"tag {stone['tag']}" if stone.get("tag") and stone["tag"] != stop.stone_id else ""
    mark = f"“{stone['find_me']}”" if stone.get("find_me") else ""
    place = words.place(stone)
    where = "; ".join(filter(None, [place, stop.neighbours, "" if place else stop.from_before]))
    lines = [para(", ".join(filter(None, [mark, tag])), BOLD, most=MOST_SIGNS)] if mark or tag else []
    shown = [para(words.sentence(text), most=MOST_SIGNS) for text in (where, words.looks(stone)) if text]
    return [*lines, *shown] or [para("Nothing is recorded to recognise it by: ask before you start.")]


def _times(stop: StopLine) -> list[str]:
    start, end = words.clock(stop.stop.get("arrive_at")), words.clock(stop.stop.get("leave_at"))
    length = stop.stop.get("work_min")
    return [one for one in (start, f"– {end}" if end else "", words.minutes(length)) if one]


def _to_do(stop: StopLine) -> list[Flowable]:
    work = stop.work
    lines: list[Flowable] = []
    if work.get("hold"):
        lines.append(para(work["hold"], lead="Held:"))
    if work.get("first_step"):
        lines.append(CheckBox(str(sheet.clean(work["first_step"], 40)), side=4 * mm))
    treatment = work.get("treatment") or "No treatment was worked out: look and record, clean nothing"
    way = f" ({work['method']})" if work.get("method") else ""
    lines.append(para(f"{words.sentence(str(treatment))}{way}"))
    if work.get("not_from"):
        lines.append(para(f"not from {words.clock(work['not_from'])} to {words.clock(work['not_to'])}", lead="Wet it"))
    if work.get("due_on"):
        lines.append(para(work["due_on"], lead="Look again:"))
    if work.get("who") not in (None, "crew"):
        lines.append(para(work["who"], lead="Only:"))
    stays = words.staying(work.get("reasons"))
    if stays:
        lines.append(para(f"{words.listed(stays, 4)}. Leave it.", lead="Stays:"))
    return lines


class _Tick(sheet.Drawn):
    """The number of a stop as on the map, and a box to tick."""

    def __init__(self, seq: int, width: float) -> None:
        super().__init__(width, 7 * mm, partial(self._draw_both, str(seq)))

    def _draw_both(self, text: str, canvas: Canvas) -> None:
        side, middle = 6.4 * mm, 3.4 * mm
        sheet.draw_mark(canvas, symbols.symbol("stop"), (side / 2, middle), side)
        size = 10 if len(text) < 3 else 7.5
        canvas.setFillColorRGB(0, 0, 0)
        canvas.setFont(sheet.BOLD_FONT, size)
        canvas.drawCentredString(side / 2, middle - size * 0.36, text)
        canvas.setLineWidth(0.9)
        canvas.rect(side + 2 * mm, middle - 2.5 * mm, 5 * mm, 5 * mm)


def _after(site: Site, day: CrewDay, width: float) -> list[Flowable]:
    """Return what follows the list: what stays, how the work is done, what to write down, what was assumed."""
    story: list[Flowable] = []
    if day.stops:
        story += [Spacer(0, 6), KeepTogether(box("What will NOT come off today", _stays(day), width))]
        for way, steps, stops in _ways(day):
            lines = [para(f"{k}. {step}", sheet.NOTE) for k, step in enumerate(steps, 1)]
            # two columns cannot go on over a page, so a list that might fill one stands in a single column
            columns = 2 if sum(map(len, steps)) < 2500 else 1
            story += [
                Spacer(0, 6),
                KeepTogether(box(f"How to: {way}, stops {', '.join(stops)}", lines, width, columns=columns)),
            ]
        blanks: list[Flowable] = [Blank(text, width - 10) for text in TO_WRITE]
        story += [Spacer(0, 6), KeepTogether(box("Write down before you leave", blanks, width))]
    assumed = [*words.assumed(site, RESTS_ON), *_times_basis(site)]
    assumed += [f"Setting changed: {one}" for one in words.changed_settings(site, RESTS_ON)]
    lines = [para(f"– {one}", SMALL) for one in assumed] or [para("Nothing was recorded as assumed.", SMALL)]
    return [*story, Spacer(0, 6), box("Assumed", lines, width)]


def _times_basis(site: Site) -> list[str]:
    zone = site.info.time_zone
    return [f"Times are civil time, {zone}." if zone else "Times are civil time of the site; no time zone was given."]


def _stays(day: CrewDay) -> list[Flowable]:
    """Name the harms a crew leaves alone, with the stops where they are, in a volunteer's words."""
    found: dict[str, list[str]] = {}
    for stop in day.stops:
        for harm in words.staying(stop.work.get("reasons")):
            found.setdefault(harm, []).append(str(stop.seq))
    where = [
        para(f"stop{'' if len(stops) == 1 else 's'} {', '.join(stops)}. A conservator's work: do not try.",
             lead=f"{words.sentence(harm)}:", most=2000)
        for harm, stops in found.items()
    ]  # fmt: skip
    general = para(
        "Rust, white lime crust, salts, black crust, paint, wax and oil stay, wherever you meet them. No scraper, no "
        "acid, no bleach, no wire brush, no pressure washer. The aim is clean, not new."
    )
    return [*(where or [para("Nothing is recorded at today's stops.")]), general]


def _ways(day: CrewDay) -> list[tuple[str, tuple[str, ...], list[str]]]:
    """Return what is done today, its steps, and the stops it is done at; stones with other steps stand apart."""
    made: dict[tuple[str, tuple[str, ...]], list[str]] = {}
    for stop in day.stops:
        treatment, typed = stop.work.get("treatment"), stop.work.get("steps")
        if not treatment:
            continue
        own = tuple(one.strip() for one in str(typed).split("|")) if typed else ()
        steps = own or steps_for(treatment) or (steps_of(LOOK_PLAN) if treatment == LOOK_FIRST else ())
        steps = (*steps, GRADES) if treatment == LOOK_FIRST else steps
        way = f"{treatment} ({stop.work['method']})" if stop.work.get("method") else treatment
        made.setdefault((way, steps), []).append(str(stop.seq))
    return [(way, steps, stops) for (way, steps), stops in made.items()]
