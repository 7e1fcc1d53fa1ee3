"""The invented ground itself: where it lies, its rows, paths, walls, taps.

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


_LAWN_BLOCKS = ((8.0, 30.1, 17), (32.9, 53.7, 16))
_DRY_BLOCKS = ((6.8, 30.1, 18), (32.9, 55.0, 17))

ROWS: tuple[Row, ...] = (
    Row("A1", "A", 6.60, 90.0, _LAWN_BLOCKS),
    Row("A2", "A", 9.35, 90.0, _LAWN_BLOCKS),
    Row("A3", "A", 12.35, 270.0, _LAWN_BLOCKS),
    Row("A4", "A", 15.05, 90.0, _LAWN_BLOCKS),
    Row("A5", "A", 54.50, 0.0, ((6.60, 17.45, 8),), east_west=True, counted_back=True),
    Row("B1", "B", 20.85, 90.0, _LAWN_BLOCKS),
    Row("B2", "B", 23.85, 270.0, _LAWN_BLOCKS),
    Row("B3", "B", 26.55, 90.0, _LAWN_BLOCKS),
    Row("B4", "B", 29.30, 90.0, _LAWN_BLOCKS),
    Row("B5", "B", 54.50, 0.0, ((20.85, 31.70, 8),), east_west=True),
    Row("C1", "C", 41.00, 90.0, _DRY_BLOCKS),
    Row("C2", "C", 43.75, 90.0, _DRY_BLOCKS),
    Row("C3", "C", 46.75, 270.0, _DRY_BLOCKS),
    Row("C4", "C", 49.45, 90.0, _DRY_BLOCKS),
)


@dataclass(frozen=True, slots=True)
class Path:
    """A path as its middle line."""

    path_id: str
    line: tuple[tuple[float, float], ...]
    surface: str
    width_m: float
    wheelable: bool


def _corner(centre: tuple[float, float], start_deg: float, radius_m: float = 3.5) -> list[tuple[float, float]]:
    """Return a quarter turn of the drive, clockwise from a bearing seen from the turn's centre."""
    turns = np.radians(start_deg + np.linspace(0.0, 90.0, 7))
    east, north = centre
    return [(east + radius_m * math.sin(t), north + radius_m * math.cos(t)) for t in turns]


def _loop() -> tuple[tuple[float, float], ...]:
    """Return the loop drive; where a path joins it the joint is a vertex, so the network holds together."""
    west, east, south, north, bend = 2.8, 55.2, 4.6, 61.0, 3.5
    points = [
        (24.0, south),
        (19.15, south),
        *_corner((west + bend, south + bend), 180.0),
        (west, 31.5),
        *_corner((west + bend, north - bend), 270.0),
        (19.15, north),
        (36.8, north),
        *_corner((east - bend, north - bend), 0.0),
        (east, 31.5),
        *_corner((east - bend, south + bend), 90.0),
        (36.8, south),
        (24.0, south),
    ]
    return tuple(points)


GATE = (24.0, 0.0)
OPENING = (34.6, 31.5)
BASE = (25.4, -3.6)

PATHS: tuple[Path, ...] = (
    Path("P1", _loop(), "gravel", 3.0, wheelable=True),
    Path("P2", ((25.4, -3.6), (24.0, -2.0), GATE, (24.0, 4.6)), "gravel", 1.8, wheelable=True),
    Path("P3", ((19.15, 4.6), (19.15, 31.5), (19.15, 61.0)), "gravel", 2.0, wheelable=True),
    Path(
        "P4",
        ((2.8, 31.5), (10.9 + 1.15, 31.5), (19.15, 31.5), (23.55, 31.5), OPENING, (36.8, 31.5), (46.45, 31.5),
         (55.2, 31.5)),
        "gravel", 2.0, wheelable=True,
    ),
    Path("P5", ((36.8, 4.6), (36.8, 31.5), (36.8, 61.0)), "earth", 1.6, wheelable=True),
    Path("P6", ((12.05, 8.0), (12.05, 31.5), (12.05, 54.1)), "grass", 0.6, wheelable=False),
    Path("P7", ((23.55, 8.0), (23.55, 31.5), (23.55, 54.1)), "grass", 0.6, wheelable=False),
    Path("P8", ((46.45, 6.8), (46.45, 31.5), (46.45, 55.0)), "earth", 0.6, wheelable=False),
    Path("P9", ((6.6, 54.1), (12.05, 54.1), (19.15, 54.1), (23.55, 54.1), (31.7, 54.1)), "grass", 0.6,
         wheelable=False),
)  # fmt: skip

# barrier_id, kind, height_m, line. A gate is a vertex of the line it opens.
BARRIERS: tuple[tuple[str, str, float, tuple[tuple[float, float], ...]], ...] = (
    ("W1", "wall", 1.5, ((-1.5, 64.0), (-1.5, 0.0), GATE, (59.0, 0.0))),
    ("H1", "hedge", 1.4, ((34.6, 6.6), OPENING, (34.6, 58.9))),
)
GATES: tuple[tuple[str, str, float, tuple[float, float]], ...] = (
    ("G1", "gate", 1.8, GATE),
    ("G2", "opening", 2.4, OPENING),
)
# tap_id, place, source_id, fit_to_drink, fitting, season
TAPS: tuple[tuple[str, tuple[float, float], str, str, str, str], ...] = (
    ("T1", (26.6, 1.9), "mains", "yes", "hose thread", "all year"),
    ("T2", (17.8, 33.2), "bore", "no", "key tap", "October to April"),
)
# the corner where somebody tops up by hand, with a hose, what the sprays leave dry
HOSED_CORNER = ((26.6, 54.5), (31.7, 54.5), (31.7, 57.2), (28.9, 58.3), (26.6, 57.6))


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


def path_ground() -> shapely.Geometry:
    """Return the ground the paths cover, in plan metres."""
    lines = [shapely.LineString(path.line).buffer(path.width_m / 2, cap_style="flat") for path in PATHS]
    return shapely.union_all(lines)
