"""Sheets and tables made for the eye: merged cells, names in two rows, a row of units."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

import openpyxl
import pytest

from gravegis.layers.bring import bring_in
from gravegis.layers.read import read_file
from gravegis.layers.read.header_rows import names_of
from gravegis.site import Site, SiteInfo

if TYPE_CHECKING:
    from pathlib import Path


def new() -> Site:
    return Site(SiteInfo("Test ground", ""))


def book(path: Path, rows: list[list[Any]], *merged: str) -> Path:
    made = openpyxl.Workbook()
    sheet: Any = made.active
    for row in rows:
        sheet.append(row)
    for area in merged:
        sheet.merge_cells(area)
    made.save(path)
    return path


def test_a_merged_value_counts_for_each_of_its_rows_and_that_is_said(tmp_path: Path) -> None:
    rows: list[list[Any]] = [["stone_id", "lat", "lon", "section", "surveyed_on"]]
    rows += [
        [f"{n:03d}", 44.05 + n * 1e-4, -121.3, ["North", None, None, "South"][n], dt.date(2026, 5, 1)] for n in range(4)
    ]
    raw = read_file(book(tmp_path / "a.xlsx", rows, "D2:D4"))
    assert raw.frame["section"].tolist() == ["North", "North", "North", "South"]
    assert any("1 merged cell, whose value counts for each of its rows: 'North' in D2:D4" in one for one in raw.notes)


def test_names_in_two_rows_with_merged_groups_are_joined(tmp_path: Path) -> None:
    rows: list[list[Any]] = [["Stone", "Position", None, "Damage", None], [None, "Lat", "Lon", "Lichen", "Cracks"]]
    rows += [[f"S{n}", 44.05 + n * 1e-4, -121.3, "yes", "no"] for n in range(3)]
    path = book(tmp_path / "a.xlsx", rows, "A1:A2", "B1:C1", "D1:E1")
    raw = read_file(path)
    assert [str(one) for one in raw.frame.columns] == ["Stone", "Lat", "Lon", "Lichen", "Cracks"]
    site = bring_in(new(), "stones", path).site
    assert site["stones"]["stone_id"].tolist() == ["S0", "S1", "S2"]
    assert "None" not in site["stones"].columns


def test_an_empty_name_is_no_column_called_none(tmp_path: Path) -> None:
    raw = read_file(book(tmp_path / "a.xlsx", [["zone_id", None, "run_min"], ["Z1", "x", 5], ["Z2", "y", 7]]))
    assert [str(one) for one in raw.frame.columns] == ["zone_id", "column 2", "run_min"]


@pytest.mark.parametrize("ending", ["xlsx", "csv"])
def test_two_rows_of_names_and_one_of_units_come_in(tmp_path: Path, ending: str) -> None:
    rows: list[list[Any]] = [["Stone", "Position", "Position", "Size", "Size"], ["no", "lat", "lon", "height", "width"],
                             [None, "deg", "deg", "in", "in"]]  # fmt: skip
    rows += [[n, 44.05 + n * 1e-4, -121.3, 30 + n, 20] for n in range(1, 4)]
    path = tmp_path / f"a.{ending}"
    if ending == "xlsx":
        book(path, rows)
    else:
        path.write_text("\n".join(",".join("" if one is None else str(one) for one in row) for row in rows))
    raw = read_file(path)
    assert [str(one) for one in raw.frame.columns] == ["no", "lat", "lon", "height (in)", "width (in)"]
    assert any("column names stand in rows 1 and 2, joined: no, lat, lon, height, width" in one for one in raw.notes)
    assert any("row 3 holds the units of the columns: height (in), width (in)" in one for one in raw.notes)
    stones = bring_in(new(), "stones", path).site["stones"]
    assert stones["height_m"].tolist() == pytest.approx([31 * 0.0254, 32 * 0.0254, 33 * 0.0254])


def test_a_row_of_units_below_the_names_is_taken_to_them(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text("head_id,lat,lon,throw\n,deg,deg,ft\nH1,44.05,-121.3,15\nH2,44.0501,-121.3,18\n")
    heads = bring_in(new(), "heads", tmp_path / "a.csv").site["heads"]
    assert heads["throw_m"].tolist() == pytest.approx([15 * 0.3048, 18 * 0.3048])


def test_groups_above_their_columns_are_left_behind(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text(
        "Stone,Position,,Size\nID,Lat,Lon,Height\nA,44.05,-121.3,0.8\nB,44.0501,-121.3,0.9\n"
    )
    raw = read_file(tmp_path / "a.csv")
    assert [str(one) for one in raw.frame.columns] == ["ID", "Lat", "Lon", "Height"]
    assert len(raw.frame) == 2


def test_names_that_stand_twice_keep_their_group() -> None:
    body = [("id", "from", "to", "from", "to"), ("1", "2", "3", "4", "5"), ("2", "2", "3", "4", "5")]
    assert names_of(["Run", "Wet", "", "Dry", ""], body).names == ["id", "Wet from", "Wet to", "Dry from", "Dry to"]


@pytest.mark.parametrize(
    "body",
    [
        [("A1", "44.05", "-121.3"), ("A2", "44.06", "-121.3")],  # values
        [("S1", "unknown", "n/a"), ("S2", "44.06", "-121.3")],  # words for nothing
        [("W1", "ND", "BDL"), ("W2", "1.5", "3")],  # below detection
        [("slate", "north", "grey"), ("marble", "south", "white")],  # a table of words
        [("m", "44.05", "-121.3"), ("ft", "44.06", "-121.3")],  # a column of units
        [("lot", "old", "old"), ("S2", "44.06", "-121.3")],  # one remark
    ],
)
def test_a_first_row_of_values_is_no_row_of_names(body: list[tuple[str | None, ...]]) -> None:
    assert names_of(["stone_id", "a", "b"], body).rows == 0
