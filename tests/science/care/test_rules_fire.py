"""Each row of the tables of care has a case in which it decides and one in which it does not."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from gravegis.science.care import history, hot, permissions, restrict, ways
from gravegis.science.care.steps import Label, plans, steps_of
from gravegis.science.care.treatment import Care, rule_for, treat_stones, verdict
from gravegis.science.condition.reasons import in_words
from gravegis.science.condition.scores import group_of, patterns, read_findings, score_stones
from gravegis.science.condition.tables import plain, rows

if TYPE_CHECKING:
    from collections.abc import Mapping

CLEANER = "quaternary-ammonium cleaner"


def words_of(row: Mapping[str, str], key: str) -> list[str]:
    return [row[key], *filter(None, row["aliases"].split("|"))]


def care_for(pattern: str, severity: int, material: str = "marble") -> Care:
    found = read_findings([0], [pattern], [severity], stones_n=1)
    return treat_stones(found, score_stones(found), [material])


@pytest.mark.parametrize("row", rows("treatments"), ids=lambda row: f"{row['group']}-{row['material_class']}")
def test_a_treatment_rule_decides_for_its_group_and_material_only(row: Mapping[str, str]) -> None:
    of_class = "carbonate" if row["material_class"] == "any" else row["material_class"]
    fired = rule_for(row["group"], of_class)
    assert (fired.treatment, fired.who, fired.method, fired.plan) == (
        row["treatment"], row["who"], row["method"], row["plan"],
    )  # fmt: skip
    assert fired.source == row["source"] != ""
    others = {one["group"] for one in rows("treatments")} - {row["group"]}
    assert all(rule_for(other, of_class).group == other for other in others)
    assert steps_of(row["plan"])


@pytest.mark.parametrize("row", rows("contraindications"), ids=lambda row: f"{row['method']}-{row['material_class']}")
def test_a_contraindication_holds_for_its_method_and_material_only(row: Mapping[str, str]) -> None:
    materials = {"carbonate": "marble", "any": "granite", "unknown": "", "other metal": "bronze", "silicate": "granite"}
    material = materials.get(row["material_class"], row["material_class"])
    said = verdict(row["method"], material)
    assert (said.verdict, said.reason, said.source) == (row["verdict"], row["reason"], row["source"])
    assert verdict("a method nobody wrote down", material).reason != row["reason"]


@pytest.mark.parametrize("row", rows("part_rules"), ids=lambda row: row["part"])
def test_a_rule_of_a_part_fires_for_its_part_and_no_other(row: Mapping[str, str]) -> None:
    for typed in words_of(row, "part"):
        found = restrict.part_limit(0, typed, "marble" if row["verdict"] == "strictest" else None)
        assert row["words"] in in_words(found.reason)
        wanted = {"keep off": "", "strictest": ""}.get(row["verdict"], row["verdict"])
        assert found.verdict == wanted
    other = next(one for one in rows("part_rules") if one["part"] != row["part"])
    assert row["words"] not in in_words(restrict.part_limit(0, other["part"], None).reason)


@pytest.mark.parametrize("row", [one for one in rows("part_rules") if one["materials"]], ids=lambda row: row["part"])
def test_a_part_without_a_name_is_known_by_its_material(row: Mapping[str, str]) -> None:
    for material in row["materials"].split("|"):
        assert row["words"] in in_words(restrict.part_limit(0, None, material).reason)


def test_a_part_that_is_not_in_the_table_is_a_conservators() -> None:
    for part, material in (("whirligig", None), (None, None), ("", "unobtainium")):
        assert restrict.part_limit(0, part, material).verdict == restrict.CONSERVATOR_ONLY
    assert restrict.part_limit(0, "base", "iron").verdict == restrict.CONSERVATOR_ONLY


@pytest.mark.parametrize("row", rows("sensitive_kinds"), ids=lambda row: row["term"])
def test_sensitive_ground_asks_what_its_row_says(row: Mapping[str, str]) -> None:
    for typed in words_of(row, "term"):
        found = restrict.ground_limit(0, typed, "P1", distance_m=2.0, buffer_m=5.0)
        assert found.verdict == row["verdict"]
        assert row["words"] in in_words(found.reason)
        assert "2 m away, 5 m are to be kept" in in_words(found.reason)
    assert restrict.ground_limit(0, "something else", "", distance_m=0, buffer_m=5).verdict == restrict.HOLD


@pytest.mark.parametrize("row", rows("permission_needs"), ids=lambda row: row["term"])
def test_what_a_stone_is_asks_for_leave_until_it_is_granted(row: Mapping[str, str]) -> None:
    for typed in words_of(row, "term"):
        held = permissions.consent_holds([typed], [float("nan")], [])
        assert (held.hold[0], held.missing[0]) == (permissions.NEEDS_PERMISSION, (row["kind"],))
        granted = permissions.Asked(0, row["kind"], "granted")
        assert permissions.consent_holds([typed], [float("nan")], [granted]).hold[0] == ""
    assert permissions.consent_holds(["a fine carving"], [float("nan")], []).hold[0] == ""


@pytest.mark.parametrize("row", rows("permission_kinds"), ids=lambda row: row["term"])
def test_leave_asked_for_and_not_given_holds_a_stone_where_it_is_about_treatment(row: Mapping[str, str]) -> None:
    for typed in words_of(row, "term"):
        for state in rows("permission_states"):
            for said in words_of(state, "term"):
                hold = permissions.consent_holds([None], [float("nan")], [permissions.Asked(0, typed, said)]).hold[0]
                wanted = {"granted": "", "refused": permissions.REFUSED}.get(
                    state["term"], permissions.NEEDS_PERMISSION
                )
                assert hold == (wanted if row["treats"] == "yes" else "")


def test_leave_that_ran_out_holds_again_and_one_without_a_word_counts_as_not_asked() -> None:
    ended = permissions.Asked(0, "owner", "granted", days_left=-1.0)
    assert permissions.consent_holds([None], [90.0], [ended]).hold[0] == permissions.NEEDS_PERMISSION
    today = permissions.Asked(0, "owner", "granted", days_left=0.0)
    assert permissions.consent_holds([None], [90.0], [today]).hold[0] == ""
    odd = permissions.Asked(0, "owner", "who knows")
    assert permissions.consent_holds([None], [90.0], [odd]).hold[0] == permissions.NEEDS_PERMISSION


def test_a_young_burial_waits_for_the_right_holder_and_an_old_or_unread_one_does_not() -> None:
    held = permissions.consent_holds([None] * 4, [29.0, 30.0, 120.0, float("nan")], [])
    assert held.hold.tolist() == [permissions.NEEDS_PERMISSION, "", "", ""]
    assert held.missing[0] == (permissions.RIGHT_HOLDER,)


@pytest.mark.parametrize("row", rows("done_kinds"), ids=lambda row: row["term"])
def test_work_on_record_counts_as_a_cleaning_or_not(row: Mapping[str, str]) -> None:
    for typed in words_of(row, "term"):
        found = history.cleanings(2, [0], [typed], [100.0])
        assert bool(found.before[0]) == (row["is_cleaning"] == "yes")
        assert found.hold.tolist() == [history.CLEANED_LATELY if row["is_cleaning"] == "yes" else "", ""]


def test_the_interval_ends_and_somebody_may_answer_for_going_earlier() -> None:
    days = [729.0, 730.0, 100.0, float("nan"), -3.0]
    found = history.cleanings(5, range(5), ["cleaned"] * 5, days, interval_days=730, allowed=[2])
    held = history.CLEANED_LATELY
    assert found.hold.tolist() == [held, "", "", held, held]
    assert found.before.all()
    assert "too soon" in in_words(found.reasons[0][0])
    assert "answers" in in_words(found.reasons[2][0])
    assert "nobody wrote when" in in_words(found.reasons[3][0])


@pytest.mark.parametrize("row", rows("growth_forms"), ids=lambda row: row["term"])
def test_growth_is_looked_at_again_by_the_way_it_grows(row: Mapping[str, str]) -> None:
    care = care_for(row["term"], 1)
    made = ways.choose_ways(care, np.array([False]))
    scrub = ways.way_table()[ways.SCRUB_NOW]
    wanted = scrub.look_raised_days if row["form"] == "raised" else scrub.look_film_days
    assert (care.form[0], made.look_days[0]) == (row["form"], wanted)


@pytest.mark.parametrize("row", rows("care_ways"), ids=lambda row: row["way"])
def test_a_way_is_taken_for_its_goal_and_agent(row: Mapping[str, str]) -> None:
    pattern = "soiling" if row["agent"] != CLEANER else "lichen"
    care = care_for(pattern, int(row["most_severity"]))
    assert ways.choose_ways(care, np.array([False]), goal=row["goal"]).way[0] == row["way"]
    if row["agent"] == CLEANER:
        other = next(goal for goal in ways.GOALS if goal != row["goal"])
        assert ways.choose_ways(care_for(pattern, 1), np.array([False]), goal=other).way[0] != row["way"]


def test_heavy_growth_is_not_left_to_the_cleaner_alone_and_the_reason_says_so() -> None:
    made = ways.choose_ways(care_for("moss", 3), np.array([False]), goal="stones a day")
    assert made.way[0] == ways.SCRUB_NOW
    assert any("too heavy" in in_words(one) for one in made.reasons[0])


@pytest.mark.parametrize("row", rows("strengths"), ids=lambda row: f"{row['severity']}-{row['repeat']}")
def test_strength_goes_by_growth_and_by_whether_it_is_a_repeat(row: Mapping[str, str]) -> None:
    label = Label(name="cleaner in use")
    made = ways.choose_ways(care_for("lichen", int(row["severity"])), np.array([row["repeat"] == "yes"]), label=label)
    assert made.strength[0] == row["strength"]
    assert made.concentrate_frac[0] == float(row["concentrate_frac"])
    assert any(row["strength"] in step for step in made.steps[0])


def test_without_a_label_no_figure_is_printed_and_with_one_the_label_wins() -> None:
    care, first = care_for("lichen", 3), np.array([False])
    bare = " ".join(ways.choose_ways(care, first).steps[0])
    assert "its label allows" in bare
    assert "its label says" in bare
    assert "undiluted" not in bare
    assert "min on the stone" not in bare
    label = Label(name="cleaner in use", strength="1 part to 4", dwell_low_min=10, dwell_high_min=15)
    said = " ".join(ways.choose_ways(care, first, label=label).steps[0])
    assert "1 part to 4" in said
    assert "10 to 15 min on the stone" in said
    assert "undiluted" not in said


@pytest.mark.parametrize("row", rows("hot_materials"), ids=lambda row: row["material"])
def test_dark_stone_has_hot_hours_and_light_stone_has_none(row: Mapping[str, str]) -> None:
    made = hot.by_rule([row["material"], "marble", None], 39600.0, 61200.0)
    assert made.from_s[0] == 39600.0
    assert made.to_s[0] == 61200.0
    assert np.isnan(made.from_s[1:]).all()
    assert "11:00 and 17:00" in in_words(made.reasons[0][0])


def test_every_row_of_every_table_of_care_has_a_source() -> None:
    tables = (
        "treatments", "contraindications", "part_rules", "sensitive_kinds", "permission_needs", "permission_kinds",
        "permission_states", "done_kinds", "growth_forms", "care_ways", "strengths", "hot_materials", "care_steps",
        "effort", "stability",
    )  # fmt: skip
    for name in tables:
        assert all(row["source"].strip() for row in rows(name)), name


def test_no_word_of_a_table_stands_for_two_terms() -> None:
    for name, key in (("part_rules", "part"), ("sensitive_kinds", "term"), ("done_kinds", "term")):
        seen: dict[str, str] = {}
        for row in rows(name):
            for word in words_of(row, key):
                assert seen.setdefault(plain(word), row[key]) == row[key]


def test_every_harm_has_a_rule_and_every_plan_is_used() -> None:
    assert all(rule_for(group_of(term), "carbonate") for term in patterns().terms)
    used = {row["plan"] for row in rows("treatments")}
    used |= {"look", "apply and leave", "clean growth with water", "run-off"}
    assert used == set(plans())


def test_a_crews_growth_that_a_part_gives_to_the_conservator_stays_and_is_no_longer_called_a_crews() -> None:
    made, held = restrict.restricted(care_for("lichen", 2), [restrict.part_limit(0, "gilding", None)])
    assert (made.who[0], made.method[0], made.treatment[0]) == ("conservator only", "", "report to conservator")
    assert made.stays[0] == ("lichen",)
    said = {one["code"]: one["values"] for one in made.reasons[0]}
    assert "crew_may_treat" not in said
    assert said["stays"]["pattern"] == "lichen"
    assert not held.any()


def test_a_reason_names_the_treatment_that_is_left_where_the_cleaner_is_taken_away() -> None:
    pond = restrict.ground_limit(0, "pond", "P1", distance_m=1.0, buffer_m=5.0)
    made, _ = restrict.restricted(care_for("lichen", 2), [pond])
    [why] = [one for one in made.reasons[0] if one["code"] == "crew_may_treat"]
    assert why["values"]["treatment"] == made.treatment[0] == "clean: water and soft brush"
