"""Classes of the maps as people see them who lack one kind of cone: neighbours still differ, the mask is no class."""

from __future__ import annotations

from itertools import combinations, pairwise

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from gravegis.outputs import symbols
from gravegis.outputs.help_pictures import help_pictures

Floats = NDArray[np.float64]

SIGHT: dict[str, Floats] = {
    "all cones": np.eye(3),
    "no long-wave cones": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "no middle-wave cones": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
    "no short-wave cones": np.array(
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]
    ),
}
"""Machado, Oliveira & Fernandes 2009, IEEE TVCG 15(6), matrices of severity 1, for linear RGB; seen as a table in
an open library that cites them."""

JUST_SEEN, CLEAR = 2.3, 10.0
"""Differences in CIE 1976 L*a*b*: 2.3 is just seen (Mahy, Van Eycken & Oosterlinck 1994, from memory, unconfirmed);
about four of these for two classes beside each other on paper is an own choice."""

RAMPS = [("condition_0", "condition_1", "condition_2", "condition_3"), symbols.heat_kinds()]


def linear(colour: str) -> Floats:
    """Return linear RGB of a colour (IEC 61966-2-1)."""
    value = np.array([int(colour[place : place + 2], 16) for place in (1, 3, 5)]) / 255
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


def lab(rgb: Floats) -> Floats:
    """Return CIE L*a*b* of linear RGB, white D65."""
    xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]) @ rgb
    ratio = xyz / np.array([0.9505, 1.0, 1.089])
    f = np.where(ratio > (6 / 29) ** 3, np.cbrt(ratio), ratio / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def difference(one: str, other: str, sight: str) -> float:
    seen = [lab(np.clip(SIGHT[sight] @ linear(colour), 0, 1)) for colour in (one, other)]
    return float(np.linalg.norm(seen[0] - seen[1]))


@pytest.mark.cited("CIE 1976: white has L* 100, a* and b* 0; red of sRGB is about 53.2, 80.1, 67.2 (published widely)")
def test_the_measure_gives_the_known_values_of_white_and_red() -> None:
    np.testing.assert_allclose(lab(linear("#ffffff")), [100, 0, 0], atol=0.05)
    np.testing.assert_allclose(lab(linear("#ff0000")), [53.2, 80.1, 67.2], atol=0.15)


@pytest.mark.parametrize("sight", SIGHT)
def test_greys_are_seen_alike_by_everybody(sight: str) -> None:
    np.testing.assert_allclose(SIGHT[sight].sum(axis=1), 1.0, atol=2e-6)


def test_red_and_green_come_near_each_other_without_middle_wave_cones() -> None:
    reds = {sight: difference("#b04040", "#707020", sight) for sight in SIGHT}
    assert reds["no middle-wave cones"] < 0.5 * reds["all cones"]


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("sight", SIGHT)
@pytest.mark.parametrize("ramp", RAMPS, ids=["condition", "heat"])
def test_neighbouring_classes_differ_clearly_for_everybody(ramp: tuple[str, ...], sight: str, theme: str) -> None:
    fills = [symbols.symbol(kind, theme).fill for kind in ramp]
    assert min(difference(one, other, sight) for one, other in pairwise(fills)) >= CLEAR
    assert min(difference(one, other, sight) for one, other in combinations(fills, 2)) >= CLEAR


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_masked_ground_and_what_nobody_looked_at_are_no_class_of_a_ramp(theme: str) -> None:
    """A hatch or a mark tells them, which no class has, so that no colour has to."""
    classes = [symbols.symbol(kind, theme) for ramp in RAMPS for kind in ramp]
    masked, unknown = symbols.symbol("masked", theme), symbols.symbol("condition_none", theme)
    assert masked.hatch
    assert all(not one.hatch for one in classes)
    assert (unknown.mark, unknown.hatch, unknown.dash_mm) not in {(one.mark, one.hatch, one.dash_mm) for one in classes}


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("sight", SIGHT)
def test_hot_and_cold_outlines_differ_by_their_dashes_and_stand_out_from_the_paper(sight: str, theme: str) -> None:
    hot, cold = symbols.symbol("hot_spot", theme), symbols.symbol("cold_spot", theme)
    assert hot.dash_mm != cold.dash_mm
    ground = "#ffffff" if theme == "light" else "#000000"
    assert min(difference(one.line, ground, sight) for one in (hot, cold)) >= CLEAR


def test_the_help_page_of_hot_spots_has_the_maps_of_chance_under_both_kinds_of_p() -> None:
    (picture,) = help_pictures("hotspots")
    with Image.open(picture.file) as opened:
        assert min(opened.size) > 300
    for words in ("pure chance", "0 of 6 maps", "6 of 6"):
        assert words in picture.words
    assert help_pictures("throw") == ()
