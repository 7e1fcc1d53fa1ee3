"""Where true north lies on the grid of a projected CRS."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pyproj

if TYPE_CHECKING:
    import numpy.typing as npt

__all__ = ["true_north_on_grid_deg"]

_STEP_M = 100.0


def true_north_on_grid_deg(
    crs: str, x_m: npt.NDArray[np.float64], y_m: npt.NDArray[np.float64]
) -> npt.NDArray[np.float64]:
    """Return the grid bearing of true north at each place: add it to a true bearing to draw it on the grid.

    Worked out by walking 100 m due north on the ellipsoid and looking where that ends on the grid. [deg]
    """
    projected = pyproj.CRS.from_user_input(crs)
    geodetic = projected.geodetic_crs
    if geodetic is None or len(x_m) == 0:
        return np.zeros(len(x_m))
    to_degrees = pyproj.Transformer.from_crs(projected, geodetic, always_xy=True)
    # a few old systems count in grads
    per_unit = np.degrees(geodetic.axis_info[0].unit_conversion_factor)
    lon, lat = (angle * per_unit for angle in to_degrees.transform(x_m, y_m))
    geod: Any = projected.get_geod()
    lon2, lat2, _ = geod.fwd(lon, lat, np.zeros_like(lon), np.full_like(lon, _STEP_M))
    east, north = to_degrees.transform(lon2 / per_unit, lat2 / per_unit, direction="INVERSE")
    bearing: npt.NDArray[np.float64] = np.degrees(np.arctan2(east - x_m, north - y_m))
    return bearing
