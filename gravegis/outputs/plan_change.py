"""The plan compared with an earlier one: which stones are new, fell out, changed crew, day or place in the order."""

from __future__ import annotations

import csv
from bisect import bisect_left
from dataclasses import dataclass
from typing import TYPE_CHECKING

from reportlab.platypus import Spacer

from gravegis.errors import LayerError
from gravegis.outputs import paper as sheet
from gravegis.outputs import words
from gravegis.outputs.paper import Head, Part, para

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from pathlib import Path

    from reportlab.platypus import Flowable

    from gravegis.site import Site

__all__ = ["KINDS", "Change", "Place", "compare", "in_words", "page", "places_of_csv", "places_of_rows", "rows"]

KINDS = {
    "fell out": "no longer in the plan", "new": "new in the plan", "other day": "on another day",
    "other crew": "with another crew", "moved": "earlier or later in the list of the same crew",
}  # fmt: skip
"""What can become of a stone, what matters most first."""
COLUMNS = ("stone_id", "change", "before", "now", "why")
MOST = 400
"""Lines that are printed; own choice."""


@dataclass(frozen=True, slots=True)
class Place:
    """Where a stone stands in a plan."""

    day: str
    crew_id: str
    seq: int


@dataclass(frozen=True, slots=True)
class Change:
    """What became of one stone; `before` or `now` is missing where it is in one plan only."""

    stone_id: str
    kind: str
    before: Place | None
    now: Place | None
    why: str = ""


def places_of_rows(found: Iterable[Sequence[object]]) -> dict[str, Place]:
    """Return the place of each stone from rows of day, crew, order, stone."""
    return {str(stone): Place(str(day or ""), str(crew), int(str(seq))) for day, crew, seq, stone in found}


def places_of_csv(file: Path) -> dict[str, Place]:
    """Return the places from a ``stops.csv`` as an earlier run left it; raises LayerError."""
    with file.open(encoding="utf-8-sig", newline="") as opened:
        found = list(csv.DictReader(opened))
    wanted = ("day", "crew_id", "seq", "stone_id")
    missing = [name for name in wanted if not found or name not in found[0]]
    if missing:
        raise LayerError(
            f"columns are missing: {', '.join(missing)}", where=str(file), remedy="Give a stops.csv of gravegis."
        )
    try:
        # a text that an office program would take for a formula was written with an apostrophe before it
        return places_of_rows([[row[name].removeprefix("'") for name in wanted] for row in found])
    except ValueError as error:
        raise LayerError(f"an order is no whole number ({error})", where=f"{file}, column seq") from error


def compare(before: Mapping[str, Place], now: Mapping[str, Place], why: Mapping[str, str]) -> list[Change]:
    """Return the stones whose place changed, by kind, then crew and order.

    Parameters
    ----------
    before, now
        Places by stone. Where each plan is of one day the day is not compared: yesterday's list against today's.
    why
        Why a stone is not planned now, by stone.

    A stone counts as moved where it left the order that the longest row of stones common to both lists of a crew keeps:
    a stone put in before others moves none of them.
    """
    one_day = all(len({one.day for one in plan.values()}) <= 1 for plan in (before, now))
    both = before.keys() & now.keys()
    made = [Change(name, "fell out", before[name], None, why.get(name, "")) for name in before.keys() - both]
    made += [Change(name, "new", None, now[name]) for name in now.keys() - both]
    stayed: dict[tuple[str, str], list[str]] = {}
    for name in both:
        old, new = before[name], now[name]
        if old.day != new.day and not one_day:
            made.append(Change(name, "other day", old, new))
        elif old.crew_id != new.crew_id:
            made.append(Change(name, "other crew", old, new))
        else:
            stayed.setdefault((new.day, new.crew_id), []).append(name)
    for names in stayed.values():
        names.sort(key=lambda name: now[name].seq)
        kept = _longest_rising([before[name].seq for name in names])
        made += [Change(name, "moved", before[name], now[name]) for k, name in enumerate(names) if k not in kept]
    return sorted(made, key=_order)


def _order(one: Change) -> tuple[int, str, int, str]:
    at = one.now or one.before or Place("", "", 0)
    return list(KINDS).index(one.kind), at.crew_id, at.seq, one.stone_id


def _longest_rising(numbers: Sequence[int]) -> set[int]:
    """Return the positions of a longest run of rising numbers (patience sorting)."""
    tails: list[int] = []
    ends: list[int] = []
    back: list[int] = []
    for k, number in enumerate(numbers):
        at = bisect_left(tails, number)
        back.append(ends[at - 1] if at else -1)
        tails[at:], ends[at:] = [number, *tails[at + 1 :]], [k, *ends[at + 1 :]]
    kept, at = set[int](), ends[-1] if ends else -1
    while at >= 0:
        kept.add(at)
        at = back[at]
    return kept


def in_words(changes: Sequence[Change], n_now: int, since: str) -> list[str]:
    """Return how much changed in sentences."""
    count = {kind: sum(one.kind == kind for one in changes) for kind in KINDS}
    stay = n_now - sum(one.kind != "fell out" for one in changes)
    out = [f"Against the plan in {since}: {words.counted(stay, 'stone')} as before."]
    out += [f"{words.sentence(words.counted(n, 'stone'))} {KINDS[kind]}." for kind, n in count.items() if n]
    return out


def rows(changes: Iterable[Change]) -> list[dict[str, str]]:
    """Return the changes as rows of a table."""
    return [
        dict(zip(COLUMNS, (one.stone_id, one.kind, _told(one.before), _told(one.now), one.why), strict=True))
        for one in changes
    ]


def _told(one: Place | None) -> str:
    return "" if one is None else f"{words.crew_name(one.crew_id)}, stop {one.seq}{f', {one.day}' if one.day else ''}"


def page(site: Site, changes: Sequence[Change], n_now: int, since: str, *, paper: str = "A4") -> bytes:
    """Return the comparison as PDF: how much changed, then a line a stone."""
    width, _ = sheet.room(paper)
    head = Head(
        title="What changed in the plan", line=f"{site.info.title}. Against the plan in {since}.",
        right=f"plan {words.plan_hash(site)}", foot="Sheets of the earlier plan are void: take them back.",
    )  # fmt: skip
    stones = {row["stone_id"]: row for row in words.records(site, "stones")}
    cells = [
        [
            para(one.stone_id, sheet.BOLD), para(words.place(stones.get(one.stone_id, {}))), para(one.kind),
            para(_told(one.before)), para(_told(one.now) or one.why),
        ]
        for one in changes[:MOST]
    ]  # fmt: skip
    story: list[Flowable] = [para(one, sheet.sized(10)) for one in in_words(changes, n_now, since)]
    if cells:
        widths = [share * width for share in (0.12, 0.28, 0.12, 0.22, 0.26)]
        names = ("stone", "where it stands", "what", "before", "now, or why not")
        story += [Spacer(0, 6), sheet.grid(names, cells, widths, tight=True)]
    if len(changes) > MOST:
        story.append(para(f"and {len(changes) - MOST} more lines: write a table (.csv) for all.", sheet.NOTE))
    return sheet.build([Part(head, story)], title=head.title, paper=paper)
