"""The worklist on paper: what each block of stones needs and what to load, and whose leave must be asked for."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from reportlab.platypus import KeepTogether, Spacer

from gravegis.analyses.worklist import ANALYSIS
from gravegis.outputs import currency, words
from gravegis.outputs import paper as sheet
from gravegis.outputs.crew_words import BEFORE, STOP_AND_CALL
from gravegis.outputs.paper import SMALL, Head, Part, box, para
from gravegis.outputs.pictures import photos_above, pictures_page
from gravegis.science.care.limits import DAY_LIMITS
from gravegis.science.care.steps import AGREED
from gravegis.science.care.supplies import load_for

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from reportlab.platypus import Flowable

    from gravegis.analyses.worklist.settings import WorklistSettings
    from gravegis.science.care.supplies import Load
    from gravegis.site import Site

__all__ = ["to_ask", "worklist_page", "write_worklist_pages"]

RESTS_ON = ("worklist", "condition", "clusters", "wetting")
"""Analyses whose assumptions are printed, the nearest first."""
BLOCK_WIDTHS = (0.15, 0.13, 0.09, 0.06, 0.11, 0.08, 0.38)
LIST_WIDTHS = (0.075, 0.04, 0.055, 0.325, 0.15, 0.045, 0.31)
ASK_WIDTHS = (0.12, 0.4, 0.48)
"""Shares of the width, own choice."""
MOST, MOST_LOOKS = 400, 1000
"""Stones to clean and to look at that are printed; own choice, a longer list is for the table."""
NO_BLOCK = "outside every group"
SHORT = {"scrub now": "cleaner, scrub now", "apply and leave": "cleaner, leave on", "water only": "water, soft brush"}
LOOK = "look and record"
NEVER = tuple(
    one for one in BEFORE if one[0] in {"Never alone:", "Unstable stones:", "Animals:", "Ground:", "Cleaner:"}
)
"""What the crew sheets say before the start that no limit above covers."""
_LITRES = re.compile(r"(\d+(?:\.\d+)?)\s*(?:l|litres?|liters?)\b", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class _Row:
    """A stone of the worklist with the rows of ``stones`` and of its group."""

    work: Mapping[str, Any]
    stone: Mapping[str, Any]
    block: str

    @property
    def goes_out(self) -> bool:
        """Whether a crew may go to it."""
        return self.work["who"] == "crew" and not self.work["hold"]

    @property
    def is_held(self) -> bool:
        """Whether a crew would go to it but for what holds it."""
        return self.work["who"] == "crew" and bool(self.work["hold"])


def write_worklist_pages(site: Site, folder: Path, *, made_on: str = "", paper: str = "A4") -> list[Path]:
    """Write ``worklist.pdf``, ``to_ask.pdf`` where leave is missing and ``pictures.pdf`` where photos are on file.

    Photos are those kept in the site folder, in which `folder` lies. Returns the files.
    """
    folder.mkdir(parents=True, exist_ok=True)
    files = [folder / "worklist.pdf"]
    files[0].write_bytes(worklist_page(site, made_on=made_on, paper=paper))
    asked = to_ask(site, made_on=made_on, paper=paper)
    if asked is not None:
        files.append(folder / "to_ask.pdf")
        files[-1].write_bytes(asked)
    seen = pictures_page(site, photos_above(folder), made_on=made_on, paper=paper)
    if seen is not None:
        files.append(folder / "pictures.pdf")
        files[-1].write_bytes(seen)
    return files


def worklist_page(site: Site, *, made_on: str = "", paper: str = "A4") -> bytes:
    """Return the worklist: blocks with their minutes and litres, the load, limits of the day, then every stone."""
    width, _ = sheet.room(paper)
    rows = _rows(site)
    out, order = [row for row in rows if row.goes_out], _in_order(rows)
    load = [_load(site, out, width), Spacer(0, 6)] if _total(out, "water_l") else []
    limits = [para(text, SMALL, lead=f"{name.rstrip(chr(58))}:") for name, text in (*DAY_LIMITS, *NEVER)]
    story: list[Flowable] = [
        box("STOP and call the conservator", [para(f"• {one}", sheet.sized(10)) for one in STOP_AND_CALL], width,
            heavy=True, columns=2, mark=True),
        Spacer(0, 6), *load, box("Limits of the day", limits, width), Spacer(0, 6), *_blocks(rows, order, width),
        Spacer(0, 6), *_cleaned(out, order, width), *_looked_at(out, width), *_conservator(rows, width),
        _assumed(site, width),
    ]  # fmt: skip
    held = sum(1 for row in rows if row.is_held)
    head = Head(
        title="Worklist",
        line=f"{site.info.title}. {words.sentence(words.counted(len(out), 'stone'))} may go out, {held} are held.",
        foot=words.made(made_on, "Local rules and the label of the product come before this list."),
        warning=currency.mark(site, RESTS_ON),
    )
    return sheet.build([Part(head, story)], title=f"Worklist, {site.info.title}", paper=paper)


def _rows(site: Site) -> list[_Row]:
    stones = {row["stone_id"]: row for row in words.records(site, "stones")}
    blocks = {row["stone_id"]: row["cluster_id"] for row in words.records(site, "stone_clusters")}
    made = [
        _Row(work, stones.get(work["stone_id"], {}), blocks.get(work["stone_id"]) or NO_BLOCK)
        for work in words.records(site, "worklist")
    ]
    return sorted(made, key=lambda row: (-(row.work["priority"] or 0), row.block, words.in_order(row.work["stone_id"])))


def _in_order(rows: Sequence[_Row]) -> dict[str, list[_Row]]:
    """Return the stones of each block, the block with most urgent work first, what lies outside every group last."""
    groups: dict[str, list[_Row]] = {}
    for row in rows:
        groups.setdefault(row.block, []).append(row)

    def urgency(name: str) -> tuple[bool, int, str]:
        urgent = sum(1 for row in groups[name] if row.goes_out and row.work["priority"] == 3)
        return name == NO_BLOCK, -urgent, name

    return {name: groups[name] for name in sorted(groups, key=urgency)}


def _blocks(rows: Sequence[_Row], order: Mapping[str, list[_Row]], width: float) -> list[Flowable]:
    """Return a table of the blocks a crew can do something in."""
    open_ = {name: group for name, group in order.items() if any(row.goes_out or row.is_held for row in group)}
    names = ("block", "sections", "may go out", "held", "minutes", "water", "what for")
    cells = [_block_cells(name, group) for name, group in open_.items()]
    table = sheet.grid(names, cells, [share * width for share in BLOCK_WIDTHS], tight=True)
    shut_n = len(order) - len(open_)
    rest = [para(f"{words.counted(shut_n, 'more block')}: nothing a crew may do there.", sheet.NOTE)] if shut_n else []
    return [para("By block", sheet.HEAD), Spacer(0, 3), table, *rest]


def _block_cells(name: str, rows: Sequence[_Row]) -> list[Any]:
    style = sheet.sized(8)
    out = [row for row in rows if row.goes_out]
    sections = sorted({str(row.stone["section"]) for row in rows if row.stone.get("section")})
    kinds: dict[str, int] = {}
    for row in out:
        kinds[_what(row)] = kinds.get(_what(row), 0) + 1
    what = "; ".join(f"{count} {kind}" for kind, count in sorted(kinds.items(), key=lambda one: (-one[1], one[0])))
    return [
        para(name, sheet.sized(8, bold=True)),
        para(words.listed(sections, 4) if sections else "—", style),
        para(len(out), style),
        para(sum(1 for row in rows if row.is_held), style),
        para(words.minutes(_total(out, "work_min")) or "—", style),
        para(f"{_total(out, 'water_l'):.0f} l" if _total(out, "water_l") else "—", style),
        para(what or "nothing a crew may do", style),
    ]


def _total(rows: Sequence[_Row], name: str) -> float:
    return float(sum(row.work[name] or 0.0 for row in rows))


def _load(site: Site, out: Sequence[_Row], width: float) -> Flowable:
    """Return what all of it takes, in whole containers."""
    crews, set_ = words.records(site, "crews"), _settings(site)
    good = any(tap["fit_to_drink"] for tap in words.records(site, "taps"))
    share = [_share(row) for row in out]
    load = load_for(
        [row.work["water_l"] or 0.0 for row in out], [row.work["cleaner_l"] or 0.0 for row in out], share,
        people_n=sum(int(row["people_n"] or 2) for row in crews) or 2, good_tap=good,
        container_l=set_.container_l, cleaner_container_l=set_.cleaner_container_l,
    )  # fmt: skip
    where = (
        "a tap known as drinking water is there" if good
        else "no tap is known as drinking water: bring all of it, never the water that stained the stones"
    )  # fmt: skip
    known = not math.isnan(load.concentrate_l)
    mix = (
        f"about {load.concentrate_l:.1f} l as sold, unless its label says otherwise"
        if known
        else "mixed as its label says"
    )
    lines = [
        para(f"{load.water_l:.0f} l, {load.water_containers_n} containers of {set_.container_l:g} l; {where}.",
             lead="Water:"),
        para(f"{load.cleaner_l:.1f} l ready to use ({mix}), {load.cleaner_containers_n} containers of "
             f"{set_.cleaner_container_l:g} l. None to spare is poured out: take it back.", lead="Cleaner:"),
        para(f"{load.brushes_n} soft brushes, {load.sticks_n} sticks of wood or soft plastic, gloves, goggles, long "
             f"sleeves, eyewash, a surface thermometer.", lead="Tools:"),
        para(f"a full container weighs {load.heaviest_kg:.0f} kg: cart it, two people lift. {_carried(crews, load)}",
             lead="Weight:"),
        para("Amounts: common practice, no source. For one day, take the share of the stones on its sheets.", SMALL),
    ]  # fmt: skip
    return box("To load, for all that may go out", lines, width)


def _settings(site: Site) -> WorklistSettings:
    """Return the settings the worklist was made with."""
    saved = next((record.settings for record in site.log if record.analysis == ANALYSIS.name), {})
    return ANALYSIS.read({}, saved)


def _share(row: _Row) -> float:
    """Return the share of a stone's cleaner that is the product as sold; NaN where only the label knows."""
    cleaner_l, sold_l = row.work["cleaner_l"], row.work["concentrate_l"]
    return 0.0 if not cleaner_l else math.nan if sold_l is None else float(sold_l) / float(cleaner_l)


def _carried(crews: Sequence[Mapping[str, Any]], load: Load) -> str:
    """Return how often the crews fill what they carry at a time, as typed in `crews`: by hand, cart or tank."""
    ways: dict[str, list[float]] = {}
    for crew in crews:
        found = _LITRES.search(str(crew["carries"] or ""))
        if found:
            ways.setdefault(str(crew["carries"]), []).append(float(found[1]))
    at_once = sum(map(sum, ways.values()))
    if not at_once:
        return "What the crews carry at a time is not on file."
    said = "; ".join(f"{len(each)} x {way}" if len(each) > 1 else way for way, each in ways.items())
    return f"Carried at a time: {said}; so about {math.ceil(load.water_l / at_once)} rounds of filling for all of it."


def _cleaned(out: Sequence[_Row], order: Mapping[str, list[_Row]], width: float) -> list[Flowable]:
    """Return the stones to clean, block after block, most urgent first in each."""
    style, places = sheet.sized(7.5), {name: place for place, name in enumerate(order)}
    wanted = [row for row in out if row.work["method"]]
    cells = [
        [
            para(row.work["stone_id"], sheet.sized(7.5, bold=True)),
            para(row.work["priority"] or "", style),
            para("—" if row.block == NO_BLOCK else row.block, style),
            para(words.place(row.stone) or "place not recorded", style),
            para(_what(row), style),
            para(f"{row.work['work_min'] or 0:.0f}", style),
            para(_beware(row), style),
        ]
        for row in sorted(wanted[:MOST], key=lambda row: places[row.block])
    ]
    names = ("stone", "first", "block", "where", "how", "min", "note")
    table = sheet.grid(names, cells, [share * width for share in LIST_WIDTHS], tight=True)
    title = "Stones to clean, block by block (first: 3 before 2 before 1)"
    return [para(title, sheet.HEAD), Spacer(0, 3), table, *_rest(wanted, MOST), Spacer(0, 6)] if wanted else []


def _looked_at(out: Sequence[_Row], width: float) -> list[Flowable]:
    """Return the stones to look at, a line a row of the ground, those to be seen first before others."""
    wanted = [row for row in out if not row.work["method"]]
    if not wanted:
        return []
    lines: list[Flowable] = [para("Stones to look at and record; nothing is cleaned there", sheet.HEAD), Spacer(0, 2)]
    lines.append(para("* the leader checks first. Numbers count from the path.", sheet.NOTE))
    for first in sorted({row.work["priority"] or 0 for row in wanted[:MOST_LOOKS]}, reverse=True):
        places: dict[str, list[_Row]] = {}
        for row in wanted[:MOST_LOOKS]:
            if (row.work["priority"] or 0) == first:
                places.setdefault(_row_of(row.stone), []).append(row)
        lines += [Spacer(0, 3), para(f"First: {first}", sheet.BOLD)]
        lines += [
            para(
                " · ".join(map(_short, sorted(places[name], key=_place_n))),
                sheet.sized(8),
                lead=f"{name} ({len(places[name])}):",
                most=10**6,
            )
            for name in sorted(places, key=words.in_order)
        ]
    return [*lines, *_rest(wanted, MOST_LOOKS), Spacer(0, 6)]


def _rest(wanted: Sequence[_Row], most: int) -> list[Flowable]:
    rest = len(wanted) - most
    return [para(f"and {rest} more, less urgent: all in worklist.csv", sheet.NOTE)] if rest > 0 else []


def _row_of(stone: Mapping[str, Any]) -> str:
    """Return the row of the ground a stone stands in, in words."""
    return words.place({**stone, "place_in_row": None}) or "Place not recorded"


def _place_n(row: _Row) -> float:
    count = row.stone.get("place_in_row")
    return math.inf if count is None else float(count)


def _short(row: _Row) -> str:
    count = row.stone.get("place_in_row")
    place = "" if count is None or not row.stone.get("row") else f" {words.ordinal(int(count))}"
    return f"{row.work['stone_id']}{place}{' *' if row.work['first_step'] else ''}"


def _what(row: _Row) -> str:
    """Return in two or three words what a crew does."""
    return SHORT.get(row.work["method"] or "", LOOK)


def _beware(row: _Row) -> str:
    """Return what is special about a stone in a few words."""
    hot = f"not wetted {row.work['not_from'][:5]}–{row.work['not_to'][:5]}" if row.work["not_from"] else ""
    spray = "mend the spray" if row.work["fix_spray"] and row.work["method"] else ""
    agreed = "read what was agreed" if (row.work["steps"] or "").startswith(AGREED) else ""
    return "; ".join(filter(None, [row.work["first_step"], agreed, spray, hot]))


def _conservator(rows: Sequence[_Row], width: float) -> list[Flowable]:
    """Return what stays for the conservator, counted by harm; crews do nothing about it."""
    harms: dict[str, int] = {}
    for row in rows:
        for harm in filter(None, (row.work["stays"] or "").split(" | ")):
            harms[harm] = harms.get(harm, 0) + 1
    lines = [
        para(f"{words.counted(count, 'stone')}", lead=f"{words.sentence(words.phrase(harm) or harm)}:")
        for harm, count in sorted(harms.items(), key=lambda one: (-one[1], one[0]))
    ]
    return (
        [box("Will not come off by a crew: the conservator's", lines, width, columns=2), Spacer(0, 6)] if lines else []
    )


def _assumed(site: Site, width: float) -> Flowable:
    lines = [para(f"– {one}", SMALL) for one in words.assumed(site, RESTS_ON)]
    return box("Assumed", lines or [para("Nothing was recorded as assumed.", SMALL)], width)


def to_ask(site: Site, *, made_on: str = "", paper: str = "A4") -> bytes | None:
    """Return the list of who must be asked for leave, with the stones of each; None where nobody is missing."""
    stones = {row["stone_id"]: row for row in words.records(site, "stones")}
    groups: dict[str, list[tuple[str, str]]] = {}
    for work in words.records(site, "worklist"):
        if work["hold"] is None:
            continue
        said = zip(words.reason_values(work["reasons"]), words.reasons(work["reasons"]), strict=True)
        for one, why in said:
            # what a conservator does at a young burial is asked for when it is planned, not by this list
            if work["who"] != "crew" and one["code"] == "permission_young":
                continue
            if one["code"].startswith("permission_"):
                whose = str(one["values"].get("whose") or "right-holder")
                groups.setdefault(whose, []).append((work["stone_id"], why))
    if not groups:
        return None
    width, _ = sheet.room(paper)
    story: list[Flowable] = []
    for whose, listed in sorted(groups.items(), key=lambda one: (-len(one[1]), one[0])):
        cells = [
            [
                para(stone_id, sheet.sized(8, bold=True)),
                para(_told(stones.get(stone_id, {})), sheet.sized(8)),
                para(why, sheet.sized(8)),
            ]
            for stone_id, why in sorted(listed, key=lambda one: words.in_order(one[0]))[:MOST]
        ]
        table = sheet.grid(("stone", "which", "why"), cells, [share * width for share in ASK_WIDTHS], tight=True)
        title = para(f"{words.sentence(whose)} ({len(listed)})", sheet.HEAD)
        story += [KeepTogether([title, Spacer(0, 3)]), table, Spacer(0, 8)]
    head = Head(
        title="Whose leave to ask for",
        line=f"{site.info.title}. These stones wait; nothing is cleaned before the answer is on file.",
        foot=words.made(made_on, "Rules differ by country and ground: ask. This is no legal advice."),
        warning=currency.mark(site, RESTS_ON),
    )
    return sheet.build([Part(head, story)], title=f"Whose leave to ask for, {site.info.title}", paper=paper)


def _told(stone: Mapping[str, Any]) -> str:
    mark = f"“{stone['find_me']}”" if stone.get("find_me") else ""
    return "; ".join(filter(None, [mark, words.place(stone), words.looks(stone, short=True)])) or "not described"
