"""Places that are not plain coordinates: receivers' minutes, local grids, tapes, compass bearings, landmarks."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pyproj
import pytest
import shapely

from gravegis.errors import GravegisError, LayerError
from gravegis.layers import crs as systems
from gravegis.layers.bring import bring_in
from gravegis.layers.north import true_north_on_grid_deg
from gravegis.layers.read.angles import parse_angle
from gravegis.site import Site, SiteInfo
from tests.layers import every_kind

if TYPE_CHECKING:
    from pathlib import Path

E, N = every_kind.EAST, every_kind.NORTH
PLACES = ("stones", "heads")


def new() -> Site:
    return Site(SiteInfo("Test ground", ""))


def ground(tmp_path: Path) -> Site:
    """Three stones at the corners of a right triangle of 4 and 6 m."""
    text = f"stone_id,x,y\nK1,{E},{N}\nK2,{E + 4},{N}\nK3,{E},{N + 6}\n"
    (tmp_path / "known.csv").write_text(text)
    return bring_in(new(), "stones", tmp_path / "known.csv", crs="EPSG:7854").site


def write(path: Path, text: str) -> Path:
    path.write_text(text, encoding="utf-8")
    return path


def xy(frame: Any) -> np.ndarray[Any, Any]:
    return shapely.get_coordinates(np.asarray(frame.geometry.array, dtype=object))


@pytest.mark.cited("NMEA 0183, sentence GGA: latitude ddmm.mmmm, longitude dddmm.mmmm; 60 minutes are a degree")
@pytest.mark.parametrize(
    ("text", "axis", "degrees"),
    [
        ("4403.0083 N", "lat", 44 + 3.0083 / 60), ("4403.0083N", "lat", 44 + 3.0083 / 60),
        ("S3352.758", "lat", -(33 + 52.758 / 60)), ("12119.7967 W", "lon", -(121 + 19.7967 / 60)),
        ("00015.0000 E", "lon", 0.25),
    ],
)  # fmt: skip
def test_degrees_and_minutes_run_together_are_read_with_their_letter(text: str, axis: str, degrees: float) -> None:
    if axis == "lon" and text.startswith("000"):  # it could be 15 degrees with zeros in front: not read
        with pytest.raises(ValueError, match="longitude"):
            parse_angle(text, axis)
    else:
        assert parse_angle(text, axis) == pytest.approx(degrees, abs=1e-12)


def test_letters_may_stand_in_columns_of_their_own(tmp_path: Path) -> None:
    path = write(tmp_path / "a.csv", "stone_id,lat,N/S,lon,E/W\nA,3352.758,S,13936.858,E\nB,3352.760,S,13936.860,E\n")
    stones = bring_in(new(), "stones", path).site["stones"]
    degrees = gpd.GeoSeries(stones.geometry).to_crs("EPSG:4326")
    assert degrees.x.iloc[0] == pytest.approx(139 + 36.858 / 60, abs=1e-8)
    assert degrees.y.iloc[0] == pytest.approx(-(33 + 52.758 / 60), abs=1e-8)
    assert "N/S" not in stones.columns


def test_without_a_letter_the_quarter_of_the_sky_is_asked_for(tmp_path: Path) -> None:
    path = write(tmp_path / "a.csv", "stone_id,lat,lon\nA,3352.758,13936.858\n")
    with pytest.raises(LayerError, match=r"'3352\.758' in row 1 looks like degrees and minutes run together"):
        bring_in(new(), "stones", path)


def lay(x: float, y: float) -> tuple[float, float]:
    """Carry a local place in feet to the ground, in plain trigonometry: turned 30 degrees clockwise."""
    turn = np.radians(30.0)
    return (E + 0.3048 * (x * np.cos(turn) + y * np.sin(turn)), N + 0.3048 * (-x * np.sin(turn) + y * np.cos(turn)))


def control(path: Path, names: list[tuple[str, float, float]], *, off: float = 0.0) -> Path:
    rows = [(name, x, y, *lay(x, y)) for name, x, y in names]
    rows[0] = (*rows[0][:3], rows[0][3] + off, rows[0][4])
    text = "\n".join(f"{name},{x},{y},{east:.4f},{north:.4f}" for name, x, y, east, north in rows)
    return write(path, f"name,local_x,local_y,map_x,map_y\n{text}\n")


CORNERS = [("gate", 0.0, 0.0), ("tap", 100.0, 0.0), ("oak", 0.0, 200.0)]


@pytest.mark.parametrize("points", [2, 3])
def test_a_plat_grid_is_laid_by_control_points_and_what_is_left_over_is_told(tmp_path: Path, points: int) -> None:
    marks = control(tmp_path / "c.csv", CORNERS[:points])
    path = write(tmp_path / "a.csv", "stone_id,x,y\nA,10,20\nB,50,150\n")
    brought = bring_in(new(), "stones", path, control=marks, crs="EPSG:7854")
    assert xy(brought.site["stones"]) == pytest.approx(np.array([lay(10, 20), lay(50, 150)]), abs=1e-3)
    assert brought.site.info.crs == "EPSG:7854"
    said = " ".join(brought.assumed)
    assert "turned 30.00 degrees clockwise, one local unit is 0.3048 m (feet)" in said
    assert ("leave nothing to check" in said) == (points == 2)
    assert ("left over at the control points: gate 0.000 m" in said) == (points == 3)
    assert any("local grid laid" in words for words in brought.site.info.assumed)  # kept, and printed on maps


def test_control_points_in_degrees_place_a_drawing(tmp_path: Path) -> None:
    every_kind.plat(tmp_path / "a.dxf", origin=(0.0, 0.0))
    back = pyproj.Transformer.from_crs("EPSG:7854", "EPSG:4326", always_xy=True)
    rows = []
    for name, x, y in (("one", 0, 0), ("two", 8, 0), ("three", 0, 3)):
        lon, lat = back.transform(E + x, N + y)
        rows.append(f"{name},{x},{y},{lon:.9f},{lat:.9f}")
    marks = write(tmp_path / "c.csv", "name,local_x,local_y,lon,lat\n" + "\n".join(rows))
    site = bring_in(new(), "plots", tmp_path / "a.dxf", file_layer="PLOT", control=marks).site
    assert site["plots"].geometry.area.tolist() == pytest.approx([1.2 * 2.4] * 4, rel=1e-3)
    assert site["plots"]["label"].tolist() == ["A-0", "A-1", "A-2", "A-3"]


@pytest.mark.parametrize(
    ("names", "off", "words"),
    [(CORNERS[:1], 0.0, "two control points are the least"), (CORNERS, 9.0, "do not fit each other: gate")],
)
def test_control_points_that_cannot_be_are_refused(
    tmp_path: Path, names: list[tuple[str, float, float]], off: float, words: str
) -> None:
    marks = control(tmp_path / "c.csv", names, off=off)
    path = write(tmp_path / "a.csv", "stone_id,x,y\nA,10,20\n")
    with pytest.raises(GravegisError, match=words):
        bring_in(new(), "stones", path, control=marks, crs="EPSG:7854")


def test_a_local_grid_that_is_mirrored_is_said_to_be(tmp_path: Path) -> None:
    marks = control(tmp_path / "c.csv", CORNERS)
    lines = [line.split(",") for line in marks.read_text().splitlines()]
    write(marks, "\n".join(",".join([one[0], one[2], one[1], *one[3:]]) if one[0] != "name" else ",".join(one)
                           for one in lines))  # fmt: skip
    with pytest.raises(LayerError, match="only if the local grid is mirrored"):
        bring_in(new(), "stones", write(tmp_path / "a.csv", "stone_id,x,y\nA,1,2\n"), control=marks, crs="EPSG:7854")


def test_a_file_that_says_its_system_takes_no_control_points(tmp_path: Path) -> None:
    every_kind.make_all(tmp_path / "f")
    with pytest.raises(LayerError, match="so it is no local grid"):
        bring_in(new(), "stones", tmp_path / "f" / "a.gpkg", control=control(tmp_path / "c.csv", CORNERS))


TAPED = "head_id,throw_m,from_1,distance_1_m,from_2,distance_2_m,from_3,distance_3_m,side\n"


def test_heads_are_placed_by_tapes_from_stones(tmp_path: Path) -> None:
    rows = ["H1,5,K1,3,K2,5,,,left", "H2,5,K1,3,K2,5,,,right", f"H3,5,K1,5,K2,3,K3,{np.hypot(4, 3):.3f},"]
    brought = bring_in(ground(tmp_path), "heads", write(tmp_path / "h.csv", TAPED + "\n".join(rows)))
    heads = brought.site["heads"]
    # sides 3, 4, 5 and the corner at K1 or K2: plane geometry
    assert xy(heads) - [E, N] == pytest.approx(np.array([[0, 3], [0, -3], [4, 3]]), abs=1e-3)
    assert heads["position_basis"].tolist() == ["tape"] * 3
    # two tapes: the error of one, larger where they cross flat; a third tape makes it smaller
    assert (heads["position_error_m"].iloc[:2] > 0.1).all()
    assert 0.05 < heads["position_error_m"].iloc[2] < 0.1
    assert "from_1" not in heads.columns
    assert any(words.startswith("3 places from taped distances") for words in brought.notes)


def test_tapes_may_carry_feet_in_their_name_or_value(tmp_path: Path) -> None:
    head = TAPED.replace("distance_1_m", "distance_1_ft").replace("distance_2_m", "distance_2")
    row = f"H1,5,K1,{3 / 0.3048:.4f},K2,{5 / 0.3048:.4f} ft,,,left"
    heads = bring_in(ground(tmp_path), "heads", write(tmp_path / "h.csv", head + row)).site["heads"]
    assert xy(heads) - [E, N] == pytest.approx(np.array([[0, 3]]), abs=1e-3)


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("H1,5,K1,3,K2,5,,,", r"give two places: H1 is at \(372000\.00, 6250003\.00\) or \(372000\.00, 6249997"),
        ("H1,5,K1,1,K2,1,,,left", r"H1: the tapes do not meet: 2\.00 m are lacking"),
        ("H1,5,K9,3,K2,5,,,left", r"no layer holds: K9 \(of H1\)"),
        ("H1,5,K1,3,K2,near,,,left", r"1 value no distance: near"),
        ("H1,5,K1,3,K2,5,,,uphill", r"neither left nor right"),
    ],
)  # fmt: skip
def test_tapes_that_give_no_one_place_are_told(tmp_path: Path, row: str, words: str) -> None:
    with pytest.raises(LayerError, match=words):
        bring_in(ground(tmp_path), "heads", write(tmp_path / "h.csv", TAPED + row))


def test_tapes_need_something_known(tmp_path: Path) -> None:
    with pytest.raises(LayerError, match="need things the site knows the place of"):
        bring_in(new(), "heads", write(tmp_path / "h.csv", TAPED + "H1,5,K1,3,K2,5,,,left"))


ARCS = f"head_id,x,y,throw_m,arc_from_deg,arc_sweep_deg\nH1,{E},{N},5,355,90\nH2,{E + 9},{N},5,,\n"


def test_magnetic_bearings_are_turned_once_and_sweeps_are_not(tmp_path: Path) -> None:
    path = write(tmp_path / "h.csv", ARCS)
    how: Any = {"bearings": "magnetic", "declination_deg": 8.0}
    brought = bring_in(ground(tmp_path), "heads", path, **how)
    assert brought.site["heads"]["arc_from_deg"].tolist()[0] == 3.0
    assert brought.site["heads"]["arc_sweep_deg"].tolist()[0] == 90.0
    assert any("declination 8 degrees east as typed" in words for words in brought.assumed)
    plain = bring_in(ground(tmp_path), "heads", path)
    assert plain.site["heads"]["arc_from_deg"].tolist()[0] == 355.0
    assert any("taken to be counted from true north; nobody said" in words for words in plain.notes)


def test_a_row_that_says_true_is_not_turned_again(tmp_path: Path) -> None:
    text = f"stone_id,x,y,facing_deg,bearing_north\nA,{E},{N},10,magnetic\nB,{E + 2},{N},10,true\nC,{E + 4},{N},10,\n"
    how: Any = {"bearings": "magnetic", "declination_deg": -12.0, "crs": "EPSG:7854"}
    stones = bring_in(new(), "stones", write(tmp_path / "s.csv", text), **how).site["stones"]
    assert stones["facing_deg"].tolist() == [358.0, 10.0, 358.0]
    assert stones["bearing_north"].fillna("").tolist() == ["true", "true", "true"]
    stones.drop(columns="geometry").assign(x=[E, E + 2, E + 4], y=N).to_csv(tmp_path / "again.csv", index=False)
    again = bring_in(new(), "stones", tmp_path / "again.csv", **how).site["stones"]
    assert again["facing_deg"].tolist() == [358.0, 10.0, 358.0]


@pytest.mark.parametrize(
    ("how", "words"),
    [
        ({"bearings": "magnetic"}, "need the declination"), ({"declination_deg": 8.0}, "without --bearings magnetic"),
        ({"bearings": "grid"}, "not known"), ({"bearings": "magnetic", "declination_deg": 400.0}, "no declination"),
    ],
)  # fmt: skip
def test_half_told_bearings_are_refused(tmp_path: Path, how: Any, words: str) -> None:
    with pytest.raises(LayerError, match=words):
        bring_in(ground(tmp_path), "heads", write(tmp_path / "h.csv", ARCS), **how)


def test_edges_of_an_arc_are_told_by_two_landmarks(tmp_path: Path) -> None:
    text = f"head_id,x,y,throw_m,arc_left_at,arc_right_at\nH1,{E},{N - 5},9,K1,K2\nH2,{E + 4},{N - 5},9,H1,K2\n"
    brought = bring_in(ground(tmp_path), "heads", write(tmp_path / "h.csv", text))
    heads = brought.site["heads"].set_index("head_id")
    north = true_north_on_grid_deg("EPSG:7854", np.array([E]), np.array([N]))[0]
    # H1 looks due grid north at K1, and 4 m to the right of it at K2: atan(4 / 5)
    assert heads.loc["H1", "arc_from_deg"] == pytest.approx((0 - north) % 360, abs=1e-3)
    assert heads.loc["H1", "arc_sweep_deg"] == pytest.approx(np.degrees(np.arctan2(4, 5)), abs=1e-3)
    # H2 looks west at H1, then turns a quarter to the right to K2, due north
    assert heads.loc["H2", "arc_sweep_deg"] == pytest.approx(90.0, abs=1e-3)
    assert any("arcs of 2 heads worked out from two landmarks each: H1, H2" in words for words in brought.notes)


@pytest.mark.parametrize(
    ("left", "right", "words"),
    [("K9", "K2", r"no layer holds: K9 \(of H1\)"), ("K1", "", "one of two landmarks: H1"), ("K3", "K1", "stand on")],
)
def test_landmarks_that_tell_nothing_are_named(tmp_path: Path, left: str, right: str, words: str) -> None:
    y = N if words == "stand on" else N - 5
    text = f"head_id,x,y,throw_m,arc_left_at,arc_right_at\nH1,{E},{y},9,{left},{right}\n"
    with pytest.raises(LayerError, match=words):
        bring_in(ground(tmp_path), "heads", write(tmp_path / "h.csv", text))


def test_a_ground_across_the_antimeridian_keeps_its_lengths(tmp_path: Path) -> None:
    geod = pyproj.Geod(ellps="WGS84")
    lon, lat = 179.9999, -16.8
    places = [geod.fwd(lon, lat, 90.0, away)[:2] for away in (0, 10, 20, 30, 40)]
    assert {place[0] > 0 for place in places} == {True, False}
    text = "stone_id,lat,lon\n" + "\n".join(f"S{n},{y:.9f},{x:.9f}" for n, (x, y) in enumerate(places))
    site = bring_in(new(), "stones", write(tmp_path / "s.csv", text)).site
    at = xy(site["stones"])
    apart = np.hypot(*np.diff(at, axis=0).T)
    assert systems.named(site.info.crs).axis_info[0].unit_conversion_factor == 1.0
    assert apart == pytest.approx([10.0] * 4, abs=0.01)  # the grid stretches by at most 1 in 1,000
    head = f"head_id,lat,lon,throw_m\nH1,{lat},{-179.9999},5\n"
    heads = bring_in(site, "heads", write(tmp_path / "h.csv", head)).site["heads"]
    assert np.hypot(*(xy(heads)[0] - at[0])) < 25


def test_a_unit_of_lengths_for_degrees_is_refused(tmp_path: Path) -> None:
    with pytest.raises(LayerError, match="degrees, not counted in ft"):
        bring_in(new(), "stones", write(tmp_path / "a.csv", every_kind.CSV), unit="ft")


@pytest.mark.cited("../shared/checks/overlay_and_clusters.md, row 19: EPSG:2264 at (-79, 35.8), pyproj")
def test_survey_feet_are_not_international_feet(tmp_path: Path) -> None:
    text = "stone_id,x,y\nA,2000000.000,746096.5466\n"
    path = write(tmp_path / "a.csv", text)
    site = bring_in(new(), "stones", path, crs="EPSG:2264").site
    assert site.info.crs == "EPSG:32119"  # the same grid in metres
    at = xy(site["stones"])[0]
    assert at[1] == pytest.approx(227410.6822, abs=1e-3)
    degrees = gpd.GeoSeries(site["stones"].geometry).to_crs("EPSG:4269")
    assert (degrees.x.iloc[0], degrees.y.iloc[0]) == pytest.approx((-79.0, 35.8), abs=1e-7)
    wrong = bring_in(new(), "stones", path, crs="EPSG:2264", unit="ft")
    assert at[1] - xy(wrong.site["stones"])[0][1] == pytest.approx(0.4548, abs=1e-3)
    assert any("counted in ft, as typed" in words for words in wrong.assumed)


@pytest.mark.cited("../shared/checks/overlay_and_clusters.md, row 21: two systems in one overlay are an error")
def test_layers_in_two_systems_never_meet_unmoved(tmp_path: Path) -> None:
    site = ground(tmp_path)
    moved = gpd.GeoDataFrame(site["stones"].rename(columns={"stone_id": "head_id"}).assign(throw_m=5.0))
    with pytest.raises(LayerError, match="the layer lies in EPSG:4326, the site in EPSG:7854"):
        site.with_layers({"heads": moved.to_crs("EPSG:4326")})
    moved.to_crs("EPSG:28354")[["head_id", "throw_m", "geometry"]].to_file(tmp_path / "h.gpkg")
    heads = bring_in(site, "heads", tmp_path / "h.gpkg").site["heads"]
    assert heads.crs == site["stones"].crs
