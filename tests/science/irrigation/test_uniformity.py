from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gravegis.science.irrigation.calibrate import fit_line, line_rate
from gravegis.science.irrigation.hydraulics import rate_whole_area_mm_h
from gravegis.science.irrigation.tables import build_table, table_keys
from gravegis.science.irrigation.uniformity import (
    christiansen,
    compare,
    driest_window_sc,
    low_share,
    potential_low_quarter,
    uniformity,
)

if TYPE_CHECKING:
    from pathlib import Path

A = [0.23, 0.31, 0.24, 0.24, 0.28, 0.31, 0.27, 0.22, 0.26, 0.31, 0.31, 0.25, 0.20, 0.22, 0.32]
C = [8.9, 7.6, 6.6, 8.1, 7.6, 9.9, 10.2, 8.3, 8.9, 9.1, 9.1, 9.4, 8.9, 9.4, 7.9, 9.1, 8.6, 9.1, 7.9, 6.6, 6.8]
CANS = st.lists(st.floats(0, 50), min_size=1, max_size=60)


@pytest.mark.cited("Merriam and Keller 1978, Farm Irrigation System Evaluation, pp. 41-43, data read second-hand")
def test_fifteen_cans_of_merriam_and_keller() -> None:
    found = uniformity(A)
    assert found.cu == pytest.approx(87.036, abs=0.01)
    assert found.du_lq == pytest.approx(82.179, abs=0.01)
    applied = float(rate_whole_area_mm_h(4.6 * 3.785411784 * 60, 30 * 50 * 0.09290304)) / 25.4
    assert applied == pytest.approx(0.29517, abs=1e-4)
    assert potential_low_quarter(A, applied) == pytest.approx(73.69, abs=0.02)


@pytest.mark.cited("Michael, Irrigation: Theory and Practice, 21 cans, about 90 % (from memory, unconfirmed)")
def test_twenty_one_cans_of_michael() -> None:
    assert uniformity(C).cu == pytest.approx(90.02, abs=0.5)
    assert low_share(C, 1 / 4) == pytest.approx(83.06, abs=0.01)  # the 5 lowest
    assert low_share(C, 1 / 4, quarter="up") == pytest.approx(84.75, abs=0.01)  # the 6 lowest


@pytest.mark.cited("by definition")
def test_equal_cans_and_one_empty_can_of_four() -> None:
    even, odd = uniformity([3.0] * 8), uniformity([1.0, 1.0, 1.0, 0.0])
    assert (even.cu, even.du_lq, even.du_lh, even.sc) == (100.0, 100.0, 100.0, 1.0)
    assert (odd.cu, odd.du_lq) == (50.0, 0.0)
    assert odd.sc == math.inf


def lines(shared: Path, sheet: str, first: int) -> npt.NDArray[np.float64]:
    """Distance [m] and depth [mm] of the cans of one line of the real workbook, from volume and area."""
    openpyxl = pytest.importorskip("openpyxl")
    path = shared / "real" / "irrigation" / "catchcan_radial_tests.xlsx"
    if not path.is_file():
        pytest.skip(f"no {path}")
    book = openpyxl.load_workbook(path, data_only=True, read_only=True)
    rows = [row[first : first + 5] for row in book[sheet].iter_rows(min_row=5, values_only=True)]
    book.close()
    cans = [
        (way, volume / area * 10) for _, can, way, volume, area in rows if isinstance(can, int) and volume is not None
    ]
    return np.array(cans, dtype=float)


@pytest.mark.cited("public workbook of catch-can tests, DOI 10.5281/zenodo.18495332, from its raw cells")
@pytest.mark.parametrize(
    ("sheet", "expected"),
    [("CUC QT 1", 90.9838), ("CUC QT 2", 90.3441), ("CUC QT 3", 89.6513), ("ALL EMITTERS", 84.6071)],
)
def test_radius_weighted_uniformity_of_real_cans(shared: Path, sheet: str, expected: float) -> None:
    distance_m, depth_mm = lines(shared, sheet, 0).T
    assert len(depth_mm) == 157
    assert christiansen(depth_mm, distance_m) == pytest.approx(expected, abs=5e-5)


@pytest.mark.cited("public workbook of catch-can tests, first sheet, line A, plain measures worked out from its cells")
def test_plain_uniformity_of_real_cans(shared: Path) -> None:
    found = uniformity(lines(shared, "CUC QT 1", 0)[:, 1])
    assert found.cu == pytest.approx(88.78, abs=0.01)
    assert found.du_lq == pytest.approx(82.57, abs=0.01)


@given(CANS, st.floats(0.1, 10))
def test_measures_do_not_depend_on_the_unit_or_the_order(cans: list[float], unit: float) -> None:
    catch = np.array(cans) + 0.01
    one, other = uniformity(catch), uniformity(catch[::-1] * unit)
    for name in ("cu", "du_lq", "du_lh", "sc"):
        assert getattr(one, name) == pytest.approx(getattr(other, name), rel=1e-6, abs=1e-6)
    assert one.du_lq <= one.du_lh + 1e-9
    assert one.du_lh <= 100 + 1e-9
    assert one.sc >= 1 - 1e-9


@pytest.mark.cited("low half and Christiansen agree by definition where n is even")
@given(st.lists(st.floats(0.1, 50), min_size=1, max_size=20))
def test_christiansen_of_paired_cans_is_the_low_half(half: list[float]) -> None:
    """For cans that lie as far below the mean as others above, both are one."""
    top = max(half) * 2
    catch = np.array([*half, *(top - value for value in half)])
    assert christiansen(catch) == pytest.approx(low_share(catch, 1 / 2), abs=1e-6)


def test_dry_ground_has_no_uniformity_and_bad_cans_are_refused() -> None:
    assert math.isnan(christiansen([0.0, 0.0]))
    assert math.isnan(low_share([0.0, 0.0], 1 / 4))
    for bad in ([], [1.0, -0.1], [1.0, math.nan]):
        with pytest.raises(ValueError, match="one or more cans, each 0 or more"):
            uniformity(bad)
    with pytest.raises(ValueError, match="'middle' is none of nearest, down, up"):
        uniformity([1.0, 2.0], quarter="middle")
    with pytest.raises(ValueError, match="Weights must be above 0"):
        christiansen([1.0, 2.0], [1.0, 0.0])


def test_scheduling_coefficient_finds_the_driest_window() -> None:
    rate = np.full((20, 20), 10.0)
    rate[5:9, 7:11] = 5.0  # a dry patch of 4 % of the area
    wanted = np.ones((20, 20), dtype=np.bool_)
    assert driest_window_sc(rate, wanted, 0.04) == pytest.approx(rate.mean() / 5.0)
    assert driest_window_sc(rate, wanted, 0.25) == pytest.approx(rate.mean() / (10.0 - 5.0 * 16 / 100))
    rate[0, 0] = 0.0
    assert driest_window_sc(rate, wanted, 0.0) == math.inf
    wanted[0, 0] = False
    assert driest_window_sc(rate, wanted, 0.0) == pytest.approx(rate[wanted].mean() / 5.0)
    assert math.isnan(driest_window_sc(rate, np.zeros((20, 20), dtype=np.bool_)))


def test_comparison_tells_bias_scatter_and_ratio() -> None:
    found = compare([2.0, 4.0], [3.0, 7.0])
    assert (found.cans_n, found.bias) == (2, 2.0)
    assert found.ratio == pytest.approx(10 / 6)
    assert found.rms == pytest.approx(math.sqrt(5.0))
    with pytest.raises(ValueError, match="2 cans and 1 model values"):
        compare([1.0, 2.0], [1.0])


ROTOR = build_table(table_keys(["rotor"], 300.0, 25.0, 0.1)[0][0])


def test_fit_finds_the_throw_and_flow_that_made_the_cans() -> None:
    distance_m = np.arange(0.5, 16.0, 0.5)
    caught = line_rate(distance_m, ROTOR, 10.0, 800.0)
    fit = fit_line(distance_m, caught, ROTOR, 13.0, 1000.0)
    assert fit.throw_m == pytest.approx(10.0, abs=0.06)
    assert fit.flow_ratio * 1000.0 == pytest.approx(800.0, rel=0.02)
    assert fit.after.rms < 0.15 * fit.before.rms
    with pytest.raises(ValueError, match="three cans or more"):
        fit_line([1.0, 2.0], [1.0, 1.0], ROTOR, 10.0, 1000.0)
    with pytest.raises(ValueError, match="water in one of them"):
        fit_line([1.0, 2.0, 3.0], [0.0, 0.0, 0.0], ROTOR, 10.0, 1000.0)


@pytest.mark.parametrize("sweep_deg", [90.0, 360.0])
def test_line_of_cans_holds_the_flow(sweep_deg: float) -> None:
    edges = np.arange(0.0, 12.05, 0.1)
    middle = (edges[1:] + edges[:-1]) / 2
    rate = line_rate(middle, ROTOR, 12.0, 1000.0, sweep_deg=sweep_deg)
    ring = np.radians(sweep_deg) * (edges[1:] ** 2 - edges[:-1] ** 2) / 2
    assert (rate * ring).sum() == pytest.approx(1000.0)
