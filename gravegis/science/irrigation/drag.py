"""How air brakes a drop: laws by name, and the fall speeds they lead to.

A law gives the drag coefficient for a drop's diameter [mm] and Reynolds number. `LAWS` holds them by name:

- ``measured``: a sphere (Clift and Gauvin) scaled, drop by drop, to the fall speed measured by Gunn and Kinzer 1949;
  the default. Beyond 5.8 mm, where the measurements end, the speed stays at 9.17 m/s.
- ``fukui``: Fukui et al. 1980 (Irrigation Science 2), from memory, unconfirmed; too fast above 3 mm.
- ``schiller naumann``: sphere, 0.44 above Re 1000.
- ``clift gauvin``: sphere, from memory, unconfirmed.
"""

from __future__ import annotations

import csv
from collections.abc import Callable, Mapping
from functools import cache
from importlib.resources import files

import numpy as np
import numpy.typing as npt

from gravegis.science.irrigation.hydraulics import COOL_WATER_KG_M3, G_M_S2

Floats = npt.NDArray[np.float64]
Law = Callable[[Floats, Floats], Floats]
"""Drag coefficient from diameter [mm] and Reynolds number, both of one shape."""

AIR_KG_M3, AIR_PA_S = 1.2041, 1.8205e-5
"""Dry air at 20 degrees and sea level: density and viscosity. Agrees with an open property library."""
MEASURED = "measured"
_STILL = 1e-9  # Reynolds number of a drop at rest, where the laws would divide by zero


@cache
def fall_speed_table() -> tuple[Floats, Floats]:
    """Diameters [mm] and measured fall speeds [m/s], Gunn and Kinzer 1949."""
    text = files("gravegis.science").joinpath("data", "drop_fall_speeds.csv").read_text(encoding="utf-8")
    rows = [(float(row["diameter_mm"]), float(row["speed_m_s"])) for row in csv.DictReader(text.splitlines())]
    table = np.array(rows).T
    table.setflags(write=False)
    return table[0], table[1]


def measured_fall_speed_m_s(diameter_mm: npt.ArrayLike) -> Floats:
    """Fall speed by diameter, between the measured ones in straight lines; 0.1 mm and 5.8 mm are the ends."""
    return np.asarray(np.interp(np.asarray(diameter_mm, float), *fall_speed_table()))


def reynolds(diameter_mm: npt.ArrayLike, speed_m_s: npt.ArrayLike) -> Floats:
    """Reynolds number of a drop in air."""
    return np.asarray(AIR_KG_M3 * np.asarray(speed_m_s, float) * np.asarray(diameter_mm, float) * 1e-3 / AIR_PA_S)


def drag_of_fall(diameter_mm: npt.ArrayLike, speed_m_s: npt.ArrayLike) -> Floats:
    """Drag coefficient that makes a drop fall at this speed: drag equals weight less buoyancy."""
    lift = (COOL_WATER_KG_M3 - AIR_KG_M3) / AIR_KG_M3
    return np.asarray(4.0 / 3.0 * lift * G_M_S2 * np.asarray(diameter_mm, float) * 1e-3 / np.square(speed_m_s))


def _fukui(diameter_mm: Floats, re: Floats) -> Floats:
    re = np.maximum(re, _STILL)
    slow = 33.3 / re - 0.0033 * re + 1.2
    return np.where(re <= 128, slow, np.where(re <= 1440, 72.2 / re - 0.0000556 * re + 0.48, 0.45))


def _schiller_naumann(diameter_mm: Floats, re: Floats) -> Floats:
    re = np.maximum(re, _STILL)
    return np.where(re < 1000, 24.0 / re * (1.0 + 0.15 * re**0.687), 0.44)


def _clift_gauvin(diameter_mm: Floats, re: Floats) -> Floats:
    re = np.maximum(re, _STILL)
    return 24.0 / re * (1.0 + 0.15 * re**0.687) + 0.42 / (1.0 + 42500.0 * re**-1.16)


def _measured(diameter_mm: Floats, re: Floats) -> Floats:
    speed_m_s = measured_fall_speed_m_s(diameter_mm)
    at_fall = _clift_gauvin(diameter_mm, reynolds(diameter_mm, speed_m_s))
    return drag_of_fall(diameter_mm, speed_m_s) / at_fall * _clift_gauvin(diameter_mm, re)


LAWS: Mapping[str, Law] = {
    MEASURED: _measured,
    "fukui": _fukui,
    "schiller naumann": _schiller_naumann,
    "clift gauvin": _clift_gauvin,
}


def fall_speed_m_s(diameter_mm: npt.ArrayLike, *, law: str = MEASURED) -> Floats:
    """Speed at which a drop falls steadily through still air under a law of `LAWS`. [m/s]

    By bisection between 0.001 and 40 m/s; raises KeyError for an unknown law.
    """
    diameter = np.asarray(diameter_mm, float)
    drag = LAWS[law]
    low, high = np.full(diameter.shape, 1e-3), np.full(diameter.shape, 40.0)
    for _ in range(60):
        middle = (low + high) / 2.0
        too_fast = drag(diameter, reynolds(diameter, middle)) > drag_of_fall(diameter, middle)
        low, high = np.where(too_fast, low, middle), np.where(too_fast, middle, high)
    return np.asarray((low + high) / 2.0)
