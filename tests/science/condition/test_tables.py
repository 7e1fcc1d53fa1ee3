"""The tables that condition and care rest on: sourced, without doubles, and words that mean one thing."""

from __future__ import annotations

import string

import pytest

from gravegis.science.care.treatment import WHO
from gravegis.science.condition.reasons import in_words, reason, templates, unit_kinds
from gravegis.science.condition.scores import FAMILIES, find_term, group_of, patterns
from gravegis.science.condition.tables import plain, rows, vocabulary

TABLES = {
    "patterns": ("term",),
    "materials": ("material",),
    "methods": ("term",),
    "contraindications": ("method", "material_class"),
    "treatments": ("group", "material_class"),
    "effort": ("size_class",),
    "stone_forms": ("form",),
    "stone_density": ("material_class",),
    "stability": ("term",),
    "reasons": ("code",),
}


@pytest.mark.parametrize("name", TABLES)
def test_every_row_has_a_source_and_names_itself_once(name: str) -> None:
    table = rows(name)
    assert table
    assert all(row["source"].strip() for row in table)
    keys = [tuple(row[column] for column in TABLES[name]) for row in table]
    assert len(keys) == len(set(keys))


@pytest.mark.parametrize("name", TABLES)
def test_every_row_has_all_columns_and_no_more(name: str) -> None:
    assert all(None not in row and None not in row.values() for row in rows(name))


@pytest.mark.parametrize(
    ("name", "key", "also"),
    [
        ("patterns", "term", ("phrase", "aliases")),
        ("materials", "material", ("aliases",)),
        ("methods", "term", ("aliases",)),
        ("stone_forms", "form", ("aliases",)),
        ("stability", "term", ("aliases",)),
    ],
)
def test_no_typed_word_stands_for_two_terms(name: str, key: str, also: tuple[str, ...]) -> None:
    # building the vocabulary raises on a double; each term must also find itself
    found = vocabulary(name, key=key, also=also)
    assert all(found.term(term) == term for term in found.terms)


def test_a_word_that_stands_for_two_terms_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    doubled = ({"term": "moss", "aliases": "green"}, {"term": "alga", "aliases": "Green "})
    monkeypatch.setattr("gravegis.science.condition.tables.rows", lambda _: doubled)
    with pytest.raises(ValueError, match=r"'green' stands for 'moss' and 'alga'"):
        vocabulary("a table that is not there")


@pytest.mark.cited("ICOMOS-ISCS glossary 2008: five families, and the terms of each as listed in the project's checks")
def test_terms_stand_in_their_families() -> None:
    assert {row["family"] for row in patterns().terms.values()} == set(FAMILIES)
    for term, family in {
        "hair crack": "crack and deformation",
        "sugaring": "detachment",
        "contour scaling": "detachment",
        "microkarst": "material loss",
        "encrustation": "discolouration and deposit",
        "efflorescence": "discolouration and deposit",
        "lichen": "biological colonisation",
    }.items():
        assert patterns().look_up(term, "family") == family


@pytest.mark.parametrize(
    ("typed", "term"),
    [
        ("Staining", "staining"),
        ("  STAINING ", "staining"),
        ("orange stain", "staining"),
        ("Rust-stain.", "staining"),
        ("white hard crust", "encrustation"),
        ("grains on your thumb", "granular disintegration"),
        ("green film", "alga"),
        ("leafy / crusty growth", "lichen"),
        ("sounds hollow", "detachment"),
        ("flakes at edge", "flaking"),
        ("hair cracks", "hair crack"),
        ("mold", "mould"),
        ("black\u00a0crust", "black crust"),
    ],
)
def test_plain_phrases_and_spellings_find_their_term(typed: str, term: str) -> None:
    assert find_term(typed) == term


@pytest.mark.parametrize("typed", ["", "   ", "stainless", "white stuff", "scale", None, float("nan"), 3, b"moss"])
def test_what_is_not_known_is_not_guessed(typed: object) -> None:
    assert find_term(typed) == ""


def test_no_loss_of_hold_is_left_out_of_the_safety_group() -> None:
    for term in ("crack", "fracture", "delamination", "scaling", "sugaring", "blistering", "bursting", "powdering"):
        assert group_of(term) == "safety"
    assert {row["group"] for row in patterns().terms.values() if row["family"] == "detachment"} <= {"safety", "loss"}
    assert group_of("no such term") == ""


def test_units_of_a_reason_belong_to_placeholders_it_has() -> None:
    for code, template in templates().items():
        names = {name for _, name, _, _ in string.Formatter().parse(template) if name}
        assert set(unit_kinds(code)) <= names


def test_every_quantity_in_a_reason_names_its_unit() -> None:
    suffixes = ("_m", "_m2", "_kg", "_h", "_k", "_min", "_deg", "_frac")
    for code, template in templates().items():
        names = {name for _, name, _, _ in string.Formatter().parse(template) if name}
        assert {name for name in names if name.endswith(suffixes)} == set(unit_kinds(code))


def test_words_take_the_readers_units() -> None:
    tall = reason("too_tall", height_m=1.8, limit_m=1.0)
    assert "1.8 m tall, over 1 m" in in_words(tall)
    assert "5.9 ft tall, over 3.3 ft" in in_words(tall, show=lambda value, _: f"{value / 0.3048:.1f} ft")


def test_a_reason_of_another_version_is_still_readable() -> None:
    assert in_words(reason("from_next_year", depth_mm=3)) == "from_next_year depth_mm=3"


def test_who_may_act_is_one_of_the_known_people() -> None:
    assert {row["who"] for row in rows("treatments")} == set(WHO)


def test_spellings_fold_to_one() -> None:
    assert plain(" Leafy_/-Crusty  Growth! ") == "leafy crusty growth"
