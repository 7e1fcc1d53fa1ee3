"""Areas from lines of a drawing: closed ones as they are, open ones where several close together."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

__all__ = ["Outlines", "outlines_of"]


@dataclass(frozen=True, slots=True)
class Outlines:
    """Areas in the order of the drawing, how many lines were closed by themselves, and lines of no area."""

    areas: list[Any]
    closed_n: int
    rest: list[Any]


def outlines_of(lines: list[Any]) -> Outlines:
    """Return the areas that lines enclose.

    A closed line that no open one touches is an area by itself. The others are cut where they meet, and each
    smallest piece of ground they enclose is an area. Nothing is joined over a gap.

    Parameters
    ----------
    lines
        Shapely lines in the order of the drawing.
    """
    every = np.array(lines, dtype=object)
    usable = shapely.length(every) > 0
    closed = usable & shapely.is_closed(every) & (shapely.get_num_points(every) > 3)
    rings = [shapely.Polygon(line.coords) for line in every[closed]]
    opened = every[usable & ~closed]
    if not len(opened):
        return Outlines(rings, len(rings), [])
    tree = shapely.STRtree(opened)
    touched = np.zeros(len(rings), dtype=bool)
    if rings:
        touched[tree.query(np.array([ring.exterior for ring in rings], dtype=object), predicate="intersects")[0]] = True
    free = [ring for ring, hit in zip(rings, touched, strict=True) if not hit]
    drawn = np.flatnonzero(closed)[~touched]
    pool = np.array([*opened, *(ring.exterior for ring, hit in zip(rings, touched, strict=True) if hit)], dtype=object)
    number = np.concatenate([np.flatnonzero(usable & ~closed), np.flatnonzero(closed)[touched]])
    noded = shapely.node(shapely.multilinestrings(list(pool)))
    parts = shapely.get_parts(noded)
    faces = [one for one in shapely.get_parts(shapely.polygonize(parts)) if one.area > 0]
    first = [*drawn.tolist(), *_first_lines(faces, pool, number)]
    areas = [*free, *faces]
    in_order = [areas[row] for row in sorted(range(len(areas)), key=lambda row: (first[row], row))]
    return Outlines(in_order, len(rings), _unused(opened, faces))


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


def _unused(opened: Any, faces: list[Any]) -> list[Any]:  # noqa: ANN401 - an array of lines
    """Return the open lines no part of which bounds an area."""
    if not faces:
        return list(opened)
    edges = shapely.STRtree([one.exterior for one in faces])
    line, edge = edges.query(opened, predicate="intersects")
    shared = shapely.length(shapely.intersection(opened[line], edges.geometries[edge])) > 0
    used = set(line[shared].tolist())
    return [one for number, one in enumerate(opened) if number not in used]
