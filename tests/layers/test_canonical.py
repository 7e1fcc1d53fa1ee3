from __future__ import annotations

from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from gravegis import store
from gravegis.errors import LayerError
from gravegis.layers import canonical, schema
from gravegis.site import Site, SiteInfo

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from gravegis.layers.schema import Column, Layer

CRS = "EPSG:7854"
INFO = SiteInfo("Test ground", CRS, "typed", "Australia/Adelaide", 150.0, seed=3)
TEXTS = st.text(st.characters(categories=("L", "N", "P", "S", "Zs", "M")), max_size=8)
SHAPES: Mapping[str, st.SearchStrategy[Any]] = {
    "point": st.builds(shapely.Point, st.floats(372000, 373000), st.floats(6250000, 6251000)),
    "line": st.builds(lambda x, y: shapely.LineString([(x, y), (x + 5, y + 1)]), st.floats(0, 9), st.floats(0, 9)),
    "polygon": st.builds(lambda x, y: shapely.box(x, y, x + 2, y + 1), st.floats(0, 9), st.floats(0, 9)),
    "none": st.none(),
}


def value(column: Column) -> st.SearchStrategy[Any]:
    """Return values a column may hold as people or readers give them."""
    low, high = -1e6 if column.low is None else column.low, 1e6 if column.high is None else column.high
    kinds: dict[str, st.SearchStrategy[Any]] = {
        "number": st.floats(low, high), "whole": st.integers(int(np.ceil(low)), int(high)),
        "flag": st.sampled_from([True, False, "yes", "no", "1", "0", "Y", "true"]),
        "date": st.dates().map(str), "civil": st.times().map(lambda t: t.strftime("%H:%M")),
        "instant": st.sampled_from(["2026-10-01T05:30:00Z", "2026-10-01T05:30:00+09:30"]),
        "json": st.sampled_from(['[{"code": "x", "values": {"b": 1, "a": 2}}]', "[]", '{"b": 1, "a": "ü"}']),
        "text": TEXTS,
    }  # fmt: skip
    return kinds[column.kind]


FIXED: dict[str, Callable[[int], Any]] = {"whole": lambda n: n + 1, "civil": lambda n: f"{n:02d}:30"}
"""Values of required columns whose kind allows no free text."""


@st.composite
def rows(draw: st.DrawFn, layer: Layer) -> pd.DataFrame:
    """Return a frame of a layer with some of its columns, some gaps and a column of somebody else's."""
    count = draw(st.integers(0, 4))
    data: dict[str, Any] = {}
    for column in layer.columns.values():
        if column.name in layer.key or column.required:
            continue
        if draw(st.booleans()):
            data[column.name] = draw(st.lists(st.none() | value(column), min_size=count, max_size=count))
    for column in (one for one in layer.columns.values() if one.required):
        if column.kind in FIXED:
            data[column.name] = [FIXED[column.kind](n) for n in range(count)]
        elif column.name in layer.key:
            data[column.name] = [f"{n:02d}{draw(st.sampled_from('aé '))}x" for n in range(count)]
        else:
            data[column.name] = [f"v{n}" for n in range(count)]
    data["theirs"] = draw(st.lists(st.none() | TEXTS, min_size=count, max_size=count))
    frame = pd.DataFrame({name: pd.Series(values, dtype=object) for name, values in data.items()})
    if layer.geometry[0] == "none":
        return frame
    shapes = draw(st.lists(SHAPES[layer.geometry[0]], min_size=count, max_size=count))
    return gpd.GeoDataFrame(frame, geometry=gpd.GeoSeries(shapes, crs=CRS), crs=CRS)


LAYERS = sorted(schema.layers())


@pytest.mark.parametrize("name", LAYERS)
@settings(max_examples=15)
@given(data=st.data())
def test_conform_is_idempotent(name: str, data: st.DataObject) -> None:
    once = canonical.conform(data.draw(rows(schema.layer(name))), name)
    again = canonical.conform(once, name)
    assert canonical.equal(once, again)
    assert [str(kind) for kind in once.dtypes] == [str(kind) for kind in again.dtypes]


@pytest.mark.parametrize("name", LAYERS)
@settings(max_examples=4)
@given(data=st.data())
def test_a_saved_layer_comes_back_the_same(
    name: str, tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    folder = tmp_path_factory.mktemp("site")
    site = Site(INFO).with_layers({name: data.draw(rows(schema.layer(name)))})
    store.save(site, folder)
    again = store.load(folder)
    assert list(again) == [name]
    assert canonical.equal(again[name], site[name])
    assert [str(kind) for kind in again[name].dtypes] == [str(kind) for kind in site[name].dtypes]


@pytest.mark.parametrize("name", LAYERS)
def test_an_empty_layer_has_every_column_and_conforms(name: str) -> None:
    empty = canonical.empty(name, CRS)
    assert [c for c in empty.columns if c != "geometry"] == list(schema.layer(name).columns)
    assert canonical.equal(canonical.conform(empty, name), empty)


@pytest.mark.parametrize(
    ("column", "values", "words"),
    [
        ("height_m", ["1", "tall", "2"], "'tall' in row 2"),
        ("height_m", ["1", "2", "21"], "21 in row 3"),
        ("year", ["1900", "1900.5", "old"], "'1900.5' in row 2, 'old' in row 3"),
        ("quick_score", [0, 4, -1], "4 in row 2, -1 in row 3"),
        ("stability_on", ["2026-10-01", "1/10/2026", None], "'1/10/2026' in row 2"),
        ("facing_deg", ["N", "90", "361"], "'N' in row 1"),
    ],
)
def test_bad_values_are_named_with_their_rows(column: str, values: list[Any], words: str) -> None:
    frame = pd.DataFrame({"stone_id": ["a", "b", "c"], column: values, "geometry": [shapely.Point(0, 0)] * 3})
    with pytest.raises(LayerError) as caught:
        canonical.conform(frame, "stones")
    assert words in str(caught.value)
    assert caught.value.problems[0].where == f"stones.{column}"


@pytest.mark.parametrize(
    ("layer", "column", "good", "bad"),
    [
        (
            "schedules",
            "start_at",
            {"5:30": "05:30", "23:59": "23:59", "05:30:15": "05:30:15"},
            ["24:00", "5.30", "noon"],
        ),
        ("paths", "wheelable", {"yes": True, "0": False, "TRUE": True}, ["maybe", "2"]),
        ("photos", "taken_at", {"2026-10-01T05:30:00+09:30": "2026-09-30T20:00:00Z"}, ["2026-10-01T05:30:00", "today"]),
    ],
)
def test_words_of_time_and_flags_have_one_form(layer: str, column: str, good: dict[str, Any], bad: list[str]) -> None:
    needed = {one.name: "x" for one in schema.layer(layer).columns.values() if one.required}
    key = schema.layer(layer).key[0]
    for typed, form in good.items():
        made = canonical.conform(pd.DataFrame([{**needed, column: typed}]), layer)
        assert made[column].tolist() == [form]
    for typed in bad:
        with pytest.raises(LayerError, match="in row 1"):
            canonical.conform(pd.DataFrame([{**needed, key: "y", column: typed}]), layer)


def test_ids_stay_text_and_rows_are_sorted_by_them() -> None:
    made = canonical.conform(pd.DataFrame({"zone_id": ["10", "007", "9"], "other": [1, 2, 3]}), "zones")
    assert made["zone_id"].tolist() == ["007", "10", "9"]
    assert made["other"].tolist() == [2, 1, 3]


def test_missing_ids_are_numbered_and_repeated_ones_refused() -> None:
    assert canonical.conform(pd.DataFrame({"notes": ["a", "b"]}), "zones")["zone_id"].tolist() == ["R0001", "R0002"]
    with pytest.raises(LayerError, match="stand more than once, such as a"):
        canonical.conform(pd.DataFrame({"zone_id": ["a", "a"]}), "zones")


def test_the_frame_given_is_never_changed() -> None:
    frame = pd.DataFrame({"zone_id": [" b ", "a"], "valve_limit_l_min": ["1", None]})
    before = frame.copy()
    canonical.conform(frame, "zones")
    pd.testing.assert_frame_equal(frame, before)


def test_text_of_another_unicode_form_is_the_same_name() -> None:
    with pytest.raises(LayerError, match="more than once"):
        canonical.conform(pd.DataFrame({"zone_id": ["gr\u00e8s", "gre\u0300s"]}), "zones")
