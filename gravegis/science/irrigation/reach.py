"""Which footprints the throws reach, and by what margin: exact arcs, any part of a footprint counts.

All work is done relative to the head, edge by edge over every ring of every part. One signed margin decides
both questions, reached or not and by how much, so that the two cannot disagree. Source: plane geometry.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np
import shapely

from gravegis.science.irrigation.bundles import Pairs as Pairs
from gravegis.science.irrigation.bundles import Turns
from gravegis.science.irrigation.footprints import edges_of
from gravegis.science.irrigation.throw import (
    Edge,
    Floats,
    Geometries,
    Ints,
    StripSide,
    Throws,
    cos_deg,
    place_nearest,
    seen_along_stops,
    square_at,
    square_between_stops,
    square_round_gap,
    square_to_side,
    strip_depths,
    strip_polygons,
    throw_bounds,
    throw_polygons,
)
from gravegis.science.irrigation.wind import carried_m

Outlines = Mapping[int, shapely.Geometry]
Measured = tuple[Floats, Floats, Floats]  # gap, retreat, distance to the nearest part within the turn, by pair

TOUCH_M = 1e-7
"""Gap that counts as touching. [m] Choice of this package, no source: 100 times the rounding of coordinates."""

_EDGES_AT_ONCE = 1 << 16  # keeps the working arrays within a few tens of megabytes
_COARSE_SEGMENTS = 64  # first look for the nearest throw; its chord error is allowed for, then undone
_ROUNDING_M = 1e-6  # slack for rounded coordinates where candidates are gathered


def reach(
    footprints: Geometries, throws: Throws, *,
    outlines: Outlines | None = None, touch_m: float = TOUCH_M, turns: Turns | None = None,
) -> Pairs:  # fmt: skip
    """Pairs of stone and head where any part of the footprint lies in the throw, or touches it.

    Parameters
    ----------
    footprints
        Valid points or polygons, also in several parts or with holes, shape ``(stones,)``, in the same plane
        metric grid as the heads. [m]
    throws
        The heads.
    outlines
        Surveyed wet ground as a polygon, by row of the head; it wins over the throw worked out.
    touch_m
        Gap that still counts as touching, 0 or more; pairs that miss by more are left out. [m]
    turns
        The same heads with the drift of the wind, as from `wind.turns_of`; strips and outlines are not carried.

    Raises
    ------
    ValueError
        Naming the rows of missing, empty or unsuitable geometries.
    """
    if not (np.isfinite(touch_m) and touch_m >= 0):
        raise ValueError(f"touch_m is {touch_m:g}, expected 0 or more.")
    ground = _ground(footprints, throws, outlines, turns)
    slack_m = touch_m + _ROUNDING_M + (0.0 if turns is None else turns.drift_m)
    bounds = throw_bounds(throws)
    surveyed = ground.kind == _OUTLINE
    bounds[surveyed] = shapely.bounds(ground.polygon[surveyed])
    west, south, east, north = bounds.T
    boxes = shapely.box(west - slack_m, south - slack_m, east + slack_m, north + slack_m)
    head_i, stone_i = shapely.STRtree(footprints).query(boxes)
    distance_m, margin_m, near_m = _measure(ground, stone_i, head_i)
    kept = np.flatnonzero(margin_m >= -touch_m)
    kept = kept[np.lexsort((head_i[kept], stone_i[kept]))]
    stone_i, head_i, distance_m = stone_i[kept], head_i[kept], distance_m[kept]
    if turns is not None and turns.drift_m.any():
        distance_m = _on_ground(ground, stone_i, head_i)
    return Pairs(stone_i, head_i, distance_m, margin_m[kept], near_m[kept])


def nearest_margin(
    footprints: Geometries, throws: Throws, pairs: Pairs, *, outlines: Outlines | None = None
) -> tuple[Floats, Ints]:
    """Signed margin of each stone to the wet ground, and the head it belongs to.

    Parameters
    ----------
    footprints, throws, outlines
        As given to `reach`.
    pairs
        What `reach` gave for them.

    Returns
    -------
    Margin, shape ``(stones,)``: the largest of its pairs for a reached stone, minus the distance to the
    nearest throw for a dry one, NaN without any head [m]; and the row of that head, -1 without any (of equal
    heads the first).
    """
    ground = _ground(footprints, throws, outlines)
    margin_m, head_i = np.full(len(footprints), np.nan), np.full(len(footprints), -1, dtype=np.int64)
    if not len(throws):
        return margin_m, head_i
    dry = np.setdiff1d(np.arange(len(footprints)), pairs.stone_i)
    near_stone_i, near_head_i = _nearest_candidates(ground, dry)
    _, dry_margin_m, _ = _measure(ground, near_stone_i, near_head_i)
    stones = np.concatenate([pairs.stone_i, near_stone_i])
    heads = np.concatenate([pairs.head_i, near_head_i])
    margins = np.concatenate([pairs.margin_m, dry_margin_m])
    best = _first_of_each(stones, -margins, heads)
    margin_m[stones[best]], head_i[stones[best]] = margins[best], heads[best]
    return margin_m, head_i


def near_heads(footprints: Geometries, throws: Throws, *, within_m: float | None = None) -> tuple[Floats, Ints]:
    """Distance from each footprint to the nearest head, wherever that head throws.

    Parameters
    ----------
    footprints, throws
        As given to `reach`.
    within_m
        Farthest distance looked at, above 0; None for any. [m]

    Returns
    -------
    Distance, shape ``(stones,)``, 0 when a head stands within the footprint [m]; and the row of the head (of
    equal heads the first). NaN and -1 where there is none.
    """
    edges_of(footprints)  # refuses what cannot be measured
    distance_m, head_i = np.full(len(footprints), np.nan), np.full(len(footprints), -1, dtype=np.int64)
    if not (len(footprints) and len(throws)):
        return distance_m, head_i
    places: Geometries = np.asarray(shapely.points(throws.x_m, throws.y_m))
    (stones, heads), found_m = shapely.STRtree(places).query_nearest(
        footprints, max_distance=within_m, return_distance=True
    )
    best = _first_of_each(stones, found_m, heads)
    distance_m[stones[best]], head_i[stones[best]] = found_m[best], heads[best]
    return distance_m, head_i


def stones_by_band(pairs: Pairs, throws: Throws, *, near_m: float = 2.0) -> Ints:
    """Count the stones each head reaches, by distance from the head.

    Parameters
    ----------
    pairs
        What `reach` gave.
    throws
        The heads.
    near_m
        Limit of the first band. Default 2 m: choice of this package, no source. [m]

    Returns
    -------
    Shape ``(heads, 3)``: stones up to ``near_m``, from there to half the throw, beyond that. Where half the
    throw is less than ``near_m`` the middle band is empty.
    """
    half_m = throws.throw_m[pairs.head_i] / 2
    band = np.where(pairs.distance_m <= near_m, 0, np.where(pairs.distance_m <= half_m, 1, 2))
    return np.bincount(pairs.head_i * 3 + band, minlength=3 * len(throws)).reshape(-1, 3)


def _nearest_candidates(ground: _Ground, dry: Ints) -> tuple[Ints, Ints]:
    """Pairs of stone and head among which each dry stone has its nearest throw."""
    if not len(dry):
        return dry, dry  # no pairs
    shapes = throw_polygons(ground.throws, segments_per_circle=_COARSE_SEGMENTS)
    surveyed = ground.kind == _OUTLINE
    shapes[surveyed] = ground.polygon[surveyed]
    tree, stones = shapely.STRtree(shapes), ground.footprints[dry]
    (row, _), found_m = tree.query_nearest(stones, all_matches=False, return_distance=True)
    within_m = np.empty(len(dry))
    # the true arc may be nearer than its chord by this much
    within_m[row] = found_m + ground.throws.throw_m.max() * (1 - cos_deg(180 / _COARSE_SEGMENTS)) + _ROUNDING_M
    row, head_i = tree.query(stones, predicate="dwithin", distance=within_m)
    return dry[row], head_i


def _first_of_each(stones: Ints, rank: Floats, heads: Ints) -> Ints:
    """Places of the lowest rank of each stone, of equals the first head."""
    order = np.lexsort((heads, rank, stones))
    return order[np.unique(stones[order], return_index=True)[1]]


# --- what is measured: every edge of every footprint, and what each head wets ---


@dataclass(frozen=True, slots=True, eq=False)
class _Ground:
    """Stones and heads, checked."""

    footprints: Geometries
    a_m: Floats  # (edges, 2) ends of all edges, those of one stone in a row; a point is an edge without length
    b_m: Floats
    first: Ints  # (stones,) first edge of each stone
    count: Ints
    throws: Throws
    polygon: Geometries  # (heads,) surveyed outline or strip, None for an arc
    kind: Ints  # (heads,) place in _MEASURES
    turns: Turns | None  # with the drift of the wind


@dataclass(frozen=True, slots=True, eq=False)
class _View:
    """A number of pairs, their footprint edges seen from the head (head at 0, 0)."""

    edge: Edge  # each (edges,)
    pair: Ints  # (edges,) pair that the edge belongs to
    first: Ints  # (pairs,) its first edge
    stone: Ints  # (pairs,)
    head: Ints
    distance_m: Floats  # (pairs,) head to footprint, 0 within

    def least(self, of_edges: Floats) -> Floats:
        return np.minimum.reduceat(of_edges, self.first)

    def most(self, of_edges: Floats) -> Floats:
        return np.maximum.reduceat(of_edges, self.first)


def _ground(footprints: Geometries, throws: Throws, outlines: Outlines | None, turns: Turns | None = None) -> _Ground:
    polygon: Geometries = np.full(len(throws), None, dtype=object)
    wrong = []
    for head, outline in (outlines or {}).items():
        if not 0 <= head < len(throws):
            wrong.append(f"outline of head {head}: there are {len(throws)} heads")
        elif not isinstance(outline, shapely.Polygon | shapely.MultiPolygon) or outline.is_empty:
            wrong.append(f"outline of head {head}: expected a polygon with an area")
        else:
            polygon[head] = outline
    if wrong:
        raise ValueError("; ".join(wrong) + ".")
    kind = np.select([throws.sweep_deg == 360.0, throws.sweep_deg <= 180.0], [_CIRCLE, _SECTOR], _WIDE_SECTOR)
    kind[throws.strip_side != StripSide.NONE] = _STRIP
    kind[~shapely.is_missing(polygon)] = _OUTLINE
    strip = np.flatnonzero(kind == _STRIP)
    polygon[strip] = strip_polygons(throws, strip)
    return _Ground(footprints, *edges_of(footprints), throws, polygon, kind, turns)


def _view(ground: _Ground, stone_i: Ints, head_i: Ints) -> _View:
    """Edges of some pairs as seen from the head."""
    count = ground.count[stone_i]
    first = np.cumsum(count) - count
    pair = np.repeat(np.arange(len(stone_i)), count)
    place = np.arange(len(pair)) + (ground.first[stone_i] - first)[pair]
    x_m, y_m = ground.throws.x_m[head_i][pair], ground.throws.y_m[head_i][pair]
    ax, ay = ground.a_m[place, 0] - x_m, ground.a_m[place, 1] - y_m
    bx, by = ground.b_m[place, 0] - x_m, ground.b_m[place, 1] - y_m
    if isinstance(ground.turns, Turns):  # None in still air
        east_m, north_m = _carried(ground, ground.turns, stone_i, head_i)
        ax, bx = ax - east_m[pair], bx - east_m[pair]
        ay, by = ay - north_m[pair], by - north_m[pair]
    edge = ax, ay, bx, by
    # the head stands within if a ray to the east crosses the rings an odd number of times
    crossed = ((ay > 0) != (by > 0)) & ((ax * by - ay * bx > 0) == (by > ay))
    within = np.logical_xor.reduceat(crossed, first)
    nearest_m = np.sqrt(np.minimum.reduceat(square_at(place_nearest(edge), edge), first))
    return _View(edge, pair, first, stone_i, head_i, np.where(within, 0.0, nearest_m))


def _carried(ground: _Ground, turns: Turns, stone_i: Ints, head_i: Ints) -> tuple[Floats, Floats]:
    """How far the wind carries what falls at each stone from each head; a surveyed outline holds its own wind."""
    low, high = np.split(shapely.bounds(ground.footprints[stone_i]), 2, axis=1)
    x_m, y_m = ((low + high) / 2.0).T - np.stack([ground.throws.x_m[head_i], ground.throws.y_m[head_i]])
    own = ground.kind[head_i] == _OUTLINE
    east_m, north_m = carried_m(x_m, y_m, turns, head_i)
    return np.where(own, 0.0, east_m), np.where(own, 0.0, north_m)


def _measure(ground: _Ground, stone_i: Ints, head_i: Ints) -> tuple[Floats, Floats, Floats]:
    """Distance from head to footprint, signed margin and distance within the turn of each pair, in m."""
    distance_m, margin_m, near_m = np.empty((3, len(stone_i)))
    kind = ground.kind[head_i]
    for key, measure in enumerate(_MEASURES):
        for rows in _portions(np.flatnonzero(kind == key), ground.count[stone_i]):
            view = _view(ground, stone_i[rows], head_i[rows])
            gap_m, retreat_m, near_m[rows] = measure(ground, view)
            distance_m[rows] = view.distance_m
            margin_m[rows] = np.where(gap_m > 0, -gap_m, np.maximum(retreat_m, 0.0))
    return distance_m, margin_m, near_m


def _on_ground(ground: _Ground, stone_i: Ints, head_i: Ints) -> Floats:
    """Distance from head to footprint of each pair, whatever the wind carries. [m]"""
    still, distance_m = replace(ground, turns=None), np.empty(len(stone_i))
    for rows in _portions(np.arange(len(stone_i)), ground.count[stone_i]):
        distance_m[rows] = _view(still, stone_i[rows], head_i[rows]).distance_m
    return distance_m


def _portions(rows: Ints, count: Ints) -> Iterator[Ints]:
    """Split rows so that the edges of one portion fit into memory with ease."""
    edges = np.cumsum(count[rows])
    cuts = np.searchsorted(edges, np.arange(_EDGES_AT_ONCE, edges.max(initial=0), _EDGES_AT_ONCE))
    return (portion for portion in np.split(rows, np.unique(cuts)) if len(portion))


# --- gap (footprint to throw, 0 if they meet) and retreat, for each kind of throw ---


def _circle(ground: _Ground, view: _View) -> Measured:
    retreat_m = ground.throws.throw_m[view.head] - view.distance_m
    return np.maximum(0.0, -retreat_m), retreat_m, view.distance_m


def _sector(ground: _Ground, view: _View) -> Measured:
    """Turn of up to 180 degrees."""
    by_start, by_end = seen_along_stops(view.edge, ground.throws, view.head, view.pair)
    wet_m = np.sqrt(view.least(square_between_stops(view.edge, by_start, by_end)))
    return _arc_and_stops(ground, view, wet_m, np.minimum(view.most(by_start[1]), view.most(-by_end[1])))


def _wide_sector(ground: _Ground, view: _View) -> Measured:
    """Turn of more than 180 degrees: what is left dry is the gap between the stops."""
    by_start, by_end = seen_along_stops(view.edge, ground.throws, view.head, view.pair)
    wet_m = np.sqrt(view.least(square_round_gap(view.edge, by_start, by_end)))
    # depth of a corner is its distance to the gap, whose two sides start at the head and have no end
    squares = (right**2 + np.minimum(along, 0.0) ** 2 for along, right, _, _ in (by_start, by_end))
    in_gap = (by_start[1] < 0) & (by_end[1] > 0)
    depth_m = np.where(in_gap, 0.0, np.sqrt(np.minimum(*squares)))
    return _arc_and_stops(ground, view, wet_m, view.most(depth_m))


def _arc_and_stops(ground: _Ground, view: _View, wet_m: Floats, stops_m: Floats) -> Measured:
    """Gap and retreat of a sector.

    ``wet_m`` is the distance from the head to the nearest part of the footprint between the stops,
    ``stops_m`` how far a stop must move to pass the whole footprint.
    """
    throw_m = ground.throws.throw_m[view.head]
    near_m = np.where(view.distance_m == 0, 0.0, wet_m)
    arc_m = throw_m - near_m
    gap_m = np.maximum(0.0, -arc_m)
    # nothing wet between the stops: the nearest wet ground may lie on one of the two straight sides
    open_ = np.flatnonzero(gap_m > 0)
    if len(open_):
        rest = _view(ground, view.stone[open_], view.head[open_])
        reach_m = throw_m[open_][rest.pair]
        for seen in seen_along_stops(rest.edge, ground.throws, rest.head, rest.pair):
            side_m = np.sqrt(rest.least(square_to_side(seen, reach_m)))
            gap_m[open_] = np.minimum(gap_m[open_], np.minimum(side_m, rest.distance_m))
    return gap_m, np.minimum(arc_m, stops_m), near_m


def _strip(ground: _Ground, view: _View) -> Measured:
    """Rectangle: a side must retreat by the depth of the deepest corner behind it."""
    depths_m = strip_depths(view.edge, ground.throws, view.head[view.pair])
    retreat_m = np.min([view.most(depth_m) for depth_m in depths_m], axis=0)
    return _polygon_gap(ground, view), retreat_m, _near_within(ground, view)


def _outline(ground: _Ground, view: _View) -> Measured:
    """Surveyed ground: depth of the deepest corner below its edge."""
    outline = ground.polygon[view.head]
    x_m = view.edge[0] + ground.throws.x_m[view.head][view.pair]
    y_m = view.edge[1] + ground.throws.y_m[view.head][view.pair]
    within = shapely.intersects_xy(outline[view.pair], x_m, y_m)
    edge_m = shapely.distance(shapely.boundary(outline)[view.pair], shapely.points(x_m, y_m))
    return _polygon_gap(ground, view), view.most(np.where(within, edge_m, 0.0)), _near_within(ground, view)


def _polygon_gap(ground: _Ground, view: _View) -> Floats:
    return np.asarray(shapely.distance(ground.footprints[view.stone], ground.polygon[view.head]))


def _near_within(ground: _Ground, view: _View) -> Floats:
    """Distance from the head to what of a footprint lies within a strip or outline, infinite if nothing does."""
    near_m, outlines = view.distance_m.copy(), ground.polygon[view.head]
    part = np.flatnonzero(~shapely.covers(outlines, ground.footprints[view.stone]))
    inside = shapely.intersection(
        shapely.make_valid(ground.footprints[view.stone[part]]), shapely.make_valid(outlines[part])
    )
    heads = shapely.points(ground.throws.x_m[view.head[part]], ground.throws.y_m[view.head[part]])
    near_m[part] = np.nan_to_num(shapely.distance(heads, inside), nan=np.inf)
    return near_m


_CIRCLE, _SECTOR, _WIDE_SECTOR, _STRIP, _OUTLINE = range(5)
_MEASURES: tuple[Callable[[_Ground, _View], Measured], ...]
_MEASURES = (_circle, _sector, _wide_sector, _strip, _outline)
