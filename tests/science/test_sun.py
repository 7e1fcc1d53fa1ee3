"""Height of the sun against an independent library."""

from __future__ import annotations

import numpy as np
import pytest

from gravegis.science.sun import sun_height_deg


def test_height_of_the_sun_is_that_of_pvlib_within_three_hundredths_of_a_degree() -> None:
    pd, pvlib = pytest.importorskip("pandas"), pytest.importorskip("pvlib")
    times = pd.date_range("2026-01-01", "2026-12-31", freq="7h", tz="UTC")
    for latitude, longitude in ((-34.9, 138.6), (51.5, 0.0), (40.0, -105.0)):
        there = pvlib.solarposition.get_solarposition(times, latitude, longitude)["elevation"].to_numpy()
        seconds = times.as_unit("s").asi8
        assert np.abs(sun_height_deg(seconds, longitude, latitude) - there).max() < 0.03
