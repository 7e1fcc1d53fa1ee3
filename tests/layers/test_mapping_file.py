"""What columns may be is shown, saved, edited by a person and read again."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd
import pytest

from gravegis import cli, store
from gravegis.errors import LayerError
from gravegis.layers import schema
from gravegis.layers.bring import bring_in
from gravegis.layers.columns_in import Manner
from gravegis.layers.mapping import apply_mapping
from gravegis.layers.mapping_file import HEAD, read_mapping, write_mapping
from gravegis.layers.odd_values import odd_values
from gravegis.layers.read.long_names import beside_name, write_names
from gravegis.layers.suggest import look
from gravegis.outputs.exchange import export_layer
from gravegis.site import Site, SiteInfo
from tests.layers import every_kind

if TYPE_CHECKING:
    from pathlib import Path

HEADS = """No,TYPE,RADIUS,LAT,LONG
1,rotor,36 ft,-33.8793,139.6143
2,Rottor,40 ft,-33.8794,139.6143
"""
# Forty-five ways to write twelve kinds of stone, as volunteers might; what each becomes.
SPELLINGS = {
    "granite": ["granite", "Granite", "GRANITE", "granit", "grey granite", "Gray Granite", "granite (grey)", "grante"],
    "dark granite": ["black granite", "dark granite", "Blk granite", "polished black", "gabbro"],
    "marble": ["marble", "Marmor", "white marble", "marbel"],
    "limestone": ["limestone", "lime stone", "Lime-stone", "oolite"],
    "sandstone": ["sandstone", "Sand stone", "brownstone", "sandstn", "s'stone"],
    "slate": ["slate", "Slate.", "Schiefer", "slte"],
    "travertine": ["travertine", "Travertin"],
    "concrete": ["concrete", "cement", "cast stone", "conc."],
    "iron": ["cast iron", "iron", "wrought iron"],
    "zinc": ["zinc", "white bronze"],
    "bronze": ["bronze", "bronce"],
    "wood": ["wood", "timber"],
}


# Those of them that stand neither in the table of materials nor among its other words (counted by hand).
NOT_KNOWN = {
    "granit", "granite (grey)", "grante", "Blk granite", "polished black", "Marmor", "marbel", "Lime-stone", "sandstn",
    "s'stone", "Slate.", "Schiefer", "slte", "Travertin", "conc.", "bronce",
}  # fmt: skip


def new() -> Site:
    return Site(SiteInfo("Test ground", ""))


def write(path: Path, text: str) -> Path:
    path.write_text(text, encoding="utf-8")
    return path


def test_columns_are_proposed_by_name_alias_and_content(tmp_path: Path) -> None:
    text = "No,TYPE,RADIUS,rated flow,when,LAT,LONG\n1,rotor,36 ft,3 gpm,2024-05-06,-33.8793,139.6143\n"
    text += "2,spray,40 ft,4 gpm,2024-05-07,-33.8794,139.6143\n"
    rows = {row.in_file: row for row in look("heads", write(tmp_path / "a.csv", text)).rows}
    assert (rows["No"].becomes, rows["No"].taken) == ("head_id", True)
    assert (rows["TYPE"].becomes, rows["TYPE"].taken) == ("kind", False)
    assert (rows["RADIUS"].becomes, rows["RADIUS"].unit, rows["RADIUS"].taken) == ("throw_m", "", False)
    assert (rows["rated flow"].becomes, rows["rated flow"].taken) == ("flow_l_min", False)
    assert rows["when"].becomes == "seen_on"
    assert (rows["LAT"].becomes, rows["LONG"].becomes) == ("y", "x")


def test_a_saved_mapping_is_accepted_line_by_line_and_used_next_time(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file, saved, site = write(tmp_path / "a.csv", HEADS), tmp_path / "heads.map.csv", tmp_path / "site"
    store.save(new(), site)
    with pytest.raises(SystemExit) as left:
        cli.main(["look", "heads", str(file), "--save-mapping", str(saved)])
    assert not left.value.code
    assert "throw_m ?" in capsys.readouterr().out
    lines = saved.read_text(encoding="utf-8-sig").splitlines()
    assert "column?,throw_m,RADIUS," in lines
    assert "value?,kind,Rottor,rotor" in lines
    with pytest.raises(SystemExit) as left:  # proposals alone change nothing
        cli.main(["add", str(site), "heads", str(file), "--mapping", str(saved)])
    assert left.value.code == 2
    saved.write_text("\n".join(line.replace("?,", ",") for line in lines), encoding="utf-8")
    again = tmp_path / "again.csv"
    with pytest.raises(SystemExit) as left:
        cli.main(["add", str(site), "heads", str(file), "--mapping", str(saved), "--save-mapping", str(again)])
    assert not left.value.code, capsys.readouterr().err
    heads = store.load(site)["heads"]
    assert heads["throw_m"].tolist() == pytest.approx([36 * 0.3048, 40 * 0.3048])
    assert heads["kind"].tolist() == ["rotor", "rotor"]
    assert heads["kind_as_written"].tolist() == ["rotor", "Rottor"]
    first, second = read_mapping(saved), read_mapping(again)
    assert set(second.columns) == set(first.columns) | {"x=LONG", "y=LAT", "head_id=No"}
    assert second.words == first.words


def test_forty_five_spellings_become_twelve_kinds_through_the_table_a_person_edits(tmp_path: Path) -> None:
    written = [(kind, word) for kind, words in SPELLINGS.items() for word in words]
    assert (len(written), len(SPELLINGS)) == (45, 12)
    frame = pd.DataFrame({"stone_id": [f"S{n}" for n in range(45)], "material": [word for _, word in written]})
    frame["lat"], frame["lon"] = -33.8793, [139.6143 + n * 1e-5 for n in range(45)]
    frame.to_csv(tmp_path / "a.csv", index=False)
    found = look("stones", tmp_path / "a.csv")
    proposed = {line[2]: line[3] for line in found.lines if line[0] == "value?"}
    assert proposed["grante"] == "granite"
    assert "granite" not in proposed
    # a person goes through the lines: takes what is right, writes what is lacking
    lines = [("value", "material", word, kind) for kind, word in written]
    write_mapping(tmp_path / "m.csv", lines)
    brought = bring_in(new(), "stones", tmp_path / "a.csv", mapping_file=tmp_path / "m.csv")
    stones = brought.site["stones"].set_index("stone_id")
    assert set(stones["material"]) == set(SPELLINGS)
    assert stones.loc["S7", "material_as_written"] == "grante"
    assert [stones.loc[f"S{n}", "material"] for n in range(45)] == [kind for kind, _ in written]
    bare = bring_in(new(), "stones", tmp_path / "a.csv")
    assert any(f"{len(NOT_KNOWN)} values in no vocabulary, kept as typed" in words for words in bare.warnings)
    assert set(proposed) == NOT_KNOWN


def test_names_cut_by_a_shapefile_come_back_from_the_table_beside_it(tmp_path: Path) -> None:
    frame = every_kind.points().assign(condition_grade_2025="x", condition_grade_2026="y")
    site = Site(SiteInfo("t", every_kind.CRS)).with_layers({"stones": frame})
    export_layer(site, "stones", tmp_path / "a.shp")
    assert beside_name(tmp_path / "a.shp").is_file()
    again = bring_in(new(), "stones", tmp_path / "a.shp").site["stones"]
    assert {"condition_grade_2025", "condition_grade_2026"} <= set(again.columns)
    assert again["condition_grade_2026"].tolist() == ["y"] * 8
    beside_name(tmp_path / "a.shp").unlink()
    cut = bring_in(new(), "stones", tmp_path / "a.shp").site["stones"]
    assert {"condition_", "condition2"} <= set(cut.columns)  # never guessed
    write_names(tmp_path / "a.shp", {"condition_": "same", "condition2": "same"})
    with pytest.raises(LayerError, match="several columns would be called same"):
        bring_in(new(), "stones", tmp_path / "a.shp")


def test_the_case_of_cut_names_is_undone_by_a_mapping(shared: Path, tmp_path: Path) -> None:
    path = shared / "cases" / "cut10.shp"
    if not path.is_file():
        pytest.skip(f"no {path}")
    rows = [("name", "", "conditio_1", "condition_grade_2025"), ("column", "tag", "condition_note", ""),
            ("name", "", "conditio_2", "condition_note")]  # fmt: skip
    write_mapping(tmp_path / "m.csv", rows)
    stones = bring_in(new(), "stones", path, mapping_file=tmp_path / "m.csv").site["stones"]
    assert "condition_grade_2025" in stones.columns
    assert stones["tag"].tolist() == ["x"] * 12


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "four names"), ("a,b\n1,2\n", "four names"), ("what,name,in_file,becomes\ncolumn,,x,\n", "line 2"),
        ("what,name,in_file,becomes\noption,speed,,7\n", "option 'speed' is not known"),
        ("what,name,in_file,becomes\nmagic,a,b,c\n", "'magic'"), ('what,name,in_file,becomes\n"a', "no table"),
    ],
)  # fmt: skip
def test_a_mapping_that_is_none_is_refused_with_its_lines(tmp_path: Path, text: str, words: str) -> None:
    with pytest.raises(LayerError, match=words):
        read_mapping(write(tmp_path / "m.csv", text))


def test_a_mapping_saved_by_a_spreadsheet_with_semicolons_is_read(tmp_path: Path) -> None:
    path = write(tmp_path / "m.csv", ";".join(HEAD) + "\ncolumn;throw_m;RADIUS;ft\noption;dates;;dmy\n;;;\n")
    found = read_mapping(path)
    assert (found.columns, found.options) == (("throw_m=RADIUS ft",), {"dates": "dmy"})


def water(**columns: list[str | None]) -> pd.DataFrame:
    return pd.DataFrame({name: pd.Series(values, dtype="str") for name, values in columns.items()})


def test_values_below_detection_are_no_figures_and_their_limit_is_kept() -> None:
    frame = water(sample_id=["1", "2", "3", "4"], iron_mg_l=["<0.05", "0.31", "< 0.05", None], ph=["7", "7", "7", "7"])
    done = apply_mapping(frame, schema.layer("water"))
    assert done.problems == ()
    assert done.frame["iron_mg_l"].isna().tolist() == [True, False, True, True]
    assert done.frame["iron_below_mg_l"].fillna(0).tolist() == pytest.approx([0.05, 0, 0.05, 0])
    assert any("2 values below a limit (such as '<0.05')" in note for note in done.notes)


def test_a_unit_behind_a_limit_only_is_refused_like_any_other_mixture() -> None:
    frame = water(sample_id=["1", "2"], iron_mg_l=["< 50 ug/l", "0.31"])
    done = apply_mapping(frame, schema.layer("water"))
    assert "some values carry a unit and some do not" in done.problems[0].problem
    said = apply_mapping(frame, schema.layer("water"), ["iron_mg_l=iron_mg_l mg/l"])
    assert said.problems == ()
    assert said.frame["iron_below_mg_l"].fillna(0).tolist() == pytest.approx([0.05, 0])


def test_decimal_commas_and_values_above_a_limit_are_read_too() -> None:
    frame = water(sample_id=["1", "2"], iron_mg_l=["<0,05", ">10,5"])
    done = apply_mapping(frame, schema.layer("water"), how=Manner(decimal=","))
    assert done.frame["iron_below_mg_l"].fillna(0).tolist() == [0.05, 0]
    assert done.frame["iron_above_mg_l"].fillna(0).tolist() == [0, 10.5]
    assert done.frame["iron_mg_l"].isna().all()


def test_a_limit_goes_through_a_site_and_back(tmp_path: Path) -> None:
    site = bring_in(new(), "water", write(tmp_path / "w.csv", every_kind.WATER)).site
    store.save(site, tmp_path / "site")
    again = store.load(tmp_path / "site")["water"]
    assert again["iron_mg_l"].fillna(-1).tolist() == [-1, 0.31]
    assert again["iron_below_mg_l"].fillna(-1).tolist() == [0.05, -1]


def test_missing_codes_are_listed_with_their_counts() -> None:
    frame = water(sample_id=["1", "2", "3"], iron_mg_l=["k.A.", "n.d.", "-"])
    done = apply_mapping(frame, schema.layer("water"))
    assert "iron_mg_l: read as missing: 'k.A.' (1), '-' (1)" in done.notes
    assert done.frame["iron_not_detected_mg_l"].tolist()[1] == "yes"  # of a laboratory: no figure, but not unknown


def test_values_below_zero_and_one_least_value_in_many_columns_are_told() -> None:
    frame = pd.DataFrame({
        "Fe": ["-0.1", "0.3", "0.5", "0.9"], "Pb": ["0.8", "0.8", "0.8", "1.1"], "Cd": ["0.8"] * 4,
        "Hg": ["0.8", "0.8", "0.8", "7"], "ORP": ["-80", "40", "60", "80"],
    })  # fmt: skip
    said = list(odd_values(frame, schema.layer("water")))
    assert said[0].startswith("Fe: 1 value below zero")
    assert said[1].startswith("0.8 stands in 10 cells and is the least value of 3 columns (Pb, Cd, Hg)")
    assert len(said) == 2


@pytest.mark.parametrize(
    ("text", "degrees"), [("N", 0), ("nne", 22.5), ("North-East", 45), ("south", 180), ("W", 270), ("facing east", 90)]
)
def test_points_of_the_compass_are_bearings_but_o_is_not(text: str, degrees: float) -> None:
    frame = water(stone_id=["1", "2"], facing_deg=[text, "O"])
    made = apply_mapping(frame, schema.layer("stones")).frame["facing_deg"]
    assert float(made.iloc[0]) == degrees
    assert made.iloc[1] == "O"
