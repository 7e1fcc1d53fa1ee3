from __future__ import annotations

import math
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import affinity

from gravegis.science.irrigation import reach as module
from gravegis.science.irrigation.reach import (
    Pairs,
    near_heads,
    nearest_margin,
    reach,
    stones_by_band,
)
from gravegis.science.irrigation.throw import Throws, bearing_xy, make_throws, throw_polygons

Floats = npt.NDArray[np.float64]
Geometries = npt.NDArray[np.object_]
SEEDS = st.integers(0, 10_000)


def geometries(*shapes: shapely.Geometry | None) -> Geometries:
    array = np.empty(len(shapes), dtype=object)
    array[:] = shapes
    return array


def scene(seed: int, *, stones: int = 200, heads: int = 12, side_m: float = 60.0) -> tuple[Geometries, Throws]:
    """Turned slabs and points on a 1/1024 m grid, so that whole-metre shifts are exact, and mixed heads."""
    rng = np.random.default_rng(seed)
    half = rng.uniform(0.1, 1.5, (stones, 1, 2)) * [1.0, 0.4]
    turn = rng.uniform(0, 2 * np.pi, stones)
    corners = half * np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)])
    matrix = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]]).transpose(2, 0, 1)
    corners = corners @ matrix + rng.uniform(0, side_m, (stones, 1, 2))
    footprints = np.asarray(shapely.polygons(np.round(corners * 1024) / 1024), dtype=object)
    footprints[::5] = shapely.points(np.round(corners[::5, 0] * 1024) / 1024)
    strip = rng.random(heads) < 0.2
    throws = make_throws(
        np.round(rng.uniform(0, side_m, heads) * 1024) / 1024,
        np.round(rng.uniform(0, side_m, heads) * 1024) / 1024,
        rng.uniform(5, 15, heads),
        from_deg=np.round(rng.uniform(0, 360, heads) * 4) / 4,
        sweep_deg=random_turns(rng, heads),
        strip_length_m=np.where(strip, 9.0, np.nan),
        strip_width_m=np.where(strip, 1.5, np.nan),
        strip_side=np.where(strip, rng.choice(["centre", "end", "side"], heads), ""),
    )
    return footprints, throws


def random_turns(rng: np.random.Generator, heads: int) -> Floats:
    turns = rng.choice([90.0, 180.0, 183.0, 270.0, 360.0, 0.0], heads)
    return np.where(turns == 0, rng.uniform(1, 360, heads), turns)


def changed(throws: Throws, **columns: npt.ArrayLike) -> Throws:
    kept: dict[str, Any] = {
        name: getattr(throws, name)
        for name in ("x_m", "y_m", "throw_m", "from_deg", "sweep_deg", "strip_length_m", "strip_width_m")
    }
    words = np.array(["", "centre", "end", "side"])[throws.strip_side]
    return make_throws(**(kept | {"strip_side": words} | columns))


def keys(pairs: Pairs, throws: Throws) -> npt.NDArray[np.int64]:
    return pairs.stone_i * len(throws) + pairs.head_i


def drawn_keys(footprints: Geometries, throws: Throws, *, circumscribed: bool) -> npt.NDArray[np.int64]:
    shapes = throw_polygons(throws, segments_per_circle=4096, circumscribed=circumscribed)
    head_i, stone_i = shapely.STRtree(footprints).query(shapes, predicate="intersects")
    return np.sort(stone_i * len(throws) + head_i)


def margin_of(footprint: shapely.Geometry, throws: Throws, **more: Any) -> float:
    """Margin of one stone, reached or not."""
    stones = geometries(footprint)
    return float(nearest_margin(stones, throws, reach(stones, throws, **more), **more)[0][0])


def places_of(throws: Throws) -> Geometries:
    return np.asarray(shapely.points(throws.x_m, throws.y_m), dtype=object)


def head(throw_m: float = 10.0, from_deg: float = 0.0, sweep_deg: float = 360.0, **strip: Any) -> Throws:
    return make_throws([0.0], [0.0], throw_m, from_deg=from_deg, sweep_deg=sweep_deg, **strip)


def is_reached(footprint: shapely.Geometry, throws: Throws) -> bool:
    return len(reach(geometries(footprint), throws)) == 1


# --- exact arcs, against polygons of many segments ---


@pytest.mark.parametrize("as_points", [False, True])
def test_pairs_lie_between_polygons_drawn_inside_and_outside_the_arc(as_points: bool) -> None:
    footprints, _ = scene(1, stones=10_000, side_m=150.0)
    if as_points:
        footprints = np.asarray(shapely.centroid(footprints), dtype=object)
    rng = np.random.default_rng(2)
    throws = make_throws(
        rng.uniform(0, 150, 500),
        rng.uniform(0, 150, 500),
        rng.uniform(5, 15, 500),
        from_deg=np.where(rng.random(500) < 0.3, rng.choice([0.0, 90.0, 180.0, 270.0], 500), rng.uniform(0, 360, 500)),
        sweep_deg=random_turns(rng, 500),
    )
    pairs = reach(footprints, throws)
    found = keys(pairs, throws)
    inner = drawn_keys(footprints, throws, circumscribed=False)
    outer = drawn_keys(footprints, throws, circumscribed=True)
    assert len(inner) > 10_000
    assert np.setdiff1d(inner, found).size == 0
    assert np.setdiff1d(found, outer).size == 0
    assert (np.diff(found) > 0).all()  # sorted by stone, then head; no pair twice


def test_concave_holed_and_many_part_footprints_lie_between_the_drawn_polygons() -> None:
    rng = np.random.default_rng(3)
    ring = shapely.Point(0, 0).buffer(6).difference(shapely.Point(0, 0).buffer(5))
    hook = shapely.Polygon([(0, 0), (8, 0), (8, 6), (6, 6), (6, 2), (0, 2)])
    islands = shapely.MultiPolygon([shapely.box(0, 0, 1, 1), shapely.box(7, 0, 8, 1), shapely.box(3, 9, 4, 9.5)])
    dots = shapely.MultiPoint([(0, 0), (9, 3), (2, 11)])
    footprints = geometries(
        *(
            affinity.translate(affinity.rotate(shape, float(rng.uniform(0, 360))), *rng.uniform(0, 80, 2))
            for shape in (ring, hook, islands, dots)
            for _ in range(100)
        )
    )
    throws = make_throws(
        rng.uniform(0, 80, 200),
        rng.uniform(0, 80, 200),
        rng.uniform(1, 15, 200),
        from_deg=rng.uniform(0, 360, 200),
        sweep_deg=random_turns(rng, 200),
    )
    found = keys(reach(footprints, throws), throws)
    assert len(found) > 1_000
    assert np.setdiff1d(drawn_keys(footprints, throws, circumscribed=False), found).size == 0
    assert np.setdiff1d(found, drawn_keys(footprints, throws, circumscribed=True)).size == 0


def test_strips_reach_what_their_rectangles_meet() -> None:
    footprints, throws = scene(4, stones=2_000, heads=60)
    strips = changed(throws, strip_length_m=9.0, strip_width_m=1.5, strip_side=["centre", "end", "side"] * 20)
    found = keys(reach(footprints, strips), strips)
    assert len(found) > 100
    assert found.tolist() == drawn_keys(footprints, strips, circumscribed=False).tolist()


def test_working_in_small_portions_changes_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    footprints, throws = scene(5)
    whole = reach(footprints, throws)
    monkeypatch.setattr(module, "_EDGES_AT_ONCE", 7)
    parts = reach(footprints, throws)
    assert parts.stone_i.tolist() == whole.stone_i.tolist()
    assert parts.margin_m.tolist() == whole.margin_m.tolist()


# --- touch ---

QUARTER = make_throws([50.0], [50.0], 10.0, from_deg=0.0, sweep_deg=90.0)


@pytest.mark.cited("plane geometry: the tip of the quarter circle is (60, 50)")
def test_stone_touching_the_tip_of_the_throw_is_reached_and_a_micron_off_it_is_dry() -> None:
    assert is_reached(shapely.box(60, 50, 60.6, 50.3), QUARTER)
    assert not is_reached(shapely.box(60 + 1e-6, 50, 60.6, 50.3), QUARTER)


@pytest.mark.cited("plane geometry: the start of the turn is the line x = 50")
def test_stone_touching_the_start_of_the_turn_is_reached_and_a_micron_off_it_is_dry() -> None:
    assert is_reached(shapely.box(49.4, 55, 50, 55.3), QUARTER)
    assert not is_reached(shapely.box(49.4, 55, 50 - 1e-6, 55.3), QUARTER)


@pytest.mark.cited("plane geometry")
def test_stone_crossing_the_throw_without_a_corner_in_it_is_reached() -> None:
    assert is_reached(shapely.Polygon([(45, 52), (45.3, 51.9), (56, 53), (55.7, 53.2)]), QUARTER)


@pytest.mark.cited("plane geometry: the head itself is wet ground")
@pytest.mark.parametrize("sweep_deg", [1e-6, 1.0, 90.0, 180.0, 270.0, 359.0, 360.0])
def test_stone_around_the_head_is_reached_by_any_turn(sweep_deg: float) -> None:
    pairs = reach(geometries(shapely.box(-100, -100, 100, 100)), head(sweep_deg=sweep_deg))
    assert pairs.distance_m.tolist() == [0.0]
    assert pairs.margin_m.tolist() == [10.0]


@settings(max_examples=100)
@given(
    st.sampled_from([0.0, 90.0, 180.0, 270.0]) | st.floats(0, 360),
    st.sampled_from([90.0, 180.0, 270.0]) | st.floats(5, 355),
    st.floats(0.5, 9.5),
    st.booleans(),
    st.sampled_from([(0.0, 0.0), (412_345.25, 5_712_345.5)]),
)
def test_touch_holds_within_its_tolerance_at_any_bearing(
    from_deg: float, sweep_deg: float, out_m: float, at_start: bool, place_m: tuple[float, float]
) -> None:
    throws = make_throws([place_m[0]], [place_m[1]], 10.0, from_deg=from_deg, sweep_deg=sweep_deg)
    bearing_deg = from_deg if at_start else from_deg + sweep_deg
    (east,), (north,) = bearing_xy(np.array([bearing_deg]))
    outward = (-north, east) if at_start else (north, -east)
    for off_m, expected in ((5e-8, True), (1e-6, False)):
        stone = shapely.Point(
            place_m[0] + out_m * east + off_m * outward[0], place_m[1] + out_m * north + off_m * outward[1]
        )
        # with a narrow dry gap the other stop must be farther off than the touch tolerance
        assert is_reached(stone, throws) is expected
    # beyond the tip, along the ray
    for off_m, expected in ((5e-8, True), (1e-6, False)):
        stone = shapely.Point(place_m[0] + (10 + off_m) * east, place_m[1] + (10 + off_m) * north)
        assert is_reached(stone, throws) is expected


def test_margin_of_a_stone_within_the_touch_tolerance_is_the_small_gap() -> None:
    pairs = reach(geometries(shapely.Point(10 + 5e-8, 0)), head())
    assert pairs.margin_m[0] == pytest.approx(-5e-8, abs=1e-14)


def test_wider_touch_takes_in_nearby_stones() -> None:
    stones = geometries(shapely.Point(10.5, 0), shapely.Point(-0.5, 3))
    assert len(reach(stones, head(sweep_deg=90.0))) == 0
    assert reach(stones, head(sweep_deg=90.0), touch_m=0.5).margin_m.tolist() == pytest.approx([-0.5, -0.5])


# --- margin, by hand ---


@pytest.mark.parametrize(
    ("footprint", "margin_m"),
    [
        (shapely.box(7, -1, 8, 1), 3.0),
        (shapely.box(12, -1, 13, 1), -2.0),
        (shapely.Point(6, 8), 0.0),
        (shapely.Point(9, 12), -5.0),
        (shapely.box(-1, -1, 1, 1), 10.0),
        (shapely.box(-50, 3, 50, 4), 7.0),
        (shapely.box(-50, -50, 50, 50), 10.0),
    ],
)
def test_margin_of_a_full_circle(footprint: shapely.Geometry, margin_m: float) -> None:
    assert margin_of(footprint, head()) == pytest.approx(margin_m, abs=1e-12)


@pytest.mark.parametrize(
    ("footprint", "margin_m"),
    [
        (shapely.Point(3, 4), 3.0),  # 3 from the start, 4 from the end, 5 from the arc
        (shapely.Point(7.2, 5.4), 1.0),  # the arc
        (shapely.box(1, 1, 2, 3), 2.0),  # must pass the start by its width
        (shapely.box(-1, -1, 1, 1), 1.0),  # around the head
        (shapely.Point(-3, 4), -3.0),  # beside the start
        (shapely.Point(3, -4), -4.0),  # beside the end
        (shapely.Point(-3, -4), -5.0),  # behind the head
        (shapely.Point(9, 12), -5.0),  # beyond the arc
        (shapely.Point(-3, 14), -5.0),  # past the end of the arc: to its tip (0, 10)
        (shapely.box(-9, 14, -3, 20), -5.0),  # a corner past it
        (shapely.Polygon([(-2, 10), (0, 12), (-2, 12)]), -math.sqrt(2)),  # an edge past it
        (shapely.box(0.5, -5, 1, -2), -2.0),
        (shapely.Polygon([(-5, 2), (2, -5), (-5, -5)]), -3 / math.sqrt(2)),  # an edge round the head
        (shapely.box(-40, -40, 40, 40), 10.0),  # around the head, throw and all
        (shapely.Polygon([(0, 3), (-2, 4), (-2, 2)]), 0.0),  # a corner on the start
        (shapely.box(-6, 10.5, 6, 11), -0.5),  # edge beyond the arc, corners out of the turn
    ],
)
def test_margin_of_a_quarter_circle(footprint: shapely.Geometry, margin_m: float) -> None:
    assert margin_of(footprint, head(sweep_deg=90.0)) == pytest.approx(margin_m, abs=1e-12)


@pytest.mark.parametrize(
    ("footprint", "margin_m"),
    [
        (shapely.Point(3, 4), -3.0),  # in the gap
        (shapely.Point(4, 3), -3.0),
        (shapely.box(2, 3, 20, 20), -2.0),
        (shapely.Point(-3, 4), 3.0),  # wet, 3 from the gap
        (shapely.Point(-3, -4), 5.0),  # the gap begins at the head, 5 away
        (shapely.Point(-4.8, -6.4), 2.0),  # the arc
        (shapely.box(-1, 2, 3, 3), 1.0),  # half in the gap
        (shapely.Polygon([(-1, 3), (4, -2), (5, -2), (5, 4), (-1, 4)]), 2.0),  # both stops; (4, -2) is 2 deep
        (shapely.Point(3, 14), -5.0),  # tip of the end of the turn
        (shapely.Polygon([(-9, 9.5), (9, 6.5), (9, 12), (-9, 12)]), 2.0),  # nearest wet point (0, 8)
        (shapely.Polygon([(-9, 12), (9, 12), (9, 6.5), (-9, 9.5)]), 2.0),
        (shapely.Polygon([(9.5, -9), (6.5, 9), (12, 9), (12, -9)]), 2.0),  # nearest wet point (8, 0)
        (shapely.Polygon([(12, -9), (12, 9), (6.5, 9), (9.5, -9)]), 2.0),
        (shapely.Polygon([(0, 3), (2, 4), (2, 2)]), 0.0),  # a corner on the end, all else in the gap
        (shapely.Polygon([(3, 0), (2, 2), (4, 2)]), 0.0),
    ],
)
def test_margin_of_a_three_quarter_circle(footprint: shapely.Geometry, margin_m: float) -> None:
    assert margin_of(footprint, head(from_deg=90.0, sweep_deg=270.0)) == pytest.approx(margin_m, abs=1e-12)


@pytest.mark.parametrize(
    ("side", "footprint", "margin_m"),
    [
        ("end", shapely.Point(4, 0), 0.5),
        ("end", shapely.Point(2, 0.5), 0.25),
        ("end", shapely.Point(2, -0.5), 0.25),
        ("end", shapely.Point(0.125, 0), 0.125),
        ("end", shapely.Point(6.5, 0), -2.0),
        ("end", shapely.Point(-3, 4.75), -5.0),
        ("end", shapely.box(1, 1, 2, 2), -0.25),
        ("end", shapely.box(1, 0, 2, 2), 0.75),
        ("end", shapely.box(-9, -9, 9, 9), 9.0),
        ("side", shapely.Point(1, -1), 0.5),
        ("side", shapely.Point(0.25, 2.0), 0.25),
        ("side", shapely.Point(1.5, 3.25), -1.0),
        ("centre", shapely.Point(-2, 0), 0.25),
        ("centre", shapely.Point(0, 0), 0.75),
        ("centre", shapely.Point(0, -1.75), -1.0),
    ],
)
def test_margin_of_a_strip_pointing_east(side: str, footprint: shapely.Geometry, margin_m: float) -> None:
    strip = head(from_deg=90.0, strip_length_m=4.5, strip_width_m=1.5, strip_side=side)
    assert margin_of(footprint, strip) == pytest.approx(margin_m, abs=1e-12)


def test_head_in_the_hole_of_a_footprint_reaches_only_as_far_as_it_throws() -> None:
    kerb = shapely.box(-6, -6, 6, 6).difference(shapely.box(-5, -5, 5, 5))
    assert margin_of(kerb, head(3.0)) == pytest.approx(-2.0)
    assert margin_of(kerb, head(3.0, sweep_deg=90.0)) == pytest.approx(-2.0)
    assert margin_of(kerb, head(5.5)) == pytest.approx(0.5)
    assert near_heads(geometries(kerb), head(3.0))[0].tolist() == [5.0]


def test_dry_margins_agree_with_distances_to_drawn_polygons() -> None:
    footprints, throws = scene(6, stones=1_500, heads=25, side_m=120.0)
    margin_m, head_i = nearest_margin(footprints, throws, reach(footprints, throws))
    dry = np.flatnonzero(margin_m < 0)
    shapes = throw_polygons(throws, segments_per_circle=4096)
    drawn_m = np.asarray(shapely.distance(footprints[dry, None], shapes[None, :]))
    chord_m = 15.0 * (1 - math.cos(math.pi / 4096))
    assert len(dry) > 200
    assert np.abs(-margin_m[dry] - drawn_m.min(axis=1)).max() <= chord_m + 1e-9
    assert np.abs(-margin_m[dry] - drawn_m[np.arange(len(dry)), head_i[dry]]).max() <= chord_m + 1e-9


def far_sector(throws: Throws, row: int, *, from_deg: float, sweep_deg: float) -> shapely.Geometry:
    """Sector of 1 km, so that within the scene only its two straight sides matter."""
    at = throws.x_m[[row]], throws.y_m[[row]]
    shape = throw_polygons(make_throws(*at, 1_000.0, from_deg=from_deg, sweep_deg=sweep_deg))[0]
    assert isinstance(shape, shapely.Polygon)
    return shape


def plain_retreat_m(footprint: shapely.Geometry, throws: Throws, row: int) -> float:
    """Least retreat, in plain words: cut the footprint by the turn, measure, then look at every corner."""
    x_m, y_m = float(throws.x_m[row]), float(throws.y_m[row])
    start_deg, sweep_deg = float(throws.from_deg[row]), float(throws.sweep_deg[row])
    end_deg = start_deg + sweep_deg
    turn = far_sector(throws, row, from_deg=start_deg, sweep_deg=sweep_deg)
    near_m = shapely.distance(shapely.intersection(footprint, turn), shapely.Point(x_m, y_m))
    arc_m = float(throws.throw_m[row]) - float(near_m)
    corners: list[list[float]] = (shapely.get_coordinates(footprint) - [x_m, y_m]).tolist()
    if sweep_deg == 360:
        return arc_m
    if sweep_deg > 180:
        gap = far_sector(throws, row, from_deg=end_deg, sweep_deg=360 - sweep_deg)
        return min(arc_m, max(float(shapely.distance(shapely.Point(x + x_m, y + y_m), gap)) for x, y in corners))
    to_right = math.radians(start_deg + 90), math.radians(end_deg + 90)
    start_m = max(x * math.sin(to_right[0]) + y * math.cos(to_right[0]) for x, y in corners)
    end_m = max(-x * math.sin(to_right[1]) - y * math.cos(to_right[1]) for x, y in corners)
    return min(arc_m, start_m, end_m)


def test_margins_of_reached_stones_agree_with_a_plain_reckoning() -> None:
    footprints, throws = scene(7, stones=400, heads=30)
    throws = changed(throws, strip_length_m=np.nan, strip_width_m=np.nan, strip_side="")
    pairs = reach(footprints, throws)
    assert len(pairs) > 500
    plain_m = [plain_retreat_m(footprints[s], throws, h) for s, h in zip(pairs.stone_i, pairs.head_i, strict=True)]
    np.testing.assert_allclose(pairs.margin_m, plain_m, atol=1e-9)


def test_distances_are_those_from_head_to_footprint() -> None:
    footprints, throws = scene(8)
    pairs = reach(footprints, throws)
    plain_m = shapely.distance(footprints[pairs.stone_i], places_of(throws)[pairs.head_i])
    np.testing.assert_allclose(pairs.distance_m, plain_m, atol=1e-12)


# --- what must stay the same, and what must grow ---


@settings(max_examples=25)
@given(SEEDS, st.integers(-1_000_000, 1_000_000), st.integers(-9_000_000, 9_000_000))
def test_shift_by_whole_metres_changes_nothing(seed: int, east_m: int, north_m: int) -> None:
    footprints, throws = scene(seed)
    moved = shapely.transform(footprints, lambda xy: xy + np.array([east_m, north_m]))
    there = changed(throws, x_m=throws.x_m + east_m, y_m=throws.y_m + north_m)
    before, after = reach(footprints, throws), reach(moved, there)
    assert keys(after, there).tolist() == keys(before, throws).tolist()
    np.testing.assert_allclose(after.margin_m, before.margin_m, atol=1e-8)
    margin_m, head_i = nearest_margin(footprints, throws, before)
    moved_margin_m, moved_head_i = nearest_margin(moved, there, after)
    np.testing.assert_allclose(moved_margin_m, margin_m, atol=1e-8)
    assert moved_head_i.tolist() == head_i.tolist()


@settings(max_examples=25)
@given(SEEDS)
def test_quarter_turn_of_everything_changes_nothing(seed: int) -> None:
    footprints, throws = scene(seed)
    turned = shapely.transform(footprints, lambda xy: np.stack([xy[:, 1], -xy[:, 0]], axis=1))
    there = changed(throws, x_m=throws.y_m, y_m=-throws.x_m, from_deg=throws.from_deg + 90)
    before, after = reach(footprints, throws), reach(turned, there)
    assert keys(after, there).tolist() == keys(before, throws).tolist()
    np.testing.assert_allclose(after.margin_m, before.margin_m, atol=1e-9)


@settings(max_examples=25)
@given(SEEDS, st.floats(0, 5))
def test_longer_throw_never_reaches_fewer(seed: int, more_m: float) -> None:
    footprints, throws = scene(seed)
    wider = changed(throws, throw_m=throws.throw_m + more_m)
    assert np.isin(keys(reach(footprints, throws), throws), keys(reach(footprints, wider), wider)).all()


@settings(max_examples=25)
@given(SEEDS, st.floats(0, 90))
def test_wider_turn_never_reaches_fewer(seed: int, more_deg: float) -> None:
    footprints, throws = scene(seed)
    wider = changed(throws, sweep_deg=np.minimum(360.0, throws.sweep_deg + more_deg))
    assert np.isin(keys(reach(footprints, throws), throws), keys(reach(footprints, wider), wider)).all()


@settings(max_examples=25)
@given(SEEDS, st.floats(0, 5))
def test_margin_of_a_single_full_circle_grows_as_its_throw(seed: int, more_m: float) -> None:
    footprints, throws = scene(seed, heads=1)
    circle = make_throws(throws.x_m, throws.y_m, 8.0)
    wider = make_throws(throws.x_m, throws.y_m, 8.0 + more_m)
    before_m, _ = nearest_margin(footprints, circle, reach(footprints, circle))
    after_m, _ = nearest_margin(footprints, wider, reach(footprints, wider))
    np.testing.assert_allclose(after_m - before_m, more_m, atol=1e-12)


@settings(max_examples=25)
@given(SEEDS)
def test_order_of_stones_and_heads_does_not_matter(seed: int) -> None:
    footprints, throws = scene(seed)
    rng = np.random.default_rng(seed)
    stone_order, head_order = rng.permutation(len(footprints)), rng.permutation(len(throws))
    words = np.array(["", "centre", "end", "side"])[throws.strip_side[head_order]]
    columns: dict[str, Any] = {
        name: getattr(throws, name)[head_order]
        for name in ("x_m", "y_m", "throw_m", "from_deg", "sweep_deg", "strip_length_m", "strip_width_m")
    }
    plain = reach(footprints, throws)
    mixed = reach(footprints[stone_order], changed(throws, **columns, strip_side=words))
    found = zip(stone_order[mixed.stone_i], head_order[mixed.head_i], mixed.margin_m, strict=True)
    assert sorted(found) == list(zip(plain.stone_i, plain.head_i, plain.margin_m, strict=True))


@settings(max_examples=25)
@given(SEEDS, st.floats(0, 360))
def test_four_quarters_reach_what_the_circle_reaches(seed: int, from_deg: float) -> None:
    footprints, throws = scene(seed)
    arcs: dict[str, Any] = {"strip_length_m": np.nan, "strip_width_m": np.nan, "strip_side": ""}
    circle = keys(reach(footprints, changed(throws, sweep_deg=360.0, **arcs)), throws)
    quarters = [
        keys(reach(footprints, changed(throws, from_deg=from_deg + start, sweep_deg=90.0, **arcs)), throws)
        for start in (0, 90, 180, 270)
    ]
    assert np.unique(np.concatenate(quarters)).tolist() == circle.tolist()


@settings(max_examples=25)
@given(SEEDS)
def test_margin_and_reached_never_disagree(seed: int) -> None:
    footprints, throws = scene(seed)
    pairs = reach(footprints, throws)
    margin_m, _ = nearest_margin(footprints, throws, pairs)
    assert (pairs.margin_m >= -module.TOUCH_M).all()
    assert np.flatnonzero(margin_m >= -module.TOUCH_M).tolist() == np.unique(pairs.stone_i).tolist()


def test_turning_one_head_changes_only_its_own_pairs_and_as_drawn() -> None:
    footprints, throws = scene(9, stones=3_000)
    quarters = changed(throws, sweep_deg=90.0, strip_length_m=np.nan, strip_width_m=np.nan, strip_side="")
    turned_deg = quarters.from_deg.copy()
    turned_deg[4] += 90
    turned = changed(quarters, from_deg=turned_deg)
    before, after = (set(keys(reach(footprints, each), each).tolist()) for each in (quarters, turned))
    drawn_before, drawn_after = (
        set(drawn_keys(footprints, each, circumscribed=False).tolist()) for each in (quarters, turned)
    )
    assert before - after == drawn_before - drawn_after
    assert after - before == drawn_after - drawn_before
    assert len(after ^ before) > 20
    assert {key % len(throws) for key in before ^ after} == {4}


# --- surveyed outlines ---


def test_surveyed_outline_wins_over_the_throw() -> None:
    throws = make_throws([0.0, 100.0], 0.0, 10.0)
    stones = geometries(shapely.Point(5, 0), shapely.Point(23, 2), shapely.Point(105, 0))
    outlines = {0: shapely.box(20, 0, 30, 10)}
    pairs = reach(stones, throws, outlines=outlines)
    assert list(zip(pairs.stone_i, pairs.head_i, strict=True)) == [(1, 0), (2, 1)]
    assert pairs.margin_m.tolist() == [2.0, 5.0]
    assert pairs.distance_m[0] == pytest.approx(math.hypot(23, 2))
    margin_m, head_i = nearest_margin(stones, throws, pairs, outlines=outlines)
    assert margin_m.tolist() == [-15.0, 2.0, 5.0]
    assert head_i.tolist() == [0, 0, 1]


def test_outline_margin_is_the_depth_of_the_deepest_corner() -> None:
    outlines = {0: shapely.box(0, 0, 10, 10)}
    assert margin_of(shapely.box(1, 3, 4, 20), head(), outlines=outlines) == pytest.approx(3.0)
    assert margin_of(shapely.box(-5, -5, 20, 20), head(), outlines=outlines) == 0.0
    assert margin_of(shapely.box(10, 3, 12, 4), head(), outlines=outlines) == 0.0
    assert margin_of(shapely.box(10.5, 3, 12, 4), head(), outlines=outlines) == pytest.approx(-0.5)
    holed = {0: shapely.box(0, 0, 10, 10).difference(shapely.box(4, 4, 6, 6))}
    assert margin_of(shapely.Point(5, 5), head(), outlines=holed) == pytest.approx(-1.0)


def test_outline_of_a_strip_wins_too() -> None:
    strip = head(strip_length_m=4.5, strip_width_m=1.5, strip_side="end")
    assert margin_of(shapely.Point(0, 2), strip, outlines={0: shapely.box(5, 0, 6, 2)}) == -5.0


# --- nearest throw and head ---


def test_nearest_margin_is_the_best_over_all_heads() -> None:
    footprints, throws = scene(10, stones=300, heads=15, side_m=100.0)
    alone_m = np.stack(
        [
            nearest_margin(footprints, one, reach(footprints, one))[0]
            for one in (
                Throws(*(getattr(throws, name)[[row]] for name in Throws.__dataclass_fields__))
                for row in range(len(throws))
            )
        ]
    )
    margin_m, head_i = nearest_margin(footprints, throws, reach(footprints, throws))
    assert margin_m.tolist() == alone_m.max(axis=0).tolist()
    assert head_i.tolist() == alone_m.argmax(axis=0).tolist()


def test_nearest_throw_is_told_apart_from_one_whose_drawn_chord_is_nearer() -> None:
    # the first head's arc is 1 m away midway between corners of its 64-sided drawing, the second's 1.01 m
    east, north = 16 * math.sin(math.radians(2.8125)), 16 * math.cos(math.radians(2.8125))
    throws = make_throws([0.0, east], [0.0, north + 16.01], 15.0)
    stones = geometries(shapely.Point(east, north))
    margin_m, head_i = nearest_margin(stones, throws, reach(stones, throws))
    assert margin_m[0] == pytest.approx(-1.0, abs=1e-12)
    assert head_i.tolist() == [0]


def bar_across(bearing_deg: float) -> shapely.Geometry:
    """Bar of 2 m, its near face 6 m from the head and square to the bearing."""
    return affinity.rotate(shapely.box(-1, 6, 1, 6.2), -bearing_deg, origin=(0, 0))


@pytest.mark.parametrize("sweep_deg", [1e-8, 1e-6, 1e-3])
def test_very_narrow_turn_wets_what_stands_across_it_and_nothing_behind(sweep_deg: float) -> None:
    throws = head(from_deg=33.0, sweep_deg=sweep_deg)
    assert margin_of(bar_across(33.0), throws) == pytest.approx(1.0, abs=2e-4)
    assert margin_of(bar_across(213.0), throws) == pytest.approx(-6.0, abs=1e-12)


@pytest.mark.parametrize("gap_deg", [1e-8, 1e-6, 1e-3])
def test_very_narrow_gap_leaves_dry_only_what_fits_into_it(gap_deg: float) -> None:
    throws = head(from_deg=33.0, sweep_deg=360 - gap_deg)
    middle_deg = 33.0 - gap_deg / 2
    assert margin_of(bar_across(middle_deg), throws) == pytest.approx(1.0, abs=2e-4)
    assert margin_of(bar_across(213.0), throws) == pytest.approx(4.0, abs=1e-12)
    (east,), (north,) = bearing_xy(np.array([middle_deg]))
    half_m = 6 * math.sin(math.radians(gap_deg / 2))
    assert margin_of(shapely.Point(6 * east, 6 * north), throws) == pytest.approx(-half_m, abs=1e-13)


def test_nearest_head_is_found_and_the_first_of_equals_kept() -> None:
    throws = make_throws([0.0, 10.0, 10.0], 0.0, 5.0, sweep_deg=10.0)
    stones = geometries(shapely.box(2, -1, 3, 1), shapely.Point(10, 4), shapely.box(-1, -1, 1, 1))
    distance_m, head_i = near_heads(stones, throws)
    assert distance_m.tolist() == [2.0, 4.0, 0.0]
    assert head_i.tolist() == [0, 1, 0]
    distance_m, head_i = near_heads(stones, throws, within_m=3.0)
    assert head_i.tolist() == [0, -1, 0]
    assert np.isnan(distance_m[1])


def test_nearest_heads_agree_with_all_distances() -> None:
    footprints, throws = scene(11)
    all_m = np.asarray(shapely.distance(footprints[:, None], places_of(throws)[None, :]))
    distance_m, head_i = near_heads(footprints, throws)
    np.testing.assert_allclose(distance_m, all_m.min(axis=1), atol=1e-12)
    assert head_i.tolist() == all_m.argmin(axis=1).tolist()


def test_bands_count_the_stones_a_head_reaches() -> None:
    stones = geometries(*(shapely.Point(x, 0) for x in (0.0, 2.0, 2.1, 5.0, 5.1, 10.0, 10.1)))
    throws = make_throws([0.0, 0.0, 50.0], 0.0, [10.0, 3.0, 10.0])
    pairs = reach(stones, throws)
    assert stones_by_band(pairs, throws).tolist() == [[2, 2, 2], [2, 0, 1], [0, 0, 0]]
    assert stones_by_band(pairs, throws, near_m=0.0).tolist()[0] == [1, 3, 2]


# --- empty and hostile ---


@pytest.mark.parametrize(("stones", "heads"), [(0, 3), (3, 0), (0, 0)])
def test_no_stones_or_no_heads_give_empty_results_of_the_right_kind(stones: int, heads: int) -> None:
    footprints = geometries(*(shapely.Point(row, 0) for row in range(stones)))
    throws = make_throws(np.zeros(heads), 0.0, 0.5)
    pairs = reach(footprints, throws)
    margin_m, head_i = nearest_margin(footprints, throws, pairs)
    distance_m, near_i = near_heads(footprints, throws)
    assert len(pairs) == 0
    assert [array.dtype.kind for array in (pairs.stone_i, pairs.head_i)] == ["i", "i"]
    assert [array.dtype.kind for array in (pairs.distance_m, pairs.margin_m)] == ["f", "f"]
    assert margin_m.shape == distance_m.shape == head_i.shape == near_i.shape == (stones,)
    assert np.isnan(margin_m).all()
    assert np.isnan(distance_m).all()
    assert (head_i == -1).all()
    assert (near_i == -1).all()
    assert stones_by_band(pairs, throws).shape == (heads, 3)


@pytest.mark.parametrize(
    ("bad", "words"),
    [
        (None, "Missing or empty footprints in rows 1"),
        (shapely.Point(), "Missing or empty footprints in rows 1"),
        (shapely.Polygon(), "Missing or empty footprints in rows 1"),
        (shapely.LineString([(0, 0), (1, 1)]), "rows 1 are neither points nor polygons"),
        (shapely.GeometryCollection([shapely.LineString([(0, 0), (1, 1)])]), "rows 1 are neither"),
        (shapely.Polygon([(0, 0), (1, 0), (np.inf, 1)]), "rows 1 have coordinates without a number"),
    ],
)
def test_unsuitable_footprints_are_refused_with_their_row(bad: shapely.Geometry | None, words: str) -> None:
    stones = geometries(shapely.Point(0, 0), bad)
    for ask in (reach, near_heads):
        with pytest.raises(ValueError, match=words):
            ask(stones, head())


def test_unsuitable_outlines_are_refused_with_their_head() -> None:
    outlines = {0: shapely.Polygon(), 3: shapely.box(0, 0, 1, 1)}
    with pytest.raises(ValueError, match=r"outline of head 0: expected a polygon.*outline of head 3: there are 1"):
        reach(geometries(shapely.Point(0, 0)), head(), outlines=outlines)


@pytest.mark.parametrize("touch_m", [-1e-9, np.nan, np.inf])
def test_touch_below_zero_or_no_number_is_refused(touch_m: float) -> None:
    with pytest.raises(ValueError, match="touch_m is"):
        reach(geometries(shapely.Point(0, 0)), head(), touch_m=touch_m)
