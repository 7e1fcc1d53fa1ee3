"""The drawing table: contrast, grey print, words, and nothing told apart by colour alone."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from itertools import combinations, pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gravegis.outputs import symbols
from gravegis.outputs.symbols import MARKS, PAPER, Symbol, contrast, lightness

KINDS = symbols.kinds()
# A step of L* that stays clear on an office printer: own choice, about a sixth of the range.
GREY_STEP = 11.0
WANTED = (
    "stone_reached", "stone_not_reached", "stone_not_known", "stone_near", "condition_0", "condition_1", "condition_2",
    "condition_3", "condition_none", "head_first", "head_fault", "head", "throw", "wet_area", "plot", "path", "wall",
    "hedge", "gate", "base", "stop", "cluster", "masked", "crew_1", "zone_1",
)  # fmt: skip
colours = st.integers(0, 0xFFFFFF).map(lambda n: f"#{n:06x}")


@pytest.mark.parametrize("kind", WANTED)
def test_every_kind_a_page_needs_is_in_the_table(kind: str) -> None:
    assert symbols.symbol(kind).kind == kind


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_has_words_a_known_mark_and_a_known_hatch(kind: str) -> None:
    one = symbols.symbol(kind)
    assert one.words
    assert one.hatch in symbols.HATCHES
    assert not one.mark or one.mark in MARKS
    assert not one.mark or one.size_mm > 0
    assert not one.line or one.width_mm >= 0.12


# Tones of the ground have no edge: they are told by their step of grey, tested below.
@pytest.mark.parametrize("kind", [kind for kind in KINDS if symbols.symbol(kind).line])
def test_what_marks_the_edge_of_a_kind_stands_out_from_white_paper(kind: str) -> None:
    one = symbols.symbol(kind)
    edge = one.fill if one.line == PAPER else one.line
    assert contrast(edge, PAPER) >= 3.0


@pytest.mark.parametrize("kind", KINDS)
def test_text_on_every_fill_can_be_read(kind: str) -> None:
    fill = symbols.symbol(kind).fill or PAPER
    assert contrast(symbols.text_on(fill), fill) >= 4.5


@pytest.mark.parametrize("kind", [kind for kind in KINDS if symbols.symbol(kind).family in ("zone", "crew")])
def test_names_in_the_colour_of_a_line_can_be_read(kind: str) -> None:
    assert contrast(symbols.symbol(kind).line, PAPER) >= 4.5


def without_colour(one: Symbol) -> tuple[object, ...]:
    heavy = round(one.width_mm / 0.3)
    return one.dash_mm, one.hatch, one.mark, heavy, bool(one.fill), bool(one.line and one.width_mm)


def told_apart(one: Symbol, other: Symbol) -> bool:
    grey = abs(lightness(one.fill or PAPER) - lightness(other.fill or PAPER)) >= GREY_STEP
    return grey or without_colour(one) != without_colour(other)


@pytest.mark.parametrize("family", sorted({symbols.symbol(kind).family for kind in KINDS}))
def test_states_that_stand_beside_each_other_differ_without_colour(family: str) -> None:
    same = [symbols.symbol(kind) for kind in KINDS if symbols.symbol(kind).family == family]
    alike = [(a.kind, b.kind) for a, b in combinations(same, 2) if not told_apart(a, b)]
    assert alike == []


@pytest.mark.parametrize("order", [("condition_0", "condition_1", "condition_2", "condition_3"), symbols.heat_kinds()])
def test_a_ramp_gets_darker_by_a_clear_step_each_time(order: tuple[str, ...]) -> None:
    greys = [lightness(symbols.symbol(kind).fill) for kind in order]
    assert min(a - b for a, b in pairwise(greys)) >= GREY_STEP


@pytest.mark.parametrize("mark", sorted(MARKS))
def test_a_mark_stays_in_its_square_and_has_something_to_draw(mark: str) -> None:
    assert MARKS[mark]
    for trace in MARKS[mark]:
        assert trace.paint in ("body", "ink", "line")
        assert len(trace.points) >= 2
        assert all(abs(x) <= 0.5 + 1e-9 and abs(y) <= 0.5 + 1e-9 for x, y in trace.points)


@pytest.mark.cited("WCAG 2.2, definition of contrast ratio: black on white is 21:1, a colour on itself 1:1")
def test_contrast_of_black_and_white_is_21() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#777777", "#777777") == pytest.approx(1.0)


@pytest.mark.cited("CIE 15: L* of black is 0, of white 100, of luminance 0.1841865 (18 percent grey) 50")
def test_lightness_of_black_white_and_middle_grey() -> None:
    assert lightness("#000000") == pytest.approx(0.0)
    assert lightness("#ffffff") == pytest.approx(100.0)
    # sRGB 119 has luminance 0.1845, the nearest 8-bit grey to L* 50
    assert lightness("#777777") == pytest.approx(50.0, abs=0.1)


@given(colours, colours)
def test_contrast_does_not_depend_on_order_and_lies_in_1_to_21(one: str, other: str) -> None:
    assert contrast(one, other) == contrast(other, one)
    assert 1.0 <= contrast(one, other) <= 21.0 + 1e-9


@given(colours)
def test_text_on_any_fill_reads_better_than_the_other_choice(fill: str) -> None:
    other = symbols.INK if symbols.text_on(fill) == PAPER else PAPER
    assert contrast(symbols.text_on(fill), fill) >= contrast(other, fill)


def test_letters_of_crews_go_on_after_z() -> None:
    assert [symbols.crew_letter(n) for n in (0, 1, 25, 26, 27, 51, 52, 701, 702)] == [
        "A", "B", "Z", "AA", "AB", "AZ", "BA", "ZZ", "AAA",
    ]  # fmt: skip


def test_letters_of_crews_are_never_the_same() -> None:
    letters = [symbols.crew_letter(n) for n in range(2000)]
    assert len(set(letters)) == 2000


def test_patterns_of_zones_and_crews_come_round_again() -> None:
    assert symbols.zone_symbol(6) == symbols.zone_symbol(0)
    assert symbols.crew_symbol(7).dash_mm == symbols.crew_symbol(1).dash_mm
    assert symbols.crew_symbol(7).words == "crew H"


@pytest.mark.parametrize(
    ("typed", "kind"),
    [("wall", "wall"), ("railing", "fence"), ("fence", "fence"), ("moat", "barrier"), (None, "barrier")],
)
def test_barriers_of_any_kind_have_a_symbol(typed: str | None, kind: str) -> None:
    assert symbols.barrier_kind(typed) == kind
    assert symbols.symbol(kind).words


def test_condition_kinds_cover_no_class_and_all_four() -> None:
    assert [symbols.condition_kind(n) for n in (None, 0, 3)] == ["condition_none", "condition_0", "condition_3"]
    with pytest.raises(KeyError, match="condition_4"):
        symbols.symbol(symbols.condition_kind(4))


DARK = symbols.PAPERS["dark"]


def test_both_themes_hold_the_same_kinds_with_the_same_signs() -> None:
    """Only colours may differ: dashes, hatches, marks, widths, order and words are what tells kinds apart."""
    light, dark = symbols.table("light"), symbols.table("dark")
    assert list(light) == list(dark)
    for kind, one in light.items():
        other = dark[kind]
        assert (without_colour(one), one.z, one.words) == (without_colour(other), other.z, other.words), kind


@pytest.mark.parametrize("kind", [kind for kind in KINDS if symbols.symbol(kind).line])
def test_what_marks_the_edge_of_a_kind_stands_out_from_the_dark_map(kind: str) -> None:
    one = symbols.symbol(kind, "dark")
    edge = one.fill if contrast(one.line, DARK) < 3.0 and one.fill else one.line
    assert contrast(edge, DARK) >= 3.0


@pytest.mark.parametrize("kind", [kind for kind in KINDS if symbols.symbol(kind).family in ("zone", "crew", "head")])
def test_names_in_the_colour_of_a_line_can_be_read_in_the_dark(kind: str) -> None:
    assert contrast(symbols.symbol(kind, "dark").line, DARK) >= 4.5


@pytest.mark.parametrize("family", sorted({symbols.symbol(kind).family for kind in KINDS}))
def test_states_beside_each_other_differ_without_colour_in_the_dark(family: str) -> None:
    same = [one for one in symbols.table("dark").values() if one.family == family]
    filled = [replace(one, fill=one.fill or DARK) for one in same]
    alike = [
        (a.kind, b.kind) for a, b in combinations(filled, 2)
        if abs(lightness(a.fill) - lightness(b.fill)) < GREY_STEP
        and without_colour(symbols.symbol(a.kind, "dark")) == without_colour(symbols.symbol(b.kind, "dark"))
    ]  # fmt: skip
    assert alike == []


@pytest.mark.parametrize("order", [("condition_0", "condition_1", "condition_2", "condition_3"), symbols.heat_kinds()])
def test_a_ramp_gets_lighter_in_the_dark_so_that_the_worst_stands_out(order: tuple[str, ...]) -> None:
    greys = [lightness(symbols.symbol(kind, "dark").fill) for kind in order]
    assert min(b - a for a, b in pairwise(greys)) >= GREY_STEP


def test_a_theme_without_rows_is_refused() -> None:
    with pytest.raises(KeyError, match="neon"):
        symbols.table("neon")


def test_the_table_loads_no_painter() -> None:
    code = (
        "import sys; from gravegis.outputs import symbols; symbols.table(); "
        "bad = {'matplotlib', 'reportlab', 'geopandas', 'pandas', 'PySide6'} & set(sys.modules); assert not bad, bad"
    )
    subprocess.run([sys.executable, "-c", code], check=True)
