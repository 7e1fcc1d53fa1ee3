"""A place by taped distances from places already known: plane geometry, no coordinates read by anyone.

Two tapes give two places, one on each side of the line between the known points; the side, or a third tape, says
which. With three or more the place is the least-squares one (Gauss-Newton on the plain distances).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

__all__ = ["TAPE_M", "Taped", "place_by_tapes"]

TAPE_M = 0.1
"""Standard error of one taped distance: common practice, no source. [m]"""

_SLACK = 3.0  # tapes may miss each other by three times their standard error before they are said not to meet
_STEPS = 50
_DONE_M = 1e-9
_ONE_M = 1e-3  # two places nearer than a tape can tell apart are one: own choice
_FLAT = 0.1  # with the known points and the place nearly in line, the place slides along: sine of the angle between


@dataclass(frozen=True, slots=True)
class Taped:
    """One or two places that fit the tapes.

    Attributes
    ----------
    places_m
        Shape ``(1, 2)``, or ``(2, 2)`` where nothing tells which side: left of the way from the first known point
        to the second, then right. [m]
    left_over_m
        Taped minus reckoned distance of each tape at the first of the places. [m]
    error_m
        Standard error of the place, each axis, from that of the tapes and of the known points. [m]
    """

    places_m: NDArray[np.float64]
    left_over_m: NDArray[np.float64]
    error_m: float


def place_by_tapes(
    known_m: ArrayLike, distance_m: ArrayLike, *, side: str = "", known_error_m: float = 0.0, tape_m: float = TAPE_M
) -> Taped:
    """Return where tapes from known places meet.

    Parameters
    ----------
    known_m
        Known places, shape ``(n, 2)``, n at least 2. [m]
    distance_m
        Taped distance from each, at least 0. [m]
    side
        ``left`` or ``right`` of the way from the first known place to the second; empty: not said.
    known_error_m
        Standard error of the known places, each axis. [m]
    tape_m
        Standard error of one taped distance. [m]

    Raises
    ------
    ValueError
        In words for the person with the tape: too few tapes, one known place twice, tapes that do not meet (by how
        much), a side that is neither left nor right.
    """
    known, taped = np.asarray(known_m, dtype=np.float64).reshape(-1, 2), np.asarray(distance_m, dtype=np.float64)
    if len(known) < 2 or len(known) != len(taped):
        raise ValueError("two taped distances are the least")
    if not (np.isfinite(known).all() and np.isfinite(taped).all() and (taped >= 0).all()):
        raise ValueError("a distance or a known place is missing")
    if side not in ("", "left", "right"):
        raise ValueError(f"the side '{side}' is neither left nor right")
    both = _two_sides(known, taped, slack_m=_SLACK * float(np.hypot(tape_m, known_error_m)))
    if len(known) > 2:
        fits = [_settle(start, known, taped) for start in both]
        misses = [float(np.sum((_reach(one, known) - taped) ** 2)) for one in fits]
        places = np.array([fits[int(np.argmin(misses))]])
    elif side:
        places = both[:1] if side == "left" else both[1:]
    else:
        places = both[:1] if np.hypot(*(both[0] - both[1])) < _ONE_M else both
    left_over = taped - _reach(places[0], known)
    if np.abs(left_over).max() > _SLACK * np.hypot(tape_m, known_error_m):
        raise ValueError(f"the tapes do not meet: they miss by {np.abs(left_over).max():.2f} m")
    return Taped(places, left_over, _error_m(places[0], known, known_error_m=known_error_m, tape_m=tape_m))


def _reach(place: NDArray[np.float64], known: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(np.hypot(*(place - known).T))


def _two_sides(known: NDArray[np.float64], taped: NDArray[np.float64], *, slack_m: float) -> NDArray[np.float64]:
    """Return where the first two circles meet, left then right of the way from the first centre to the second."""
    way = known[1] - known[0]
    apart_m = float(np.hypot(*way))
    if apart_m == 0:
        raise ValueError("both distances are taped from one place")
    one, two = float(taped[0]), float(taped[1])
    gap_m = max(apart_m - one - two, abs(one - two) - apart_m)
    if gap_m > slack_m:
        raise ValueError(
            f"the tapes do not meet: {gap_m:.2f} m are lacking (the known places are {apart_m:.2f} m apart)"
        )
    along_m = (one**2 - two**2 + apart_m**2) / (2 * apart_m)
    across_m = np.sqrt(max(one**2 - along_m**2, 0.0))
    unit = way / apart_m
    foot = known[0] + along_m * unit
    left = np.array([-unit[1], unit[0]])
    return np.array([foot + across_m * left, foot - across_m * left])


def _settle(place: NDArray[np.float64], known: NDArray[np.float64], taped: NDArray[np.float64]) -> NDArray[np.float64]:
    for _ in range(_STEPS):
        reach = np.maximum(_reach(place, known), _DONE_M)
        step, *_rest = np.linalg.lstsq((place - known) / reach[:, None], taped - reach, rcond=None)
        place = place + step
        if np.hypot(*step) < _DONE_M:
            break
    return place


def _error_m(place: NDArray[np.float64], known: NDArray[np.float64], *, known_error_m: float, tape_m: float) -> float:
    """Return the standard error of the place: the covariance of least squares, mean of both axes."""
    reach = np.maximum(_reach(place, known), _DONE_M)
    rows = (place - known) / reach[:, None]
    _, size, _ = np.linalg.svd(rows)
    each_m = float(np.hypot(tape_m, known_error_m))
    weak = max(float(size[-1]), _FLAT)
    return each_m * float(np.sqrt((1 / float(size[0]) ** 2 + 1 / weak**2) / 2))
