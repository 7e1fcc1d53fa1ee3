"""Signs, datums and units that are easily mistaken: asked about, never passed over."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from gravegis.errors import GravegisError
from gravegis.layers import crs as systems
from gravegis.layers import propose
from gravegis.layers.bring import bring_in
from gravegis.layers.mapping import apply_mapping
from gravegis.layers.mapping_file import read_mapping, write_mapping
from gravegis.layers.schema import layer
from gravegis.layers.signs import across_the_world, lacks_sign, turned, within
from gravegis.layers.suggest import look
from gravegis.site import Site, SiteInfo

if TYPE_CHECKING:
    from pathlib import Path

WEST = "S1,44.05,-121.3\nS2,44.0501,-121.3\n"


def new(time_zone: str = "") -> Site:
    return Site(SiteInfo("t", "", time_zone=time_zone))


def file(tmp_path: Path, text: str, name: str = "a.csv") -> Path:
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return path


def refusal(site: Site, layer_name: str, path: Path, **options: object) -> str:
    with pytest.raises(GravegisError) as caught:
        bring_in(site, layer_name, path, **options)  # type: ignore[arg-type]
    return str(caught.value)


@pytest.mark.cited("tz database, zone.tab: Los Angeles 34.05 N 118.24 W, Adelaide 34.92 S 138.58 E")
def test_the_town_of_a_time_zone_tells_which_minus_is_missing() -> None:
    assert across_the_world((121.3, 44.05), "America/Los_Angeles") == "longitude"
    assert across_the_world((139.6, 33.9), "Australia/Adelaide") == "latitude"
    assert across_the_world((-139.6, 33.9), "Australia/Adelaide") == "longitude and latitude"
    assert across_the_world((-121.3, 44.05), "America/Los_Angeles") == ""
    assert across_the_world((114.0, -22.0), "Australia/Adelaide") == ""
    assert across_the_world((121.3, 44.05), "Etc/UTC") == ""
    assert across_the_world((10.0, 10.0), "America/Los_Angeles") == ""  # foreign, but no sign brings it home


def test_a_sign_is_missed_only_where_the_other_one_brings_every_row_home() -> None:
    import numpy as np

    home = (-121.3, 44.05)
    assert lacks_sign(np.array([[121.3, 44.05], [121.301, 44.05]]), home, 15_000) == "longitude"
    assert lacks_sign(np.array([[121.3, 44.05], [100.0, 44.05]]), home, 15_000) == ""
    assert lacks_sign(np.empty((0, 2)), home, 15_000) == ""
    assert dict(turned((1.0, 2.0)))["latitude"] == (1.0, -2.0)
    assert within((179.5, 0.0), (170.0, -1.0, -170.0, 1.0))
    assert not within((160.0, 0.0), (170.0, -1.0, -170.0, 1.0))


def test_a_ground_on_the_wrong_side_of_the_earth_is_refused_with_the_sign_named(tmp_path: Path) -> None:
    path = file(tmp_path, "stone_id,lat,lon\n" + WEST.replace("-121", "121"))
    said = refusal(new("America/Los_Angeles"), "stones", path)
    assert "The longitude seems to lack its minus" in said
    assert bring_in(new(), "stones", path).site.info.crs == "EPSG:32651"


def test_rows_of_the_other_sign_are_told_to_lack_a_minus_there_or_in_the_others(tmp_path: Path) -> None:
    path = file(tmp_path, "stone_id,lat,lon\nS1,44.05,-121.3\nS2,44.05,121.3\nS3,44.05,121.3\n")
    assert "With the other sign in front of their longitude these rows lie among the others" in refusal(
        new(), "stones", path
    )


def test_a_datum_in_a_column_is_asked_about_and_two_are_refused(tmp_path: Path) -> None:
    head = "stone_id,lat,lon,datum\n"
    nad27 = file(tmp_path, head + WEST.replace("\n", ",NAD27\n"))
    said = refusal(new(), "stones", nad27)
    assert "it says NAD27" in said
    assert "--crs EPSG:4267" in said
    assert "EPSG:4267, as typed" in " ".join(bring_in(new(), "stones", nad27, crs="EPSG:4267").assumed)
    typed = bring_in(new(), "stones", nad27, crs="EPSG:4326")
    assert "column 'datum' says NAD27, --crs says EPSG:4326: read as typed" in typed.warnings
    two = file(tmp_path, head + "S1,44.05,-121.3,WGS84\nS2,44.0501,-121.3,NAD27\n")
    assert "several reference systems: WGS84 (1 row), NAD27 (1 row)" in refusal(new(), "stones", two)
    same = bring_in(new(), "stones", file(tmp_path, head + "S1,44.05,-121.3,WGS84\nS2,44.0501,-121.3,wgs 84\n"))
    assert not any("another datum" in words for words in same.assumed)
    odd = bring_in(new(), "stones", file(tmp_path, head + WEST.replace("\n", ",somebody's\n")))
    assert "column 'datum' says 'somebody's', which is no reference system known here" in odd.warnings


def test_web_maps_come_before_what_lies_kilometres_off(tmp_path: Path) -> None:
    site = bring_in(new(), "stones", file(tmp_path, "stone_id,lat,lon\n" + WEST)).site
    web = file(tmp_path, "head_id,kind,x,y\nH1,rotor,-13503053,5473800\nH2,rotor,-13503060,5473800\n")
    said = refusal(site, "heads", web)
    assert said.index("EPSG:3857") > 0
    assert "EPSG:3395" not in said
    assert "EPSG:3857  (the grid of web maps; then it lies at longitude -121.30, latitude 44.05)" in refusal(
        new(), "heads", web
    )


def test_a_grid_of_its_own_is_pointed_to_control_points(tmp_path: Path) -> None:
    own = file(tmp_path, "stone_id,x,y\nS1,10.5,20.5\nS2,400.5,900\n")
    said = refusal(new(), "stones", own)
    assert "--control FILE" in said
    assert "not read yet" not in said


def test_bare_figures_without_a_unit_are_asked_about_by_name_by_mapping_and_in_a_look(tmp_path: Path) -> None:
    path = file(tmp_path, "head_id,lat,lon,radius\nH1,44.05,-121.3,15\nH2,44.0501,-121.3,18\n")
    wanted = '--column throw_m="radius m" or --column throw_m="radius ft"'
    assert wanted in refusal(new(), "heads", path, mapping=["throw_m=radius"])
    (row,) = [one for one in look("heads", path).rows if one.in_file == "radius"]
    assert (row.becomes, row.unit, row.taken) == ("throw_m", "", False)
    assert "in m or ft?" in row.why
    saved = tmp_path / "m.csv"
    write_mapping(saved, [(what.rstrip("?"), *rest) for what, *rest in look("heads", path).lines])  # type: ignore[misc]
    assert wanted in refusal(new(), "heads", path, mapping=read_mapping(saved).columns)
    feet = bring_in(new(), "heads", path, mapping=["throw_m=radius ft"])
    assert feet.site["heads"]["throw_m"].tolist() == pytest.approx([4.572, 5.4864])
    assert "throw_m: bare figures of 'radius' are taken as ft, as typed" in feet.notes


def test_a_column_whose_every_value_carries_its_unit_needs_no_answer() -> None:
    import pandas as pd

    done = apply_mapping(pd.DataFrame({"head_id": ["a"], "radius": ["15 ft"]}), layer("heads"), ["throw_m=radius"])
    assert done.problems == ()


def test_names_cut_to_ten_letters_are_proposed_without_a_unit(tmp_path: Path) -> None:
    text = "head_id,lat,lon,RADIUS_FEE,RISER_HEIG,PRESSURE_P,TEN_LETTER\nH1,44.05,-121.3,15,4,50,x\n"
    rows = {one.in_file: one for one in look("heads", file(tmp_path, text), mapping=["kind=TEN_LETTER"]).rows}
    assert {name: (rows[name].becomes, rows[name].unit, rows[name].taken)
            for name in ("RADIUS_FEE", "RISER_HEIG", "PRESSURE_P")} == {
        "RADIUS_FEE": ("throw_m", "", False), "RISER_HEIG": ("riser_m", "", False),
        "PRESSURE_P": ("pressure_kpa", "", False)}  # fmt: skip


def test_a_replacement_that_renames_every_row_is_told(tmp_path: Path) -> None:
    site = bring_in(new(), "stones", file(tmp_path, "stone_id,lat,lon\n" + WEST)).site
    other = bring_in(site, "stones", file(tmp_path, "stone_id,lat,lon\n" + WEST.replace("S", "T")))
    assert any("none of the 2 names that were there (S1, ...)" in words for words in other.warnings)
    again = bring_in(site, "stones", file(tmp_path, "stone_id,lat,lon\n" + WEST))
    assert not any("names that were there" in words for words in again.warnings)


def test_a_way_point_beyond_the_pole_is_set_aside_by_name(tmp_path: Path) -> None:
    points = "".join(
        f'<wpt lat="{lat}" lon="-121.3"><name>{name}</name></wpt>'
        for name, lat in (("A", 44.05), ("B", 95), ("C", 44.0501))
    )
    path = file(tmp_path, f'<gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1">{points}</gpx>', "a.gpx")
    done = bring_in(new(), "stones", path, mapping=["stone_id=name"])
    assert done.site["stones"]["stone_id"].tolist() == ["A", "C"]
    assert any("1 row set aside: latitude beyond 90" in words and "B" in words for words in done.warnings)


def test_systems_far_worse_than_the_best_are_not_proposed() -> None:
    import numpy as np
    from pyproj import CRS

    near = propose.Near(CRS.from_epsg(32610), (636000.0, 4878000.0, 636200.0, 4878200.0))
    lonlat = systems.lonlat_deg(near.crs, np.array([[636100.0, 4878100.0]]))
    found = propose.propose_crs(lonlat, near)
    assert found[0].code == "EPSG:4326"
