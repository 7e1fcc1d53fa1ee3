"""Positions as the condition work takes them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gravegis.errors import LayerError

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

__all__ = ["flagged", "positions"]


def positions(xy_m: ArrayLike) -> NDArray[np.float64]:
    """Return positions with shape ``(stones, 2)``, an empty input included; raises LayerError otherwise. [m]"""
    xy = np.asarray(xy_m, dtype=np.float64)
    if xy.size == 0:
        return np.empty((0, 2))
    if xy.ndim != 2 or xy.shape[1] != 2:
        raise LayerError(f"positions have shape {xy.shape}", where="stones", remedy="Give one x and one y per stone.")
    return xy


def flagged(xy_m: ArrayLike, damaged: ArrayLike) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Return finite positions and one yes or no per stone; raises LayerError otherwise. [m]"""
    xy = positions(xy_m)
    bad = np.asarray(damaged)
    if bad.size and bad.dtype != np.bool_:
        raise LayerError(
            f"damage is given as {bad.dtype}, not yes or no",
            remedy="Leave out stones nobody looked at, then give True or False for each.",
        )
    if bad.shape != (len(xy),):
        raise LayerError(f"{len(xy)} positions for {bad.size} stones", where="stones")
    lost = np.flatnonzero(~np.isfinite(xy).all(axis=1))
    if lost.size:
        raise LayerError(f"{lost.size} stones have no position", where=f"stones[{lost[0]}]")
    return xy, bad.astype(np.bool_)
