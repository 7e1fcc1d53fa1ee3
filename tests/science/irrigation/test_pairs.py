"""The compiled loops give the pairs of `reach`, bit for bit, in still air and in wind, on any number of threads."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from gravegis.science.irrigation.footprints import edges_of, face_lengths_m, face_of_edges, make_ground, plan_areas_m2
from gravegis.science.irrigation.pairs import find_pairs
from gravegis.science.irrigation.reach import Pairs, reach
from gravegis.science.irrigation.throw import Throws, make_throws, throw_polygons
from gravegis.science.irrigation.wind import drift_m, turns_of

Geometries = npt.NDArray[np.object_]
COLUMNS = ("stone_i", "head_i", "distance_m", "margin_m", "near_m")


def scene(seed: int, *, stones: int = 300, heads: int = 25, side_m: float = 60.0) -> tuple[Geometries, Throws]:
    rng = np.random.default_rng(seed)
    half = rng.uniform(0.1, 1.5, (stones, 1, 2)) * [1.0, 0.4]
    turn = rng.uniform(0, 2 * np.pi, stones)
    corners = half * np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)])
    matrix = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]]).transpose(2, 0, 1)
    footprints = np.asarray(shapely.polygons(corners @ matrix + rng.uniform(0, side_m, (stones, 1, 2))), dtype=object)
    footprints[::6] = shapely.reverse(footprints[::6])
    footprints[1::45] = shapely.difference(footprints[1::45], shapely.buffer(shapely.centroid(footprints[1::45]), 0.05))
    footprints[::5] = shapely.centroid(footprints[::5])
    strip = rng.random(heads) < 0.2
    sweep = rng.choice([90.0, 180.0, 183.0, 270.0, 360.0, 0.0], heads)
    throws = make_throws(
        rng.uniform(0, side_m, heads), rng.uniform(0, side_m, heads), rng.uniform(3, 15, heads),
        from_deg=rng.choice([0.0, 45.0, 90.0, 271.3], heads),
        sweep_deg=np.where(sweep == 0, rng.uniform(1, 360, heads), sweep),
        strip_length_m=np.where(strip, 9.0, np.nan), strip_width_m=np.where(strip, 1.5, np.nan),
        strip_side=np.where(strip, rng.choice(["centre", "end", "side"], heads), ""),
    )  # fmt: skip
    return footprints, throws


def assert_same(one: Pairs, other: Pairs) -> None:
    for name in COLUMNS:
        assert getattr(one, name).tolist() == getattr(other, name).tolist(), name


@settings(max_examples=20)
@given(st.integers(0, 10_000), st.sampled_from([1e-7, 0.7]), st.booleans())
def test_loops_give_what_reach_gives(seed: int, touch_m: float, windy: bool) -> None:
    footprints, throws = scene(seed)
    turns = turns_of(throws, 2.5, -1.5) if windy else None
    ours = find_pairs(footprints, throws, touch_m=touch_m, turns=turns)
    assert len(ours) > 50
    assert_same(ours, reach(footprints, throws, touch_m=touch_m, turns=turns))
    assert_same(ours, find_pairs(footprints, throws, touch_m=touch_m, turns=turns, compiled=False))


def test_outlines_go_their_own_way() -> None:
    footprints, throws = scene(3)
    outlines: dict[int, Any] = {2: shapely.box(10, 10, 22, 18), 7: shapely.box(0, 0, 9, 9)}
    ours = find_pairs(footprints, throws, outlines=outlines)
    assert_same(ours, reach(footprints, throws, outlines=outlines))


def test_threads_change_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    footprints, throws = scene(5, stones=3_000, side_m=120.0)
    alone = find_pairs(footprints, throws, threads=1)
    monkeypatch.setattr("gravegis.science.irrigation.pairs.PORTION", 97)
    assert_same(alone, find_pairs(footprints, throws, threads=7))


def test_one_wide_stone_among_small_ones_is_found_by_every_head() -> None:
    footprints, throws = scene(8)
    footprints[3] = shapely.box(-20, -20, 80, 80)
    assert_same(find_pairs(footprints, throws), reach(footprints, throws))


def test_far_from_the_origin_little_is_lost() -> None:
    footprints, throws = scene(9)
    far = np.asarray(shapely.transform(footprints, lambda xy: np.add(xy, [412_000.0, 5_712_000.0])), dtype=object)
    moved = turns_of(throws)._replace(x_m=throws.x_m + 412_000.0, y_m=throws.y_m + 5_712_000.0)
    there = Throws(moved.x_m, moved.y_m, *(getattr(throws, name) for name in Throws.__slots__[2:]))
    near, ours = find_pairs(footprints, throws), find_pairs(far, there)
    assert near.stone_i.tolist() == ours.stone_i.tolist()
    np.testing.assert_allclose(near.margin_m, ours.margin_m, atol=1e-8)


@pytest.mark.parametrize(("stones", "heads"), [(0, 3), (3, 0), (0, 0)])
def test_nothing_gives_nothing(stones: int, heads: int) -> None:
    footprints = np.asarray(shapely.points(np.zeros((stones, 2))), dtype=object)
    throws = make_throws(np.zeros(heads), 0.0, 5.0)
    assert_same(find_pairs(footprints, throws), reach(footprints, throws))


def test_hostile_footprints_are_refused_alike() -> None:
    bad = np.array([shapely.Point(0, 0), None], dtype=object)
    for compiled in (True, False):
        with pytest.raises(ValueError, match="Missing or empty footprints in rows 1"):
            find_pairs(bad, make_throws([0.0], 0.0, 5.0), compiled=compiled)
        with pytest.raises(ValueError, match="touch_m is"):
            find_pairs(bad[:1], make_throws([0.0], 0.0, 5.0), touch_m=-1.0, compiled=compiled)


@pytest.mark.full
@pytest.mark.cited("sector polygons of 1024 pieces a quarter, drawn inside and outside the arc")
@pytest.mark.parametrize(("stones", "side_m", "heads"), [(10_000, 173.0, 500), (100_000, 548.0, 5_000)])
def test_pairs_lie_between_polygons_drawn_inside_and_outside(stones: int, side_m: float, heads: int) -> None:
    rng = np.random.default_rng(0)
    x, y = rng.uniform(0, side_m, (2, stones))
    footprints = np.asarray(shapely.box(x, y, x + 0.6, y + 0.3), dtype=object)
    throws = make_throws(
        rng.uniform(0, side_m, heads), rng.uniform(0, side_m, heads), rng.uniform(5, 15, heads),
        from_deg=rng.uniform(0, 360, heads), sweep_deg=rng.choice([90.0, 180.0, 270.0, 360.0], heads),
    )  # fmt: skip
    pairs = find_pairs(footprints, throws)
    ours = pairs.stone_i * heads + pairs.head_i
    tree = shapely.STRtree(footprints)
    inner, outer = (
        (lambda head_i, stone_i: stone_i * heads + head_i)(
            *tree.query(throw_polygons(throws, segments_per_circle=4096, circumscribed=round_), predicate="intersects")
        )
        for round_ in (False, True)
    )
    assert np.setdiff1d(inner, ours).size == 0
    assert np.setdiff1d(ours, outer).size == 0
    assert len(np.unique(inner)) == len(np.unique(outer)) == len(ours)


# --- edges and faces ---


def test_edges_keep_the_stone_to_their_left() -> None:
    square = shapely.box(0, 0, 4, 4).difference(shapely.box(1, 1, 2, 2))
    shapes = np.array([square, shapely.reverse(square), shapely.box(9, 9, 10, 10)], dtype=object)
    ground = make_ground(shapes)
    np.testing.assert_allclose(plan_areas_m2(ground), [15.0, 15.0, 1.0])
    a_m, b_m, first, count = edges_of(shapes)
    assert count.tolist() == [8, 8, 4]
    middle = (a_m + b_m) / 2
    run = b_m - a_m
    left = middle + 0.01 * np.stack([-run[:, 1], run[:, 0]], axis=1)
    stone = np.repeat(np.arange(3), count)
    assert shapely.intersects_xy(shapes[stone], left[:, 0], left[:, 1]).all()
    assert first.tolist() == [0, 8, 16]


def test_faces_are_named_by_where_they_look() -> None:
    ground = make_ground(np.array([shapely.box(0, 0, 4, 2)] * 3, dtype=object))
    face = face_of_edges(ground, [0.0, 90.0, np.nan])
    lengths = face_lengths_m(ground, face)
    assert lengths.tolist() == [[4, 2, 4, 2], [2, 4, 2, 4], [4, 2, 4, 2]]
    run = ground.b_m - ground.a_m
    north = (run[:, 0] < 0) & (run[:, 1] == 0)
    assert face[north].tolist() == [0, 3, 0]  # facing east, the north side is on the right of its reader


def test_an_edge_exactly_between_two_faces_goes_to_the_earlier() -> None:
    ground = make_ground(np.array([shapely.box(0, 0, 1, 1)], dtype=object))
    run_x, run_y = (ground.b_m - ground.a_m).T
    looks_deg = np.round(np.degrees(np.arctan2(run_y, -run_x))) % 360
    found = dict(zip((looks_deg - 45) % 360, face_of_edges(ground, 45.0), strict=True))
    assert found == {45: 0, 135: 1, 225: 2, 315: 0}  # front, left, back, front


@settings(max_examples=30)
@given(st.floats(0, 360), st.floats(0.1, 8.0))
def test_wind_from_a_bearing_carries_downwind_and_not_beyond_its_limit(from_deg: float, wind_m_s: float) -> None:
    throws = make_throws([0.0], [0.0], 12.0)
    east, north = drift_m(wind_m_s, from_deg, 1.0)
    turns = turns_of(throws, east, north)
    assert turns.drift_m[0] == pytest.approx(min(wind_m_s, 0.35 * 12.0))
    toward = np.degrees(np.arctan2(turns.wind_x[0], turns.wind_y[0]))
    assert np.cos(np.radians(toward - from_deg - 180)) == pytest.approx(1.0)


def test_wind_moves_the_pattern_downwind_and_hardly_the_stream() -> None:
    throws = make_throws([0.0], [0.0], 12.0)
    turns = turns_of(throws, 0.0, 3.0)
    stones = np.asarray(shapely.points([(0, 14.9), (0, -9.1), (0, 15.1), (0, -8.9), (1, 0)]), dtype=object)
    pairs = find_pairs(stones, throws, turns=turns)
    assert pairs.stone_i.tolist() == [0, 3, 4]
    assert pairs.near_m[-1] == pytest.approx(1.0, abs=0.05)


@settings(max_examples=15)
@given(st.integers(0, 10_000), st.floats(0, 360), st.floats(0.5, 4.0))
def test_distances_are_those_on_the_ground_whatever_the_wind(seed: int, from_deg: float, drift: float) -> None:
    footprints, throws = scene(seed)
    turns = turns_of(throws, *drift_m(drift, from_deg, 1.0))
    pairs = find_pairs(footprints, throws, turns=turns, touch_m=1.0)
    assert_same(pairs, reach(footprints, throws, turns=turns, touch_m=1.0))
    heads = shapely.points(throws.x_m[pairs.head_i], throws.y_m[pairs.head_i])
    np.testing.assert_allclose(pairs.distance_m, shapely.distance(heads, footprints[pairs.stone_i]), atol=1e-9)
