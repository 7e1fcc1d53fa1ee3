"""Barriers as solid ground: gates cut out, drawing slack closed, corners a walker turns round."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely
from shapely.geometry import LineString, Point, Polygon
from shapely.geometry.polygon import orient
from shapely.ops import substring

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    Floats = NDArray[np.float64]
    Bools = NDArray[np.bool_]

__all__ = ["GATE_REACH_M", "WALL_MAX_M", "Solid", "build_solid", "corner_nodes", "no_look", "sees", "step_out"]

# A gate opens the barriers this near to it; common practice, no source.
GATE_REACH_M = 1.0
# A polygon thicker than this at the gate is a building or a pond and stays shut; common practice, no source.
WALL_MAX_M = 2.0
# A line is given this half thickness, so that lines that meet leave no way through the shared point.
HALF_LINE_M = 0.01
# Sight lines are tested against ground shrunk by this much: touching a corner is allowed and rounding of
# slanted edges does not close a line along a wall.
TOUCH_M = 1e-6
# Small portions keep the memory small, and other threads from waiting while lines are made.
_LINES_AT_ONCE = 2_000


@dataclass(frozen=True, slots=True)
class Solid:
    """Ground that cannot be walked on, in local coordinates.

    ``whole`` is the union of all barriers with gates cut out; ``core`` is ``whole`` less a hair, which
    sight lines are tested against; ``parts`` holds one geometry per barrier (gates cut out), and
    ``gate_xy_m`` the middle of every opening; ``idle_gates`` are the gates that open no barrier.
    """

    whole: BaseGeometry
    core: BaseGeometry
    parts: tuple[BaseGeometry, ...]
    gate_xy_m: Floats
    idle_gates: tuple[int, ...]


def build_solid(barriers: Sequence[BaseGeometry], gates_xy_m: Floats, gate_width_m: Floats, slack_m: float) -> Solid:
    """Join all barriers into solid ground with the gates cut out.

    A gap narrower than ``slack_m`` between barriers is closed, and so is a gate narrower than that.
    """
    parts: list[BaseGeometry] = []
    middles: list[tuple[float, float]] = []
    opened: set[int] = set()
    for drawn in barriers:
        barrier = shapely.make_valid(drawn)
        body = _thick(barrier)
        for k, (xy, width) in enumerate(zip(gates_xy_m, gate_width_m, strict=True)):
            gate = Point(xy)
            if not shapely.dwithin(barrier, gate, GATE_REACH_M):
                continue
            slot, middle = _slot(barrier, gate, float(width))
            if slot is not None:
                body = body.difference(slot)
                middles.append(middle)
                opened.add(k)
        parts.append(body)
    whole = _closed(shapely.union_all(np.array(parts, dtype=object)), slack_m)
    core = whole.buffer(-TOUCH_M, join_style="mitre")
    shapely.prepare(core)
    idle = tuple(k for k in range(len(gates_xy_m)) if k not in opened)
    gate_xy = np.array(middles, dtype=np.float64).reshape(-1, 2)
    return Solid(whole, core, tuple(parts), gate_xy, idle)


def _thick(barrier: BaseGeometry) -> BaseGeometry:
    """Return the barrier as polygon; a line becomes a strip 2 cm wide."""
    if shapely.get_dimensions(barrier) == 2:
        return barrier
    return barrier.buffer(HALF_LINE_M, cap_style="square", join_style="mitre")


def _closed(ground: BaseGeometry, slack_m: float) -> BaseGeometry:
    """Close gaps narrower than ``slack_m`` by growing and shrinking with sharp corners."""
    if ground.is_empty or slack_m <= 0:
        return ground
    grown = ground.buffer(slack_m / 2, join_style="mitre")
    # the union keeps what shrinking may shave off a very sharp corner
    return shapely.union(ground, grown.buffer(-slack_m / 2, join_style="mitre"))


def _slot(barrier: BaseGeometry, gate: Point, width_m: float) -> tuple[BaseGeometry | None, tuple[float, float]]:
    """Return the opening to cut and its middle, or None where the barrier is too thick to be a wall."""
    if shapely.get_dimensions(barrier) == 2:
        return _slot_in_polygon(barrier, gate, width_m)
    lines = [
        LineString(line.coords) for line in shapely.get_parts(barrier) if shapely.dwithin(line, gate, GATE_REACH_M)
    ]
    cuts = [_cut_along(line, gate, width_m) for line in lines]
    middle = lines[0].interpolate(lines[0].project(gate)) if len(lines) == 1 else gate
    return shapely.union_all(np.array(cuts, dtype=object)), (middle.x, middle.y)


def _cut_along(line: LineString, gate: Point, width_m: float) -> BaseGeometry:
    """Return the strip to take out: half a gate width to each side, measured along the line."""
    length = line.length
    at = _position_along(line, gate)
    low, high = at - width_m / 2, at + width_m / 2
    spans = [(max(low, 0.0), min(high, length))]
    if line.is_closed:
        spans += [(max(length + low, 0.0), length)] if low < 0 else []
        spans += [(0.0, min(high - length, length))] if high > length else []
    cuts = [
        substring(line, start, end).buffer(10 * HALF_LINE_M, cap_style="flat", join_style="mitre")
        for start, end in spans
        if end > start
    ]
    if not line.is_closed:
        # an opening over the very end of a line also takes the squared end away
        cuts += [Point(line.coords[0]).buffer(2 * HALF_LINE_M)] if low < 0 < high else []
        cuts += [Point(line.coords[-1]).buffer(2 * HALF_LINE_M)] if low < length < high else []
    return shapely.union_all(np.array(cuts, dtype=object)) if cuts else Polygon()


def _position_along(line: LineString, gate: Point) -> float:
    """Return where the gate is along the line; before its start or past its end the line is prolonged.

    So a gate drawn in the middle of a gap that is already there does not widen the gap.
    """
    at = float(line.project(gate))
    if line.is_closed or 0 < at < line.length:
        return at
    xy = np.asarray(line.coords)
    end, inner = (xy[0], xy[1]) if at <= 0 else (xy[-1], xy[-2])
    outward = (end - inner) / np.hypot(*(end - inner))
    past = max(float(np.dot([gate.x - end[0], gate.y - end[1]], outward)), 0.0)
    return at - past if at <= 0 else at + past


def _slot_in_polygon(
    barrier: BaseGeometry, gate: Point, width_m: float
) -> tuple[BaseGeometry | None, tuple[float, float]]:
    """Cut straight through a wall drawn as polygon, square to its edge nearest to the gate."""
    edges = _edges(barrier)
    near = int(np.argmin(shapely.distance(edges, gate)))
    (x0, y0), (x1, y1) = edges[near].coords
    along = np.array([x1 - x0, y1 - y0])
    along /= np.hypot(*along)
    foot = edges[near].interpolate(edges[near].project(gate))
    inward = np.array([-along[1], along[0]])  # rings are oriented with the solid on the left
    start = np.array([foot.x, foot.y])
    ray = LineString([start - HALF_LINE_M * inward, start + (WALL_MAX_M + 2 * HALF_LINE_M) * inward])
    inside = [part for part in shapely.get_parts(ray.intersection(barrier)) if part.length > 0]
    if not inside:
        return None, (gate.x, gate.y)
    first = min(inside, key=lambda part: part.distance(foot))
    if first.length > WALL_MAX_M:
        return None, (gate.x, gate.y)
    low, high = start - HALF_LINE_M * inward, start + (first.length + HALF_LINE_M) * inward
    half = width_m / 2 * along
    middle = (low + high) / 2
    return Polygon([low - half, low + half, high + half, high - half]), (float(middle[0]), float(middle[1]))


def _edges(barrier: BaseGeometry) -> NDArray[np.object_]:
    """Return every edge of the polygons as a line with the solid on its left."""
    pieces = [_ring_xy(ring) for ring in _rings(barrier)]
    ends = np.concatenate([np.stack([xy[:-1], xy[1:]], axis=1) for xy in pieces])
    ends = ends[np.hypot(*(ends[:, 1] - ends[:, 0]).T) > 0]
    return np.asarray(shapely.linestrings(ends), dtype=object)


def _rings(ground: BaseGeometry) -> Iterator[BaseGeometry]:
    """Yield all rings, outer ones counter-clockwise and holes clockwise."""
    for part in shapely.get_parts(ground):
        if isinstance(part, Polygon) and not part.is_empty:
            turned = orient(part)
            yield turned.exterior
            yield from turned.interiors


def _ring_xy(ring: BaseGeometry) -> Floats:
    return np.asarray(shapely.get_coordinates(ring), dtype=np.float64)


def corner_nodes(solid: Solid, clearance_m: float) -> Floats:
    """Return the points, shape (c, 2), where a walker turns round a corner or an end of a barrier.

    Each stands ``clearance_m`` off a convex corner, or nearer where another barrier is in the way.
    """
    outline = solid.whole.simplify(max(clearance_m / 3, TOUCH_M / 10))
    corners, outward = _convex_corners(outline)
    if clearance_m <= 0 or not len(corners):
        return corners
    placed = np.full_like(corners, np.nan)
    for share in (1.0, 0.5, 0.1):
        open_ = np.isnan(placed[:, 0])
        node = corners + share * clearance_m * outward
        lines = np.stack([corners + 0.01 * clearance_m * outward, node], axis=1)
        free = open_ & sees(solid, lines)
        placed[free] = node[free]
    return placed[~np.isnan(placed[:, 0])]


def _convex_corners(outline: BaseGeometry) -> tuple[Floats, Floats]:
    """Return convex corners and the unit direction that points away from the solid, both (c, 2)."""
    corners, outward = [np.empty((0, 2))], [np.empty((0, 2))]
    for ring in _rings(outline):
        xy = _ring_xy(ring)[:-1]
        into = xy - np.roll(xy, 1, axis=0)
        into /= np.hypot(*into.T)[:, None]
        away = np.roll(into, -1, axis=0)
        left_turn = into[:, 0] * away[:, 1] - into[:, 1] * away[:, 0] > 1e-9
        bisector = (into - away)[left_turn]
        corners.append(xy[left_turn])
        outward.append(bisector / np.hypot(*bisector.T)[:, None])
    return np.concatenate(corners), np.concatenate(outward)


def no_look() -> None:
    """Look at nothing between two portions of work."""


def sees(solid: Solid, lines_xy_m: Floats, *, look: Callable[[], object] = no_look) -> Bools:
    """Return True for each straight line, shape (e, 2, 2), that crosses no barrier; touching is allowed.

    `look` is called between portions of the work; it may raise to stop it.
    """
    clear = np.ones(len(lines_xy_m), dtype=bool)
    if solid.core.is_empty:
        return clear
    for low in range(0, len(lines_xy_m), _LINES_AT_ONCE):
        look()
        block = slice(low, low + _LINES_AT_ONCE)
        clear[block] = ~shapely.intersects(solid.core, shapely.linestrings(lines_xy_m[block]))
    return clear


def step_out(solid: Solid, xy_m: Floats, limit_m: float) -> Floats:
    """Return for each place the free point beside it, shape (n, 2).

    A place on free ground is its own; one inside a barrier gets the nearest point of the edge if that
    is within ``limit_m``, otherwise NaN.
    """
    out = np.array(xy_m, dtype=np.float64)
    if solid.core.is_empty or not len(out):
        return out
    for k in np.flatnonzero(shapely.intersects_xy(solid.core, out[:, 0], out[:, 1])):
        edge = shapely.shortest_line(Point(out[k]), solid.whole.boundary)
        start, end = np.asarray(edge.coords)
        length = float(np.hypot(*(end - start)))
        beyond = end + 0.001 * (end - start) / max(length, 1e-9)
        free = length <= limit_m and not shapely.intersects_xy(solid.core, *beyond)
        out[k] = beyond if free else np.nan
    return out
