"""Map of a day: who walks where, in which order, and which stones nobody visits."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import shapely

from gravegis.layers.canonical import column
from gravegis.outputs import figure, labels, pages, symbols, words
from gravegis.outputs.days import MIDDLE, assumed_base, staying
from gravegis.outputs.labels import Anchor, Label
from gravegis.outputs.pages import About
from gravegis.outputs.things import Thing, bounds_m, ground, places, shapes_of, stones_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from matplotlib.figure import Figure

    from gravegis.layers.canonical import Frame
    from gravegis.outputs.figure import Sheet
    from gravegis.outputs.labels import Board, Placed
    from gravegis.outputs.things import Shapes
    from gravegis.site import Site

__all__ = ["crew_map"]

# Lines of crews on one path stand this far apart on paper. [mm] Own choice.
ASIDE_MM = 0.6
MOST_ASIDE_MM = 1.8
MOST_CREWS = 30
MOST_TOLD = 6
"""Crews up to this number are told of one by one above the map."""
MOST_MARKED = 300
"""With more stones left over they share one small mark, so that the day stands out; own choice."""
STOP_PT = 5.5
REACH_MM = (2.6, 3.8, 5.2, 7.0, 9.5, 12.5)
# Stops of a crew this close on paper come under one label where single ones have no room. [mm] Own choice.
TOGETHER_MM = (0.0, 4.0, 7.0, 12.0, 20.0, 40.0)


@dataclass(frozen=True, slots=True)
class _Stop:
    """A stop of a crew: the letter of the crew, its order, its place on paper, the colour of the crew."""

    letter: str
    seq: int
    at: Anchor
    line: str


def crew_map(
    site: Site,
    day: str | None = None,
    *,
    made_on: str = "",
    paper: str = "A4",
    plan_hash: str = "",
    page: tuple[int, int] = (1, 1),
) -> Figure:
    """Return the page of one day: the walked lines and stops of each crew, the base, gates and walls.

    Parameters
    ----------
    day
        As layer ``stops`` names it; the first one where it is left out. A day without stops gives the ground and
        says so.
    """
    about = About(made_on, paper, plan_hash, page)
    day = day if day is not None else _first_day(site)
    stops, legs = _of_day(site, "stops", day), _of_day(site, "legs", day)
    crews = list(dict.fromkeys([*_sorted(stops), *_sorted(legs)]))
    shapes = shapes_of(site["stones"]) if site.has("stones") else np.array([], dtype=object)
    at = _places(site, stops)
    lines = _lines(legs, crews, _words(site, day, crews))
    drawn = [*lines, *places("stop_place", at, f"stop: crew and order beside it ({_count(at)})")]
    drawn += [*_unplanned(site), *stones_of(shapes, ["stone"] * len(shapes), {}, ("stone",))]
    drawn += [*ground(site, with_water=True), *_assumed_base(site, stops)]
    bounds = bounds_m(shapes, *(one.shapes for one in lines), around=drawn)
    first = () if len(stops) else (f"No stops are planned on {day}." if day else "No day has been planned yet.",)
    title = f"Who walks where on {day}" if day else "Who walks where"
    first = (*first, *_summary(site, day, crews))
    words_around = pages.page_of(site, title, ("routes",), about, first=first, rests_on=("worklist",), skip="Crew ")
    sheet = pages.start(site, words_around, drawn, bounds, about)
    board = _board(sheet, drawn)
    left = _label_stops(sheet, board, _stops(sheet, stops, at, crews))
    pages.rows_and_sections(site, sheet, board)
    lost = [f"{words.counted(left, 'label')} of stops left out: no room; see the list of stops"] if left else []
    figure.remark(sheet, [*pages.covered(sheet, shapes), *lost])
    return sheet.figure


def _first_day(site: Site) -> str:
    return str(site["stops"]["day"].min()) if site.has("stops", "day") else ""


def _of_day(site: Site, layer: str, day: str) -> Frame:
    """Return the rows of a day, in the order of crew and stop; an empty table where there are none."""
    from gravegis.layers import canonical

    frame = site[layer] if site.has(layer) else canonical.empty(layer)
    order = [name for name in ("crew_id", "seq") if name in frame.columns]
    return frame[frame["day"] == day].sort_values(order, kind="stable")


def _sorted(frame: Frame) -> list[str]:
    return sorted(frame["crew_id"].unique(), key=words.in_order)


def _places(site: Site, stops: Frame) -> Shapes:
    """Return the middle of the stone of each stop; None where the stone is not in the layer."""
    if not site.has("stones"):
        return np.full(len(stops), None, dtype=object)
    stones = site["stones"]
    middle = dict(zip(stones["stone_id"], shapely.centroid(shapes_of(stones)), strict=True))
    made: Shapes = np.full(len(stops), None, dtype=object)
    made[:] = [middle.get(stone) for stone in stops["stone_id"]]
    return made


def _count(shapes: Shapes) -> int:
    return int((~shapely.is_missing(shapes)).sum())


def _words(site: Site, day: str, crews: Sequence[str]) -> list[str]:
    """Return what the key says of each crew: letter, name, stones, metres on foot."""
    days = {row["crew_id"]: row for row in _of_day(site, "crew_days", day).to_dict("records")}
    made: list[str] = []
    for order, crew in enumerate(crews):
        said = [f"{symbols.crew_letter(order)}: {words.crew_name(crew)}"]
        stones_n, length_m = (days.get(crew, {}).get(name) for name in ("stones_n", "length_m"))
        said += [] if pd.isna(stones_n) else [words.counted(int(stones_n), "stone")]
        said += [] if pd.isna(length_m) else [f"{length_m:.0f} m on foot"]
        made.append(", ".join(said))
    return made


def _summary(site: Site, day: str, crews: Sequence[str]) -> list[str]:
    """Return what the key does not say: how many crews go out, when few also their hours, and who stays."""
    rows = sorted(_of_day(site, "crew_days", day).to_dict("records"), key=lambda row: words.in_order(row["crew_id"]))
    out = [row for row in rows if row["crew_id"] in crews]
    told = f"{words.counted(len(out), 'crew')} out: the key says who they are." if out else ""
    times = [(words.clock(_text(row.get("leave_at"))), words.clock(_text(row.get("return_at")))) for row in out]
    if out and len(out) <= MOST_TOLD and all(start and end for start, end in times):
        each = zip(out, times, strict=True)
        told = "On the way: " + ", ".join(f"{row['crew_id']} {start} to {end}" for row, (start, end) in each) + "."
    return [one for one in (told, staying([row["crew_id"] for row in rows if row["crew_id"] not in crews])) if one]


def _text(value: object) -> str:
    return value if isinstance(value, str) else ""


def _assumed_base(site: Site, stops: Frame) -> list[Thing]:
    """Return where crews start when no base is known, marked as assumed."""
    middle = assumed_base(site) if len(stops) else None
    return [] if middle is None else places("base", np.array([middle], dtype=object), f"base, {MIDDLE}")


def _lines(legs: Frame, crews: Sequence[str], told: Sequence[str]) -> list[Thing]:
    """Return the walked line of each crew, beside those of the others."""
    shapes = shapes_of(legs)
    few = len(crews) <= MOST_CREWS
    made: list[Thing] = []
    for order, crew in enumerate(crews):
        mine = shapes[(legs["crew_id"] == crew).to_numpy(dtype=bool) & ~shapely.is_missing(shapes)]
        aside = (order - (len(crews) - 1) / 2) * min(ASIDE_MM, 2 * MOST_ASIDE_MM / len(crews))
        said = told[order] if few else ("" if made else f"line of one of {len(crews)} crews, letters at the stops")
        if len(mine):
            made.append(Thing(symbols.crew_symbol(order), "lines", mine, said, shift_mm=aside))
    return made


def _unplanned(site: Site) -> list[Thing]:
    """Return stones nobody visits, a mark for each reason, commonest first; rare reasons share the last mark."""
    if not (site.has("unplanned") and site.has("stones")):
        return []
    frame, stones = site["unplanned"], site["stones"]
    if len(frame) > MOST_MARKED:
        mine = shapes_of(stones)[stones["stone_id"].isin(frame["stone_id"]).to_numpy(dtype=bool)]
        return places("not_visited", shapely.centroid(mine), f"not visited, reasons in unplanned.csv ({_count(mine)})")
    kinds = [kind for kind in symbols.kinds() if kind.startswith("unplanned_")]
    reasons = column(frame, "unplanned", "reason").fillna("no reason was recorded")
    common = list(reasons.value_counts().sort_index().sort_values(ascending=False, kind="stable").index)
    shapes, ids = shapes_of(stones), stones["stone_id"]
    made: list[Thing] = []
    for order, kind in enumerate(kinds):
        some = common[order:] if order == len(kinds) - 1 else common[order : order + 1]
        mine = shapes[ids.isin(frame["stone_id"][reasons.isin(some)]).to_numpy(dtype=bool)]
        said = " / ".join(dict.fromkeys(words.unplanned_because(reason) for reason in some))
        made += places(kind, shapely.centroid(mine), f"not visited: {said} ({_count(mine)})")
    return made


def _board(sheet: Sheet, drawn: Sequence[Thing]) -> Board:
    """Return the board for labels: besides marks and stones, the walked lines are drawn on it."""
    board = pages.board_of(sheet, [one for one in drawn if not one.symbol.kind.startswith("unplanned")])
    for one in drawn:
        if one.symbol.family == "crew":
            pages.draw_along(sheet, board, one.shapes, one.shift_mm)
    return board


def _stops(sheet: Sheet, stops: Frame, at: Shapes, crews: Sequence[str]) -> list[list[_Stop]]:
    """Return the stops of each crew in order, with their places on paper."""
    made: list[list[_Stop]] = []
    rows = stops.assign(place=at)
    rows = rows[rows["place"].notna()]
    for order, crew in enumerate(crews):
        mine = rows[rows["crew_id"] == crew]
        anchors = pages.anchors_of(sheet, np.asarray(mine["place"], dtype=object))
        line, letter = symbols.crew_symbol(order).line, symbols.crew_letter(order)
        made.append([_Stop(letter, int(seq), anchor, line) for seq, anchor in zip(mine["seq"], anchors, strict=True)])
    return made


def _label_stops(sheet: Sheet, board: Board, crews: Sequence[Sequence[_Stop]]) -> int:
    """Write letter and order beside each stop; runs of close stops share a label where single ones have no room.

    Returns how many labels had no room even so.
    """
    placed: list[Placed] = []
    left: list[Label] = []
    for together_mm in TOGETHER_MM:
        wanted = [_label(run) for stops in crews for run in _runs(stops, together_mm)]
        placed, left = labels.place(tried := board.copy(), wanted)
        if not left:
            break
    board.become(tried)
    figure.show(sheet, placed)
    return len(left)


def _runs(stops: Sequence[_Stop], together_mm: float) -> Iterator[list[_Stop]]:
    """Give runs of stops that follow each other and lie within a distance of the first one."""
    run: list[_Stop] = []
    for stop in stops:
        if run and np.hypot(stop.at.x - run[0].at.x, stop.at.y - run[0].at.y) > together_mm:
            yield run
            run = []
        run.append(stop)
    if run:
        yield run


def _label(run: Sequence[_Stop]) -> Label:
    first, last = run[0], run[-1]
    words = f"{first.letter}{first.seq}" + (f"\u2013{last.letter}{last.seq}" if len(run) > 1 else "")
    at = (run[len(run) // 2].at,)
    return Label(words, at, STOP_PT, bold=True, most_hidden=0.9, pad_mm=0.3, line=first.line, reach_mm=REACH_MM)
