"""The invented ground itself: where it lies and how its rows of plots run.

Everything here is laid out in *plan* coordinates: metres east and metres north of the south-west corner, with
true north up. `to_grid` turns them into map coordinates; nothing else in the generator knows about grid north.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

import numpy as np
import shapely
from pyproj import Transformer

if TYPE_CHECKING:
    from numpy.typing import NDArray

TITLE = "Emberfield Rise (invented)"
SEED = 20261125
CRS = "EPSG:7854"
LONLAT_CRS = "EPSG:7844"
ORIGIN_EN = (371_972.0, 6_249_970.0)

PLOT_WIDTH_M = 1.2
PLOT_LENGTH_M = 2.4
# free ground between two plots of a row; with the width above, stones stand about 1.2 to 1.5 m apart
GAP_M = (0.03, 0.17)


@dataclass(frozen=True, slots=True)
class Row:
    """One row of plots: the edge of its strip, the way it runs, the way its inscriptions look."""

    name: str
    section: str
    edge_m: float  # west edge of a north-south row, south edge of an east-west row
    facing_deg: float
    blocks: tuple[tuple[float, float, int], ...]  # along the row: from, to, plots
    east_west: bool = False
    counted_back: bool = False  # places are counted from the far end, where the path is


_SOUTH = ((8.0, 60.0, 40),)
_NORTH = ((64.0, 121.5, 44),)
_OLD = ((7.0, 60.0, 42), (64.0, 122.5, 46))

# A, B, D and E are lawn; their rows begin south of the first line of heads or end north of the last one, so each has
# dry stones at its edge. C is the old part beyond the hedge. D holds flush markers only. E was surveyed by phone.
ROWS: tuple[Row, ...] = (
    Row("A1", "A", 9.60, 270.0, _SOUTH),
    Row("A2", "A", 12.30, 90.0, _SOUTH),
    Row("A3", "A", 17.00, 270.0, _SOUTH),
    Row("A4", "A", 19.70, 90.0, _SOUTH),
    Row("A5", "A", 32.20, 90.0, _SOUTH),
    Row("B1", "B", 9.60, 270.0, _NORTH),
    Row("B2", "B", 12.30, 90.0, _NORTH),
    Row("B3", "B", 19.60, 90.0, _NORTH),
    Row("B4", "B", 27.60, 90.0, _NORTH),
    Row("B5", "B", 40.00, 90.0, _NORTH),
    Row("B6", "B", 122.20, 0.0, ((8.0, 34.0, 20),), east_west=True),
    Row("C1", "C", 102.60, 90.0, _OLD),
    Row("C2", "C", 105.35, 90.0, _OLD),
    Row("C3", "C", 108.40, 270.0, _OLD),
    Row("C4", "C", 111.10, 90.0, _OLD),
    Row("C5", "C", 113.90, 90.0, _OLD),
    Row("D1", "D", 54.00, 90.0, _NORTH),
    Row("D2", "D", 62.00, 90.0, _NORTH),
    Row("D3", "D", 70.00, 90.0, _NORTH),
    Row("D4", "D", 78.00, 90.0, _NORTH),
    Row("D5", "D", 84.00, 90.0, _NORTH),
    Row("E1", "E", 52.00, 90.0, _SOUTH),
    Row("E2", "E", 64.90, 270.0, _SOUTH),
    Row("E3", "E", 67.60, 90.0, _SOUTH),
    Row("E4", "E", 77.00, 90.0, _SOUTH),
    Row("E5", "E", 86.00, 90.0, _SOUTH),
)


@cache
def north_on_grid_rad() -> float:
    """Bearing of true north on the map grid, in radians: what a line to the north leans by on this grid."""
    back = Transformer.from_crs(CRS, LONLAT_CRS, always_xy=True)
    forth = Transformer.from_crs(LONLAT_CRS, CRS, always_xy=True)
    lon, lat = back.transform(*ORIGIN_EN)
    east, north = forth.transform([lon, lon], [lat, lat + 0.001])
    return math.atan2(east[1] - east[0], north[1] - north[0])


def to_grid(plan: NDArray[np.float64]) -> NDArray[np.float64]:
    """Turn plan metres (n, 2) into map eastings and northings, rounded to the millimetre."""
    turn = north_on_grid_rad()
    east = ORIGIN_EN[0] + plan[:, 0] * math.cos(turn) + plan[:, 1] * math.sin(turn)
    north = ORIGIN_EN[1] - plan[:, 0] * math.sin(turn) + plan[:, 1] * math.cos(turn)
    return np.column_stack([east.round(3), north.round(3)])


def shape_to_grid(shape: shapely.Geometry) -> shapely.Geometry:
    """Turn a shape of the plan into the same shape on the map."""
    return shapely.transform(shape, to_grid)
