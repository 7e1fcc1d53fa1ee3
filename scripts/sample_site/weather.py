"""An invented year of hourly weather for the dry inland plains: a stated process with a seed, no measured hour.

Local mean time of longitude 139.6 E sets the sun. Temperature: yearly wave, day-to-day chance that lasts some days,
daily wave. Sun: clear sky after Haurwitz (1945), global horizontal = 1098 cos z exp(-0.057 / cos z), times a daily
clearness. Dew point: yearly wave and chance; relative humidity by the Magnus formula. Rain: chance per day by season.
Wind: stronger in the afternoon, from the south-west by day on most days, lower by night.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np

from .ground import SEED

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

LATITUDE_DEG, LONGITUDE_DEG = -33.9, 139.6
FIRST = datetime(2025, 7, 1, tzinfo=UTC)
DAYS = 365
COLUMNS = ("at", "temp_degc", "humidity_frac", "wind_m_s", "wind_from_deg", "sun_w_m2", "rain_mm")


def _lasting(rng: np.random.Generator, count: int, keep: float) -> Floats:
    """Return chance that lasts: each day keeps a share of the day before; standard deviation 1."""
    fresh = rng.standard_normal(count) * np.sqrt(1 - keep**2)
    made = np.zeros(count)
    for day in range(count):
        made[day] = (keep * made[day - 1] if day else 0.0) + fresh[day]
    return made


def cos_zenith(day_of_year: Floats, solar_hour: Floats) -> Floats:
    """Return the cosine of the sun's angle from overhead, 0 below the horizon (declination after Cooper 1969)."""
    tilt = np.radians(23.45) * np.sin(2 * np.pi * (284 + day_of_year) / 365)
    latitude = np.radians(LATITUDE_DEG)
    turn = np.radians(15.0 * (solar_hour - 12.0))
    height = np.sin(latitude) * np.sin(tilt) + np.cos(latitude) * np.cos(tilt) * np.cos(turn)
    made: Floats = np.maximum(height, 0.0)
    return made


def weather_rows() -> list[dict[str, Any]]:
    """Return 8,760 hours, in UTC."""
    rng = np.random.default_rng([SEED, 9])
    hours = np.arange(DAYS * 24)
    solar = hours + LONGITUDE_DEG / 15.0  # hours of local mean time since the first midnight in UTC
    day = (solar // 24).astype(int)
    hour: Floats = (solar % 24).astype(np.float64)
    of_year = (FIRST.timetuple().tm_yday + day) % 365
    year_wave = np.cos(2 * np.pi * (of_year - 20) / 365)  # 1 in the hottest days of January
    count = int(day.max()) + 1
    mild, damp = _lasting(rng, count, 0.7), _lasting(rng, count, 0.6)
    season = np.cos(2 * np.pi * (np.arange(count) + FIRST.timetuple().tm_yday - 20) / 365)
    wet_day = rng.random(count) < 0.13 - 0.06 * season
    fallen_mm = np.where(wet_day, rng.exponential(4.0, count), 0.0)
    clear = np.where(wet_day, 0.35 + 0.2 * rng.random(count), 0.78 + 0.22 * rng.random(count))
    daily = 5.0 + 3.6 * clear + 1.2 * season
    temp = 17.0 + 7.5 * year_wave + 3.2 * mild[day] + daily[day] * np.cos(2 * np.pi * (hour - 15.0) / 24)
    dew = np.minimum(6.0 + 3.5 * year_wave + 2.5 * damp[day] + 3.0 * wet_day[day], temp - 0.3)
    moist = np.exp(17.625 * dew / (243.04 + dew) - 17.625 * temp / (243.04 + temp))
    high = cos_zenith(of_year.astype(np.float64), hour)
    sun = np.where(high > 0, 1098.0 * high * np.exp(-0.057 / np.maximum(high, 1e-3)), 0.0) * clear[day]
    begin, lasts = rng.integers(0, 20, count), rng.integers(2, 5, count)
    raining = (hour.astype(int) >= begin[day]) & (hour.astype(int) < begin[day] + lasts[day])
    rain = np.where(raining, fallen_mm[day] / lasts[day], 0.0)
    gust = np.maximum(
        1.6 + 2.2 * np.maximum(np.cos(2 * np.pi * (hour - 15.0) / 24), 0) + 0.9 * rng.normal(size=hours.size), 0
    )
    veer = (np.where(rng.random(count) < 0.6, 225.0, 20.0)[day] + 25.0 * rng.normal(size=hours.size)) % 360
    stamps = [(FIRST + timedelta(hours=int(one))).strftime("%Y-%m-%dT%H:%MZ") for one in hours]
    texts = zip(
        stamps, _fixed(temp, 1), _fixed(moist, 2), _fixed(gust, 1), _fixed(10 * np.floor(veer / 10), 0),
        _fixed(sun, 0), _fixed(rain, 1), strict=True,
    )  # fmt: skip
    return [dict(zip(COLUMNS, row, strict=True)) for row in texts]


def _fixed(values: Floats, decimals: int) -> list[str]:
    """Return numbers with a fixed count of decimals, minus zero as zero."""
    return [f"{value + 0.0:.{decimals}f}" for value in np.round(values, decimals)]
