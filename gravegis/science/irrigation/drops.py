"""How the water of a head is shared among drops of different size, by volume.

Distribution of Li, Kawano and Yu 1994: the volume share below diameter D is 1 - exp(-ln2 (D / D50)^n), from memory,
unconfirmed; D50 and n after Kincaid, Solomon and Oliphant 1996 (Transactions of the ASAE 39) from the ratio of nozzle
to pressure head, with coefficients by kind in ``data/spray_kinds.csv``: from memory, unconfirmed, meant to be edited.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from gravegis.science.irrigation.hydraulics import G_M_S2, WATER_KG_M3

if TYPE_CHECKING:
    from collections.abc import Mapping

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class SprayKind:
    """What is taken for a kind of head where its row does not say; with its source."""

    kind: str
    nozzle_mm: float
    pressure_kpa: float
    trajectory_deg: float
    riser_m: float
    d50_offset_mm: float
    d50_slope_mm: float
    n_offset: float
    n_slope: float
    source: str


@cache
def spray_kinds() -> Mapping[str, SprayKind]:
    """Return the defaults by kind of head; the same kinds as `kinds.head_kinds`."""
    text = files("gravegis.science").joinpath("data", "spray_kinds.csv").read_text(encoding="utf-8")
    words = {"kind", "source"}
    return {
        row["kind"]: SprayKind(**{name: text if name in words else float(text) for name, text in row.items()})  # type: ignore[arg-type]
        for row in csv.DictReader(text.splitlines())
    }


def size_and_spread(kind: SprayKind, pressure_kpa: float) -> tuple[float, float]:
    """Median volume diameter D50 [mm] and exponent n of a kind at a pressure.

    Both are linear in nozzle diameter over pressure head. n is kept at 0.5 or more: the line was not drawn for
    pressures so low that it would fall below.
    """
    head_m = pressure_kpa * 1000.0 / (WATER_KG_M3 * G_M_S2)
    ratio = kind.nozzle_mm / 1000.0 / head_m
    return kind.d50_offset_mm + kind.d50_slope_mm * ratio, max(0.5, kind.n_offset + kind.n_slope * ratio)


def share_below(diameter_mm: npt.ArrayLike, d50_mm: float, spread: float) -> Floats:
    """Share of the volume in drops smaller than this, 0 to 1."""
    return np.asarray(1.0 - np.exp(-np.log(2.0) * (np.asarray(diameter_mm, float) / d50_mm) ** spread))


def diameter_at_share(share: npt.ArrayLike, d50_mm: float, spread: float) -> Floats:
    """Diameter below which this share of the volume lies; the inverse of `share_below`, share below 1. [mm]"""
    return np.asarray(d50_mm * (-np.log1p(-np.asarray(share, float)) / np.log(2.0)) ** (1.0 / spread))


def rain_median_mm(rate_mm_h: npt.ArrayLike) -> Floats:
    """Median volume diameter of rain, 1.30 I^0.232 (ln 2)^(1 / 2.25). [mm] (Best 1950)."""
    return np.asarray(1.30 * np.asarray(rate_mm_h, float) ** 0.232 * np.log(2.0) ** (1.0 / 2.25))
