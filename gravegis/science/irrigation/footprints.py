"""Footprints as edges: the form in which reach, faces and shadows read them."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import shapely

from gravegis.science.irrigation.bundles import Ground
from gravegis.science.spread import spread

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Geometries = npt.NDArray[np.object_]

_PORTION = 8192
FACES = ("front", "left", "back", "right")
"""Faces by code, clockwise from above: front looks along the facing; left and right are those of somebody who reads
the inscription, so left lies clockwise of the front. The top is apart."""


def edges_of(footprints: Geometries) -> tuple[Floats, Floats, Ints, Ints]:
    """List the ends of all edges, first edge and count by stone; refuse what is neither point nor polygon.

    Every outer ring runs counterclockwise and every hole clockwise: the stone lies to the left of its edges. A
    point is one edge without length.
    """
    lacking = np.flatnonzero(shapely.is_missing(footprints) | shapely.is_empty(footprints))
    if len(lacking):
        raise ValueError(f"Missing or empty footprints in rows {', '.join(map(str, lacking))}.")
    corner_m, ring, hole, stone_of_ring = _rings_of(footprints)
    alike_m = _alike(corner_m, ring, hole)
    if alike_m is not None:
        return _edges_of_alike(alike_m)
    endless = np.unique(stone_of_ring[ring[~np.isfinite(corner_m).all(axis=1)]])
    if len(endless):
        raise ValueError(f"Footprints in rows {', '.join(map(str, endless))} have coordinates without a number.")
    joined = np.flatnonzero(ring[1:] == ring[:-1])
    a_m, b_m, ring_of_edge = corner_m[joined], corner_m[joined + 1], ring[joined]
    near = corner_m[np.searchsorted(ring, np.arange(len(hole)))][ring_of_edge]  # large coordinates cancel
    a, b = a_m - near, b_m - near
    twice_area = np.bincount(ring_of_edge, a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0], minlength=len(hole))
    turned = (((twice_area > 0) == hole) & (twice_area != 0))[ring_of_edge]
    a_m[turned], b_m[turned] = b_m[turned], a_m[turned]
    owner = stone_of_ring[ring_of_edge]
    points = np.flatnonzero(np.bincount(ring) == 1)
    if len(points):
        point_m = corner_m[np.searchsorted(ring, points)]
        a_m, b_m = np.concatenate([a_m, point_m]), np.concatenate([b_m, point_m])
        owner = np.concatenate([owner, stone_of_ring[points]])
        order = np.argsort(owner, kind="stable")
        a_m, b_m, owner = a_m[order], b_m[order], owner[order]
    count = np.bincount(owner, minlength=len(footprints))
    return a_m, b_m, np.cumsum(count) - count, count


def _alike(corner_m: Floats, ring: Ints, hole: npt.NDArray[np.bool_]) -> Floats | None:
    """Corners by stone, ``(stones, corners, 2)``, where all are finite rings of as many corners and none is a hole."""
    corners, left = divmod(len(ring), max(1, len(hole)))
    if left or corners < 2 or hole.any() or not np.isfinite(corner_m).all():
        return None
    by_ring = ring.reshape(-1, corners)
    return corner_m.reshape(-1, corners, 2) if (by_ring[:, 0] == by_ring[:, -1]).all() else None


def _edges_of_alike(corner_m: Floats) -> tuple[Floats, Floats, Ints, Ints]:
    """Return the same as `edges_of`, several times as fast, for footprints of one number of corners, as rectangles."""
    stones, edges = corner_m.shape[0], corner_m.shape[1] - 1
    a_m, b_m = np.empty((stones, edges, 2)), np.empty((stones, edges, 2))

    def turn(low: int, high: int) -> None:
        a, b = a_m[low:high], b_m[low:high]
        a[:], b[:] = corner_m[low:high, :-1], corner_m[low:high, 1:]
        x, y = (corner_m[low:high, :, axis] - corner_m[low:high, :1, axis] for axis in (0, 1))  # large ones cancel
        twice_area = (x[:, :-1] * y[:, 1:] - y[:, :-1] * x[:, 1:]).sum(axis=1)
        turned = np.flatnonzero(twice_area < 0)
        a[turned], b[turned] = b[turned], a[turned]

    spread(turn, stones, portion=_PORTION)
    count = np.full(stones, edges)
    return a_m.reshape(-1, 2), b_m.reshape(-1, 2), np.cumsum(count) - count, count


def _rings_of(footprints: Geometries) -> tuple[Floats, Ints, npt.NDArray[np.bool_], Ints]:
    """Corners and their rings (a point is a ring of one corner); of each ring whether it is a hole, and its stone."""
    kind = shapely.get_type_id(footprints)
    simple = (kind == shapely.GeometryType.POINT) | (kind == shapely.GeometryType.POLYGON)
    if simple.all() and not shapely.get_num_interior_rings(footprints).any():
        corner_m, ring = shapely.get_coordinates(footprints, return_index=True)
        return corner_m, ring, np.zeros(len(footprints), dtype=np.bool_), np.arange(len(footprints))
    parts, stone = shapely.get_parts(footprints, return_index=True)
    kind = shapely.get_type_id(parts)
    point = kind == shapely.GeometryType.POINT
    odd = np.unique(stone[~point & (kind != shapely.GeometryType.POLYGON)])
    if len(odd):
        raise ValueError(f"Footprints in rows {', '.join(map(str, odd))} are neither points nor polygons.")
    rings, part_of_ring = shapely.get_rings(parts, return_index=True)
    hole = np.append(False, part_of_ring[1:] == part_of_ring[:-1]) if len(rings) else np.zeros(0, dtype=np.bool_)
    shapes = np.concatenate([rings, parts[point]])
    owner = np.concatenate([stone[part_of_ring], stone[point]])
    corner_m, ring = shapely.get_coordinates(shapes, return_index=True)
    return corner_m, ring, np.concatenate([hole, np.zeros(point.sum(), dtype=np.bool_)]), owner


def make_ground(footprints: Geometries) -> Ground:
    """Bundle footprints for the loops; the stone lies to the left of its edges.

    Footprints are valid points or polygons, shape ``(stones,)``, in a plane metric grid. Raises ValueError naming
    the rows of missing, empty or unsuitable ones.
    """
    a_m, b_m, first, count = edges_of(footprints)
    if not len(first):
        return Ground(a_m, b_m, first, count, np.zeros(0), np.zeros(0), np.zeros(0))
    middle, square = np.empty((len(first), 2)), np.empty(len(first))

    def measure(low: int, high: int) -> None:
        edges, own = slice(first[low], first[high - 1] + count[high - 1]), count[low:high]
        a, start = a_m[edges], first[low:high] - first[low]
        middle[low:high] = (_by_stone(np.minimum, a, start, own) + _by_stone(np.maximum, a, start, own)) / 2.0
        offset = a - np.repeat(middle[low:high], own, axis=0)
        square[low:high] = _by_stone(np.maximum, offset[:, 0] * offset[:, 0] + offset[:, 1] * offset[:, 1], start, own)

    spread(measure, len(first), portion=_PORTION)
    # a hair more: nothing of the stone may stick out of its disc by rounding
    radius = np.sqrt(square) * (1.0 + 1e-12) + 1e-9
    return Ground(a_m, b_m, first, count, middle[:, 0].copy(), middle[:, 1].copy(), radius)


def _by_stone(join: np.ufunc, values: Floats, first: Ints, count: Ints) -> Floats:
    """Return what a ufunc makes of the values of all edges of each stone."""
    edges = int(count[0])
    if edges > 8 or (count != edges).any():
        return np.asarray(join.reduceat(values, first))
    found = values[::edges]
    for e in range(1, edges):
        found = join(found, values[e::edges])
    return np.asarray(found)


def face_of_edges(ground: Ground, facing_deg: npt.ArrayLike) -> Ints:
    """Code in `FACES` of each edge, by where it looks: within 45 degrees of the facing is front.

    ``facing_deg`` is clockwise from north, one value or one a stone; NaN counts as north (then "front" only means
    the north side: the caller must not call it a front). An edge that looks exactly between two faces goes to the
    front, else to the one that comes first clockwise: 45 and 315 degrees off the facing is front, 135 left, 225 back.
    """
    facing = np.broadcast_to(np.asarray(facing_deg, np.float64), ground.first.shape)
    code = np.empty(len(ground.a_m), dtype=np.int64)

    def name(low: int, high: int) -> None:
        edges = slice(ground.first[low], ground.first[high - 1] + ground.edges_n[high - 1])
        of_edge = np.repeat(np.where(np.isnan(facing[low:high]), 0.0, facing[low:high]), ground.edges_n[low:high])
        run_x, run_y = (ground.b_m[edges] - ground.a_m[edges]).T
        looks_deg = np.degrees(np.arctan2(run_y, -run_x))  # outward is to the right of the run; clockwise from north
        turned = np.mod(np.round(looks_deg - of_edge, 9) + 45.0, 360.0)
        code[edges] = np.where(turned == 0.0, 0, np.ceil(turned / 90.0).astype(np.int64) - 1)

    spread(name, len(ground.first), portion=_PORTION)
    return code


def face_lengths_m(ground: Ground, face: Ints) -> Floats:
    """Length of each face along the ground, shape ``(stones, 4)``. [m]"""
    run = ground.b_m - ground.a_m
    stone = np.repeat(np.arange(len(ground.first)), ground.edges_n)
    cells = np.bincount(stone * 4 + face, np.hypot(run[:, 0], run[:, 1]), minlength=4 * len(ground.first))
    return np.asarray(cells.reshape(-1, 4), dtype=np.float64)


def plan_areas_m2(ground: Ground) -> Floats:
    """Area of each footprint, 0 for points, shape ``(stones,)``. [m2]"""
    if not len(ground.first):
        return np.zeros(0)
    near = np.repeat(np.stack([ground.x_m, ground.y_m], axis=1), ground.edges_n, axis=0)  # large coordinates cancel
    a, b = ground.a_m - near, ground.b_m - near
    return np.add.reduceat(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0], ground.first) / 2.0
