"""What follows the stops on a crew sheet: what stays, how the work is done, what to write down, what was assumed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from reportlab.platypus import KeepTogether, Spacer

from gravegis.layers.care import label_of
from gravegis.outputs import words
from gravegis.outputs.crew_words import GRADES, READ, READ_PT, TO_WRITE
from gravegis.outputs.paper import SMALL, Blank, box, para
from gravegis.science.care.steps import steps_of
from gravegis.science.care.treatment import LOOK_FIRST, LOOK_PLAN, steps_for
from gravegis.science.care.ways import way_table

if TYPE_CHECKING:
    from collections.abc import Sequence

    from reportlab.platypus import Flowable

    from gravegis.outputs.days import CrewDay
    from gravegis.site import Site

__all__ = ["Way", "after_stops", "told_by_number", "ways_of"]

RESTS_ON = ("routes", "worklist")
"""Analyses whose assumptions are printed; those of the analyses before them stand on the page for the desk."""

TWO_COLUMNS_UP_TO = 2500
"""Signs of a list that still goes in two columns, which cannot go on over a page; own choice."""


def after_stops(site: Site, day: CrewDay, width: float, *, brief: bool = False) -> list[Flowable]:
    """Return the boxes below the list of stops; `brief` says where the assumptions stand instead of listing them."""
    story: list[Flowable] = []
    if day.stops:
        story += [Spacer(0, 5), KeepTogether(box("What will NOT come off today", _stays(day), width))]
        story += _how_to(site, day, width)
        blanks: list[Flowable] = [Blank(text, width / 2 - 12, size=READ_PT, high=22) for text in TO_WRITE]
        story += [Spacer(0, 5), KeepTogether(box("Write down before you leave", blanks, width, columns=2))]
    if brief:
        assumed_n = len(words.assumed(site, RESTS_ON))
        where = f"{words.counted(assumed_n, 'line')}, in not_today.pdf and assumed.txt. {_times_basis(site)[0]}"
        return [*story, Spacer(0, 4), para(where, SMALL, lead="Assumed:")]
    brought_in = words.site_assumed(site)
    assumed = [one for one in words.assumed(site, RESTS_ON) if one not in brought_in]
    # how layers came in is for the desk; a crew meets stones, not reference systems
    assumed += ["How positions came in stands in assumed.txt."] if brought_in else []
    assumed += _times_basis(site)
    assumed += [f"Setting changed: {one}" for one in words.changed_settings(site, RESTS_ON)]
    lines = [para(f"– {one}", SMALL) for one in assumed] or [para("Nothing was recorded as assumed.", SMALL)]
    columns = 2 if sum(map(len, assumed)) < TWO_COLUMNS_UP_TO else 1
    return [*story, Spacer(0, 5), box("Assumed", lines, width, columns=columns)]


def _times_basis(site: Site) -> list[str]:
    zone = site.info.time_zone
    return [f"Times are civil time, {zone}." if zone else "Times are civil time of the site; no time zone was given."]


def _stays(day: CrewDay) -> list[Flowable]:
    """Name the harms a crew leaves alone, with the stops where they are, in a volunteer's words."""
    found: dict[str, list[str]] = {}
    for stop in day.listed:
        for harm in words.staying(stop.work.get("reasons")):
            found.setdefault(harm, []).append(stop.label)
    where = [
        para(f"stop{'' if len(stops) == 1 else 's'} {', '.join(stops)}. A conservator's work: do not try.", READ,
             lead=f"{words.sentence(harm)}:", most=2000)
        for harm, stops in found.items()
    ]  # fmt: skip
    general = para(
        "Rust, lime, salts, crust, paint, wax, oil stay. No scraper, acid, bleach, wire brush.",
        READ,
    )  # fmt: skip
    return [*(where or [para("Nothing is recorded at today's stops.", READ)]), general]


@dataclass(frozen=True, slots=True)
class Way:
    """A way of working of the day: its letter, what it is, its steps, and the numbers of the stops it is for."""

    letter: str
    name: str
    steps: tuple[str, ...]
    stops: tuple[str, ...]
    method: str = ""


def _how_to(site: Site, day: CrewDay, width: float) -> list[Flowable]:
    """Return the steps of each way of working; steps told before are named by their number."""
    story: list[Flowable] = []
    told: list[Way] = []
    short: list[Flowable] = []
    for way in ways_of(day):
        before, by_number = next(
            ((one, said) for one in told if (said := told_by_number(way.steps, one.steps))), (None, "")
        )
        title = f"{way.letter}: {way.name}, stops {', '.join(way.stops)}"
        if before is not None:
            short.append(para(f"{way.name}, stops {', '.join(way.stops)}: as {before.letter}, {by_number}.", READ,
                              lead=f"{way.letter}:", most=4000))  # fmt: skip
            continue
        told.append(way)
        lines: list[Flowable] = [para(f"{k}. {step}", READ) for k, step in enumerate(way.steps, 1)]
        lines += [para(one, READ) for one in _lasts(site, way.method)]
        columns = 2 if sum(map(len, way.steps)) < TWO_COLUMNS_UP_TO else 1
        story += [Spacer(0, 5), KeepTogether(box(title, lines, width, columns=columns))]
    if short:
        story += [Spacer(0, 5), *short]
    return story


def _lasts(site: Site, method: str) -> list[str]:
    """Return how long it soaks and how long it holds; the label on file comes before common practice."""
    way = way_table().get(method)
    if way is None:
        return []
    label = label_of(site.get("products")) if way.soak_high_min else None
    said = []
    if way.soak_high_min:
        low = way.soak_low_min if label is None or label.dwell_low_min is None else label.dwell_low_min
        high = way.soak_high_min if label is None or label.dwell_high_min is None else label.dwell_high_min
        by_label = label is not None and label.dwell_low_min is not None and label.dwell_high_min is not None
        said.append(f"Soak {low:g} to {high:g} min ({'label' if by_label else 'common practice, the label decides'}).")
    uses = next((row["uses"] for row in words.records(site, "products") if row["uses"]), None)
    said += [f"The label permits: {uses}."] if uses and label is not None else []
    said += [f"Holds about {way.holds_days:g} days (common practice)."] if way.holds_days else []
    return said


def told_by_number(steps: Sequence[str], told: Sequence[str]) -> str:
    """Return steps by the numbers they have in a list told before, others in full; empty where few are the same.

    The order of work is kept: a number never follows a higher one.
    """
    parts: list[str] = []
    last = same = 0
    for step in steps:
        place = next((k for k in range(last, len(told)) if told[k] == step), None)
        if place is None:
            parts.append(f"then {step[0].lower()}{step[1:]}")
            continue
        same, last = same + 1, place + 1
        parts.append(str(last))
    # own choice: two in three the same, or the reader turns pages more than reads
    if same * 3 < len(steps) * 2:
        return ""
    return "steps " + ", ".join(_ranges(parts))


def _ranges(parts: Sequence[str]) -> list[str]:
    """Return numbers that follow each other as from-to."""
    runs: list[list[str]] = []
    for part in parts:
        if runs and part.isdigit() and runs[-1][-1].isdigit() and int(part) == int(runs[-1][-1]) + 1:
            runs[-1].append(part)
        else:
            runs.append([part])
    return [run[0] if len(run) == 1 else f"{run[0]} to {run[-1]}" for run in runs]


def ways_of(day: CrewDay) -> tuple[Way, ...]:
    """Return what is done today, the longest list of steps first; stones with other steps stand apart."""
    made: dict[tuple[str, tuple[str, ...], str], list[str]] = {}
    for stop in day.listed:
        treatment, typed = stop.work.get("treatment"), stop.work.get("steps")
        if not treatment:
            continue
        own = tuple(one.strip() for one in str(typed).split("|")) if typed else ()
        steps = own or steps_for(treatment) or (steps_of(LOOK_PLAN) if treatment == LOOK_FIRST else ())
        steps = (*steps, GRADES) if treatment == LOOK_FIRST else steps
        way = f"{treatment} ({stop.work['method']})" if stop.work.get("method") else treatment
        made.setdefault((way, steps, stop.work.get("method") or ""), []).append(stop.label)
    # the longest first, so that shorter ones can name its steps
    ordered = sorted(made.items(), key=lambda one: -len(one[0][1]))
    return tuple(
        Way(_letter(place), way, steps, tuple(stops), method)
        for place, ((way, steps, method), stops) in enumerate(ordered)
    )


def _letter(place: int) -> str:
    """Return A, B, ... Z, A2, B2 and so on."""
    return f"{chr(ord('A') + place % 26)}{place // 26 + 1 if place >= 26 else ''}"
