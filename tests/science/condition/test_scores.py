"""Findings to classes: the worst finding decides, nothing is guessed, unknown is not none."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gravegis.errors import LayerError
from gravegis.science.condition.reasons import in_words
from gravegis.science.condition.scores import (
    NO_CLASS,
    read_findings,
    score_reasons,
    score_stones,
    worst_by_family,
    worst_by_group,
)

NAN = float("nan")
WORDS = ("staining", "moss", "crack", "rust", "what is this", "")

row = st.tuples(
    st.integers(0, 7), st.sampled_from(WORDS), st.sampled_from([0, 1, 2, 3, NAN]), st.sampled_from([0.0, 0.4, 1.0, NAN])
)


def columns(table: list[tuple[int, str, float, float]]) -> tuple[list[int], list[str], list[float], list[float]]:
    return (
        [one[0] for one in table],
        [one[1] for one in table],
        [one[2] for one in table],
        [one[3] for one in table],
    )


@pytest.mark.cited("own rule of the project's checks: overall class of an object = its worst element")
def test_the_worst_finding_gives_the_class() -> None:
    found = read_findings([0, 0, 0, 2], ["moss", "staining", "crack", "moss"], [1, 2, 0, 3], stones_n=4)
    scores = score_stones(found)
    assert scores.overall.tolist() == [2, NO_CLASS, 3, NO_CLASS]
    assert scores.basis.tolist() == ["findings", "none", "findings", "none"]
    assert score_reasons(found, scores)[0] == [
        {"code": "worst_finding", "values": {"pattern": "staining", "severity": 2, "findings_n": 3}}
    ]


def test_a_stone_nobody_looked_at_is_not_a_stone_without_harm() -> None:
    found = read_findings([0], ["moss"], [0], stones_n=2)
    scores = score_stones(found)
    assert scores.overall.tolist() == [0, NO_CLASS]
    assert [one[0]["code"] for one in score_reasons(found, scores)] == ["worst_finding", "no_class"]


def test_the_quick_score_speaks_only_where_no_finding_is_graded() -> None:
    found = read_findings([0, 1], ["moss", "crack"], [1, NAN], stones_n=4)
    scores = score_stones(found, [3, 2, 0, NAN])
    assert scores.overall.tolist() == [1, 2, 0, NO_CLASS]
    assert scores.basis.tolist() == ["findings", "quick score", "quick score", "none"]
    why = score_reasons(found, scores)
    assert [one["code"] for one in why[1]] == ["quick_score", "findings_without_severity"]


def test_of_equal_severities_the_wider_then_the_earlier_is_named() -> None:
    found = read_findings([0, 0, 0], ["moss", "rust", "lichen"], [2, 2, 2], [NAN, 0.3, 0.3], stones_n=1)
    scores = score_stones(found)
    assert scores.worst.tolist() == [1]
    assert score_reasons(found, scores)[0][0]["values"]["extent_frac"] == 0.3


def test_unknown_patterns_are_kept_counted_and_graded() -> None:
    found = read_findings([0, 1], [" Grey bloom ", None], [2, 1], stones_n=2)
    assert found.unknown_n == 2
    assert found.typed.tolist() == ["Grey bloom", ""]
    assert score_stones(found).overall.tolist() == [2, 1]
    assert score_reasons(found, score_stones(found))[0][1] == {
        "code": "pattern_not_known",
        "values": {"typed": "Grey bloom"},
    }


def test_families_and_groups_hold_their_own_worst() -> None:
    found = read_findings([0, 0, 1], ["sugaring", "moss", "rust"], [1, 3, 2], stones_n=2)
    families = worst_by_family(found)
    assert families["detachment"].tolist() == [1, NO_CLASS]
    assert families["biological colonisation"].tolist() == [3, NO_CLASS]
    groups = worst_by_group(found)
    assert groups["safety"].tolist() == [1, NO_CLASS]
    assert groups["staining"].tolist() == [NO_CLASS, 2]


@given(st.lists(row, max_size=40), st.lists(st.sampled_from([0, 1, 2, 3, NAN]), min_size=8, max_size=8))
def test_classes_equal_a_plain_count(table: list[tuple[int, str, float, float]], quick: list[float]) -> None:
    scores = score_stones(read_findings(*columns(table), stones_n=8), quick)
    for stone in range(8):
        graded = [one[2] for one in table if one[0] == stone and one[2] == one[2]]
        if graded:
            expected, basis = max(graded), "findings"
        elif quick[stone] == quick[stone]:
            expected, basis = quick[stone], "quick score"
        else:
            expected, basis = NO_CLASS, "none"
        assert (scores.overall[stone], scores.basis[stone]) == (expected, basis)


@given(st.lists(row, max_size=30), row)
def test_one_more_finding_never_betters_a_stone(
    table: list[tuple[int, str, float, float]], more: tuple[int, str, float, float]
) -> None:
    before = score_stones(read_findings(*columns(table), stones_n=8)).overall
    after = score_stones(read_findings(*columns([*table, more]), stones_n=8)).overall
    assert np.all(after >= before)


@given(st.lists(row, max_size=30), st.randoms(use_true_random=False))
def test_the_order_of_findings_does_not_change_a_class(table: list[tuple[int, str, float, float]], rng: object) -> None:
    shuffled = list(table)
    rng.shuffle(shuffled)  # type: ignore[attr-defined]
    one = score_stones(read_findings(*columns(table), stones_n=8))
    other = score_stones(read_findings(*columns(shuffled), stones_n=8))
    np.testing.assert_array_equal(one.overall, other.overall)
    np.testing.assert_array_equal(one.basis, other.basis)


@given(st.lists(row, max_size=30))
def test_every_reason_can_be_put_into_words(table: list[tuple[int, str, float, float]]) -> None:
    found = read_findings(*columns(table), stones_n=8)
    why = score_reasons(found, score_stones(found, [2.0] * 4 + [NAN] * 4))
    assert len(why) == 8
    assert all("{" not in in_words(one) and "=" not in in_words(one) for reasons in why for one in reasons)


def test_no_findings_and_no_stones_give_empty_columns() -> None:
    empty = read_findings([], [], [], stones_n=0)
    assert score_stones(empty).overall.shape == (0,)
    assert score_reasons(empty, score_stones(empty)) == []
    assert worst_by_family(empty)["detachment"].shape == (0,)


def test_all_problems_of_the_findings_come_at_once() -> None:
    with pytest.raises(LayerError) as caught:
        read_findings([0, 5, 1.5, -1], ["a"] * 4, [1, 4, 2.5, np.inf], [0.1, 30, NAN, -1], stones_n=2)
    words = str(caught.value)
    assert "findings.stone[1]: stone is 5 (3 rows in all)" in words
    assert "findings.severity[1]: severity is 4 (3 rows in all)" in words
    assert "findings.extent_frac[1]: extent_frac is 30 (2 rows in all)" in words
    assert "typed in percent" in words


def test_columns_of_different_length_are_refused() -> None:
    with pytest.raises(LayerError, match=r"2 patterns.*severity"):
        read_findings([0, 0], ["moss", "moss"], [1], stones_n=1)


@pytest.mark.parametrize("quick", [[4.0], [-1.0], [0.5], [np.inf]])
def test_a_quick_score_off_the_scale_is_refused(quick: list[float]) -> None:
    with pytest.raises(LayerError, match=r"quick_score\[0\]"):
        score_stones(read_findings([], [], [], stones_n=1), quick)


def test_a_quick_score_for_another_number_of_stones_is_refused() -> None:
    with pytest.raises(LayerError, match="2 quick scores for 1 stones"):
        score_stones(read_findings([], [], [], stones_n=1), [1, 2])
