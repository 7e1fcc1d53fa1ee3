"""Words people read: counts, names, orders, and what was assumed, without the names of our tables."""

from __future__ import annotations

from dataclasses import replace

import pytest

from gravegis.outputs import words
from gravegis.outputs.paper import clean
from gravegis.outputs.typeset import printable
from gravegis.site import ResultRecord, Site, SiteInfo


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        (
            ["heads.arc_sweep_deg (1 row): arc unknown: a full circle"],
            ["heads, how far it turns (1 row): arc unknown: a full circle"],
        ),
        (["wet_areas: nothing drawn"], ["wet areas: nothing drawn"]),
        (
            ["stones: moved, accuracy 3 m", "heads.throw_m (2 rows): 8 m", "paths: moved, accuracy 3 m"],
            ["stones, paths: moved, accuracy 3 m", "heads, throw (2 rows): 8 m"],
        ),
        (["stone_wetting: not worked out"], ["reached by spray or not, and by how much: not worked out"]),
        (["worklist.as_of: 2026-10-01"], ["day the ages count from: 2026-10-01"]),
        (["stones.no_such (3 rows): x"], ["stones, no such (3 rows): x"]),
        (["nobody.knows_it: x", "Just words.", "Just words."], ["nobody.knows_it: x", "Just words."]),
    ],
)
def test_assumptions_are_told_without_names_of_tables(lines: list[str], said: list[str]) -> None:
    assert words.told(lines) == tuple(said)


def test_every_column_that_may_be_assumed_has_words_without_underscores() -> None:
    from gravegis.layers import schema

    for layer in schema.layers().values():
        for column in layer.columns:
            [said] = words.told([f"{layer.name}.{column} (2 rows): x"])
            assert "_" not in said
            assert said.endswith(" (2 rows): x")


def test_what_was_assumed_of_the_layers_stands_with_what_analyses_assumed() -> None:
    info = SiteInfo("Ground", "EPSG:7854", crs_basis="of the file")
    record = ResultRecord("throw", 1, {}, 1, {}, {}, (), (), ("heads.throw_m (1 row): 8 m",))
    site = replace(Site(info), log=(record,))
    basis = "Coordinates lie in EPSG:7854 (of the file)."
    assert words.assumed(site, ("throw",)) == ("heads, throw (1 row): 8 m", basis)
    assert words.assumed(site, ("wetting",)) == (basis,)


def test_lines_of_the_site_stand_in_every_box() -> None:
    info = replace(SiteInfo("Ground", "EPSG:7854"), assumed=("stones: moved, 3 m", "paths: moved, 3 m"))
    assert words.assumed(Site(info), ("throw",)) == ("stones, paths: moved, 3 m",)


@pytest.mark.parametrize(("count", "said"), [(0, "no stones"), (1, "1 stone"), (2, "2 stones")])
def test_counts_in_words(count: int, said: str) -> None:
    assert words.counted(count, "stone") == said


@pytest.mark.parametrize(("name", "said"), [("C1", "crew C1"), ("Crew 1", "Crew 1"), ("crew", "crew")])
def test_a_crew_is_not_called_crew_twice(name: str, said: str) -> None:
    assert words.crew_name(name) == said


def test_names_are_ordered_as_people_count() -> None:
    names = ["10", "2", "1", "B10", "b2", "B", "", "A1b", "\u0664"]
    assert sorted(names, key=words.in_order)[:5] == ["", "1", "2", "\u0664", "10"]
    assert sorted(["B10", "b2", "B"], key=words.in_order) == ["B", "b2", "B10"]


@pytest.mark.parametrize(
    ("code", "said"),
    [
        ("CHECK_TOO_OLD", "stability checked too long ago"), ("NOT_FOR_CREWS", "not for crews"),
        ("FROM_ELSEWHERE", "from elsewhere"), (None, "no reason was recorded"),
    ],
)  # fmt: skip
def test_reasons_are_words_not_codes(code: str | None, said: str) -> None:
    assert words.unplanned_because(code) == said


@pytest.mark.parametrize(
    ("text", "said"),
    [("\u5893 1", "[U+5893] 1"), ("\U0001faa6", "[U+1FAA6]"), ("a\ufe0f", "a"), ("Zo\u00eb", "Zo\u00eb")],
)
def test_signs_without_a_glyph_are_shown_by_number_on_maps_and_sheets(text: str, said: str) -> None:
    assert clean(text) == said
    assert printable(text) == said


def test_two_names_of_signs_that_cannot_be_printed_stay_apart() -> None:
    assert printable("\u5893") != printable("\u77f3")
    assert words.unprinted(["plain", "U+5893"]) == ""
    assert words.unprinted([printable("\u5893")]) == words.UNPRINTED
