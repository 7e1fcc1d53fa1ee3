"""What the ground is like for a walker: paths, barriers, gates, and the pace on each surface."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from gravegis.errors import LayerError, Problem, SettingError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray
    from shapely.geometry import LineString
    from shapely.geometry.base import BaseGeometry

    Floats = NDArray[np.float64]

__all__ = [
    "DETOUR_FACTOR",
    "OFF_PATH_SHARE",
    "OPEN_PACE_S_M",
    "PATH_PACE_S_M",
    "PATH_SPEED_KM_H",
    "Ground",
    "NetworkSettings",
    "Pace",
    "checked_places",
]

# Tobler 1993 (NCGIA Technical Report 93-1), hiking function 6 exp(-3.5 |slope + 0.05|) km/h at slope 0.
PATH_SPEED_KM_H = 6.0 * math.exp(-3.5 * 0.05)
# Tobler 1993, same report: off path the walker keeps 0.6 of the speed.
OFF_PATH_SHARE = 0.6
PATH_PACE_S_M = 3.6 / PATH_SPEED_KM_H
OPEN_PACE_S_M = PATH_PACE_S_M / OFF_PATH_SHARE
# How much longer the way is than the straight line where no path is on file; common practice, no source.
DETOUR_FACTOR = 1.3


@dataclass(frozen=True, slots=True)
class Pace:
    """Seconds for one metre on foot: on a path, and on open ground (both above 0). [s/m]

    The defaults are Tobler 1993 (NCGIA Technical Report 93-1) on level ground: 5.0367 km/h on a path
    and 0.6 of that off it. Slope is not modelled.
    """

    path_s_m: float = PATH_PACE_S_M
    open_s_m: float = OPEN_PACE_S_M

    def __post_init__(self) -> None:
        for name in ("path_s_m", "open_s_m"):
            value = getattr(self, name)
            if not (math.isfinite(value) and value > 0):
                raise SettingError(f"{name} is {value:g} s/m.", where=f"pace.{name}", remedy="Give a figure above 0.")


@dataclass(frozen=True, slots=True)
class NetworkSettings:
    """How fine the walking network is.

    ``radius_m`` and ``path_step_m`` follow a measured comparison with exact visibility (60 m: mean
    error 0.08 %). The other four are common practice, no source.
    """

    radius_m: float = 60.0
    """Sight lines between path nodes, and from places to path nodes, are looked for this far. [m]"""
    path_step_m: float = 5.0
    """Longest piece of path between two nodes. [m]"""
    clearance_m: float = 0.3
    """How far from a corner a walker turns round it; 0 touches the corner. [m]"""
    slack_m: float = 0.3
    """A gap between barriers narrower than this is drawing slack, not a way through. [m]"""
    step_out_m: float = 2.0
    """A place drawn inside a barrier is taken to stand beside it if the edge is this near. [m]"""
    full_sight: int = 1500
    """Up to this many places and corners every pair is looked at; above it only near pairs."""

    def __post_init__(self) -> None:
        low = {"radius_m": 1.0, "path_step_m": 0.1, "clearance_m": 0, "slack_m": 0, "step_out_m": 0}
        problems = [
            Problem(f"{name} is {getattr(self, name):g} m.", f"walking.{name}", f"Give {least:g} or more.")
            for name, least in low.items()
            if not least <= getattr(self, name) < math.inf
        ]
        if problems:
            raise SettingError.of(problems)


@dataclass(frozen=True, slots=True)
class Ground:
    """Paths, barriers and gates of one site, in one metric CRS.

    A barrier is a line (fence, hedge, thin wall) or a polygon that cannot be walked through (building,
    pond, thick wall); an enclosure must therefore be a line or a polygon with a hole. A gate opens
    every barrier within 1 m of it that is a line or a polygon at most 2 m thick there.
    """

    paths: Sequence[LineString] = ()
    path_pace_s_m: Sequence[float] | None = None
    """Pace on each path; None takes the path pace of `Pace` for all. [s/m]"""
    barriers: Sequence[BaseGeometry] = ()
    gates_xy_m: Floats = field(default_factory=lambda: np.empty((0, 2)))
    gate_width_m: Floats = field(default_factory=lambda: np.empty(0))

    def __post_init__(self) -> None:
        problems = [*self._path_problems(), *self._barrier_problems(), *self._gate_problems()]
        if problems:
            raise LayerError.of(problems)

    def _path_problems(self) -> list[Problem]:
        found = [
            Problem("The path is empty or not a single line.", f"paths[{k}]", "Split it into single lines.")
            for k, path in enumerate(self.paths)
            if path is None or path.is_empty or path.geom_type != "LineString"
        ]
        if self.path_pace_s_m is None:
            return found
        if len(self.path_pace_s_m) != len(self.paths):
            text = f"{len(self.path_pace_s_m)} paces for {len(self.paths)} paths."
            return [*found, Problem(text, "paths", "Give one pace for each path.")]
        return found + [
            Problem(f"The pace is {pace:g} s/m.", f"paths[{k}]", "Give a figure above 0.")
            for k, pace in enumerate(self.path_pace_s_m)
            if not (math.isfinite(pace) and pace > 0)
        ]

    def _barrier_problems(self) -> list[Problem]:
        kinds = {"LineString", "LinearRing", "MultiLineString", "Polygon", "MultiPolygon"}
        return [
            Problem("The barrier is empty or neither line nor polygon.", f"barriers[{k}]", "Draw it again.")
            for k, barrier in enumerate(self.barriers)
            if barrier is None or barrier.is_empty or barrier.geom_type not in kinds
        ]

    def _gate_problems(self) -> list[Problem]:
        xy = np.asarray(self.gates_xy_m, dtype=np.float64).reshape(-1, 2)
        width = np.asarray(self.gate_width_m, dtype=np.float64).reshape(-1)
        if len(xy) != len(width):
            return [Problem(f"{len(width)} widths for {len(xy)} gates.", "gates", "Give one width a gate.")]
        good = np.isfinite(xy).all(axis=1) & np.isfinite(width) & (width > 0)
        return [
            Problem("The gate has no position or no width above 0.", f"gates[{k}]", "Measure the opening.")
            for k in np.flatnonzero(~good)
        ]


def checked_places(places_xy_m: Floats) -> Floats:
    """Return the places as a float array of shape (n, 2); raise LayerError naming every bad row."""
    xy = np.asarray(places_xy_m, dtype=np.float64)
    if xy.size == 0:
        return np.empty((0, 2))
    if xy.ndim != 2 or xy.shape[1] != 2:
        raise LayerError(f"Places have the shape {xy.shape}.", where="places", remedy="Give x and y for each.")
    bad = np.flatnonzero(~np.isfinite(xy).all(axis=1))
    if len(bad):
        text = "The position is missing or not a number."
        raise LayerError.of([Problem(text, f"places[{k}]", "Survey the place again.") for k in bad])
    return xy
