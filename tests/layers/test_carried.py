"""Litres out of what people write."""

from __future__ import annotations

import pytest

from gravegis.layers.carried import litres_carried


@pytest.mark.parametrize(("words", "litres"), [
    ("hand 20 L", 20.0), ("cart 60 L", 60.0), ("20ltr", 20.0), ("20 ltr", 20.0), ("15 litres by hand", 15.0),
    ("0 L", 0.0), ("nothing", 0.0), ("None", 0.0), ("1,5 L", 1.5), ("1.5 l", 1.5), ("1,500 l bowser", 1500.0),
    ("2 x 10 L", 20.0), ("2x10l", 20.0), ("2 × 7,5 L", 15.0), ("two cans of 10 l", 20.0), ("3 jerrycans 5 L", 15.0),
    ("2 water cans 10 l", 20.0), ("5 L spray bottle, cart 60 L", 65.0), ("2 x 10 L and 1 x 5 L", 25.0),
    ("5 gal", 18.92705892),
])  # fmt: skip
def test_litres_are_read_as_written_and_added_up(words: str, litres: float) -> None:
    assert litres_carried(words) == pytest.approx(litres)


@pytest.mark.parametrize("words", ["wheelbarrow", "", "20", "two cans", "20 lbs", "4 l/min", None, float("nan")])
def test_words_without_litres_are_not_guessed(words: object) -> None:
    assert litres_carried(words) is None
