"""The season on paper: month by month which block, then what is never reached and why."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from reportlab.platypus import KeepTogether, Spacer

from gravegis.outputs import currency, words
from gravegis.outputs import paper as sheet
from gravegis.outputs.paper import SMALL, Head, Part, box, para

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from reportlab.platypus import Flowable

    from gravegis.site import Site

__all__ = ["season_page"]

RESTS_ON = ("season_plan", "worklist", "clusters", "wetting")
"""Analyses whose assumptions are printed, the nearest first."""
WIDTHS = (0.17, 0.25, 0.1, 0.1, 0.15, 0.23)
"""Shares of the width, own choice."""
MOST = 120
"""Lines of what is never reached that are printed; own choice, the table holds all."""
_MONTHS = ("January", "February", "March", "April", "May", "June", "July", "August", "September", "October",
           "November", "December")  # fmt: skip


def season_page(site: Site, *, made_on: str = "", paper: str = "A4") -> bytes:
    """Return the season plan as PDF; raises SettingError for a paper that is not known."""
    rows = words.records(site, "season_plan")
    planned, never = [row for row in rows if row["month"]], [row for row in rows if not row["month"]]
    width, _ = sheet.room(paper)
    days = sum(row["days"] or 0.0 for row in planned)
    stones = sum(row["stones_n"] or 0 for row in planned)
    head = Head(
        title="Season plan",
        line=f"{site.info.title}. {words.sentence(words.counted(stones, 'stone'))} in {days:.1f} days of one pair.",
        foot=words.made(made_on, "Rain, heat, funerals and who turns up change any plan: make it anew each month."),
        warning=currency.mark(site, RESTS_ON),
    )
    story: list[Flowable] = [*_said(site), _table(planned, width), Spacer(0, 8)] if planned else [
        para("Nothing is planned: no stone may go out, or no month can be worked.", sheet.BOLD), Spacer(0, 8)
    ]  # fmt: skip
    if never:
        # the longest first: that is what a larger budget would buy
        ordered = sorted(
            never, key=lambda row: (-(row["days"] or 0.0), -(row["stones_n"] or 0), row["cluster_id"] or "")
        )
        rest = len(ordered) - MOST
        more = [para(f"and {rest} more lines: all in season_plan.csv", sheet.NOTE)] if rest > 0 else []
        title = KeepTogether([para("Never reached", sheet.HEAD), Spacer(0, 3)])
        story += [title, _table(ordered[:MOST], width), *more, Spacer(0, 8)]
    assumed = [
        *words.assumed(site, RESTS_ON),
        *(f"Setting changed: {one}" for one in words.changed_settings(site, RESTS_ON)),
    ]
    lines = [para(f"– {one}", SMALL) for one in assumed] or [para("Nothing was recorded as assumed.", SMALL)]
    story.append(box("Assumed", lines, width))
    return sheet.build([Part(head, story)], title=f"Season plan, {site.info.title}", paper=paper)


def _said(site: Site) -> list[Flowable]:
    notes = next((one.notes for one in site.log if one.analysis == "season_plan"), ())
    return [*(para(note, sheet.sized(10)) for note in notes), Spacer(0, 6)]


def _table(rows: Sequence[Mapping[str, Any]], width: float) -> Flowable:
    style, cells, before = sheet.sized(9), [], None
    for row in rows:
        month = row["month"]
        shown = _month(month) if month and month != before else ""
        before = month
        cells.append([
            para(shown, sheet.sized(9, bold=True)), para(row["cluster_id"] or "", style),
            para(f"{row['days'] or 0:.1f}", style), para(row["stones_n"] or 0, style),
            para(f"by {row['finish_on']}" if row["finish_on"] else "", style), para(row["reason"] or "", style),
        ])  # fmt: skip
    names = ("month", "block", "pair-days", "stones", "block done", "why")
    return sheet.grid(names, cells, [share * width for share in WIDTHS], tight=True)


def _month(text: str) -> str:
    year, _, month = text.partition("-")
    return f"{_MONTHS[int(month) - 1]} {year}" if month.isdigit() and 1 <= int(month) <= 12 else text
