"""Several pairs of degrees in one table: how far they lie apart, and which rows lie far more apart than the rest."""

from __future__ import annotations

from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np
import shapely

from gravegis.layers import crs as systems
from gravegis.layers.read.coordinates import Pair, every_pair, points
from gravegis.layers.read.raw import many, shown

if TYPE_CHECKING:
    import numpy.typing as npt

    from gravegis.layers.canonical import Frame

__all__ = ["compared"]

_TOLD_M = 0.05  # digits cut off stay below it
# Rows that differ by more than that many times the median, and by metres, are slips: own choice, no source.
_TIMES, _SLIP_M = 20.0, 10.0


def compared(frame: Frame) -> list[str]:
    """Return a line for each two pairs of degrees that do not say the same place; nothing is changed.

    A small difference that is alike in all rows is what two datums make; a few rows far off are slips.
    """
    degrees = [(pair, places) for pair in every_pair([str(name) for name in frame.columns])
               if (places := _degrees(frame, pair)) is not None]  # fmt: skip
    said = []
    for (one, here), (two, there) in combinations(degrees, 2):
        both = np.flatnonzero(np.isfinite(here).all(axis=1) & np.isfinite(there).all(axis=1))
        if not len(both):
            continue
        middle = systems.middle_deg(here[both])
        away_m = np.hypot(*(systems.span_m(here[both], middle) - systems.span_m(there[both], middle)).T)
        median_m = float(np.median(away_m))
        slips = np.flatnonzero(away_m > max(_TIMES * median_m, _SLIP_M))
        if median_m < _TOLD_M and not len(slips):
            continue
        words = f"{one.x}, {one.y} and {two.x}, {two.y} differ by {median_m:.2f} m (median): two datums?"
        if len(slips):
            far = shown(f"row {both[row] + 1} by {_length(away_m[row])}" for row in slips)
            words += f" {many(len(slips), 'row')} far more: {far}"
        said.append(words)
    return said


def _length(away_m: float) -> str:
    return f"{away_m / 1000:.1f} km" if away_m >= 1000 else f"{away_m:.0f} m"


def _degrees(frame: Frame, pair: Pair) -> npt.NDArray[np.float64] | None:
    """Return the places of a pair, None where they are no degrees or cannot be read."""
    if pair.kind == "grid":
        return None
    found = points(frame, pair, "")
    xy = np.full((len(frame), 2), np.nan)
    there = ~shapely.is_missing(found.geometry)
    xy[there] = shapely.get_coordinates(found.geometry[there])
    known = xy[there]
    if found.problems or not len(known) or (np.abs(known) > [180.0, 90.0]).any():
        return None
    return xy
