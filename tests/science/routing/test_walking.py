"""The walking network against closed forms, an exact oracle and what must always hold."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString, Point, Polygon, box

from gravegis.errors import LayerError, SettingError
from gravegis.science.routing.ground import OPEN_PACE_S_M, PATH_PACE_S_M, Ground, NetworkSettings, Pace
from gravegis.science.routing.walking import WalkMatrix, walk_matrix

if TYPE_CHECKING:
    from collections.abc import Sequence

    from shapely.geometry.base import BaseGeometry

EVEN = Pace(path_s_m=1.0, open_s_m=1.0)


def xy(*points: tuple[float, float]) -> np.ndarray:
    return np.array(points, dtype=np.float64)


def even_walk(places: np.ndarray, ground: Ground, clearance_m: float = 0.0) -> WalkMatrix:
    settings_ = NetworkSettings(clearance_m=clearance_m)
    return walk_matrix(places, ground, pace=EVEN, settings=settings_, detour_factor=1.0)


def gated(barriers: Sequence[BaseGeometry], at: tuple[float, float], width_m: float) -> Ground:
    return Ground(barriers=barriers, gates_xy_m=xy(at), gate_width_m=np.array([width_m]))


def yard(x0: float, y0: float, x1: float, y1: float) -> LineString:
    return LineString([(x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0)])


@pytest.mark.cited("closed form: two 3-4-5 triangles round a rectangle")
@pytest.mark.parametrize(("clearance_m", "start", "end", "expected"), [
    (0.0, (0, 50), (100, 50), 120.0),
    (0.0, (20, 35), (80, 35), 70.0),
    (0.3, (0, 50), (100, 50), 120.0),
    (0.3, (20, 35), (80, 35), 70.0),
])  # fmt: skip
def test_a_walker_goes_round_a_rectangle_by_its_corners(
    clearance_m: float, start: tuple[float, float], end: tuple[float, float], expected: float
) -> None:
    walk = even_walk(xy(start, end), Ground(barriers=[box(40, 20, 60, 80)]), clearance_m)
    assert walk.metres[0, 1] == pytest.approx(expected, rel=0.005)
    assert walk.metres[0, 1] >= expected - 1e-6
    assert walk.seconds[0, 1] == pytest.approx(walk.metres[0, 1])


@pytest.mark.cited("closed form: two straight lines to the jambs and the thickness of the wall")
@pytest.mark.parametrize("clearance_m", [0.0, 0.3])
@pytest.mark.parametrize("gate_x", [50.0, 50.8, 49.3])
def test_a_wall_is_passed_by_its_gate_and_shut_without_it(clearance_m: float, gate_x: float) -> None:
    wall, fence = box(49.9, 0, 50.1, 100), yard(0, 0, 100, 100)
    places = xy((0.5, 50), (99.5, 50))
    open_ = even_walk(places, gated([wall, fence], (gate_x, 71), 2.0), clearance_m)
    assert open_.metres[0, 1] == pytest.approx(2 * math.hypot(49.4, 20) + 0.2, rel=0.005)
    assert open_.component[0] == open_.component[1]
    shut = even_walk(places, Ground(barriers=[wall, fence]), clearance_m)
    assert shut.metres[0, 1] == math.inf
    assert shut.component[0] != shut.component[1]
    assert shut.shut_off_by(0, 1) == 0
    assert shut.path(0, 1).is_empty


@pytest.mark.cited("routing row 3: 2 hypot(49.9, 20) + 0.2, closed form")
def test_the_published_wall_and_gate_come_out() -> None:
    wall = box(49.9, -300, 50.1, 300)  # so long that the way round its ends is no rival
    walk = even_walk(xy((0, 50), (100, 50)), gated([wall], (50, 71), 2.0))
    assert walk.metres[0, 1] == pytest.approx(107.7176, rel=1e-5)


@pytest.mark.cited("Snell's law, closed form: d / v1 + h sqrt(1 / v2^2 - 1 / v1^2)")
def test_a_walker_cuts_the_corner_to_a_path_as_light_does() -> None:
    path = LineString([(0, 0), (100, 0)])
    pace = Pace(path_s_m=1 / 1.4, open_s_m=1 / 0.84)
    walk = walk_matrix(xy((0, 20), (100, 0)), Ground(paths=[path]), pace=pace)
    assert walk.seconds[0, 1] == pytest.approx(90.476, rel=0.005)
    assert walk.seconds[0, 1] >= 90.476 - 1e-3
    assert walk.metres[0, 1] == pytest.approx(25 + 85, rel=0.005)  # joins 15 m on
    assert not walk.estimated


@pytest.mark.cited("Tobler 1993, NCGIA Technical Report 93-1: slope 0 and off path")
def test_the_default_paces_are_toblers() -> None:
    path_km_h, open_km_h = 3.6 / PATH_PACE_S_M, 3.6 / OPEN_PACE_S_M
    assert path_km_h == pytest.approx(5.0367, abs=1e-3)
    assert open_km_h == pytest.approx(3.0220, abs=1e-3)


@pytest.mark.parametrize("court", [
    yard(40, 40, 60, 60),
    box(40, 40, 60, 60).buffer(0.3).difference(box(40, 40, 60, 60)),
], ids=["fence line", "wall with a hole"])  # fmt: skip
def test_a_place_in_a_sealed_court_is_out_of_reach(court: LineString | Polygon) -> None:
    walk = walk_matrix(xy((0, 50), (50, 50), (100, 50)), Ground(barriers=[Point(5, 5).buffer(1), court]))
    assert np.isinf(walk.seconds[1, [0, 2]]).all()
    assert np.isfinite(walk.seconds[0, 2])
    assert list(walk.component) == [0, 1, 0]
    assert walk.shut_off_by(1, 0) == 1
    opened = walk_matrix(xy((0, 50), (50, 50)), gated([court], (40, 50), 1.2))
    assert opened.metres[0, 1] == pytest.approx(50 * 1.3, rel=0.005)
    assert opened.idle_gates == ()


def test_fences_that_meet_in_one_point_leave_no_way_through() -> None:
    fences = [LineString(pair) for pair in itertools.pairwise(yard(10, 10, 20, 20).coords)]
    for clearance_m in (0.0, 0.3):
        # the lines of sight run exactly through the corners where two fences meet
        walk = even_walk(xy((15, 15), (5, 5), (25, 25), (30, 0)), Ground(barriers=fences), clearance_m)
        assert np.isinf(walk.seconds[0, 1:]).all()


def test_a_small_drawing_gap_is_closed_and_a_real_one_is_open() -> None:
    def fenced(gap: float) -> float:
        fence = LineString([(10, 10 + gap), (10, 20), (20, 20), (20, 10), (10, 10)])
        places = xy((15, 10 + gap / 2), (5, 10 + gap / 2))  # one looks straight through the gap
        return float(even_walk(places, Ground(barriers=[fence]), 0.3).metres[0, 1])

    assert fenced(0.2) == math.inf
    assert fenced(1.0) == pytest.approx(10)


def test_without_paths_lengths_are_estimated_and_say_so() -> None:
    walk = walk_matrix(xy((0, 0), (30, 40)), Ground())
    assert walk.estimated
    assert walk.metres[0, 1] == pytest.approx(50 * 1.3)
    assert walk.seconds[0, 1] == pytest.approx(50 * 1.3 * OPEN_PACE_S_M)
    assert walk.path(0, 1).length == pytest.approx(50)
    assert walk_matrix(xy((0, 0), (30, 40)), Ground(), detour_factor=1.0).metres[0, 1] == pytest.approx(50)


def test_crossing_paths_are_joined_and_each_keeps_its_pace() -> None:
    paths = [LineString([(0, 0), (100, 0)]), LineString([(52, -50), (52, 50)])]
    slow_ground = Pace(path_s_m=1.0, open_s_m=1000.0)
    ground = Ground(paths=paths, path_pace_s_m=[0.5, 2.0])
    walk = walk_matrix(xy((0, 0), (52, 50)), ground, pace=slow_ground)
    assert walk.metres[0, 1] == pytest.approx(102, abs=1e-6)
    assert walk.seconds[0, 1] == pytest.approx(52 * 0.5 + 50 * 2.0, abs=1e-3)


def test_a_path_through_a_wall_without_gate_is_cut_and_named() -> None:
    paths = [LineString([(0, 20), (100, 20)]), LineString([(0, 50), (100, 50)])]
    wall = LineString([(50, 0), (50, 100)])
    ground = replace(gated([wall], (50, 20), 1.0), paths=paths)
    walk = walk_matrix(xy((0, 50), (100, 50)), ground)
    assert walk.cut_paths == (1,)
    assert not shapely.crosses(walk.path(0, 1), LineString([(50, 30), (50, 100)]))


def test_a_gate_does_not_open_a_pond_or_widen_a_gap_that_is_drawn() -> None:
    pond = box(40, 0, 50.2, 100)
    walk = walk_matrix(xy((0, 50), (100, 50)), gated([pond], (50, 50), 2.0))
    assert walk.idle_gates == (0,)
    assert walk.metres[0, 1] > 1.3 * 120
    halves = [LineString([(50, -500), (50, 49)]), LineString([(50, 51), (50, 500)])]
    by_gate = even_walk(xy((0, 0), (100, 0)), gated(halves, (50, 50), 2.0)).metres[0, 1]
    as_drawn = even_walk(xy((0, 0), (100, 0)), Ground(barriers=halves)).metres[0, 1]
    assert by_gate == pytest.approx(as_drawn, abs=0.05)


def test_a_place_drawn_just_inside_a_hedge_is_stepped_out_and_told() -> None:
    hedge = box(40, 0, 42, 100)
    walk = even_walk(xy((0, 50), (40.5, 50), (41, 50)), Ground(barriers=[hedge, box(300, 0, 400, 100)]))
    assert walk.moved_m == pytest.approx([0, 0.5, 1.0], abs=0.01)
    assert walk.metres[0, 1] == pytest.approx(40.5, abs=0.01)
    assert walk.path(0, 1).length == pytest.approx(walk.metres[0, 1])
    deep = even_walk(xy((0, 50), (350, 50)), Ground(barriers=[box(300, 0, 400, 100)]))
    assert deep.metres[0, 1] == math.inf
    assert deep.shut_off_by(1, 0) == 0


def test_places_that_share_a_spot_are_no_walk_apart() -> None:
    walk = walk_matrix(xy((0, 0), (5, 5), (5, 5), (5, 5)), Ground(barriers=[box(2, 2, 3, 3)]))
    assert (walk.seconds[1:, 1:] == 0).all()
    assert np.ptp(walk.seconds[0, 1:]) == 0
    assert walk.path(1, 2).length == 0


@pytest.mark.parametrize("n", [0, 1])
def test_no_place_or_one_gives_a_matrix_of_that_size(n: int) -> None:
    walk = walk_matrix(np.ones((n, 2)), Ground(paths=[LineString([(0, 0), (9, 0)])], barriers=[box(2, 2, 3, 3)]))
    assert walk.seconds.shape == walk.metres.shape == (n, n)
    assert not walk.seconds.any()


def test_bad_input_is_refused_with_every_bad_row_named() -> None:
    with pytest.raises(LayerError, match=r"places\[1\][\s\S]*places\[3\]"):
        walk_matrix(xy((0, 0), (math.nan, 1), (2, 2), (math.inf, 1)), Ground())
    with pytest.raises(LayerError, match=r"barriers\[0\][\s\S]*gates\[0\]"):
        Ground(barriers=[Point(0, 0)], gates_xy_m=xy((0, 0)), gate_width_m=np.array([-1.0]))
    with pytest.raises(LayerError, match="1 paces for 0 paths"):
        Ground(path_pace_s_m=[1.0])
    with pytest.raises(SettingError, match=r"path_s_m is 0"):
        Pace(path_s_m=0.0)
    with pytest.raises(SettingError, match=r"path_step_m is 0 m[\s\S]*clearance_m is nan"):
        NetworkSettings(path_step_m=0.0, clearance_m=math.nan)
    with pytest.raises(SettingError, match=r"detour_factor is 0\.9"):
        walk_matrix(xy((0, 0)), Ground(), detour_factor=0.9)


def exact_metres(places: np.ndarray, boxes: list[Polygon]) -> np.ndarray:
    """Plain oracle: visibility graph over all corners, each pair tested by relate, then Floyd-Warshall."""
    corners = [corner for shape in boxes for corner in list(shape.exterior.coords)[:-1]]
    nodes = [tuple(p) for p in places] + corners
    d = np.full((len(nodes), len(nodes)), np.inf)
    np.fill_diagonal(d, 0)
    for i, j in itertools.combinations(range(len(nodes)), 2):
        if nodes[i] == nodes[j]:
            d[i, j] = d[j, i] = 0
            continue
        line = LineString([nodes[i], nodes[j]])
        if not any(line.relate_pattern(shape, "T********") for shape in boxes):
            d[i, j] = d[j, i] = line.length
    for k in range(len(nodes)):
        d = np.minimum(d, d[:, [k]] + d[[k], :])
    return d[: len(places), : len(places)]


def whole_boxes(rng: np.random.Generator, n: int) -> list[Polygon]:
    """Boxes on whole metres that stand at least one metre apart."""
    found: list[Polygon] = []
    while len(found) < n:
        x, y, w, h = (int(v) for v in rng.integers([0, 0, 1, 1], [50, 50, 12, 12]))
        new = box(x, y, x + w, y + h)
        if all(new.distance(old) >= 1 for old in found):
            found.append(new)
    return found


@pytest.mark.parametrize("seed", range(4))
def test_the_network_equals_the_exact_visibility_graph(seed: int) -> None:
    rng = np.random.default_rng(seed)
    boxes = whole_boxes(rng, 6)
    places = rng.integers(-5, 66, (12, 2)).astype(np.float64)
    inside = shapely.contains_xy(shapely.union_all(boxes), places[:, 0], places[:, 1])
    places = places[~inside]
    walk = even_walk(places, Ground(barriers=boxes))
    np.testing.assert_allclose(walk.metres, exact_metres(places, boxes), rtol=1e-6, atol=1e-6)


points = st.tuples(st.integers(0, 60), st.integers(0, 60)).map(lambda p: (p[0] + 0.37, p[1] + 0.71))
blocks = st.builds(
    lambda x, y, w, h: box(x, y, x + w, y + h),
    *[st.integers(0, 50)] * 2, *[st.integers(1, 15)] * 2,
)  # fmt: skip
walls = st.builds(
    lambda a, b: LineString([a, b]),
    *[st.tuples(st.integers(0, 60), st.integers(0, 60))] * 2,
).filter(lambda line: line.length > 0)  # fmt: skip
barriers = st.lists(blocks | walls, max_size=5)
places_st = st.lists(points, min_size=2, max_size=6)
paths_st = st.lists(walls, max_size=3)


@settings(max_examples=150)
@given(places_st, barriers, blocks | walls)
def test_one_barrier_more_never_makes_a_way_shorter(
    places: list[tuple[float, float]], standing: list[Polygon | LineString], new: Polygon | LineString
) -> None:
    at = xy(*places)
    before = even_walk(at, Ground(barriers=standing))
    after = even_walk(at, Ground(barriers=[*standing, new]))
    assume(not before.moved_m.any() and not after.moved_m.any())
    assert (after.metres >= before.metres - 1e-4).all()


def test_with_paths_one_barrier_more_shortens_a_way_by_no_more_than_the_networks_error() -> None:
    rng = np.random.default_rng(1)
    for _ in range(60):
        places = rng.uniform(0, 100, (8, 2))
        paths = [LineString(rng.uniform(0, 100, (3, 2))) for _ in range(4)]
        corners = rng.uniform(5, 85, (5, 2))
        shapes = [box(*low, *(low + rng.uniform(1, 12, 2))) for low in corners]
        before = walk_matrix(places, Ground(paths=paths, barriers=shapes[:-1]))
        after = walk_matrix(places, Ground(paths=paths, barriers=shapes))
        if not before.moved_m.any() and not after.moved_m.any():
            assert (after.seconds >= 0.99 * before.seconds).all()  # path nodes are up to 5 m apart


@settings(max_examples=150)
@given(places_st, barriers, paths_st)
def test_a_walk_is_at_least_the_straight_line_and_no_stop_between_shortens_it(
    places: list[tuple[float, float]], standing: list[Polygon | LineString], paths: list[LineString]
) -> None:
    at = xy(*places)
    walk = walk_matrix(at, Ground(barriers=standing, paths=paths))
    straight = np.hypot(*(at[:, None] - at).transpose(2, 0, 1))
    assert (walk.metres >= straight - 1e-6).all()
    assert (walk.seconds >= straight * PATH_PACE_S_M - 1e-6).all()
    np.testing.assert_allclose(walk.seconds, walk.seconds.T)
    assert not np.diag(walk.seconds).any()
    assert not np.diag(walk.metres).any()
    via = (walk.seconds[:, :, None] + walk.seconds[None]).min(axis=1)
    assert (walk.seconds <= via + 1e-6).all()
    assert ((walk.component[:, None] == walk.component) == np.isfinite(walk.seconds)).all()


@settings(max_examples=100)
@given(places_st, barriers, paths_st)
def test_the_line_shown_is_as_long_as_said_and_crosses_no_barrier(
    places: list[tuple[float, float]], standing: list[Polygon | LineString], paths: list[LineString]
) -> None:
    walk = walk_matrix(xy(*places), Ground(barriers=standing, paths=paths), detour_factor=1.0)
    solid = shapely.union_all([shape.buffer(0.005) if shape.area == 0 else shape.buffer(-0.005) for shape in standing])
    for i, j in itertools.combinations(range(len(places)), 2):
        if np.isfinite(walk.metres[i, j]):
            line = walk.path(i, j)
            assert line.length == pytest.approx(walk.metres[i, j], abs=1e-2)
            assert line.coords[0] == pytest.approx(places[i])
            assert line.coords[-1] == pytest.approx(places[j])
            if places[i] != places[j] and not walk.moved_m[[i, j]].any():
                assert not line.intersects(solid)


@settings(max_examples=30)
@given(places_st, barriers, paths_st, st.integers(-10, 10), st.integers(-10, 10))
def test_moving_the_whole_site_changes_nothing(
    places: list[tuple[float, float]],
    standing: list[Polygon | LineString],
    paths: list[LineString],
    east: int,
    north: int,
) -> None:
    by = np.array([east * 54321.0, north * 456789.0])
    here = walk_matrix(xy(*places), Ground(barriers=standing, paths=paths))
    there = walk_matrix(
        xy(*places) + by,
        Ground(
            barriers=[shapely.transform(shape, lambda at: at + by) for shape in standing],
            paths=[shapely.transform(path, lambda at: at + by) for path in paths],
        ),
    )
    np.testing.assert_allclose(there.seconds, here.seconds, rtol=1e-6, atol=1e-4)
    assert list(there.component) == list(here.component)


def row_site(side_m: float, stops: int, barriers_n: int, paths_n: int) -> tuple[np.ndarray, Ground]:
    rng = np.random.default_rng(3)
    corners = rng.uniform(0.1 * side_m, 0.9 * side_m, (barriers_n, 2))
    shapes = [box(*low, *(low + rng.uniform(2, 12, 2))) for low in corners]
    paths = [LineString([(2, y), (side_m - 2, y)]) for y in np.linspace(2, side_m - 2, paths_n - 1)]
    paths.append(LineString([(side_m / 2, 2), (side_m / 2, side_m - 2)]))
    return rng.uniform(0, side_m, (stops, 2)), Ground(barriers=shapes, paths=paths)


def test_a_day_on_one_hectare_has_all_its_ways() -> None:
    places, ground = row_site(100, 60, 15, 20)
    walk = walk_matrix(places, ground)
    reached = np.isfinite(walk.seconds)
    straight = np.hypot(*(places[:, None] - places).transpose(2, 0, 1))
    assert reached[walk.component == 0][:, walk.component == 0].all()
    assert (walk.metres >= straight - 1e-6).all()
    assert (walk.seconds[reached] <= 3 * straight[reached] * OPEN_PACE_S_M + 60).all()


@pytest.mark.full
def test_a_big_site_agrees_with_a_finer_network() -> None:
    places, ground = row_site(200, 300, 30, 100)
    walk = walk_matrix(places, ground)
    fine = walk_matrix(places, ground, settings=NetworkSettings(path_step_m=2.5))
    far = np.isfinite(fine.seconds) & (fine.seconds > 60)
    error = walk.seconds[far] / fine.seconds[far] - 1
    assert error.mean() < 0.01
    assert error.max() < 0.06


def test_two_places_a_hair_apart_have_a_way_between_them() -> None:
    walk = walk_matrix(xy((0, 0), (10, 0), (10.0006, 0)), Ground())
    assert walk.metres[1, 2] < 0.002
    assert not walk.path(1, 2).is_empty
    assert walk.path(0, 2).length == pytest.approx(10.0006, abs=1e-3)


def test_the_barrier_named_is_the_one_without_which_there_is_a_way() -> None:
    hedge, court = LineString([(90, -5), (90, 5)]), yard(80, -20, 120, 20)
    walk = walk_matrix(xy((0, 0), (100, 0)), Ground(barriers=[hedge, court]))
    assert walk.shut_off_by(1, 0) == 0  # the first on the straight line
    assert walk.opened_by(1, 0) == walk.opened_by(0, 1) == 1
    assert np.isfinite(walk_matrix(xy((0, 0), (100, 0)), Ground(barriers=[hedge])).seconds[0, 1])


def test_no_barrier_is_named_alone_where_two_shut_a_place_off() -> None:
    rings = [yard(80, -20, 120, 20), yard(70, -30, 130, 30)]
    assert walk_matrix(xy((0, 0), (100, 0)), Ground(barriers=rings)).opened_by(1, 0) is None
    halves = [LineString([(80, -20), (80, 20), (120, 20)]), LineString([(80, -20), (120, -20), (120, 20)])]
    assert walk_matrix(xy((0, 0), (100, 0)), Ground(barriers=halves)).opened_by(1, 0) in (0, 1)
