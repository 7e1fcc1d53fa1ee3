"""The boxes of the worklist: what to load, the day's safety, how each way works, what holds stones, ground to spare."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from reportlab.platypus import Spacer

from gravegis.analyses.worklist import ANALYSIS
from gravegis.layers.care import label_of
from gravegis.layers.carried import litres_carried
from gravegis.outputs import words
from gravegis.outputs.crew_words import BLANKS
from gravegis.outputs.leave_page import leave_missing
from gravegis.outputs.paper import SMALL, Blank, CheckBox, box, para
from gravegis.outputs.worklist_rows import what
from gravegis.science.care.restrict import ground_name
from gravegis.science.care.steps import dwell_words
from gravegis.science.care.supplies import load_for
from gravegis.science.care.ways import CLEANER, way_table

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from reportlab.platypus import Flowable

    from gravegis.analyses.worklist.settings import WorklistSettings
    from gravegis.outputs.worklist_rows import Row
    from gravegis.science.care.steps import Label
    from gravegis.science.care.supplies import Load
    from gravegis.science.care.ways import Way
    from gravegis.site import Site

__all__ = ["conservator", "day_block", "held", "load", "spared_ground", "ways_used"]

TICKS = (
    "Everybody briefed on this page", "Everybody signed in, nobody alone", "Zones off, request signed",
    "Forecast read: heat, wind, frost, thunder", "Minors: no chemicals", "Snakes, insects, ground looked for",
)  # fmt: skip
"""What the leader ticks before work: common practice, no source."""
GROUND_RULES = ("ground_water_only", "ground_hold")
MOST_NAMED = 16
"""Stones named beside a piece of ground; own choice."""
DAYS_A_WEEK, DAYS_A_MONTH = 7, 30.4


def load(site: Site, out: Sequence[Row], width: float) -> Flowable:
    """Return what all of it takes, in whole containers."""
    crews, set_ = words.records(site, "crews"), _settings(site)
    good = any(tap["fit_to_drink"] for tap in words.records(site, "taps"))
    share = [_share(row) for row in out]
    needed = load_for(
        [row.work["water_l"] or 0.0 for row in out], [row.work["cleaner_l"] or 0.0 for row in out], share,
        people_n=sum(int(row["people_n"] or 2) for row in crews) or 2, good_tap=good,
        container_l=set_.container_l, cleaner_container_l=set_.cleaner_container_l,
    )  # fmt: skip
    where = (
        "a tap known as drinking water is there" if good
        else "no tap is known as drinking water: bring all of it, never the water that stained the stones"
    )  # fmt: skip
    known = not math.isnan(needed.concentrate_l)
    mix = (
        f"about {needed.concentrate_l:.1f} l as sold, unless its label says otherwise"
        if known
        else "mixed as its label says"
    )
    lines = [
        para(f"{needed.water_l:.0f} l, {needed.water_containers_n} containers of {set_.container_l:g} l; {where}.",
             lead="Water:"),
        para(f"{needed.cleaner_l:.1f} l ready to use ({mix}), {needed.cleaner_containers_n} containers of "
             f"{set_.cleaner_container_l:g} l. None to spare is poured out: take it back.", lead="Cleaner:"),
        para(f"{needed.brushes_n} soft brushes, {needed.sticks_n} sticks of wood or soft plastic, gloves, goggles, "
             f"long sleeves, eyewash, a surface thermometer.", lead="Tools:"),
        para(f"a full container weighs {needed.heaviest_kg:.0f} kg: cart it, two people lift. "
             f"{_carried(crews, needed)}", lead="Weight:"),
        para("Amounts: common practice, no source. For one day, take the share of the stones on its sheets.", SMALL),
    ]  # fmt: skip
    return box("To load, for all that may go out", lines, width)


def _settings(site: Site) -> WorklistSettings:
    """Return the settings the worklist was made with."""
    saved = next((record.settings for record in site.log if record.analysis == ANALYSIS.name), {})
    return ANALYSIS.read({}, saved)


def _share(row: Row) -> float:
    """Return the share of a stone's cleaner that is the product as sold; NaN where only the label knows."""
    cleaner_l, sold_l = row.work["cleaner_l"], row.work["concentrate_l"]
    return 0.0 if not cleaner_l else math.nan if sold_l is None else float(sold_l) / float(cleaner_l)


def _carried(crews: Sequence[Mapping[str, Any]], needed: Load) -> str:
    """Return how often the crews fill what they carry at a time, as typed in `crews`: by hand, cart or tank."""
    ways: dict[str, list[float]] = {}
    for crew in crews:
        found = litres_carried(crew["carries"])
        if found:
            ways.setdefault(str(crew["carries"]), []).append(found)
    at_once = sum(map(sum, ways.values()))
    if not at_once:
        return "What the crews carry at a time is not on file."
    said = "; ".join(f"{len(each)} x {way}" if len(each) > 1 else way for way, each in ways.items())
    return f"Carried at a time: {said}; so about {math.ceil(needed.water_l / at_once)} rounds of filling for all of it."


def day_block(width: float) -> Flowable:
    """Return what the leader fills in and ticks before anybody starts."""
    half = width / 2 - 10
    lines: list[Flowable] = [Blank(text, half, high=17) for text in ("Day, leader, phone", *BLANKS, "Signed in")]
    ticks: list[Flowable] = [one for text in TICKS for one in (CheckBox(text, side=9), Spacer(0, 2))]
    # the lines run down the columns: blanks above ticks in both
    blanks_n, ticks_n = len(lines) // 2, len(ticks) // 2
    down = [*lines[:blanks_n], Spacer(0, 4), *ticks[:ticks_n], *lines[blanks_n:], Spacer(0, 4), *ticks[ticks_n:]]
    return box("The day's safety: fill in before anybody starts; copy it for each crew", down, width, columns=2)


def held(site: Site, rows: Sequence[Row], width: float) -> list[Flowable]:
    """Return how many stones are held by what, and how many wait for whose leave; nothing where none is held."""
    words_of: dict[str, int] = {}
    for row in rows:
        if row.is_held:
            words_of[row.work["hold"]] = words_of.get(row.work["hold"], 0) + 1
    lines = [
        para(words.counted(count, "stone"), lead=f"{words.sentence(hold)}:")
        for hold, count in sorted(words_of.items(), key=lambda one: (-one[1], one[0]))
    ]
    asked = leave_missing(site)
    if asked:
        said = "; ".join(f"{whose} for {words.counted(len(stones), 'stone')}" for whose, stones in asked.items())
        lines.append(para(f"{said}. to_ask.pdf names them, a conservator's stones among them.", lead="Leave to ask:"))
    return [box("Held: nobody works on these", lines, width), Spacer(0, 6)] if lines else []


def ways_used(site: Site, out: Sequence[Row], width: float) -> list[Flowable]:
    """Return how each way of working goes: soak, when to look again, how long it may last; and what the label says."""
    label, table = label_of(site.get("products")), way_table()
    lines: list[Flowable] = []
    for name, way in table.items():
        rows = [row for row in out if row.work["method"] == name]
        if rows:
            lead = f"{words.sentence(what(rows[0]))} ({len(rows)}):"
            lines.append(para(_way(way, label), lead=lead))
    if not lines:
        return []
    if any(row.work["cleaner_l"] for row in out):
        lines.append(para(_label(label), lead="Label:"))
    lines += [para(said, lead="Your own minutes:") for said in own_minutes(out)]
    lines.append(para("Soak, days and months: common practice, no source, but for what the label says.", SMALL))
    return [box("How each way goes", lines, width), Spacer(0, 6)]


def _way(way: Way, label: Label | None) -> str:
    soak = f"soak {dwell_words(label, way.soak)}, kept wet; " if way.agent == CLEANER and way.soak else ""
    leave = "" if way.agent != CLEANER or way.soak else (
        f"left on, not rinsed, in a dry spell of {way.dry_spell_h:g} h with the sprinklers off; "
    )  # fmt: skip
    raised, film = _after(way.look_raised_days), _after(way.look_film_days)
    look = f"look again {raised}" + ("" if raised == film else f" where growth stood up, {film} where in the pores")
    months = round(way.holds_days / DAYS_A_MONTH)
    return f"{soak}{leave}{look}; expected to hold {months} months or more where the spray is mended."


def _after(days: int) -> str:
    if days == 0:
        return "the same day"
    weeks = days / DAYS_A_WEEK
    return f"after {weeks:g} weeks" if weeks == int(weeks) else f"after {days} days"


def _label(label: Label | None) -> str:
    if label is None:
        return "none on file. Follow the label of what you use; no strength and no time are printed here."
    uses = f" Permitted for: {label.uses}." if label.uses else " What it may be used for is not on file: read it."
    rest = label.rest.removeprefix(". By its label: ")
    return f"{label.name}.{uses}{f' {words.sentence(rest)}.' if rest else ''} It comes before every figure here."


def own_minutes(out: Sequence[Row]) -> list[str]:
    """Return which minutes of your own took the place of the table, each with how many stones it is used for."""
    used: dict[str, int] = {}
    for row in out:
        said = zip(words.reason_values(row.work["reasons"]), words.reasons(row.work["reasons"]), strict=True)
        for one, text in said:
            if one["code"] == "own_minutes":
                used[text] = used.get(text, 0) + 1
    return [f"{text} Used for {words.counted(count, 'stone')}." for text, count in used.items()]


def spared_ground(site: Site, rows: Sequence[Row], width: float) -> list[Flowable]:
    """Return the ground that run-off must not reach, with the stones near it; nothing where nobody is to wet."""
    if not any(row.work["method"] for row in rows):
        return []
    near: dict[str, list[Row]] = {}
    for row in rows:
        for one in words.reason_values(row.work["reasons"]):
            if one["code"] in GROUND_RULES and row.work["who"] == "crew" and row.work["method"]:
                near.setdefault(str(one["values"]["what"]), []).append(row)
    lines: list[Flowable] = []
    set_ = _settings(site)
    for area in words.records(site, "sensitive"):
        name = ground_name(area["kind"], area["sensitive_id"] or "")
        buffer_m = area["buffer_m"] if area["buffer_m"] is not None else set_.buffer_m
        lines.append(para(_near(near.get(name, []), buffer_m), lead=f"{words.sentence(name)}:"))
    if not lines:
        lines.append(para("None on file: look for ponds, streams, drains, hives and protected growth before you wet."))
    lines.append(
        para("Slopes are not on file: which way water runs is not worked out. Look before you wet; where it would run "
             "to such ground or into a drain, work as if the stone stood within it: no cleaner, or not at all.")
    )  # fmt: skip
    return [box("Where run-off must not go", lines, width), Spacer(0, 6)]


def _near(rows: Sequence[Row], buffer_m: float) -> str:
    kept = f"{buffer_m:g} m are kept"
    if not rows:
        return f"{kept}; no stone to be cleaned stands within."
    wet = sorted((row.work["stone_id"] for row in rows if row.goes_out), key=words.in_order)
    held_n = sum(1 for row in rows if row.is_held)
    said = [f"water only: {words.listed(wet, MOST_NAMED)}"] if wet else []
    said += [f"{words.counted(held_n, 'stone')} held"] if held_n else []
    return f"{kept}. {words.sentence('; '.join(said))}."


def conservator(rows: Sequence[Row], width: float) -> list[Flowable]:
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
