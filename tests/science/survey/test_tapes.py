from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gravegis.science.survey.tapes import place_by_tapes

KNOWN = np.array([[0.0, 0.0], [4.0, 0.0], [0.0, 6.0]])


@pytest.mark.cited("plane geometry: the right triangle of sides 3, 4 and 5")
def test_three_and_five_from_the_ends_of_four_make_a_right_triangle() -> None:
    both = place_by_tapes(KNOWN[:2], [3.0, 5.0])
    assert both.places_m.tolist() == [[0.0, 3.0], [0.0, -3.0]]
    assert place_by_tapes(KNOWN[:2], [3.0, 5.0], side="left").places_m.tolist() == [[0.0, 3.0]]
    assert place_by_tapes(KNOWN[:2], [3.0, 5.0], side="right").places_m.tolist() == [[0.0, -3.0]]


@given(st.floats(-20, 20), st.floats(-20, 20), st.integers(0, 50))
def test_a_place_is_found_again_from_its_own_distances(x: float, y: float, seed: int) -> None:
    known = np.random.default_rng(seed).uniform(-10, 10, (3, 2))
    lengths = np.hypot(*(known[:2] - [x, y]).T)
    found = place_by_tapes(known[:2], lengths).places_m
    assert np.hypot(*(found - [x, y]).T).min() < 1e-3
    cross = (known[1] - known[0])[0] * (y - known[0][1]) - (known[1] - known[0])[1] * (x - known[0][0])
    if abs(cross) > 1:
        side = "left" if cross > 0 else "right"
        found = place_by_tapes(known[:2], lengths, side=side).places_m
        assert np.hypot(*(found[0] - [x, y])) < 1e-3


def test_a_third_tape_tells_the_side_and_what_is_left_over() -> None:
    lengths = np.hypot(*(KNOWN - [1.0, -2.0]).T)
    found = place_by_tapes(KNOWN, np.add(lengths, [0.02, -0.02, 0.02]))
    assert found.places_m.shape == (1, 2)
    assert np.hypot(*(found.places_m[0] - [1.0, -2.0])) < 0.06
    assert 0 < np.abs(found.left_over_m).max() < 0.05


def test_the_error_grows_where_the_tapes_cross_flat() -> None:
    square = place_by_tapes([[0, 0], [10, 10]], [10.0, 10.0], side="left").error_m
    flat = place_by_tapes([[0, 0], [10, 0]], [5.01, 5.01], side="left").error_m
    # tapes that cross at a right angle: each axis has the error of a tape
    assert square == pytest.approx(0.1, rel=1e-6)
    assert flat > 3 * square


@pytest.mark.parametrize(
    ("known", "lengths", "side", "words"),
    [
        (KNOWN[:1], [3.0], "", "least"),
        (KNOWN[:2], [1.0, 1.0], "", r"do not meet: 2\.00 m are lacking"),
        (KNOWN[:2], [9.0, 1.0], "", r"do not meet: 4\.00 m are lacking"),
        (KNOWN[[0, 0]], [3.0, 3.0], "", "one place"),
        (KNOWN, [3.0, 5.0, 6.0], "", r"do not meet: they miss by"),
        (KNOWN[:2], [3.0, float("nan")], "", "missing"),
        (KNOWN[:2], [3.0, 5.0], "north", "neither left nor right"),
    ],
)
def test_tapes_that_cannot_be_are_refused_in_words(
    known: np.ndarray, lengths: list[float], side: str, words: str
) -> None:
    with pytest.raises(ValueError, match=words):
        place_by_tapes(known, lengths, side=side)


def test_two_places_stay_two_far_from_the_origin_of_the_grid() -> None:
    far = np.add(KNOWN[:2], [372000.0, 6250000.0])
    assert place_by_tapes(far, [3.0, 5.0]).places_m.shape == (2, 2)
    assert place_by_tapes(far, [2.0, 2.0]).places_m.shape == (1, 2)
