"""The ground that each head wets: a sector, a full circle or a strip."""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum
from typing import TYPE_CHECKING, TypeVar

import numpy as np
import numpy.typing as npt
import shapely

if TYPE_CHECKING:
    from collections.abc import Sequence

Floats = npt.NDArray[np.float64]
Codes = npt.NDArray[np.int8]
Ints = npt.NDArray[np.int64]
Edge = tuple[Floats, Floats, Floats, Floats]
"""Straight edges seen from the head: x and y of one end A, x and y of the other end B. [m]"""
Geometries = npt.NDArray[np.object_]
FINEST_TURN_DEG = 1e-9
"""Smallest turn, and smallest dry gap of a turn, told apart. [deg] Choice of this package, no source: less than
2e-9 m at a throw of 100 m, still far above the rounding of a bearing."""
T = TypeVar("T", bound=np.generic)


class StripSide(IntEnum):
    """Where the head stands in the rectangle that a strip nozzle wets.

    ``NONE`` is no strip. ``CENTRE``: at the centre, the length lies along ``from_deg``. ``END``: in the
    middle of a short side, the rectangle runs from it along ``from_deg``. ``SIDE``: in the middle of a long
    side, the rectangle reaches its width along ``from_deg`` and its length lies across that bearing.
    """

    NONE = 0
    CENTRE = 1
    END = 2
    SIDE = 3


_SIDE_OF_WORD = {"": StripSide.NONE, "centre": StripSide.CENTRE, "end": StripSide.END, "side": StripSide.SIDE}


@dataclass(frozen=True, slots=True, eq=False)
class Throws:
    """The throws of a number of heads, every array of shape ``(heads,)``; made by `make_throws`.

    Attributes
    ----------
    x_m, y_m
        Place of the head in a plane metric grid, y to the north. [m]
    throw_m
        Farthest wet point from the head: the radius, or for a strip the distance to its farthest corner. [m]
    from_deg
        Bearing clockwise from true north: where the turn starts, or where the strip points. Grid north (the
        y axis) is taken for true north: allow for grid convergence first where that matters. [deg]
    sweep_deg
        Clockwise turn from there, `FINEST_TURN_DEG` to 360; 360 is a full circle. Not used for strips. [deg]
    strip_length_m, strip_width_m
        Long and short side of a strip, NaN for the others. [m]
    strip_side
        Codes of `StripSide`.
    """

    x_m: Floats
    y_m: Floats
    throw_m: Floats
    from_deg: Floats
    sweep_deg: Floats
    strip_length_m: Floats
    strip_width_m: Floats
    strip_side: Codes

    def __len__(self) -> int:
        return len(self.x_m)


def make_throws(
    x_m: npt.ArrayLike,
    y_m: npt.ArrayLike,
    throw_m: npt.ArrayLike,
    *,
    from_deg: npt.ArrayLike = 0.0,
    sweep_deg: npt.ArrayLike = 360.0,
    strip_length_m: npt.ArrayLike = np.nan,
    strip_width_m: npt.ArrayLike = np.nan,
    strip_side: str | Sequence[str] | npt.NDArray[np.str_] = "",
) -> Throws:
    """Check what is known of each head and bundle it.

    Everything is one value for all heads or an array of shape ``(heads,)``; for the meaning see `Throws`.
    ``strip_side`` holds "", "centre", "end" or "side". For a strip ``throw_m`` and ``sweep_deg`` are not read
    (they may be NaN): the rectangle says it all.

    Raises
    ------
    ValueError
        One error that lists every unusable value with its row.
    """
    heads = np.shape(x_m)
    if len(heads) != 1:
        raise ValueError(f"x_m has shape {heads}, expected (heads,).")
    words = _column("strip_side", np.asarray(strip_side, dtype=np.str_), heads)
    side = np.array([_SIDE_OF_WORD.get(str(word), -1) for word in words], dtype=np.int8)
    given = {
        "x_m": x_m,
        "y_m": y_m,
        "throw_m": throw_m,
        "from_deg": from_deg,
        "sweep_deg": sweep_deg,
        "strip_length_m": strip_length_m,
        "strip_width_m": strip_width_m,
    }
    known = {name: _column(name, np.asarray(values, np.float64), heads) for name, values in given.items()}
    strip = side > 0
    # a dry gap too fine for the arithmetic is none
    nearly_full = np.abs(known["sweep_deg"] - 360.0) < FINEST_TURN_DEG
    known["sweep_deg"] = np.where(strip | nearly_full, 360.0, known["sweep_deg"])
    for name in ("strip_length_m", "strip_width_m"):
        known[name] = np.where((side == 0) & (known[name] == 0), np.nan, known[name])
    _refuse_bad_rows(known, words, side)
    corner_m = _strip_reach_m(known["strip_length_m"], known["strip_width_m"], side)
    known["throw_m"] = np.where(strip, corner_m, known["throw_m"])
    for values in known.values():
        values.setflags(write=False)
    side.setflags(write=False)
    return Throws(**known, strip_side=side)


def cos_deg(angle_deg: npt.ArrayLike) -> Floats:
    """Cosine of an angle in degrees, exact at multiples of 90."""
    quarter, cosine, sine = _within_a_quarter(angle_deg)
    return np.choose(quarter, [cosine, -sine, -cosine, sine]) + 0.0  # no minus zero


def sin_deg(angle_deg: npt.ArrayLike) -> Floats:
    """Sine of an angle in degrees, exact at multiples of 90."""
    quarter, cosine, sine = _within_a_quarter(angle_deg)
    return np.choose(quarter, [sine, cosine, -sine, -cosine]) + 0.0


def bearing_xy(bearing_deg: Floats) -> tuple[Floats, Floats]:
    """East and north part of the unit vector along a bearing, clockwise from north."""
    return sin_deg(bearing_deg), cos_deg(bearing_deg)


def strip_sides(throws: Throws) -> tuple[Floats, Floats, Floats, Floats]:
    """Limits of each strip seen from its head, NaN for heads that throw no strip.

    Returns
    -------
    Nearest and farthest along ``from_deg``, then left and right limit across it (right positive). [m]
    """
    across_is_length = throws.strip_side == StripSide.SIDE
    along = np.where(across_is_length, throws.strip_width_m, throws.strip_length_m)
    half = np.where(across_is_length, throws.strip_length_m, throws.strip_width_m) / 2
    back = np.where(throws.strip_side == StripSide.CENTRE, along / 2, 0.0)
    return -back, along - back, -half, half


def throw_bounds(throws: Throws) -> Floats:
    """Smallest upright box round each throw: west, south, east, north, in m, shape ``(heads, 4)``."""
    start_x, start_y = bearing_xy(throws.from_deg)
    end_x, end_y = bearing_xy(throws.from_deg + throws.sweep_deg)
    north, east, south, west = (
        np.mod(side_deg - throws.from_deg, 360.0) <= throws.sweep_deg for side_deg in (0.0, 90.0, 180.0, 270.0)
    )
    # the head itself is wet ground, hence the zeros
    left = np.where(west, -1.0, np.minimum(0.0, np.minimum(start_x, end_x)))
    right = np.where(east, 1.0, np.maximum(0.0, np.maximum(start_x, end_x)))
    down = np.where(south, -1.0, np.minimum(0.0, np.minimum(start_y, end_y)))
    up = np.where(north, 1.0, np.maximum(0.0, np.maximum(start_y, end_y)))
    bounds = np.stack([left, down, right, up], axis=1) * throws.throw_m[:, None]
    bounds += np.stack([throws.x_m, throws.y_m, throws.x_m, throws.y_m], axis=1)
    strip = np.flatnonzero(throws.strip_side)
    corners = _strip_corners(throws, strip)
    bounds[strip] = np.concatenate([corners.min(axis=1), corners.max(axis=1)], axis=1)
    return bounds


def throw_polygons(throws: Throws, *, segments_per_circle: int = 256, circumscribed: bool = False) -> Geometries:
    """Outline of the wet ground of each head, for drawing and for checks; `reach` uses the true arc.

    Parameters
    ----------
    throws
        The heads.
    segments_per_circle
        Straight pieces of a full circle, at least 8; a sector has its share, at least one. At 256 an arc of
        15 m is drawn within 1.2 mm (closed form ``throw * (1 - cos(180 deg / segments))``).
    circumscribed
        Corners outside the arc, so that the polygon holds the throw; otherwise it lies within the throw.

    Returns
    -------
    Polygons, shape ``(heads,)``.
    """
    if segments_per_circle < 8:
        raise ValueError(f"segments_per_circle is {segments_per_circle}, expected 8 or more.")
    polygons = np.empty(len(throws), dtype=object)
    strip = np.flatnonzero(throws.strip_side)
    polygons[strip] = strip_polygons(throws, strip)
    arc = np.flatnonzero(throws.strip_side == StripSide.NONE)
    sweep_deg, full = throws.sweep_deg[arc], throws.sweep_deg[arc] == 360.0
    pieces = np.maximum(1, np.ceil(segments_per_circle * sweep_deg / 360.0)).astype(np.int64)
    # a sector has the far end of its arc and the head as two more corners
    corners = np.where(full, pieces, pieces + 2)
    row = np.repeat(np.arange(len(arc)), corners)
    step = np.arange(len(row)) - np.repeat(np.cumsum(corners) - corners, corners)
    east, north = bearing_xy(throws.from_deg[arc][row] + sweep_deg[row] * (step / pieces[row]))
    stretch = 1.0 / np.cos(np.radians(sweep_deg / pieces) / 2) if circumscribed else np.ones(len(arc))
    radius_m = np.where(step > pieces[row], 0.0, (throws.throw_m[arc] * stretch)[row])
    xy_m = np.stack([throws.x_m[arc][row] + radius_m * east, throws.y_m[arc][row] + radius_m * north], axis=1)
    polygons[arc] = shapely.polygons(shapely.linearrings(xy_m, indices=row)) if len(arc) else []
    return polygons


def strip_polygons(throws: Throws, rows: Ints) -> Geometries:
    """Rectangles of the heads in these rows, which must all be strips, shape ``(rows,)``."""
    return np.asarray(shapely.polygons(_strip_corners(throws, rows)), dtype=object)


def place_nearest(edge: Edge) -> Floats:
    """Place on each edge that is nearest to the head, 0 at A to 1 at B."""
    ax, ay, bx, by = edge
    dx, dy = bx - ax, by - ay
    length = dx * dx + dy * dy
    at = np.divide(-(ax * dx + ay * dy), length, out=np.zeros_like(length), where=length > 0)
    return np.clip(at, 0.0, 1.0)


def square_at(at: Floats, edge: Edge) -> Floats:
    """Squared distance from the head to that place of each edge. [m2]"""
    ax, ay, bx, by = edge
    x, y = ax + at * (bx - ax), ay + at * (by - ay)
    return x * x + y * y


def seen_along(edge: Edge, east: Floats, north: Floats) -> Edge:
    """Edges with their first axis along a unit vector and the second to the right of it."""
    ax, ay, bx, by = edge
    return ax * east + ay * north, ax * north - ay * east, bx * east + by * north, bx * north - by * east


def seen_along_stops(edge: Edge, throws: Throws, head: Ints, pair: Ints) -> tuple[Edge, Edge]:
    """Edges seen along the start and along the end of the turn.

    ``pair`` is the place of each edge in ``head``, and that the row of the head.
    """
    start = bearing_xy(throws.from_deg[head])
    end = bearing_xy(throws.from_deg[head] + throws.sweep_deg[head])
    return seen_along(edge, start[0][pair], start[1][pair]), seen_along(edge, end[0][pair], end[1][pair])


def strip_depths(edge: Edge, throws: Throws, head: Ints) -> tuple[Floats, Floats, Floats, Floats]:
    """Depth of the end A of each edge behind the four sides of the strip of its head, inward positive. [m]"""
    near, far, left, right = (limit[head] for limit in strip_sides(throws))
    east, north = bearing_xy(throws.from_deg)
    along, across, _, _ = seen_along(edge, east[head], north[head])
    return along - near, far - along, across - left, right - across


def clip_edges(*depths: tuple[Floats, Floats]) -> tuple[Floats, Floats]:
    """Part of each edge where no depth is negative; a depth is given at A and at B.

    Returns the first and the last place, 0 to 1; the first is the greater where nothing is left.
    """
    low, high = np.zeros_like(depths[0][0]), np.ones_like(depths[0][0])
    for at_a, at_b in depths:
        change = at_a - at_b
        cross = np.divide(at_a, change, out=np.zeros_like(change), where=(at_a < 0) != (at_b < 0))
        low = np.where(at_a < 0, np.maximum(low, np.where(at_b < 0, np.inf, cross)), low)
        high = np.where(at_b < 0, np.minimum(high, cross), high)
    return low, high


def square_between_stops(edge: Edge, by_start: Edge, by_end: Edge) -> Floats:
    """Squared distance from the head to what of each edge lies in a turn of up to 180 degrees, inf if nothing.

    ``by_start`` and ``by_end`` are the edges seen along the start and the end of the turn. [m2]
    """
    low, high = clip_edges((by_start[1], by_start[3]), (-by_end[1], -by_end[3]))
    there = low <= high
    at = np.clip(place_nearest(edge), np.where(there, low, 0.0), np.where(there, high, 0.0))
    return np.where(there, square_at(at, edge), np.inf)


def square_round_gap(edge: Edge, by_start: Edge, by_end: Edge) -> Floats:
    """As `square_between_stops` for a turn above 180 degrees: an edge may lose its middle to the dry gap."""
    low, high = clip_edges((-by_start[1], -by_start[3]), (by_end[1], by_end[3]))
    at = place_nearest(edge)
    lost = (low < high) & (low <= at) & (at <= high)
    before = np.where(low > 0, square_at(np.where(lost, low, 0.0), edge), np.inf)
    after = np.where(high < 1, square_at(np.where(lost, high, 0.0), edge), np.inf)
    return np.where(lost, np.minimum(before, after), square_at(at, edge))


def square_to_side(edge: Edge, length_m: Floats) -> Floats:
    """Squared distance of each edge from a straight side of the throw that it does not cross. [m2]

    The side runs from the head to ``length_m`` on the first axis. Left out are the distance of the head, and
    that of the end B, which is the end A of another edge of the ring.
    """
    along_a, across_a, along_b, across_b = edge
    from_tip = (along_a - length_m, across_a, along_b - length_m, across_b)
    out = along_a - np.clip(along_a, 0.0, length_m)
    return np.minimum(square_at(place_nearest(from_tip), from_tip), out**2 + across_a**2)


def _within_a_quarter(angle_deg: npt.ArrayLike) -> tuple[Ints, Floats, Floats]:
    """Whole quarter turns (0 to 3), cosine and sine of what is left, which lies within 45 degrees of zero."""
    turned = np.asarray(angle_deg, np.float64)
    quarters = np.round(turned / 90.0)
    left = np.radians(turned - 90.0 * quarters)
    return np.mod(quarters, 4.0).astype(np.int64), np.cos(left), np.sin(left)


def _strip_corners(throws: Throws, strip: Ints) -> Floats:
    """Corners of the strips of the rows asked for, in m, shape ``(rows, 4, 2)``."""
    near, far, left, right = (limit[strip] for limit in strip_sides(throws))
    along = np.stack([near, far, far, near], axis=1)
    across = np.stack([right, right, left, left], axis=1)
    east, north = (part[:, None] for part in bearing_xy(throws.from_deg[strip]))
    x_m = throws.x_m[strip, None] + along * east + across * north
    y_m = throws.y_m[strip, None] + along * north - across * east
    return np.stack([x_m, y_m], axis=2)


def _strip_reach_m(length_m: Floats, width_m: Floats, side: Codes) -> Floats:
    """Distance from the head to the farthest corner of its strip."""
    along_m = np.where(side == StripSide.SIDE, width_m, length_m)
    across_m = np.where(side == StripSide.SIDE, length_m, width_m)
    return np.hypot(np.where(side == StripSide.CENTRE, along_m / 2, along_m), across_m / 2)


def _column(name: str, values: npt.NDArray[T], heads: tuple[int, ...]) -> npt.NDArray[T]:
    """One value a head, as an own copy."""
    if values.shape not in ((), heads):
        raise ValueError(f"{name} has shape {values.shape}, expected one value or {heads}.")
    return np.array(np.broadcast_to(values, heads))


def _refuse_bad_rows(known: dict[str, Floats], words: npt.NDArray[np.str_], side: Codes) -> None:
    """Raise one error that names every value that cannot be used."""
    arc, strip = side == 0, side > 0
    sweep_deg, length_m, width_m = known["sweep_deg"], known["strip_length_m"], known["strip_width_m"]
    checks = [(name, ~np.isfinite(known[name]), "is not a number") for name in ("x_m", "y_m", "from_deg")]
    checks += [
        ("throw_m", arc & ~_is_length(known["throw_m"]), "is not a length above 0"),
        (
            "sweep_deg",
            arc & ~((sweep_deg >= FINEST_TURN_DEG) & (sweep_deg <= 360)),
            f"is not from {FINEST_TURN_DEG:g} to 360",
        ),
        ("strip_length_m", strip & ~_is_length(length_m), "is not a length above 0"),
        ("strip_width_m", strip & ~_is_length(width_m), "is not a length above 0"),
        ("strip_width_m", strip & (width_m > length_m), "is more than the length: are the two swapped?"),
        ("strip_length_m", arc & ~np.isnan(length_m), "has no strip_side: centre, end or side?"),
        ("strip_width_m", arc & ~np.isnan(width_m), "has no strip_side: centre, end or side?"),
    ]
    found = [
        (int(row), f"head {row}: {name} {known[name][row]:g} {wrong}")
        for name, bad, wrong in checks
        for row in np.flatnonzero(bad)
    ]
    found += [
        (int(row), f"head {row}: strip_side {str(words[row])!r} is none of centre, end, side")
        for row in np.flatnonzero(side < 0)
    ]
    if found:
        found.sort(key=lambda entry: entry[0])
        raise ValueError("; ".join(text for _, text in found) + ".")


def _is_length(values_m: Floats) -> npt.NDArray[np.bool_]:
    return np.isfinite(values_m) & (values_m > 0)
