"""The worklist on paper: what each block of stones needs and what to load, and whose leave must be asked for."""

from __future__ import annotations

from pathlib import PurePath
from typing import TYPE_CHECKING, Any

from reportlab.lib.units import mm
from reportlab.platypus import Spacer

from gravegis.outputs import currency, words, worklist_boxes
from gravegis.outputs import paper as sheet
from gravegis.outputs.crew_words import BEFORE, STOP_AND_CALL
from gravegis.outputs.leave_page import to_ask
from gravegis.outputs.paper import SMALL, Head, Part, box, para
from gravegis.outputs.pictures import newest_photos, photos_above, pictures_page, thumbnail
from gravegis.outputs.worklist_rows import (
    NO_BLOCK,
    Row,
    in_blocks,
    place_n,
    row_of,
    rows_of,
    short_name,
    short_place,
    total,
    what,
)
from gravegis.science.care.limits import DAY_LIMITS
from gravegis.science.care.steps import AGREED

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from reportlab.platypus import Flowable

    from gravegis.site import Site

__all__ = ["to_ask", "worklist_page", "write_worklist_pages"]

RESTS_ON = ("worklist", "condition", "clusters", "wetting")
"""Analyses whose assumptions are printed, the nearest first."""
BLOCK_WIDTHS = (0.15, 0.13, 0.09, 0.06, 0.11, 0.08, 0.38)
LIST_WIDTHS = (0.075, 0.05, 0.055, 0.33, 0.15, 0.045, 0.295)
"""Shares of the width, own choice."""
MOST, MOST_LOOKS = 400, 1000
"""Stones to clean and to look at that are printed; own choice, a longer list is for the table."""
MATCH_FIRST = (
    "Places count from the path. A position, a place in a row or a picture alone never proves that it is the right "
    "stone: compare inscription and tag. If it does not match: stop, photograph, ask."
)
PICTURE_HIGH = 16 * mm
"""Height of a picture in the list: own choice. [pt]"""
NEVER = tuple(
    one for one in BEFORE if one[0] in {"Never alone:", "Unstable stones:", "Ground and animals:", "Water:", "Cleaner:"}
)
"""What the crew sheets say before the start that no limit above covers."""


def write_worklist_pages(site: Site, folder: Path, *, made_on: str = "", paper: str = "A4") -> list[Path]:
    """Write ``worklist.pdf``, ``to_ask.pdf`` where leave is missing and ``pictures.pdf`` where photos are on file.

    Photos are those kept in the site folder, in which `folder` lies. Returns the files.
    """
    folder.mkdir(parents=True, exist_ok=True)
    files = [folder / "worklist.pdf"]
    files[0].write_bytes(worklist_page(site, photos_above(folder), made_on=made_on, paper=paper))
    asked = to_ask(site, made_on=made_on, paper=paper)
    if asked is not None:
        files.append(folder / "to_ask.pdf")
        files[-1].write_bytes(asked)
    seen = pictures_page(site, photos_above(folder), made_on=made_on, paper=paper)
    if seen is not None:
        files.append(folder / "pictures.pdf")
        files[-1].write_bytes(seen)
    return files


def worklist_page(site: Site, photos: Path | None = None, *, made_on: str = "", paper: str = "A4") -> bytes:
    """Return the worklist: blocks with their minutes and litres, the load, limits of the day, then every stone.

    `photos` is the folder of the pictures; without it none is printed.
    """
    width, _ = sheet.room(paper)
    rows = rows_of(site)
    out, order = [row for row in rows if row.goes_out], in_blocks(rows)
    load = [worklist_boxes.load(site, out, width), Spacer(0, 6)] if total(out, "water_l") else []
    limits = [para(text, SMALL, lead=f"{name.rstrip(chr(58))}:") for name, text in (*DAY_LIMITS, *NEVER)]
    story: list[Flowable] = [
        box("STOP and call the conservator", [para(f"• {one}", sheet.sized(10)) for one in STOP_AND_CALL], width,
            heavy=True, columns=2, mark=True),
        Spacer(0, 6), worklist_boxes.day_block(width), Spacer(0, 6),
        *load, box("Limits of the day", limits, width), Spacer(0, 6),
        *worklist_boxes.held(site, rows, width), *worklist_boxes.ways_used(site, out, width),
        *worklist_boxes.spared_ground(site, rows, width), *_blocks(rows, order, width), Spacer(0, 6),
        *_cleaned(out, order, width, _pictures(site, photos)), *_looked_at(out, width),
        *worklist_boxes.conservator(rows, width), _assumed(site, width),
    ]  # fmt: skip
    held = sum(1 for row in rows if row.is_held)
    head = Head(
        title="Worklist",
        line=f"{site.info.title}. {words.sentence(words.counted(len(out), 'stone'))} may go out, {held} are held.",
        foot=words.made(made_on, "Local rules and the label of the product come before this list."),
        warning=currency.mark(site, RESTS_ON),
    )
    return sheet.build([Part(head, story)], title=f"Worklist, {site.info.title}", paper=paper)


def _pictures(site: Site, photos: Path | None) -> dict[str, Path]:
    """Return by stone the file of its picture, where there is one and leave for it."""
    if photos is None:
        return {}
    found = {stone_id: photos / PurePath(str(row["file"])).name for stone_id, row in newest_photos(site).items()}
    return {stone_id: file for stone_id, file in found.items() if file.is_file()}


def _blocks(rows: Sequence[Row], order: Mapping[str, list[Row]], width: float) -> list[Flowable]:
    """Return a table of the blocks a crew can do something in."""
    open_ = {name: group for name, group in order.items() if any(row.goes_out or row.is_held for row in group)}
    names = ("block", "sections", "may go out", "held", "minutes", "water", "what for")
    cells = [_block_cells(name, group) for name, group in open_.items()]
    table = sheet.grid(names, cells, [share * width for share in BLOCK_WIDTHS], tight=True)
    shut_n = len(order) - len(open_)
    rest = [para(f"{words.counted(shut_n, 'more block')}: nothing a crew may do there.", sheet.NOTE)] if shut_n else []
    return [para("By block", sheet.HEAD), Spacer(0, 3), table, *rest]


def _block_cells(name: str, rows: Sequence[Row]) -> list[Any]:
    style = sheet.sized(8)
    out = [row for row in rows if row.goes_out]
    sections = sorted({str(row.stone["section"]) for row in rows if row.stone.get("section")})
    kinds: dict[str, int] = {}
    for row in out:
        kinds[what(row)] = kinds.get(what(row), 0) + 1
    done = "; ".join(f"{count} {kind}" for kind, count in sorted(kinds.items(), key=lambda one: (-one[1], one[0])))
    return [
        para(name, sheet.sized(8, bold=True)),
        para(words.listed(sections, 4) if sections else "—", style),
        para(len(out), style),
        para(sum(1 for row in rows if row.is_held), style),
        para(words.minutes(total(out, "work_min")) if out else "—", style),
        para(f"{total(out, 'water_l'):.0f} l" if total(out, "water_l") else "—", style),
        para(done or "nothing before the hold is lifted", style),
    ]


def _cleaned(
    out: Sequence[Row], order: Mapping[str, list[Row]], width: float, pictures: Mapping[str, Path]
) -> list[Flowable]:
    """Return the stones to clean, block after block, most urgent first in each."""
    style, places = sheet.sized(7.5), {name: place for place, name in enumerate(order)}
    wanted = [row for row in out if row.work["method"]]
    cells = [
        [
            para(row.work["stone_id"], sheet.sized(7.5, bold=True)),
            para(row.work["priority"] or "", style),
            para("—" if row.block == NO_BLOCK else row.block, style),
            _where(row, pictures, LIST_WIDTHS[3] * width),
            para(what(row), style),
            para(f"{row.work['work_min'] or 0:.0f}", style),
            para(_beware(row), style),
        ]
        for row in sorted(wanted[:MOST], key=lambda row: places[row.block])
    ]
    names = ("stone", "first", "block", "where", "how", "min", "note")
    table = sheet.grid(names, cells, [share * width for share in LIST_WIDTHS], tight=True)
    title = "Stones to clean, block by block (first: 3 before 2 before 1)"
    note = para(MATCH_FIRST, sheet.NOTE)
    return [para(title, sheet.HEAD), note, Spacer(0, 3), table, *_rest(wanted, MOST), Spacer(0, 6)] if wanted else []


def _where(row: Row, pictures: Mapping[str, Path], width: float) -> list[Flowable]:
    """Return where a stone stands and what to know it by, with its picture where there is one."""
    made: list[Flowable] = [para(short_place(row.stone), sheet.sized(7.5))]
    file = pictures.get(row.work["stone_id"])
    picture = None if file is None else thumbnail(file, width - 8, PICTURE_HIGH)
    if picture is not None:
        picture.hAlign = "LEFT"
        made.append(picture)
    return made


def _looked_at(out: Sequence[Row], width: float) -> list[Flowable]:
    """Return the stones to look at, a line a row of the ground, those to be seen first before others."""
    wanted = [row for row in out if not row.work["method"]]
    if not wanted:
        return []
    lines: list[Flowable] = [para("Stones to look at and record; nothing is cleaned there", sheet.HEAD), Spacer(0, 2)]
    lines.append(para("* the leader checks first. Numbers count from the path.", sheet.NOTE))
    for first in sorted({row.work["priority"] or 0 for row in wanted[:MOST_LOOKS]}, reverse=True):
        places: dict[str, list[Row]] = {}
        for row in wanted[:MOST_LOOKS]:
            if (row.work["priority"] or 0) == first:
                places.setdefault(row_of(row.stone), []).append(row)
        lines += [Spacer(0, 3), para(f"First: {first}", sheet.BOLD)]
        lines += [
            para(
                " · ".join(map(short_name, sorted(places[name], key=place_n))),
                sheet.sized(8),
                lead=f"{name} ({len(places[name])}):",
                most=10**6,
            )
            for name in sorted(places, key=words.in_order)
        ]
    return [*lines, *_rest(wanted, MOST_LOOKS), Spacer(0, 6)]


def _rest(wanted: Sequence[Row], most: int) -> list[Flowable]:
    rest = len(wanted) - most
    return [para(f"and {rest} more, less urgent: all in worklist.csv", sheet.NOTE)] if rest > 0 else []


def _beware(row: Row) -> str:
    """Return what is special about a stone in a few words."""
    hot = f"not wetted {row.work['not_from'][:5]}–{row.work['not_to'][:5]}" if row.work["not_from"] else ""
    spray = "mend the spray" if row.work["fix_spray"] and row.work["method"] else ""
    agreed = "read what was agreed" if (row.work["steps"] or "").startswith(AGREED) else ""
    near = {str(one["values"]["what"]) for one in words.reason_values(row.work["reasons"])
            if one["code"] == "ground_water_only"}  # fmt: skip
    water = f"no run-off to {', '.join(sorted(near))}" if near else ""
    return "; ".join(filter(None, [row.work["first_step"], agreed, water, spray, hot]))


def _assumed(site: Site, width: float) -> Flowable:
    lines = [para(f"– {one}", SMALL) for one in words.assumed(site, RESTS_ON)]
    return box("Assumed", lines or [para("Nothing was recorded as assumed.", SMALL)], width)
