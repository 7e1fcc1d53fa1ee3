"""Where the sun stands.

Low-precision formulas of the Astronomical Almanac as given by Michalsky 1988 (Solar Energy 40): good to about 0.01
degree from 1950 to 2050; refraction is left out except in `RISEN_DEG`.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

__all__ = ["RISEN_DEG", "sun_height_deg"]

Floats = npt.NDArray[np.float64]
RISEN_DEG = -0.833
"""Height of the middle of the sun at sunrise: its radius and refraction, the usual convention. [deg]"""
_J2000_S = 946_728_000  # 1 January 2000, 12:00 UTC, in seconds since 1970


def sun_height_deg(utc_s: npt.ArrayLike, longitude_deg: float, latitude_deg: float) -> Floats:
    """Height of the middle of the sun above the horizon. [deg]

    ``utc_s`` are seconds since 1970 UTC; longitude is east of Greenwich.
    """
    seconds = np.asarray(utc_s, np.float64)
    days = (seconds - _J2000_S) / 86400.0
    mean = np.radians((357.528 + 0.9856003 * days) % 360.0)
    along = np.radians((280.460 + 0.9856474 * days + 1.915 * np.sin(mean) + 0.020 * np.sin(2.0 * mean)) % 360.0)
    tilt = np.radians(23.439 - 0.0000004 * days)
    ascension = np.degrees(np.arctan2(np.cos(tilt) * np.sin(along), np.cos(along)))
    declination = np.arcsin(np.sin(tilt) * np.sin(along))
    sidereal_h = 6.697375 + 0.0657098242 * days + (seconds % 86400.0) / 3600.0
    hour = np.radians((15.0 * sidereal_h + longitude_deg - ascension) % 360.0)
    latitude = np.radians(latitude_deg)
    sine = np.sin(latitude) * np.sin(declination) + np.cos(latitude) * np.cos(declination) * np.cos(hour)
    return np.asarray(np.degrees(np.arcsin(np.clip(sine, -1.0, 1.0))))
