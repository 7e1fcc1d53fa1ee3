from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gravegis.layers.read.angles import has_marks, parse_angle

DEG, MIN = 1.0, 1 / 60


@pytest.mark.parametrize(
    ("text", "axis", "degrees"),
    [
        ("44°03'00.5\"N", "lat", 44 + 3 / 60 + 0.5 / 3600),
        ("121°19'48.0\"W", "lon", -(121 + 19 / 60 + 48 / 3600)),
        ("44 03 00.6 N", "lat", 44 + 3 / 60 + 0.6 / 3600),
        ("N44° 3.0117'", "lat", 44 + 3.0117 / 60),
        ("W121° 19.7967'", "lon", -(121 + 19.7967 / 60)),
        ("44.050197", "lat", 44.050197),
        ("44,050197", "lat", 44.050197),
        ("44º03′00,9″ N", "lat", 44 + 3 / 60 + 0.9 / 3600),
        ("-121:19:47.5", "lon", -(121 + 19 / 60 + 47.5 / 3600)),
        ("-0 30 00", "lat", -0.5),
        ("0 15 00", "lon", 0.25),
        ("121 W", "lon", -121.0),
        ("s 33.5", "lat", -33.5),
    ],
)
def test_spellings_with_one_right_answer_are_read(text: str, axis: str, degrees: float) -> None:
    assert parse_angle(text, axis) == pytest.approx(degrees, abs=1e-12)


@pytest.mark.parametrize(
    ("text", "axis", "why"),
    [
        ("121º19′47,6″ O", "lon", "east in German and west in French"),
        ("121°19' N", "lon", "it names N"),
        ("44° O", "lat", "it names O"),
        ("-121° W", "lon", "one of them is too many"),
        ("N 44 S", "lat", "two quarters"),
        ("44°60'00\"N", "lat", "60 or more"),
        ("44°03'75\"N", "lat", "60 or more"),
        ("44.5°03'N", "lat", "decimals before its last part"),
        ("91 N", "lat", "beyond 90"),
        ("181 E", "lon", "beyond 180"),
        ("north", "lat", "is no latitude"),
        ("44.050.197", "lat", "is no latitude"),
        ("", "lon", "is no longitude"),
        ("12 34 56 78", "lon", "is no longitude"),
    ],
)
def test_the_rest_is_refused_with_the_reason(text: str, axis: str, why: str) -> None:
    with pytest.raises(ValueError, match=why):
        parse_angle(text, axis)


@given(st.integers(0, 89), st.integers(0, 59), st.integers(0, 59_999), st.sampled_from("NS"))
def test_degrees_minutes_seconds_come_back(deg: int, minute: int, milli: int, letter: str) -> None:
    text = f"{deg}°{minute:02d}'{milli / 1000:06.3f}\"{letter}"
    expected = (deg + minute / 60 + milli / 3_600_000) * (1 if letter == "N" else -1)
    assert parse_angle(text, "lat") == pytest.approx(expected, abs=1e-12)


@given(st.text(max_size=20), st.sampled_from(["lat", "lon"]))
def test_any_text_gives_degrees_in_range_or_a_reason(text: str, axis: str) -> None:
    try:
        value = parse_angle(text, axis)
    except ValueError as error:
        assert str(error)  # noqa: PT017 - either outcome is right, but a refusal says why
    else:
        assert abs(value) <= {"lat": 90, "lon": 180}[axis]


@pytest.mark.parametrize(("text", "marked"), [("44.05", False), ("-1,5e-3", False), ("44 03 00", True), ("121W", True)])
def test_marks_tell_degrees_from_plain_numbers(text: str, marked: bool) -> None:
    assert has_marks(text) is marked
