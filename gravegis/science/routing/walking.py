"""How long it takes to walk between any two places of a site, and which way one walks."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely
from scipy.sparse.csgraph import connected_components, dijkstra
from shapely.geometry import LineString, Point

from gravegis.errors import LayerError, SettingError
from gravegis.science.routing.barriers import Solid, build_solid, corner_nodes, no_look, step_out
from gravegis.science.routing.ground import DETOUR_FACTOR, Ground, NetworkSettings, Pace, checked_places
from gravegis.science.routing.network import MERGE_M, PathNodes, build_graph, resample_paths

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray
    from scipy.sparse import csr_array
    from shapely.geometry.base import BaseGeometry

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

__all__ = ["WalkMatrix", "walk_matrix"]

# Small portions keep the memory small, and other threads, such as that of a window, from waiting: the library lets
# none go on while it works. With 256 they waited 170 ms (measured).
_SOURCES_AT_ONCE = 16


@dataclass(frozen=True, slots=True, eq=False)
class WalkMatrix:
    """Walking time and length between all places, both of shape (n, n).

    ``seconds`` and ``metres`` are inf where one cannot walk; ``metres`` is the length of the quickest
    way. ``component`` (n,) labels the places that can be reached from each other. ``moved_m`` (n,) is
    how far a place drawn inside a barrier was stepped out of it. With ``estimated`` no path was known:
    lengths and times are the way round the barriers times a detour factor, not a surveyed way.
    ``cut_paths`` are paths a barrier crosses without a gate, ``idle_gates`` gates that open nothing.
    """

    seconds: Floats
    metres: Floats
    component: Ints
    moved_m: Floats
    estimated: bool
    cut_paths: tuple[int, ...] = ()
    idle_gates: tuple[int, ...] = ()
    _ways: _Ways | None = None

    @classmethod
    def from_times(cls, seconds: Floats, metres: Floats) -> WalkMatrix:
        """Wrap times and lengths known from elsewhere; it has no walked lines to show."""
        seconds, metres = np.asarray(seconds, dtype=np.float64), np.asarray(metres, dtype=np.float64)
        if seconds.ndim != 2 or seconds.shape[0] != seconds.shape[1] or metres.shape != seconds.shape:
            raise LayerError(f"Times {seconds.shape} and lengths {metres.shape} are not square and alike.")
        _, label = connected_components(np.isfinite(seconds), directed=False)
        return cls(seconds, metres, label.astype(np.int64), np.zeros(len(seconds)), estimated=False)

    def path(self, i: int, j: int) -> LineString:
        """Return the line walked from place i to place j; empty where there is none.

        With ``estimated`` this is the way round the barriers, without the detour factor.
        """
        if self._ways is None or not math.isfinite(self.seconds[i, j]):
            return LineString()
        return self._ways.line(i, j)

    def shut_off_by(self, i: int, j: int) -> int | None:
        """Return the barrier nearest to place i on the straight line to place j, None if there is none."""
        return None if self._ways is None else self._ways.first_barrier(i, j)


@dataclass(frozen=True, slots=True, eq=False)
class _Ways:
    """What is needed to draw a way: nodes in local metres, predecessors from each spot, barriers."""

    places_xy_m: Floats
    origin_m: Floats
    spot: Ints
    node_xy_m: Floats
    before: NDArray[np.int32]
    barriers: tuple[BaseGeometry, ...]

    def line(self, i: int, j: int) -> LineString:
        source, node = int(self.spot[i]), int(self.spot[j])
        way = [node]
        while node != source:
            node = int(self.before[source, node])
            way.append(node)
        ends = self.places_xy_m[[i, j]]
        if source == way[0]:
            return LineString(ends + self.origin_m)
        xy = np.concatenate([ends[:1], self.node_xy_m[way[::-1]], ends[1:]])
        new = np.append(np.hypot(*np.diff(xy, axis=0).T) > MERGE_M, True)
        return LineString(xy[new] + self.origin_m)

    def first_barrier(self, i: int, j: int) -> int | None:
        straight = LineString(self.places_xy_m[[i, j]])
        start = Point(self.places_xy_m[i])
        on_way = [
            (shapely.distance(shapely.intersection(barrier, straight), start), k)
            for k, barrier in enumerate(self.barriers)
            if shapely.intersects(barrier, straight)
        ]
        return min(on_way)[1] if on_way else None


def walk_matrix(
    places_xy_m: Floats,
    ground: Ground,
    *,
    pace: Pace | None = None,
    settings: NetworkSettings | None = None,
    detour_factor: float = DETOUR_FACTOR,
    look: Callable[[], object] = no_look,
) -> WalkMatrix:
    """Return walking times and lengths between all places over a priced line-of-sight network.

    Parameters
    ----------
    places_xy_m
        Bases and stops, shape (n, 2), in the metric CRS of the ground; several may share a spot.
    ground
        Paths, barriers and gates.
    pace
        Seconds a metre on paths and on open ground; Tobler 1993 on level ground if left out.
    settings
        Fineness of the network.
    detour_factor
        Used only where the ground has no path: lengths and times are the way round the barriers at
        open-ground pace times this factor (1.3 is common practice, no source). At least 1.
    look
        Called between portions of the work; it may raise to stop it.

    A walker goes straight over open ground, round corners of barriers, through gates and along paths,
    whichever is quickest. Walking along a path is entered at its nodes, at most 5 m apart. Slope, steps
    and the ground between stones are not modelled.
    """
    pace, settings = pace or Pace(), settings or NetworkSettings()
    if not (math.isfinite(detour_factor) and detour_factor >= 1):
        raise SettingError(f"detour_factor is {detour_factor:g}.", remedy="Give a figure of 1 or more.")
    places = checked_places(places_xy_m)
    origin = np.round(places.mean(axis=0)) if len(places) else np.zeros(2)
    local = places - origin
    solid = _local_solid(ground, origin, settings)
    first, spot = _spots(local)
    beside = step_out(solid, local[first], settings.step_out_m)
    moved = np.nan_to_num(np.hypot(*(beside - local[first]).T))
    nodes, graph, cut = _network(beside, _local_paths(ground, origin, pace, settings), solid, (pace, settings, look))
    seconds, metres, before = _quickest(graph, nodes, len(first), look)
    between = (moved[:, None] + moved) * (1 - np.eye(len(moved)))
    _, label = connected_components(graph, directed=False)
    estimated = len(ground.paths) == 0
    factor = detour_factor if estimated else 1.0
    return WalkMatrix(
        seconds=((seconds + between * pace.open_s_m) * factor)[np.ix_(spot, spot)],
        metres=((metres + between) * factor)[np.ix_(spot, spot)],
        component=_relabel(label[spot]),
        moved_m=moved[spot],
        estimated=estimated,
        cut_paths=cut,
        idle_gates=solid.idle_gates,
        _ways=_Ways(local, origin, spot, nodes, before, solid.parts),
    )


def _local_solid(ground: Ground, origin: Floats, settings: NetworkSettings) -> Solid:
    """Return the solid ground in local metres: small figures keep the geometry exact."""
    barriers = [shapely.transform(barrier, lambda xy: xy - origin) for barrier in ground.barriers]
    gates = np.asarray(ground.gates_xy_m, dtype=np.float64).reshape(-1, 2) - origin
    return build_solid(barriers, gates, np.asarray(ground.gate_width_m).reshape(-1), settings.slack_m)


def _local_paths(ground: Ground, origin: Floats, pace: Pace, settings: NetworkSettings) -> PathNodes:
    given = ground.path_pace_s_m
    pace_s_m = np.full(len(ground.paths), pace.path_s_m) if given is None else np.asarray(given, dtype=np.float64)
    paths = [shapely.transform(path, lambda xy: xy - origin) for path in ground.paths]
    return resample_paths(paths, pace_s_m, settings.path_step_m)


def _spots(local_xy_m: Floats) -> tuple[Ints, Ints]:
    """Return the first place at each distinct spot, and the spot of each place (same to the millimetre)."""
    if not len(local_xy_m):
        return np.empty(0, dtype=np.int64), np.empty(0, dtype=np.int64)
    _, first, spot = np.unique(np.round(local_xy_m, 3), axis=0, return_index=True, return_inverse=True)
    return first.astype(np.int64), spot.reshape(-1).astype(np.int64)


def _network(
    spots: Floats, paths: PathNodes, solid: Solid, how: tuple[Pace, NetworkSettings, Callable[[], object]]
) -> tuple[Floats, csr_array, tuple[int, ...]]:
    """Return all nodes (spots first), the graph of seconds and the paths that a barrier cuts."""
    pace, settings, look = how
    points = np.concatenate([spots, corner_nodes(solid, settings.clearance_m), solid.gate_xy_m])
    graph, cut = build_graph(points, paths, solid, pace, settings, look=look)
    return np.concatenate([points, paths.xy_m]), graph, cut


def _quickest(
    graph: csr_array, nodes: Floats, n_spots: int, look: Callable[[], object]
) -> tuple[Floats, Floats, NDArray[np.int32]]:
    """Return seconds and metres between spots, and for each spot the node before each node."""
    if not n_spots:
        return np.empty((0, 0)), np.empty((0, 0)), np.empty((0, len(nodes)), dtype=np.int32)
    seconds, metres = np.empty((n_spots, n_spots)), np.empty((n_spots, n_spots))
    before = np.empty((n_spots, len(nodes)), dtype=np.int32)
    for low in range(0, n_spots, _SOURCES_AT_ONCE):
        look()
        rows = np.arange(low, min(low + _SOURCES_AT_ONCE, n_spots))
        reached, before[rows] = dijkstra(graph, directed=False, indices=rows, return_predecessors=True)
        seconds[rows] = reached[:, :n_spots]
        metres[rows] = _lengths(nodes, before, rows, np.isfinite(seconds[rows]))
    return seconds, metres, before


def _lengths(nodes: Floats, before: NDArray[np.int32], rows: Ints, reached: NDArray[np.bool_]) -> Floats:
    """Walk all ways back to their source at once and add up the straight pieces."""
    row, at = np.nonzero(reached)
    source = rows[row]
    metres = np.full(reached.shape, np.inf)
    length = np.zeros(len(source))
    target = at.copy()
    going = np.flatnonzero(at != source)
    while len(going):
        here = at[going]
        back = before[source[going], here]
        length[going] += np.hypot(*(nodes[here] - nodes[back]).T)
        at[going] = back
        going = going[back != source[going]]
    metres[row, target] = length
    return metres


def _relabel(label: NDArray[np.int32]) -> Ints:
    """Return labels 0, 1, ... in the order of the places, so that the same site gives the same labels."""
    _, first, inverse = np.unique(label, return_index=True, return_inverse=True)
    rank = np.argsort(np.argsort(first))
    return np.asarray(rank[inverse], dtype=np.int64)
