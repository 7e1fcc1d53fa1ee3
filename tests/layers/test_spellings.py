"""Spellings of places, bearings and lengths that people send; each expected figure is worked out by hand here."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd
import pytest

from gravegis.layers import schema
from gravegis.layers.bring import bring_in
from gravegis.layers.compass import bearing_of
from gravegis.layers.fractions import fraction
from gravegis.layers.mapping import apply_mapping
from gravegis.layers.read.angles import parse_angle
from gravegis.site import Site, SiteInfo

if TYPE_CHECKING:
    from pathlib import Path


def dms(degrees: float, minutes: float = 0.0, seconds: float = 0.0) -> float:
    return degrees + minutes / 60 + seconds / 3600


@pytest.mark.parametrize(
    ("text", "axis", "expected"),
    [
        ("33d51m25.3sS", "lat", -dms(33, 51, 25.3)),
        ("33d 51m 25.3s S", "lat", -dms(33, 51, 25.3)),
        ("70d30m01sW", "lon", -dms(70, 30, 1)),
        ("S33d51m25.3s", "lat", -dms(33, 51, 25.3)),
        ("44d03mN", "lat", dms(44, 3)),
        ("44 deg 3 min 0.7 sec N", "lat", dms(44, 3, 0.7)),
        ("44 degrees 3 minutes 0.7 seconds North", "lat", dms(44, 3, 0.7)),
        ("121 deg 18 min 0.9 sec W", "lon", -dms(121, 18, 0.9)),
        ("121 Deg. 18 Min. West", "lon", -dms(121, 18)),
        ("44.05 deg", "lat", 44.05),
        ("440300N", "lat", dms(44, 3)),
        ("440300.5 N", "lat", dms(44, 3, 0.5)),
        ("1211800W", "lon", -dms(121, 18)),
        ("0093015E", "lon", dms(9, 30, 15)),
        ("44-03-00.5 N", "lat", dms(44, 3, 0.5)),
        ("121-18-00.5W", "lon", -dms(121, 18, 0.5)),
        ("-121-18-00.5", "lon", -dms(121, 18, 0.5)),
        ("North 44.05", "lat", 44.05),
        ("West 121.3", "lon", -121.3),
        ("121.3° West", "lon", -121.3),
        ("44.05° north", "lat", 44.05),
    ],
)
def test_common_spellings_of_degrees_are_read(text: str, axis: str, expected: float) -> None:
    assert parse_angle(text, axis) == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize(
    ("text", "axis", "match"),
    [
        ("44d03m00.6s", "lat", "seconds or south"),
        ("446100N", "lat", "60 or more"),
        ("440360N", "lat", "60 or more"),
        ("440300", "lat", "no latitude|beyond"),
        ("44-61-00 N", "lat", "60 or more"),
        ("33d51m25.3sN S", "lat", "no latitude|quarters"),
        ("West 44.05", "lat", "no latitude"),
    ],
)
def test_spellings_with_two_answers_or_none_are_refused(text: str, axis: str, match: str) -> None:
    with pytest.raises(ValueError, match=match):
        parse_angle(text, axis)


def test_a_column_of_mixed_spellings_comes_in(tmp_path: Path) -> None:
    rows = ["44 deg 3 min 0.7 sec N,121 deg 18 min 0.9 sec W", "440300N,1211800W", "44.05° N,121.3° West",
            "North 44.05,West 121.3", "44-03-00.5 N,121-18-00.5 W"]  # fmt: skip
    text = "stone_id,lat,lon\n" + "\n".join(f"A{n},{row}" for n, row in enumerate(rows))
    (tmp_path / "a.csv").write_text(text, encoding="utf-8")
    stones = bring_in(Site(SiteInfo("Test ground", "")), "stones", tmp_path / "a.csv").site["stones"]
    lonlat = stones.geometry.to_crs("EPSG:4326")
    assert lonlat.y.tolist() == pytest.approx([dms(44, 3, 0.7), 44.05, 44.05, 44.05, dms(44, 3, 0.5)], abs=1e-7)
    assert lonlat.x.tolist() == pytest.approx(
        [-dms(121, 18, 0.9), -121.3, -121.3, -121.3, -dms(121, 18, 0.5)], abs=1e-7
    )


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("N45E", 45.0), ("n 45 e", 45.0), ("S45E", 135.0), ("S 30° W", 210.0), ("N30W", 330.0),
        ("N0E", 0.0), ("N0W", 0.0), ("S90E", 90.0), ("N 45°30' E", 45.5), ("S 30°15'36\" W", 210.26),
        ("N45-30-00E", 45.5), ("NE", 45.0), ("south", 180.0),
    ],
)  # fmt: skip
def test_quadrant_bearings_count_from_their_end_of_the_meridian(text: str, expected: float) -> None:
    assert bearing_of(text) == pytest.approx(expected)


@pytest.mark.parametrize("text", ["N95E", "E45N", "N45", "45E", "N45°70'E", "N45O", "N E 45", ""])
def test_what_is_no_bearing_is_none(text: str) -> None:
    assert bearing_of(text) is None


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("2½ ft", 2.5 * 0.3048), ("2 1/2 ft", 2.5 * 0.3048), ("2-1/2 ft", 2.5 * 0.3048), ("3/4 in", 0.75 * 0.0254),
        ("30½ in", 30.5 * 0.0254), ("2' 6½\"", 30.5 * 0.0254), ("2' 6 1/2\"", 30.5 * 0.0254),
        ("1 ft ¾ in", 12.75 * 0.0254),
    ],
)  # fmt: skip
def test_vulgar_fractions_are_lengths(text: str, expected: float) -> None:
    frame = pd.DataFrame({"stone_id": ["A", "B"], "height_m": ["1 m", text]})
    done = apply_mapping(frame, schema.layer("stones"))
    assert done.problems == ()
    assert done.frame["height_m"].tolist() == pytest.approx([1.0, expected])


@pytest.mark.parametrize("text", ["1871/2", "5/4", "1/7", "2024/05/06", "3", "1/2/3", "12/31 ft"])
def test_other_slashes_are_no_fractions(text: str) -> None:
    assert fraction(text) is None
