from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import CRS, Geod

from gravegis.errors import CrsError
from gravegis.layers import crs as systems
from gravegis.layers import place


def points(crs: str, *xy: tuple[float, float]) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(
        {"stone_id": [str(i) for i in range(len(xy))]}, geometry=[shapely.Point(*p) for p in xy], crs=crs
    )


def chosen(code: str, *xy: tuple[float, float]) -> place.Chosen:
    return place.choose_site_crs(CRS(code), np.array(xy, dtype=np.float64))


@pytest.mark.parametrize(
    ("foot", "metre"),
    [
        ("EPSG:2286", "EPSG:32149"),
        ("EPSG:2263", "EPSG:32118"),
        ("EPSG:2264", "EPSG:32119"),
        ("EPSG:2248", "EPSG:26985"),
        ("EPSG:2992", "EPSG:2991"),
        ("EPSG:3547", "EPSG:3546"),
    ],
)
def test_a_foot_grid_becomes_its_metric_twin_exactly(foot: str, metre: str) -> None:
    assert place.metric_twin(CRS(foot)) == metre
    unit_m = CRS(foot).axis_info[0].unit_conversion_factor
    x, y = 1_000_000.0, 500_000.0
    moved = place.to_site_crs(points(foot, (x, y)), CRS(foot), metre)
    assert shapely.get_coordinates(moved.frame.geometry.array)[0] == pytest.approx([x * unit_m, y * unit_m], abs=1e-3)
    assert moved.accuracy_m == 0


@pytest.mark.cited("../shared/checks/overlay_and_clusters.md, 4.4 and test row 19 (pyproj, run there)")
def test_us_survey_feet_of_one_state_give_the_published_northing() -> None:
    moved = place.to_site_crs(points("EPSG:4269", (-79.0, 35.8)), CRS("EPSG:4269"), "EPSG:32119")
    northing_m = shapely.get_coordinates(moved.frame.geometry.array)[0, 1]
    assert northing_m == pytest.approx(227410.6822, abs=1e-3)
    assert northing_m / (1200 / 3937) == pytest.approx(746096.5466, abs=1e-3)


@pytest.mark.parametrize(
    ("code", "at", "grid"),
    [
        ("EPSG:4326", (139.6, -33.9), "EPSG:32754"),
        ("EPSG:4326", (-121.3, 44.0), "EPSG:32610"),
        ("EPSG:7844", (139.6, -33.9), "EPSG:7854"),
        ("EPSG:4269", (-121.0, 44.0), "EPSG:26910"),
        ("EPSG:4258", (10.5, 60.0), "EPSG:25832"),
        ("EPSG:4258", (5.5, 60.3), "EPSG:25831"),
        ("EPSG:6668", (140.0, 36.0), "EPSG:6691"),
        ("EPSG:3857", (-13506080.0, 5473480.0), "EPSG:32610"),
        ("EPSG:32636", (400000.0, 5450000.0), "EPSG:32636"),
        ("EPSG:2193", (1600000.0, 5400000.0), "EPSG:2193"),
    ],
)
def test_the_grid_of_a_site_comes_from_its_first_layer(code: str, at: tuple[float, float], grid: str) -> None:
    assert chosen(code, at).code == grid


def test_a_ground_across_180_degrees_gets_a_zone_there() -> None:
    assert chosen("EPSG:4326", (179.995, -17.0), (-179.999, -17.0), (179.999, -17.0)).code in (
        "EPSG:32760",
        "EPSG:32701",
    )
    lonlat = np.array([[179.995, -17.0], [-179.995, -17.0]])
    place.check_width(lonlat, np.array(["a", "b"], dtype=object))


def test_web_mercator_is_never_kept_not_even_at_the_equator() -> None:
    assert chosen("EPSG:3857", (0.0, 0.0)).code != "EPSG:3857"
    with pytest.raises(CrsError, match=r"1 / cos\(latitude\)"):
        place.metric_crs("EPSG:3857")


def test_a_metric_grid_that_stretches_too_much_here_is_left_with_the_reason() -> None:
    found = chosen("EPSG:2154", (650000.0, 7060000.0))
    assert found.code != "EPSG:2154"
    assert "EPSG:2154 are off by 1 in" in found.basis
    assert systems.scale_error(CRS(found.code), (2.3, 50.6)) < place.MAX_SCALE_ERROR


def test_at_the_edge_of_a_zone_near_the_equator_the_stretch_is_assumed_aloud() -> None:
    found = chosen("EPSG:4326", (-66.0, -3.0))
    assert "lengths on EPSG:32720 are off by 1 in 1,0" in found.assumed[0]


@settings(max_examples=20)  # the data base of systems is asked each time
@given(st.floats(-179, 179), st.floats(-79, 79))
def test_the_scale_error_is_that_of_the_geodesic(lon: float, lat: float) -> None:
    found = chosen("EPSG:4326", (lon, lat))
    crs = CRS(found.code)
    geod = Geod(ellps="WGS84")
    east, north, _ = geod.fwd(lon, lat, 45.0, 100.0)
    moved = place.to_site_crs(points("EPSG:4326", (lon, lat), (east, north)), CRS("EPSG:4326"), found.code).frame
    on_grid_m = moved.geometry.iloc[0].distance(moved.geometry.iloc[1])
    assert abs(on_grid_m / 100.0 - 1) <= systems.scale_error(crs, (lon, lat)) + 1e-6
    assert abs(on_grid_m / 100.0 - 1) < 1 / 1000


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("EPSG:2286", r"not a map grid in metres(.|\n)*EPSG:32149"),
        ("EPSG:4326", "not a map grid in metres"),
        ("EPSG:99999", "no coordinate reference system known"),
        ("nonsense", "no coordinate reference system known"),
        ("EPSG:32600", "no formulas are known"),
        ("+proj=tmerc +lat_0=-33 +lon_0=139 +datum=WGS84 +units=m", "has no code"),
    ],
)
def test_a_typed_site_grid_must_be_metres_of_a_known_place(text: str, words: str) -> None:
    with pytest.raises(CrsError, match=words):
        place.metric_crs(text)
    assert place.metric_crs("epsg:7854") == "EPSG:7854"


def test_axis_order_is_always_east_north() -> None:
    moved = place.to_site_crs(points("EPSG:4326", (13.0, 52.0)), CRS("EPSG:4326"), "EPSG:32633").frame
    assert shapely.get_coordinates(moved.geometry.array)[0] == pytest.approx([362705.634, 5762926.813], abs=1e-3)


def test_the_accuracy_between_datums_is_said() -> None:
    moved = place.to_site_crs(points("EPSG:4326", (139.6, -33.9)), CRS("EPSG:4326"), "EPSG:7854")
    assert moved.accuracy_m == 3.0
    assert "accuracy 3 m as published" in moved.words
    same = place.to_site_crs(points("EPSG:7854", (372000.0, 6250000.0)), CRS("EPSG:7854"), "EPSG:7854")
    assert (same.accuracy_m, same.words) == (0.0, "as it is, in EPSG:7854")


def test_a_place_that_is_not_on_the_grid_is_an_error_not_infinity() -> None:
    with pytest.raises(CrsError, match="do not exist on EPSG:32633"):
        place.to_site_crs(points("EPSG:4326", (13.0, 52.0), (1000.0, 52.0)), CRS("EPSG:4326"), "EPSG:32633")


def test_a_site_wider_than_30_km_is_refused_with_the_rows_far_away() -> None:
    lonlat = np.array([[10.0, 50.0], [10.001, 50.0], [10.0, 50.001], [10.5, 50.0]])
    with pytest.raises(CrsError, match=r"35\.\d km wide(.|\n)*far \(35\.\d km\)(.|\n)*several sites"):
        place.check_width(lonlat, np.array(["a", "b", "c", "far"], dtype=object))
    place.check_width(lonlat[:3], np.array(["a", "b", "c"], dtype=object))


def test_a_typed_grid_that_does_not_suit_the_place_is_refused_with_one_that_does() -> None:
    with pytest.raises(CrsError, match=r"off by(.|\n)*--crs EPSG:32610"):
        place.check_scale("EPSG:32633", np.array([[-121.3, 44.0]]))
    assert place.check_scale("EPSG:32610", np.array([[-121.3, 44.0]])) == ""


@pytest.mark.cited("../shared/checks/overlay_and_clusters.md, 4.4: compare factors of feet, not names")
@pytest.mark.parametrize("unit", ['UNIT["US survey foot",0.3048]', 'UNIT["Foot_US",0.3048]'])
def test_a_foot_with_the_factor_of_the_other_foot_is_not_understood(unit: str) -> None:
    text = CRS("EPSG:2264").to_wkt("WKT1_ESRI")
    crs, trouble = systems.understood(text[: text.rindex("UNIT[")] + unit + "]")
    assert crs is None
    assert "the other foot" in trouble


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ("urn:ogc:def:crs:EPSG::999999", "nobody knows"),
        ('LOCAL_CS["site grid",UNIT["metre",1]]', "local grid"),
        (
            'GEOGCS["x",DATUM["D_unknown",SPHEROID["GRS80",6378137,298.257222101]],PRIMEM["G",0],UNIT["Degree",0.0174532925199433]]',
            "datum nobody can name",
        ),
    ],
)
def test_what_a_file_says_and_nobody_knows_is_told(said: str, words: str) -> None:
    crs, trouble = systems.understood(said)
    assert crs is None
    assert words in trouble


@pytest.mark.parametrize("code", [4326, 7854, 2263, 2264, 2992, 27700, 2193, 32610, 3857, 27572, 31467, 21781])
@pytest.mark.parametrize("form", ["WKT1_ESRI", "WKT1_GDAL", "WKT2_2019"])
def test_a_system_is_the_same_however_a_file_writes_it(code: int, form: str) -> None:
    written = CRS(CRS.from_epsg(code).to_wkt(form))
    assert systems.same(written, CRS.from_epsg(code))
    assert systems.understood(written)[0] is not None


def test_a_cone_is_the_same_whichever_parallel_comes_first() -> None:
    text = CRS("EPSG:2263").to_wkt("WKT1_ESRI")
    one, two = text.index("Standard_Parallel_1"), text.index("Standard_Parallel_2")
    turned = text[:one] + "Standard_Parallel_2" + text[one + 19 : two] + "Standard_Parallel_1" + text[two + 19 :]
    assert place.metric_twin(CRS(turned)) == "EPSG:32118"


@pytest.mark.parametrize(("one", "other"), [(4326, 4269), (2264, 32119), (32610, 26910), (32610, 32611), (4326, 32610)])
def test_different_systems_are_not_the_same(one: int, other: int) -> None:
    assert not systems.same(CRS.from_epsg(one), CRS.from_epsg(other))


def test_longitudes_from_paris_in_grads_are_placed_right() -> None:
    lonlat = systems.lonlat_deg(CRS("EPSG:27572"), np.array([[600000.0, 2200000.0]]))
    assert lonlat[0] == pytest.approx([2.3372, 46.8], abs=1e-3)
