"""Tests with cans: files as people write them, measures from raw cells, and a head that is fitted to them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import openpyxl
import pandas as pd
import pytest

from gravegis import store
from gravegis.errors import LayerError
from gravegis.layers import bring
from gravegis.science.irrigation.calibrate import line_rate
from gravegis.science.irrigation.tables import table_for, table_keys
from gravegis.site import Site, SiteInfo
from tests.analyses.test_coverage import four, site_of, work

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from gravegis.layers.canonical import Frame

BARE = Site(SiteInfo("t", "EPSG:32633"))
MERRIAM_KELLER_IN_H = (0.23, 0.31, 0.24, 0.24, 0.28, 0.31, 0.27, 0.22, 0.26, 0.31, 0.31, 0.25, 0.20, 0.22, 0.32)


def worked_out(folder: Path, files: list[tuple[Path, list[str]]], gravegis: Callable[..., Any]) -> Frame:
    """Make a site, add files of cans, work coverage out, all by the command line; return its layer of tests."""
    assert gravegis("new", folder, "--title", "cans").code == 0
    for file, options in files:
        done = gravegis("add", folder, "catch_cans", file, *options)
        assert done.code == 0, done.err
    assert gravegis("coverage", folder).code == 0
    return store.load(folder)["catch_tests"].set_index("test_id")


@pytest.mark.cited("public workbook of catch-can tests, DOI 10.5281/zenodo.18495332, from its raw cells")
def test_the_real_workbook_gives_its_uniformity_through_the_command_line(
    shared: Path, tmp_path: Path, gravegis: Callable[..., Any]
) -> None:
    path = shared / "real" / "irrigation" / "catchcan_radial_tests.xlsx"
    if not path.is_file():
        pytest.skip(f"no {path}")
    made = worked_out(tmp_path / "site", [(path, [])], gravegis)
    assert len(made) == 38
    assert (made["cans_n"] == 157).all()
    names = [f"{sheet} table 1" for sheet in ("CUC QT 1", "CUC QT 2", "CUC QT 3", "ALL EMITTERS")]
    np.testing.assert_allclose(made["cu_radial"].loc[names], [90.9838, 90.3441, 89.6513, 84.6071], atol=5e-5)
    first = made.loc[names[0]]
    assert first["weighted_mm"] == pytest.approx(2.7741, abs=5e-5)
    assert first["cu"] == pytest.approx(88.78, abs=0.005)
    assert first["du_lq"] == pytest.approx(82.57, abs=0.005)


@pytest.mark.cited("Merriam and Keller 1978, Farm Irrigation System Evaluation, pp. 41-43, data read second-hand")
def test_fifteen_cans_from_a_table_with_other_headings(tmp_path: Path, gravegis: Callable[..., Any]) -> None:
    file = tmp_path / "cans.csv"
    pd.DataFrame({"Test": "MK", "Cup": range(1, 16), "Depth (in)": MERRIAM_KELLER_IN_H, "Duration (h)": 1}).to_csv(
        file, index=False
    )
    row = worked_out(tmp_path / "site", [(file, [])], gravegis).loc["MK"]
    assert row["cans_n"] == 15
    assert row["cu"] == pytest.approx(87.036, abs=0.01)
    assert row["du_lq"] == pytest.approx(82.179, abs=0.01)
    assert row["rate_mm_h"] == pytest.approx(0.26467 * 25.4, abs=1e-3)
    assert pd.isna(row["cu_radial"])  # no distances: nothing is weighted


def test_the_same_file_added_twice_replaces_its_cans(tmp_path: Path) -> None:
    file = tmp_path / "line A.csv"
    file.write_text("can,distance (m),volume (ml),area (cm2)\n1,1,20,78.5\n2,2,,78.5\n3,3,10,78.5\n", encoding="utf-8")
    site = bring.bring_in(BARE, "catch_cans", file).site
    assert site["catch_cans"]["catch_can_id"].tolist() == ["line A 001", "line A 003"]  # the second can was lost
    file.write_text("can,distance (m),volume (ml),area (cm2)\n1,1,20,78.5\n2,2,15,78.5\n3,3,9,78.5\n", encoding="utf-8")
    again = bring.bring_in(site, "catch_cans", file, more=True)
    assert again.site["catch_cans"]["volume_ml"].tolist() == [20.0, 15.0, 9.0]
    assert any("replaced" in note for note in again.notes)


def test_a_table_without_cans_is_refused_with_its_headings(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    page = book.active
    assert page is not None
    for row in (["name", "colour"], ["a", "red"]):
        page.append(row)
    book.save(tmp_path / "no.xlsx")
    with pytest.raises(LayerError, match="no table holds cans"):
        bring.bring_in(BARE, "catch_cans", tmp_path / "no.xlsx")


def test_a_head_is_fitted_to_cans_the_model_itself_would_fill() -> None:
    """Cans as a throw of 8 m and 12 l/min fill them; the plan says 10 m and 16.7: the fit finds the truth."""
    key = table_keys(["rotor"], np.nan, np.nan, np.nan)[0][0]
    away = np.arange(0.5, 10.5, 0.5)
    rate = line_rate(away, table_for(key), 8.0, 720.0)
    cans = pd.DataFrame({"catch_can_id": [f"c{one:02d}" for one in range(len(away))], "test_id": "T", "head_id": "A",
                         "distance_m": away, "depth_mm": rate / 2, "run_min": 30.0})  # fmt: skip
    site = site_of(four(), catch_cans=cans)
    row = work(site).layers["catch_tests"].iloc[0]
    assert row["fit_throw_m"] == pytest.approx(8.0, abs=0.05)
    assert row["fit_flow_l_min"] == pytest.approx(12.0, rel=0.02)
    assert row["fit_error_mm_h"] < 0.2 * row["error_mm_h"]
    plain, fitted = work(site), work(site, calibrate=True)
    sent = [one.layers["zone_uniformity"]["sent_l_h"].iloc[0] for one in (plain, fitted)]
    assert sent[0] == pytest.approx(4000.0)
    assert sent[1] == pytest.approx(3000.0 + 60 * row["fit_flow_l_min"])


def test_cans_of_an_unknown_head_or_time_are_not_compared() -> None:
    cans = pd.DataFrame({"catch_can_id": ["a", "b", "c"], "test_id": "T", "head_id": "elsewhere",
                         "distance_m": [1.0, 2, 3], "depth_mm": [3.0, 2, 1]})  # fmt: skip
    row = work(site_of(four(), catch_cans=cans)).layers["catch_tests"].iloc[0]
    assert row[["rate_mm_h", "fit_throw_m", "error_mm_h"]].isna().all()
    assert row["mean_mm"] == 2.0
