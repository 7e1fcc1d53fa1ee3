"""Gates: what nobody checked goes out with the leader's check or waits; what moves is never a crew's work."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gravegis.errors import LayerError, SettingError
from gravegis.science.care.gates import HOLDS, LEADER_CHECKS, GateLimits, Gates, gate_stones
from gravegis.science.care.sizes import stone_sizes
from gravegis.science.condition.reasons import in_words

NAN = float("nan")
LOW, TALL, HEAVY = (0.8, 0.5, 0.08), (1.6, 0.3, 0.05), (0.9, 0.9, 0.3)


def gate(
    stability: object,
    days: float = NAN,
    box: tuple[float, float, float] = LOW,
    *,
    form: str = "",
    lean: float = NAN,
    limits: GateLimits | None = None,
) -> tuple[str, str, list[str]]:
    """Hold, first step and codes of the reasons of a single stone."""
    sizes = stone_sizes([box[0]], [box[1]], [box[2]], [form], ["marble"])
    made = gate_stones([stability], [days], sizes, [lean], limits=limits)
    return str(made.hold[0]), str(made.first_step[0]), [one["code"] for one in made.reasons[0]]


@pytest.mark.parametrize("days", [NAN, 0.0, 10.0, 9999.0])
@pytest.mark.parametrize("word", ["moves", "Moves", "loose", "wobbly", "leaning"])
def test_what_moves_is_held_whatever_the_date(word: str, days: float) -> None:
    assert gate(word, days)[:2] == ("moves", "")


@pytest.mark.parametrize(
    "word", ["do not approach", "DO NOT  APPROACH", "do-not-approach", "dangerous", "about to fall"]
)
def test_what_is_not_to_be_approached_is_held(word: str) -> None:
    assert gate(word, 1.0) == ("do not approach", "", ["do_not_approach"])


def test_a_firm_stone_with_a_fresh_date_is_open() -> None:
    assert gate("firm", 30.0, TALL) == ("", "", ["firm"])


@pytest.mark.parametrize(
    ("days", "code"), [(NAN, "firm_without_date"), (-1.0, "firm_date_ahead"), (366.0, "firm_too_old")]
)
def test_firm_without_a_date_that_counts_is_unchecked(days: float, code: str) -> None:
    assert gate("firm", days) == ("", LEADER_CHECKS, [code, "leader_checks_first"])
    assert gate("firm", days, TALL)[0] == "trained tester first"


@pytest.mark.parametrize(
    ("word", "code"),
    [
        ("", "stability_missing"),
        (None, "stability_missing"),
        (NAN, "stability_missing"),
        ("so so", "stability_not_understood"),
    ],
)
def test_missing_or_strange_stability_is_unchecked(word: object, code: str) -> None:
    assert gate(word) == ("", LEADER_CHECKS, [code, "leader_checks_first"])


def test_an_unchecked_stone_goes_out_low_and_is_held_tall_heavy_or_leaning() -> None:
    assert gate("unchecked") == ("", LEADER_CHECKS, ["leader_checks_first"])
    assert gate("unchecked", box=TALL) == ("trained tester first", "", ["too_tall", "tips"])
    assert gate("unchecked", box=HEAVY) == ("trained tester first", "", ["too_heavy", "tips"])
    assert gate("unchecked", lean=10.0) == ("trained tester first", "", ["leans", "tips"])


def test_the_limit_itself_still_goes_out() -> None:
    limits = GateLimits(height_m=0.8)
    assert gate("unchecked", limits=limits)[1] == LEADER_CHECKS
    assert gate("unchecked", box=(0.8001, 0.5, 0.08), limits=limits)[0] == "trained tester first"


def test_limits_can_be_moved() -> None:
    assert gate("unchecked", box=TALL, limits=GateLimits(height_m=2.0))[1] == LEADER_CHECKS
    assert gate("unchecked", limits=GateLimits(height_m=0.0))[0] == "trained tester first"


def test_a_form_stands_in_for_a_height_and_says_so() -> None:
    hold, _, codes = gate("unchecked", box=(NAN, NAN, NAN), form="obelisk")
    assert hold == "trained tester first"
    assert "too_tall_assumed" in codes


def test_an_unknown_height_goes_out_with_the_order_to_leave_a_tall_one() -> None:
    assert gate("unchecked", box=(NAN, NAN, NAN)) == ("", LEADER_CHECKS, ["leader_checks_first", "height_not_known"])


def test_the_leaders_check_forbids_rocking_and_force() -> None:
    sizes = stone_sizes([0.8], [0.5], [0.1], [""], [""])
    words = " ".join(in_words(one) for one in gate_stones([None], [NAN], sizes).reasons[0])
    assert "Never rock it, never test it by force" in words


row = st.tuples(
    st.sampled_from(["unchecked", "firm", "moves", "do not approach", "so so", "", None]),
    st.sampled_from([NAN, -3.0, 0.0, 200.0, 365.0, 4000.0]),
    st.one_of(st.just(NAN), st.floats(0.05, 5.0)),
    st.one_of(st.just(NAN), st.floats(0.0, 30.0)),
)


def gates_of(table: list[tuple[str | None, float, float, float]], limits: GateLimits) -> Gates:
    n = len(table)
    sizes = stone_sizes([one[2] for one in table], [0.5] * n, [0.1] * n, [""] * n, [""] * n)
    return gate_stones(
        [one[0] for one in table], [one[1] for one in table], sizes, [one[3] for one in table], limits=limits
    )


@given(st.lists(row, max_size=20))
def test_a_stone_is_held_or_led_or_has_a_fresh_firm_date(table: list[tuple[str | None, float, float, float]]) -> None:
    made = gates_of(table, GateLimits())
    for stone, (state, days, _, _) in enumerate(table):
        assert made.hold[stone] in HOLDS
        if not made.hold[stone] and not made.first_step[stone]:
            assert state == "firm"
            assert 0 <= days <= 365
        assert not (made.hold[stone] and made.first_step[stone])
        assert made.reasons[stone]
        assert all("{" not in in_words(one) and "=" not in in_words(one) for one in made.reasons[stone])


@given(st.lists(row, max_size=20), st.floats(0, 4), st.floats(0, 4))
def test_a_lower_limit_never_opens_a_gate(
    table: list[tuple[str | None, float, float, float]], one: float, other: float
) -> None:
    strict = gates_of(table, GateLimits(height_m=min(one, other))).hold != ""
    loose = gates_of(table, GateLimits(height_m=max(one, other))).hold != ""
    assert np.all(strict | ~loose)


def test_no_stones_have_no_gates() -> None:
    made = gate_stones([], [], stone_sizes([], [], [], [], []))
    assert made.hold.shape == made.first_step.shape == (0,)


@pytest.mark.parametrize("limit", [-1.0, NAN])
@pytest.mark.parametrize("name", ["height_m", "mass_kg", "lean_deg", "valid_days"])
def test_senseless_limits_are_refused(name: str, limit: float) -> None:
    with pytest.raises(SettingError, match=name):
        GateLimits(**{name: limit})


def test_columns_of_different_length_are_refused() -> None:
    with pytest.raises(LayerError, match="2 stabilities, 1 dates"):
        gate_stones(["firm", "firm"], [1.0], stone_sizes([1.0], [1.0], [1.0], [""], [""]))
