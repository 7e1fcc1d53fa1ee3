"""The worklist on paper: blocks, load, limits, every stone once, and whose leave is missing."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd
import pytest

from gravegis import pipeline
from gravegis.outputs.worklist_pages import MOST, to_ask, worklist_page
from tests.outputs import pdftext

if TYPE_CHECKING:
    from gravegis.site import Site


def text_of(page: bytes) -> str:
    return " ".join(word.text for one in pdftext.pages(page) for word in one.words)


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_page_names_every_stone_that_may_go_out_and_none_that_is_held(sample_run: Site, paper: str) -> None:
    said = text_of(worklist_page(sample_run, paper=paper)).split()
    work = sample_run["worklist"]
    out = work[(work["who"] == "crew") & work["hold"].isna()]
    held = work[work["hold"].notna()]
    # the most urgent ones are printed, the others counted: they stand in the table
    printed = set(out["stone_id"]) & set(said)
    assert len(printed) == min(len(out), MOST)
    assert (
        out.loc[~out["stone_id"].isin(printed), "priority"].max()
        <= out.loc[out["stone_id"].isin(printed), "priority"].min()
    )
    assert not set(held["stone_id"]) & set(said)


def test_litres_and_limits_stand_on_the_page(sample_run: Site) -> None:
    said = " ".join(text_of(worklist_page(sample_run)).split())
    work = sample_run["worklist"]
    out = work[(work["who"] == "crew") & work["hold"].isna()]
    assert f"{out['water_l'].sum():.0f} l, " in said
    for words in ("Limits of the day", "no source", "Assumed", "By block"):
        assert words in said
    assert "safe" not in said.lower().replace("safety", "")


def test_without_a_good_tap_all_water_is_brought(sample_run: Site) -> None:
    taps = sample_run["taps"].assign(fit_to_drink=False)
    said = " ".join(text_of(worklist_page(sample_run.with_layers({"taps": taps}))).split())
    assert "bring all of it" in said
    assert "a tap known as drinking water is there" not in said


def test_whose_leave_is_missing_is_listed_by_whom_and_nobody_gives_no_page(sample_run: Site) -> None:
    stones = sample_run["stones"]
    why: list[str | None] = ["official military marker"] * 3
    marked = stones.assign(significance=pd.Series(why + [None] * (len(stones) - 3), dtype="str"))
    site = pipeline.run(sample_run.with_layers({"stones": marked}), ["worklist"]).site
    waiting = site["worklist"].loc[site["worklist"]["hold"] == "needs permission", "stone_id"]
    page = to_ask(site)
    assert len(waiting) > 0
    assert page is not None
    assert set(waiting) <= set(text_of(page).split())
    everything = pd.DataFrame(
        {"stone_id": list(stones["stone_id"]) * 2, "status": "granted",
         "kind": ["right-holder"] * len(stones) + ["war-graves authority"] * len(stones)}
    )  # fmt: skip
    agreed = pipeline.run(site.with_layers({"permissions": everything}), ["worklist"]).site
    assert not (agreed["worklist"]["hold"] == "needs permission").any()
    assert to_ask(agreed) is None


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_nothing_overlaps_or_leaves_the_page(sample_run: Site, paper: str) -> None:
    asked = to_ask(sample_run, paper=paper)
    for page in (worklist_page(sample_run, paper=paper), *([asked] if asked else [])):
        for one in pdftext.pages(page):
            assert pdftext.overlaps(one) == []
            assert pdftext.outside(one, 20) == []
        assert pdftext.fonts_not_embedded(page) == []


def test_the_page_counts_what_the_answer_counts(sample_run: Site) -> None:
    said = text_of(worklist_page(sample_run))
    work = sample_run["worklist"][sample_run["worklist"]["who"] == "crew"]
    assert f"{int(work['hold'].isna().sum())} stones may go out, {int(work['hold'].notna().sum())} are held." in said
