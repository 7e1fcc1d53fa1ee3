"""Harms of findings: each term in one harm at most, looked for and absent is 0, not looked for is unknown."""

from __future__ import annotations

import numpy as np
import pytest

from gravegis.errors import LayerError
from gravegis.science.condition.harms import grade_harms, harm_of, harms
from gravegis.science.condition.scores import patterns, read_findings


def test_every_term_but_dirt_damp_and_films_belongs_to_a_harm() -> None:
    without = {patterns().look_up(term, "group") for term in patterns().terms if not harm_of(term)}
    assert without == {"soiling", "moisture", "coating", "surface"}
    assert set(harms()) == {harm_of(term) for term in patterns().terms} - {""}
    families = {harm: {patterns().look_up(t, "family") for t in patterns().terms if harm_of(t) == harm}
                for harm in harms()}  # fmt: skip
    assert all(len(one) == 1 for one in families.values())


@pytest.mark.parametrize(
    ("term", "harm"),
    [("hair crack", "cracks"), ("deformation", "deformation"), ("sugaring", "detachment"), ("pitting", "loss"),
     ("staining", "staining"), ("encrustation", "encrustation"), ("efflorescence", "encrustation"), ("moss", "growth"),
     ("soiling", ""), ("no such word", "")],
)  # fmt: skip
def test_a_term_belongs_to_its_harm(term: str, harm: str) -> None:
    assert harm_of(term) == harm


def test_looked_for_and_absent_is_0_and_not_looked_for_is_unknown() -> None:
    found = read_findings([0, 0, 1, 4], ["moss", "lichen", "staining", "moss"], [1, 3, 0, np.nan], stones_n=6)
    made = grade_harms(found, [np.nan, np.nan, 0, 2, np.nan, np.nan])
    np.testing.assert_array_equal(made.grade_of("growth"), [3, 0, 0, np.nan, np.nan, np.nan])
    np.testing.assert_array_equal(made.present_of("growth"), [1, 0, 0, np.nan, 1, np.nan])
    # severity 0 says: looked at, nothing there
    np.testing.assert_array_equal(made.grade_of("staining"), [0, 0, 0, np.nan, 0, np.nan])


def test_scores_of_another_number_of_stones_are_refused() -> None:
    with pytest.raises(LayerError, match="2 quick scores for 3 stones"):
        grade_harms(read_findings([], [], [], stones_n=3), [1, 2])
