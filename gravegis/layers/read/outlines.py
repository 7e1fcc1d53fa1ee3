"""Areas from lines of a drawing: closed ones as they are, open ones where several close together."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from gravegis.layers.read import line_ends

__all__ = ["Gap", "Outlines", "outlines_of"]

_MOST_TRIED = 5_000  # loose lines that are tried for a gap; the more there are, the less are they plots


@dataclass(frozen=True, slots=True)
class Gap:
    """An area that would be there if the ends of its lines met: the area, the widest gap, where it is."""

    area: Any
    wide: float
    place: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Outlines:
    """Areas in the order of the drawing, how many lines were closed by themselves, and lines of no area.

    `moved_n` ends were moved by at most `moved_most`, so that they meet; `gaps` are areas that do not close.
    """

    areas: list[Any]
    closed_n: int
    rest: list[Any]
    moved_n: int = 0
    moved_most: float = 0.0
    gaps: tuple[Gap, ...] = ()


def outlines_of(lines: list[Any], unit_m: float | None = None) -> Outlines:
    """Return the areas that lines enclose.

    A closed line that no open one touches is an area by itself. The others are cut where they meet, and each
    smallest piece of ground they enclose is an area. Ends that miss each other by a millimetre are one corner, and
    counted; nothing is joined over a wider gap, but what would close over one is told.

    Parameters
    ----------
    lines
        Shapely lines in the order of the drawing.
    unit_m
        Metres of the unit they are drawn in; None where nobody knows.
    """
    every = np.array(lines, dtype=object)
    usable = shapely.length(every) > 0
    order = np.flatnonzero(usable)
    if not len(order):
        return Outlines([], 0, [])
    closed_n = int(_rings(every[usable]).sum())
    met = line_ends.meet(every[usable], line_ends.reach(every[usable], line_ends.SAME_M, unit_m))
    drawn = met.lines
    kept = shapely.length(drawn) > 0
    drawn, order = drawn[kept], order[kept]
    areas, first, loose = _areas(drawn)
    in_order = [areas[row] for row in sorted(range(len(areas)), key=lambda row: (order[first[row]], row))]
    gaps = _gaps(drawn, loose, areas, line_ends.reach(drawn, line_ends.TOLD_M, unit_m))
    return Outlines(in_order, closed_n, list(drawn[loose]), len(met.ways), float(met.ways.max(initial=0.0)), gaps)


def _rings(lines: Any) -> Any:  # noqa: ANN401 - an array of lines, of flags
    return shapely.is_closed(lines) & (shapely.get_num_points(lines) > 3)


def _areas(lines: Any) -> tuple[list[Any], list[int], list[int]]:  # noqa: ANN401 - an array of lines
    """Return the areas, the first line of each, and the open lines no part of which bounds an area."""
    closed = _rings(lines)
    rings = [shapely.Polygon(line.coords) for line in lines[closed]]
    opened = lines[~closed]
    if not len(opened):
        return rings, np.flatnonzero(closed).tolist(), []
    tree = shapely.STRtree(opened)
    touched = np.zeros(len(rings), dtype=bool)
    if rings:
        touched[tree.query(np.array([ring.exterior for ring in rings], dtype=object), predicate="intersects")[0]] = True
    free = [ring for ring, hit in zip(rings, touched, strict=True) if not hit]
    pool = np.array([*opened, *(ring.exterior for ring, hit in zip(rings, touched, strict=True) if hit)], dtype=object)
    number = np.concatenate([np.flatnonzero(~closed), np.flatnonzero(closed)[touched]])
    noded = shapely.node(shapely.multilinestrings(list(pool)))
    faces = [one for one in shapely.get_parts(shapely.polygonize(shapely.get_parts(noded))) if one.area > 0]
    first = [*np.flatnonzero(closed)[~touched].tolist(), *_first_lines(faces, pool, number)]
    return [*free, *faces], first, np.flatnonzero(~closed)[_unused(opened, faces)].tolist()


def _first_lines(faces: list[Any], pool: Any, number: Any) -> list[int]:  # noqa: ANN401 - arrays of lines, numbers
    """Return for each area the number of the first of its lines, as drawn."""
    if not faces:
        return []
    edges = np.array([one.exterior for one in faces], dtype=object)
    face, line = shapely.STRtree(pool).query(edges, predicate="intersects")
    shared = shapely.length(shapely.intersection(edges[face], pool[line])) > 0
    first = np.full(len(faces), np.iinfo(np.int64).max)
    np.minimum.at(first, face[shared], number[line[shared]])
    return [int(one) for one in first]


def _unused(opened: Any, faces: list[Any]) -> Any:  # noqa: ANN401 - an array of lines, of flags
    """Return which open lines bound no area."""
    loose = np.ones(len(opened), dtype=bool)
    if faces:
        edges = shapely.STRtree([one.exterior for one in faces])
        line, edge = edges.query(opened, predicate="intersects")
        shared = shapely.length(shapely.intersection(opened[line], edges.geometries[edge])) > 0
        loose[line[shared]] = False
    return loose


def _gaps(lines: Any, loose: list[int], areas: list[Any], wide: float) -> tuple[Gap, ...]:  # noqa: ANN401
    """Return the areas that loose lines would enclose if ends up to so far apart met."""
    if not loose or len(loose) > _MOST_TRIED:
        return ()
    only = np.zeros(len(lines), dtype=bool)
    only[loose] = True
    met = line_ends.meet(lines, wide, only=only)
    if not len(met.ways):
        return ()
    tried = met.lines[shapely.length(met.lines) > 0]
    inside = shapely.STRtree(areas) if areas else None
    found = []
    for area in _areas(tried)[0]:
        if inside is not None and len(inside.query(area.representative_point(), predicate="within")):
            continue
        far = shapely.distance(shapely.points(met.places), area.exterior)
        near = np.flatnonzero(far <= wide)
        if len(near):
            at = near[met.ways[near].argmax()]
            found.append(Gap(area, float(met.ways[at]), (float(met.places[at][0]), float(met.places[at][1]))))
    return tuple(found)
