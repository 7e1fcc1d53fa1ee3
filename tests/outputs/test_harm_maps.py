"""A map per harm: whole on paper, and it says what is measured and how many stones stand behind it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from gravegis.outputs import maps
from gravegis.outputs.harm_maps import by_section

if TYPE_CHECKING:
    from collections.abc import Callable

    from matplotlib.figure import Figure

    from gravegis.site import Site


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_no_text_overlaps_or_leaves_the_page_of_any_harm(
    paper: str, sample_run: Site, text_faults: Callable[[Figure], list[str]]
) -> None:
    harms = maps.harms_mapped(sample_run)
    assert {"staining", "encrustation", "growth", "detachment", "cracks"} <= set(harms)
    for harm in harms:
        assert text_faults(maps.harm_map(sample_run, harm, paper=paper, made_on="2026-11-25")) == [], harm


def test_the_map_says_what_is_measured_and_how_many_stones_stand_behind_it(
    sample_run: Site, words_on: Callable[[Figure], list[str]]
) -> None:
    said = " ".join(words_on(maps.harm_map(sample_run, "staining")))
    condition, spots = sample_run["stone_condition"]["staining"], sample_run["stone_hotspots"]
    assert f"{condition.notna().sum()} of {len(condition)} stones were looked at for it" in said
    for grade, words in enumerate(("0 not found", "1 minor", "2 moderate", "3 major")):
        assert f"{words} ({(condition == grade).sum()})" in said
    assert f"nobody looked for it ({condition.isna().sum()})" in said
    mine = spots[spots["harm"] == "staining"]["state"]
    for state in ("hot", "cold"):
        assert f"({(mine == state).sum()} stones)" in said


def test_shares_by_section_count_only_stones_that_were_looked_at(sample_run: Site) -> None:
    stones = sample_run["stones"]
    grade = np.full(len(stones), np.nan)
    at = np.flatnonzero((stones["section"] == "A").to_numpy())
    grade[at[:10]] = [2, 1, 0, 0, 0, 0, 0, 0, 0, 3]
    assert by_section(sample_run, grade) == ["By section: A 3 of 10 (30%)."]
