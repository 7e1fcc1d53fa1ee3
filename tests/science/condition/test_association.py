"""Tables and strata against printed figures, statsmodels and scipy."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import nchypergeom_fisher
from statsmodels.stats.contingency_tables import StratifiedTable, Table2x2
from statsmodels.stats.proportion import proportion_confint

from gravegis.errors import LayerError
from gravegis.science.condition.association import over_strata, two_by_two, two_by_two_of, wilson

SMOKING = [
    [[126, 100], [35, 61]], [[908, 688], [497, 807]], [[913, 747], [336, 598]], [[235, 172], [58, 121]],
    [[402, 308], [121, 215]], [[182, 156], [72, 98]], [[60, 99], [11, 43]], [[104, 89], [21, 36]],
]  # fmt: skip
ADMISSIONS = [
    [[512, 313], [89, 19]], [[353, 207], [17, 8]], [[120, 205], [202, 391]], [[138, 279], [131, 244]],
    [[53, 138], [94, 299]], [[22, 351], [24, 317]],
]  # fmt: skip
RABBITS = [[[0, 6], [0, 5]], [[3, 3], [0, 6]], [[6, 0], [2, 4]], [[5, 1], [6, 0]], [[2, 0], [5, 0]]]


@pytest.mark.cited("Fisher's tea tasting, Agresti: p .485714")
def test_tea_tasting() -> None:
    made = two_by_two([[3, 1], [1, 3]])
    assert made.exact.p == pytest.approx(0.485714, abs=1e-6)
    assert (made.exact.low, made.exact.high) == pytest.approx((0.211736, 626.2435), rel=1e-5)


@pytest.mark.cited("twins' convictions, example of R fisher.test: p .000536724, interval .003317 to .363190")
def test_convictions_of_twins() -> None:
    made = two_by_two([[2, 15], [10, 3]])
    assert made.exact.p == pytest.approx(0.000536724, abs=1e-9)
    assert (made.exact.low, made.exact.high) == pytest.approx((0.003317, 0.363190), rel=2e-4)
    assert made.exact.value == pytest.approx(0.04, abs=1e-12)


@pytest.mark.cited("Doll & Hill 1950, exact interval 3.5 to 122.2 as printed (Mehta 1985)")
def test_smokers_of_1950() -> None:
    made = two_by_two([[647, 622], [2, 27]])
    assert made.exact.value == pytest.approx(14.0426, rel=1e-5)
    assert (made.exact.low, made.exact.high) == pytest.approx((3.4991, 122.192), rel=1e-4)


@pytest.mark.cited(
    "test table of statsmodels: OR 2.501754, Woolf 1.052764 to 5.945090, Wald p .0378575, Fisher .0522702"
)
def test_wald_below_and_fisher_above_5_percent() -> None:
    made = two_by_two([[23, 15], [19, 31]])
    woolf = (made.woolf.value, made.woolf.low, made.woolf.high)
    assert woolf == pytest.approx((2.501754, 1.052764, 5.945090), abs=1e-6)
    assert made.woolf.p == pytest.approx(0.0378575, abs=1e-6)
    assert made.exact.p == pytest.approx(0.0522702, abs=1e-6)
    assert not made.halves_added


@pytest.mark.cited("Agresti, aspirin trial: OR 1.83, 1.44 to 2.33")
def test_aspirin() -> None:
    made = two_by_two([[189, 10845], [104, 10933]])
    assert (made.woolf.value, made.woolf.low, made.woolf.high) == pytest.approx((1.83, 1.44, 2.33), abs=5e-3)


@pytest.mark.cited("PSU STAT 504, SAS output for one department: 2.8636, 1.7112 to 4.7921")
def test_one_department() -> None:
    made = two_by_two([[313, 512], [19, 89]])
    assert (made.woolf.value, made.woolf.low, made.woolf.high) == pytest.approx((2.8636, 1.7112, 4.7921), abs=5e-5)


def test_an_empty_cell_adds_halves_and_says_so() -> None:
    made = two_by_two([[12, 0], [30, 25]])
    assert made.halves_added
    # (12.5 * 25.5) / (0.5 * 30.5), by hand
    assert made.woolf.value == pytest.approx(12.5 * 25.5 / (0.5 * 30.5), rel=1e-12)
    assert math.isinf(made.exact.value)
    assert math.isinf(made.exact.high)
    assert made.exact.low == pytest.approx(2.02577, rel=1e-5)


def test_nothing_to_compare_gives_no_figure() -> None:
    for table in ([[5, 9], [0, 0]], [[0, 4], [0, 8]]):
        made = two_by_two(table)
        assert math.isnan(made.woolf.value)
        assert math.isnan(made.exact.p)


cells = st.integers(0, 30)


@given(cells, cells, cells, cells)
def test_a_table_is_what_statsmodels_and_the_conditional_law_say(a: int, b: int, c: int, d: int) -> None:
    if min(a, b, c, d) == 0:
        return
    made, other = two_by_two([[a, b], [c, d]]), Table2x2(np.array([[a, b], [c, d]], dtype=float))
    assert made.woolf.value == pytest.approx(other.oddsratio, rel=1e-12)
    assert (made.woolf.low, made.woolf.high) == pytest.approx(other.oddsratio_confint(), rel=1e-9)
    assert made.woolf.p == pytest.approx(other.log_oddsratio_pvalue(), rel=1e-9)
    # at the ends of the exact interval each tail holds 2.5 %
    n, row, col = a + b + c + d, a + b, a + c
    assert nchypergeom_fisher(n, col, row, made.exact.low).sf(a - 1) == pytest.approx(0.025, rel=1e-4)
    assert nchypergeom_fisher(n, col, row, made.exact.high).cdf(a) == pytest.approx(0.025, rel=1e-4)


@pytest.mark.cited("Agresti, SAS listing, smoking in eight cities: CMH 280.138, 2.174, Breslow-Day 5.200 p .636")
def test_eight_cities_agree() -> None:
    made = over_strata(SMOKING)
    assert made.chi2_mh == pytest.approx(280.1375, abs=1e-4)
    assert (made.pooled.value, made.pooled.low, made.pooled.high) == pytest.approx(
        (2.174482, 1.98400, 2.38325), abs=1e-5
    )
    # the listing is without Tarone's correction, which is 0.0003 here
    assert made.chi2_equal == pytest.approx(5.1997, abs=1e-3)
    assert made.df_equal == 7
    assert made.p_equal == pytest.approx(0.6356, abs=2e-4)


@pytest.mark.cited("UC Berkeley admissions: crude 1.84, Mantel-Haenszel .9046968 (.7719, 1.0603), heterogeneous")
def test_departments_do_not_agree() -> None:
    made = over_strata(ADMISSIONS)
    assert made.pooled.value == pytest.approx(0.9046968, abs=1e-6)
    assert (made.pooled.low, made.pooled.high) == pytest.approx((0.7719074, 1.0603298), abs=1e-6)
    assert made.chi2_mh == pytest.approx(1.524607, abs=1e-5)
    assert made.chi2_equal == pytest.approx(18.8255, abs=1e-3)
    assert made.p_equal == pytest.approx(0.002071, abs=2e-6)
    assert two_by_two(np.sum(ADMISSIONS, axis=0)).woolf.value == pytest.approx(1.841080, abs=1e-6)


@pytest.mark.cited(
    "rabbits and penicillin, example of R mantelhaen.test: OR 7.0 (1.02671, 47.7251), no correction 5.657143"
)
def test_strata_with_an_empty_margin_say_nothing_and_break_nothing() -> None:
    made = over_strata(RABBITS)
    assert made.pooled.value == pytest.approx(7.0, rel=1e-12)
    assert (made.pooled.low, made.pooled.high) == pytest.approx((1.02671, 47.7251), rel=1e-5)
    assert made.chi2_mh == pytest.approx(5.657143, abs=1e-6)
    assert made.used.tolist() == [False, True, True, True, False]
    assert made.n == 36
    assert math.isfinite(made.chi2_equal)


@pytest.mark.cited("own: harm hangs on material alone (Simpson): each stratum 1, crude 3.236842")
def test_damage_by_material_alone_is_not_blamed_on_water() -> None:
    tables = [[[40, 20], [20, 10]], [[2, 18], [8, 72]]]
    made = over_strata(tables)
    assert made.pooled.value == pytest.approx(1.0, abs=1e-12)
    assert (made.pooled.low, made.pooled.high) == pytest.approx((0.445762, 2.243350), abs=1e-6)
    assert made.chi2_mh == pytest.approx(0.0, abs=1e-12)
    assert two_by_two(np.sum(tables, axis=0)).woolf.value == pytest.approx(3.2368, abs=1e-4)


@given(st.lists(st.tuples(*[st.integers(1, 25)] * 4), min_size=2, max_size=6))
def test_strata_are_what_statsmodels_says(rows: list[tuple[int, int, int, int]]) -> None:
    tables = np.array(rows).reshape(-1, 2, 2)
    made, other = over_strata(tables), StratifiedTable([one.astype(float) for one in tables])
    assert made.pooled.value == pytest.approx(other.oddsratio_pooled, rel=1e-10)
    assert (made.pooled.low, made.pooled.high) == pytest.approx(other.oddsratio_pooled_confint(), rel=1e-8)
    assert made.chi2_mh == pytest.approx(other.test_null_odds(correction=False).statistic, rel=1e-8, abs=1e-10)
    if abs(made.pooled.value - 1) < 1e-9:  # there statsmodels divides by zero
        assert math.isfinite(made.chi2_equal)
        return
    equal = other.test_equal_odds(adjust=True)
    assert made.chi2_equal == pytest.approx(equal.statistic, rel=1e-6, abs=1e-6)
    assert made.p_equal == pytest.approx(equal.pvalue, rel=1e-5, abs=1e-9)


def test_strata_without_any_comparison_give_no_figure() -> None:
    made = over_strata([[[5, 5], [0, 0]], [[0, 3], [0, 4]]])
    assert math.isnan(made.pooled.value)
    assert math.isnan(over_strata(np.zeros((0, 2, 2))).pooled.value)


def test_what_is_no_table_is_refused() -> None:
    tables: list[list[list[float]]] = [[[1, 2, 3], [4, 5, 6]], [[-1, 2], [3, 4]], [[0.5, 2], [3, 4]]]
    for bad in tables:
        with pytest.raises(LayerError, match="two by two counts"):
            two_by_two(bad)


def test_a_table_of_flags_counts_each_stone_once() -> None:
    wet, harmed = [True, True, True, False, False], [True, True, False, True, False]
    assert two_by_two_of(wet, harmed).tolist() == [[2, 1], [1, 1]]


@given(st.integers(1, 60).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))))
def test_shares_have_the_interval_of_wilson_as_statsmodels_has_it(pair: tuple[int, int]) -> None:
    made = wilson(*pair)
    assert (made.low, made.high) == pytest.approx(proportion_confint(*pair, method="wilson"), abs=1e-12)
