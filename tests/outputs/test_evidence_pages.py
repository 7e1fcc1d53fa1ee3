"""The evidence on paper: whole, in words, and never beyond what the analysis says."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import pytest

from gravegis.outputs import evidence_pages
from gravegis.science.condition.evidence_words import odds_times
from tests.outputs.pdftext import outside, overlaps, pages

if TYPE_CHECKING:
    from pathlib import Path

    from gravegis.site import Site


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_page_is_whole(paper: str, sample_run: Site) -> None:
    sheets = pages(evidence_pages.evidence_page(sample_run, paper=paper, made_on="2026-11-25"))
    assert [one for page in sheets for one in (*overlaps(page), *outside(page, 0.0))] == []


def test_each_harm_has_its_sentence_and_a_cause_is_named_only_where_the_pairs_say_so(sample_run: Site) -> None:
    text = " ".join(page.text for page in pages(evidence_pages.evidence_page(sample_run)))
    table = sample_run["association"]
    verdicts = table[table["measure"] == "what may be said"].set_index("harm")["note"]
    assert len(verdicts) >= 5
    for harm, words in verdicts.items():
        assert f"{str(harm).capitalize()} {words}" in text
    named = [harm for harm, words in verdicts.items() if "as a cause" in words]
    pairs = table[(table["measure"] == "odds ratio within stones") & (table["stratum"] == "all") & (table["p"] < 0.01)]
    assert set(named) == set(pairs["harm"])
    assert "caused by" not in text
    assert "What this does not show" in text
    for cause in ("iron feed", "rusting part noted"):
        assert f"Set apart for another cause: {cause}" in text


def test_without_evidence_there_is_no_page(sample_run: Site, tmp_path: Path) -> None:
    assert evidence_pages.write_evidence_page(sample_run.without(("association",)), tmp_path) == []


@pytest.mark.parametrize(
    ("p", "words"), [(1e-9, "hardly chance"), (0.03, "unlikely chance (p 0.03)"), (0.4, "may well be chance (p 0.4)"),
                     (None, "not worked out"), (float("nan"), "not worked out")],
)  # fmt: skip
def test_how_sure_in_words(p: float | None, words: str) -> None:
    assert evidence_pages.how_sure(p).startswith(words)


@pytest.mark.parametrize(
    ("figures", "words"),
    [
        ((6.71, 4.57, 9.84), "6.7 times (4.6 to 9.8)"),
        ((1366.0, 85.2, 22070.0), "at least 85 times (nearer end of the interval)"),
        ((0.0032, 0.00091, 0.0113), "at most 0.011 times (nearer end of the interval)"),
        ((1.004, 0.998, 1.0101), "1 times (0.998 to 1.01)"),
        ((1.0031, 1.0011, 1.0049), "1.003 times (1.001 to 1.005)"),
        ((41.3, 2.03, math.inf), "41 times (2 to no limit)"),
    ],
)
def test_odds_are_told_in_plain_figures_an_owner_can_say_aloud(figures: tuple[float, float, float], words: str) -> None:
    assert odds_times(*figures) == words
