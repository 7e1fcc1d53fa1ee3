"""Pages around the day: one page to sign for the water; read back from the PDF."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

import pandas as pd
import pytest
from pypdf import PdfReader

from gravegis.outputs.season_page import season_page
from gravegis.outputs.zone_request_page import zone_request_page
from tests.outputs import pdftext

if TYPE_CHECKING:
    from gravegis.site import Site

MARGIN_PT = 10 / 25.4 * 72 - 0.6


def text_of(pdf: bytes) -> list[str]:
    return [" ".join(page.extract_text().split()) for page in PdfReader(io.BytesIO(pdf)).pages]


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_request_of_the_sample_site_is_one_page_to_sign(sample_run: Site, paper: str) -> None:
    pdf = zone_request_page(sample_run, made_on="2026-11-25", paper=paper)
    [page] = text_of(pdf)
    assert all(str(zone) in page for zone in sample_run["zone_requests"]["zone_id"])
    assert "Tuesday 1 December 2026, 18:00" in page
    assert "Date, signature" in page
    assert "common practice, no source" in page
    assert "page 1 of 1" in page
    for read in pdftext.pages(pdf):
        assert not pdftext.overlaps(read)
        assert not pdftext.outside(read, MARGIN_PT)


def test_right_to_left_names_and_long_words_of_zones_stay_within_the_page(small_site: Site) -> None:
    names = ["منطقة الري", "zone " * 40, "Z" * 60]
    rows = pd.DataFrame({"zone_id": names, "off_from": "2026-12-01T18:00", "on_again": "2026-12-03T12:00",
                         "stones_n": 3, "answer": "not asked"})  # fmt: skip
    for read in pdftext.pages(zone_request_page(small_site.with_layers({"zone_requests": rows}))):
        assert not pdftext.overlaps(read)
        assert not pdftext.outside(read, MARGIN_PT)


def test_the_season_of_the_sample_site_counts_every_stone_of_the_worklist_once(sample_run: Site) -> None:
    plan, work = sample_run["season_plan"], sample_run["worklist"]
    assert int(plan["stones_n"].sum()) == len(work)
    planned = plan.dropna(subset=["month"])
    assert (planned.groupby("month")["days"].sum() <= 6.01).all()
    assert float(planned["days"].sum()) <= 40.1


def test_the_season_page_names_every_month_and_what_is_never_reached(sample_run: Site) -> None:
    pdf = season_page(sample_run, made_on="2026-11-25")
    text = " ".join(text_of(pdf))
    assert "Never reached" in text
    assert "held: needs permission" in text
    assert "for conservator only" in text
    for read in pdftext.pages(pdf):
        assert not pdftext.overlaps(read)
        assert not pdftext.outside(read, MARGIN_PT)
