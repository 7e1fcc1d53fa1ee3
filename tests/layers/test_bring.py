from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from gravegis.errors import CrsError, GravegisError, LayerError
from gravegis.layers import canonical
from gravegis.layers.bring import Brought, bring_in
from gravegis.site import Site, SiteInfo

if TYPE_CHECKING:
    from pathlib import Path

CRS = "EPSG:7854"
E, N = 372000.0, 6250000.0


def new(crs: str = "") -> Site:
    return Site(SiteInfo("Test ground", crs))


def state(site: Site) -> dict[str, str]:
    return {name: canonical.content_hash(site[name]) for name in site} | {"info": repr(site.info)}


def csv(path: Path, text: str) -> Path:
    path.write_text(text, encoding="utf-8")
    return path


def plots(path: Path, crs: str = CRS) -> Path:
    shapes = [shapely.box(E + i, N, E + i + 1, N + 2) for i in range(4)]
    frame = gpd.GeoDataFrame({"plot_id": [f"p{i}" for i in range(4)], "section": "A"}, geometry=shapes, crs=CRS)
    pyogrio.write_dataframe(frame.to_crs(crs), path)
    return path


def with_plots(tmp_path: Path) -> Site:
    return bring_in(new(), "plots", plots(tmp_path / "plots.gpkg")).site


def refused(site: Site, layer: str, path: Path, **options: Any) -> GravegisError:
    """Return the one error a file ends in; the site stays as it was."""
    before = state(site)
    with pytest.raises(GravegisError) as caught:
        bring_in(site, layer, path, **options)
    assert state(site) == before
    return caught.value


def test_the_first_layer_gives_the_site_its_grid(tmp_path: Path) -> None:
    before = new()
    brought = bring_in(before, "plots", plots(tmp_path / "plots.gpkg"))
    assert brought.site.info.crs == CRS
    assert "kept from the first layer (plots.gpkg)" in brought.site.info.crs_basis
    assert (before.info.crs, len(before)) == ("", 0)
    assert brought.site.info.sources == ("plots: plots.gpkg",)


def test_every_layer_lies_on_the_grid_of_the_site_whatever_it_came_in(tmp_path: Path) -> None:
    site = with_plots(tmp_path)
    for number, crs in enumerate(("EPSG:7844", "EPSG:7853", "EPSG:28354")):
        brought = bring_in(site, "plots", plots(tmp_path / f"{number}.gpkg", crs))
        moved = shapely.get_coordinates(brought.site["plots"].geometry.array)
        kept = shapely.get_coordinates(site["plots"].geometry.array)
        assert brought.site["plots"].crs == CRS
        # the last is another datum: the published transformations are 0.05 m and better
        assert np.abs(np.sort(moved, axis=0) - np.sort(kept, axis=0)).max() < (1e-4 if number < 2 else 0.5)
        assert any("is replaced" in note for note in brought.notes)


def test_a_table_among_the_layers_comes_in_on_their_grid(tmp_path: Path) -> None:
    text = f"head_id;easting;northing;throw_m\n007;{E + 1:.2f};{N + 1:.2f};10,5\n".replace(".", ",")
    brought = bring_in(with_plots(tmp_path), "heads", csv(tmp_path / "heads.csv", text))
    heads = brought.site["heads"]
    assert heads["head_id"].tolist() == ["007"]
    assert heads["throw_m"].tolist() == [10.5]
    assert shapely.get_coordinates(heads.geometry.array).tolist() == [[E + 1, N + 1]]
    assert any("read as EPSG:7854, the grid of the site" in words for words in brought.assumed)


def test_the_first_table_is_refused_without_a_reference_system_and_taken_with_one(tmp_path: Path) -> None:
    path = csv(tmp_path / "heads.csv", f"head_id,x,y,throw_m\n1,{E},{N},10\n")
    error = refused(new(), "heads", path)
    assert isinstance(error, CrsError)
    assert "--crs EPSG:327ZZ" in str(error)
    brought = bring_in(new(), "heads", path, crs=CRS)
    assert brought.site.info.crs == CRS
    assert "as typed" in brought.site.info.crs_basis


def test_columns_of_longitude_and_latitude_are_assumed_to_be_wgs84_aloud(tmp_path: Path) -> None:
    path = csv(
        tmp_path / "heads.csv", 'head_id,Lat,Long,throw_m\n1,"33°52\'58.0""S",139.6159,10\n2,-33.8827,139.616,9\n'
    )
    brought = bring_in(new(), "heads", path)
    assert brought.site.info.crs == "EPSG:32754"
    assert any("WGS 84" in words for words in brought.assumed)
    lat = gpd.GeoDataFrame(brought.site["heads"]).to_crs("EPSG:4326").geometry.y
    assert lat.tolist() == pytest.approx([-(33 + 52 / 60 + 58 / 3600), -33.8827], abs=1e-9)


def test_outlines_as_text_come_in(tmp_path: Path) -> None:
    path = csv(
        tmp_path / "a.csv", f'plot_id,wkt\n1,"POLYGON(({E} {N},{E + 1} {N},{E + 1} {N + 2},{E} {N}))"\n2,"POLYGON(("\n'
    )
    assert "no outline can be read in row 2" in str(refused(new(), "plots", path, crs=CRS))
    path.write_text(path.read_text().splitlines()[0] + "\n" + path.read_text().splitlines()[1] + "\n")
    assert bring_in(new(), "plots", path, crs=CRS).site["plots"].area.tolist() == pytest.approx([1.0])


def test_all_problems_of_a_file_come_in_one_error(tmp_path: Path) -> None:
    text = "stone_id,x,y,height_m,year,quick_score\n1,one,2,tall,old,7\n1,3,4,1,1900,1\n"
    error = refused(new(), "stones", csv(tmp_path / "s.csv", text), mapping=["width_m=W"])
    words = str(error)
    for part in (
        "no column 'W'",
        "'one' in row 1",
        "'tall' in row 1",
        "7 in row 1",
        "stone_id stand more than once",
    ):
        assert part in words
    assert all(problem.where.startswith("s.csv") for problem in error.problems)


def test_a_table_without_coordinates_is_refused_with_its_columns(tmp_path: Path) -> None:
    error = refused(new(), "stones", csv(tmp_path / "s.csv", "stone_id,place\n1,left\n"))
    assert "--column x=... --column y=...; the file has: stone_id, place" in str(error)


def test_two_pairs_of_coordinates_are_asked_about(tmp_path: Path) -> None:
    path = csv(tmp_path / "s.csv", f"stone_id,X,Y,LON,LAT\n1,{E},{N},139.6,-33.9\n")
    assert '--column x="X" --column y="Y"' in str(refused(new(), "stones", path))
    brought = bring_in(new(), "stones", path, mapping=["x=X", "y=Y"], crs=CRS)
    assert brought.site["stones"]["LON"].tolist() == ["139.6"]
    assert "X" not in brought.site["stones"].columns


def test_layers_without_a_place_need_none(tmp_path: Path) -> None:
    path = csv(tmp_path / "z.csv", "zone_id,notes\n01,front\n")
    brought = bring_in(new(), "zones", path)
    assert brought.site["zones"]["zone_id"].tolist() == ["01"]
    assert brought.site.info.crs == ""
    seen = csv(tmp_path / "o.csv", "observation_id,stone_id,seen\n1,S1,wetted\n")
    assert len(bring_in(new(), "observations", seen).site["observations"]) == 1


def test_rows_without_a_name_are_told_with_the_rest(tmp_path: Path) -> None:
    error = refused(new(), "zones", csv(tmp_path / "z.csv", "zone_id,valve_limit_l_min\nA,1\n,x\n,2\nA,3\n"))
    assert "2 of 4 rows without a zone_id: row 2, 3" in str(error)
    assert "'x' in row 2" in str(error)
    assert "stand more than once, such as A" in str(error)


def test_a_missing_column_is_asked_for_with_the_ready_made_option(tmp_path: Path) -> None:
    error = refused(new(), "findings", csv(tmp_path / "f.csv", "Stone No,decay\nS1,lichen\n"))
    assert '--column stone_id="Stone No"' in str(error)
    assert '--column pattern="decay"' in str(error)


def test_results_and_unknown_layers_are_not_brought_in(tmp_path: Path) -> None:
    path = csv(tmp_path / "a.csv", "a\n1\n")
    assert "worked out, not brought in" in str(refused(new(), "worklist", path))
    assert "no layer called" in str(refused(new(), "graves", path))


def test_a_layer_of_the_wrong_kind_is_refused(tmp_path: Path) -> None:
    error = refused(new(), "heads", plots(tmp_path / "plots.gpkg"), mapping=["kind=section"])
    assert "4 rows with outlines, which do not fit layer heads (points)" in str(error)


def test_swapped_coordinates_are_refused_and_taken_with_the_option(tmp_path: Path) -> None:
    site = with_plots(tmp_path)
    path = csv(tmp_path / "h.csv", f"head_id,x,y,throw_m\n1,{N + 1},{E + 1},10\n")
    assert "--swap-xy --crs EPSG:7854" in str(refused(site, "heads", path))
    assert "--swap-xy" in str(refused(site, "heads", path, crs=CRS))
    brought = bring_in(site, "heads", path, crs=CRS, swap_xy=True)
    assert shapely.get_coordinates(brought.site["heads"].geometry.array).tolist() == [[E + 1, N + 1]]


def test_a_layer_far_from_the_site_is_refused_with_its_rows(tmp_path: Path) -> None:
    site = with_plots(tmp_path)
    path = csv(tmp_path / "h.csv", f"head_id,x,y,throw_m\nnear,{E},{N},10\nfar,{E + 60_000},{N},10\n")
    error = refused(site, "heads", path, crs=CRS)
    assert isinstance(error, CrsError)
    assert "far (59." in str(error)
    assert "near (" not in str(error)


def test_gaps_are_filled_by_place_whichever_layer_comes_first(tmp_path: Path) -> None:
    stones = csv(tmp_path / "s.csv", f"stone_id,x,y\ns1,{E + 0.5},{N + 1}\ns2,{E + 2.5},{N + 1}\n")
    one = bring_in(with_plots(tmp_path), "stones", stones).site
    bare = bring_in(new(), "stones", stones, crs=CRS).site
    other = bring_in(bare, "plots", tmp_path / "plots.gpkg").site
    assert one["stones"]["plot_id"].tolist() == ["p0", "p2"]
    assert one["stones"]["section"].tolist() == ["A", "A"]
    assert canonical.equal(pd.DataFrame(one["stones"]), pd.DataFrame(other["stones"]))


def test_rows_set_aside_keep_the_numbers_of_the_file(tmp_path: Path) -> None:
    path = csv(tmp_path / "s.csv", f"x,y,material\n{E},{N},a\n,,b\n{E + 1},{N},c\n")
    brought = bring_in(new(), "stones", path, crs=CRS)
    assert brought.site["stones"]["stone_id"].tolist() == ["R0001", "R0003"]
    assert any("1 row without a place set aside: R0002" in words for words in brought.warnings)


def test_a_typed_grid_is_kept_and_the_first_layer_moved_to_it(tmp_path: Path) -> None:
    brought = bring_in(new("EPSG:32754"), "plots", plots(tmp_path / "plots.gpkg"))
    assert brought.site.info.crs == "EPSG:32754"
    assert brought.site["plots"].crs == "EPSG:32754"
    assert "off by" in str(refused(new("EPSG:32633"), "plots", tmp_path / "plots.gpkg"))


def test_an_empty_file_is_said(tmp_path: Path) -> None:
    path = csv(tmp_path / "s.csv", "stone_id,x,y\n")
    assert "no reference system yet" in str(refused(new(), "stones", path))
    brought = bring_in(new(CRS), "stones", path)
    assert len(brought.site["stones"]) == 0
    assert "the file has no rows" in brought.warnings


def test_a_file_without_rows_does_not_empty_a_layer(tmp_path: Path) -> None:
    site = bring_in(new(), "zones", csv(tmp_path / "z.csv", "zone_id\nZ1\n")).site
    assert "the 1 rows that are there are kept" in str(refused(site, "zones", csv(tmp_path / "e.csv", "zone_id\n")))


def test_links_that_lead_nowhere_are_told_on_the_way_in_and_assumptions_are_kept(tmp_path: Path) -> None:
    heads = csv(tmp_path / "h.csv", f"head_id,x,y,throw_m,zone_id\n1,{E},{N},9,Z9\n")
    site = bring_in(new(), "zones", csv(tmp_path / "z.csv", "zone_id\nZ1\n")).site
    brought = bring_in(site, "heads", heads, crs=CRS)
    assert any("name a zone_id that is not in zones: Z9" in words for words in brought.warnings)
    assert brought.site.info.assumed == ("heads: the file is read as EPSG:7854, as typed",)
    again = bring_in(brought.site, "heads", heads, crs=CRS)
    assert again.site.info.assumed == brought.site.info.assumed


def test_geojson_in_metres_without_a_member_is_refused(tmp_path: Path) -> None:
    feature = {"type": "Feature", "properties": {}, "geometry": {"type": "Point", "coordinates": [E, N]}}
    path = csv(tmp_path / "s.geojson", json.dumps({"type": "FeatureCollection", "features": [feature]}))
    error = refused(new(), "stones", path)
    assert "EPSG:4326 means degrees, but the numbers are not" in str(error)
    assert bring_in(new(), "stones", path, crs=CRS).site.info.crs == CRS


CELL = st.one_of(
    st.sampled_from(
        ["", "1", "1,5", "1.5", "-", "k.A.", "372000", "6250000.5", "12 ft", "139.6", "-33.9", "O 12", "007"]
    ),
    st.text(st.characters(categories=("L", "N", "P", "Zs")), max_size=6),
)
NAMES = st.lists(
    st.sampled_from(
        [
            "stone_id",
            "x",
            "y",
            "lat",
            "lon",
            "height_m",
            "facing_deg",
            "year",
            "id",
            "wkt",
            "geometry",
            "Throw (ft)",
            "a;b",
        ]
    ),
    min_size=1,
    max_size=6,
)


@settings(max_examples=150)
@given(st.data())
def test_any_table_comes_in_or_ends_in_one_clear_error(
    tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    names = data.draw(NAMES)
    rows = data.draw(st.lists(st.lists(CELL, min_size=len(names), max_size=len(names)), max_size=4))
    quoted = ["\t".join(cell.replace("\t", " ") for cell in row) for row in [names, *rows]]
    path = csv(tmp_path_factory.mktemp("b") / "s.csv", "\n".join(quoted))
    site, before = new(CRS), state(new(CRS))
    layer, crs = (
        data.draw(st.sampled_from(["stones", "heads", "findings", "observations"])),
        data.draw(st.sampled_from([None, CRS, "EPSG:4326"])),
    )
    try:
        brought: Brought[Site] = bring_in(site, layer, path, crs=crs)
    except LayerError as error:
        assert error.problems  # noqa: PT017 - either outcome is right, but a refusal says why
    else:
        assert canonical.equal(canonical.conform(brought.site[layer], layer), brought.site[layer])
    assert state(site) == before
