from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from pyproj import CRS, Transformer

from gravegis.errors import CrsError
from gravegis.layers import propose
from gravegis.layers.propose import Near, doubt, propose_crs, source_crs
from gravegis.layers.read import Raw

UTM10 = CRS("EPSG:32610")
NEAR = Near(UTM10, (634000.0, 4879000.0, 634100.0, 4879100.0))
IN_UTM = np.array([[634010.0, 4879010.0], [634020.0, 4879030.0]])


def seen_as(code: str) -> np.ndarray:
    return np.column_stack(Transformer.from_crs(UTM10, CRS(code), always_xy=True).transform(*IN_UTM.T))


def raw(*, is_table: bool = False, trouble: str = "", crs: CRS | None = None, stated: bool = False) -> Raw:
    return Raw(pd.DataFrame(), crs=crs, crs_basis="basis", stated=stated, trouble=trouble, is_table=is_table)


def options(xy: np.ndarray, near: Near | None = None, *, turned: bool = False) -> list[str]:
    return [one.option for one in propose_crs(xy, near, turned=turned)]


@pytest.mark.parametrize("code", ["EPSG:32610", "EPSG:4326", "EPSG:2992", "EPSG:2991", "EPSG:3857"])
def test_the_system_that_puts_numbers_among_the_layers_comes_first(code: str) -> None:
    assert code in " ".join(options(seen_as(code), NEAR)[:2])


def test_swapped_numbers_are_found_among_the_layers() -> None:
    assert options(IN_UTM[:, ::-1], NEAR)[0] == "--swap-xy --crs EPSG:32610"
    assert options(seen_as("EPSG:4326")[:, ::-1], NEAR)[0].startswith("--swap-xy --crs")


def test_options_are_written_for_the_file_as_it_is() -> None:
    assert options(IN_UTM, NEAR, turned=True)[0] == "--swap-xy --crs EPSG:32610"
    assert options(IN_UTM[:, ::-1], NEAR, turned=True)[0] == "--crs EPSG:32610"


def test_without_layers_the_numbers_alone_are_judged() -> None:
    assert options(seen_as("EPSG:4326")) == ["--crs EPSG:4326"]
    assert options(seen_as("EPSG:4326")[:, ::-1]) == ["--swap-xy --crs EPSG:4326"]
    assert options(np.array([[13.4, 52.5], [13.401, 52.5]])) == ["--crs EPSG:4326", "--swap-xy --crs EPSG:4326"]
    assert options(IN_UTM) == ["--crs EPSG:326ZZ", "--crs EPSG:327ZZ", "--crs EPSG:3857"]
    assert "about 44.1 degrees north" in propose_crs(IN_UTM)[0].reason


def test_metres_of_an_own_grid_are_not_called_degrees() -> None:
    assert options(np.array([[0.0, 0.0], [40.0, 60.0]])) == []


def test_what_the_file_states_wins_and_a_typed_one_that_differs_is_an_error() -> None:
    stated = raw(crs=UTM10, stated=True)
    assert source_crs(stated, IN_UTM, typed=None, near=None).crs == UTM10
    assert source_crs(stated, IN_UTM, typed="EPSG:32610", near=None).assumed == ()
    with pytest.raises(CrsError, match=r"the file says EPSG:32610, --crs says EPSG:2992"):
        source_crs(stated, IN_UTM, typed="EPSG:2992", near=None)


def test_a_typed_system_is_taken_where_the_file_says_nothing_and_that_is_assumed() -> None:
    for silent in (raw(), raw(trouble="its 'crs' member names no system"), raw(crs=CRS("EPSG:4326"))):
        found = source_crs(silent, IN_UTM, typed="EPSG:32610", near=None)
        assert found.crs == UTM10
        assert "as typed" in found.assumed[0]


def test_a_silent_file_is_refused_with_what_fits() -> None:
    with pytest.raises(CrsError, match=r"does not say(.|\n)*x 634010 to 634020(.|\n)*--crs EPSG:326ZZ"):
        source_crs(raw(), IN_UTM, typed=None, near=None)
    with pytest.raises(CrsError, match=r"--crs EPSG:32610"):
        source_crs(raw(), IN_UTM, typed=None, near=NEAR)
    with pytest.raises(CrsError, match=r"cannot be used: nobody knows(.|\n)*--crs EPSG:32610"):
        source_crs(raw(trouble="nobody knows"), IN_UTM, typed=None, near=NEAR)


def test_a_table_among_the_layers_is_taken_to_lie_on_their_grid_and_that_is_assumed() -> None:
    found = source_crs(raw(is_table=True), IN_UTM, typed=None, near=NEAR)
    assert found.crs == UTM10
    assert "among its layers" in found.assumed[0]
    for away in (IN_UTM + 50_000, seen_as("EPSG:4326"), IN_UTM[:, ::-1]):
        with pytest.raises(CrsError, match="does not say"):
            source_crs(raw(is_table=True), away, typed=None, near=NEAR)


def test_a_table_on_a_site_with_a_typed_grid_and_no_layers_is_taken_only_where_that_grid_is_used() -> None:
    empty = Near(UTM10, None)
    assert "where that grid is used" in source_crs(raw(is_table=True), IN_UTM, typed=None, near=empty).assumed[0]
    with pytest.raises(CrsError, match="does not say"):
        source_crs(raw(is_table=True), seen_as("EPSG:4326"), typed=None, near=empty)


@pytest.mark.parametrize(
    ("code", "xy", "words"),
    [
        ("EPSG:4326", [[44.05, -121.33]], "swapped"),
        ("EPSG:4326", [[634000.0, 4879000.0]], "means degrees"),
        ("EPSG:32610", [[-121.33, 44.05]], "look like degrees"),
        ("EPSG:32610", [[44.05, -121.33]], "look like degrees"),
        ("EPSG:32610", [[4879000.0, 634000.0]], "swapped"),
        ("EPSG:27700", [[4321000.0, 3210000.0]], "is not used"),
        ("EPSG:7844", [[-33.9, 139.6]], "swapped"),
        ("EPSG:4277", [[139.6, -33.9]], "is not used"),
    ],
)
def test_numbers_that_cannot_lie_in_a_system_are_refused(code: str, xy: list[list[float]], words: str) -> None:
    found = doubt(CRS(code), np.array(xy), None)
    assert isinstance(found, CrsError)
    assert words in str(found)


@pytest.mark.parametrize(
    ("code", "xy"),
    [
        ("EPSG:4326", [[-121.33, 44.05]]),
        ("EPSG:32610", [[634000.0, 4879000.0]]),
        ("EPSG:2193", [[1600000.0, 5400000.0]]),
        ("EPSG:32610", [[780000.0, 4879000.0]]),
        ("EPSG:7844", [[139.6, -33.9]]),
        ("EPSG:2193", [[2100000.0, 5100000.0]]),
        ("EPSG:4326", [[179.999, -17.0], [-179.999, -17.0]]),
        ("EPSG:32760", [[827000.0, 8117000.0]]),
    ],
)
def test_numbers_where_a_system_is_used_are_not_doubted(code: str, xy: list[list[float]]) -> None:
    assert doubt(CRS(code), np.array(xy), None) is None


def test_the_layers_of_the_site_tell_swapped_degrees_that_the_range_cannot() -> None:
    berlin = Near(CRS("EPSG:32633"), (390000.0, 5819000.0, 390100.0, 5819100.0))
    xy = np.array([[52.51, 13.38]])
    assert doubt(CRS("EPSG:4326"), xy, None) is None
    found = doubt(CRS("EPSG:4326"), xy, berlin)
    assert "swapped" in str(found)
    assert "--swap-xy" in str(found)
    wrongly_turned = doubt(CRS("EPSG:4326"), xy, berlin, turned=True)
    assert "Leave --swap-xy out" in str(wrongly_turned)


def test_no_numbers_raise_no_doubt() -> None:
    assert doubt(UTM10, np.empty((0, 2)), NEAR) is None
    assert propose.propose_crs(np.empty((0, 2)), NEAR) == []


def test_a_grid_that_begins_at_the_site_may_have_small_numbers() -> None:
    begins = Near(CRS("EPSG:7854"), (0.0, 0.0, 80.0, 80.0))
    assert doubt(begins.crs, np.array([[10.0, 20.0], [30.0, 40.0]]), begins) is None
