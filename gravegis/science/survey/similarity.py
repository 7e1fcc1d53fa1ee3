"""A local grid laid on a map grid: shift, turn and one scale, from points known on both.

The fit is the least-squares similarity in two dimensions in its complex form, w = a z + b, a and b complex
(closed form of linear least squares; the four-parameter or Helmert transformation of surveying).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

__all__ = ["Similarity", "fit_similarity"]


@dataclass(frozen=True, slots=True)
class Similarity:
    """How a local grid lies on a map grid, with what is left over at each control point.

    Attributes
    ----------
    scale
        Map metres per local unit.
    turn_deg
        How far the local grid is turned on the map, clockwise. [deg]
    residual_m
        Map place of each control point minus its local place carried over, shape ``(n, 2)``. [m]
    error_m
        Standard error of one carried coordinate, NaN with two points: they leave nothing to check. [m]
    mirrored_error_m
        The same where the local grid is mirrored (its axes counted the other way round). [m]
    """

    scale: float
    turn_deg: float
    residual_m: NDArray[np.float64]
    error_m: float
    mirrored_error_m: float
    _factor: complex
    _shift: complex
    _middle: complex

    def carry(self, local: ArrayLike) -> NDArray[np.float64]:
        """Return local places on the map grid, shape ``(n, 2)``. [m]."""
        moved = self._factor * (_complex(local) - self._middle) + self._shift
        return np.column_stack([moved.real, moved.imag])


def fit_similarity(local: ArrayLike, placed_m: ArrayLike) -> Similarity:
    """Return the similarity that carries local places onto their map places with the least squares left over.

    Parameters
    ----------
    local
        Control points in the local grid, shape ``(n, 2)``, n at least 2, in any one unit.
    placed_m
        The same points on the map grid, shape ``(n, 2)``. [m]

    Raises
    ------
    ValueError
        With fewer than two points, unequal numbers, values that are not finite, or all points at one place.
    """
    here, there = _complex(local), _complex(placed_m)
    if len(here) != len(there):
        raise ValueError(f"{len(here)} local places for {len(there)} map places")
    if len(here) < 2:
        raise ValueError("two control points are the least")
    if not (np.isfinite(here).all() and np.isfinite(there).all()):
        raise ValueError("a control point is not finite")
    middle, shift = here.mean(), there.mean()
    spread = float(np.sum(np.abs(here - middle) ** 2))
    if spread == 0 or np.all(there == there[0]):
        raise ValueError("the control points lie at one place")
    factor = complex(np.sum(np.conj(here - middle) * (there - shift)) / spread)
    left = there - shift - factor * (here - middle)
    mirror = complex(np.sum((here - middle) * (there - shift)) / spread)
    left_mirrored = there - shift - mirror * np.conj(here - middle)
    return Similarity(
        scale=abs(factor),
        turn_deg=float(-np.degrees(np.angle(factor))),
        residual_m=np.column_stack([left.real, left.imag]),
        error_m=_error_m(left),
        mirrored_error_m=_error_m(left_mirrored),
        _factor=factor,
        _shift=complex(shift),
        _middle=complex(middle),
    )


def _complex(places: ArrayLike) -> NDArray[np.complex128]:
    xy = np.asarray(places, dtype=np.float64).reshape(-1, 2)
    return np.asarray(xy[:, 0] + 1j * xy[:, 1])


def _error_m(left: NDArray[np.complex128]) -> float:
    """Return the standard error of one coordinate: 2 n observations, 4 unknowns."""
    free = 2 * len(left) - 4
    return float(np.sqrt(np.sum(np.abs(left) ** 2) / free)) if free > 0 else float("nan")
