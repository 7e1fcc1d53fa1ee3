"""The load of a day: sums, containers, and water no good tap gives."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gravegis.errors import SettingError
from gravegis.science.care.history import actual_minutes
from gravegis.science.care.supplies import load_for

LITRES = st.lists(st.floats(0, 120), min_size=0, max_size=40)


@given(LITRES, st.floats(1, 100), st.floats(0.5, 25), st.integers(1, 12), st.booleans())
def test_containers_hold_what_is_needed_and_one_fewer_would_not(
    water: list[float], container: float, small: float, people: int, tap: bool
) -> None:
    cleaner = [litres / 60 for litres in water]
    made = load_for(
        water, cleaner, [0.5] * len(water), people_n=people, good_tap=tap, container_l=container,
        cleaner_container_l=small,
    )  # fmt: skip
    assert made.water_l == pytest.approx(sum(water))
    assert made.concentrate_l == pytest.approx(sum(cleaner) / 2)
    for need, size, count in (
        (made.water_l, container, made.water_containers_n), (made.cleaner_l, small, made.cleaner_containers_n),
    ):  # fmt: skip
        assert count * size >= need * (1 - 1e-8) - 1e-8
        assert (count - 1) * size < need or count == 0
    assert made.bring_l == (0 if tap else made.water_l)
    assert made.brushes_n >= people * (sum(water) > 0)


def test_a_sum_that_only_rounds_up_opens_no_further_container() -> None:
    made = load_for([0.1] * 200, [0.0] * 200, [0.0] * 200, people_n=2, good_tap=True, container_l=20)
    assert made.water_containers_n == 1


def test_figures_that_make_no_sense_are_refused() -> None:
    for wrong in ({"people_n": 0}, {"container_l": 0.0}, {"cleaner_container_l": -1.0}):
        with pytest.raises(SettingError, match="at least one person"):
            load_for([1.0], [0.0], [0.0], **{"people_n": 1, "good_tap": True, **wrong})  # type: ignore[arg-type]


def test_own_minutes_need_enough_records_and_tell_their_spread() -> None:
    kinds = ["tablet, heavy"] * 5 + ["small, light"] * 4 + [""]
    took = [50.0, 60.0, 70.0, 80.0, 90.0, 5.0, 6.0, 7.0, 8.0, 1.0]
    made = actual_minutes(kinds, took)
    assert set(made) == {"tablet, heavy"}
    own = made["tablet, heavy"]
    assert (own.median_min, own.low_min, own.high_min, own.n) == (70.0, 60.0, 80.0, 5)
    assert actual_minutes(kinds, np.where(np.arange(10) == 0, np.nan, took)) == {}
