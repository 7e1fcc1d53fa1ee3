"""Faces and edges of the same stone, whole heads, and two surveys: against enumeration, scipy and statsmodels."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.stats.contingency_tables import SquareTable, mcnemar

from gravegis.errors import LayerError, SettingError
from gravegis.science.condition.change import CHANGES, compare_surveys, match_by_id, match_by_place
from gravegis.science.condition.pairs import compare_edges, compare_faces
from gravegis.science.condition.whole_heads import permute_heads


@given(st.integers(0, 20), st.integers(0, 20), st.integers(0, 9), st.integers(0, 9))
def test_pairs_are_mcnemar_exact(sprayed_only: int, lee_only: int, both: int, neither: int) -> None:
    counts = (sprayed_only, lee_only, both, neither)
    sprayed, lee = np.repeat([1, 0, 1, 0], counts), np.repeat([0, 1, 1, 0], counts)
    made = compare_faces(sprayed, lee)
    assert (made.sprayed_only, made.lee_only, made.both, made.neither, made.n) == (*counts, sum(counts))
    if sprayed_only + lee_only == 0:
        assert math.isnan(made.odds.p)
        return
    other = mcnemar([[both, sprayed_only], [lee_only, neither]], exact=True)
    assert made.odds.p == pytest.approx(min(1.0, other.pvalue), rel=1e-9)
    assert made.odds.low <= made.odds.value <= made.odds.high
    assert made.odds.value == (math.inf if lee_only == 0 else pytest.approx(sprayed_only / lee_only))


def test_pairs_need_both_faces() -> None:
    with pytest.raises(LayerError, match="2 sprayed faces, 1 lee faces"):
        compare_faces([1, 0], [1])


def test_stain_edges_that_follow_the_wet_edge_are_told_from_those_that_do_not() -> None:
    rng = np.random.default_rng(1)
    wet = rng.uniform(0.2, 0.9, 40)
    follow = compare_edges(wet + rng.normal(0.02, 0.04, 40), wet, tolerance_m=0.1, rng=np.random.default_rng(2))
    other = compare_edges(rng.uniform(0.2, 0.9, 40), wet, tolerance_m=0.1, rng=np.random.default_rng(2))
    assert follow.near_share > 0.9
    assert follow.shuffled_p < 0.01
    assert follow.shift.low < 0.02 < follow.shift.high
    assert other.shuffled_p > 0.05
    assert other.near_share == pytest.approx(other.chance_near_share, abs=0.2)


def test_edges_of_fewer_than_three_stones_say_nothing() -> None:
    made = compare_edges([0.5, np.nan, 0.4], [0.5, 0.5, 0.4], tolerance_m=0.1, rng=np.random.default_rng(0))
    assert made.n == 2
    assert math.isnan(made.shuffled_p)
    with pytest.raises(LayerError, match="1 stain edges, 2 wet edges"):
        compare_edges([0.5], [0.5, 0.6], tolerance_m=0.1, rng=np.random.default_rng(0))


def test_few_heads_are_dealt_out_in_every_way() -> None:
    head = np.repeat(np.arange(6), 5)
    wetted = head < 3
    harmed = np.array([1, 1, 1, 1, 0, 1, 1, 1, 0, 0, 1, 1, 1, 1, 1, 0, 0, 1, 0, 0, 0, 1, 0, 0, 1, 0, 0, 0, 0, 0])
    made = permute_heads(harmed, wetted, head, rng=np.random.default_rng(0))
    sums = harmed.reshape(6, 5).sum(axis=1)
    every = np.array([sums[list(some)].sum() / 15 - (sums.sum() - sums[list(some)].sum()) / 15
                      for some in itertools.combinations(range(6), 3)])  # fmt: skip
    assert made.exact
    assert made.difference == pytest.approx((sums[:3].sum() - sums[3:].sum()) / 15)
    assert made.p == pytest.approx((np.abs(every) >= abs(made.difference) - 1e-9).mean())
    assert made.p == pytest.approx(2 / 20)


def test_many_stones_under_few_heads_are_few_witnesses() -> None:
    """Harm hangs on the head alone: stone by stone it looks certain, by whole heads it does not."""
    rng = np.random.default_rng(3)
    small = 0
    for _ in range(100):
        head = np.repeat(np.arange(8), 50)
        lift = rng.uniform(0.1, 0.9, 8)
        harmed = rng.random(400) < lift[head]
        made = permute_heads(harmed, np.isin(head, rng.permutation(8)[:4]), head, rng=rng)
        small += made.p <= 0.05
    assert small <= 12


def test_harm_by_material_is_taken_out_before_heads_are_dealt() -> None:
    rng = np.random.default_rng(4)
    head = np.repeat(np.arange(20), 20)
    wetted = head < 10
    marble = rng.random(400) < np.where(wetted, 0.8, 0.2)
    harmed = rng.random(400) < np.where(marble, 0.7, 0.2)
    plain = permute_heads(harmed, wetted, head, rng=np.random.default_rng(5))
    within = permute_heads(harmed, wetted, head, strata=marble.astype(int), rng=np.random.default_rng(5))
    assert not plain.exact
    assert plain.p < 0.01
    assert within.p > 0.05


def test_heads_that_wet_all_or_none_say_nothing() -> None:
    made = permute_heads([1, 0, 1, 0], [1, 1, 1, 1], [0, 1, 2, 3], rng=np.random.default_rng(0))
    assert math.isnan(made.p)
    assert math.isnan(permute_heads([], [], [], rng=np.random.default_rng(0)).p)
    with pytest.raises(LayerError, match="not of one length"):
        permute_heads([1, 0], [1], [0, 1], rng=np.random.default_rng(0))


def test_surveys_are_matched_by_id_or_by_place() -> None:
    assert match_by_id(["a", "b", "c"], ["c", "x", "a"]).tolist() == [[0, 2], [2, 0]]
    with pytest.raises(LayerError, match="stands twice in the later"):
        match_by_id(["a"], ["b", "b"])
    then = np.array([[0, 0], [2, 0], [9, 9], [np.nan, 1]])
    now = np.array([[2.3, 0], [0.2, 0], [20, 20]])
    assert match_by_place(then, now, within_m=0.5).tolist() == [[0, 1], [1, 0]]
    # as near to two: no guess
    assert match_by_place([[0, 0]], [[1, 0], [-1, 0]], within_m=2).tolist() == []
    # two earlier stones, one later stone: the nearer one has it
    assert match_by_place([[0, 0], [1, 0]], [[0.9, 0]], within_m=2).tolist() == [[1, 0]]
    assert match_by_place(np.empty((0, 2)), [[0, 0]], within_m=1).tolist() == []
    with pytest.raises(SettingError, match="within_m is 0"):
        match_by_place([[0, 0]], [[0, 0]], within_m=0)


def test_changes_are_counted_once_each() -> None:
    pairs = match_by_id(list("abcdef"), list("bcdefg"))
    made = compare_surveys([3, 2, 1, 0, np.nan, 2], [1, 1, 2, 0, np.nan, 0], pairs)
    words = [CHANGES[one] for one in made.of_earlier]
    assert words == ["lost", "better", "same", "worse", "not graded", "not graded"]
    assert CHANGES[made.of_later[-1]] == "new"
    assert (made.better_n, made.worse_n, made.compared_n) == (1, 1, 3)
    assert made.table.tolist() == [[0, 0, 1], [0, 1, 0], [0, 1, 0]]
    assert made.changed.value == pytest.approx(2 / 3)
    assert math.isnan(made.beyond_noise_p)


@given(st.lists(st.tuples(st.integers(0, 3), st.integers(0, 3)), min_size=1, max_size=60))
def test_symmetry_is_that_of_statsmodels(grades: list[tuple[int, int]]) -> None:
    then, now = np.array(grades).T
    made = compare_surveys(then, now, np.column_stack([np.arange(len(then))] * 2))
    seen = made.table + made.table.T
    apart = np.triu(seen, 1)
    if not apart.any() or (apart > 0).sum() < len(made.table) * (len(made.table) - 1) / 2:
        return  # statsmodels counts pairs of grades that never occur too
    assert made.symmetry_p == pytest.approx(SquareTable(made.table, shift_zeros=False).symmetry().pvalue, rel=1e-8)


def test_looking_twice_with_errors_is_no_change_and_a_drift_is() -> None:
    rng = np.random.default_rng(6)
    small, found = 0, 0
    for _ in range(60):
        truth = rng.integers(0, 4, 300)
        looks = [np.clip(truth + rng.choice([-1, 0, 1], 300, p=[0.15, 0.7, 0.15]), 0, 3) for _ in range(3)]
        rows = np.column_stack([np.arange(300)] * 2)
        noise = (int((looks[0] != looks[1])[:100].sum()), 100)
        made = compare_surveys(looks[1], looks[2], rows, twice=noise)
        small += (made.sign_p <= 0.05) + (made.beyond_noise_p <= 0.05)
        cleaned = np.where(rng.random(300) < 0.4, 0, looks[2])
        drift = compare_surveys(looks[1], cleaned, rows, twice=noise)
        found += drift.sign_p < 0.01
        assert drift.better_n > drift.worse_n
    assert small <= 0.08 * 120 + 4
    assert found == 60


def test_bad_grades_and_double_pairs_are_refused() -> None:
    with pytest.raises(LayerError, match="no whole number"):
        compare_surveys([0.5], [1], [(0, 0)])
    with pytest.raises(LayerError, match="in two pairs"):
        compare_surveys([1, 1], [1], [(0, 0), (1, 0)])
