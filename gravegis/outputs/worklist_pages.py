"""The worklist on paper: what each block of stones needs and what to load, and whose leave must be asked for."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from reportlab.platypus import KeepTogether, Spacer

from gravegis.outputs import currency, words
from gravegis.outputs import paper as sheet
from gravegis.outputs.paper import SMALL, Head, Part, box, para
from gravegis.science.care.limits import DAY_LIMITS
from gravegis.science.care.supplies import load_for

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from reportlab.platypus import Flowable

    from gravegis.site import Site

__all__ = ["to_ask", "worklist_page", "write_worklist_pages"]

RESTS_ON = ("worklist", "condition", "clusters", "wetting")
"""Analyses whose assumptions are printed, the nearest first."""
BLOCK_WIDTHS = (0.19, 0.1, 0.09, 0.09, 0.1, 0.11, 0.32)
LIST_WIDTHS = (0.1, 0.08, 0.3, 0.26, 0.08, 0.18)
ASK_WIDTHS = (0.12, 0.4, 0.48)
"""Shares of the width, own choice."""
MOST = 400
"""Stones printed; own choice, a longer list is for the table."""
CONTAINER_L, CLEANER_CONTAINER_L = 20.0, 5.0
"""Sizes of containers the load is rounded up to: own choice. [l]"""
NO_BLOCK = "outside every group"


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
    """Write ``worklist.pdf``, and ``to_ask.pdf`` where somebody's leave is missing; return the files."""
    folder.mkdir(parents=True, exist_ok=True)
    files = [folder / "worklist.pdf"]
    files[0].write_bytes(worklist_page(site, made_on=made_on, paper=paper))
    asked = to_ask(site, made_on=made_on, paper=paper)
    if asked is not None:
        files.append(folder / "to_ask.pdf")
        files[-1].write_bytes(asked)
    return files


def worklist_page(site: Site, *, made_on: str = "", paper: str = "A4") -> bytes:
    """Return the worklist: blocks with their minutes and litres, the load, limits of the day, then every stone."""
    width, _ = sheet.room(paper)
    rows = _rows(site)
    out = [row for row in rows if row.goes_out]
    load = [_load(site, out, width), Spacer(0, 6)] if _total(out, "water_l") else []
    story: list[Flowable] = [
        *_blocks(rows, width), Spacer(0, 6), *load,
        box("Limits of the day", [para(text, SMALL, lead=f"{name}:") for name, text in DAY_LIMITS], width),
        Spacer(0, 6), *_stones(out, width), Spacer(0, 6), *_conservator(rows, width), _assumed(site, width),
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


def _blocks(rows: Sequence[_Row], width: float) -> list[Flowable]:
    """Return a table of blocks, the one with most urgent work first."""
    groups: dict[str, list[_Row]] = {}
    for row in rows:
        groups.setdefault(row.block, []).append(row)

    def urgency(name: str) -> tuple[bool, int, str]:
        urgent = sum(1 for row in groups[name] if row.goes_out and row.work["priority"] == 3)
        return name == NO_BLOCK, -urgent, name

    cells = [_block_cells(name, groups[name]) for name in sorted(groups, key=urgency)]
    names = ("block", "sections", "may go out", "held", "minutes", "water", "what for")
    table = sheet.grid(names, cells, [share * width for share in BLOCK_WIDTHS], tight=True)
    return [para("By block", sheet.HEAD), Spacer(0, 3), table]


def _block_cells(name: str, rows: Sequence[_Row]) -> list[Any]:
    style = sheet.sized(8)
    out = [row for row in rows if row.goes_out]
    sections = sorted({str(row.stone["section"]) for row in rows if row.stone.get("section")})
    kinds: dict[str, int] = {}
    for row in out:
        kinds[row.work["treatment"]] = kinds.get(row.work["treatment"], 0) + 1
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
    taps = words.records(site, "taps")
    good = any(tap["fit_to_drink"] for tap in taps)
    people = sum(int(row["people_n"] or 2) for row in words.records(site, "crews")) or 2
    share = [
        (row.work["concentrate_l"] or 0.0) / row.work["cleaner_l"] if row.work["cleaner_l"] else 0.0 for row in out
    ]
    load = load_for(
        [row.work["water_l"] or 0.0 for row in out], [row.work["cleaner_l"] or 0.0 for row in out], share,
        people_n=people, good_tap=good, container_l=CONTAINER_L, cleaner_container_l=CLEANER_CONTAINER_L,
    )  # fmt: skip
    where = (
        "a tap known as drinking water is there" if good
        else "no tap is known as drinking water: bring all of it, never the water that stained the stones"
    )  # fmt: skip
    label = words.records(site, "products")
    mix = f"{load.concentrate_l:.1f} l as sold" if label else "mixed as its label says"
    lines = [
        para(f"{load.water_l:.0f} l, {load.water_containers_n} containers of {CONTAINER_L:g} l; {where}.",
             lead="Water:"),
        para(f"{load.cleaner_l:.1f} l ready to use ({mix}), {load.cleaner_containers_n} containers of "
             f"{CLEANER_CONTAINER_L:g} l. None to spare is poured out: take it back.", lead="Cleaner:"),
        para(f"{load.brushes_n} soft brushes, {load.sticks_n} sticks of wood or soft plastic, gloves, goggles, long "
             f"sleeves, eyewash, a surface thermometer.", lead="Tools:"),
        para(f"a full container weighs {load.heaviest_kg:.0f} kg: cart it, two people lift.", lead="Weight:"),
        para("Amounts: common practice, no source. For one day, take the share of the stones on its sheets.", SMALL),
    ]  # fmt: skip
    return box("To load, for all that may go out", lines, width)


def _stones(out: Sequence[_Row], width: float) -> list[Flowable]:
    style = sheet.sized(7.5)
    cells = [
        [
            para(row.work["stone_id"], sheet.sized(8, bold=True)),
            para(row.work["priority"] or "", style),
            para(words.place(row.stone) or "place not recorded", style),
            para(_what(row), style),
            para(words.minutes(row.work["work_min"]) or "", style),
            para(_beware(row), style),
        ]
        for row in out[:MOST]
    ]
    names = ("stone", "priority", "where", "what", "minutes", "note")
    rest = len(out) - MOST
    more = [para(f"and {rest} more: all in worklist.csv", sheet.NOTE)] if rest > 0 else []
    table = sheet.grid(names, cells, [share * width for share in LIST_WIDTHS], tight=True)
    return [para("Stones that may go out, most urgent first", sheet.HEAD), Spacer(0, 3), table, *more] if out else []


def _what(row: _Row) -> str:
    method = f" ({row.work['method']})" if row.work["method"] else ""
    return f"{row.work['treatment']}{method}"


def _beware(row: _Row) -> str:
    """Return what is special about a stone in a few words."""
    hot = f"not wetted {row.work['not_from']} to {row.work['not_to']}" if row.work["not_from"] else ""
    spray = "mend the spray first" if row.work["fix_spray"] and row.work["method"] else ""
    return "; ".join(filter(None, [row.work["first_step"], spray, hot]))


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
