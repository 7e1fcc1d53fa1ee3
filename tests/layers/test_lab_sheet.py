"""A laboratory sheet with one parameter a line becomes one row a sample; nothing of it is guessed or lost."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from gravegis.errors import LayerError
from gravegis.layers.bring import bring_in
from gravegis.site import Site, SiteInfo

ROOT = Path(__file__).resolve().parents[2]
SHEET = ROOT / "sample_layers" / "juniper_bench" / "lab_sheet.csv"
TRUTH = ROOT / "sample_layers" / "juniper_bench_truth" / "water.csv"


def brought(tmp_path: Path, text: str, **options: object) -> Any:
    file = tmp_path / "sheet.csv"
    file.write_text(text, encoding="utf-8")
    return bring_in(Site(SiteInfo("Ground", "")), "water", file, **options).site["water"]  # type: ignore[arg-type]


def test_the_sheet_of_juniper_bench_says_what_its_truth_says() -> None:
    made = bring_in(Site(SiteInfo("Ground", "")), "water", SHEET).site["water"]
    known: Any = pd.read_csv(TRUTH).iloc[0]
    assert len(made) == 1
    row: Any = made.iloc[0]
    for column, value in known.items():
        if isinstance(value, str):
            assert row[column] == value, column
        else:
            assert row[column] == pytest.approx(value, rel=1e-3), column
    assert row["iron_filtered_mg_l"] == "<0.05 mg/L"


@pytest.mark.cited("IUPAC standard atomic weights 2021: Ca 40.078, Mg 24.305; CaCO3 100.086 g/mol")
def test_hardness_as_calcium_carbonate_becomes_the_metal(tmp_path: Path) -> None:
    text = "Analyte,Result,Unit\nHardness calcium,250.2,mg/L as CaCO3\nMagnesium hardness,100.086,mg/L as CaCO3\n"
    row = brought(tmp_path, text).iloc[0]
    assert row["calcium_mg_l"] == pytest.approx(250.2 * 40.078 / 100.086, rel=1e-4)
    assert row["magnesium_mg_l"] == pytest.approx(24.305, rel=1e-4)


def test_hardness_that_does_not_say_as_what_is_refused(tmp_path: Path) -> None:
    with pytest.raises(LayerError, match="does not say what it is given as"):
        brought(tmp_path, "Parameter,Result,Units\nCalcium hardness,175,mg/L\npH,7.8,\n")


def test_a_filtered_iron_alone_is_the_iron_and_says_that_it_was_filtered(tmp_path: Path) -> None:
    row = brought(tmp_path, "Parameter,Result,Units\nDissolved iron,0.4,mg/L\npH,7.8,\n").iloc[0]
    assert (row["iron_mg_l"], row["iron_basis"]) == (0.4, "filtered")


def test_micrograms_and_a_limit_of_detection_are_no_figures_in_milligrams(tmp_path: Path) -> None:
    row = brought(tmp_path, "Parameter,Result,Units\nManganese,<20,ug/L\nIron,620,ug/L\n").iloc[0]
    assert row["iron_mg_l"] == pytest.approx(0.62)
    assert pd.isna(row["manganese_mg_l"])
    assert row["manganese_below_mg_l"] == pytest.approx(0.02)


def test_decimal_commas_of_a_sheet_are_read(tmp_path: Path) -> None:
    text = "Parameter;Result;Units\nCalcium hardness;175,5;mg/L as CaCO3\nIron;0,62;mg/L\npH;7,8;\n"
    row = brought(tmp_path, text).iloc[0]
    assert row["calcium_mg_l"] == pytest.approx(175.5 * 0.40044, rel=1e-4)
    assert row["iron_mg_l"] == pytest.approx(0.62)


def test_two_samples_are_told_apart_by_a_column_and_refused_without_one(tmp_path: Path) -> None:
    text = "Well,Parameter,Result,Units\nN,Iron,0.1,mg/L\nN,pH,7,\nS,Iron,2.5,mg/L\nS,pH,6.5,\n"
    made = brought(tmp_path, text, mapping=["sample_id=Well"]).set_index("sample_id")
    assert made["iron_mg_l"].to_dict() == {"N": 0.1, "S": 2.5}
    with pytest.raises(LayerError, match="second figure of iron_mg_l for one sample"):
        brought(tmp_path, text)


def test_a_line_nobody_knows_is_kept_as_a_column(tmp_path: Path) -> None:
    row = brought(tmp_path, "Parameter,Result,Units\nBoron,0.3,mg/L\nIron,1,mg/L\npH,7,\n").iloc[0]
    assert row["Boron"] == "0.3 mg/L"


def test_a_table_with_one_row_a_sample_is_left_as_it_is(tmp_path: Path) -> None:
    made = brought(tmp_path, "sample_id,ph,Result\na,7.1,fine\nb,7.3,\n")
    assert made["ph"].tolist() == [7.1, 7.3]
