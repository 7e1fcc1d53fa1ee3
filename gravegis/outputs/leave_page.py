"""Whose leave must be asked for before a crew goes to a stone, with the stones of each."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from reportlab.platypus import KeepTogether, Spacer

from gravegis.outputs import currency, words
from gravegis.outputs import paper as sheet
from gravegis.outputs.paper import Head, Part, para
from gravegis.science.care.permissions import whose_leave

if TYPE_CHECKING:
    from collections.abc import Mapping

    from reportlab.platypus import Flowable

    from gravegis.site import Site

__all__ = ["leave_missing", "to_ask"]

RESTS_ON = ("worklist", "condition", "clusters", "wetting")
ASK_WIDTHS = (0.12, 0.4, 0.48)
"""Shares of the width, own choice."""
MOST = 400
"""Stones printed for one who is asked; own choice."""


def leave_missing(site: Site) -> dict[str, list[tuple[str, str]]]:
    """Return by whose leave is missing the stones that wait for it, each with the reason; most stones first."""
    groups: dict[str, list[tuple[str, str]]] = {}
    for work in words.records(site, "worklist"):
        if work["hold"] is None:
            continue
        said = zip(words.reason_values(work["reasons"]), words.reasons(work["reasons"]), strict=True)
        for one, why in said:
            whose = whose_leave({"code": one["code"], "values": one["values"]}, who=work["who"] or "")
            if whose:
                groups.setdefault(whose, []).append((work["stone_id"], why))
    return dict(sorted(groups.items(), key=lambda one: (-len(one[1]), one[0])))


def to_ask(site: Site, *, made_on: str = "", paper: str = "A4") -> bytes | None:
    """Return the list of who must be asked for leave, with the stones of each; None where nobody is missing."""
    groups = leave_missing(site)
    if not groups:
        return None
    stones = {row["stone_id"]: row for row in words.records(site, "stones")}
    width, _ = sheet.room(paper)
    story: list[Flowable] = []
    for whose, listed in groups.items():
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
        rest = len(listed) - MOST
        more = [para(f"and {rest} more: all in worklist.csv", sheet.NOTE)] if rest > 0 else []
        story += [KeepTogether([title, Spacer(0, 3)]), table, *more, Spacer(0, 8)]
    waiting = words.counted(len({stone_id for listed in groups.values() for stone_id, _ in listed}), "stone")
    head = Head(
        title="Whose leave to ask for",
        line=f"{site.info.title}. {words.sentence(waiting)} wait; nothing is done there before the answer is on file.",
        foot=words.made(made_on, "Rules differ by country and ground: ask. This is no legal advice."),
        warning=currency.mark(site, RESTS_ON),
    )
    return sheet.build([Part(head, story)], title=f"Whose leave to ask for, {site.info.title}", paper=paper)


def _told(stone: Mapping[str, Any]) -> str:
    mark = f"“{stone['find_me']}”" if stone.get("find_me") else ""
    return "; ".join(filter(None, [mark, words.place(stone), words.looks(stone, short=True)])) or "not described"
