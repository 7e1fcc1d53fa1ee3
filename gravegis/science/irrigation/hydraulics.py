"""What leaves a nozzle, how fast, how far it goes, and how much rain that makes on the ground.

Every function takes and gives arrays (or single figures) in SI units, except that flow is in L/h or L/min as the
name says, because that is how heads are rated. Feet, inches and gallons are turned at the edge (`gravegis.units`).
Sources are named in each docstring; what is only remembered says "from memory, unconfirmed".
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

Floats = npt.NDArray[np.float64]
Numbers = npt.ArrayLike

G_M_S2 = 9.80665
WATER_KG_M3 = 1000.0
"""Density used for discharge, as rating tables use it. [kg/m3]"""
COOL_WATER_KG_M3 = 998.2
"""Density of water at 20 degrees, used for flight. [kg/m3] Agrees with an open property library."""

DISCHARGE_COEFFICIENT = 0.95
"""Of plain nozzles: 0.90 to 0.95 of theory (Hydraulic Institute engineering data book, nozzle loss); 0.95 usual, from
memory, unconfirmed."""
PRESSURE_EXPONENT = 0.5
"""Of flow on pressure, for nozzles (public documentation of pipe network emitters); real heads 0.4 to 0.5."""
THROW_EXPONENT_BELOW, THROW_EXPONENT_ABOVE = 0.38, 0.2
"""Of throw on pressure, below and above the rated pressure: drawn from the trajectories of 3 to 4 mm drops, not
confirmed in the field."""

SQUARE, TRIANGLE = 1.0, np.sqrt(3.0) / 2.0
"""Area of a head, in squares of the spacing: heads in squares, heads in equilateral triangles."""


def orifice_flow_l_h(
    nozzle_mm: Numbers, pressure_kpa: Numbers, *, coefficient: Numbers = DISCHARGE_COEFFICIENT
) -> Floats:
    """Flow of a round nozzle, q = Cd * area * sqrt(2 P / density). [L/h] (Torricelli)."""
    nozzle_m, pressure_pa = np.asarray(nozzle_mm, float) / 1000.0, np.asarray(pressure_kpa, float) * 1000.0
    area_m2 = np.pi / 4.0 * nozzle_m**2
    return np.asarray(coefficient, float) * area_m2 * np.sqrt(2.0 * pressure_pa / WATER_KG_M3) * 3.6e6


def nozzle_mm(flow_l_h: Numbers, pressure_kpa: Numbers, *, coefficient: Numbers = DISCHARGE_COEFFICIENT) -> Floats:
    """Round nozzle that passes this flow; the inverse of `orifice_flow_l_h`. [mm]"""
    return np.asarray(
        np.sqrt(np.asarray(flow_l_h, float) / orifice_flow_l_h(1.0, pressure_kpa, coefficient=coefficient))
    )


def flow_at_pressure(
    flow: Numbers, rated_kpa: Numbers, pressure_kpa: Numbers, *, exponent: Numbers = PRESSURE_EXPONENT
) -> Floats:
    """Flow at another pressure, q2 = q1 (P2 / P1)^x, in the unit of ``flow``; for ``exponent`` see above."""
    ratio = np.asarray(pressure_kpa, float) / np.asarray(rated_kpa, float)
    return np.asarray(np.asarray(flow, float) * ratio ** np.asarray(exponent, float))


def throw_at_pressure(throw_m: Numbers, rated_kpa: Numbers, pressure_kpa: Numbers) -> Floats:
    """Throw at another pressure, R = R0 (P / P0)^m with m of `THROW_EXPONENT_BELOW` and ``_ABOVE``. [m]"""
    ratio = np.asarray(pressure_kpa, float) / np.asarray(rated_kpa, float)
    exponent = np.where(ratio < 1.0, THROW_EXPONENT_BELOW, THROW_EXPONENT_ABOVE)
    return np.asarray(np.asarray(throw_m, float) * ratio**exponent)


def throw_from_nozzle_m(nozzle_mm: Numbers, pressure_kpa: Numbers) -> Floats:
    """Throw of a jet from its nozzle, 1.35 sqrt(d h) with d in mm and the head h in m. [m]

    Cavazza 1965, from memory, unconfirmed; long agricultural jets, so an upper bound for lawn heads.
    """
    head_m = np.asarray(pressure_kpa, float) * 1000.0 / (WATER_KG_M3 * G_M_S2)
    return np.asarray(1.35 * np.sqrt(np.asarray(nozzle_mm, float) * head_m))


def jet_speed_m_s(pressure_kpa: Numbers, *, coefficient: float = 1.0) -> Floats:
    """Speed of the water as it leaves the nozzle, Cv sqrt(2 P / density). [m/s]"""
    return coefficient * np.sqrt(2.0 * np.asarray(pressure_kpa, float) * 1000.0 / COOL_WATER_KG_M3)


def stream_height_m(distance_m: Numbers, speed_m_s: Numbers, angle_deg: Numbers, riser_m: Numbers) -> Floats:
    """Height of an unbroken stream, without drag, at a distance from its head. [m] (closed form)."""
    x, angle = np.asarray(distance_m, float), np.radians(np.asarray(angle_deg, float))
    speed = np.asarray(speed_m_s, float) * np.cos(angle)
    return np.asarray(np.asarray(riser_m, float) + x * np.tan(angle) - G_M_S2 * x**2 / (2.0 * speed**2))


def stream_strike_m(height_m: Numbers, speed_m_s: Numbers, angle_deg: Numbers, riser_m: Numbers) -> Floats:
    """Distance within which an unbroken stream strikes a stone of this height instead of passing over it. [m]

    0 where the nozzle is above the stone; infinite where the stream never rises that high (low angle), which
    only says that the breaking up of the stream sets the limit. Closed form, no drag.
    """
    angle = np.radians(np.asarray(angle_deg, float))
    rise = np.asarray(height_m, float) - np.asarray(riser_m, float)
    slope, bend = np.tan(angle), G_M_S2 / (2.0 * (np.asarray(speed_m_s, float) * np.cos(angle)) ** 2)
    under = slope**2 - 4.0 * bend * rise
    with np.errstate(divide="ignore", invalid="ignore"):
        found = 2.0 * rise / (slope + np.sqrt(np.maximum(under, 0.0)))
    return np.where(rise <= 0, 0.0, np.where(under < 0, np.inf, found))


def rate_whole_area_mm_h(flow_l_h: Numbers, area_m2: Numbers) -> Floats:
    """Precipitation rate of some flow on some area: 1 L on 1 m2 is 1 mm. [mm/h]"""
    return np.asarray(np.asarray(flow_l_h, float) / np.asarray(area_m2, float))


def rate_of_spacing_mm_h(
    flow_l_h: Numbers, spacing_m: Numbers, *, pattern: float = SQUARE, sweep_deg: Numbers = 360.0
) -> Floats:
    """Precipitation rate of equal heads at an equal spacing. [mm/h]

    ``pattern`` is `SQUARE` or `TRIANGLE`; a head that turns only part of the circle waters that part of its area.
    Where spacing and row distance are both known use `rate_whole_area_mm_h` on their product instead: the row
    distance of a triangle already holds the factor 0.866.
    """
    area_m2 = pattern * np.asarray(spacing_m, float) ** 2 * np.asarray(sweep_deg, float) / 360.0
    return rate_whole_area_mm_h(flow_l_h, area_m2)


def _uniform(share: Floats) -> Floats:
    return np.full_like(share, 2.0)


def _triangle(share: Floats) -> Floats:
    return 6.0 * (1.0 - share)


def _ellipse(share: Floats) -> Floats:
    return 3.0 * np.sqrt(1.0 - share**2)


def _paraboloid(share: Floats) -> Floats:
    return 4.0 * (1.0 - share**2)


PROFILES: Mapping[str, Callable[[Floats], Floats]] = {
    "uniform": _uniform,
    "triangle": _triangle,
    "ellipse": _ellipse,
    "paraboloid": _paraboloid,
}
"""Closed-form shapes p(t), t from 0 at the head to 1 at the throw, with the integral of p t dt equal to 1."""


def profile_rate_mm_h(
    distance_m: Numbers, flow_l_h: Numbers, throw_m: Numbers, *, shape: str, sweep_deg: Numbers = 360.0
) -> Floats:
    """Rate at a distance for a closed-form profile, q p(r / R) / (R^2 w), 0 beyond the throw. [mm/h]

    ``shape`` is a name of `PROFILES`. Classic shapes: triangle and uniform (Kincaid 1991, Transactions of the ASAE
    34(6)); closed forms by integration.
    """
    throw = np.asarray(throw_m, float)
    share = np.asarray(distance_m, float) / throw
    sweep = np.radians(np.asarray(sweep_deg, float))
    rate = np.asarray(flow_l_h, float) * PROFILES[shape](np.clip(share, 0.0, 1.0)) / (throw**2 * sweep)
    return np.where(share <= 1.0, rate, 0.0)


def face_rate_l_m2_h(ground_rate_mm_h: Numbers, along_over_down: Numbers, off_deg: Numbers = 0.0) -> Floats:
    """Rate on an upright face in even rain: ground rate * (vx / vz) * cos(angle off the face), 0 from behind. [L/m2h]

    Flux through a plane; a check of what the tables give where the rain is even over the height of the stone.
    """
    facing = np.maximum(0.0, np.cos(np.radians(np.asarray(off_deg, float))))
    return np.asarray(np.asarray(ground_rate_mm_h, float) * np.asarray(along_over_down, float) * facing)
