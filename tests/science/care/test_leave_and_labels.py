"""Leave with strings attached, leave that contradicts itself, what the label says, and when a slab tips."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import pytest

from gravegis.science.care import gates, permissions, steps, ways
from gravegis.science.care.permissions import Asked
from gravegis.science.care.sizes import stone_sizes
from gravegis.science.condition.reasons import in_words
from gravegis.science.condition.tables import rows
from tests.science.care.test_rules_fire import care_for

if TYPE_CHECKING:
    from collections.abc import Mapping

NAN = float("nan")


def consent(*asked: Asked, significance: object = None) -> permissions.Consents:
    return permissions.consent_holds([significance], [NAN], asked)


def test_a_refusal_is_not_undone_by_another_row_and_says_so() -> None:
    said = (Asked(0, "owner", "refused"), Asked(0, "owner", "granted"))
    for rows_ in (said, said[::-1]):
        held = consent(*rows_)
        assert held.hold[0] == permissions.REFUSED
        assert [one["code"] for one in held.reasons[0]] == ["permission_refused"]


def test_a_row_for_the_stone_outranks_one_for_its_section_in_any_order() -> None:
    section, stone = Asked(0, "family", "refused"), Asked(0, "family", "granted", of_stone=True)
    assert consent(section, stone).hold[0] == consent(stone, section).hold[0] == ""
    section, stone = Asked(0, "family", "granted"), Asked(0, "family", "asked", of_stone=True)
    assert consent(section, stone).hold[0] == consent(stone, section).hold[0] == permissions.NEEDS_PERMISSION


def test_leave_given_after_it_was_asked_for_counts_in_any_order() -> None:
    asked, granted = Asked(0, "owner", "asked"), Asked(0, "owner", "granted")
    assert consent(asked, granted).hold[0] == consent(granted, asked).hold[0] == ""


@pytest.mark.parametrize("row", rows("permission_conditions"), ids=lambda row: row["term"])
def test_a_condition_asks_what_its_row_says_and_another_does_not(row: Mapping[str, str]) -> None:
    for typed in (row["term"], *filter(None, row["aliases"].split("|"))):
        found = permissions.condition(typed)
        assert (found.water_only, found.no_photographs) == (row["water_only"] == "yes", row["no_photographs"] == "yes")
    others = [permissions.condition(one["term"]) for one in rows("permission_conditions") if one != row]
    assert permissions.condition(row["term"]) not in others


def test_a_condition_nobody_knows_here_leaves_water_only() -> None:
    assert permissions.condition("only on the north side").water_only
    assert not permissions.condition("only on the north side").no_photographs


def test_conditions_count_only_where_leave_was_given() -> None:
    held = consent(Asked(0, "owner", "granted", conditions="water only"), Asked(0, "heritage", "asked", conditions="x"))
    assert held.conditions[0] == ("water only",)


@pytest.mark.parametrize(("state", "may"), [("granted", True), ("asked", False), ("refused", False), ("", False)])
def test_photographs_wait_for_the_leave_they_were_asked_for(state: str, may: bool) -> None:
    held = consent(Asked(0, "photo consent", state))
    assert held.photographs[0] == may
    assert held.hold[0] == ""
    assert consent().photographs[0]
    told = steps.within_leave(steps.steps_of("clean with cleaner"), ("a", "b"), photographs=may)
    assert told[:2] == ("Agreed only as follows: a", "Agreed only as follows: b")
    assert any("Photograph" in one for one in told) == may
    assert any("no photograph" in one.lower() for one in told) != may


@pytest.mark.parametrize(
    ("typed", "share"),
    [("1 part to 4", 0.2), ("1:4", 0.2), ("1 to 1", 0.5), ("1 part cleaner to 1 part water", 0.5), ("1 in 5", 0.2),
     ("20 %", 0.2), ("undiluted", 1.0), ("Ready to use", 1.0), ("1:1 to 1:9", NAN), ("see sheet", NAN), ("", NAN),
     ("0:4", NAN), ("150 %", NAN)],
)  # fmt: skip
def test_the_share_of_cleaner_is_read_from_the_label_or_not_known(typed: str, share: float) -> None:
    assert steps.share_of(typed) == pytest.approx(share, nan_ok=True)


def test_the_label_outranks_our_strength_in_the_load_too() -> None:
    heavy, first = care_for("lichen", 3), np.array([False])
    ours = ways.choose_ways(heavy, first, label=steps.Label(name="a"))
    assert ours.concentrate_frac[0] == 1.0
    labelled = ways.choose_ways(heavy, first, label=steps.Label(name="a", strength="1 part to 4"))
    assert labelled.concentrate_frac[0] == 0.2
    assert math.isnan(ways.choose_ways(heavy, first, label=steps.Label(strength="see sheet")).concentrate_frac[0])
    assert math.isnan(ways.choose_ways(heavy, first).concentrate_frac[0])  # no label: no figure


@pytest.mark.parametrize("goal", ways.GOALS)
def test_what_else_the_label_says_stands_in_the_steps(goal: str) -> None:
    label = steps.Label(
        name="a", not_with="copper", low_degc=5.0, high_degc=30.0, protective="gloves", first_aid="rinse 15 min",
        reentry_h=4.0,
    )  # fmt: skip
    said = " ".join(ways.choose_ways(care_for("lichen", 1), np.array([False]), goal=goal, label=label).steps[0])
    for words in ("copper", "5 to 30 °C", "gloves", "rinse 15 min", "keep away for 4 h"):
        assert words in said
    bare = " ".join(ways.choose_ways(care_for("lichen", 1), np.array([False]), goal=goal).steps[0])
    assert "By its label" not in bare


def test_the_mildest_comes_first_and_growth_is_never_lifted_dry() -> None:
    said = steps.steps_of("clean with cleaner")
    places = [next(n for n, one in enumerate(said) if words in one.lower())
              for words in ("water and a soft brush", "non-ionic", "put on the cleaner")]  # fmt: skip
    assert places == sorted(places)
    assert any("never dry" in one and "breathe" in one for one in said)


@pytest.mark.cited("moments about the lower edge of a loose slab: push = m (t/2) / h, lean = atan(t/h)")
def test_a_stone_that_waits_for_a_tester_tells_how_little_tips_it() -> None:
    sizes = stone_sizes([1.6, 0.6], [0.6, 0.6], [0.075, 0.075], ["tablet", "tablet"], ["marble", "marble"])
    made = gates.gate_stones(["unchecked", "unchecked"], [NAN, NAN], sizes)
    assert made.hold.tolist() == ["trained tester first", ""]
    values = next(one["values"] for one in made.reasons[0] if one["code"] == "tips")
    assert values["push_kg"] == pytest.approx(2700 * 0.6 * 0.075**2 / 2, abs=0.05)
    assert values["lean_deg"] == pytest.approx(math.degrees(math.atan(0.075 / 1.6)), abs=0.05)
    words = " ".join(in_words(one) for one in made.reasons[0])
    assert "by force" in words
    assert "sooner" in words
