from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gravegis.science.survey.similarity import fit_similarity

SQUARE = np.array([[0.0, 0.0], [10.0, 0.0], [10.0, 20.0], [0.0, 20.0]])


def laid(local: np.ndarray, scale: float, turn_deg: float, east: float, north: float) -> np.ndarray:
    """The same in plain trigonometry: turned clockwise, stretched, shifted."""
    turn = np.radians(turn_deg)
    x, y = local.T
    return np.column_stack(
        [
            east + scale * (x * np.cos(turn) + y * np.sin(turn)),
            north + scale * (-x * np.sin(turn) + y * np.cos(turn)),
        ]
    )


@given(
    st.floats(0.01, 100), st.floats(-179, 179), st.floats(1e5, 9e5), st.floats(1e6, 9e6),
    st.integers(2, 6), st.integers(0, 99),
)  # fmt: skip
def test_a_grid_laid_by_plain_trigonometry_is_found_again(
    scale: float, turn_deg: float, east: float, north: float, n: int, seed: int
) -> None:
    local = np.random.default_rng(seed).uniform(-50, 50, (n, 2))
    fit = fit_similarity(local, laid(local, scale, turn_deg, east, north))
    assert fit.scale == pytest.approx(scale, rel=1e-6)
    assert (fit.turn_deg - turn_deg + 180) % 360 - 180 == pytest.approx(0, abs=1e-4)
    np.testing.assert_allclose(fit.carry(SQUARE), laid(SQUARE, scale, turn_deg, east, north), atol=1e-4)
    assert np.abs(fit.residual_m).max() < 1e-5


def test_residuals_are_those_of_a_plain_least_squares_solution() -> None:
    rng = np.random.default_rng(3)
    there = laid(SQUARE, 0.3048, 12.0, 500.0, 700.0) + rng.normal(0, 0.05, (4, 2))
    fit = fit_similarity(SQUARE, there)
    rows, right = [], []
    for (x, y), (east, north) in zip(SQUARE, there, strict=True):
        rows += [[x, -y, 1, 0], [y, x, 0, 1]]
        right += [east, north]
    solved, left, *_ = np.linalg.lstsq(np.array(rows), np.array(right), rcond=None)
    assert fit.scale == pytest.approx(np.hypot(solved[0], solved[1]))
    assert np.sum(fit.residual_m**2) == pytest.approx(float(left[0]))
    assert fit.error_m == pytest.approx(np.sqrt(float(left[0]) / (8 - 4)))


def test_two_points_fit_and_leave_nothing_to_check() -> None:
    fit = fit_similarity(SQUARE[:2], [[500.0, 700.0], [500.0, 690.0]])
    assert (fit.scale, fit.turn_deg) == pytest.approx((1.0, 90.0))
    assert np.isnan(fit.error_m)


def test_a_mirrored_grid_fits_only_mirrored() -> None:
    fit = fit_similarity(SQUARE, SQUARE[:, ::-1] + 1000.0)
    assert fit.mirrored_error_m < 1e-9
    assert fit.error_m > 1


@pytest.mark.parametrize(
    ("local", "there", "words"),
    [
        (SQUARE[:1], SQUARE[:1], "least"),
        (SQUARE, SQUARE[:2], "4 local places for 2"),
        (SQUARE[[0, 0]], SQUARE[:2], "one place"),
        (SQUARE[:2], SQUARE[[0, 0]], "one place"),
        (SQUARE[:2] * np.nan, SQUARE[:2], "not finite"),
    ],
)
def test_points_that_tell_nothing_are_refused(local: np.ndarray, there: np.ndarray, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        fit_similarity(local, there)
