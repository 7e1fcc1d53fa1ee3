"""What all map pages share: the words around a map from the results log, north, and labels of stones and rows."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from gravegis.layers.canonical import column
from gravegis.outputs import blocks, currency, figure, labels, paint, words
from gravegis.outputs.labels import Anchor, Label
from gravegis.outputs.things import seen, shapes_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from gravegis.outputs.figure import Sheet
    from gravegis.outputs.labels import Board
    from gravegis.outputs.things import Shapes, Thing
    from gravegis.site import ResultRecord, Site

__all__ = [
    "About",
    "anchors_of",
    "board_of",
    "covered",
    "draw_along",
    "label_stones",
    "record_of",
    "rows_and_sections",
    "start",
]

STONE_PT = 5.0
ROW_PT = 5.0
SECTION_PT = 8.0
GREY = "#4a4a4a"
# More labels than this are not tried: at this number they would be smaller than the gaps between them (own choice).
MOST_LABELS = 3000
_DENSE_MM = 0.3
# Stones nearer to each other than the height of their names: no names, or the map would be grey with them. Own choice.
DENSE_MM = 2.2
DENSE_LEAST_N = 200
# Drawing order just under all stones.
UNDER_Z = 33
# Marks this near to each other on paper are seen as one: own choice.
SPOT_MM = 0.4
_CAUTION = "Not "
_DATED = (("stones", "surveyed_on"), ("heads", "seen_on"), ("findings", "found_on"), ("observations", "seen_on"))


@dataclass(frozen=True, slots=True)
class About:
    """What only the caller knows of a page: when it was made, for which paper, of which plan, its number."""

    made_on: str = ""
    paper: str = "A4"
    plan_hash: str = ""
    page: tuple[int, int] = (1, 1)


def record_of(site: Site, analysis: str) -> ResultRecord | None:
    """Return the line of the results log of one analysis; None where it was not run."""
    return next((one for one in site.log if one.analysis == analysis), None)


def setting(site: Site, analysis: str, name: str, otherwise: float) -> float:
    """Return a number an analysis was run with; `otherwise` where the log does not say."""
    record = record_of(site, analysis)
    value = None if record is None else record.settings.get(name)
    return float(value) if isinstance(value, (int, float)) else otherwise


def page_of(
    site: Site,
    title: str,
    analyses: Sequence[str],
    about: About,
    *,
    first: Sequence[str] = (),
    rests_on: Sequence[str] = (),
    skip: str = "\0",
    lines_n: int = blocks.ANSWER_LINES,
) -> blocks.Page:
    """Return the words around a map: notes and assumptions of the analyses it shows, sources and dates.

    `first` are sentences before the notes; of the analyses it `rests_on` only the assumptions are told. What is out of
    date among both is said in a band above all. Notes that
    begin with "Not" say what was not checked: they are kept whole. Notes that begin with `skip` are said elsewhere on
    the page. At most `lines_n` lines stand above the map.
    """
    notes = [*first, *(note for name in analyses for note in _notes(site, name) if not note.startswith(skip))]
    said = [_sentence(note) for note in dict.fromkeys(notes)]
    return blocks.Page(
        title=title,
        place=site.info.title,
        answer=tuple(note for note in said if not note.startswith(_CAUTION)),
        cautions=tuple(note for note in said if note.startswith(_CAUTION)),
        assumed=words.assumed(site, (*analyses, *rests_on)),
        sources=site.info.sources or ("not recorded",),
        made_on=about.made_on,
        data_on=data_on(site),
        crs=site.info.crs,
        plan_hash=about.plan_hash,
        page_n=about.page[0],
        pages_n=about.page[1],
        lines_n=lines_n,
        warning=currency.mark(site, (*analyses, *rests_on)),
    )


def _notes(site: Site, analysis: str) -> tuple[str, ...]:
    """Return the notes of one analysis; nothing where it was not run."""
    record = record_of(site, analysis)
    return () if record is None else record.notes


def _sentence(text: str) -> str:
    return text if text.rstrip().endswith((".", "!", "?", ":")) else f"{text.rstrip()}."


def data_on(site: Site) -> str:
    """Return the days the survey data are of, in words; empty where no layer says."""
    said: list[str] = []
    for layer, name in _DATED:
        if site.has(layer, name):
            days = sorted(str(day) for day in site[layer][name].dropna())
            said.append(f"{layer} {days[0]}" + (f" to {days[-1]}" if days[-1] != days[0] else ""))
    return ", ".join(said)


def start(
    site: Site, page: blocks.Page, things: Sequence[Thing], bounds: tuple[float, float, float, float], about: About
) -> Sheet:
    """Return a page with its frame, its key and all things drawn but those that are there for the key only."""
    things = seen(things, bounds)
    sheet = figure.make_sheet(
        page, figure.entries_of(things), bounds, paper=about.paper, north_deg=north_deg(site, bounds)
    )
    for thing in _stones_seen(things, sheet.layout.mm_per_m):
        if not thing.in_key_only:
            paint.draw(sheet.ground, thing, sheet.layout.mm_per_m)
    return sheet


def _stones_seen(things: Sequence[Thing], mm_per_m: float) -> list[Thing]:
    """Return the things with every gate, base or tap that would hide a stone moved under the stones."""
    stones = [one.shapes for one in things if one.shape == "stones"]
    if not stones:
        return list(things)
    tree = shapely.STRtree(np.concatenate(stones))
    made: list[Thing] = []
    for thing in things:
        if thing.symbol.family != "point" or thing.shape != "marks":
            made.append(thing)
            continue
        near = np.zeros(len(thing.shapes), dtype=bool)
        near[tree.query(thing.shapes, predicate="dwithin", distance=thing.symbol.size_mm / 2 / mm_per_m)[0]] = True
        under = replace(thing.symbol, z=UNDER_Z)
        made += [replace(thing, shapes=thing.shapes[~near]), replace(thing, symbol=under, shapes=thing.shapes[near])]
    return [one for one in made if len(one.shapes)]


def north_deg(site: Site, bounds: tuple[float, float, float, float]) -> float:
    """Return the grid bearing of true north in the middle of the map; NaN where the CRS does not tell. [deg]"""
    from pyproj.exceptions import CRSError, ProjError

    from gravegis.layers.north import true_north_on_grid_deg

    middle = np.array([(bounds[0] + bounds[2]) / 2]), np.array([(bounds[1] + bounds[3]) / 2])
    try:
        found = float(true_north_on_grid_deg(site.info.crs, *middle)[0])
    except (CRSError, ProjError):
        return math.nan
    return found if math.isfinite(found) else math.nan


def board_of(sheet: Sheet, things: Iterable[Thing]) -> Board:
    """Return a board on which marks are taken and footprints are drawn."""
    board = sheet.board()
    for thing in things:
        if thing.in_key_only:
            continue
        if thing.shape == "marks":
            size = thing.symbol.size_mm + thing.symbol.width_mm
            for anchor in anchors_of(sheet, thing.shapes):
                board.take(anchor.x, anchor.y, size, size)
        elif thing.shape == "stones":
            for anchor in anchors_of(sheet, thing.shapes, thing.symbol.size_mm):
                board.draw(anchor.x, anchor.y, 2 * anchor.half_width, 2 * anchor.half_height)
    return board


def draw_along(sheet: Sheet, board: Board, lines: Shapes, shift_mm: float = 0.0) -> None:
    """Note lines, or the outlines of areas, on a board, so that labels keep off them where they can."""
    edges = shapely.get_parts(np.where(shapely.get_dimensions(lines) == 2, shapely.boundary(lines), lines))
    # a walk that starts and ends on one spot has no length to cut into pieces, and covers nothing
    long = edges[shapely.length(edges) > 0]
    points = shapely.get_coordinates(shapely.segmentize(long, _DENSE_MM / sheet.layout.mm_per_m))
    board.draw_points(sheet.to_mm(points) + np.array([shift_mm, -shift_mm]))


def anchors_of(sheet: Sheet, shapes: Shapes, least_mm: float = 0.0) -> list[Anchor]:
    """Return middle and half size on paper of each geometry."""
    box = shapely.bounds(shapes)
    middle = sheet.to_mm((box[:, :2] + box[:, 2:]) / 2)
    half = np.maximum((box[:, 2:] - box[:, :2]) / 2 * sheet.layout.mm_per_m, least_mm / 2)
    return [Anchor(*row) for row in np.column_stack([middle, half]).tolist()]


NO_NAMES = "No names of stones: too close to be read at this scale"
"""Said once on a map on which stones carry no name."""


def too_dense(sheet: Sheet, shapes: Shapes) -> bool:
    """Return whether things stand so close on paper that names among them could not be told apart."""
    there = shapes[~shapely.is_missing(shapes)]
    if len(there) < DENSE_LEAST_N:
        return False
    west, south, east, north = shapely.total_bounds(there)
    each_mm2 = (east - west) * (north - south) * sheet.layout.mm_per_m**2 / len(there)
    return math.sqrt(each_mm2) < DENSE_MM


def covered(sheet: Sheet, shapes: Shapes, discs: Sequence[Anchor] = ()) -> list[str]:
    """Say how many stones lie under others or under discs on paper, since the key counts them all; else nothing."""
    there = shapes[~shapely.is_missing(shapes)]
    middle = sheet.to_mm(shapely.get_coordinates(shapely.centroid(there)))
    _, first = np.unique(np.round(middle / SPOT_MM), axis=0, return_index=True)
    is_seen = np.isin(np.arange(len(middle)), first)
    for disc in discs:
        is_seen &= np.hypot(*(middle - (disc.x, disc.y)).T) > disc.half_width
    hidden_n = int((~is_seen).sum())
    stones = words.counted(len(middle), "stone")
    return [f"{hidden_n} of {stones} under other marks: too close at this scale"] if hidden_n else []


def label_stones(
    sheet: Sheet, board: Board, ids: Sequence[str], shapes: Shapes, *, thing: str = "stone", off_mm: float = 0.0
) -> list[str]:
    """Write the names of stones where they fit, in the order given; says how many have none, nothing where all have.

    Where there is no room beside a stone its name may stand `off_mm` farther off, past a mark that lies under the
    stone.
    """
    hidden = 0.17 if off_mm else 0.08  # places farther off come late in the list, and each later one costs a little
    wanted = [
        Label(name, _two(anchor, off_mm), STONE_PT, most_hidden=hidden, pad_mm=0.1)
        for name, anchor in zip(ids[:MOST_LABELS], anchors_of(sheet, shapes[:MOST_LABELS], 1.0), strict=True)
    ]
    placed, _ = labels.place(board, wanted)
    figure.show(sheet, placed)
    left = len(ids) - len(placed)
    return [f"{left} of {words.counted(len(ids), thing)} without a name here: no room"] if left else []


def _two(anchor: Anchor, off_mm: float) -> tuple[Anchor, ...]:
    far = replace(anchor, half_width=anchor.half_width + off_mm, half_height=anchor.half_height + off_mm)
    return (anchor, far) if off_mm else (anchor,)


def rows_and_sections(site: Site, sheet: Sheet, board: Board) -> None:
    """Name sections and the ends of rows, where there is room, so that a person finds the way."""
    layer = "plots" if site.has("plots", "section") else "stones"
    if not site.has(layer):
        return
    frame = site[layer]
    shapes = shapes_of(frame)
    there = ~shapely.is_missing(shapes)
    named = [("section", SECTION_PT, "Section {}", True), ("row", ROW_PT, "row {}", False)]
    for name, size, form, bold in named[:1] if too_dense(sheet, shapes) else named:
        keys = column(frame, layer, name)
        names = sorted(keys[there].dropna().unique())[:MOST_LABELS]
        wanted = [
            Label(form.format(key), _ends(sheet, some, all_round=bold), size, bold=bold, colour=GREY, most_hidden=0.15)
            for key in names
            if len(some := shapes[there & (keys == key).to_numpy(dtype=bool)])
        ]
        figure.show(sheet, labels.place(board, wanted)[0])


def _ends(sheet: Sheet, shapes: Shapes, *, all_round: bool) -> tuple[Anchor, ...]:
    """Return places at the two ends of a group along its longer side, or at corners and sides of its frame."""
    west, south, east, north = shapely.total_bounds(shapes)
    (left, low), (right, high) = sheet.to_mm(np.array([[west, south], [east, north]])).tolist()
    across, up = (left + right) / 2, (low + high) / 2
    if all_round:
        return (
            Anchor(across, high), Anchor(across, low), Anchor(left, high), Anchor(right, high),
            Anchor(left, low), Anchor(right, low), Anchor(right, up), Anchor(left, up),
        )  # fmt: skip
    if east - west > north - south:
        return Anchor(left, up), Anchor(right, up)
    return Anchor(across, high), Anchor(across, low)
