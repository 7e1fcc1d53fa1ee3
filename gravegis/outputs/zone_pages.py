"""One page per irrigation zone for the grounds superintendent: one line per head, where to look first on top.

The page tells what stands where and leaves room for what is decided and done; it blames nobody.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from reportlab.lib.units import mm
from reportlab.platypus import Spacer, Table

from gravegis.outputs import currency, words
from gravegis.outputs import paper as sheet
from gravegis.outputs.days import point_of
from gravegis.outputs.paper import BODY, BOLD, NOTE, SMALL, Blank, CheckBox, Head, Part, box, para
from gravegis.outputs.positions import errors_m
from gravegis.outputs.water_maps import NEAR_M

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from reportlab.lib.styles import ParagraphStyle
    from reportlab.platypus import Flowable

    from gravegis.outputs.days import XY
    from gravegis.site import Site

__all__ = ["write_zone_pages", "zone_pages"]

RESTS_ON = ("wetting", "throw")
WIDTHS = (0.05, 0.068, 0.138, 0.082, 0.18, 0.041, 0.041, 0.041, 0.068, 0.135, 0.078, 0.078)
"""Shares of the width, own choice."""
FEWER = ((12, 8), (8, 8), (8, 5), (5, 5), (3, 5))
"""Lines of what was assumed and stones named for each head, the nearest first: fewer of both where they would push the
page over its end; own choice."""
SIZES = (8.0, 7.5, 7.0, 6.5)
CAUTION = (
    "No depth of water and no faces of stones stand here: they are in the tables of the wetting. A stone inside is a "
    "reason to watch the zone run for five minutes, not a proof that it gets wet. No change of any head was worked "
    "out: check the turf before and after."
)


def write_zone_pages(site: Site, file: Path, *, made_on: str = "", paper: str = "A4") -> Path | None:
    """Write the pages of all zones into one PDF and return it; None where the site has no heads."""
    if not site.has("heads"):
        return None
    file.parent.mkdir(parents=True, exist_ok=True)
    file.write_bytes(zone_pages(site, made_on=made_on, paper=paper))
    return file


def zone_pages(site: Site, *, made_on: str = "", paper: str = "A4") -> bytes:
    """Return the pages of all zones as PDF: zones by name, then the heads without a zone.

    Parameters
    ----------
    made_on
        Printed as it is; nothing here reads a clock.
    paper
        ``A4`` or ``Letter``, laid on its side.

    Raises
    ------
    SettingError
        For a paper that is not known.
    """
    heads = _Heads(site)
    zones = {row["zone_id"]: row for row in words.records(site, "zones")}
    known = {*zones, *(row["zone_id"] for row in heads.rows if row["zone_id"] is not None)}
    named = sorted(known, key=words.in_order)
    loose = [row for row in heads.rows if row["zone_id"] is None]
    groups = [(f"Zone {zone}", zone, [row for row in heads.rows if row["zone_id"] == zone]) for zone in named]
    groups += [("Heads without a zone", "", loose)] if loose or not named else []
    warning = currency.mark(site, RESTS_ON)
    room = sheet.room(paper, wide=True, warning=warning)
    parts = [
        Part(
            replace(_head(site, title, rows, heads, made_on), warning=warning),
            _story(site, heads, rows, zones.get(zone, {"zone_id": zone}), room),
        )
        for title, zone, rows in groups
    ]
    return sheet.build(parts, title=f"Zones, {site.info.title}", paper=paper, wide=True)


class _Heads:
    """The heads of a site, worst first, with what is known about each."""

    def __init__(self, site: Site) -> None:
        counted = {row["head_id"]: row for row in words.records(site, "head_stones")}
        throws = {row["head_id"]: row for row in words.records(site, "throws_computed")}
        self.near, near_m = _near(site)
        self.caution = words.by_positions(site, near_m)
        self._stone_errors_m = errors_m(site, "stones", "stone_id")
        self._head_errors_m = errors_m(site, "heads", "head_id")
        self.stones = {row["stone_id"]: row for row in words.records(site, "stones")}
        self.links: dict[str, list[dict[str, Any]]] = {}
        for link in words.records(site, "wetting_links"):
            self.links.setdefault(link["head_id"], []).append(link)
        rows = [
            {**head, "count": counted.get(head["head_id"], {}), "throw": throws.get(head["head_id"], {})}
            for head in words.records(site, "heads")
        ]
        self.rows = sorted(rows, key=lambda row: (row["count"].get("rank") or math.inf, row["head_id"]))

    def wetted(self, head_id: str, *, struck: bool | None = None) -> list[str]:
        """Return the stones of a head, nearest first; those its stream strikes, or the others, or all."""
        links = sorted(self.links.get(head_id, []), key=lambda row: (row["distance_m"] or 0.0, row["stone_id"]))
        return [row["stone_id"] for row in links if struck is None or bool(row.get("struck")) == struck]

    def distance(self, head: Mapping[str, Any]) -> str:
        """Return how far the nearest stone stands, with the digits the positions allow."""
        return words.metres(head["count"].get("nearest_stone_m"), self._error_m(head))

    def _error_m(self, head: Mapping[str, Any]) -> float | None:
        """Return the error of the distance to the nearest stone; None where the position of neither is known. [m]"""
        of_stone = self._stone_errors_m.get(head["count"].get("nearest_stone_id") or "")
        of_head = self._head_errors_m.get(head["head_id"])
        return None if of_stone is None or of_head is None else math.hypot(of_stone, of_head)

    def where(self, head: Mapping[str, Any]) -> str:
        """Return where a head stands: from the nearest stone whose place is known, else by its coordinates."""
        at = point_of(head.get("geometry"))
        stone = self.stones.get(head["count"].get("nearest_stone_id") or "", {})
        beside, stands = point_of(stone.get("geometry")), words.place(stone)
        if at is None:
            return "no place recorded"
        if stands and beside is not None:
            apart_m = math.dist(at, beside)
            if apart_m < (self._error_m(head) or 0.0):
                return f"near the {stands}"
            side = words.towards(words.bearing_deg(at[0] - beside[0], at[1] - beside[1]))
            return f"{side} of the {stands}"
        return _coordinates(at)


def _coordinates(at: XY) -> str:
    return f"E {at[0]:.0f}, N {at[1]:.0f}"


def _near(site: Site) -> tuple[str, float]:
    """Return which distance counts as near, from the settings of the analysis that counted the stones. [words, m]"""
    for record in site.log:
        if "head_stones" in record.gives and isinstance(record.settings.get("near_m"), (int, float)):
            near_m = float(str(record.settings["near_m"]))
            return f"within {words.number(near_m, 1)} m", near_m
    return "close to it", NEAR_M


def _head(site: Site, title: str, rows: Sequence[Mapping[str, Any]], heads: _Heads, made_on: str) -> Head:
    first: Mapping[str, Any] = rows[0] if rows else {}
    count = first.get("count", {})
    inside = sum(count.get(name) or 0 for name in ("near_n", "half_n", "edge_n"))
    if count.get("rank") is None:
        answer, more = ("stones near each head were not counted" if rows else "no head of it is recorded"), ""
    elif not inside:
        answer, more = "no stone stands inside the throw of any of its heads", ""
    else:
        answer = f"look here first: {_name(first)}"
        near = " ".join(filter(None, [heads.near, heads.caution]))
        hit = f", {count['struck_n']} struck by its stream" if count.get("struck_n") else ""
        more = f"{words.counted(inside, 'stone')} inside its throw{hit}, {count.get('near_n') or 'none'} {near}. "
    foot = words.made(made_on, "Counts rest on throws as recorded or assumed: watch the zone run before you change it.")
    return Head(title=f"{title}: {answer}", line=f"{words.sentence(more)}{site.info.title}.", right="", foot=foot)


def _name(head: Mapping[str, Any]) -> str:
    return f"head {head['head_id']}{_tag(head, ' (tag {})')}"


def _tag(head: Mapping[str, Any], form: str) -> str:
    return form.format(head["tag"]) if head.get("tag") and head["tag"] != head["head_id"] else ""


def _story(
    site: Site, heads: _Heads, rows: Sequence[Mapping[str, Any]], zone: Mapping[str, Any], room: tuple[float, float]
) -> list[Flowable]:
    """Return the page of a zone in the largest letters that keep it on one page.

    A zone too big for that is written in the largest letters and goes on to the next page.
    """

    def written(size: float, most: int, stones: int) -> list[Flowable]:
        return [*_runs(site, zone, room[0]), *_table(heads, rows, room[0], size, stones), _below(site, room[0], most)]

    for size in SIZES:
        for most, stones in FEWER:
            story = written(size, most, stones)
            if sum(one.wrap(*room)[1] for one in story) <= room[1]:
                return story
    return written(SIZES[0], *FEWER[0])


def _runs(site: Site, zone: Mapping[str, Any], width: float) -> list[Flowable]:
    """Return when the zone runs, its water, its notes, and lines to sign."""
    zone_id = zone["zone_id"]
    lines = [row for row in words.records(site, "schedules") if row["zone_id"] == zone_id and zone_id]
    said = [para(words.runs(line), NOTE) for line in lines]
    if not said:
        said = [para("When it runs is not recorded: ask first whether anything runs between 11 and 19 h.", NOTE)]
    about = [f"Water: {zone['source_id']}." if zone.get("source_id") else "", words.sentence(zone.get("notes") or "")]
    text = " ".join(filter(None, about))
    wide, narrow = width * 0.62, width * 0.36
    sign = [Blank("Looked at by", narrow, size=8), Blank("on", narrow, size=8)]
    left = [para("Runs", BOLD), *said, *([para(text, NOTE)] if text else [])]
    both = Table([[left, "", sign]], colWidths=[wide, width - wide - narrow, narrow])
    both.setStyle(sheet.BARE)
    return [both, Spacer(0, 5)]


def _table(heads: _Heads, rows: Sequence[Mapping[str, Any]], width: float, size: float, most: int) -> list[Flowable]:
    if not rows:
        return []
    names = ("look (whole site)", "head", "where", "fault", "pattern now", f"inside {heads.near}", "inside to half",
             "inside to edge", "nearest stone", "stones inside, worst first", "do this", "done")  # fmt: skip
    widths = [share * width for share in WIDTHS]
    cells = [_cells(heads, row, widths, sheet.sized(size), most) for row in rows]
    cut = any(len(heads.wetted(row["head_id"])) > most for row in rows)
    more = "Stones inside: the struck and the nearest ones; all of them stand in stones_by_head.csv."
    rest = [para(more, SMALL)] if cut else []
    return [sheet.grid(names, cells, widths, tight=True), *rest, Spacer(0, 5)]


def _cells(
    heads: _Heads, head: Mapping[str, Any], widths: Sequence[float], style: ParagraphStyle, most: int
) -> list[Any]:
    count = head["count"]
    title, size = sheet.fitted(head["head_id"], 10, widths[1] - 8, bold=True, least=6)
    tag = [para(_tag(head, "tag {}"), style)] if _tag(head, "{}") else []
    half = (widths[11] - 6) / 2
    ticks = Table([[CheckBox(word, side=2.8 * mm, size=6.5) for word in ("dry", "wet")]], colWidths=[half, half])
    ticks.setStyle(sheet.BARE)
    again = [para("run again:", SMALL), ticks]
    return [
        para(words.number(count.get("rank")) or "—", BOLD),
        [para(title, sheet.sized(size, bold=True)), *tag],
        para(heads.where(head), style),
        [para(text, style) for text in _fault(head)],
        para("; ".join(filter(None, _pattern(head))), style, most=600),
        *(para(_count(count.get(name)), BODY) for name in ("near_n", "half_n", "edge_n")),
        _nearest(heads, head, widths[8] - 8, style),
        para(_stones(heads, head, most), style, most=600),
        "",
        again,
    ]


def _nearest(heads: _Heads, head: Mapping[str, Any], width: float, style: ParagraphStyle) -> list[Flowable]:
    name, size = sheet.fitted(head["count"].get("nearest_stone_id") or "not known", 8, width, least=5.5)
    distance = heads.distance(head)
    return [para(name, sheet.sized(size)), *([para(distance, style)] if distance else [])]


def _count(value: int | None) -> str:
    return "?" if value is None else str(value)


def _stones(heads: _Heads, head: Mapping[str, Any], most: int) -> str:
    """Return the stones of a head, worst first: struck by its stream, how many of them, then the others."""
    struck, others = (heads.wetted(head["head_id"], struck=one) for one in (True, False))
    if not struck:
        return _wetted(others, most)
    rest = f"; others: {_wetted(others, max(1, most - len(struck)))}" if others else ""
    return f"{len(struck)} struck: {_wetted(struck, most)}{rest}"


def _says(site: Site) -> str:
    """Return what the page tells, and what of wind, pressure and shade was taken into account."""
    notes = " ".join(note for record in site.log if record.analysis == "wetting" for note in record.notes)
    struck = any(row.get("struck_n") is not None for row in words.records(site, "head_stones"))
    facts = {
        "wind": "mean wind" in notes,
        "pressure": any(row.get("pressure_kpa") for row in words.records(site, "heads")),
        "stones that stand in front of others": struck,
    }
    also = ", and whether its stream strikes it" if struck else "; nothing of its stream"
    told = f"This page says whether a stone lies inside or outside the ground a head is taken to wet{also}. "
    for word, is_used in (("Taken into account", True), ("Not taken into account", False)):
        some = [name for name, known in facts.items() if known == is_used]
        told += f"{word}: {', '.join(some)}. " if some else ""
    return told + CAUTION


def _wetted(stones: Sequence[str], most: int) -> str:
    if not stones:
        return "none found"
    return ", ".join(stones) if len(stones) <= most else words.listed(stones, most, "more")


def _fault(head: Mapping[str, Any]) -> list[str]:
    """Return the fault as it was seen; nobody having looked is not the same as none."""
    fault = head.get("fault")
    said = ["not looked at" if fault is None else "none seen" if fault == "none" else str(fault)]
    if head.get("tilt_deg"):
        said.append(f"{words.number(head['tilt_deg'])}° from upright")
    if head.get("sunk_m"):
        said.append(f"{words.number(head['sunk_m'], 2)} m below the turf")
    if head["throw"].get("mend_first"):
        said.append("mend first, then measure again")
    return said


def _pattern(head: Mapping[str, Any]) -> list[str]:
    """Return kind, pattern and throw in words, with where the throw comes from."""
    throw = head["throw"]
    pattern, basis = throw.get("pattern"), throw.get("basis")
    start = throw.get("arc_from_deg")
    said = [words.sentence(", ".join(dict.fromkeys(filter(None, [head.get("kind"), pattern]))))]
    if pattern is None:
        return [*filter(None, said), "throw not known"]
    if pattern.startswith("strip"):
        size = f"{words.number(throw.get('strip_length_m'), 1)} × {words.number(throw.get('strip_width_m'), 1)} m"
        return [*said, size, f"towards {words.towards(start)} ({words.number(start)}°)" if start is not None else ""]
    if basis == "by kind":
        low, high = words.number(throw.get("throw_low_m"), 1), words.number(throw.get("throw_high_m"), 1)
        said.append(f"throw assumed from its kind, {low} to {high} m")
    elif throw.get("throw_m") is not None:
        said.append(f"throw {words.number(throw['throw_m'], 1)} m ({basis or 'basis not recorded'})")
    return [*said, *filter(None, [words.turn(start, throw.get("arc_sweep_deg")) if pattern == "part circle" else ""])]


def _below(site: Site, width: float, most: int) -> Flowable:
    """Return what the page does not say and what was assumed, beside each other."""
    left, right = width * 0.45 - 3, width * 0.55 - 3
    assumed = [
        *words.assumed(site, RESTS_ON),
        *(f"Setting changed: {s}" for s in words.changed_settings(site, RESTS_ON)),
    ]
    shown = assumed[:most]
    if len(assumed) > len(shown):
        shown.append(f"and {len(assumed) - len(shown)} more in assumed.txt")
    lines = [para(f"– {one}", SMALL) for one in shown] or [para("Nothing was recorded as assumed.", SMALL)]
    told = [para(_says(site), SMALL, most=900)]
    both = Table(
        [[box("What this page does not say", told, left), box("Assumed", lines, right)]],
        colWidths=[left + 6, right],
    )
    both.setStyle(sheet.BARE)
    return both
