"""The fast way to the canonical form gives what the plain one gives, whatever the values stand in."""

from __future__ import annotations

import datetime as dt
import decimal
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from gravegis.layers import canonical
from gravegis.layers.schema import Column
from gravegis.layers.typed import DTYPES, text, typed
from tests.layers import plain_canonical as plain

if TYPE_CHECKING:
    from gravegis.errors import Problem

STORAGES = ("python", "pyarrow")
WORDS = st.one_of(
    st.text(st.characters(exclude_categories=["Cs"]), max_size=5),
    st.text("a\u0301\u00e1 e\u0308\u00a0\u2003\t\n\x1c\x1f\x85", max_size=4),
    st.sampled_from(["", " ", "7", "7.0", "-0", "1e3", "inf", "nan", "yes", "No ", "TRUE", "5:30", "24:00", "[]"]),
    st.sampled_from(["2026-10-01", "2026-10-01T05:30:00Z", "20261001", "05:30:15", '{"b": 1, "a": "ü"}', "12,5"]),
)
GONE = st.sampled_from([None, float("nan"), pd.NA, pd.NaT])
FLOATS = st.floats(allow_nan=True) | st.integers(-20, 20).map(float) | st.sampled_from([1e15, 1e14, -0.0, 0.5])
DAYS = st.datetimes(dt.datetime.fromisoformat("1800-01-01"), dt.datetime.fromisoformat("2100-01-01"))
MIXED = st.one_of(
    WORDS, GONE, FLOATS, st.booleans(), st.integers(-(2**70), 2**70), st.dates(), st.decimals(allow_nan=False),
    DAYS.map(pd.Timestamp), st.lists(st.integers(), max_size=2),
)  # fmt: skip
TIMES = DAYS | st.just(pd.NaT)


def lists(values: st.SearchStrategy[Any]) -> st.SearchStrategy[list[Any]]:
    return st.lists(values, max_size=8)


def filled(values: st.SearchStrategy[Any], dtype: str) -> st.SearchStrategy[pd.Series[Any]]:
    return lists(values).map(lambda many: pd.Series(many, dtype=dtype))


def in_storage(many: list[Any], storage: Any) -> pd.Series[Any]:
    return pd.Series(many, dtype=pd.StringDtype(storage, na_value=np.nan))


COLUMNS: dict[str, st.SearchStrategy[pd.Series[Any]]] = {
    "mixed objects": filled(MIXED, "object"),
    "text objects": filled(WORDS | GONE, "object"),
    **{f"text in {one}": lists(WORDS | st.none()).map(partial(in_storage, storage=one)) for one in STORAGES},
    "text with NA": filled(WORDS | st.none(), "string"),
    "categories of text": filled(WORDS | st.none(), "category"),
    "categories of numbers": filled(st.integers(0, 5).map(float) | st.just(0.25), "category"),
    "categories of times": filled(TIMES, "datetime64[ns]").map(lambda series: series.astype("category")),
    "float64": filled(FLOATS, "float64"),
    "float32": filled(st.floats(width=32), "float32"),
    "int64": filled(st.integers(-(2**62), 2**62), "int64"),
    "uint64": filled(st.integers(0, 2**64 - 1), "uint64"),
    "int16": filled(st.integers(-99, 99), "int16"),
    "bool": filled(st.booleans(), "bool"),
    "Int64": filled(st.integers(-99, 99) | st.just(pd.NA), "Int64"),
    "Float64": filled(st.floats(-99, 99) | st.just(pd.NA), "Float64"),
    "boolean": filled(st.booleans() | st.just(pd.NA), "boolean"),
    "times": filled(TIMES, "datetime64[us]"),
    "times with a zone": filled(TIMES, "datetime64[ns]").map(lambda series: series.dt.tz_localize("UTC")),
}


def same(made: pd.Series[Any], wanted: list[Any]) -> bool:
    """Whether a column holds these values, None for a missing one."""
    return [None if pd.isna(value) else value for value in made] == wanted


@pytest.mark.parametrize("storage", STORAGES)
@pytest.mark.parametrize("sort", COLUMNS)
@settings(max_examples=25)
@given(data=st.data())
def test_text_is_what_each_value_gives_by_itself(sort: str, storage: str, data: st.DataObject) -> None:
    series = data.draw(COLUMNS[sort])
    series.index = pd.RangeIndex(5, 5 + len(series))
    with pd.option_context("mode.string_storage", storage):
        made = text(series)
    assert same(made, plain.text(series))
    assert made.dtype == "str"
    assert made.index.equals(series.index)
    assert same(text(made), plain.text(series))


@pytest.mark.parametrize("kind", DTYPES)
@pytest.mark.parametrize("sort", COLUMNS)
@settings(max_examples=12)
@given(data=st.data())
def test_a_column_is_read_as_each_value_would_be_by_itself(sort: str, kind: str, data: st.DataObject) -> None:
    series = data.draw(COLUMNS[sort])
    if kind in ("number", "whole"):  # what is no number to the one library and one to the other is no matter here
        series = series[[_plain_number(word) for word in plain.text(series)]]
    if kind == "number" and series.dtype == "float64":
        return  # has its dtype already and is handed on, endless values too
    wanted, bad = plain.read(series, kind)
    problems: list[Problem] = []
    made = typed(series, Column("c", kind, "", None, None, required=False, values=(), meaning=""), "stones", problems)
    assert made.dtype == DTYPES[kind]
    assert same(made, wanted)
    assert [one.problem.split(" values")[0] for one in problems] == (
        [f"{sum(bad)} of {len(series)}"] if any(bad) else []
    )


def _plain_number(word: str | None) -> bool:
    if word is None:
        return True
    try:
        return abs(float(word)) < 2**53 and word.isascii() and "_" not in word
    except ValueError:
        return not any(sign in word.lower() for sign in ("x", "o", "e", "_", "true", "false"))


@pytest.mark.parametrize("gap", [np.float32("nan"), decimal.Decimal("NaN"), np.datetime64("NaT"), float("nan"), pd.NA])
def test_a_missing_value_of_any_library_is_missing_and_no_word(gap: Any) -> None:
    assert text(pd.Series(["a", gap, 7.0], dtype=object)).isna().tolist() == [False, True, False]


def test_text_in_its_form_is_handed_on_without_a_copy() -> None:
    with pd.option_context("mode.string_storage", "python"):
        series = pd.Series(["a", "b", None, "grès"], dtype="str")
        assert np.shares_memory(text(series).to_numpy(), series.to_numpy())


@pytest.mark.parametrize("storage", STORAGES)
def test_each_plain_sign_at_the_edge_of_a_text_is_stripped_as_python_does(storage: str) -> None:
    for sign in map(chr, range(128)):
        series = in_storage([f"{sign}a", f"a{sign}", sign, None], storage)
        assert same(text(series), plain.text(series))


def test_the_geometries_of_the_frame_given_are_not_those_of_the_layer() -> None:
    import geopandas as gpd

    frame = gpd.GeoDataFrame({"stone_id": ["a", "b"]}, geometry=[shapely.Point(0, 0), shapely.Point(1, 0)], crs=7854)
    made = canonical.conform(frame, "stones")
    frame.geometry.values[0] = shapely.Point(9, 9)
    assert made.geometry.iloc[0] == shapely.Point(0, 0)
