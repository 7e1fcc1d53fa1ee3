"""Public files of people who never heard of gravegis: water, irrigation tests, a grid in R's format, pipes."""

from __future__ import annotations

import warnings
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
import shapely

from gravegis.errors import CrsError, LayerError
from gravegis.layers import schema
from gravegis.layers.bring import bring_in
from gravegis.layers.odd_values import odd_values
from gravegis.layers.read import read_file
from gravegis.layers.suggest import look
from gravegis.site import Site, SiteInfo

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture
def real(shared: Path) -> Path:
    if not (shared / "real").is_dir():
        pytest.skip("no folder of real files")
    return shared / "real"


def new() -> Site:
    return Site(SiteInfo("Test ground", ""))


@pytest.mark.cited("../shared/real/README.md, water")
def test_wells_tell_twelve_negative_irons_and_5427_cells_below_detection(real: Path) -> None:
    brought = bring_in(new(), "water", real / "water" / "wells_major_ions.csv", mapping=["iron_mg_l=Fe mg/l"])
    water = brought.site["water"]
    assert len(water) == 157
    said = "\n".join(brought.warnings)
    assert "iron_mg_l: 12 values below zero" in said
    assert "0.7999 stands in 5,427 cells" in said
    assert int((water["iron_mg_l"] > 0.3).sum()) == 19
    bare = list(odd_values(read_file(real / "water" / "wells_major_ions.csv").frame, schema.layer("water")))
    assert any(words.startswith("Fe: 12 values below zero") for words in bare)


@pytest.mark.cited("../shared/real/README.md, irrigation: 157 cans each; four lines by radius")
def test_every_sheet_of_catch_cans_holds_157_cans_and_gives_the_known_uniformity(real: Path) -> None:
    path = real / "irrigation" / "catchcan_radial_tests.xlsx"
    lines = [f"{sheet} table 1" for sheet in ("CUC QT 1", "CUC QT 2", "CUC QT 3", "ALL EMITTERS")]
    uniformity = []
    for name in lines:
        frame = read_file(path, layer=name).frame
        assert len(frame) == 157
        radius, depth = (
            frame[column].astype(float).to_numpy() for column in ("Distância do Centro (m)", "Lâmina (mm)")
        )
        mean = float(np.sum(depth * radius) / np.sum(radius))
        # radius-weighted uniformity after Heermann and Hein: 1 - sum(r |d - mean|) / sum(r d)
        uniformity.append(100 * (1 - np.sum(radius * np.abs(depth - mean)) / np.sum(radius * depth)))
        if name == lines[0]:
            assert mean == pytest.approx(2.7741, abs=1e-4)
            assert 100 * (1 - np.abs(depth - depth.mean()).mean() / depth.mean()) == pytest.approx(88.78, abs=0.01)
    assert uniformity == pytest.approx([90.9838, 90.3441, 89.6513, 84.6071], abs=1e-3)


@pytest.mark.cited("../shared/real/README.md, irrigation: 19 sheets, two tables side by side, 157 cans each")
def test_all_nineteen_sheets_come_in(real: Path) -> None:
    from gravegis.layers.read import sheet

    book = sheet._workbook(real / "irrigation" / "catchcan_radial_tests.xlsx", results=True)[0]
    assert len(book) == 19
    for name, cells in book.items():
        tables = list(sheet._tables(name, cells))
        for table, stored in zip(tables[:2], (cells[1][9], cells[1][19]), strict=True):
            frame = sheet._rows(cells, table).frame
            assert len(frame) == 157, name
            radius, depth = (frame.iloc[:, column].astype(float).to_numpy() for column in (2, 5))
            mean = np.sum(depth * radius) / np.sum(radius)
            made = 100 * (1 - np.sum(radius * np.abs(depth - mean)) / np.sum(radius * depth))
            assert made == pytest.approx(stored, abs=1e-6), name  # what the authors of the sheet worked out in it


@pytest.mark.cited("../shared/real/README.md, irrigation: separators, marks and degree signs")
def test_small_irrigation_tables_are_read_as_they_are(real: Path) -> None:
    trial = read_file(real / "irrigation" / "line_source_sprinkler.txt")
    assert (len(trial.frame), list(trial.frame.columns)[:3]) == (108, ["block", "row", "subplot"])
    assert "separated by tab" in trial.notes[0]
    flow = read_file(real / "irrigation" / "emitter_flow.csv")
    assert "separated by semicolon" in flow.notes[0]


@pytest.mark.cited("../shared/real/README.md, local_grid: 143 points of two classes")
def test_an_excavation_grid_comes_in_by_its_control_points(real: Path, tmp_path: Path) -> None:
    rdata = pytest.importorskip("rdata")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # about a class of R that nobody taught it
        grave: Any = rdata.read_rda(real / "local_grid" / "grave.rda")["grave"]
    x, y = (np.asarray(grave[name], dtype=float) for name in ("x", "y"))
    assert len(x) == 143
    rows = [f"G{n},{a},{b}" for n, (a, b) in enumerate(zip(x, y, strict=True))]
    (tmp_path / "g.csv").write_text("stone_id,x,y\n" + "\n".join(rows))
    (tmp_path / "c.csv").write_text(
        "name,local_x,local_y,map_x,map_y\na,0,0,600000,5400000\nb,10000,0,600100,5400000\nc,0,10000,600000,5400100\n"
    )
    brought = bring_in(new(), "stones", tmp_path / "g.csv", control=tmp_path / "c.csv", crs="EPSG:32632")
    stones = brought.site["stones"].set_index("stone_id")
    at = shapely.get_coordinates(stones.loc[[f"G{n}" for n in range(143)]].geometry.array)
    assert at == pytest.approx(np.column_stack([600000 + x / 100, 5400000 + y / 100]), abs=1e-6)
    assert any("one local unit is 0.01 m (centimetres)" in words for words in brought.assumed)


@pytest.mark.cited("../shared/real/README.md, pipes: all 2,305 checkable ends lie on the node they name")
def test_all_ends_of_the_pipes_lie_on_the_nodes_they_name(real: Path) -> None:
    nodes = read_file(real / "pipes" / "ky4_junctions.geojson").frame
    pipes = read_file(real / "pipes" / "ky4_pipes.geojson").frame
    assert (len(nodes), len(pipes)) == (959, 1156)
    name = next(column for column in nodes.columns if column != "geometry" and nodes[column].is_unique)
    place = dict(zip(nodes[name].astype(str), nodes["geometry"], strict=True))
    checked = 0
    for column, end in (("start_node_name", 0), ("end_node_name", -1)):
        for node, line in zip(pipes[column].astype(str), pipes["geometry"], strict=True):
            if node in place:
                assert place[node].distance(shapely.get_point(line, end)) < 0.005
                checked += 1
    assert checked == 2305


@pytest.mark.cited("../shared/real/README.md, county_points: one record 16.9 km off between its own pairs")
def test_two_pairs_of_coordinates_in_one_table_are_compared_and_the_outlier_named(real: Path) -> None:
    path = real / "county_points" / "sites.csv"
    said = "\n".join(look("stones", path).raw.warnings)
    assert "X, Y and LONGITUDE, LATITUDE differ by 0.90 m (median): two datums?" in said.replace(
        "LONGITUDE, LATITUDE and X, Y", "X, Y and LONGITUDE, LATITUDE"
    )
    assert "1 row far more" in said
    assert "by 16.9 km" in said
    with pytest.raises(LayerError, match=r"3 pairs of coordinates(.|\n)*by 16\.9 km"):
        bring_in(new(), "stones", path)


def test_a_map_extract_comes_in_as_paths_and_the_ground_is_known(real: Path) -> None:
    brought = bring_in(new(), "paths", real / "osm_xml" / "small.osm", file_layer="lines")
    assert len(brought.site["paths"]) == 15
    assert brought.site["paths"]["surface"].notna().any()
    assert any("7 ways with tags dropped" in words for words in brought.warnings)
    areas = bring_in(brought.site, "sections", real / "osm_xml" / "small.osm", file_layer="multipolygons")
    assert len(areas.site["sections"]) == 32


def test_a_zipped_shapefile_in_survey_feet_is_too_wide_for_a_site(real: Path) -> None:
    with pytest.raises(CrsError, match="km wide"):
        bring_in(new(), "sections", real / "us_feet" / "nybb_16a.zip")
