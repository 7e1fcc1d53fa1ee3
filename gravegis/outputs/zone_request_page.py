"""One page to sign: which zone is asked to be off from when to when, and for which stones."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from reportlab.lib.units import mm
from reportlab.platypus import KeepTogether, Spacer

from gravegis.outputs import currency, words
from gravegis.outputs import paper as sheet
from gravegis.outputs.paper import NOTE, Blank, CheckBox, Head, Part, box, para

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from reportlab.platypus import Flowable

    from gravegis.site import Site

__all__ = ["zone_request_page"]

RESTS_ON = ("zone_requests", "routes", "wetting")
"""Analyses whose assumptions are printed, the nearest first."""
WIDTHS = (0.1, 0.27, 0.27, 0.2, 0.16)
"""Shares of the width, own choice."""
NAMED = 60
"""Stones named for a zone; own choice, so that a request stays on one page."""


def zone_request_page(site: Site, *, made_on: str = "", paper: str = "A4") -> bytes:
    """Return the request as PDF: a row per zone with a box to tick, the stones concerned, who signs, what it rests on.

    Raises SettingError for a paper that is not known.
    """
    rows = words.records(site, "zone_requests")
    width, _ = sheet.room(paper, warning=(late := currency.mark(site, RESTS_ON)))
    count = words.sentence(words.counted(len(rows), "request"))
    head = Head(
        title="Zones to be off for the day plan",
        line=f"{site.info.title}. {count}. For the person who runs the water.",
        right=f"plan {words.plan_hash(site)}",
        foot=words.made(made_on, "The label of a cleaner and local rules come before this page."),
        warning=late,
    )  # fmt: skip
    why = (
        "People work among these heads, and what is put on a stone must not be washed off. Please keep the zones below "
        "off, also by hand and for tests. Off from the evening before until a day after is common practice, no source; "
        "the label of the cleaner may ask for longer."
    )
    story: list[Flowable] = [para(why, sheet.sized(11)), Spacer(0, 6)]
    story += [_table(rows, width), Spacer(0, 8)] if rows else [para("No zone reaches a stone of the plan.", sheet.BOLD)]
    story += [KeepTogether(_signed(width)), Spacer(0, 6), *_stones(site, rows, width)]
    lines = [para(f"– {one}", sheet.SMALL) for one in words.assumed(site, RESTS_ON)]
    story.append(box("Assumed", lines or [para("Nothing was recorded as assumed.", sheet.SMALL)], width))
    return sheet.build([Part(head, story)], title=f"Zones to be off, {site.info.title}", paper=paper)


def _table(rows: Sequence[Mapping[str, Any]], width: float) -> Flowable:
    style = sheet.sized(11)
    cells = [
        [
            para(row["zone_id"], sheet.sized(12, bold=True)),
            para(_at(row["off_from"]), style),
            para(_at(row["on_again"]), style),
            [CheckBox("yes, off", size=11), CheckBox("no", size=11)],
            [para(words.counted(row["stones_n"] or 0, "stone"), style), para(row["answer"] or "not asked", NOTE)],
        ]
        for row in rows
    ]
    names = ("zone", "off from", "may run again from", "answer", "stones; so far")
    return sheet.grid(names, cells, [share * width for share in WIDTHS], tight=True)


def _at(text: str | None) -> str:
    """Return an instant of the table in words; days of an undated plan as they are."""
    found = re.fullmatch(r"(\d{4}-\d{2}-\d{2})T(\d{2}:\d{2})", text or "")
    return f"{words.day(found[1])}, {found[2]}" if found else text or "not known"


def _signed(width: float) -> list[Flowable]:
    half = width / 2 - 4 * mm
    lines: list[Flowable] = [
        Blank(text, half, size=11, high=10 * mm)
        for text in ("Name", "Date, signature", "Phone on the day", "Changed on the controller by")
    ]
    refused = para(
        "A zone marked no: type it in as gravegis add SITE permissions with zone_id and status refused; nobody is sent "
        "to the stones it reaches.", NOTE,
    )  # fmt: skip
    return [box("Answer of the person who runs the water", lines, width, columns=2), Spacer(0, 3), refused]


def _stones(site: Site, rows: Sequence[Mapping[str, Any]], width: float) -> list[Flowable]:
    """Name the stones of each zone, so that both sides speak of the same ones."""
    planned = {row["stone_id"] for row in words.records(site, "stops")}
    of_zone: dict[str, set[str]] = {}
    for link in words.records(site, "wetting_links"):
        if link["stone_id"] in planned and link["zone_id"]:
            of_zone.setdefault(str(link["zone_id"]), set()).add(link["stone_id"])
    # few names for each where there are many zones: the request is to stay on one page
    most = max(8, NAMED // max(len(rows), 1))
    lines = [
        para(words.listed(sorted(of_zone.get(zone, ()), key=words.in_order), most, "more, on the crew sheets"), NOTE,
             lead=f"{zone}:", most=2000)
        for zone in dict.fromkeys(row["zone_id"] for row in rows)
    ]  # fmt: skip
    return [box("Stones concerned", lines, width), Spacer(0, 6)] if lines else []
