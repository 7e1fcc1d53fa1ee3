from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from gravegis.science.irrigation.throw import (
    StripSide,
    Throws,
    bearing_xy,
    cos_deg,
    make_throws,
    sin_deg,
    strip_sides,
    throw_bounds,
    throw_polygons,
)


def one(throw_m: float = 10.0, **more: object) -> Throws:
    return make_throws([0.0], [0.0], throw_m, **more)  # type: ignore[arg-type]


def polygon(throws: Throws, segments: int = 256, *, circumscribed: bool = False) -> shapely.Polygon:
    shape = throw_polygons(throws, segments_per_circle=segments, circumscribed=circumscribed)[0]
    assert isinstance(shape, shapely.Polygon)
    return shape


def holds(shape: shapely.Polygon, x_m: float, y_m: float) -> bool:
    return bool(shapely.intersects_xy(shape, x_m, y_m))


def test_cosine_and_sine_are_exact_at_every_quarter_turn() -> None:
    angles = np.array([-450.0, -360.0, -270.0, -180.0, -90.0, 0.0, 90.0, 180.0, 270.0, 360.0, 810.0])
    assert cos_deg(angles).tolist() == [0, 1, 0, -1, 0, 1, 0, -1, 0, 1, 0]
    assert sin_deg(angles).tolist() == [-1, 0, 1, 0, -1, 0, 1, 0, -1, 0, 1]
    assert not np.signbit(cos_deg(90.0))


@given(st.floats(-720, 720))
def test_cosine_and_sine_agree_with_the_radian_functions(angle_deg: float) -> None:
    assert cos_deg(angle_deg) == pytest.approx(np.cos(np.radians(angle_deg)), abs=1e-14)
    assert sin_deg(angle_deg) == pytest.approx(np.sin(np.radians(angle_deg)), abs=1e-14)


def test_bearings_run_clockwise_from_north() -> None:
    east, north = bearing_xy(np.array([0.0, 90.0, 180.0, 270.0]))
    assert east.tolist() == [0, 1, 0, -1]
    assert north.tolist() == [1, 0, -1, 0]


@pytest.mark.cited("closed form: throw * (1 - cos(180 deg / segments))")
def test_sixteen_pieces_a_quarter_fall_short_of_a_15_m_arc_by_18_mm() -> None:
    circle = polygon(one(15.0), 64)
    rim_m = np.asarray(shapely.distance(circle.exterior, shapely.Point(0, 0)))
    assert 15.0 - rim_m == pytest.approx(0.01807, abs=1e-5)
    assert 1 - circle.area / (np.pi * 15.0**2) == pytest.approx(0.001606, abs=1e-6)


def test_circumscribed_circle_touches_the_arc_from_outside() -> None:
    circle = polygon(one(15.0), 64, circumscribed=True)
    assert shapely.distance(circle.exterior, shapely.Point(0, 0)) == pytest.approx(15.0, abs=1e-12)


@pytest.mark.parametrize("sweep_deg", [1e-6, 0.5, 45.0, 90.0, 179.9, 180.0, 180.1, 270.0, 359.5])
@pytest.mark.parametrize("circumscribed", [False, True])
def test_area_of_a_sector_is_its_share_of_the_circle(sweep_deg: float, circumscribed: bool) -> None:
    sector = polygon(one(10.0, from_deg=33.0, sweep_deg=sweep_deg), 4096, circumscribed=circumscribed)
    assert sector.is_valid
    assert sector.area == pytest.approx(np.pi * 100.0 * sweep_deg / 360.0, rel=1e-6)


@pytest.mark.parametrize(
    ("from_deg", "sweep_deg", "wet", "dry"),
    [
        (0.0, 90.0, [(5, 5), (0, 10), (10, 0)], [(-1, 5), (5, -1), (8, 8)]),
        (90.0, 90.0, [(5, -5), (10, 0), (0, -10)], [(5, 1), (-1, -5)]),
        (270.0, 180.0, [(-5, 5), (5, 5), (-10, 0), (10, 0)], [(0, -1)]),
        (90.0, 270.0, [(5, -5), (-5, -5), (-5, 5), (0, 10)], [(5, 5), (1, 1)]),
        (350.0, 20.0, [(0, 9)], [(3, 9), (-3, 9), (0, -5)]),
    ],
)
def test_sector_turns_clockwise_from_its_bearing(
    from_deg: float, sweep_deg: float, wet: list[tuple[float, float]], dry: list[tuple[float, float]]
) -> None:
    sector = polygon(one(from_deg=from_deg, sweep_deg=sweep_deg), 360)
    assert [holds(sector, *place) for place in wet] == [True] * len(wet)
    assert [holds(sector, *place) for place in dry] == [False] * len(dry)


@pytest.mark.parametrize(
    ("side", "from_deg", "box"),
    [
        ("end", 0.0, (-0.75, 0.0, 0.75, 4.5)),
        ("end", 90.0, (0.0, -0.75, 4.5, 0.75)),
        ("end", 180.0, (-0.75, -4.5, 0.75, 0.0)),
        ("side", 0.0, (-2.25, 0.0, 2.25, 1.5)),
        ("side", 270.0, (-1.5, -2.25, 0.0, 2.25)),
        ("centre", 0.0, (-0.75, -2.25, 0.75, 2.25)),
        ("centre", 90.0, (-2.25, -0.75, 2.25, 0.75)),
    ],
)
def test_strip_lies_where_its_kind_says(side: str, from_deg: float, box: tuple[float, float, float, float]) -> None:
    strip = one(np.nan, from_deg=from_deg, strip_length_m=4.5, strip_width_m=1.5, strip_side=side)
    assert polygon(strip).equals(shapely.box(*box))
    assert throw_bounds(strip)[0].tolist() == list(box)


def test_throw_of_a_strip_is_the_distance_to_its_farthest_corner() -> None:
    strips = make_throws(
        [0.0] * 3, [0.0] * 3, 99.0, strip_length_m=4.0, strip_width_m=3.0, strip_side=["centre", "end", "side"]
    )
    assert strips.throw_m.tolist() == pytest.approx([2.5, np.hypot(4.0, 1.5), np.hypot(3.0, 2.0)])
    assert strips.strip_side.tolist() == [StripSide.CENTRE, StripSide.END, StripSide.SIDE]
    assert [limit.tolist() for limit in strip_sides(strips)] == [
        [-2.0, 0.0, 0.0],
        [2.0, 4.0, 3.0],
        [-1.5, -1.5, -2.0],
        [1.5, 1.5, 2.0],
    ]


@settings(max_examples=60)
@given(st.floats(-400, 800), st.floats(0.001, 360), st.floats(0.1, 60), st.booleans())
def test_box_is_the_smallest_round_the_throw(from_deg: float, sweep: float, throw_m: float, strip: bool) -> None:
    side = {"strip_length_m": throw_m, "strip_width_m": throw_m / 3, "strip_side": "side"} if strip else {}
    throws = one(throw_m, from_deg=from_deg, sweep_deg=sweep, **side)
    chord_m = throw_m * (1 - np.cos(np.pi / 720))
    drawn = np.array(polygon(throws, 720).bounds)
    wider = throw_bounds(throws)[0] - drawn
    assert (wider[:2] <= 1e-9).all()
    assert (wider[2:] >= -1e-9).all()
    assert np.abs(wider).max() <= chord_m + 1e-9


def test_drawn_polygons_keep_the_order_of_the_heads() -> None:
    throws = make_throws(
        [0.0, 100.0, 200.0, 300.0],
        0.0 * np.arange(4),
        5.0,
        sweep_deg=[90.0, 360.0, 360.0, 270.0],
        strip_length_m=[np.nan, np.nan, 3.0, np.nan],
        strip_width_m=[np.nan, np.nan, 1.0, np.nan],
        strip_side=["", "", "centre", ""],
    )
    west_m = shapely.bounds(throw_polygons(throws))[:, 0]
    assert west_m.round(6).tolist() == [0.0, 95.0, 199.5, 295.0]


def test_no_heads_give_no_polygons() -> None:
    throws = make_throws([], [], [])
    assert len(throws) == 0
    assert throw_polygons(throws).shape == (0,)
    assert throw_bounds(throws).shape == (0, 4)


def test_one_value_serves_all_heads_and_nothing_can_be_written() -> None:
    throws = make_throws([1.0, 2.0], 3.0, 4.0)
    assert throws.y_m.tolist() == [3.0, 3.0]
    assert throws.sweep_deg.tolist() == [360.0, 360.0]
    with pytest.raises(ValueError, match="read-only"):
        throws.throw_m[0] = 1.0


def test_sizes_of_zero_mean_no_strip() -> None:
    assert np.isnan(one(5.0, strip_length_m=0.0, strip_width_m=0.0).strip_length_m[0])


def test_a_gap_finer_than_the_arithmetic_is_a_full_circle() -> None:
    throws = make_throws([0.0] * 3, 0.0, 5.0, sweep_deg=[360 - 1e-12, 360 + 1e-12, 360 - 1e-8])
    assert throws.sweep_deg.tolist() == [360.0, 360.0, 360 - 1e-8]


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"throw_m": np.nan}, "head 1: throw_m nan is not a length above 0"),
        ({"throw_m": 0.0}, "head 1: throw_m 0 is not a length above 0"),
        ({"throw_m": -3.0}, "head 1: throw_m -3 is not"),
        ({"throw_m": np.inf}, "head 1: throw_m inf is not"),
        ({"x_m": np.nan}, "head 1: x_m nan is not a number"),
        ({"y_m": np.inf}, "head 1: y_m inf is not a number"),
        ({"from_deg": np.nan}, "head 1: from_deg nan is not a number"),
        ({"sweep_deg": 0.0}, "head 1: sweep_deg 0 is not from 1e-09 to 360"),
        ({"sweep_deg": 361.0}, "head 1: sweep_deg 361 is not"),
        ({"sweep_deg": -90.0}, "head 1: sweep_deg -90 is not"),
        ({"sweep_deg": np.nan}, "head 1: sweep_deg nan is not"),
        ({"strip_side": "end"}, "strip_length_m nan is not a length.*strip_width_m nan is not a length"),
        ({"strip_side": "end", "strip_length_m": 1.0, "strip_width_m": 4.0}, "are the two swapped"),
        ({"strip_length_m": 4.0}, "head 1: strip_length_m 4 has no strip_side"),
        ({"strip_width_m": 4.0}, "head 1: strip_width_m 4 has no strip_side"),
        ({"strip_side": "corner"}, "head 1: strip_side 'corner' is none of centre, end, side"),
    ],
)
def test_unusable_values_are_refused_with_their_row(wrong: dict[str, float | str], words: str) -> None:
    good: dict[str, float | str] = {
        "x_m": 0.0,
        "y_m": 0.0,
        "throw_m": 5.0,
        "from_deg": 0.0,
        "sweep_deg": 90.0,
        "strip_length_m": np.nan,
        "strip_width_m": np.nan,
        "strip_side": "",
    }
    columns = {name: [value, wrong.get(name, value)] for name, value in good.items()}
    with pytest.raises(ValueError, match=words):
        make_throws(**columns)  # type: ignore[arg-type]


def test_all_bad_rows_are_listed_in_one_error() -> None:
    with pytest.raises(ValueError, match=r"head 0: sweep_deg 0 .*head 2: throw_m nan .*head 2: sweep_deg 400"):
        make_throws([0.0] * 3, 0.0, [1.0, 1.0, np.nan], sweep_deg=[0.0, 90.0, 400.0])


def test_columns_of_another_length_are_refused() -> None:
    with pytest.raises(ValueError, match=r"throw_m has shape \(3,\), expected one value or \(2,\)"):
        make_throws([0.0, 1.0], 0.0, [1.0, 2.0, 3.0])
    with pytest.raises(ValueError, match=r"x_m has shape \(\)"):
        make_throws(0.0, 0.0, 5.0)


def test_too_few_segments_are_refused() -> None:
    with pytest.raises(ValueError, match="segments_per_circle is 4"):
        throw_polygons(one(), segments_per_circle=4)
