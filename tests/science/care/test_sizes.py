"""Sizes: measured ones stand, missing ones come from the form and say so; slabs tip as plane geometry has it."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gravegis.errors import LayerError
from gravegis.science.care.sizes import TIPPING_WARNING, forms, stone_sizes, tipping

NAN = float("nan")
length = st.floats(0.02, 6.0)


@pytest.mark.cited(
    "plane geometry; figures of the project's checks: slab 0.6 x 1.0 x 0.075 m at 2,590 kg/m3 (ASTM C503 minimum)"
)
def test_the_worked_slab_tips_at_little_more_than_four_kilograms() -> None:
    slab = tipping(1.0, 0.6, 0.075, 2590)
    assert slab.mass_kg[0] == pytest.approx(116.55, abs=0.01)
    assert slab.push_kgf[0] == pytest.approx(4.371, abs=0.001)
    assert slab.lean_deg[0] == pytest.approx(4.289, abs=0.001)


@given(length, length, length, st.floats(1500, 3000))
def test_moments_about_the_edge_balance_when_a_slab_tips(h: float, w: float, t: float, density: float) -> None:
    slab = tipping(h, w, t, density)
    assert slab.push_kgf[0] * h == pytest.approx(slab.mass_kg[0] * t / 2, rel=1e-12)
    # at the critical lean the centre of mass (t/2 in, h/2 up) stands straight above the edge
    lean = math.radians(slab.lean_deg[0])
    assert math.cos(lean) * t / 2 - math.sin(lean) * h / 2 == pytest.approx(0.0, abs=1e-12)


def test_the_warning_says_that_nobody_tests_by_force() -> None:
    assert "Nobody tests a stone by force" in TIPPING_WARNING


def test_measured_sizes_stand_and_missing_ones_come_from_the_form() -> None:
    sizes = stone_sizes(
        [1.5, NAN, NAN], [0.7, NAN, 0.5], [0.1, NAN, NAN], ["Tablet", "obelisks", "odd"], ["marble"] * 3
    )
    assert sizes.height_m[0] == 1.5
    assert sizes.assumed.tolist() == [False, True, False]
    assert sizes.height_assumed.tolist() == [False, True, False]
    assert sizes.form.tolist() == ["tablet", "obelisk", ""]
    assert np.isnan(sizes.height_m[2])
    assert np.isnan(sizes.area_m2[2])
    assert sizes.width_m[2] == 0.5


@pytest.mark.cited("box geometry, and the density for typical marble of stone_density.csv (from memory, unconfirmed)")
def test_surface_and_mass_are_those_of_a_box_on_the_ground() -> None:
    sizes = stone_sizes([1.0], [0.6], [0.1], [""], ["marble"])
    assert sizes.area_m2[0] == pytest.approx(2 * 0.6 + 2 * 0.1 + 0.06)
    assert sizes.mass_kg[0] == pytest.approx(162.0)


def test_metal_has_no_mass_and_unknown_stone_the_heaviest() -> None:
    sizes = stone_sizes([1.0] * 2, [1.0] * 2, [1.0] * 2, [""] * 2, ["zinc", "who knows"])
    assert np.isnan(sizes.mass_kg[0])
    assert sizes.mass_kg[1] == stone_sizes([1.0], [1.0], [1.0], [""], ["dark granite"]).mass_kg[0]


@pytest.mark.parametrize("form", list(forms().terms))
def test_every_form_has_usual_sizes(form: str) -> None:
    sizes = stone_sizes([NAN], [NAN], [NAN], [form], ["granite"])
    assert sizes.area_m2[0] > 0
    assert sizes.mass_kg[0] > 0


def test_all_senseless_sizes_come_at_once() -> None:
    with pytest.raises(LayerError) as caught:
        stone_sizes([0.0, 1.0], [-1.0, 1.0], [1.0, np.inf], ["", ""], ["", ""])
    words = str(caught.value)
    assert "stones.height_m[0]" in words
    assert "stones.width_m[0]" in words
    assert "stones.thickness_m[1]" in words


def test_columns_of_different_length_are_refused() -> None:
    with pytest.raises(LayerError, match="different length"):
        stone_sizes([1.0], [1.0], [1.0], ["", ""], [""])


def test_no_stones_have_no_sizes() -> None:
    sizes = stone_sizes([], [], [], [], [])
    assert sizes.area_m2.shape == sizes.form.shape == sizes.assumed.shape == (0,)
