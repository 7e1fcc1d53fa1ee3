"""Lines that fit, and labels that never lie on each other."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gravegis.outputs import labels, typeset
from gravegis.outputs.labels import Anchor, Board, Label, Placed

WIDTH_MM, HEIGHT_MM = 60.0, 40.0
words = st.text(st.characters(codec="utf-8", exclude_categories=["Cs"]), max_size=120)
anchors = st.builds(
    Anchor, st.floats(-5, 65), st.floats(-5, 45), st.floats(0, 3), st.floats(0, 3)
)  # fmt: skip
wanted = st.lists(
    st.builds(
        Label,
        st.sampled_from(["S1", "S0123", "H7: 12 stones", "Section A"]),
        st.lists(anchors, min_size=1, max_size=3).map(tuple),
        size_pt=st.sampled_from([5.0, 6.5]),
        most_hidden=st.sampled_from([0.0, 0.3, 1.0]),
        reach_mm=st.sampled_from([(), (3.0, 6.0)]),
    ),
    max_size=25,
)
blocks = st.lists(st.tuples(st.floats(0, 60), st.floats(0, 40), st.floats(0.1, 9), st.floats(0.1, 9)), max_size=6)


def corners(one: Placed) -> tuple[float, float, float, float]:
    width, height = labels.box_mm(one.label)
    return one.x - width / 2, one.y - height / 2, one.x + width / 2, one.y + height / 2


def overlap(a: tuple[float, ...], b: tuple[float, ...]) -> bool:
    tiny = 1e-9
    return min(a[2], b[2]) - max(a[0], b[0]) > tiny and min(a[3], b[3]) - max(a[1], b[1]) > tiny


@given(wanted)
def test_placed_labels_never_overlap_and_none_is_lost(some: list[Label]) -> None:
    placed, left = labels.place(Board(WIDTH_MM, HEIGHT_MM), some)
    assert len(placed) + len(left) == len(some)
    assert not [pair for pair in combinations(map(corners, placed), 2) if overlap(*pair)]


@given(wanted)
def test_placed_labels_stay_on_the_map(some: list[Label]) -> None:
    placed, _ = labels.place(Board(WIDTH_MM, HEIGHT_MM), some)
    for west, south, east, north in map(corners, placed):
        assert west >= -1e-9
        assert south >= -1e-9
        assert east <= WIDTH_MM + 1e-9
        assert north <= HEIGHT_MM + 1e-9


@given(
    wanted, st.lists(st.tuples(st.floats(0, 60), st.floats(0, 40), st.floats(0.1, 9), st.floats(0.1, 9)), max_size=6)
)
def test_labels_keep_off_what_is_taken(some: list[Label], taken: list[tuple[float, float, float, float]]) -> None:
    board = Board(WIDTH_MM, HEIGHT_MM)
    for x, y, width, height in taken:
        board.take(x, y, width, height)
    kept_free = [(x - w / 2, y - h / 2, x + w / 2, y + h / 2) for x, y, w, h in taken]
    placed, _ = labels.place(board, some)
    assert not [1 for one in map(corners, placed) for block in kept_free if overlap(one, block)]


def test_a_label_takes_the_side_that_hides_nothing() -> None:
    board = Board(WIDTH_MM, HEIGHT_MM)
    board.draw(36.0, 20.0, 10.0, 3.0)  # something to the right of the anchor
    placed, _ = labels.place(board, [Label("S0123", (Anchor(30.0, 20.0),), most_hidden=1.0)])
    assert placed[0].x < 30.0


def test_a_label_that_would_hide_too_much_is_left_out() -> None:
    board = Board(WIDTH_MM, HEIGHT_MM)
    board.draw(30.0, 20.0, WIDTH_MM, HEIGHT_MM)
    placed, left = labels.place(board, [Label("S0123", (Anchor(30.0, 20.0),), most_hidden=0.5)])
    assert placed == []
    assert [one.text for one in left] == ["S0123"]


def test_a_label_that_stands_off_says_so() -> None:
    label = Label("A1", (Anchor(30.0, 20.0),), reach_mm=(3.0,), line="#000000")
    placed, _ = labels.place(Board(WIDTH_MM, HEIGHT_MM), [label])
    assert placed[0].stands_off
    assert np.hypot(placed[0].x - 30.0, placed[0].y - 20.0) == pytest.approx(3.0)


def test_a_copied_board_is_a_board_of_its_own() -> None:
    board = Board(WIDTH_MM, HEIGHT_MM)
    other = board.copy()
    other.take(30.0, 20.0, 10.0, 10.0)
    assert board.cost(30.0, 20.0, 2.0, 2.0) == 0.0
    assert other.cost(30.0, 20.0, 2.0, 2.0) == np.inf


@given(words, st.sampled_from([5.0, 7.5, 9.0]), st.floats(4.0, 90.0))
def test_wrapped_lines_fit_and_keep_every_sign(text: str, size_pt: float, width_mm: float) -> None:
    lines = typeset.wrap(text, size_pt, width_mm)
    assert "".join("".join(lines).split()) == "".join(typeset.printable(text).split())
    for line in lines:
        assert typeset.size_mm(line, size_pt)[0] <= width_mm or len(line) == 1


@given(words)
def test_printable_text_is_one_line_the_font_has(text: str) -> None:
    made = typeset.printable(text)
    assert made == " ".join(made.split())
    assert typeset.printable(made) == made


@given(st.lists(st.sampled_from(["stone", "a", "encrustation", "of"]), min_size=1, max_size=80), st.integers(1, 4))
def test_cut_text_has_no_more_lines_than_asked_for_and_shows_that_it_was_cut(some: list[str], most: int) -> None:
    lines = typeset.wrap(" ".join(some), 7.0, 40.0)
    made = typeset.cut(lines, most, 7.0, 40.0)
    assert len(made) <= most
    assert made == lines if len(lines) <= most else made[-1].endswith(" …")
    assert all(typeset.size_mm(line, 7.0)[0] <= 40.0 for line in made)


def test_lines_of_a_paragraph_never_touch() -> None:
    for size_pt in (5.0, 6.5, 7.5, 9.0, 15.0):
        assert typeset.size_mm("Ågqj|", size_pt)[1] < typeset.line_mm(size_pt)
