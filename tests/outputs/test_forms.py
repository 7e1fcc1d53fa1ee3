"""Survey forms: whole on paper, and what is typed into the tables comes back as findings."""

from __future__ import annotations

import csv
from typing import TYPE_CHECKING, Any

import numpy as np
import openpyxl
import pytest

from gravegis import pipeline
from gravegis.errors import LayerError
from gravegis.layers import bring
from gravegis.layers.ticks import NOTHING_SEEN, ticks
from gravegis.outputs import forms
from gravegis.outputs.tick_pictures import PICTURES
from gravegis.science.condition.scores import FAMILIES, find_term
from tests.outputs.pdftext import outside, overlaps, pages

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from gravegis.site import Site


@pytest.fixture(scope="module")
def bare(sample_site: Site) -> Site:
    stones = sample_site["stones"]
    kept = stones[stones["row"] == "A3"].drop(columns=["quick_score"])
    return sample_site.without(tuple(name for name in sample_site if name != "stones")).with_layers({"stones": kept})


def fill(file: Path, typed: dict[int, dict[str, Any]]) -> None:
    """Type cells into the rows of a form, CSV or workbook."""
    if file.suffix == ".csv":
        with file.open(encoding="utf-8-sig", newline="") as read:
            head, *lines = csv.reader(read)
        _put(head, lines, typed)
        with file.open("w", encoding="utf-8-sig", newline="") as write:
            csv.writer(write).writerows([head, *lines])
        return
    book = openpyxl.load_workbook(file)
    page = book.active
    assert page is not None
    names = [str(cell.value) for cell in page[1]]
    for row, cells in typed.items():
        for name, value in cells.items():
            page.cell(row + 2, names.index(name) + 1).value = value
    book.save(file)


def _put(head: Sequence[str], lines: list[list[str]], typed: dict[int, dict[str, Any]]) -> None:
    for row, cells in typed.items():
        for name, value in cells.items():
            lines[row][head.index(name)] = str(value)


def test_there_are_eight_boxes_each_with_a_known_pattern_and_a_picture() -> None:
    assert len(ticks()) == 8
    assert set(PICTURES) == set(ticks())
    assert all(find_term(pattern) for pattern in ticks().values())
    # families where volunteers cannot tell more; stains and crusts stay apart
    named = {pattern for pattern in ticks().values() if pattern not in FAMILIES}
    assert named == {"staining", "encrustation"}


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_the_quick_form_typed_back_gives_findings_and_unmarked_lines_give_none(
    kind: str, bare: Site, tmp_path: Path
) -> None:
    forms.write_forms(bare, tmp_path)
    file = tmp_path / f"quick_survey.{kind}"
    day = {"found_on": "2026-10-05", "by": "J"}
    fill(file, {0: {**day, "orange stain": 2, "note": "by the path"}, 1: {**day, "green film": "x", "open crack": 1},
                2: {**day, NOTHING_SEEN: "x"}})  # fmt: skip
    done = bring.bring_in(bare, "findings", file)
    found = done.site["findings"]
    ids = bare["stones"].sort_values("place_in_row")["stone_id"].tolist()
    assert set(found["stone_id"]) == set(ids[:3])
    assert len(found) == 24
    there = found[(found["severity"] != 0).fillna(value=True)]
    assert sorted(there["pattern"]) == ["biological colonisation", "crack and deformation", "staining"]
    stain = found[(found["pattern"] == "staining") & (found["stone_id"] == ids[0])].iloc[0]
    assert (stain["severity"], stain["found_on"]) == (2, "2026-10-05")
    assert "quick survey: box 'orange stain'; by the path" in stain["note"]
    assert any("quick survey: 3 stones looked at, 3 boxes marked" in note for note in done.notes)
    assert any(f"{len(ids) - 3} rows without a mark were not looked at" in note for note in done.notes)
    made = pipeline.run(done.site, ["condition"]).site["stone_condition"].set_index("stone_id")
    assert made.loc[ids[:3], "overall"].tolist() == [2, 1, 0]
    assert made["overall"].notna().sum() == 3
    assert made.loc[ids[2], "staining"] == 0
    # marked without a grade: it is there, how bad nobody said
    assert made["growth"].isna()[ids[1]]


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_the_full_form_typed_back_meets_the_same_checks_and_adds_to_what_is_there(
    kind: str, bare: Site, tmp_path: Path
) -> None:
    forms.write_forms(bare, tmp_path)
    file = tmp_path / f"full_survey.{kind}"
    first = {"pattern": "orange stain", "severity": 2, "extent_frac": 0.2, "face": "back", "height_to_m": 0.4,
             "found_on": "2026-10-05"}  # fmt: skip
    fill(file, {0: first, 3: {"pattern": "sugaring", "severity": 1}})
    done = bring.bring_in(bare, "findings", file)
    assert len(done.site["findings"]) == 2
    assert any("lines without a finding are left out" in note for note in done.notes)
    again = bring.bring_in(done.site, "findings", file, more=True)
    found = again.site["findings"]
    assert len(found) == 4
    assert found["finding_id"].is_unique
    fill(file, {0: {"severity": 7}})
    with pytest.raises(LayerError, match="7"):
        bring.bring_in(bare, "findings", file)


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_the_same_sheet_typed_twice_replaces_and_another_day_adds(kind: str, bare: Site, tmp_path: Path) -> None:
    forms.write_forms(bare, tmp_path)
    full, quick = tmp_path / f"full_survey.{kind}", tmp_path / f"quick_survey.{kind}"
    day = {"found_on": "2026-10-05", "by": "J"}
    fill(full, {0: {**day, "pattern": "orange stain", "severity": 2}, 3: {**day, "pattern": "sugaring", "severity": 1}})
    fill(quick, {0: {**day, "open crack": 1}})
    site = bring.bring_in(bare, "findings", full).site
    site = bring.bring_in(site, "findings", quick, more=True).site
    assert len(site["findings"]) == 10
    fill(full, {0: {"severity": 3}})
    again = bring.bring_in(site, "findings", full, more=True)
    assert len(again.site["findings"]) == 10
    assert again.site["findings"]["severity"].max() == 3
    assert any("replaced" in note for note in again.notes)
    twice = bring.bring_in(again.site, "findings", quick, more=True).site
    assert len(twice["findings"]) == 10
    fill(full, {0: {"found_on": "2027-10-05"}, 3: {"found_on": "2027-10-05"}})
    assert len(bring.bring_in(twice, "findings", full, more=True).site["findings"]) == 12


def test_a_box_and_nothing_seen_together_are_refused(bare: Site, tmp_path: Path) -> None:
    forms.write_forms(bare, tmp_path)
    file = tmp_path / "quick_survey.csv"
    fill(file, {0: {"orange stain": 2, NOTHING_SEEN: "x"}})
    with pytest.raises(LayerError, match="a box is marked, and 'nothing seen' too: row 1"):
        bring.bring_in(bare, "findings", file)


def test_rows_called_as_others_are_not_added(bare: Site, tmp_path: Path) -> None:
    file = tmp_path / "f.csv"
    file.write_text(f"finding_id,stone_id,pattern\na,{bare['stones']['stone_id'].iloc[0]},moss\n", encoding="utf-8")
    site = bring.bring_in(bare, "findings", file).site
    with pytest.raises(LayerError, match="called as one that is there already: a"):
        bring.bring_in(site, "findings", file, more=True)


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("draw", [forms.quick_form, forms.full_form])
def test_a_form_names_each_stone_of_the_section_in_walking_order(draw: Any, paper: str, sample_site: Site) -> None:
    made = draw(sample_site, section="A", paper=paper)
    sheets = pages(made)
    assert [one for page in sheets for one in (*overlaps(page), *outside(page, 0.0))] == []
    text = " ".join(page.text for page in sheets)
    stones = sample_site["stones"]
    mine = stones[stones["section"] == "A"].sort_values(["row", "place_in_row"])["stone_id"].tolist()
    at = [text.find(one) for one in mine[:12]]
    assert min(at) >= 0
    assert np.all(np.diff(at) > 0)
    assert stones[stones["section"] == "C"]["stone_id"].iloc[0] not in text


def test_a_section_that_is_not_there_is_named_with_those_that_are(sample_site: Site, tmp_path: Path) -> None:
    with pytest.raises(LayerError, match=r"(?s)no stones in section Q.*A, B, C, D, E"):
        forms.write_forms(sample_site, tmp_path, section="Q")
