"""Limits of a working day: heat, lifting, frost, wind, thunder.

Published formulas are worked as published; what is common practice without a source says so. A figure within its
limit says what was checked and nothing more: local rules, licensed practice and the people on the ground come first.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

__all__ = [
    "DAY_LIMITS", "FROST_DEGC", "HEAT_BANDS", "METRIC", "US", "WIND_M_S", "LiftingConstants", "heat_band",
    "heat_index_degf", "lifting_index", "recommended_weight",
]  # fmt: skip

FROST_DEGC = 5.0
"""No wet work below this, nor with frost expected in the next 24 to 48 h: common practice, no source. [degC]"""

WIND_M_S = 5.0
"""No spraying of cleaner above this wind: own choice, no source. [m/s]"""

HEAT_BANDS = (
    (80.0, "caution"), (90.0, "extreme caution"), (103.0, "danger"), (125.0, "extreme danger"),
)  # fmt: skip
"""Heat index from which a band holds, US National Weather Service chart (other charts use 105 and 130). [degF]"""

DAY_LIMITS = (
    ("Heat", "heat index in the shade from 103 °F (39 °C): danger; full sun adds up to 15 °F (8 °C). "
     "US National Weather Service chart."),
    ("Drink", "about 250 ml every 15 to 20 min, never more than 1.4 l in an hour. NIOSH, heat stress: hydration."),
    ("Frost", f"no wet work below {FROST_DEGC:g} °C, nor with frost expected in 24 to 48 h (common practice, no "
     "source)."),
    ("Wind", f"no spraying of cleaner above {WIND_M_S:g} m/s, nor near visitors (own choice, no source)."),
    ("Thunder", "30 s or less from flash to bang: under a roof; out again 30 min after the last thunder."),
    ("Lifting", "23 kg only close to the body, at knuckle height, now and then (NIOSH 94-110); a stone is a job for "
     "lifting gear and trained people."),
)  # fmt: skip
"""Limits as a crew reads them, each with where it comes from."""


def heat_index_degf(temperature_degf: ArrayLike, humidity_pct: ArrayLike) -> NDArray[np.float64]:
    """Return the heat index in the shade.

    Rothfusz 1990 (NWS Technical Attachment SR 90-23) with the adjustments of the US National Weather Service: the
    simple formula where its mean with the temperature stays below 80 degF; less below 13 % humidity between 80 and
    112 degF, more above 85 % between 80 and 87 degF.

    Parameters
    ----------
    temperature_degf
        Air temperature in the shade. [degF]
    humidity_pct
        Relative humidity, 0 to 100. [%]
    """
    t, r = np.broadcast_arrays(np.asarray(temperature_degf, np.float64), np.asarray(humidity_pct, np.float64))
    simple = (0.5 * (t + 61.0 + 1.2 * (t - 68.0) + 0.094 * r) + t) / 2
    full = (
        -42.379 + 2.04901523 * t + 10.14333127 * r - 0.22475541 * t * r - 0.00683783 * t**2 - 0.05481717 * r**2
        + 0.00122874 * t**2 * r + 0.00085282 * t * r**2 - 0.00000199 * t**2 * r**2
    )  # fmt: skip
    dry = (r < 13) & (t >= 80) & (t <= 112)
    damp = (r > 85) & (t >= 80) & (t <= 87)
    with np.errstate(invalid="ignore"):
        less = (13 - r) / 4 * np.sqrt(np.clip((17 - np.abs(t - 95)) / 17, 0, None))
    more = (r - 85) / 10 * (87 - t) / 5
    adjusted = full - np.where(dry, less, 0.0) + np.where(damp, more, 0.0)
    return np.asarray(np.where(simple < 80, simple, adjusted), dtype=np.float64)


def heat_band(index_degf: float) -> str:
    """Return the band of a heat index in the words of the chart; empty below the first band."""
    return next((word for low, word in reversed(HEAT_BANDS) if index_degf >= low), "")


@dataclass(frozen=True, slots=True, kw_only=True)
class LiftingConstants:
    """Constants of the NIOSH lifting equation in one system of units, rounded there as published."""

    load: float
    near: float
    far: float
    knuckles: float
    slope: float
    least_travel: float
    travel: float


METRIC = LiftingConstants(load=23.0, near=25.0, far=63.0, knuckles=75.0, slope=0.003, least_travel=25.0, travel=4.5)
"""In centimetres and kilograms (NIOSH 94-110, rev. 2021; farthest reach from memory, unconfirmed)."""

US = LiftingConstants(load=51.0, near=10.0, far=25.0, knuckles=30.0, slope=0.0075, least_travel=10.0, travel=1.8)
"""In inches and pounds (NIOSH 94-110, rev. 2021)."""


def recommended_weight(
    *,
    horizontal: float,
    vertical: float,
    travel: float = 0.0,
    twist_deg: float = 0.0,
    frequency: float = 1.0,
    coupling: float = 1.0,
    constants: LiftingConstants = METRIC,
) -> float:
    """Return the weight most healthy people can lift, by the NIOSH equation, in the units of the constants.

    Not for lifting with one hand, sitting, on slippery ground or of a load that shifts: a stone is such a load.

    Parameters
    ----------
    horizontal, vertical, travel
        Hands from the ankles, above the floor, and how far the load travels up or down. [cm, or in with `US`]
    twist_deg
        Turn of the body, 0 to 135; beyond that nothing may be lifted. [deg]
    frequency, coupling
        Multipliers of the tables of the same publication, 0 to 1.
    """
    if horizontal > constants.far or twist_deg > 135.0:
        return 0.0
    reach = constants.near / max(horizontal, constants.near)
    height = 1 - constants.slope * abs(vertical - constants.knuckles)
    way = min(0.82 + constants.travel / max(travel, constants.least_travel), 1.0)
    return constants.load * reach * height * way * (1 - 0.0032 * twist_deg) * frequency * coupling


def lifting_index(load: float, recommended: float) -> float:
    """Return load over recommended weight: above 1 more than most can lift, above 3 a high risk; inf at weight 0."""
    return float("inf") if recommended <= 0 else load / recommended
