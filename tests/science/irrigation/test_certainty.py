from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate
from scipy.stats import ncx2, norm

from gravegis.science.irrigation.certainty import (
    FOOT_M,
    LOOK_SIGMAS,
    SURE_SIGMAS,
    State,
    by_probability,
    can_name_struck,
    look_lists,
    margin_error_m,
    states,
    strike_probability,
    sureness,
)
from gravegis.science.irrigation.pairs import find_pairs
from gravegis.science.irrigation.throw import Throws, make_throws

Floats = npt.NDArray[np.float64]
FULL = {"from_deg": np.zeros(1), "sweep_deg": np.full(1, 360.0)}


def probability(x_m: float, y_m: float, strike_m: float, error_m: float, **turn: float) -> float:
    angles = {name: np.array([turn.get(name, float(FULL[name][0]))]) for name in FULL}
    return float(
        strike_probability(np.array([x_m]), np.array([y_m]), np.array([strike_m]), np.array([error_m]), **angles)[0]
    )


@pytest.mark.cited("distance of a normal point from a place: noncentral chi-square of two degrees of freedom")
@settings(max_examples=200)
@given(st.floats(0, 20), st.floats(0, 360), st.floats(0.2, 5.0), st.floats(0.02, 8.0))
def test_full_circle_is_the_closed_form(far_m: float, bearing_deg: float, strike_m: float, error_m: float) -> None:
    x_m, y_m = far_m * np.sin(np.radians(bearing_deg)), far_m * np.cos(np.radians(bearing_deg))
    expected = ncx2.cdf((strike_m / error_m) ** 2, 2, (far_m / error_m) ** 2)
    assert probability(x_m, y_m, strike_m, error_m) == pytest.approx(float(expected), abs=2e-6)


@settings(max_examples=15)
@given(st.floats(0.1, 6), st.floats(0, 360), st.floats(0, 360), st.floats(20, 350), st.floats(0.3, 3.0))
def test_part_turn_is_the_integral_over_its_ground(
    far_m: float, bearing_deg: float, from_deg: float, sweep_deg: float, error_m: float
) -> None:
    x_m, y_m = far_m * np.sin(np.radians(bearing_deg)), far_m * np.cos(np.radians(bearing_deg))

    def density(r: float, at: float) -> float:
        square = (r * np.sin(at) - x_m) ** 2 + (r * np.cos(at) - y_m) ** 2
        return float(r * np.exp(-square / (2 * error_m**2)) / (2 * np.pi * error_m**2))

    low, high = np.radians(from_deg), np.radians(from_deg + sweep_deg)
    expected, _ = integrate.dblquad(density, low, high, 0.0, 1.8, epsabs=1e-7)
    found = probability(x_m, y_m, 1.8, error_m, from_deg=from_deg, sweep_deg=sweep_deg)
    assert found == pytest.approx(expected, abs=1e-5)


@pytest.mark.parametrize(("far_m", "expected"), [(1.0, 1.0), (3.0, 0.0)])
def test_without_error_a_strike_is_certain_or_out_of_the_question(far_m: float, expected: float) -> None:
    assert probability(far_m, 0.0, 1.8, 0.0) == pytest.approx(expected, abs=1e-6)
    assert probability(-far_m, 0.0, 1.8, 0.0, from_deg=10.0, sweep_deg=160.0) == pytest.approx(0.0, abs=1e-6)


@pytest.mark.cited("chance of a normal error beyond a margin, integrated over evenly spread margins (closed form)")
def test_share_of_changing_stones_that_is_not_called_uncertain() -> None:
    """Margins spread evenly over a distance: of those an error overturns, 3.6 % lie beyond the limit."""
    k = SURE_SIGMAS
    missed = (norm.pdf(k) - k * norm.sf(k)) / norm.pdf(0)
    assert missed == pytest.approx(0.036, abs=0.0005)
    assert float(np.exp(-(LOOK_SIGMAS**2) / 2)) == pytest.approx(0.089, abs=0.0005)  # beyond the look limit


def test_errors_add_in_squares() -> None:
    found = margin_error_m(np.array([10.0, 10.0]), [0.3, 0.0], [0.4, 0.0], [1.2, 0.0], [0.0, 1.0])
    np.testing.assert_allclose(found, [1.3, 10 * np.radians(1.0)])


def test_sureness_takes_the_best_head_and_is_without_end_where_nothing_is_unsure() -> None:
    sure = sureness(np.array([0, 0, 1, 2, 3]), np.array([0.1, 2.0, -0.5, 0.3, -0.3]), np.array([1, 1, 1, 0, 0.0]), 5)
    assert sure.tolist() == [2.0, -0.5, np.inf, -np.inf, -np.inf]


def test_states_in_their_order() -> None:
    sure = np.array([9.0, 1.0, 1.0, 5.0, -5.0, -5.0, -5.0, -np.inf, 1.0])
    margin_m = np.array([3.0, 0.1, -0.1, 2.0, -FOOT_M, -0.9, -1.1, -np.inf, 0.2])
    struck = np.array([True, False, False, False, False, False, False, False, True])
    assert [State(code).name for code in states(sure, margin_m, struck)] == [
        "STRUCK", "UNCERTAIN", "UNCERTAIN", "RAINED_ON", "FOOT_WETTED", "FRINGE", "DRY", "DRY", "STRUCK",
    ]  # fmt: skip


def test_no_single_stone_is_struck_where_errors_pass_half_the_strike_distance() -> None:
    assert can_name_struck(np.array([1.8, 1.8]), np.array([0.9, 0.91])).tolist() == [True, False]


def site(stones_n: int) -> tuple[Floats, npt.NDArray[np.object_], Throws]:
    """Rows of slabs, 1.2 by 2.5 m, and sparse heads, as surveyed without error."""
    rng = np.random.default_rng(0)
    columns = int(np.sqrt(stones_n * 3.0) / 1.2)
    place = np.arange(stones_n)
    middle = np.stack([(place % columns) * 1.2, (place // columns) * 2.5], axis=1) + rng.normal(0, 0.05, (stones_n, 2))
    side = middle.max(axis=0)
    heads = stones_n // 60
    throws = make_throws(
        rng.uniform(0, side[0], heads), rng.uniform(0, side[1], heads), rng.uniform(5, 13, heads),
        from_deg=rng.uniform(0, 360, heads), sweep_deg=rng.choice([90.0, 180.0, 360.0], heads),
    )  # fmt: skip
    return middle, np.asarray(shapely.box(-0.3, -0.15, 0.3, 0.15)), throws


def placed(middle: Floats) -> npt.NDArray[np.object_]:
    x, y = middle.T
    return np.asarray(shapely.box(x - 0.3, y - 0.15, x + 0.3, y + 0.15), dtype=object)


@pytest.mark.parametrize("error_m", [0.1, 0.5])
def test_stones_that_turn_dry_under_errors_were_called_uncertain(error_m: float) -> None:
    middle, _, throws = site(6_000)
    surveyed = middle + np.random.default_rng(1).normal(0, error_m, middle.shape)
    pairs = find_pairs(placed(surveyed), throws, touch_m=5 * error_m)
    sure = sureness(pairs.stone_i, pairs.margin_m, np.full(len(pairs), error_m), len(middle))
    truly = np.isin(np.arange(len(middle)), find_pairs(placed(middle), throws).stone_i)
    uncertain = np.abs(sure) < SURE_SIGMAS
    overturned = truly != (sure >= 0)
    assert overturned.sum() > 20
    assert uncertain[overturned].mean() >= 0.95
    assert uncertain.mean() <= {0.1: 0.05, 0.5: 0.25}[error_m]


STRIKE_M = 1.78


@pytest.mark.parametrize("error_m", [0.1, 0.5, 1.0, 3.0])
def test_look_lists_hold_nine_in_ten_of_the_struck(error_m: float) -> None:
    middle, _, throws = site(6_000)
    truly = np.asarray(shapely.STRtree(placed(middle)).query(
        shapely.points(throws.x_m, throws.y_m), predicate="dwithin", distance=STRIKE_M
    ))  # fmt: skip
    rng = np.random.default_rng(2)
    surveyed = placed(middle + rng.normal(0, error_m, middle.shape))
    errors, strike = np.full(len(throws), error_m), np.full(len(throws), STRIKE_M)
    head_i, stone_i, distance_m = look_lists(surveyed, throws, strike, errors)
    assert (distance_m <= STRIKE_M + LOOK_SIGMAS * error_m + 1e-9).all()
    listed = head_i * len(middle) + stone_i
    assert np.isin(truly[0] * len(middle) + truly[1], listed).mean() >= 0.9


def test_lists_are_ordered_by_probability_and_then_by_stone() -> None:
    order = by_probability(np.array([1, 0, 0, 0]), np.array([5, 9, 2, 4]), np.array([0.1, 0.5, 0.5, 0.9]))
    assert order.tolist() == [3, 2, 1, 0]
