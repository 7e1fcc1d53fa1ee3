"""The plan against an earlier one: what is new, fell out, changed crew, day or order."""

from __future__ import annotations

from itertools import combinations, pairwise
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gravegis.errors import LayerError
from gravegis.outputs import plan_change as change
from gravegis.outputs.plan_change import Place
from tests.outputs import pdftext
from tests.outputs.test_crew_sheet import make_site

if TYPE_CHECKING:
    from pathlib import Path


def plan(day: str = "d1", **lists: str) -> dict[str, Place]:
    """Return a plan of crews, each with its stones as letters."""
    return {stone: Place(day, crew, seq) for crew, stones in lists.items() for seq, stone in enumerate(stones, 1)}


def kinds(before: dict[str, Place], now: dict[str, Place], why: dict[str, str] | None = None) -> dict[str, str]:
    return {one.stone_id: one.kind for one in change.compare(before, now, why or {})}


def test_each_thing_that_can_happen_to_a_stone_is_named() -> None:
    before = plan(A="abcd", B="xy")
    now = plan(A="acbz", B="yd")
    assert kinds(before, now) == {"x": "fell out", "z": "new", "d": "other crew", "c": "moved"}


def test_a_stone_put_in_before_others_moves_none_of_them() -> None:
    assert kinds(plan(A="abc"), plan(A="zabc")) == {"z": "new"}
    assert kinds(plan(A="zabc"), plan(A="abc")) == {"z": "fell out"}


def test_the_same_plan_on_the_next_day_is_unchanged_and_in_a_plan_of_days_the_day_counts() -> None:
    assert kinds(plan("d1", A="ab"), plan("d2", A="ab")) == {}
    before = {**plan("d1", A="ab"), **plan("d2", A="cd")}
    now = {**plan("d1", A="a"), **plan("d2", A="bcd")}
    assert kinds(before, now) == {"b": "other day"}


def test_what_fell_out_comes_first_with_its_reason() -> None:
    first, *_ = change.compare(plan(A="abc"), plan(A="ac", B="z"), {"b": "its zone stays on"})
    assert (first.stone_id, first.kind, first.why) == ("b", "fell out", "its zone stays on")
    assert change.rows([first])[0]["before"] == "crew A, stop 2, d1"


def test_words_count_every_stone_once() -> None:
    before, now = plan(A="abcd"), plan(A="abd", B="z")
    said = change.in_words(change.compare(before, now, {}), len(now), "yesterday")
    assert said == [
        "Against the plan in yesterday: 3 stones as before.", "1 stone no longer in the plan.",
        "1 stone new in the plan.",
    ]  # fmt: skip


@given(st.permutations("abcdefgh"))
def test_as_few_stones_count_as_moved_as_can_be(order: list[str]) -> None:
    """Against every subset in plain Python: the largest that keeps its order stays."""
    before, now = plan(A="abcdefgh"), plan(A="".join(order))
    moved = kinds(before, now)
    most = max(n for n in range(9) if any(all(a < b for a, b in pairwise(some)) for some in combinations(order, n)))
    assert len(moved) == 8 - most
    stayed = [one for one in order if one not in moved]
    assert stayed == sorted(stayed)


def test_the_page_holds_every_change_and_no_word_over_another() -> None:
    site = make_site(8, crews=("C1", "C2"))
    now = change.places_of_rows(site["stops"][["day", "crew_id", "seq", "stone_id"]].itertuples(index=False))
    before = {**dict(list(now.items())[2:]), "gone": Place("2026-12-02", "C1", 1)}
    pdf = change.page(site, change.compare(before, now, {"gone": "no time left"}), len(now), "yesterday")
    [page] = pdftext.pages(pdf)
    assert "Against the plan in yesterday" in page.text
    assert all(name in page.text for name in ("gone", "no time left", *list(now)[:2]))
    assert not pdftext.overlaps(page)


def test_an_earlier_table_is_read_and_a_wrong_one_refused(tmp_path: Path) -> None:
    file = tmp_path / "stops.csv"
    file.write_text("\ufeffday,crew_id,seq,stone_id,more\n2026-12-02,C1,1,'=1+1,x\n", encoding="utf-8")
    assert change.places_of_csv(file) == {"=1+1": Place("2026-12-02", "C1", 1)}
    file.write_text("day,stone_id\n2026-12-02,a\n", encoding="utf-8")
    with pytest.raises(LayerError, match="columns are missing: crew_id, seq"):
        change.places_of_csv(file)
    file.write_text("day,crew_id,seq,stone_id\nd,C,first,a\n", encoding="utf-8")
    with pytest.raises(LayerError, match="no whole number"):
        change.places_of_csv(file)


def test_the_command_compares_with_the_last_save_that_had_another_plan(tmp_path: Path, gravegis: Any) -> None:
    folder = tmp_path / "site"
    _saved(folder, make_site(6, crews=("C1", "C2")))
    _saved(folder, make_site(5, crews=("C1", "C2"), spare=4))
    done = gravegis("plan_change", folder, "--to", tmp_path / "a.csv")
    assert done.code == 0, done.err
    assert "5 stones as before" in done.out
    assert "Q0005x" in done.out
    assert (tmp_path / "a.csv").read_text(encoding="utf-8-sig").startswith("stone_id,change,before,now,why")
    assert gravegis("plan_change", folder, "--to", tmp_path / "a.pdf").code == 0
    assert gravegis("plan_change", folder, "--to", tmp_path / "a.doc").code == 2


def _saved(folder: Path, site: Any) -> None:
    from gravegis import store

    with store.locked(folder, make=True):
        store.save(site, folder)
