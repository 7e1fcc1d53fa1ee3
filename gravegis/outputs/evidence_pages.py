"""The evidence on paper, a block per harm: what may be said, what it rests on, and what it does not show.

No word of it goes beyond what the analysis ``evidence`` says; figures are put into words here, none is worked out.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from reportlab.lib import colors
from reportlab.lib.units import mm
from reportlab.platypus import KeepTogether, Spacer

from gravegis.outputs import currency, words
from gravegis.outputs import pages as maps_pages
from gravegis.outputs import paper as sheet
from gravegis.outputs.paper import SMALL, Drawn, Head, Part, box, para
from gravegis.science.condition.evidence import ALL, PAIRS, POOLED, VERDICT
from gravegis.science.condition.evidence_words import odds_times

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from reportlab.pdfgen.canvas import Canvas
    from reportlab.platypus import Flowable

    from gravegis.site import Site

    Line = Mapping[str, Any]

__all__ = ["evidence_page", "how_sure", "write_evidence_page"]

RESTS_ON = ("evidence", "wetting", "condition")
WIDTHS = (0.34, 0.44, 0.22)
"""Shares of the width, own choice."""
_DOSE, _STATE, _APART = "share harmed by dose", "share harmed by state", "share harmed, set apart"
_SLOPES = {
    "odds ratio per throw length": "For each throw length farther from the nearest head",
    "odds ratio per 100 h": "For each 100 hours of wetting a season more",
}
_FACES = "odds ratio within stones by"
_BAR_HIGH, _BAR_WIDE = 34 * mm, 24 * mm
HOW_TO_READ = (
    "Odds: harmed stones to each sound one. Three times the odds means that for each sound stone there are three times "
    "as many harmed ones; 1 means no difference. The range in brackets holds the true figure in 19 of 20 such surveys."
)


def write_evidence_page(site: Site, folder: Path, *, made_on: str = "", paper: str = "A4") -> list[Path]:
    """Write ``evidence.pdf``; nothing where there is no evidence for or against anything."""
    if not site.has("association"):
        return []
    file = folder / "evidence.pdf"
    file.write_bytes(evidence_page(site, made_on=made_on, paper=paper))
    return [file]


def evidence_page(site: Site, *, made_on: str = "", paper: str = "A4") -> bytes:
    """Return the page: a block per harm, then what it does not show and what was assumed."""
    width, _ = sheet.room(paper, warning=currency.mark(site, RESTS_ON))
    table = words.records(site, "association")
    harms = [str(one) for one in dict.fromkeys(row["harm"] for row in table)]
    harms.sort(key=lambda harm: (harm == "overall", -_weight(table, harm), harm))
    story: list[Flowable] = []
    for harm in harms:
        story += [*_block(harm, [row for row in table if row["harm"] == harm], width), Spacer(0, 8)]
    record = maps_pages.record_of(site, "evidence")
    notes = () if record is None else record.notes
    beside = [note for note in notes if note.split(":")[0].casefold() not in harms]
    story += [
        box("What this does not show", [para(note, SMALL, most=1200) for note in beside], width), Spacer(0, 6),
        box("How to read the figures", [para(HOW_TO_READ, SMALL)], width), Spacer(0, 6),
        box("Assumed", [para(f"– {one}", SMALL) for one in words.assumed(site, RESTS_ON)], width),
    ]  # fmt: skip
    head = Head(
        title="Does the water explain the harm?",
        line=f"{site.info.title}. What was found, how sure it is, what else may explain it.",
        foot=words.made(made_on, "Draft. It says what goes together; a cause is named only from faces of one stone."),
        warning=currency.mark(site, RESTS_ON),
    )
    return sheet.build([Part(head, story)], title=f"Evidence, {site.info.title}", paper=paper)


def _weight(table: Sequence[Line], harm: str) -> int:
    return sum(1 for row in table if row["harm"] == harm and row["measure"] == PAIRS and (row["p"] or 1) < 0.01)


def _block(harm: str, rows: Sequence[Line], width: float) -> list[Flowable]:
    """Return what is said of one harm: the sentence, what it rests on, the shares by dose."""
    verdict = next((str(row["note"]) for row in rows if row["measure"] == VERDICT), "")
    title = [para(harm.capitalize(), sheet.HEAD), Spacer(0, 2), para(verdict, sheet.BOLD), Spacer(0, 3)]
    cells = [[para(one, SMALL) for one in line] for line in _lines(rows)]
    if not cells:
        return title
    grid = sheet.grid(("held against each other", "found", "how sure"), cells, [s * width for s in WIDTHS], tight=True)
    bars = [row for row in rows if row["measure"] == _DOSE]
    chart: list[Flowable] = []
    if bars:
        caption = f"Share of stones with {harm} by hours of wetting a season; the line spans 19 of 20 such surveys"
        chart = [KeepTogether([Spacer(0, 4), para(caption, SMALL), _bars(sorted(bars, key=_low_hours), width)])]
    return [KeepTogether([*title, grid]), *chart]


def _low_hours(row: Line) -> float:
    return float(str(row["stratum"]).split(" ", maxsplit=1)[0])


def _lines(rows: Sequence[Line]) -> list[tuple[str, str, str]]:
    """Return the table of a harm in words, the strongest evidence first."""
    made: list[tuple[str, str, str]] = []
    by = {(row["measure"], row["stratum"]): row for row in rows}
    pair = by.get((PAIRS, ALL))
    if pair is not None:
        made.append(("The sprayed face against the sheltered face of the same stone", *_pair(pair)))
    made += [
        (f"... {row['stratum'].replace(': ', ' ')} alone", *_pair(row))
        for row in rows if row["measure"] == PAIRS and row["stratum"] != ALL
    ]  # fmt: skip
    made += [
        (f"Faces of one stone, {str(row['note']).split(', ')[1].split(' as ')[0]}", _odds(row), how_sure(row["p"]))
        for row in rows if str(row["measure"]).startswith(_FACES)
    ]  # fmt: skip
    made += [_edge(row) for row in rows if row["measure"] == "stain edge less wet edge"]
    crude = by.get(("odds ratio", ALL))
    if crude is not None:
        wet, dry = str(crude["note"]).split("; ")[:2]
        made.append(("Wetted stones against dry ones, nothing else looked at", f"{wet}; {dry}. {_odds(crude)}",
                     how_sure(crude["p"])))  # fmt: skip
    made += _strata(rows)
    made += [(words_, _odds(by[name, ALL]), how_sure(by[name, ALL]["p"])) for name, words_ in _SLOPES.items()
             if (name, ALL) in by]  # fmt: skip
    heads = by.get(("difference by whole heads", ALL))
    if heads is not None:
        found = f"{_points(heads['estimate'])} between wetted and dry stones"
        made.append(("Whole heads dealt out anew, since stones under one head are not independent", found,
                     how_sure(heads["p"])))  # fmt: skip
    return made + _shares(rows)


def _pair(row: Line) -> tuple[str, str]:
    return str(row["note"]).split("; McNemar", maxsplit=1)[0], how_sure(row["p"])


def _edge(row: Line) -> tuple[str, str, str]:
    found = f"stains end {row['estimate']:+.2f} m from it on the whole, {row['n']} stones. {row['note']}"
    return "Where the stain ends against where the wet ends, as seen", found, ""


def _strata(rows: Sequence[Line]) -> list[tuple[str, str, str]]:
    made = [
        (f"Wetted against dry, only stones alike {row['stratum'].replace('by ', 'in ')}", _odds(row),
         how_sure(row["p"]))
        for row in rows if row["measure"] == POOLED
    ]  # fmt: skip
    made += [
        (f"... {row['stratum'].split(': ', maxsplit=1)[1]} alone ({row['stratum'].split(':')[0]}; the kinds disagree)",
         _odds(row), how_sure(row["p"]))
        for row in rows if row["measure"] == "odds ratio, exact" and row["stratum"] != ALL
    ]  # fmt: skip
    return made


def _shares(rows: Sequence[Line]) -> list[tuple[str, str, str]]:
    made = []
    for row in rows:
        share = f"{_percent(row['estimate'])} of {row['n']} stones ({_percent(row['low'])} to {_percent(row['high'])})"
        if row["measure"] == _STATE:
            made.append((f"Stones that are: {row['stratum']}", share, "a share, nothing held against it"))
        elif row["measure"] == _APART:
            made.append((f"Set apart for another cause: {row['stratum']}", share, "not counted in the other lines"))
    return made


def how_sure(p: float | None) -> str:
    """Return in words what a p says: the chance of a difference as large if there were none."""
    if p is None or math.isnan(p):
        return "not worked out"
    if p < 0.001:
        return "hardly chance (p below 0.001)"
    return f"{'unlikely' if p < 0.05 else 'may well be'} chance (p {p:.2g})"


def _odds(row: Line) -> str:
    low, high, value = row["low"], row["high"], row["estimate"]
    if value is None:
        return f"no finite figure: {str(row['note']).split('; ')[-1].removeprefix('infinite: ')}"
    if low is None:
        return f"{value:.2g} times the odds, {row['n']} stones"
    return f"{odds_times(value, low, math.inf if high is None else high, thing='the odds')}, {row['n']} stones"


def _percent(share: float | None) -> str:
    return "?" if share is None else f"{share:.0%}"


def _points(share: float | None) -> str:
    return "no difference known" if share is None else f"{100 * share:+.0f} in a hundred"


def _bars(rows: Sequence[Line], width: float) -> Flowable:
    """Return bars of a share with their interval, a label each; grey, so that any printer shows them."""

    def paint(canvas: Canvas) -> None:
        base, high = 9 * mm, _BAR_HIGH - 12 * mm
        canvas.setLineWidth(0.6)
        for share in (0.0, 0.5, 1.0):
            canvas.setStrokeColor(colors.HexColor("#8a8a8a"))
            canvas.line(10 * mm, base + share * high, 10 * mm + len(rows) * _BAR_WIDE, base + share * high)
            canvas.setFillColor(colors.black)
            canvas.setFont(sheet.FONT, 6.5)
            canvas.drawRightString(9 * mm, base + share * high - 2, f"{share:.0%}")
        for place, row in enumerate(rows):
            middle = 10 * mm + (place + 0.5) * _BAR_WIDE
            canvas.setFillColor(colors.HexColor("#b5b5b5"))
            canvas.rect(middle - 5 * mm, base, 10 * mm, row["estimate"] * high, stroke=0, fill=1)
            canvas.setStrokeColor(colors.black)
            canvas.line(middle, base + row["low"] * high, middle, base + row["high"] * high)
            canvas.setFillColor(colors.black)
            canvas.drawCentredString(middle, base - 8, str(row["stratum"]))
            canvas.drawCentredString(middle, base - 16, f"{row['n']} stones")

    return Drawn(min(width, 10 * mm + len(rows) * _BAR_WIDE), _BAR_HIGH, paint)
