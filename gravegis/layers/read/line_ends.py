"""Ends of drawn lines that miss each other: by less than a drawing is drawn to, or by a gap to be told.

Programs round the ends of arcs and lines each for itself, so that two ends of one corner differ in the last figure.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]
    Numbers = npt.NDArray[np.intp]

__all__ = ["SAME_M", "TOLD_M", "Met", "meet", "reach"]

SAME_M = 0.001
"""Ends within a millimetre are one corner: a hundredth of what a stone is measured to. Own choice, no source."""
TOLD_M = 0.1
"""A gap up to this much is told as a shape that does not close; it is not closed. Own choice, no source. [m]"""
# Nor more than this share of the middle length of a line; where nobody knows the unit, a tenth of that share alone
# (1 mm in 5 m). Own choice, no source.
_SHARE_OF_LINE = {SAME_M: 1 / 500, TOLD_M: 1 / 5}
_MOST_NEAR = 8  # other ends looked at around one; more within a millimetre are no corner of plots


@dataclass(frozen=True, slots=True)
class Met:
    """Lines whose ends meet; for each end that was moved, where it lay and how far it went [units of the drawing]."""

    lines: Any
    places: Floats
    ways: Floats


def reach(lines: Any, most_m: float, unit_m: float | None) -> float:  # noqa: ANN401 - an array of lines
    """Return how far ends may lie apart, in the unit of the drawing: `most_m`, or a small share of a usual line."""
    lengths = shapely.length(lines)
    usual = float(np.median(lengths[lengths > 0])) if (lengths > 0).any() else 0.0
    share = usual * _SHARE_OF_LINE[most_m]
    return share / 10 if unit_m is None else min(most_m / unit_m, share)


def meet(lines: Any, apart: float, *, only: npt.NDArray[np.bool_] | None = None) -> Met:  # noqa: ANN401 - arrays of lines
    """Return lines whose ends within `apart` of each other, or of another line, lie exactly on one place.

    The end drawn first stays where it is. An end beside a line goes onto it, and the line gets a corner there.

    Parameters
    ----------
    lines
        Array of shapely lines, each longer than 0.
    apart
        In the unit of the drawing, more than 0.
    only
        Which lines may have their ends moved; by default every open one.
    """
    may = ~shapely.is_closed(lines) if only is None else only & ~shapely.is_closed(lines)
    number = np.repeat(np.flatnonzero(may), 2)
    ends = shapely.get_coordinates(shapely.get_point(lines[number], np.tile([0, -1], int(may.sum()))))
    if not len(ends):
        return Met(lines, np.empty((0, 2)), np.empty(0))
    goal, alone = _corners(ends, apart)
    corner_of = _onto_lines(lines, number, goal, alone, apart)
    way = np.hypot(*(goal - ends).T)
    made = lines.copy()
    for one in sorted({*number[way > 0].tolist(), *corner_of}):
        made[one] = _drawn_again(lines[one], goal[number == one], corner_of.get(one, []))
    moved = way > apart * 1e-5  # less is the last figure of a computer, nothing to tell
    return Met(made, ends[moved], way[moved])


def _corners(ends: Floats, apart: float) -> tuple[Floats, npt.NDArray[np.bool_]]:
    """Return where each end goes: to the first one of its corner; and which ends have no other near."""
    once, first, back, count = np.unique(ends, axis=0, return_index=True, return_inverse=True, return_counts=True)
    back = back.ravel()
    most = min(_MOST_NEAR, len(once))
    # the library asks for less than the bound
    found: Any = cKDTree(once).query(once, k=range(1, most + 1), distance_upper_bound=np.nextafter(apart, np.inf))
    far, near = found
    one, rank = np.nonzero(np.isfinite(far))
    pairs = coo_array((np.ones(len(one)), (one, near[one, rank])), shape=(len(once), len(once)))
    corner: Any = connected_components(pairs, directed=False)[1]
    lead = np.full(corner.max() + 1, len(ends))
    np.minimum.at(lead, corner, first)
    of_corner = np.bincount(corner, weights=count)
    return ends[lead[corner]][back], (of_corner == 1)[corner][back]


def _onto_lines(
    lines: Any, number: Numbers, goal: Floats, alone: npt.NDArray[np.bool_], apart: float  # noqa: ANN401
) -> dict[int, list[Any]]:  # fmt: skip
    """Move lone ends onto the nearest other line within reach; return the corners that lines get by it."""
    asked = np.flatnonzero(alone)
    points: Any = shapely.points(goal[asked])
    end, line = shapely.STRtree(lines).query(points, predicate="dwithin", distance=apart)
    other = number[asked[end]] != line
    end, line = end[other], line[other]
    way = shapely.distance(points[end], lines[line])
    corner_of, done = dict[int, list[Any]](), set[int]()
    for pair in np.argsort(way, kind="stable").tolist():
        place = int(asked[end[pair]])
        if place in done:
            continue
        done.add(place)
        target = lines[line[pair]]
        at = shapely.line_locate_point(target, points[end[pair]])
        corner = shapely.get_coordinates(shapely.line_interpolate_point(target, at))[0]
        known = shapely.get_coordinates(target)
        near = np.hypot(*(known - corner).T)
        if near.min() <= apart:
            corner = known[int(near.argmin())]
        else:
            corner_of.setdefault(int(line[pair]), []).append((at, tuple(corner)))
        goal[place] = corner
    return corner_of


def _drawn_again(line: Any, ends: Floats, corners: list[Any]) -> Any:  # noqa: ANN401 - shapely lines
    """Return a line with its ends where they belong and with the corners that other lines make on it."""
    places = shapely.get_coordinates(line)
    walked = [0.0, *np.cumsum(np.hypot(*np.diff(places, axis=0).T)).tolist()]
    if len(ends):
        places[0], places[-1] = ends
    every = sorted([*zip(walked, map(tuple, places.tolist()), strict=True), *corners], key=lambda one: one[0])
    return shapely.LineString([place for _, place in every])
