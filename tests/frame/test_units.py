from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gravegis import units
from gravegis.errors import SettingError


@pytest.mark.cited("NIST Special Publication 811 (2008), appendix B.8: exact definitions")
@pytest.mark.parametrize(
    ("typed", "inside", "expected"),
    [
        ("2 ft", "m", 0.6096),
        ("36 in", "m", 0.9144),
        ("40 psi", "kPa", 275.79029172672),
        ("1 gpm", "l/min", 3.785411784),
        ("1 in/h", "mm/h", 25.4),
        ("10 mph", "m/s", 4.4704),
        ("90 min", "h", 1.5),
        ("50 %", "1", 0.5),
        ("7", "m", 7.0),
        ("-3.5e1 m", "m", -35.0),
    ],
)
def test_typed_values_come_inside_in_si(typed: str, inside: str, expected: float) -> None:
    assert units.parse(typed, inside) == pytest.approx(expected, rel=1e-12)


@pytest.mark.cited("definition of the degree Fahrenheit: 32 F is 0 C, 212 F is 100 C")
def test_fahrenheit_has_an_offset_not_only_a_factor() -> None:
    assert units.parse("32 degF", "degC") == pytest.approx(0.0)
    assert units.parse("212 °F", "degC") == pytest.approx(100.0)


@pytest.mark.cited("US survey foot: 1200/3937 m, NIST Special Publication 811")
def test_survey_foot_is_not_the_international_foot() -> None:
    assert units.parse("1 usft", "m") == pytest.approx(0.30480060960121924, rel=1e-15)
    assert units.parse("1 usft", "m") != units.parse("1 ft", "m")


@given(st.floats(-1e6, 1e6), st.sampled_from([("ft", "m"), ("psi", "kPa"), ("degf", "degC"), ("gpm", "l/min")]))
def test_what_is_shown_reads_back(value: float, pair: tuple[str, str]) -> None:
    word, inside = pair
    assert units.parse(units.show(value, inside, word, digits=9), inside) == pytest.approx(value, abs=1e-6)


@pytest.mark.parametrize("typed", ["", "abc", "1,5 m", "nan", "inf", "1 2", "--3"])
def test_what_is_no_number_is_refused(typed: str) -> None:
    with pytest.raises(SettingError):
        units.parse(typed, "m")


def test_a_unit_of_another_kind_is_refused_with_those_that_fit() -> None:
    with pytest.raises(SettingError, match=r"does not measure the same thing as m(.|\n)*ft"):
        units.parse("3 psi", "m")
