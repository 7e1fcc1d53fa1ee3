from __future__ import annotations

from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely import Point

from gravegis.layers import schema
from gravegis.layers.bring import bring_in
from gravegis.layers.geometry import mend, sort_out
from gravegis.site import Site, SiteInfo
from tests.layers import every_kind

if TYPE_CHECKING:
    from pathlib import Path

CRS = "EPSG:32610"
BOW = shapely.from_wkt("POLYGON ((0 0, 2 2, 2 0, 0 2, 0 0))")
SPIKE = shapely.from_wkt("POLYGON ((3 0, 5 0, 5 2, 5 6, 5 2, 3 2, 3 0))")
TWICE_AROUND = shapely.from_wkt("POLYGON ((0 0, 6 0, 6 6, 2 6, 2 2, 8 2, 8 8, 0 8, 0 0))")


def layer(name: str, *shapes: Any) -> gpd.GeoDataFrame:
    key = schema.layer(name).key[0]
    ids = [f"r{i}" for i in range(1, len(shapes) + 1)]
    return gpd.GeoDataFrame({key: np.array(ids, dtype=object)}, geometry=gpd.GeoSeries(list(shapes), crs=CRS), crs=CRS)


def words(problems: list[Any]) -> str:
    return "\n".join(str(problem) for problem in problems)


def test_rows_without_a_place_are_set_aside_and_listed() -> None:
    shapes = [Point(1, 1), None, Point(), Point(float("nan"), 1), Point(2, float("inf"))]
    done = sort_out(layer("stones", *shapes), schema.layer("stones"))
    assert done.frame["stone_id"].tolist() == ["r1"]
    assert "2 rows without a place set aside: r2, r3" in words(done.warnings)
    assert "2 rows with a place that is not finite set aside: r4, r5" in words(done.warnings)
    assert done.errors == []


def test_a_layer_without_any_place_is_an_error() -> None:
    done = sort_out(layer("stones", None, Point()), schema.layer("stones"))
    assert "no row has a place" in words(done.errors)


def test_observations_may_do_without_a_place() -> None:
    done = sort_out(layer("observations", None, Point(1, 1), Point()), schema.layer("observations"))
    assert len(done.frame) == 3
    assert done.frame["geometry"].isna().tolist() == [True, False, True]


def test_heights_are_dropped_with_a_note() -> None:
    done = sort_out(layer("heads", Point(1, 2, 3)), schema.layer("heads"))
    assert shapely.get_coordinate_dimension(done.frame.geometry.array).tolist() == [2]
    assert "heights of 1 row" in done.notes[0]


@pytest.mark.parametrize(
    ("name", "shape"),
    [("heads", BOW), ("heads", shapely.LineString([(0, 0), (1, 1)])), ("plots", Point(0, 0)), ("paths", Point(0, 0))],
)
def test_a_wrong_kind_of_geometry_is_an_error_with_ids(name: str, shape: Any) -> None:
    done = sort_out(layer(name, shape), schema.layer(name))
    assert "1 row with" in words(done.errors)
    assert "r1" in words(done.errors)


def test_one_part_becomes_single_and_several_outlines_stay_one_row() -> None:
    one, two = (
        shapely.MultiPolygon([shapely.box(0, 0, 1, 1)]),
        shapely.MultiPolygon([shapely.box(0, 0, 1, 1), shapely.box(2, 0, 3, 1)]),
    )
    done = sort_out(layer("plots", one, two), schema.layer("plots"))
    assert shapely.get_type_id(done.frame.geometry.array).tolist() == [3, 6]
    assert done.warnings == []


def test_several_points_become_rows_that_keep_the_id_of_the_file() -> None:
    frame = layer("heads", Point(0, 0), shapely.MultiPoint([(1, 1), (2, 2)]), shapely.MultiPoint([(3, 3)]))
    done = sort_out(frame.assign(head_id=np.array(["2-1", "2", "c"], dtype=object)), schema.layer("heads"))
    assert done.frame["head_id"].tolist() == ["2-1", "2-1'", "2-2", "c"]
    assert done.frame["id_in_file"].tolist() == ["2-1", "2", "2", "c"]
    assert shapely.get_coordinates(done.frame.geometry.array)[:, 0].tolist() == [0, 1, 2, 3]
    assert "1 row with several points" in words(done.warnings)


def test_of_a_mixed_collection_the_fitting_part_is_kept_and_the_rest_listed() -> None:
    mixed = shapely.GeometryCollection([Point(1, 1), shapely.LineString([(0, 0), (1, 1)])])
    done = sort_out(layer("heads", mixed), schema.layer("heads"))
    assert done.frame.geometry.iloc[0] == Point(1, 1)
    assert "left out: r1 (line)" in words(done.warnings)


def test_a_collection_with_two_fitting_kinds_is_an_error() -> None:
    mixed = shapely.GeometryCollection([Point(1, 1), shapely.box(0, 0, 1, 1)])
    assert "1 mixed collection" in words(sort_out(layer("stones", mixed), schema.layer("stones")).errors)


@pytest.mark.cited("../shared/cases/README.md, invalid_plots.gpkg")
def test_bow_tie_spike_and_twin_are_mended_and_told() -> None:
    ok = shapely.box(6, 0, 8, 2)
    done = mend(layer("plots", BOW, SPIKE, ok, shapely.box(6, 0, 8, 2)), schema.layer("plots"))
    assert done.errors == []
    assert shapely.is_valid(done.frame.geometry.array).all()
    assert done.frame.geometry.area.tolist() == pytest.approx([2, 4, 4, 4])
    assert "r1 (self-intersection; area 0.00 -> 2.00 m2), r2 (self-intersection; area 4.00 -> 4.00 m2)" in words(
        done.warnings
    )
    assert "r4 = r3" in words(done.warnings)


def test_an_outline_with_two_answers_is_an_error() -> None:
    done = mend(layer("plots", TWICE_AROUND), schema.layer("plots"))
    assert "more than one answer: r1" in words(done.errors)


def test_an_outline_without_ground_is_set_aside_and_listed() -> None:
    flat = shapely.from_wkt("POLYGON ((0 0, 1 1, 2 2, 0 0))")
    done = mend(layer("plots", flat, shapely.box(0, 0, 1, 1)), schema.layer("plots"))
    assert done.frame["plot_id"].tolist() == ["r2"]
    assert "1 row without ground or length set aside: r1" in words(done.warnings)


def test_a_line_without_length_is_set_aside() -> None:
    done = mend(
        layer("paths", shapely.LineString([(0, 0), (0, 0)]), shapely.LineString([(0, 0), (1, 0)])),
        schema.layer("paths"),
    )
    assert done.frame["path_id"].tolist() == ["r2"]


def test_the_same_outline_from_another_vertex_is_found() -> None:
    turned = shapely.Polygon([(1, 0), (1, 1), (0, 1), (0, 0)])
    assert "r2 = r1" in words(mend(layer("plots", shapely.box(0, 0, 1, 1), turned), schema.layer("plots")).warnings)


RINGS = st.lists(st.tuples(st.integers(0, 8), st.integers(0, 8)), min_size=3, max_size=8)


@given(st.lists(RINGS, min_size=1, max_size=5))
def test_nothing_vanishes_unseen(rings: list[list[tuple[int, int]]]) -> None:
    frame = layer("plots", *(shapely.Polygon(ring) for ring in rings))
    done = mend(frame, schema.layer("plots"))
    kept = set(done.frame["plot_id"])
    said = words(done.warnings) + words(done.errors)
    for plot_id, shape in zip(frame["plot_id"], frame.geometry, strict=True):
        if plot_id not in kept or not shape.is_valid:
            assert plot_id in said
        else:
            assert done.frame.set_index("plot_id").geometry[plot_id].equals(shape)
    if not done.errors:
        assert shapely.is_valid(done.frame.geometry.array).all()


@given(st.lists(RINGS, min_size=1, max_size=4))
def test_mending_twice_is_mending_once(rings: list[list[tuple[int, int]]]) -> None:
    once = mend(layer("plots", *(shapely.Polygon(ring) for ring in rings)), schema.layer("plots"))
    if once.errors:
        return
    again = mend(once.frame, schema.layer("plots"))
    assert again.frame["plot_id"].tolist() == once.frame["plot_id"].tolist()
    assert [one.wkb for one in again.frame.geometry] == [one.wkb for one in once.frame.geometry]


def test_an_empty_outline_is_told_and_no_library_speaks(tmp_path: Path, recwarn: pytest.WarningsRecorder) -> None:
    path = every_kind.make_all(tmp_path / "sound")["empty.gpkg"]
    brought = bring_in(Site(SiteInfo("Test ground", "")), "plots", path)
    assert brought.site["plots"]["plot_id"].tolist() == ["A"]
    assert any("B" in words for words in brought.warnings)
    assert any("C" in words for words in brought.warnings)
    assert [str(one.message) for one in recwarn] == []
