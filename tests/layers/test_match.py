from __future__ import annotations

from typing import Any

import geopandas as gpd
import pandas as pd
import shapely
from hypothesis import given
from hypothesis import strategies as st

from gravegis.layers import canonical
from gravegis.layers.match import agreement, fill_places, inside_points, join_by_place

CRS = "EPSG:32636"


def frame(name: str, shapes: list[Any], **columns: list[Any]) -> gpd.GeoDataFrame:
    made = canonical.conform(gpd.GeoDataFrame(pd.DataFrame(columns), geometry=shapes, crs=CRS), name)
    return gpd.GeoDataFrame(made, geometry="geometry", crs=CRS)


def ground() -> dict[str, pd.DataFrame]:
    return {
        "sections": frame(
            "sections",
            [shapely.box(0, 0, 10, 10), shapely.box(10, 0, 20, 10)],
            section_id=["1", "2"],
            section=["A", "B"],
        ),
        "rows": frame(
            "rows",
            [shapely.box(0, 0, 10, 5), shapely.box(0, 5, 10, 10)],
            row_id=["a", "b"],
            row=["A1", "A2"],
            section=["A", "A"],
        ),
        "plots": frame(
            "plots",
            [shapely.box(1, 1, 2, 2), shapely.box(1, 6, 2, 7), shapely.box(30, 0, 31, 1)],
            plot_id=["p1", "p2", "p3"],
        ),
        "stones": frame(
            "stones",
            [
                shapely.Point(1.5, 1.5),
                shapely.Point(1.5, 6.5),
                shapely.Point(5, 1),
                shapely.Point(15, 5),
                shapely.Point(50, 50),
            ],
            stone_id=["s1", "s2", "s3", "s4", "s5"],
            section=[None, "Z", None, None, None],
        ),
    }


def test_gaps_are_filled_by_place_and_what_stands_there_stays() -> None:
    filled = fill_places(ground())
    plots, stones = filled.layers["plots"], filled.layers["stones"]
    assert plots["row"].fillna("").tolist() == ["A1", "A2", ""]
    assert plots["section"].fillna("").tolist() == ["A", "A", ""]
    assert stones["plot_id"].fillna("").tolist() == ["p1", "p2", "", "", ""]
    assert stones["row"].fillna("").tolist() == ["A1", "A2", "A1", "", ""]
    assert stones["section"].fillna("").tolist() == ["A", "Z", "A", "B", ""]


def test_disagreement_and_things_in_no_area_are_told_by_id() -> None:
    said = "\n".join(fill_places(ground()).warnings)
    assert "1 stones say another section than the plots they lie in: s2 (Z, lies in A)" in said
    assert "1 plots lie in none of the rows: p3" in said
    assert "3 stones lie in none of the plots: s3, s4, s5" in said


def test_a_second_filling_changes_nothing() -> None:
    layers = ground()
    once = {**layers, **fill_places(layers).layers}
    assert fill_places(once).layers == {}


def test_layers_given_are_not_changed() -> None:
    layers = ground()
    before = {name: canonical.content_hash(one) for name, one in layers.items()}
    fill_places(layers)
    assert {name: canonical.content_hash(one) for name, one in layers.items()} == before


def test_an_item_on_a_shared_edge_lies_in_several() -> None:
    areas = frame("sections", [shapely.box(0, 0, 1, 1), shapely.box(1, 0, 2, 1)], section_id=["a", "b"])
    items = frame(
        "stones", [shapely.Point(1, 0.5), shapely.Point(0.5, 0.5), shapely.Point(5, 5)], stone_id=["1", "2", "3"]
    )
    joined = join_by_place(items, areas)
    assert joined.area.tolist() == [-1, 0, -1]
    assert joined.several.tolist() == [0]
    assert joined.none.tolist() == [2]


def test_lines_are_no_areas() -> None:
    areas = frame("rows", [shapely.LineString([(0, 0), (2, 0)]), shapely.box(0, -1, 2, 1)], row_id=["line", "area"])
    items = frame("stones", [shapely.Point(1, 0)], stone_id=["1"])
    assert areas["row_id"].iloc[join_by_place(items, areas).area[0]] == "area"


def test_the_middle_of_a_bent_outline_is_taken_inside_it() -> None:
    bent = shapely.from_wkt("POLYGON ((0 0, 10 0, 10 10, 9 10, 9 1, 0 1, 0 0))")
    point = inside_points([bent])[0]
    assert not bent.covers(bent.centroid)
    assert bent.covers(point)


def test_agreement_counts_only_where_both_say_something() -> None:
    areas = frame("sections", [shapely.box(0, 0, 9, 9)], section_id=["a"], section=["A"])
    items = frame(
        "stones", [shapely.Point(i, 1) for i in range(1, 4)], stone_id=["1", "2", "3"], section=["A", None, "B"]
    )
    alike, differ = agreement(items, areas, join_by_place(items, areas), ("section", "section"))
    assert (alike, differ.tolist()) == (1, [2])


BOXES = st.lists(
    st.tuples(st.integers(0, 9), st.integers(0, 9), st.integers(1, 4), st.integers(1, 4)), min_size=1, max_size=6
)
SPOTS = st.lists(st.tuples(st.integers(0, 12), st.integers(0, 12)), min_size=1, max_size=8)


@given(BOXES, SPOTS)
def test_the_join_is_that_of_a_loop(boxes: list[tuple[int, int, int, int]], spots: list[tuple[int, int]]) -> None:
    shapes = [shapely.box(x, y, x + w, y + h) for x, y, w, h in boxes]
    places = [shapely.Point(*spot) for spot in spots]
    areas = gpd.GeoDataFrame(geometry=shapes)
    joined = join_by_place(gpd.GeoDataFrame(geometry=places), areas)
    for row, spot in enumerate(places):
        hits = [number for number, shape in enumerate(shapes) if shape.intersects(spot)]
        assert joined.area[row] == (hits[0] if len(hits) == 1 else -1)
        assert (row in joined.none) == (len(hits) == 0)
        assert (row in joined.several) == (len(hits) > 1)


def test_nothing_to_join_gives_nothing() -> None:
    layers = {"stones": canonical.empty("stones", CRS), "plots": canonical.empty("plots", CRS)}
    assert fill_places(layers).layers == {}
    joined = join_by_place(ground()["stones"], canonical.empty("plots", CRS))
    assert joined.area.tolist() == [-1] * 5
