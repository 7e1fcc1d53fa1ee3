"""The evidence on paper: whole, in words, and never beyond what the analysis says."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from gravegis.outputs import evidence_pages
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
