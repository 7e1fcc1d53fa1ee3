from __future__ import annotations

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gravegis.errors import LayerError
from gravegis.layers import schema
from gravegis.layers.mapping import apply_mapping, parse_column, suggestions
from gravegis.layers.values import unit_in_name

HEADS, STONES, PLOTS = schema.layer("heads"), schema.layer("stones"), schema.layer("plots")


def table(**columns: list[str | None]) -> pd.DataFrame:
    return pd.DataFrame({name: pd.Series(values, dtype="str") for name, values in columns.items()})


@pytest.mark.parametrize(
    ("text", "wish"),
    [
        ("throw_m=RADIUS ft", ("throw_m", "RADIUS", "ft")),
        ("throw_m=RADIUS", ("throw_m", "RADIUS", "")),
        ("throw_m=radius ft", ("throw_m", "RADIUS", "ft")),
        ("throw_m = RADIUS (ft)", ("throw_m", "RADIUS (ft)", "")),
        ("throw_m=RADIUS OLD ft", ("throw_m", "RADIUS OLD", "ft")),
        ("throw_m=a=b ft", ("throw_m", "a=b", "ft")),
    ],
)
def test_a_column_is_named_with_its_unit_and_the_longest_name_wins(text: str, wish: tuple[str, str, str]) -> None:
    found = parse_column(text, ["RADIUS", "RADIUS (ft)", "RADIUS OLD", "a=b"])
    assert (found.target, found.source, found.unit) == wish


@pytest.mark.parametrize("text", ["throw_m", "=RADIUS", "throw_m=", ""])
def test_what_is_not_ours_and_theirs_is_refused(text: str) -> None:
    with pytest.raises(LayerError, match="OURS=THEIRS"):
        parse_column(text, ["RADIUS"])


def test_an_unknown_column_is_refused_with_those_there_are() -> None:
    with pytest.raises(LayerError, match=r"no column 'RANGE ft'(.|\n)*RADIUS, KIND"):
        parse_column("throw_m=RANGE ft", ["RADIUS", "KIND"])


@given(
    st.text(st.characters(categories=("L", "N", "Zs", "P")), min_size=1, max_size=12), st.sampled_from(["", "ft", "m"])
)
def test_any_column_name_can_be_named(name: str, unit: str) -> None:
    name = " ".join(name.split())
    if not name:
        return
    found = parse_column(f"throw_m={name} {unit}".strip(), [name])
    assert (found.source, found.unit) == (name, unit)


@pytest.mark.parametrize(
    ("name", "inside", "parts"),
    [
        ("RADIUS (ft)", "m", ("RADIUS", "ft")),
        ("throw_ft", "m", ("throw", "ft")),
        ("height [in]", "m", ("height", "in")),
        ("flow gpm", "l/min", ("flow", "gpm")),
        ("flow_l_min", "l/min", ("flow", "l/min")),
        ("throw_m", "m", ("throw", "m")),
        ("pressure_psi", "kPa", ("pressure", "psi")),
        ("radius", "m", ("radius", "")),
        ("width_kpa", "m", ("width_kpa", "")),
    ],
)
def test_a_unit_in_the_name_of_a_column_is_found(name: str, inside: str, parts: tuple[str, str]) -> None:
    assert unit_in_name(name, inside) == parts


@pytest.mark.parametrize(
    ("column", "mapping"),
    [("RADIUS", ["throw_m=RADIUS ft"]), ("RADIUS (ft)", ["throw_m=RADIUS (ft)"]), ("throw_ft", []), ("Throw (ft)", [])],
)
def test_feet_become_metres_however_the_unit_is_said(column: str, mapping: list[str]) -> None:
    done = apply_mapping(table(head_id=["1", "2", "3"], **{column: ["15", None, "30"]}), HEADS, mapping)
    assert done.problems == ()
    assert done.frame["throw_m"].tolist()[::2] == pytest.approx([15 * 0.3048, 30 * 0.3048])
    assert pd.isna(done.frame["throw_m"].iloc[1])
    assert column not in done.frame.columns


def test_values_carry_their_unit() -> None:
    done = apply_mapping(table(head_id=["1", "2", "3"], throw_m=["15 ft", "4.5 m", "180 in"]), HEADS)
    assert done.problems == ()
    assert done.frame["throw_m"].tolist() == pytest.approx([4.572, 4.5, 4.572])


def test_feet_and_inches_are_one_length() -> None:
    done = apply_mapping(table(stone_id=["1", "2"], height_m=["3' 6\"", "2 ft 0 in"]), STONES)
    assert done.frame["height_m"].tolist() == pytest.approx([42 * 0.0254, 24 * 0.0254])


@pytest.mark.parametrize("mapping", [[], ["throw_m=throw"]])
def test_bare_numbers_and_numbers_with_a_unit_in_one_column_are_refused_with_rows(mapping: list[str]) -> None:
    done = apply_mapping(table(head_id=["1", "2", "3"], throw=["15 ft", "4.5", None]), HEADS, mapping)
    assert "'4.5' in row 2, '15 ft' in row 1" in done.problems[0].problem
    assert '--column throw_m="throw m"' in done.problems[0].remedy


def test_saying_the_unit_of_the_bare_ones_settles_it() -> None:
    done = apply_mapping(table(head_id=["1", "2"], throw=["15 ft", "4.5"]), HEADS, ["throw_m=throw m"])
    assert done.problems == ()
    assert done.frame["throw_m"].tolist() == pytest.approx([4.572, 4.5])


def test_our_names_are_taken_in_either_case_and_others_are_carried() -> None:
    done = apply_mapping(table(STONE_ID=["007"], Material=["marble"], warden=["x"]), STONES)
    assert sorted(done.frame.columns) == ["material", "stone_id", "warden"]
    assert done.frame["stone_id"].tolist() == ["007"]


def test_an_alias_is_proposed_and_not_applied() -> None:
    done = apply_mapping(table(head_id=["1"], kind=["rotor"], RADIUS=["15"]), HEADS)
    assert "throw_m" not in done.frame.columns
    assert done.frame["RADIUS"].tolist() == ["15"]
    assert any('--column throw_m="RADIUS m"' in note for note in done.notes)


def test_heads_with_neither_throw_nor_kind_are_refused_with_the_ready_made_option() -> None:
    done = apply_mapping(table(head_id=["1"], RADIUS=["15"]), HEADS)
    assert "neither throw_m nor kind" in done.problems[0].problem
    assert '--column throw_m="RADIUS m"' in done.problems[0].remedy


def test_a_column_that_names_every_row_once_becomes_the_id_and_that_is_said() -> None:
    done = apply_mapping(table(ID=["a", "b"], lot=["1", "1"]), PLOTS)
    assert done.frame["plot_id"].tolist() == ["a", "b"]
    assert any("its column 'ID' names every row once and is used" in note for note in done.notes)


@pytest.mark.parametrize(
    "columns",
    [{"id": ["a", "a"]}, {"id": ["a", None]}, {"id": ["a", "b"], "gid": ["1", "2"]}, {"other": ["a", "b"]}],
)
def test_otherwise_rows_are_numbered_and_nothing_is_lost(columns: dict[str, list[str | None]]) -> None:
    done = apply_mapping(table(**columns), PLOTS)
    assert "plot_id" not in done.frame.columns
    assert set(columns) <= set(done.frame.columns)
    assert any("rows are named R0001, R0002" in note for note in done.notes)


def test_why_a_column_does_not_serve_as_id_is_said() -> None:
    done = apply_mapping(table(id=["a", "a", None]), PLOTS)
    words = "1 rows have none; more than one row is called a"
    assert any(f"column 'id' looks like the plot_id but does not name every row once: {words}" in n for n in done.notes)


def test_a_name_never_becomes_the_id_of_a_stone() -> None:
    done = apply_mapping(table(name=["A. B.", "C. D."]), STONES)
    assert "stone_id" not in done.frame.columns


def test_a_column_of_the_file_that_bears_our_name_gives_way_to_the_one_named() -> None:
    done = apply_mapping(table(head_id=["1"], throw_m=["9"], R=["12"]), HEADS, ["throw_m=R"])
    assert done.frame["throw_m"].tolist() == [12.0]
    assert done.frame["throw_m in file"].tolist() == ["9"]


def test_all_wrong_options_are_told_at_once() -> None:
    asked = ["reach=R", "throw_m=R kpa", "kind=K", "throw_m=R", "x=", "section=R"]
    done = apply_mapping(table(head_id=["1"], R=["12"]), HEADS, asked)
    words = [problem.problem for problem in done.problems]
    assert "layer heads has no column 'reach'" in words[0]
    assert "'kpa' is not a unit of m" in words[1]
    assert "no column 'K'" in words[2]
    assert "throw_m is named twice" in words[3]
    assert "not OURS=THEIRS" in words[4]
    assert "no column 'section'" in words[5]


def test_decimal_commas_and_missing_words_are_read_and_said() -> None:
    done = apply_mapping(
        table(stone_id=["1", "2", "3"], height_m=["1,05", "k.A.", "0,9"], material=["-", "NA", "oak"]), STONES
    )
    assert done.frame["height_m"].tolist()[::2] == [1.05, 0.9]
    assert done.frame["height_m"].isna().tolist() == [False, True, False]
    assert done.frame["material"].isna().tolist() == [True, True, False]
    assert "height_m: read as missing: 'k.A.' (1)" in done.notes
    assert any("decimal comma" in note for note in done.notes)


def test_none_is_a_fault_that_was_looked_for_not_a_gap() -> None:
    done = apply_mapping(
        table(head_id=["1", "2"], kind=["rotor", "rotor"], fault=["none", "N/A"], tilt_deg=["none", "5"]), HEADS
    )
    assert done.frame["fault"].tolist()[0] == "none"
    assert done.frame["fault"].isna().tolist() == [False, True]
    assert done.frame["tilt_deg"].isna().tolist() == [True, False]


def test_what_cannot_be_read_stays_as_typed_for_the_schema_to_report() -> None:
    done = apply_mapping(table(stone_id=["1", "2"], height_m=["1.5", "tall"]), STONES)
    assert done.frame["height_m"].tolist() == ["1.5", "tall"]


def test_the_position_may_be_named() -> None:
    done = apply_mapping(table(stone_id=["1"], PX=["1"], PY=["2"]), STONES, ["x=PX", "y=PY"])
    assert done.place == {"x": "PX", "y": "PY"}


def test_aliases_never_bear_a_name_of_ours_and_name_columns_there_are() -> None:
    from gravegis.layers import mapping

    for (layer, column), names in mapping._table().items():
        if layer != "*":
            assert column in schema.layer(layer).columns
            assert not set(names) & set(schema.layer(layer).columns)


def test_suggestions_are_ready_to_type() -> None:
    for option in suggestions(["RADIUS", "Arc", "valve"], HEADS):
        text = option.removeprefix("--column ").replace('"', "")
        assert parse_column(text, ["RADIUS", "Arc", "valve"]).target in HEADS.columns
