"""Wind: the whole pattern of a head lies downwind of where it would lie in still air.

Flights with and against a wind of 4 m/s land 3.5 to 4.6 m apart from those in still air for all drops of 1 to 4 mm
(Gunn and Kinzer drag, `ballistics`): the pattern moves rather than shrinks. Near the head the stream has not yet been
carried: what falls at distance r in still air is carried by ``drift * min(1, (r / ramp)^2)``. Own choice of ramp, see
`RAMP_DRIFTS`.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from gravegis.science.irrigation.bundles import CIRCLE, SECTOR, STRIP, WIDE, Turns
from gravegis.science.irrigation.throw import StripSide, Throws, bearing_xy

Floats = npt.NDArray[np.float64]

FARTHEST_FRAC = 0.35
"""Largest drift, in shares of the throw; more is counted as this much. Own choice: beyond it (about 4 m/s for a
common rotor) irrigation should stop anyway (Yacoubi et al. 2012, Engineering 4(10): above 4 m/s)."""
RAMP_DRIFTS, LEAST_RAMP_FRAC = 2.5, 0.5
"""The whole drift counts from two and a half times its length on, not before half the throw nor after all of it. Own
choice: from twice its length up, no two places of the pattern change order."""


def turns_of(throws: Throws, drift_east_m: npt.ArrayLike = 0.0, drift_north_m: npt.ArrayLike = 0.0) -> Turns:
    """Bundle throws and the drift of each for the loops.

    ``drift_*`` tell how far the wind carries the far end of the pattern, one value or one a head, as from
    `drift_m`; strips are taken as not carried.
    """
    strip = throws.strip_side != StripSide.NONE
    kind = np.select([strip, throws.sweep_deg == 360.0, throws.sweep_deg <= 180.0], [STRIP, CIRCLE, SECTOR], WIDE)
    start_x, start_y = bearing_xy(throws.from_deg)
    end_x, end_y = bearing_xy(throws.from_deg + throws.sweep_deg)
    east, north = (
        np.where(strip, 0.0, np.broadcast_to(np.asarray(part, np.float64), throws.x_m.shape))
        for part in (drift_east_m, drift_north_m)
    )
    drift = np.hypot(east, north)
    kept = np.minimum(1.0, np.divide(FARTHEST_FRAC * throws.throw_m, drift, out=np.ones_like(drift), where=drift > 0))
    east, north, drift = east * kept, north * kept, drift * kept
    ramp = np.clip(RAMP_DRIFTS * drift, LEAST_RAMP_FRAC * throws.throw_m, throws.throw_m)
    parts = (throws.x_m, throws.y_m, throws.throw_m, kind.astype(np.int64), start_x, start_y, end_x, end_y)
    return Turns(*(np.array(part) for part in (*parts, east, north, drift, ramp)))


def drift_m(wind_m_s: npt.ArrayLike, wind_from_deg: npt.ArrayLike, drift_s: npt.ArrayLike) -> tuple[Floats, Floats]:
    """Drift to the east and to the north of a wind that comes from a bearing. [m]

    ``drift_s`` is `tables.SprayTable.drift_s` of each head.
    """
    length = np.asarray(wind_m_s, np.float64) * np.asarray(drift_s, np.float64)
    east, north = bearing_xy(np.asarray(wind_from_deg, np.float64) + 180.0)
    return length * east, length * north


def carried_m(x_m: Floats, y_m: Floats, turns: Turns, head: npt.NDArray[np.int64]) -> tuple[Floats, Floats]:
    """How far the wind has carried what falls at places seen from their heads: east and north, same shape. [m]"""
    east, north, ramp = turns.wind_x[head], turns.wind_y[head], turns.ramp_m[head]
    away_x, away_y = x_m - east, y_m - north
    far = away_x * away_x + away_y * away_y >= ramp * ramp
    # share of the drift: |place - share * drift|^2 = share * ramp^2, the smaller root
    square, half = x_m * x_m + y_m * y_m, x_m * east + y_m * north + ramp * ramp / 2.0
    under = np.maximum(half * half - (east * east + north * north) * square, 0.0)
    share = np.where(far, 1.0, square / np.where(far, 1.0, half + np.sqrt(under)))
    return share * east, share * north
