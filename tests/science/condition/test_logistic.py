"""Logistic regression against printed figures and statsmodels; within stones against statsmodels and McNemar."""

from __future__ import annotations

import math

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.discrete.conditional_models import ConditionalLogit

from gravegis.errors import LayerError
from gravegis.science.condition.logistic import conditional_logistic, logistic

TEMP = [66, 70, 69, 68, 67, 72, 73, 70, 57, 63, 70, 78, 67, 53, 67, 75, 70, 81, 76, 79, 75, 76, 58]
FAILED = [0, 1, 0, 0, 0, 0, 0, 0, 1, 1, 1, 0, 0, 1, 0, 0, 0, 0, 0, 0, 1, 0, 1]


@pytest.mark.cited("O-ring flights, published R output: 15.0429 (7.3786), -.2322 (.1082), p .0320")
def test_rings_of_23_flights() -> None:
    made = logistic(FAILED, TEMP)
    assert made.b.tolist() == pytest.approx([15.0429, -0.2322], abs=1e-3)
    assert made.se.tolist() == pytest.approx([7.3786, 0.1082], abs=1e-3)
    assert made.p[1] == pytest.approx(0.0320, abs=1e-3)
    assert 2 * (made.loglik - made.loglik_null) == pytest.approx(7.95196, abs=1e-4)


@pytest.mark.cited("Greene, Spector's data of statsmodels: -13.02135, 2.82611, .09516, 2.37869")
def test_grades_of_spector() -> None:
    data = sm.datasets.spector.load_pandas()
    made = logistic(data.endog.to_numpy(), data.exog.to_numpy())
    assert made.b.tolist() == pytest.approx([-13.02135, 2.82611, 0.09516, 2.37869], abs=1e-5)
    assert made.se.tolist() == pytest.approx([4.93132, 1.26294, 0.14155, 1.06456], abs=1e-4)
    assert made.loglik == pytest.approx(-12.889634, abs=1e-5)


def test_of_one_flag_it_is_the_odds_ratio_of_the_table() -> None:
    table = [[23, 15], [19, 31]]
    wet = np.repeat([1, 1, 0, 0], [23, 15, 19, 31])
    harmed = np.repeat([1, 0, 1, 0], [23, 15, 19, 31])
    made = logistic(harmed, wet)
    assert math.exp(made.b[1]) == pytest.approx(table[0][0] * table[1][1] / (table[0][1] * table[1][0]), rel=1e-9)
    assert made.se[1] == pytest.approx(math.sqrt(sum(1 / one for row in table for one in row)), rel=1e-9)


@given(st.integers(0, 400), st.integers(40, 150))
def test_errors_by_head_are_those_of_statsmodels(seed: int, n: int) -> None:
    rng = np.random.default_rng(seed)
    x = np.column_stack([rng.uniform(0, 12, n), rng.normal(1900, 40, n)])
    head = rng.integers(0, 12, n)
    lift = rng.normal(0, 1, 12)[head]
    y = (rng.random(n) < 1 / (1 + np.exp(-(1.5 - 0.3 * x[:, 0] + lift)))).astype(float)
    made = logistic(y, x, head)
    if made.separated or math.isnan(made.loglik):
        return
    other = sm.GLM(y, sm.add_constant(x), family=sm.families.Binomial()).fit(
        cov_type="cluster", cov_kwds={"groups": head}, tol=1e-14, maxiter=200
    )
    assert made.b == pytest.approx(other.params, rel=1e-6, abs=1e-7)
    assert made.se == pytest.approx(other.bse, rel=1e-5)
    assert made.groups_n == len(np.unique(head))
    # Student's t is wider than the normal law statsmodels takes
    assert (made.high - made.low > other.conf_int()[:, 1] - other.conf_int()[:, 0]).all()


@pytest.mark.filterwarnings("ignore")
def test_without_groups_it_is_plain_logit() -> None:
    rng = np.random.default_rng(3)
    x = rng.uniform(0, 3, (200, 2))
    y = (rng.random(200) < 1 / (1 + np.exp(-(x[:, 0] - 1)))).astype(float)
    made, other = logistic(y, x), sm.Logit(y, sm.add_constant(x)).fit(disp=0)
    assert made.b == pytest.approx(other.params, rel=1e-6)
    assert made.se == pytest.approx(other.bse, rel=1e-6)
    assert made.p == pytest.approx(other.pvalues, rel=1e-6)


def test_separated_data_give_no_figure_and_say_so() -> None:
    made = logistic([0, 0, 0, 0, 1, 1, 1, 1], [1, 2, 3, 4, 5, 6, 7, 8])
    assert made.separated
    assert np.isnan(made.b).all()
    empty_cell = logistic([1] * 12 + [1] * 30 + [0] * 25, [1] * 12 + [0] * 55)
    assert empty_cell.separated


@pytest.mark.parametrize(
    ("harmed", "columns"),
    [([1, 1, 1, 1], [1, 2, 3, 4]), ([], []), ([0, 1, 0, 1, 1], [2, 2, 2, 2, 2]), ([0, 1], [3, 4])],
)
def test_what_cannot_be_fitted_gives_no_figure(harmed: list[int], columns: list[float]) -> None:
    made = logistic(harmed, np.array(columns, dtype=float).reshape(len(harmed), 1))
    assert np.isnan(made.b).all()
    assert not made.separated


def test_missing_values_are_refused() -> None:
    with pytest.raises(LayerError, match="a value is missing"):
        logistic([0, 1, 1], [1, np.nan, 3])
    with pytest.raises(LayerError, match="2 rows of columns for 3 stones"):
        logistic([0, 1, 1], np.ones((2, 1)))


def test_within_pairs_it_is_the_ratio_of_unlike_pairs() -> None:
    # 14 stones with the sprayed face harmed only, 5 with the lee face only, 30 alike
    harmed = [1, 0] * 14 + [0, 1] * 5 + [1, 1] * 10 + [0, 0] * 20
    dose = [1, 0] * 49
    made = conditional_logistic(harmed, dose, np.repeat(np.arange(49), 2))
    assert math.exp(made.b) == pytest.approx(14 / 5, rel=1e-9)
    assert made.se == pytest.approx(math.sqrt(1 / 14 + 1 / 5), rel=1e-9)
    assert made.stones_n == 19


@given(st.integers(0, 300))
@pytest.mark.filterwarnings("ignore:Dropped")
def test_within_stones_it_is_what_statsmodels_says(seed: int) -> None:
    rng = np.random.default_rng(seed)
    stone = np.repeat(np.arange(40), 4)
    dose = rng.gamma(1.5, 8, 160)
    lift = rng.normal(0, 1.5, 40)[stone]
    y = (rng.random(160) < 1 / (1 + np.exp(-(-1 + 0.08 * dose + lift)))).astype(float)
    made = conditional_logistic(y, dose, stone)
    other = ConditionalLogit(y, dose[:, None], groups=stone).fit(disp=0, method="bfgs", gtol=1e-9)
    assert made.b == pytest.approx(other.params[0], rel=1e-4, abs=1e-6)
    assert made.se == pytest.approx(other.bse[0], rel=1e-3)


def test_faces_that_never_differ_say_nothing() -> None:
    made = conditional_logistic([1, 1, 0, 0, 1, 0], [1, 2, 3, 4, 5, 5], [0, 0, 1, 1, 2, 2])
    assert made.stones_n == 0
    assert math.isnan(made.b)
    assert conditional_logistic([1, 0, 1, 0], [2, 1, 5, 1], [0, 0, 1, 1]).separated
