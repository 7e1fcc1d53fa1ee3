"""How sure a wet or dry answer is under errors of position, throw and bearing, and where to go and look.

Errors are standard errors, of a position on each axis. All is worked out in closed form or by fixed quadrature: no
chance enters.
"""

from __future__ import annotations

from enum import IntEnum
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
import shapely
from scipy.special import erf

if TYPE_CHECKING:
    from gravegis.science.irrigation.throw import Throws

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]
Ints = npt.NDArray[np.int64]

SURE_SIGMAS = 1.8
"""An answer is uncertain while its margin is within this many standard errors. Own choice: of the stones whose answer
truly changes under normal errors at one edge it leaves 3.6 % uncalled (closed form, tested)."""
FOOT_M = 0.5
"""Ground watered within this distance wets the foot of a stone. [m] Common practice, no source."""
FRINGE_M = 1.0
"""Drift is expected within this distance of a throw. [m] Common practice, no source."""
LOOK_SIGMAS = 2.2
"""A struck stone lies this many standard errors or less beyond the strike distance in 91 of 100 cases (closed form)."""
STRUCK_LIMIT = 0.5
"""Errors beyond this share of the strike distance leave no single stone that could be called struck."""
NAMED_CHANCE = 0.6
"""A stone is called struck from this probability on, or where every margin is `SURE_SIGMAS` standard errors wide. Own
choice: what is named should be right far more often than not, also where errors are large."""
_BEARINGS_N = 96


class State(IntEnum):
    """What is said of a stone; the order has no meaning."""

    DRY = 0
    FRINGE = 1
    FOOT_WETTED = 2
    UNCERTAIN = 3
    RAINED_ON = 4
    STRUCK = 5


def margin_error_m(
    distance_m: Floats, stone_error_m: npt.ArrayLike, head_error_m: npt.ArrayLike, throw_error_m: npt.ArrayLike,
    bearing_error_deg: npt.ArrayLike = 0.0,
) -> Floats:  # fmt: skip
    """Return the standard error of the margin of each pair, shape ``(pairs,)``. [m]

    Errors are those of the rows of each pair; a bearing moves a stop by the distance times its error (give 0 for
    full circles and strips without a bearing). All are taken as independent.
    """
    swing = distance_m * np.radians(np.asarray(bearing_error_deg, np.float64))
    parts = (np.asarray(part, np.float64) for part in (stone_error_m, head_error_m, throw_error_m, swing))
    return np.sqrt(sum((part * part for part in parts), np.zeros_like(distance_m)))


def sureness(stone_i: Ints, margin_m: Floats, error_m: Floats, stones: int) -> Floats:
    """Largest margin of each stone in standard errors, shape ``(stones,)``; minus infinity without a pair.

    Above 0 for a reached stone, below for one missed; an error of 0 gives an infinite value of that sign. The pairs
    must hold the near misses too (`pairs.find_pairs` with ``touch_m`` of `SURE_SIGMAS` times the largest error).
    """
    exact = np.where(margin_m >= -1e-7, np.inf, -np.inf)
    ratio = np.divide(margin_m, error_m, out=exact, where=error_m > 0)
    best = np.full(stones, -np.inf)
    np.maximum.at(best, stone_i, ratio)
    return best


def states(
    sure: Floats, margin_m: Floats, struck: Flags, *, foot_m: float = FOOT_M, fringe_m: float = FRINGE_M
) -> npt.NDArray[np.int8]:
    """State of each stone, shape ``(stones,)``.

    ``sure`` is that of `sureness`, ``margin_m`` the largest margin of each stone (minus infinity without a pair),
    ``struck`` whether the stream strikes it for sure. Uncertain comes before all but struck; a stone missed by
    ``foot_m`` or less has wet ground at its foot, one missed by ``fringe_m`` or less may get drift.
    """
    gap_m = -margin_m
    chosen = np.select(
        [struck, np.abs(sure) < SURE_SIGMAS, sure >= 0, gap_m <= foot_m, gap_m <= fringe_m],
        [State.STRUCK, State.UNCERTAIN, State.RAINED_ON, State.FOOT_WETTED, State.FRINGE],
        State.DRY,
    )
    return chosen.astype(np.int8)


def can_name_struck(strike_m: Floats, error_m: Floats) -> Flags:
    """Whether errors are small enough for single stones to be called struck, pair by pair."""
    return error_m <= STRUCK_LIMIT * strike_m


def strike_is_sure(
    margin_m: Floats, margin_error_m: Floats, spare_m: Floats, place_error_m: Floats, chance: Floats
) -> Flags:
    """Whether a pair that meets as surveyed may be called struck, shape ``(pairs,)``.

    ``spare_m`` is how much nearer than the strike distance the stone stands; ``chance`` is of `strike_probability`.
    """
    wide = (margin_m >= SURE_SIGMAS * margin_error_m) & (spare_m >= SURE_SIGMAS * place_error_m)
    return wide | (chance >= NAMED_CHANCE)


def strike_probability(
    x_m: Floats, y_m: Floats, strike_m: Floats, error_m: Floats, *, from_deg: Floats, sweep_deg: Floats
) -> Floats:
    """Probability that the true place of a stone lies within the stream of its head, shape ``(pairs,)``, 0 to 1.

    ``x_m``, ``y_m`` are the middle of the stone as surveyed, seen from the head as surveyed; ``strike_m`` the strike
    distance plus half the depth of the stone towards the head; ``error_m`` the error of the one against the other on
    each axis, normal. Over the bearings of the turn by Gauss and Legendre, along each bearing in closed form. An
    error of 0 gives 0 or 1.
    """
    error = np.maximum(error_m, 1e-9 + 1e-6 * strike_m)
    far = np.hypot(x_m, y_m)
    toward = np.arctan2(x_m, y_m)
    half = np.radians(sweep_deg) / 2.0
    off = np.mod(toward - np.radians(from_deg) - half + np.pi, 2.0 * np.pi) - np.pi  # from the middle of the turn
    # bearings that matter: within nine standard errors as seen from the head
    window = np.where(far > 9.0 * error, np.arcsin(np.minimum(9.0 * error / np.maximum(far, 1e-300), 1.0)), np.pi)
    places, weights = np.polynomial.legendre.leggauss(_BEARINGS_N)
    total = np.zeros_like(far)
    for whole_turn in (-2.0 * np.pi, 0.0, 2.0 * np.pi):  # a turn may come round behind
        low = np.maximum(-half - off + whole_turn, -window)
        high = np.minimum(half - off + whole_turn, window)
        wide = np.maximum(high - low, 0.0)
        angle = low[:, None] + (places + 1.0) / 2.0 * wide[:, None]
        total += wide / 2.0 * (weights * _along(angle, far[:, None], strike_m[:, None], error[:, None])).sum(axis=1)
    return np.clip(total, 0.0, 1.0)


def _along(angle: Floats, far: Floats, strike: Floats, error: Floats) -> Floats:
    """Integral of the normal density from the head to the strike distance along a bearing off that of the stone."""
    ahead, aside = far * np.cos(angle), far * np.sin(angle)
    root = np.sqrt(2.0) * error
    ends = np.exp(-((ahead / root) ** 2)) - np.exp(-(((strike - ahead) / root) ** 2))
    between = erf((strike - ahead) / root) + erf(ahead / root)
    whole = ends + ahead / error * np.sqrt(np.pi / 2.0) * between
    return np.asarray(np.exp(-((aside / root) ** 2)) * whole / (2.0 * np.pi))


def look_lists(
    stones: npt.NDArray[np.object_], throws: Throws, strike_m: Floats, error_m: Floats
) -> tuple[Ints, Ints, Floats]:
    """Pairs of head and stone that may be a strike: nearer than strike distance plus `LOOK_SIGMAS` errors.

    ``stones`` are footprints, ``strike_m`` one a head (of the tallest stone), ``error_m`` the largest error of any
    stone against each head. Returns rows of head and stone, sorted by head, then stone, and the distance from the
    head to the footprint [m]. Heads of part turns are looked around too: bearings and places may both be off.
    """
    heads = np.asarray(shapely.points(throws.x_m, throws.y_m))
    within_m = strike_m + LOOK_SIGMAS * error_m
    head_i, stone_i = shapely.STRtree(stones).query(heads, predicate="dwithin", distance=within_m)
    order = np.lexsort((stone_i, head_i))
    head_i, stone_i = head_i[order], stone_i[order]
    return head_i, stone_i, np.asarray(shapely.distance(heads[head_i], stones[stone_i]))


def worth_a_look(distance_m: Floats, strike_m: Floats, error_m: Floats) -> Flags:
    """Whether a stone is near enough to its head to be on its list, by the strike distance of its own height."""
    return (strike_m > 0) & (distance_m <= strike_m + LOOK_SIGMAS * error_m)


def by_probability(head_i: Ints, stone_i: Ints, probability: Floats) -> Ints:
    """Order of the pairs by head, likeliest strike first, of equals the first stone."""
    return np.lexsort((stone_i, -probability, head_i))
