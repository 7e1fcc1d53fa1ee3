from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gravegis.errors import GravegisError, LayerError
from gravegis.layers.read import read_file
from gravegis.layers.read.table import read_table

if TYPE_CHECKING:
    from pathlib import Path

# Letters, digits, separators, quotes and line ends: what cells of real tables hold.
CELLS = st.text(st.characters(categories=("L", "N", "P", "S", "Zs"), include_characters="\n,;|\t\"'"), max_size=12)


def write(path: Path, text: str, encoding: str = "utf-8") -> Path:
    path.write_bytes(text.encode(encoding))
    return path


@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_separator_and_encoding_are_found(tmp_path: Path, separator: str, encoding: str) -> None:
    rows = [["id", "name", "note"], ["007", "grès", "a"], ["08", "weiß", ""]]
    raw = read_table(write(tmp_path / "a.csv", "\n".join(separator.join(row) for row in rows), encoding))
    assert list(raw.frame.columns) == rows[0]
    assert raw.frame["id"].tolist() == ["007", "08"]
    assert raw.frame["name"].tolist() == ["grès", "weiß"]
    assert raw.frame["note"].isna().tolist() == [False, True]
    assert raw.warnings == ()


@given(
    st.lists(st.lists(CELLS, min_size=3, max_size=3), min_size=1, max_size=8),
    st.sampled_from([",", ";", "\t", "|"]),
)
def test_what_a_csv_writer_wrote_is_read_back_as_text(
    tmp_path_factory: pytest.TempPathFactory, rows: list[list[str]], separator: str
) -> None:
    stream = io.StringIO(newline="")
    table = csv.writer(stream, delimiter=separator, quoting=csv.QUOTE_ALL)
    table.writerows([["one", "two", "three"], *rows])
    raw = read_table(write(tmp_path_factory.mktemp("t") / "a.csv", stream.getvalue()))
    expected = [[cell.strip() for cell in row] for row in rows if any(cell.strip() for cell in row)]
    assert raw.frame.fillna("").to_numpy().tolist() == expected


@given(st.binary(max_size=300))
def test_any_bytes_are_a_table_or_one_clear_error(tmp_path_factory: pytest.TempPathFactory, data: bytes) -> None:
    path = tmp_path_factory.mktemp("t") / "a.csv"
    path.write_bytes(data)
    try:
        raw = read_table(path)
    except LayerError as error:
        assert error.problems[0].problem  # noqa: PT017 - either outcome is right, but a refusal says why
    else:
        assert all(raw.frame[name].dtype == "str" for name in raw.frame.columns)


def test_leading_zeros_and_blanks_are_kept_as_text(tmp_path: Path) -> None:
    raw = read_table(write(tmp_path / "a.csv", "id,b\n007, x \n1e5,\n"))
    assert raw.frame["id"].tolist() == ["007", "1e5"]
    assert raw.frame["b"].iloc[0] == "x"


def test_the_guess_is_shown(tmp_path: Path) -> None:
    raw = read_table(write(tmp_path / "a.csv", "a;b\n1,5;x\n2,25;y\n", "utf-8-sig"))
    assert raw.decimal == ","
    assert raw.notes[0] == "read as utf-8, separated by semicolon, 2 rows, 2 columns, decimal comma (such as '1,5')"


def test_text_that_is_not_utf8_is_read_and_asked_about(tmp_path: Path) -> None:
    raw = read_table(write(tmp_path / "a.csv", "id,material\n1,grès\n", "cp1252"))
    assert raw.frame["material"].tolist() == ["grès"]
    assert "--encoding" in raw.warnings[0]
    assert "grès" in raw.warnings[0]


def test_a_named_encoding_is_used_and_a_wrong_one_refused(tmp_path: Path) -> None:
    path = write(tmp_path / "a.csv", "id,material\n1,мрамор\n", "cp1251")
    assert read_file(path, encoding="cp1251").frame["material"].tolist() == ["мрамор"]
    with pytest.raises(LayerError, match="is not utf-8"):
        read_file(path, encoding="utf-8")
    with pytest.raises(LayerError, match="no encoding known"):
        read_file(path, encoding="nonsense")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "empty"), ("\n \n", "empty"), (",,\n;,\n", "empty"),
        ("a,b\n1,2,3\n", r"1 row without the 2 values of the first row: row 1 has 3"),
        ("a,b,c\n1,2,3\n1,2\n4,5,6\n", "row 2 has 2"),
        ('a,b\n1,"never closed\n2,3\n', "quotes"),
        ("a\x00b,c\n1,2\n", "no text file"),
    ],
)  # fmt: skip
def test_broken_tables_are_refused_with_the_row(tmp_path: Path, text: str, words: str) -> None:
    with pytest.raises(LayerError, match=words):
        read_table(write(tmp_path / "a.csv", text))


def test_empty_rows_and_a_trailing_separator_do_no_harm(tmp_path: Path) -> None:
    raw = read_table(write(tmp_path / "a.csv", "sep=;\na;b;\n1;2;\n;;\n3;4;\n"))
    assert raw.frame.to_numpy().tolist() == [["1", "2"], ["3", "4"]]
    assert "1 empty row left out" in raw.notes


def test_names_a_site_file_cannot_hold_are_changed_with_a_note(tmp_path: Path) -> None:
    raw = read_table(write(tmp_path / "a.csv", "Name,name,geometry,fid,,_row\n1,2,3,4,5,6\n"))
    assert list(raw.frame.columns) == ["Name", "name_2", "geometry_", "fid_", "column 5", "_row_"]
    assert "column 'geometry' is called 'geometry_' here" in raw.notes
    assert raw.frame.iloc[0].tolist() == ["1", "2", "3", "4", "5", "6"]


def test_one_column_is_a_table_too(tmp_path: Path) -> None:
    assert read_table(write(tmp_path / "a.csv", "zone_id\nZ1\nZ2\n")).frame["zone_id"].tolist() == ["Z1", "Z2"]


@pytest.mark.parametrize("kind", [".docx", ".pdf", ".gml", ""])
def test_kinds_not_read_say_so_and_what_is_read(tmp_path: Path, kind: str) -> None:
    path = tmp_path / f"a{kind}"
    path.write_bytes(b"x")
    with pytest.raises(LayerError, match=r"not read(.|\n)*CSV, GeoJSON, GeoPackage or Shapefile"):
        read_file(path)


def test_a_missing_file_a_folder_and_a_part_of_a_shapefile_are_said(tmp_path: Path) -> None:
    with pytest.raises(LayerError, match="no such file"):
        read_file(tmp_path / "no.csv")
    with pytest.raises(GravegisError, match="folder"):
        read_file(tmp_path)
    (tmp_path / "a.dbf").write_bytes(b"x")
    with pytest.raises(LayerError, match=r"Name its \.shp"):
        read_file(tmp_path / "a.dbf")
    write(tmp_path / "a.csv", "a\n1\n")
    with pytest.raises(LayerError, match="one layer only"):
        read_file(tmp_path / "a.csv", layer="x")
