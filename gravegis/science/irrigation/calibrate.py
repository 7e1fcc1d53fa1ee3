"""Fitting a head to a line of cans: the throw and flow with which the model meets them best, error before and after."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from gravegis.science.irrigation.tables import SprayTable, stretch
from gravegis.science.irrigation.uniformity import Comparison, compare

Floats = npt.NDArray[np.float64]

THROWS_TRIED = 401
"""Throws tried, evenly from half to twice the longest distance at which a can caught something. Own choice."""


@dataclass(frozen=True, slots=True)
class LineFit:
    """Throw [m] and flow over stated flow that meet the cans best; how well they were met before, and are after."""

    throw_m: float
    flow_ratio: float
    before: Comparison
    after: Comparison


def line_rate(
    distance_m: npt.ArrayLike, table: SprayTable, throw_m: float, flow_l_h: float, *, sweep_deg: float = 360.0,
    can_m: float = 0.1,
) -> Floats:  # fmt: skip
    """Rate the model gives at distances from one head, mean over a ring as wide as a can. [mm/h]"""
    far = np.asarray(distance_m, np.float64) + can_m / 2.0
    near = np.maximum(far - can_m, 0.0)
    one, two = (float(part) for part in stretch(table.throw_m, throw_m))
    places = np.linspace(0.0, 1.0, table.share_below.shape[0])

    def landed(at_m: Floats) -> Floats:
        s = np.minimum(at_m / throw_m, 1.0)
        return np.asarray(np.interp(s * (one + two * s), places, table.share_below[:, 0]))

    return np.asarray(flow_l_h / np.radians(sweep_deg) * (landed(far) - landed(near)) / ((far**2 - near**2) / 2.0))


def fit_line(
    distance_m: npt.ArrayLike,
    caught_mm_h: npt.ArrayLike,
    table: SprayTable,
    throw_m: float,
    flow_l_h: float,
    *,
    sweep_deg: float = 360.0,
) -> LineFit:
    """Fit throw and flow to cans in a line from the head, by least squares over a fixed set of throws.

    ``throw_m`` and ``flow_l_h`` are the stated ones, for the error before. Raises ValueError where no can caught
    anything, or fewer than three cans were set.
    """
    distance, caught = (np.asarray(values, np.float64) for values in (distance_m, caught_mm_h))
    if len(distance) < 3 or not (caught > 0).any():
        raise ValueError("A fit needs three cans or more, and water in one of them.")
    farthest = float(distance[caught > 0].max())
    tried = np.linspace(0.5, 2.0, THROWS_TRIED) * farthest
    best = (np.inf, throw_m, 1.0)
    for throw in tried.tolist():
        model = line_rate(distance, table, throw, flow_l_h, sweep_deg=sweep_deg)
        square = float((model**2).sum())
        ratio = float((model * caught).sum()) / square if square > 0 else 0.0
        best = min(best, (float(((ratio * model - caught) ** 2).sum()), throw, ratio))
    _, throw, ratio = best
    before = compare(caught, line_rate(distance, table, throw_m, flow_l_h, sweep_deg=sweep_deg))
    after = compare(caught, ratio * line_rate(distance, table, throw, flow_l_h, sweep_deg=sweep_deg))
    return LineFit(throw, ratio, before, after)
