"""The sum of a layer: equal for equal content, different for different content."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from gravegis.layers.canonical import column_hash, content_hash, equal

# signs that end, part or join texts in other forms, and half of a pair of code points
SIGNS = st.text("a\x1f\x00|-:1é", max_size=3) | st.none() | st.just("\ud800")


@given(st.lists(SIGNS, max_size=4), st.lists(SIGNS, max_size=4))
def test_texts_have_the_same_sum_only_if_they_are_the_same(one: list[str | None], other: list[str | None]) -> None:
    sums = [column_hash(pd.Series(many, dtype=object)) for many in (one, other)]
    assert (sums[0] == sums[1]) == (one == other)


def test_no_sign_within_a_text_ends_it() -> None:
    assert not equal(pd.DataFrame({"a": ["x\x1fy", "z"]}), pd.DataFrame({"a": ["x", "y\x1fz"]}))
    assert not equal(pd.DataFrame({"a": ["1:b", ""]}), pd.DataFrame({"a": ["", "1:b"]}))


def test_what_stands_in_one_column_is_not_taken_for_another() -> None:
    one, other = pd.DataFrame({"a": ["b"], "c": ["d"]}), pd.DataFrame({"a": ["bc"], "": ["d"]})
    assert content_hash(one) != content_hash(other)
    assert content_hash(pd.DataFrame({"a": [""], "b": [""]})) != content_hash(pd.DataFrame({"ab": ["", ""]}))


@pytest.mark.parametrize(
    ("one", "other"),
    [
        (pd.Series(["a", None], dtype=pd.StringDtype("python", na_value=np.nan)),
         pd.Series(["a", None], dtype=pd.StringDtype("pyarrow", na_value=np.nan))),
        (pd.Series(["a", None], dtype="str"), pd.Series(["a", float("nan")], dtype=object)),
        (pd.Series(["a", None], dtype="str"), pd.Series(["a", None], dtype="category")),
        (pd.Series([1, 2], dtype="Int64"), pd.Series([1, 2], dtype="int64")),
        (pd.Series([1, None], dtype="Int64"), pd.Series([1, np.nan], dtype="float64")),
        (pd.Series([0.0, np.nan]), pd.Series([-0.0, -np.nan])),
        (pd.Series([True, False]), pd.Series([True, False], dtype="boolean")),
    ],
)  # fmt: skip
def test_equal_values_have_equal_sums_in_whatever_dtype(one: pd.Series[Any], other: pd.Series[Any]) -> None:
    assert column_hash(one) == column_hash(other)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        (pd.Series([2**53], dtype="int64"), pd.Series([2**53 + 1], dtype="int64")),
        (pd.Series([0.1]), pd.Series([np.nextafter(0.1, 1)])),
        (pd.Series([1, None], dtype="Int64"), pd.Series([1, 0], dtype="Int64")),
        (pd.Series([True, None], dtype="boolean"), pd.Series([True, False], dtype="boolean")),
        (pd.Series(["1"], dtype="str"), pd.Series([1])),
        (pd.Series(["a"], dtype="str"), pd.Series(["a", None], dtype="str")),
    ],
)
def test_other_values_have_another_sum(one: pd.Series[Any], other: pd.Series[Any]) -> None:
    assert column_hash(one) != column_hash(other)


def test_places_count_with_their_order_and_their_gaps() -> None:
    points: list[Any] = [shapely.Point(0, 0), None, shapely.Point(1, 0)]
    sums = {column_hash(gpd.GeoSeries(order)) for order in (points, points[::-1], points[:2], [points[0], points[2]])}
    assert len(sums) == 4
    assert column_hash(gpd.GeoSeries(points)) == column_hash(gpd.GeoSeries(list(points)))
