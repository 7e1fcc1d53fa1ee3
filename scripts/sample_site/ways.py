"""What crews walk on, cannot walk through, start from and fill up at, in plan metres."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely


@dataclass(frozen=True, slots=True)
class Path:
    """A path as its middle line."""

    path_id: str
    line: tuple[tuple[float, float], ...]
    surface: str
    width_m: float
    wheelable: bool


WEST, EAST, SOUTH, NORTH = 2.8, 119.5, 4.6, 128.0
MIDDLE = 49.0  # the path between the west and the east of the lawn
CROSS = 62.0  # the path between south and north
BY_HEDGE = 97.0
AISLE = 108.1


def _corner(centre: tuple[float, float], start_deg: float, radius_m: float = 3.5) -> list[tuple[float, float]]:
    """Return a quarter turn of the drive, clockwise from a bearing seen from the turn's centre."""
    turns = np.radians(start_deg + np.linspace(0.0, 90.0, 7))
    east, north = centre
    return [(east + radius_m * math.sin(t), north + radius_m * math.cos(t)) for t in turns]


def _loop() -> tuple[tuple[float, float], ...]:
    """Return the loop drive; where a path joins it the joint is a vertex, so the network holds together."""
    bend = 3.5
    points = [
        (MIDDLE, SOUTH),
        *_corner((WEST + bend, SOUTH + bend), 180.0),
        (WEST, CROSS),
        *_corner((WEST + bend, NORTH - bend), 270.0),
        (MIDDLE, NORTH),
        (BY_HEDGE, NORTH),
        (AISLE, NORTH),
        *_corner((EAST - bend, NORTH - bend), 0.0),
        (EAST, CROSS),
        *_corner((EAST - bend, SOUTH + bend), 90.0),
        (AISLE, SOUTH),
        (BY_HEDGE, SOUTH),
        (MIDDLE, SOUTH),
    ]
    return tuple(points)


GATE = (MIDDLE, 0.0)
OPENING = (99.3, CROSS)
SMALL_OPENING = (72.0, 60.7)
BASE = (50.4, -3.6)
TANK = (46.6, 63.6)

PATHS: tuple[Path, ...] = (
    Path("P1", _loop(), "gravel", 3.0, wheelable=True),
    Path("P2", (BASE, (MIDDLE, -2.0), GATE, (MIDDLE, SOUTH)), "gravel", 1.8, wheelable=True),
    Path("P3", ((MIDDLE, SOUTH), (MIDDLE, CROSS), (MIDDLE, NORTH)), "gravel", 2.0, wheelable=True),
    Path(
        "P4",
        ((WEST, CROSS), (16.0, CROSS), (MIDDLE, CROSS), (72.0, CROSS), (BY_HEDGE, CROSS), OPENING, (AISLE, CROSS),
         (EAST, CROSS)),
        "gravel", 2.0, wheelable=True,
    ),
    Path("P5", ((BY_HEDGE, SOUTH), (BY_HEDGE, CROSS), (BY_HEDGE, NORTH)), "earth", 1.6, wheelable=True),
    Path("P6", ((16.0, 8.0), (16.0, CROSS), (16.0, 121.0)), "grass", 0.6, wheelable=False),
    Path("P7", ((72.0, CROSS), SMALL_OPENING, (72.0, 8.0)), "grass", 0.6, wheelable=False),
    Path("P8", ((AISLE, SOUTH), (AISLE, CROSS), (AISLE, NORTH)), "earth", 0.5, wheelable=False),
)  # fmt: skip

POND = tuple(
    (127.0 + 5.0 * math.sin(math.radians(turn)), 34.0 + 8.0 * math.cos(math.radians(turn)))
    for turn in range(0, 360, 30)
)
# barrier_id, kind, height_m, line. A gate is a vertex of the line it opens.
BARRIERS: tuple[tuple[str, str, float, tuple[tuple[float, float], ...]], ...] = (
    ("W1", "wall", 1.5, ((-1.5, 131.0), (-1.5, 0.0), GATE, (134.0, 0.0))),
    ("H1", "hedge", 1.4, ((99.3, 6.6), OPENING, (99.3, 126.0))),
    ("H2", "hedge", 1.1, ((51.0, 60.7), SMALL_OPENING, (95.0, 60.7))),
    ("N1", "pond", 0.0, (*POND, POND[0])),
)
GATES: tuple[tuple[str, str, float, tuple[float, float]], ...] = (
    ("G1", "gate", 1.8, GATE),
    ("G2", "opening", 2.4, OPENING),
    ("G3", "opening", 1.2, SMALL_OPENING),
)
# tap_id, place, source_id, fit_to_drink, fitting, season
TAPS: tuple[tuple[str, tuple[float, float], str, str, str, str], ...] = (
    ("T1", (51.6, 1.9), "mains", "yes", "hose thread", "all year"),
    ("T2", (47.6, 65.0), "bore", "no", "key tap", "October to April"),
)
# base_id, label, place, tank
BASES: tuple[tuple[str, str, tuple[float, float], int | None], ...] = (
    ("BS1", "tool store", BASE, None),
    ("BS2", "volunteers' table with a tank", TANK, 600),
)


def path_ground() -> shapely.Geometry:
    """Return the ground the paths cover, in plan metres."""
    lines = [shapely.LineString(path.line).buffer(path.width_m / 2, cap_style="flat") for path in PATHS]
    return shapely.union_all(lines)
