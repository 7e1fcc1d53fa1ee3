"""Effort: the table's minutes, by size and soiling, with what was assumed said."""

from __future__ import annotations

import numpy as np
import pytest

from gravegis.errors import LayerError, SettingError
from gravegis.science.care.effort import INSPECTION_MIN, LEADER_CHECK_MIN, effort, size_class, soiling_class
from gravegis.science.care.sizes import Sizes, stone_sizes
from gravegis.science.care.treatment import Care, treat_stones
from gravegis.science.condition.reasons import in_words
from gravegis.science.condition.scores import read_findings, score_stones

NAN = float("nan")
SMALL, TABLET, LARGE = (0.25, 0.3, 0.1), (0.9, 0.6, 0.08), (2.0, 0.8, 0.5)


def stones(*boxes: tuple[float, float, float], form: str = "") -> Sizes:
    height, width, thickness = zip(*boxes, strict=True) if boxes else ((), (), ())
    return stone_sizes(height, width, thickness, [form] * len(boxes), ["marble"] * len(boxes))


def moss(*severities: float) -> Care:
    n = len(severities)
    found = read_findings(range(n), ["moss"] * n, severities, stones_n=n)
    return treat_stones(found, score_stones(found), ["marble"] * n)


@pytest.mark.cited(
    "effort table of the project's checks (common practice, no source): 8/15/25, 20/35/60, 60/100/180 min"
)
@pytest.mark.parametrize(("box", "minutes"), [(SMALL, (8, 15, 25)), (TABLET, (20, 35, 60)), (LARGE, (60, 100, 180))])
def test_minutes_are_those_of_the_table(box: tuple[float, float, float], minutes: tuple[int, int, int]) -> None:
    made = effort(moss(1, 2, 3), stones(box, box, box))
    assert made.work_min.tolist() == list(minutes)
    assert made.soiling_class.tolist() == ["light", "moderate", "heavy"]


@pytest.mark.cited("effort table of the project's checks (common practice, no source): litres light and heavy")
def test_water_and_cleaner_are_those_of_the_table_and_halfway_between() -> None:
    made = effort(moss(1, 2, 3), stones(TABLET, TABLET, TABLET))
    assert made.water_l.tolist() == [15, 25, 35]
    assert made.cleaner_l.tolist() == pytest.approx([0.3, 0.45, 0.6])


def test_size_follows_surface_and_a_flush_marker_is_small() -> None:
    of_size, basis = size_class(stones(SMALL, TABLET, LARGE))
    assert of_size.tolist() == ["small", "tablet", "large"]
    assert basis.tolist() == ["measured"] * 3
    assert size_class(stones((0.05, 0.9, 0.6), form="flush marker"))[0].tolist() == ["small"]


def test_unknown_sizes_come_from_the_form_or_are_assumed_and_say_so() -> None:
    unknown = (NAN, NAN, NAN)
    from_form = effort(moss(1), stones(unknown, form="obelisk"))
    assert (from_form.size_class[0], from_form.size_basis[0]) == ("large", "form")
    assert from_form.reasons[0][0]["code"] == "size_from_form"
    assumed = effort(moss(1), stones(unknown))
    assert (assumed.size_class[0], assumed.size_basis[0]) == ("tablet", "assumed")
    assert assumed.reasons[0][0]["code"] == "size_assumed"


def test_unknown_severity_counts_as_moderate_and_says_so() -> None:
    made = effort(moss(NAN), stones(TABLET))
    assert made.work_min[0] == 35
    assert made.reasons[0][1]["code"] == "soiling_assumed"
    assert soiling_class([-1, 0, 1, 2, 3]).tolist() == ["moderate", "moderate", "light", "moderate", "heavy"]


def test_a_look_takes_the_minutes_of_a_look_and_no_water() -> None:
    found = read_findings([], [], [], stones_n=3)
    care = treat_stones(found, score_stones(found, [2, 0, NAN]), [""] * 3)
    made = effort(care, stones(LARGE, LARGE, LARGE))
    assert made.work_min.tolist() == [INSPECTION_MIN, 0, 0]
    assert not made.water_l.any()
    assert effort(care, stones(LARGE, LARGE, LARGE), inspection_min=9).work_min[0] == 9


def test_a_conservators_stone_takes_a_crew_no_time_not_even_the_leaders() -> None:
    found = read_findings([0], ["rust"], [3], stones_n=1)
    care = treat_stones(found, score_stones(found), ["marble"])
    made = effort(care, stones(TABLET), leader_checks=[True])
    assert (made.work_min[0], made.water_l[0], made.cleaner_l[0], made.reasons[0]) == (0, 0, 0, ())


def test_the_leaders_check_and_the_crews_pace_add_up() -> None:
    made = effort(moss(2, 2), stones(TABLET, TABLET), pace=2.0, leader_checks=[True, False])
    assert made.work_min.tolist() == [70 + LEADER_CHECK_MIN, 70]


def test_water_only_takes_no_cleaner() -> None:
    found = read_findings([0], ["dirt"], [3], stones_n=1)
    care = treat_stones(found, score_stones(found), ["marble"])
    made = effort(care, stones(TABLET))
    assert (made.water_l[0], made.cleaner_l[0]) == (35, 0)


def test_reasons_can_be_put_into_words() -> None:
    made = effort(moss(1, NAN), stones(TABLET, (NAN, NAN, NAN), form="cross"))
    assert all("{" not in in_words(one) and "=" not in in_words(one) for why in made.reasons for one in why)


def test_no_stones_take_no_time() -> None:
    made = effort(moss(), stones())
    assert made.work_min.shape == made.size_class.shape == (0,)


@pytest.mark.parametrize("pace", [0.0, -1.0, np.nan, np.inf])
def test_a_senseless_pace_is_refused(pace: float) -> None:
    with pytest.raises(SettingError, match="pace"):
        effort(moss(1), stones(TABLET), pace=pace)


def test_senseless_minutes_and_odd_lengths_are_refused() -> None:
    with pytest.raises(SettingError, match="inspection_min is -1"):
        effort(moss(1), stones(TABLET), inspection_min=-1)
    with pytest.raises(SettingError, match="leader_check_min is nan"):
        effort(moss(1), stones(TABLET), leader_check_min=np.nan)
    with pytest.raises(LayerError, match="1 treatments for 2 stones"):
        effort(moss(1), stones(TABLET, TABLET))
