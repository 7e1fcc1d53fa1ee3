from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gravegis.errors import LayerError
from gravegis.layers.bring import bring_in
from gravegis.layers.dates import order_of, read_date
from gravegis.layers.years import CERTAINTIES, read_year
from gravegis.site import Site, SiteInfo

if TYPE_CHECKING:
    from pathlib import Path

WITH_PLACE = "stone_id,lat,lon,{}\n"


def stones(path: Path, column: str, values: list[str], **options: object) -> tuple[object, tuple[str, ...]]:
    rows = [f"S{n},-33.8793,{139.6143 + n * 1e-5:.6f},{value}" for n, value in enumerate(values)]
    path.write_text(WITH_PLACE.format(column) + "\n".join(rows), encoding="utf-8")
    brought = bring_in(Site(SiteInfo("t", "")), "stones", path, **options)  # type: ignore[arg-type]
    return brought.site["stones"], brought.notes


@pytest.mark.parametrize(
    ("text", "earliest", "latest", "certainty"),
    [
        ("1871", 1871, 1871, "exact"), ("1871.0", 1871, 1871, "exact"), ("[1871]", 1871, 1871, "exact"),
        ("MDCCCLXXI", 1871, 1871, "exact"), ("12 Mar 1871", 1871, 1871, "exact"), ("1871?", 1871, 1871, "doubtful"),
        ("c. 1790", 1790, 1790, "about"), ("ca 1890", 1890, 1890, "about"), ("about 1890", 1890, 1890, "about"),
        ("18--", 1800, 1899, "partly legible"), ("18__", 1800, 1899, "partly legible"),
        ("187-", 1870, 1879, "partly legible"), ("187?", 1870, 1879, "partly legible"),
        ("18??", 1800, 1899, "partly legible"),
        ("1870s", 1870, 1879, "range"), ("1800s", 1800, 1899, "range"), ("1871/72", 1871, 1872, "range"),
        ("1871–1875", 1871, 1875, "range"), ("19th century", 1800, 1899, "range"),
        ("b. 1801 d. 1871", 1801, 1871, "range"),
        ("before 1880", None, 1880, "before"), ("after 1850", 1850, None, "after"), ("post 1850", 1850, None, "after"),
    ],
)  # fmt: skip
def test_years_of_inscriptions_are_read_with_how_certain_they_are(
    text: str, earliest: int | None, latest: int | None, certainty: str
) -> None:
    found = read_year(text)
    assert found is not None
    assert (found.earliest, found.latest, found.certainty) == (earliest, latest, certainty)


@pytest.mark.parametrize("text", ["-10000", "abc", "", "3000", "999", "18–1", "12.5", "CIVIC", "??", "1e3", "45418"])
def test_what_is_no_year_is_none(text: str) -> None:
    assert read_year(text) is None


@given(st.text(max_size=20))
def test_any_text_is_a_possible_year_or_none(text: str) -> None:
    found = read_year(text)
    if found is not None:
        assert found.certainty in CERTAINTIES
        assert 1000 <= (found.earliest or 1000) <= (found.latest or 2100) <= 2100


def test_years_stand_in_three_columns_and_the_text_is_kept(tmp_path: Path) -> None:
    frame, notes = stones(tmp_path / "a.csv", "year", ["1871", "c. 1790", "18--", "-10000", ""])
    assert frame["year"].fillna(0).tolist() == [1871, 1790, 1800, 0, 0]  # type: ignore[index]
    assert frame["year_latest"].fillna(0).tolist() == [1871, 1790, 1899, 0, 0]  # type: ignore[index]
    assert frame["year_certainty"].fillna("").tolist() == ["exact", "about", "partly legible", "", ""]  # type: ignore[index]
    assert frame["year_as_written"].fillna("").tolist() == ["1871", "c. 1790", "18--", "-10000", ""]  # type: ignore[index]
    assert any("no year can be read in 1 value, kept as written: -10000" in words for words in notes)


@pytest.mark.parametrize(
    "text",
    ["2024-05-06", "2024-05-06T00:00:00Z", "2024/5/6", "06/05/2024", "6.5.2024", "6 May 2024", "May 6, 2024",
     "6th May 2024", "6. Mai 2024", "6 mai 2024", "6 mayo 2024", "20240506", "45418"],
)  # fmt: skip
def test_one_day_in_many_spellings(text: str) -> None:
    assert read_date(text, order="dmy", epoch="1900") == dt.date(2024, 5, 6)


@pytest.mark.parametrize("text", ["31/06/2024", "2024", "soon", "45418.5x", "6/5/24", "30 Foo 2024", "2024-13-01"])
def test_what_is_no_day_is_none(text: str) -> None:
    assert read_date(text, order="dmy", epoch="1900") is None


@given(st.dates(dt.date(1935, 1, 1), dt.date(2100, 1, 1)), st.sampled_from(["1900", "1904"]))
def test_day_counts_are_those_of_the_library_for_workbooks(day: dt.date, epoch: str) -> None:
    from openpyxl.utils.datetime import CALENDAR_MAC_1904, CALENDAR_WINDOWS_1900, to_excel

    base = CALENDAR_MAC_1904 if epoch == "1904" else CALENDAR_WINDOWS_1900
    count = int(
        to_excel(  # type: ignore[no-untyped-call]
            dt.datetime.combine(day, dt.time()), base
        )
    )
    assert read_date(str(count), epoch=epoch) == day
    assert read_date(str(count)) is None  # outside a workbook a number is no day


def test_the_order_of_days_is_proved_or_asked_once() -> None:
    assert order_of(["13/05/2024", "06/05/2024"]) == "dmy"
    assert order_of(["05/13/2024"]) == "mdy"
    assert order_of(["06/05/2024"], typed="mdy") == "mdy"
    assert order_of(["05/05/2024"]) == "dmy"  # both orders give the same day
    assert order_of(["2024-05-06"]) == ""
    for texts, typed, words in (
        (["06/05/2024"], "", "--dates dmy"),
        (["13/05/2024", "05/13/2024"], "", "both occur"),
        (["13/05/2024"], "mdy", "not written as"),
    ):
        with pytest.raises(LayerError, match=words):
            order_of(texts, typed=typed)


def test_days_are_typed_once_and_the_text_is_kept(tmp_path: Path) -> None:
    values = ["2024-05-06", "06/05/2024", "12 Mar 2024", "2024-05-06T00:00:00Z"]
    with pytest.raises(LayerError, match=r"surveyed_on: nothing tells whether the day or the month(.|\n)*--dates dmy"):
        stones(tmp_path / "a.csv", "surveyed_on", values)
    frame, _ = stones(tmp_path / "a.csv", "surveyed_on", values, dates="dmy")
    assert frame["surveyed_on"].tolist() == ["2024-05-06", "2024-05-06", "2024-03-12", "2024-05-06"]  # type: ignore[index]
    assert frame["surveyed_on_as_written"].tolist() == values  # type: ignore[index]


def test_a_workbook_with_every_spelling_comes_in(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    for row in (["stone_id", "lat", "lon", "surveyed_on"], ["A", -33.8793, 139.6143, dt.date(2024, 5, 6)],
                ["B", -33.8793, 139.61431, 45418], ["C", -33.8793, 139.61432, "2024-05-06"]):  # fmt: skip
        sheet.append(row)
    book.save(tmp_path / "a.xlsx")
    site = bring_in(Site(SiteInfo("t", "")), "stones", tmp_path / "a.xlsx").site
    assert site["stones"]["surveyed_on"].tolist() == ["2024-05-06"] * 3
    assert site["stones"]["surveyed_on_as_written"].tolist() == ["2024-05-06", "45418", "2024-05-06"]


def test_the_case_of_dates_gives_typed_days_and_years_with_certainty(shared: Path) -> None:
    path = shared / "cases" / "dates.xlsx"
    if not path.is_file():
        pytest.skip(f"no {path}")
    how = ["surveyed_on=inspected", "year=inscription_date"]
    from gravegis.layers.columns_in import Manner
    from gravegis.layers.mapping import apply_mapping
    from gravegis.layers.read import read_file
    from gravegis.layers.schema import layer

    raw = read_file(path)
    asked = apply_mapping(raw.frame, layer("stones"), how, Manner(epoch=raw.epoch))
    assert any("nothing tells whether the day or the month" in one.problem for one in asked.problems)
    done = apply_mapping(raw.frame, layer("stones"), how, Manner(epoch=raw.epoch, dates="dmy"))
    assert done.problems == ()
    assert done.frame["surveyed_on"].fillna("").tolist() == ["2024-05-06"] * 4 + [""]
    assert done.frame["surveyed_on_as_written"].tolist()[1:3] == ["45418", "06/05/2024"]
    assert done.frame["year"].fillna(0).tolist() == [1871, 1871, 1790, 1800, 0]
    assert done.frame["year_latest"].fillna(0).tolist() == [1871, 1871, 1790, 1899, 0]
    assert done.frame["year_certainty"].fillna("").tolist() == ["exact", "exact", "about", "partly legible", ""]
    assert done.frame["year_as_written"].tolist() == ["12 Mar 1871", "1871", "c. 1790", "18--", "-10000"]
