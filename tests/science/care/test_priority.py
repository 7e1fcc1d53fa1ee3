"""Priorities: from the class, one step up at most, never down, always with a reason."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gravegis.errors import LayerError, SettingError
from gravegis.science.care.priority import LONG_SPRAY_H, Priorities, Spray, prioritise
from gravegis.science.condition.reasons import in_words

NAN = float("nan")


def rank(
    overall: int, *, struck: bool = False, margin_m: float = NAN, spray_h: float = NAN, safety: bool = False
) -> tuple[int, bool, list[str]]:
    """Priority, whether to mend the spray first, and codes of the reasons of a single stone."""
    spray = Spray(np.array([struck]), np.array([margin_m]), np.array([spray_h]))
    made = prioritise([overall], spray, [safety])
    return int(made.priority[0]), bool(made.fix_spray_first[0]), [one["code"] for one in made.reasons[0]]


@pytest.mark.parametrize(("overall", "priority"), [(0, 1), (1, 1), (2, 2), (3, 3)])
def test_a_dry_stone_takes_the_priority_of_its_class(overall: int, priority: int) -> None:
    assert rank(overall, margin_m=-2.0) == (priority, False, ["priority_from_class"])


def test_a_stone_without_a_class_comes_last_and_says_why() -> None:
    assert rank(-1) == (1, False, ["priority_class_not_known"])


def test_a_struck_stone_moves_up_one_and_the_spray_is_mended_first() -> None:
    assert rank(1, struck=True) == (2, True, ["priority_from_class", "priority_struck", "fix_spray_first"])
    assert rank(3, struck=True)[0] == 3


def test_the_highest_urgency_comes_first_and_says_so_where_nothing_else_does() -> None:
    dry = Spray(np.zeros(3, np.bool_), np.full(3, NAN), np.full(3, NAN))
    made = prioritise([1, 3, 1], dry, urgent=[True, True, False])
    assert made.priority.tolist() == [3, 3, 1]
    assert [[one["code"] for one in why] for why in made.reasons] == [
        ["priority_from_class", "priority_urgent"], ["priority_from_class"], ["priority_from_class"]
    ]  # fmt: skip


def test_long_hours_move_a_reached_stone_up_and_short_ones_do_not() -> None:
    assert rank(1, margin_m=2.0, spray_h=LONG_SPRAY_H)[0] == 2
    assert rank(1, margin_m=2.0, spray_h=LONG_SPRAY_H - 1)[0] == 1
    assert rank(1, margin_m=-1.0, spray_h=500.0) == (1, False, ["priority_from_class"])


def test_struck_and_long_together_move_up_one_step_only() -> None:
    assert rank(1, struck=True, margin_m=3.0, spray_h=500.0)[0] == 2


def test_the_edge_of_the_throw_counts_as_reached() -> None:
    assert rank(2, margin_m=0.0) == (2, True, ["priority_from_class", "priority_reached", "fix_spray_first"])


def test_unknown_wetting_is_neither_reached_nor_raised() -> None:
    assert rank(2) == (2, False, ["priority_from_class"])


@pytest.mark.parametrize("overall", [-1, 0, 1])
def test_harm_that_can_let_pieces_fall_gives_at_least_two(overall: int) -> None:
    assert rank(overall, safety=True)[0] == 2


stone = st.tuples(
    st.integers(-1, 3),
    st.booleans(),
    st.sampled_from([NAN, -1.0, 0.0, 3.0]),
    st.sampled_from([NAN, 0.0, 49.9, 50.0, 900.0]),
    st.booleans(),
)


def made_for(table: list[tuple[int, bool, float, float, bool]]) -> Priorities:
    spray = Spray(
        np.array([one[1] for one in table], dtype=bool),
        np.array([one[2] for one in table], dtype=float),
        np.array([one[3] for one in table], dtype=float),
    )
    return prioritise([one[0] for one in table], spray, [one[4] for one in table])


@given(st.lists(stone, max_size=20))
def test_a_priority_is_one_to_three_never_below_the_class_and_has_words(
    table: list[tuple[int, bool, float, float, bool]],
) -> None:
    made = made_for(table)
    classes = np.array([one[0] for one in table], dtype=int)
    assert np.all((made.priority >= 1) & (made.priority <= 3))
    assert np.all(made.priority >= classes)
    assert all("{" not in in_words(one) and "=" not in in_words(one) for why in made.reasons for one in why)


@given(st.lists(stone, max_size=20))
def test_spray_never_lowers_a_priority(table: list[tuple[int, bool, float, float, bool]]) -> None:
    dry = made_for([(overall, False, NAN, NAN, safety) for overall, _, _, _, safety in table])
    assert np.all(made_for(table).priority >= dry.priority)


@given(st.lists(stone, max_size=20))
def test_mending_the_spray_is_asked_for_exactly_where_spray_reaches(
    table: list[tuple[int, bool, float, float, bool]],
) -> None:
    made = made_for(table)
    for at, (_, struck, margin_m, _, _) in enumerate(table):
        asked = "fix_spray_first" in [one["code"] for one in made.reasons[at]]
        assert asked == made.fix_spray_first[at] == (struck or margin_m >= 0)


@pytest.mark.parametrize("overall", [-2, 4])
def test_a_class_off_the_scale_is_refused(overall: int) -> None:
    with pytest.raises(LayerError, match=rf"overall\[0\].*condition class is {overall}"):
        rank(overall)


def test_odd_lengths_and_senseless_hours_are_refused() -> None:
    spray = Spray(np.array([False]), np.array([NAN]), np.array([NAN]))
    with pytest.raises(LayerError, match="different length"):
        prioritise([1, 2], spray)
    with pytest.raises(SettingError, match="long_spray_h"):
        prioritise([1], spray, long_spray_h=NAN)
