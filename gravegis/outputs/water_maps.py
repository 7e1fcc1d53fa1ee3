"""Maps of water: the whole ground with the heads to look at first, and one zone as a small picture."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import shapely

from gravegis.layers.canonical import column
from gravegis.outputs import figure, labels, layout, pages, paint, symbols, typeset, words
from gravegis.outputs.labels import Anchor, Label
from gravegis.outputs.pages import About
from gravegis.outputs.things import Thing, bounds_m, ground, outlines, places, shapes_of, stones_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt
    from matplotlib.figure import Figure

    from gravegis.layers.canonical import Frame
    from gravegis.outputs.figure import Sheet
    from gravegis.outputs.labels import Board
    from gravegis.outputs.things import Shapes
    from gravegis.site import Site

__all__ = ["wetting_map", "zone_map"]

NEAR_M = 2.0
"""Close to a head where the log does not say: common practice, no source."""
FIRST_N = 10
MOST_ZONES = 12
HEAD_PT = 6.5
ANSWER_LINES = 4
"""Lines above the map: more is in answers.txt; own choice."""
# Where the disc of a head to look at first may stand off from it, so that it hides no stone. [mm] Own choice.
DISC_REACH_MM = (0.0, 3.2, 4.4, 6.0, 8.0)
_HEAD_MM = 3.6
STATE_KINDS = {
    "struck": "stone_struck", "rained on": "stone_rained_on", "foot wetted": "stone_foot_wetted",
    "fringe": "stone_fringe", "uncertain": "stone_uncertain", "dry": "stone_dry",
}  # fmt: skip
"""How a stone of each state is drawn."""
_ORDER = (*STATE_KINDS.values(), "stone_near", "stone_reached", "stone_not_reached", "stone_not_known", "stone")


def wetting_map(
    site: Site, *, made_on: str = "", paper: str = "A4", plan_hash: str = "", page: tuple[int, int] = (1, 1)
) -> Figure:
    """Return the page that leads with the heads that strike most stones, or stand closest to most.

    On a lawn laid out well nearly every stone is inside some throw, so that flag is only a light tone. Each stone is
    drawn by its state; where no height is known, which a strike needs, by how close a head stands. Layers that are
    missing are left out.
    """
    about = About(made_on, paper, plan_hash, page)
    near_m = pages.setting(site, "wetting", "near_m", NEAR_M)
    shapes = shapes_of(site["stones"]) if site.has("stones") else np.array([], dtype=object)
    kinds = _wetting_kinds(site, near_m)
    ranked = _ranked(site)
    heads = _heads(site, ranked)
    caution = words.by_positions(site, near_m)
    near = " ".join(filter(None, [f"stone reached, {near_m:g} m or less from a head", caution]))
    drawn = [*heads, *stones_of(shapes, kinds, {"stone_near": near}, _ORDER), *_near_rings(site, ranked, near_m)]
    drawn += [*_water(site), *ground(site)]
    bounds = bounds_m(shapes, *(thing.shapes for thing in heads), around=drawn)
    title = "Heads to look at first, and stones the spray reaches"
    done = site.has("stone_wetting")
    first = () if done else ("Wetting has not been worked out: this map shows the survey only.",)
    words_around = pages.page_of(
        site, title, ("wetting",), about, first=first, rests_on=("throw",), lines_n=ANSWER_LINES
    )
    sheet = pages.start(site, words_around, drawn, bounds, about)
    board = pages.board_of(sheet, drawn)
    discs = _number_first(sheet, board, ranked)
    crowded = pages.too_dense(sheet, shapes)
    _label_heads(sheet, board, _placed_heads(site), ranked, discs, crowded=crowded)
    _label_zones(sheet, board, _zones(site))
    pages.rows_and_sections(site, sheet, board)
    left = _label_worst(sheet, board, site, np.array(kinds, dtype=object))
    left = ["No names of stones, nor of heads but the first and faulty ones: too close"] if crowded else left
    figure.remark(sheet, [*pages.covered(sheet, shapes, discs), *left])
    return sheet.figure


def zone_map(site: Site, zone_id: str, *, width_mm: float = 88.0, height_mm: float = 72.0) -> Figure:
    """Return a small picture of one zone for use on another page: its heads by name, what they wet, close stones.

    It has a scale bar and no other words around it. A zone without heads gives the ground alone.
    """
    near_m = pages.setting(site, "wetting", "near_m", NEAR_M)
    names = [name for name, _ in _zones(site)]
    order = names.index(zone_id) if zone_id in names else 0
    throws = next((shapes for name, shapes in _zones(site) if name == zone_id), np.array([], dtype=object))
    heads = _placed_heads(site)
    mine = heads[heads["zone_id"] == zone_id]
    faulty = mine["fault"].notna().to_numpy(dtype=bool)
    at = _array(mine["place"])
    marks = [*places("head", at[~faulty]), *places("head_fault", at[faulty])]
    shapes = shapes_of(site["stones"]) if site.has("stones") else np.array([], dtype=object)
    drawn = [*outlines("wetted", throws), *ground(site)]
    drawn += [Thing(symbols.zone_symbol(order), "areas", throws)] if len(throws) else []
    drawn += [*stones_of(shapes, _zone_kinds(site, near_m, zone_id), {}, _ORDER), *marks]
    bounds = bounds_m(throws, at) if len(mine) or len(throws) else bounds_m(shapes)
    sheet = figure.bare_sheet(layout.picture(width_mm, height_mm, bounds), bounds)
    for thing in drawn:
        paint.draw(sheet.ground, thing, sheet.layout.mm_per_m)
    figure.draw_bar(sheet.paper, sheet.layout.furniture.bar, sheet.layout.mm_per_m)
    _label_heads(sheet, pages.board_of(sheet, drawn), mine, mine.iloc[:0], [], crowded=False)
    return sheet.figure


def _zone_kinds(site: Site, near_m: float, zone_id: str) -> list[str]:
    """Return the kind of each stone as the heads of one zone see it; stones they do not reach are plain."""
    if not site.has("stones"):
        return []
    stones = site["stones"]
    metres, worst = np.full(len(stones), np.inf), np.zeros(len(stones), dtype=np.bool_)
    if site.has("wetting_links", "zone_id"):
        links = site["wetting_links"]
        mine = links[links["zone_id"] == zone_id]
        closest = mine.groupby("stone_id")["distance_m"].min()
        metres = closest.reindex(stones["stone_id"]).to_numpy(dtype="float64", na_value=np.inf)
        hit = mine.loc[column(mine, "wetting_links", "struck").fillna(False).to_numpy(dtype=bool), "stone_id"]
        worst = stones["stone_id"].isin(hit.unique()).to_numpy()
    kinds = ["stone_struck", "stone_rained_on"] if _by_state(site) else ["stone_near", "stone_reached"]
    worst = worst if _by_state(site) else metres <= near_m
    return [str(kind) for kind in np.select([worst, metres < np.inf], kinds, "stone")]


def _by_state(site: Site) -> bool:
    """Whether stones are told apart by state: it is known of some whether a stream strikes them."""
    if not site.has("stone_wetting", "state"):
        return False
    return bool(column(site["stone_wetting"], "stone_wetting", "struck_n").notna().any())


def _wetting_kinds(site: Site, near_m: float) -> list[str]:
    """Return the kind of each stone in the order of layer ``stones``."""
    if not site.has("stones"):
        return []
    stones = site["stones"]
    if not site.has("stone_wetting"):
        return ["stone"] * len(stones)
    wetting = site["stone_wetting"].set_index("stone_id").reindex(stones["stone_id"])
    if _by_state(site):
        states = column(wetting, "stone_wetting", "state")
        return [STATE_KINDS.get(str(state), "stone_not_known") for state in states]
    reached = column(wetting, "stone_wetting", "reached")
    metres = column(wetting, "stone_wetting", "nearest_head_m").to_numpy(dtype="float64", na_value=np.nan)
    if site.has("wetting_links", "distance_m"):
        links = site["wetting_links"]
        closest = links.groupby("stone_id")["distance_m"].min().reindex(stones["stone_id"])
        metres = closest.to_numpy(dtype="float64", na_value=np.nan)
    is_reached = reached.fillna(False).to_numpy(dtype=bool)
    kinds = np.where(is_reached, "stone_reached", "stone_not_reached").astype(object)
    kinds[is_reached & (metres <= near_m)] = "stone_near"
    kinds[reached.isna().to_numpy(dtype=bool)] = "stone_not_known"
    return [str(kind) for kind in kinds]


def _placed_heads(site: Site) -> Frame:
    """Return the heads that have a place, with tag, fault and ``place``."""
    heads = site["heads"] if site.has("heads") else None
    if heads is None:
        return pd.DataFrame({"head_id": [], "tag": [], "fault": [], "zone_id": [], "place": []})
    made = pd.DataFrame({"head_id": heads["head_id"], "place": shapes_of(heads)})
    for name in ("tag", "fault", "zone_id"):
        made[name] = column(heads, "heads", name)
    made["fault"] = made["fault"].where(made["fault"] != "none")
    return made[made["place"].notna()]


def _ranked(site: Site) -> Frame:
    """Return the heads that strike or stand close to at least one stone, first ones first, at most ten."""
    heads = _placed_heads(site)
    if not site.has("head_stones", "rank"):
        return heads.iloc[:0].assign(near_n=0, struck_n=None, rank=0)
    counted = site["head_stones"][["head_id", "near_n", "rank"]]
    counted = counted.assign(struck_n=column(site["head_stones"], "head_stones", "struck_n"))
    counted = counted[(counted["near_n"].fillna(0) > 0) | (counted["struck_n"].fillna(0) > 0)]
    made = heads.merge(counted, on="head_id")
    return made.sort_values("rank", kind="stable").head(FIRST_N)


def _heads(site: Site, ranked: Frame) -> list[Thing]:
    """Return every head where it stands; the discs of those to look at first are drawn once the scale is known."""
    heads = _placed_heads(site)
    faulty = heads["fault"].notna().to_numpy(dtype=bool)
    at = _array(heads["place"])
    discs = places("head_first", _array(ranked["place"]), sample="1")
    return [
        *(replace(one, in_key_only=True) for one in discs),
        *places("head_fault", at[faulty]),
        *places("head", at[~faulty]),
    ]


def _array(shapes: pd.Series[Any]) -> Shapes:
    made: Shapes = np.empty(len(shapes), dtype=object)
    made[:] = list(shapes)
    return made


def _near_rings(site: Site, ranked: Frame, near_m: float) -> list[Thing]:
    """Return the ground close to the heads to look at first."""
    rings = shapely.buffer(_array(ranked["place"]), near_m, quad_segs=32)
    return outlines("near_ring", rings, f"{near_m:g} m around a head to look at first")


def _zones(site: Site) -> list[tuple[str, Shapes]]:
    """Return the ground each zone wets, by name; heads without a zone come under an empty name, last."""
    if not site.has("throws_computed"):
        return []
    frame = site["throws_computed"]
    shapes, zones = shapes_of(frame), column(frame, "throws_computed", "zone_id").fillna("")
    there = ~shapely.is_missing(shapes)
    names = sorted(zones[there].unique(), key=lambda name: (name == "", words.in_order(name)))
    return [(str(name), shapes[there & (zones == name).to_numpy(dtype=bool)]) for name in names]


def _water(site: Site) -> list[Thing]:
    """Return wet ground: a light tone, the outline of each zone in its own pattern, and wet areas as surveyed."""
    zones = _zones(site)
    joined = [np.array([shapely.union_all(shapes)], dtype=object) for _, shapes in zones]
    made = outlines("wetted", np.array([shapely.union_all(np.concatenate(joined))], dtype=object)) if zones else []
    few = len(zones) <= MOST_ZONES
    for order, ((name, _), outline) in enumerate(zip(zones, joined, strict=True)):
        drawn = symbols.zone_symbol(order) if name else symbols.symbol("throw")
        said = f"ground zone {name} wets" if name else "ground heads without a zone wet"
        if not few:
            said = "ground one zone wets, named on the map" if order == 0 else ""
        made.append(Thing(drawn, "areas", outline, said))
    if site.has("wet_areas"):
        made += outlines("wet_area", shapes_of(site["wet_areas"]))
    return made


def _number_first(sheet: Sheet, board: Board, ranked: Frame) -> list[Anchor]:
    """Draw the disc with the rank of each head to look at first, at the head or off it with a line; return the discs.

    A disc stands where it hides no stone and no other mark, else where it hides least.
    """
    drawn = symbols.symbol("head_first")
    # what is drawn at the head itself does not keep its disc away
    free = board.copy()
    for anchor in (at := pages.anchors_of(sheet, _array(ranked["place"]))):
        free.clear(anchor.x, anchor.y, _HEAD_MM, _HEAD_MM)
    half = (drawn.size_mm + drawn.width_mm) / 2
    discs: list[Anchor] = []
    corner, leader = sheet.layout.map, symbols.symbol("leader")
    for rank, anchor in enumerate(at, start=1):
        spots = [(x, y) for x, y in labels.rays(anchor, DISC_REACH_MM)]
        costs = [free.cost(x, y, 2 * half, 2 * half) + k * 1e-3 for k, (x, y) in enumerate(spots)]
        x, y = spots[int(np.argmin(costs))]
        for one in (free, board):
            one.take(x, y, 2 * half, 2 * half)
        discs.append(Anchor(x, y, half, half))
        place = corner.left + x, corner.bottom + y
        if (x, y) != (anchor.x, anchor.y):
            sheet.paper.plot(
                [corner.left + anchor.x, place[0]], [corner.bottom + anchor.y, place[1]], color=leader.line,
                linewidth=leader.width_mm / typeset.MM_PER_PT, zorder=drawn.z - 1,
            )  # fmt: skip
        paint.draw_marks(sheet.paper, np.array([place]), drawn)
        paint.put_text(
            sheet.paper, str(rank), place, 6.0, bold=True, horizontalalignment="center",
            verticalalignment="center_baseline", color=symbols.text_on(drawn.fill),
        )  # fmt: skip
    return discs


def _label_heads(
    sheet: Sheet, board: Board, heads: Frame, ranked: Frame, discs: Sequence[Anchor], *, crowded: bool
) -> None:
    """Name the heads to look at first with their count of stones, then those with a fault, then the others.

    On a crowded map the others carry no name: only those at its rim would have room.
    """
    rest = heads[~heads["head_id"].isin(ranked["head_id"])]
    faulty = rest["fault"].notna()
    wanted = [
        *_named(ranked, "head_first", discs, HEAD_PT, 1.0),
        *_named(rest[faulty], "head_fault", _marks(sheet, rest[faulty], "head_fault"), 5.5, 0.6),
        *(() if crowded else _named(rest[~faulty], "head", _marks(sheet, rest[~faulty], "head"), 5.5, 0.15)),
    ]
    figure.show(sheet, labels.place(board, wanted[: pages.MOST_LABELS])[0])


def _marks(sheet: Sheet, heads: Frame, kind: str) -> list[Anchor]:
    drawn = symbols.symbol(kind)
    return pages.anchors_of(sheet, _array(heads["place"]), drawn.size_mm + drawn.width_mm)


def _named(heads: Frame, kind: str, anchors: Sequence[Anchor], size_pt: float, most_hidden: float) -> list[Label]:
    """Return the labels of heads drawn with one mark."""
    return [
        Label(_head_words(row), (anchor,), size_pt, bold=kind == "head_first", most_hidden=most_hidden)
        for row, anchor in zip(heads.to_dict("records"), anchors, strict=True)
    ]


def _head_words(row: dict[Any, Any]) -> str:
    """Return name, tag, count of stones struck, else of those close, and fault, whatever is known."""
    near_n, struck_n = row.get("near_n"), row.get("struck_n")
    stones = "" if near_n is None else f": {words.counted(near_n, 'stone')}"
    if struck_n is not None and not pd.isna(struck_n):
        stones = f": strikes {struck_n}" if struck_n else f": near {near_n}"
    tag = "" if pd.isna(row["tag"]) or near_n is None else f" (tag {row['tag']})"
    fault = "" if pd.isna(row["fault"]) else f", {row['fault']}"
    return f"{row['head_id']}{tag}{stones}{fault}"


def _label_worst(sheet: Sheet, board: Board, site: Site, kinds: npt.NDArray[np.object_]) -> list[str]:
    """Name the stones that are struck, else those close to a head; returns in words how many had no room."""
    struck = bool((kinds == "stone_struck").any())
    stones = site["stones"] if site.has("stones") else None
    shapes = shapes_of(stones) if stones is not None else np.array([], dtype=object)
    there = (kinds == ("stone_struck" if struck else "stone_near")) & ~shapely.is_missing(shapes)
    if stones is None or not there.any() or pages.too_dense(sheet, shapes):
        return []
    ids = stones["stone_id"].to_numpy(dtype=object)
    thing = "struck stone" if struck else "close stone"
    return pages.label_stones(sheet, board, list(ids[there]), shapes[there], thing=thing, off_mm=_HEAD_MM / 2)


def _label_zones(sheet: Sheet, board: Board, zones: Sequence[tuple[str, Shapes]]) -> None:
    """Write the name of each zone on its outline."""
    wanted: list[Label] = []
    for order, (name, shapes) in enumerate(zones):
        if not name:
            continue
        edge = shapely.boundary(shapely.union_all(shapes))
        along = shapely.line_interpolate_point(
            shapely.line_merge(edge), np.linspace(0, 1, 48, endpoint=False), normalized=True
        )
        drawn = symbols.zone_symbol(order)
        anchors = tuple(pages.anchors_of(sheet, np.asarray(along, dtype=object)))
        wanted.append(Label(name, anchors, HEAD_PT, bold=True, colour=drawn.line, most_hidden=0.5, reach_mm=(0.0,)))
    figure.show(sheet, labels.place(board, wanted)[0])
