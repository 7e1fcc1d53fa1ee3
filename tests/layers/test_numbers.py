from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gravegis.errors import LayerError
from gravegis.layers.read import numbers

VALUES = st.decimals(min_value=-10_000_000, max_value=10_000_000, places=3, allow_nan=False)


def written(value: str, decimal: str, thousand: str) -> str:
    """Write a plain number the way people do, by hand: an oracle of its own."""
    sign, body = ("-", value[1:]) if value.startswith("-") else ("", value)
    whole, _, part = body.partition(".")
    groups: list[str] = []
    while len(whole) > 3:
        groups.insert(0, whole[-3:])
        whole = whole[:-3]
    return f"{sign}{thousand.join([whole, *groups])}{decimal}{part}"


@pytest.mark.parametrize(
    ("text", "decimal", "value"),
    [
        ("1,05", ",", 1.05),
        ("4.879.000,00", ",", 4879000.0),
        ("4,879,000.00", ".", 4879000.0),
        ("4 879 000,5", ",", 4879000.5),
        ("4'879'000.5", ".", 4879000.5),
        ("4\u202f879,5", ",", 4879.5),
        ("\u22121.5", ".", -1.5),
        (".5", ".", 0.5),
        ("7.", ".", 7.0),
        ("1e3", ".", 1000.0),
        ("1.234", ",", 1234.0),
        ("1.234", ".", 1.234),
        ("0", ",", 0.0),
    ],
)
def test_numbers_are_read_as_written(text: str, decimal: str, value: float) -> None:
    assert numbers.read(text, decimal) == value


@pytest.mark.parametrize("text", ["", "abc", "1,2,3", "1.2.3", "0.123.456x", "--1", "12 34", "nan", "inf", "1e", "٣"])
def test_what_is_no_number_is_none_in_both_ways(text: str) -> None:
    assert numbers.read(text, ".") is None
    assert numbers.read(text, ",") is None


def test_a_group_does_not_begin_with_zero_so_0_123_is_a_decimal() -> None:
    assert numbers.read("0.123", ",") is None
    assert numbers.sniff(["0.123"]).decimal == "."


@given(VALUES, st.sampled_from([(".", ","), (",", "."), (".", ""), (",", ""), (",", " "), (".", "'")]))
def test_reading_undoes_writing(value: object, signs: tuple[str, str]) -> None:
    plain = f"{value:.3f}"
    decimal, thousand = signs
    assert numbers.read(written(plain, decimal, thousand), decimal) == float(plain)


@given(st.lists(VALUES, min_size=1, max_size=20), st.sampled_from([(".", ","), (",", ".")]))
def test_the_sign_found_reads_every_number_back_when_anything_tells(
    values: list[object], signs: tuple[str, str]
) -> None:
    decimal, thousand = signs
    plain = [f"{value:.3f}" for value in values] + ["0.250"]  # a leading zero tells
    style = numbers.sniff([written(one, decimal, thousand) for one in plain])
    assert style.decimal == decimal
    assert [numbers.read(written(one, decimal, thousand), style.decimal) for one in plain] == [float(p) for p in plain]


def test_both_signs_in_one_column_are_refused_with_an_example_of_each() -> None:
    with pytest.raises(LayerError, match=r"'1\.5', '2,5'"):
        numbers.sniff(["1.5", "2,5"])


def test_a_lone_1_234_is_asked_about_only_with_a_comma() -> None:
    with pytest.raises(LayerError, match="decimal or a thousand"):
        numbers.sniff(["1,234"])
    assert numbers.sniff(["1,234"], hint=",").decimal == ","
    assert numbers.sniff(["1,234"], hint=".").decimal == "."
    assert numbers.sniff(["1.234"]).decimal == "."
    assert numbers.sniff(["1.234"], hint=",").decimal == ","


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ("15 ft", ("15", "ft")),
        ("15ft", ("15", "ft")),
        ("1,05 m", ("1,05", "m")),
        ("4'879'000.5 mm", ("4'879'000.5", "mm")),
        ("5'", ("5", "'")),
        ("12", ("12", "")),
        ("44°03'00.5\"N", ("44", "°03'00.5\"N")),
    ],
)
def test_a_unit_is_cut_off(text: str, parts: tuple[str, str]) -> None:
    assert numbers.split(text) == parts


@pytest.mark.parametrize("text", ["", "ft", "k.A.", "-", "N44"])
def test_what_does_not_begin_with_a_number_is_not_split(text: str) -> None:
    assert numbers.split(text) is None
