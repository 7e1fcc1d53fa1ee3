"""Bundles of arrays that the loops over pairs, rays and cells read: tuples, because compiled code takes those."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

CIRCLE, SECTOR, WIDE, STRIP = range(4)
"""Kinds of pattern: full circle, turn up to 180 degrees, turn above, rectangle."""


class Ground(NamedTuple):
    """Footprints, edge by edge, outer rings counterclockwise, in a plane metric grid. [m]"""

    a_m: Floats  # (edges, 2) ends of all edges, those of one stone in a row
    b_m: Floats
    first: Ints  # (stones,) its first edge
    edges_n: Ints  # (stones,) how many edges
    x_m: Floats  # (stones,) middle of its box
    y_m: Floats
    radius_m: Floats  # farthest corner from there


class Turns(NamedTuple):
    """Heads: place, throw, turn and wind, each ``(heads,)``."""

    x_m: Floats
    y_m: Floats
    throw_m: Floats
    kind: Ints
    start_x: Floats  # unit vector along the start of the turn (for a strip: along its bearing), and along the end
    start_y: Floats
    end_x: Floats
    end_y: Floats
    wind_x: Floats  # how far the wind carries the far end of the pattern [m]
    wind_y: Floats
    drift_m: Floats  # length of that
    ramp_m: Floats  # from this distance on the whole of it counts


class Cells(NamedTuple):
    """Square cells over the stones."""

    x0_m: float
    y0_m: float
    size_m: float
    nx: int
    ny: int


class Spray(NamedTuple):
    """What each head sends out, and how it flies."""

    flow_rad: Floats  # (heads,) [L/h per radian of its turn]; for a strip [L/h per 2 m2 of its ground]
    table: Ints  # (heads,) row of its table
    bend_one: Floats  # (heads,) of `tables.stretch`; for a strip not read
    bend_two: Floats
    sides_m: Floats  # (heads, 4) of a strip: nearest, farthest, left, right as seen along its bearing
    share: Floats  # (tables, distances, heights)
    throw_m: Floats  # (tables,)
    top_m: Floats  # (tables,)
    steepest: float


class Grid(NamedTuple):
    """Square cells of a raster, first row in the south."""

    x0_m: float
    y0_m: float
    cell_m: float
    nx: int
    ny: int


@dataclass(frozen=True, slots=True, eq=False)
class Pairs:
    """Stones and the heads that reach them, one entry a pair, sorted by stone, then head.

    Attributes
    ----------
    stone_i, head_i
        Rows of the stone and of the head, shape ``(pairs,)``.
    distance_m
        From the head to the nearest point of the footprint on the ground, 0 when it stands within. [m]
    margin_m
        Smallest retreat of one edge of the throw (its arc; a stop of its turn or a side of its strip, past
        the whole footprint) that would leave the stone dry; for a surveyed outline the depth of the deepest
        corner. From minus the touch tolerance to 0 for a stone only touched. [m]
    near_m
        From the head to the nearest part of the footprint between its stops, infinite if there is none; where wind
        carries the pattern, the distance at which that water would fall in still air. [m]
    """

    stone_i: Ints
    head_i: Ints
    distance_m: Floats
    margin_m: Floats
    near_m: Floats

    def __len__(self) -> int:
        return len(self.stone_i)
