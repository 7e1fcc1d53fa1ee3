"""Tests with cans: how even the ground was watered, how the model meets the cans, and what would meet them best."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from gravegis.contract import listed

if TYPE_CHECKING:
    import numpy.typing as npt

    from gravegis.analyses.coverage.settings import CoverageSettings
    from gravegis.analyses.coverage.water import Sent
    from gravegis.contract import Job
    from gravegis.layers.canonical import Frame
    from gravegis.layers.spraying import Sprayers
    from gravegis.site import Site

    Floats = npt.NDArray[np.float64]

__all__ = ["CANS", "calibrated", "can_tests", "words_of"]

CANS = ("test_id", "head_id", "zone_id", "distance_m", "volume_ml", "can_area_cm2", "depth_mm", "run_min")
_LEAST_FIT = 3
_NAMED = 4


def can_tests(
    site: Site, found: Sprayers, sent: Sent, settings: CoverageSettings, job: Job
) -> Frame:  # fmt: skip
    """Return one row per test that caught water; model figures where the head, its flow and the minutes are known."""
    import pandas as pd

    from gravegis.layers import canonical
    from gravegis.layers.schema import layer

    columns = layer("catch_tests").columns
    read = site.get("catch_cans", canonical.empty("catch_cans"))
    cans = pd.DataFrame({name: canonical.column(read, "catch_cans", name) for name in CANS})
    by_volume = (cans["volume_ml"] / cans["can_area_cm2"] * 10.0).astype("float64")
    cans["caught_mm"] = by_volume.fillna(cans["depth_mm"].astype("float64"))
    cans["test_id"] = cans["test_id"].fillna("cans without a test")
    rows = []
    for test, group in cans.dropna(subset=["caught_mm"]).groupby("test_id", sort=True):
        job.check()
        rows.append(_measures(str(test), group, settings) | _beside_model(group, found, sent))
    made = pd.DataFrame(rows, columns=list(columns))
    return made.astype({name: canonical.DTYPES[one.kind] for name, one in columns.items() if one.kind != "id"})


def _measures(test: str, cans: Frame, settings: CoverageSettings) -> dict[str, object]:
    from gravegis.science.irrigation.uniformity import christiansen, uniformity

    depth = cans["caught_mm"].to_numpy(np.float64)
    found = uniformity(depth, quarter=settings.quarter)
    out: dict[str, object] = {
        "test_id": test, "head_id": _one(cans, "head_id"), "zone_id": _one(cans, "zone_id"), "cans_n": found.cans_n,
        "mean_mm": found.mean, "cu": found.cu, "du_lq": found.du_lq, "du_lh": found.du_lh, "quarter": found.quarter,
        "sc": found.sc if np.isfinite(found.sc) else np.nan, "rate_mm_h": found.mean / _hours(cans),
    }  # fmt: skip
    away = _numbers(cans, "distance_m")
    if (away > 0).all():
        out["weighted_mm"] = float((depth * away).sum() / away.sum())
        out["cu_radial"] = christiansen(depth, away)
    return out


def _one(cans: Frame, name: str) -> str | None:
    """Return what all cans of a test say, None where they differ or say nothing."""
    said = cans[name].dropna().unique().tolist()
    return str(said[0]) if len(said) == 1 else None


def _hours(cans: Frame) -> float:
    ran = cans["run_min"].dropna().unique().tolist()
    return float(ran[0]) / 60.0 if len(ran) == 1 and ran[0] > 0 else np.nan


def _numbers(cans: Frame, name: str) -> Floats:
    return np.asarray(cans[name].to_numpy(dtype=np.float64, na_value=np.nan))


def _beside_model(cans: Frame, found: Sprayers, sent: Sent) -> dict[str, object]:
    """Return throw, flow and error of the model before and after a fit; nothing where one of them is not known."""
    from gravegis.science.irrigation.calibrate import fit_line

    head, hours = _one(cans, "head_id"), _hours(cans)
    row = np.flatnonzero((found.frame["head_id"].iloc[found.rows] == head).to_numpy()) if head else np.zeros(0, int)
    away, depth = _numbers(cans, "distance_m"), cans["caught_mm"].to_numpy(np.float64)
    known = len(row) == 1 and np.isfinite(hours) and np.isfinite(away).all()
    if not known or len(depth) < _LEAST_FIT or not (depth > 0).any():
        return {}
    one = int(row[0])
    flow, throw = sent.flow_l_h[one], float(found.throws.throw_m[one])
    if np.isnan(flow) or sent.is_surveyed[one] or found.throws.strip_side[one] != 0:
        return {}
    table = sent.tables[sent.table_i[one]]
    fit = fit_line(away, depth / hours, table, throw, flow, sweep_deg=float(found.throws.sweep_deg[one]))
    return {
        "throw_m": throw, "flow_l_min": flow / 60.0, "error_mm_h": fit.before.rms, "fit_throw_m": fit.throw_m,
        "fit_flow_l_min": flow * fit.flow_ratio / 60.0, "fit_error_mm_h": fit.after.rms,
    }  # fmt: skip


def calibrated(found: Sprayers, tests: Frame) -> Sprayers:
    """Return the heads with throw and flow as the cans have them; of several tests of a head the last counts."""
    fits = tests.dropna(subset=["fit_throw_m"]).drop_duplicates("head_id", keep="last").set_index("head_id")
    heads = found.frame["head_id"].iloc[found.rows].to_numpy(dtype=object)
    throw_m, flow = found.throws.throw_m.copy(), found.frame["flow_l_min"].copy()
    for place in np.flatnonzero(np.isin(heads, fits.index)).tolist():
        throw_m[place] = float(fits["fit_throw_m"].loc[heads[place]])
        flow.iloc[found.rows[place]] = float(fits["fit_flow_l_min"].loc[heads[place]])
    return replace(found, throws=replace(found.throws, throw_m=throw_m), frame=found.frame.assign(flow_l_min=flow))


def words_of(tests: Frame, *, used: bool) -> list[str]:
    """Return what the cans say, test by test, and how well the model meets them."""
    out = []
    for row in tests.head(_NAMED).to_dict("records"):
        radial = "" if np.isnan(row["cu_radial"]) else f", {row['cu_radial']:.0f} % weighted by distance"
        mean = f"{row['mean_mm']:.2g} mm on the mean"
        out.append(f"Cans {row['test_id']}: {row['cans_n']} cans, {mean}, driest quarter {row['du_lq']:.0f} % of it, "
                   f"Christiansen {row['cu']:.0f} %{radial}.")  # fmt: skip
    rest = tests["test_id"].tolist()[_NAMED:]
    if rest:
        out.append(f"Cans of {len(rest)} more tests stand in the table catch_tests: {listed(rest)}.")
    fits = tests.dropna(subset=["fit_throw_m"]).to_dict("records")
    return [*out, *(_fit_words(row, used=used) for row in fits)]


def _fit_words(row: dict[Any, Any], *, used: bool) -> str:
    own = "Used here." if used else (
        "Not used here unless asked for (calibrate), nor in the wetting: put them into the heads if you trust the test."
    )  # fmt: skip
    return (
        f"Head {row['head_id']} meets the cans best with a throw of {row['fit_throw_m']:.1f} m and "
        f"{row['fit_flow_l_min']:.1f} l/min (known: {row['throw_m']:.1f} m, {row['flow_l_min']:.1f} l/min): error "
        f"{row['error_mm_h']:.1f} before, {row['fit_error_mm_h']:.1f} mm an hour after. {own}"
    )
