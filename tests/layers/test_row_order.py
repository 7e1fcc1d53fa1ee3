"""Places in a row, counted from the path: only where order and end cannot be mistaken."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import geopandas as gpd
import pytest
import shapely

from gravegis.layers.row_order import count_along_rows

if TYPE_CHECKING:
    from gravegis.layers.canonical import Frame

CRS = "EPSG:7854"
PATH = [shapely.LineString([(0.0, -5.0), (0.0, 5.0)])]


def stones(east_m: list[float], *, drawn: bool = False, **columns: Any) -> Frame:
    shapes = [shapely.box(x - 0.3, -0.1, x + 0.3, 0.1) if drawn else shapely.Point(x, 0.02 * n)
              for n, x in enumerate(east_m)]  # fmt: skip
    ids = [f"S{n}" for n in range(len(east_m))]
    return gpd.GeoDataFrame({"stone_id": ids, "row": "A", **columns}, geometry=shapes, crs=CRS)


def paths(shapes: list[Any] = PATH) -> Frame:
    return gpd.GeoDataFrame({"path_id": [f"p{n}" for n in range(len(shapes))]}, geometry=shapes, crs=CRS)


def test_stones_are_counted_from_the_end_nearer_to_a_path_whatever_their_order_in_the_file() -> None:
    made, said = count_along_rows({"stones": stones([4.0, 2.0, 8.0, 6.0], position_error_m=0.05), "paths": paths()})
    assert made is not None
    assert made["place_in_row"].tolist() == [2, 1, 4, 3]
    assert said == ["place in the row of 4 stones counted from the end of their row nearer to a path"]


def test_each_section_counts_its_own_row_of_that_name() -> None:
    both = stones([2.0, 4.0, 6.0, 8.0], position_error_m=0.05, section=["N", "N", "S", "S"])
    made, _ = count_along_rows({"stones": both, "paths": paths()})
    assert made is not None
    assert made["place_in_row"].tolist() == [1, 2, 1, 2]


@pytest.mark.parametrize(
    "layers",
    [
        {"stones": stones([2.0, 4.0], position_error_m=4.0), "paths": paths()},  # by phone: either may come first
        {"stones": stones([2.0, 4.0]), "paths": paths()},  # nothing is known of the position: as by phone
        {"stones": stones([-3.0, 3.0], position_error_m=0.05), "paths": paths()},  # both ends are as near
    ],
)
def test_what_may_be_the_other_way_round_is_not_counted_and_that_is_said(layers: dict[str, Frame]) -> None:
    made, (words,) = count_along_rows(layers)
    assert made is None
    assert words.startswith("places in 1 row are not counted")


def test_outlines_stand_in_the_order_in_which_they_are_drawn() -> None:
    made, _ = count_along_rows({"stones": stones([4.0, 2.0], drawn=True, position_error_m=0.5), "paths": paths()})
    assert made is not None
    assert made["place_in_row"].tolist() == [2, 1]


def test_a_row_with_a_place_on_file_is_left_as_it_is() -> None:
    some = stones([2.0, 4.0], position_error_m=0.05, place_in_row=[7, None])
    assert count_along_rows({"stones": some, "paths": paths()}) == (None, [])


@pytest.mark.parametrize("layers", [{}, {"stones": stones([2.0, 4.0])}, {"stones": stones([]), "paths": paths([])},
                                    {"stones": stones([2.0, 4.0]), "paths": paths([])}])  # fmt: skip
def test_without_paths_or_stones_nothing_is_said(layers: dict[str, Frame]) -> None:
    assert count_along_rows(layers) == (None, [])
