"""Columns and places of a file as questions: what is proposed, accepted, changed, and what then comes in."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
from pyproj import Transformer
from PySide6.QtCore import Qt

from gravegis import store
from gravegis.window.addlook import mapped, questions

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from gravegis.site import Site

FEET = "NAME,RADIUS,EAST,NORTH\nA1,30,{x},{y}\nA2,24,{x},{y}\n"


def heads_file(site: Site, folder: Path, *, shift: float = 0.0) -> Path:
    point = site["heads"]["geometry"].iloc[0]
    file = folder / "heads.csv"
    file.write_text(FEET.format(x=point.x + shift, y=point.y + shift), encoding="utf-8")
    return file


def test_each_column_is_asked_about_and_where_its_numbers_lie(small_site: Site, tmp_path: Path) -> None:
    asked = questions(small_site, "heads", heads_file(small_site, tmp_path))
    assert [one.in_file for one in asked.rows] == ["NAME", "RADIUS", "EAST", "NORTH"]
    becomes = {one.in_file: one.becomes for one in asked.rows}
    assert becomes["RADIUS"] == "throw_m"
    assert "grid of the site" in asked.stated
    assert not asked.candidates


def test_where_nobody_knows_the_systems_that_fit_are_offered(small_site: Site, tmp_path: Path) -> None:
    point = small_site["heads"]["geometry"].iloc[0]
    back = Transformer.from_crs(small_site.info.crs, "EPSG:4326", always_xy=True)
    lon, lat = back.transform(point.x, point.y)
    (tmp_path / "heads.csv").write_text(f"head_id,throw_m,x,y\nA1,9,{lon:.7f},{lat:.7f}\n", encoding="utf-8")
    asked = questions(small_site, "heads", tmp_path / "heads.csv")
    assert not asked.stated
    assert "EPSG:4326" in [one.code for one in asked.candidates]


def test_what_is_said_of_columns_is_what_the_command_takes() -> None:
    assert mapped([("RADIUS", "throw_m", "ft"), ("NAME", "head_id", ""), ("NOTE", "", "")]) == [
        "throw_m=RADIUS ft", "head_id=NAME",
    ]  # fmt: skip


def test_a_proposal_is_taken_only_when_it_is_ticked(
    opened: Any, tmp_path: Path, qtbot: Any, settled: Callable[[], None]
) -> None:
    opened.ask_about(heads_file(opened.desk.site, tmp_path))
    settled()
    sheet = opened.side.add
    rows = {one.asked.in_file: one for one in sheet.columns.rows}
    assert not rows["RADIUS"].take.isChecked()
    assert not any("RADIUS" in one for one in sheet.columns.mapping())
    qtbot.mouseClick(sheet.columns.all, Qt.MouseButton.LeftButton)
    rows["RADIUS"].unit.setText("ft")
    assert "throw_m=RADIUS ft" in sheet.columns.mapping()
    qtbot.mouseClick(sheet.add, Qt.MouseButton.LeftButton)
    settled()
    throws = store.load(opened.desk.folder)["heads"]["throw_m"].tolist()
    assert throws == [pytest.approx(9.144), pytest.approx(7.3152)]  # 30 and 24 international feet, exact


def test_changing_what_a_column_becomes_takes_it_and_none_leaves_it(
    opened: Any, tmp_path: Path, settled: Callable[[], None]
) -> None:
    opened.ask_about(heads_file(opened.desk.site, tmp_path))
    settled()
    row = next(one for one in opened.side.add.columns.rows if one.asked.in_file == "NAME")
    row.becomes.setCurrentIndex(row.becomes.findData("tag"))
    row.becomes.activated.emit(row.becomes.currentIndex())
    assert "tag=NAME" in opened.side.add.columns.mapping()
    row.becomes.setCurrentIndex(0)
    row.becomes.activated.emit(0)
    assert not any("NAME" in one for one in opened.side.add.columns.mapping())


def test_a_system_typed_is_taken_as_typed(opened: Any, tmp_path: Path, settled: Callable[[], None]) -> None:
    opened.ask_about(heads_file(opened.desk.site, tmp_path))
    settled()
    sheet = opened.side.add
    assert sheet._crs() == ("", False)
    sheet.crs.setEditText("EPSG:7854")
    assert sheet._crs() == ("EPSG:7854", False)
