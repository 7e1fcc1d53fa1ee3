"""The stones nobody visits today and why: a list for the desk, apart from the sheets crews work from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from reportlab.platypus import Spacer

from gravegis.outputs import currency, words
from gravegis.outputs import paper as sheet
from gravegis.outputs.days import crew_days, staying
from gravegis.outputs.paper import SMALL, Head, Part, box, para

if TYPE_CHECKING:
    from collections.abc import Mapping

    from reportlab.platypus import Flowable

    from gravegis.site import Site

__all__ = ["not_today"]

RESTS_ON = ("routes", "worklist", "condition", "wetting", "throw")
"""Analyses whose assumptions are printed, the nearest first."""
WIDTHS = (0.09, 0.075, 0.3, 0.255, 0.28)
"""Shares of the width, own choice."""
MOST = 150
"""Stones of one reason that are printed; own choice, a longer list is for the table."""


def not_today(site: Site, *, made_on: str = "", paper: str = "A4") -> bytes:
    """Return the list of stones nobody visits, by reason, most urgent first; for the desk, not for the crews."""
    rows, work = words.records(site, "unplanned"), {row["stone_id"]: row for row in words.records(site, "worklist")}
    stones = {row["stone_id"]: row for row in words.records(site, "stones")}
    groups: dict[str, list[_Left]] = {}
    for row in rows:
        one = _Left(row, work.get(row["stone_id"], {}), stones.get(row["stone_id"], {}))
        groups.setdefault(row["reason"] or "no reason recorded", []).append(one)
    width, _ = sheet.room(paper)
    story: list[Flowable] = []
    for reason in sorted(groups, key=lambda one: (-len(groups[one]), one)):
        story += _group(reason, sorted(groups[reason], key=lambda one: -(one.work.get("priority") or 0)), width)
    count = words.sentence(words.counted(len(rows), "stone"))
    head = Head(
        title="Not today",
        line=f"{site.info.title}. {count} of the worklist on no crew's list.",
        right=f"plan {words.plan_hash(site)}",
        foot=words.made(made_on, "For the desk: crews work from their own sheets."),
        warning=currency.mark(site, RESTS_ON),
    )
    idle = staying([day.crew_id for day in crew_days(site) if not day.stops])
    story += [para(idle), Spacer(0, 6)] if idle else []
    lines = [para(f"– {one}", SMALL) for one in words.assumed(site, RESTS_ON)]
    story.append(box("Assumed", lines or [para("Nothing was recorded as assumed.", SMALL)], width))
    return sheet.build([Part(head, story)], title=f"Not today, {site.info.title}", paper=paper)


@dataclass(frozen=True, slots=True)
class _Left:
    """One stone left over: its rows of ``unplanned``, ``worklist`` and ``stones``."""

    row: Mapping[str, Any]
    work: Mapping[str, Any]
    stone: Mapping[str, Any]


def _group(reason: str, left: list[_Left], width: float) -> list[Flowable]:
    """Return heading and table of the stones of one reason."""
    heading, whys = _shared(reason, [words.why_unplanned(one.row["reason"], one.row["detail"]) for one in left])
    cells = [_cells(one, why) for one, why in zip(left[:MOST], whys, strict=False)]
    names = ("stone", "priority", "where", "what it needs", "why not")
    table = sheet.grid(names, cells, [share * width for share in WIDTHS], tight=True)
    rest = len(left) - MOST
    more = [para(f"and {rest} more: all in unplanned.csv", sheet.NOTE)] if rest > 0 else []
    title = para(f"{words.sentence(heading)} ({len(left)})", sheet.HEAD)
    return [title, Spacer(0, 3), table, *more, Spacer(0, 9)]


def _shared(reason: str, whys: list[str]) -> tuple[str, list[str]]:
    """Return the heading of a group and what is left to say of each stone: words all share are said once."""
    first = {why.partition(": ")[0] for why in whys}
    if len(first) == 1 and all(": " in why for why in whys):
        return first.pop(), [why.partition(": ")[2] for why in whys]
    return words.unplanned_because(reason), whys


def _cells(one: _Left, why: str) -> list[Any]:
    style = sheet.sized(7.5)
    return [
        para(one.row["stone_id"], sheet.sized(8, bold=True)),
        para(one.work.get("priority") or "", style),
        para(words.place(one.stone) or "place not recorded", style),
        para(one.work.get("treatment") or "", style),
        para(why, style),
    ]
