"""Treatments: crews do the harmless, conservators the rest, and nothing that harms is ever proposed."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gravegis.errors import LayerError
from gravegis.science.care.materials import density_kg_m3, material_class, materials
from gravegis.science.care.steps import steps_of
from gravegis.science.care.treatment import (
    LOOK_FIRST,
    METHODS,
    NO_TREATMENT,
    WHO,
    Care,
    rule_for,
    treat_stones,
    verdict,
)
from gravegis.science.condition.reasons import in_words
from gravegis.science.condition.scores import group_of, patterns, read_findings, score_stones
from gravegis.science.condition.tables import rows

NAN = float("nan")
TERMS = tuple(patterns().terms)
MATERIALS = (*materials().terms, "", "moon rock", None)
GROUPS = tuple(dict.fromkeys(row["group"] for row in patterns().terms.values()))
CLASSES = tuple(dict.fromkeys(row["class"] for row in materials().terms.values()))


def care_for(*harms: tuple[object, float], material: object = "marble", quick: float = NAN) -> tuple[Care, list[str]]:
    """Treatment of a single stone, and the codes of its reasons."""
    found = read_findings([0] * len(harms), [one for one, _ in harms], [grade for _, grade in harms], stones_n=1)
    made = treat_stones(found, score_stones(found, [quick]), [material])
    return made, [one["code"] for one in made.reasons[0]]


@pytest.mark.cited("NPS, Cleaning Grave Markers: soft brushes, water or a non-ionic neutral cleaner")
@pytest.mark.parametrize("material", ["marble", "limestone", "sandstone", "granite", "slate", "concrete"])
def test_growth_on_stone_is_a_crews_work(material: str) -> None:
    made, _ = care_for(("green film", 2), material=material)
    assert made.who[0] == "crew"
    assert made.method[0] == "quaternary-ammonium cleaner"
    assert made.severity[0] == 2
    assert made.stays[0] == ()


@pytest.mark.parametrize(
    "pattern", ["orange stain", "white hard crust", "efflorescence", "black crust", "graffiti", "film"]
)
@pytest.mark.parametrize("material", ["marble", "granite", "", "zinc"])
def test_iron_lime_salts_crust_and_paint_are_left_to_a_conservator(pattern: str, material: str) -> None:
    made, codes = care_for((pattern, 2), material=material)
    assert made.treatment[0] == "report to conservator"
    assert made.who[0] == "conservator only"
    assert made.method[0] == ""
    assert len(made.stays[0]) == 1
    assert any("will not come off today" in in_words(one) for one in made.reasons[0])
    assert "crew_may_treat" not in codes


@pytest.mark.cited(
    "state historical commission text: do not clean if cracked, flaking, scaling, granular, hollow-sounding"
)
@pytest.mark.parametrize(
    "pattern", ["open crack", "flakes at edge", "scaling", "sugaring", "sounds hollow", "blistering"]
)
@pytest.mark.parametrize("severity", [1, 3, NAN])
def test_weak_stone_is_not_wetted_whatever_else_grows_on_it(pattern: str, severity: float) -> None:
    made, codes = care_for(("moss", 3), (pattern, severity), ("orange stain", 1))
    assert made.treatment[0] == "do not wet-clean; report to conservator"
    assert made.who[0] == "conservator only"
    assert made.method[0] == ""
    assert "blocks_all" in codes
    assert set(made.stays[0]) >= {"moss", "staining"}


def test_growth_beside_rust_is_cleaned_and_the_rust_stays() -> None:
    made, codes = care_for(("rust", 3), ("lichen", 1))
    assert made.who[0] == "crew"
    assert made.stays[0] == ("staining",)
    assert made.severity[0] == 1  # the minutes follow the growth, not the rust
    assert codes == ["conservator_only", "crew_may_treat", "stays"]


def test_a_damp_patch_keeps_no_one_from_cleaning_growth() -> None:
    assert care_for(("wet patch", 2), ("moss", 1))[0].who[0] == "crew"
    alone, _ = care_for(("wet patch", 2))
    assert (alone.treatment[0], alone.who[0]) == ("find the water", "nobody")


def test_loose_soiling_takes_water_and_a_soft_brush_only() -> None:
    assert care_for(("dirt", 1))[0].method[0] == "water and soft brush"
    assert care_for(("dirt", 1), ("moss", 1))[0].method[0] == "quaternary-ammonium cleaner"


@pytest.mark.parametrize("material", ["", None, "moon rock", "grey", NAN])
def test_unknown_material_gets_no_cleaner_and_is_looked_at_first(material: object) -> None:
    made, codes = care_for(("moss", 1), material=material)
    assert (made.who[0], made.method[0]) == ("crew", "water and soft brush")
    assert any("metal, wood or paint, stop" in step for step in steps_of(made.plan[0]))
    assert "material_assumed_unknown" in codes


@pytest.mark.parametrize("material", ["zinc", "white bronze", "iron", "bronze", "lead", "wood"])
@pytest.mark.parametrize("pattern", ["moss", "dirt"])
def test_metal_and_wood_are_left_to_a_conservator(material: str, pattern: str) -> None:
    made, _ = care_for((pattern, 1), material=material)
    assert (made.who[0], made.method[0]) == ("conservator only", "")


@pytest.mark.parametrize("quick", [1, 2, 3])
def test_harm_that_was_not_named_is_looked_at_not_cleaned(quick: float) -> None:
    made, codes = care_for(quick=quick)
    assert (made.treatment[0], made.method[0], codes) == (LOOK_FIRST, "", ["harm_not_named"])


@pytest.mark.parametrize("typed", ["strange bloom", "", None])
def test_a_harm_not_known_here_stops_cleaning_even_beside_growth(typed: object) -> None:
    made, codes = care_for((typed, 1), ("moss", 1))
    assert (made.treatment[0], made.method[0]) == (LOOK_FIRST, "")
    assert codes[0] == "pattern_not_known"


def test_no_harm_needs_no_treatment() -> None:
    for made, codes in (care_for(("moss", 0)), care_for(quick=0)):
        assert (made.treatment[0], made.who[0], codes) == (NO_TREATMENT, "nobody", ["no_harm"])


def test_a_stone_nobody_looked_at_gets_no_treatment_and_no_all_clear() -> None:
    made, codes = care_for()
    assert (made.treatment[0], made.who[0], codes) == ("", "", ["no_information"])


def test_a_finding_without_a_severity_is_still_harm() -> None:
    made, _ = care_for(("moss", NAN))
    assert made.who[0] == "crew"
    assert made.severity[0] == -1


@pytest.mark.parametrize("group", GROUPS)
@pytest.mark.parametrize("of_class", CLASSES)
def test_there_is_a_rule_for_every_harm_on_every_material(group: str, of_class: str) -> None:
    rule = rule_for(group, of_class)
    assert rule.source
    assert rule.who in WHO
    assert rule.method in METHODS
    assert (rule.who == "crew") == (rule.method != "")
    assert not (rule.who == "crew" and (rule.blocks or rule.stays))


@pytest.mark.parametrize("group", GROUPS)
@pytest.mark.parametrize("of_class", CLASSES)
def test_no_rule_lets_a_crew_use_what_the_table_of_forbidden_means_forbids(group: str, of_class: str) -> None:
    rule = rule_for(group, of_class)
    material = next(term for term, row in materials().terms.items() if row["class"] == of_class)
    if rule.method:
        assert verdict(rule.method, material).verdict == "allowed"
    words = " ".join((rule.treatment, *rule.steps)).lower().replace("never mix it with bleach or soap", "")
    for never in ("acid", "bleach", "wire", "pressure", "scrape", "sand", "grind"):
        assert never not in words


@pytest.mark.cited(
    "NPS, Cleaning Grave Markers: never wire brushes, power washers, bleach; the project's checks for acid"
)
def test_acid_bleach_wire_brush_and_pressure_are_forbidden_with_reason_and_source() -> None:
    for method, material in (
        ("acid", "marble"),
        ("vinegar", "limestone"),
        ("acid", ""),
        ("bleach", "granite"),
        ("wire brush", "slate"),
        ("power washer", "granite"),
        ("Wire-Brush", "moon rock"),
    ):
        answer = verdict(method, material)
        assert answer.verdict == "forbidden", (method, material)
        assert answer.reason
        assert answer.source


@pytest.mark.cited(
    "matrix of the project's checks: acid is a conservator's on granite and slate, quat cleaner on metal and wood"
)
def test_the_matrix_of_means_and_materials_is_kept() -> None:
    assert verdict("acid", "granite").verdict == verdict("acid", "slate").verdict == "conservator only"
    assert verdict("acid", "sandstone").verdict == verdict("acid", "zinc").verdict == "forbidden"
    for stone in ("marble", "limestone", "sandstone", "slate", "granite", "dark granite", "concrete"):
        assert verdict("quat", stone).verdict == verdict("soft brush", stone).verdict == "allowed"
    for other in ("zinc", "iron", "wood", ""):
        assert verdict("quat", other).verdict == "conservator only"


@pytest.mark.parametrize("method", [row["term"] for row in rows("methods")])
def test_nothing_is_allowed_on_sugaring_marble(method: str) -> None:
    answer = verdict(method, "marble", pattern="grains like sugar")
    assert answer.verdict == "forbidden"
    assert answer.source


def test_a_means_that_is_not_known_is_not_a_crews() -> None:
    assert verdict("secret recipe", "granite").verdict == "conservator only"


def test_a_material_without_a_density_is_not_given_one() -> None:
    assert material_class("white bronze") == "zinc"
    assert "zinc" not in density_kg_m3()
    assert set(density_kg_m3()) <= set(CLASSES)


harm = st.tuples(st.integers(0, 5), st.sampled_from([*TERMS, "strange bloom"]), st.sampled_from([0, 1, 2, 3, NAN]))
stones = st.tuples(
    st.lists(harm, max_size=25),
    st.lists(st.sampled_from(MATERIALS), min_size=6, max_size=6),
    st.lists(st.sampled_from([0, 2, NAN]), min_size=6, max_size=6),
)


@given(stones)
def test_a_crew_cleans_only_what_every_harm_on_the_stone_lets_it(
    case: tuple[list[tuple[int, str, float]], list[str | None], list[float]],
) -> None:
    table, material, quick = case
    found = read_findings([a for a, _, _ in table], [b for _, b, _ in table], [c for _, _, c in table], stones_n=6)
    made = treat_stones(found, score_stones(found, quick), material)
    for stone in range(6):
        present = [pattern for at, pattern, grade in table if at == stone and grade != 0]
        groups = {group_of(pattern) for pattern in present}
        if made.method[stone]:
            assert made.who[stone] == "crew"
            assert not groups & {"safety", "salts", "crust", "coating", "roots", ""}
            assert groups & {"growth", "soiling"}
            assert verdict(str(made.method[stone]), material[stone] or "").verdict == "allowed"
        for pattern in present:
            if group_of(pattern) in {"staining", "encrustation", "salts", "crust", "coating", "safety"} and (
                made.treatment[stone] != LOOK_FIRST
            ):
                assert pattern in made.stays[stone]
        assert made.reasons[stone]
        assert all("{" not in in_words(one) and "=" not in in_words(one) for one in made.reasons[stone])


@given(stones, harm)
def test_one_more_harm_never_lets_a_crew_clean_a_stone_that_was_closed(
    case: tuple[list[tuple[int, str, float]], list[str | None], list[float]], more: tuple[int, str, float]
) -> None:
    table, material, _ = case
    closed = ("do not wet-clean; report to conservator",)
    made = []
    for harms in (table, [*table, more]):
        found = read_findings([a for a, _, _ in harms], [b for _, b, _ in harms], [c for _, _, c in harms], stones_n=6)
        made.append(treat_stones(found, score_stones(found), material))
    before, after = np.isin(made[0].treatment, closed), np.isin(made[1].treatment, closed)
    assert np.all(after | ~before)


def test_no_stones_need_no_care() -> None:
    found = read_findings([], [], [], stones_n=0)
    made = treat_stones(found, score_stones(found), [])
    assert made.treatment.shape == made.who.shape == made.severity.shape == (0,)
    assert made.reasons == ()


def test_one_material_per_stone_is_asked_for() -> None:
    found = read_findings([], [], [], stones_n=2)
    with pytest.raises(LayerError, match="1 materials for 2 stones"):
        treat_stones(found, score_stones(found), ["marble"])
