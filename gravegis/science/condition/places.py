"""Positions as the condition work takes them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gravegis.errors import LayerError

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

__all__ = ["positions"]


def positions(xy_m: ArrayLike) -> NDArray[np.float64]:
    """Return positions with shape ``(stones, 2)``, an empty input included; raises LayerError otherwise. [m]"""
    xy = np.asarray(xy_m, dtype=np.float64)
    if xy.size == 0:
        return np.empty((0, 2))
    if xy.ndim != 2 or xy.shape[1] != 2:
        raise LayerError(f"positions have shape {xy.shape}", where="stones", remedy="Give one x and one y per stone.")
    return xy
