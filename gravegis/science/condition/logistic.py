"""Harm on distance, dose and other columns: logistic regression with errors that know of heads, and within stones.

Stones under one head share its water, so they are not so many independent witnesses: the covariance is summed over
whole heads (Liang & Zeger 1986; Huber's sandwich), scaled by G/(G-1) (n-1)/(n-k) for G heads as is usual, and judged
by Student's t with G-1 degrees of freedom. With few heads even that is too narrow: `LEAST_HEADS`.

Within stones: faces of one stone are compared with each other only, so that material, age and shade of the stone
cancel (conditional likelihood; Breslow & Day 1980). Dates from memory, unconfirmed; figures equal statsmodels' (tests).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.stats import norm, t

from gravegis.errors import LayerError

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    Floats = NDArray[np.float64]

__all__ = ["LEAST_HEADS", "Conditional", "Logistic", "conditional_logistic", "logistic"]

LEAST_HEADS = 10
"""With fewer heads the interval is too narrow and it is said so: own rule; texts ask for 20 to 50."""

MOST_STEPS = 60
FAR = 30.0
"""A standardised coefficient beyond this is running off to infinity: the data are separated."""


@dataclass(frozen=True, slots=True)
class Logistic:
    """A fitted model; entry 0 is the intercept.

    `separated` is true where a column (or several) tells harmed from sound without error: then there is no finite
    estimate, and all figures are NaN. `groups_n` counts the clusters, 0 where each row stands for itself.
    """

    b: Floats
    se: Floats
    low: Floats
    high: Floats
    p: Floats
    loglik: float
    loglik_null: float
    n: int
    groups_n: int
    separated: bool


@dataclass(frozen=True, slots=True)
class Conditional:
    """One coefficient from within stones; `stones_n` counts those that say something."""

    b: float
    se: float
    low: float
    high: float
    p: float
    stones_n: int
    separated: bool


def logistic(harmed: ArrayLike, columns: ArrayLike, groups: ArrayLike | None = None) -> Logistic:
    """Fit harm on columns.

    Parameters
    ----------
    harmed
        Whether each stone is harmed, shape ``(stones,)``.
    columns
        What it is explained by, shape ``(stones, columns)``, without an intercept.
    groups
        Head of each stone, whole numbers; None takes each stone for an independent witness.

    Returns
    -------
    All NaN where nobody or everybody is harmed, where columns say the same as others, or where the data are separated.

    Raises
    ------
    LayerError
        When shapes differ or a value is not finite.
    """
    y, x = _checked(harmed, columns)
    n, k = x.shape
    ids = None if groups is None else np.unique(np.asarray(groups), return_inverse=True)[1].reshape(-1)
    groups_n = 0 if ids is None else int(ids.max(initial=-1)) + 1
    share = float(y.mean()) if n else math.nan
    if not n or share in (0.0, 1.0) or n <= k or np.linalg.matrix_rank(x) < k:
        return _nothing(k, n, groups_n, separated=False)
    null = n * (share * math.log(share) + (1 - share) * math.log1p(-share))
    # standardised: equal steps for metres and for years
    middle, scale = x.mean(axis=0), x.std(axis=0)
    middle[0], scale[0] = 0.0, 1.0
    z = (x - middle) / scale
    b, information = _newton(y, z)
    if b is None:
        return _nothing(k, n, groups_n, separated=True)
    fitted = z @ b
    covariance = np.linalg.inv(information)
    if ids is not None and groups_n > 1:
        scores = np.zeros((groups_n, k))
        np.add.at(scores, ids, z * (y - _expit(fitted))[:, None])
        small = groups_n / (groups_n - 1) * (n - 1) / (n - k)
        covariance = small * covariance @ (scores.T @ scores) @ covariance
    back = np.diag(1 / scale)
    back[0, 1:] = -(middle / scale)[1:]
    b, covariance = back @ b, back @ covariance @ back.T
    loglik = float((y * fitted - np.logaddexp(0.0, fitted)).sum())
    return _told(b, np.sqrt(np.diag(covariance)), loglik, null, n, groups_n)


def _checked(harmed: ArrayLike, columns: ArrayLike) -> tuple[Floats, Floats]:
    y = np.asarray(harmed, dtype=np.float64).reshape(-1)
    given = np.asarray(columns, dtype=np.float64)
    given = given[:, None] if given.ndim < 2 else given
    if len(given) != len(y):
        raise LayerError(f"{len(given)} rows of columns for {len(y)} stones")
    if not (np.isfinite(given).all() and np.isin(y, (0.0, 1.0)).all()):
        raise LayerError("a value is missing", remedy="Leave out stones of which something is not known.")
    return y, np.column_stack([np.ones(len(y)), given])


def _expit(value: Floats) -> Floats:
    return np.asarray(0.5 * (1 + np.tanh(0.5 * value)), dtype=np.float64)


def _newton(y: Floats, z: Floats) -> tuple[Floats | None, Floats]:
    """Return the coefficients and the information there; None where they run off to infinity."""
    b = np.zeros(z.shape[1])
    b[0] = math.log(y.mean() / (1 - y.mean()))
    information = np.eye(len(b))
    for _ in range(MOST_STEPS):
        chance = _expit(z @ b)
        information = (z * (chance * (1 - chance))[:, None]).T @ z
        if np.linalg.cond(information) > 1e13:
            return None, information
        step = np.linalg.solve(information, z.T @ (y - chance))
        b = b + step * min(1.0, 5.0 / max(float(np.abs(step).max()), 1e-300))
        if np.abs(b).max() > FAR:
            return None, information
        if np.abs(step).max() < 1e-11:
            break
    chance = _expit(z @ b)
    return b, (z * (chance * (1 - chance))[:, None]).T @ z


def _told(b: Floats, se: Floats, loglik: float, null: float, n: int, groups_n: int) -> Logistic:
    law = t(groups_n - 1) if groups_n > 1 else norm
    wide = float(law.ppf(0.975))
    p = np.asarray(2 * law.sf(np.abs(b / se)), dtype=np.float64)
    return Logistic(b, se, b - wide * se, b + wide * se, p, loglik, null, n, groups_n, separated=False)


def _nothing(k: int, n: int, groups_n: int, *, separated: bool) -> Logistic:
    none = np.full(k, np.nan)
    return Logistic(none, none, none, none, none, math.nan, math.nan, n, groups_n, separated)


def conditional_logistic(harmed: ArrayLike, dose: ArrayLike, stone: ArrayLike) -> Conditional:
    """Fit harm of a face on its dose among the faces of the same stone.

    Parameters
    ----------
    harmed
        Whether each face is harmed, shape ``(faces,)``.
    dose
        How much water it gets, any unit.
    stone
        Stone of each face, whole numbers. Only stones with harmed and sound faces of unlike dose say anything.

    Raises
    ------
    LayerError
        When shapes differ or a value is not finite.
    """
    y, x = _checked(harmed, dose)
    w = x[:, 1]
    ids = np.unique(np.asarray(stone), return_inverse=True)[1].reshape(-1)
    sets = [(w[ids == one], y[ids == one]) for one in range(int(ids.max(initial=-1)) + 1)]
    said = [
        (one, int(bad.sum()), float(one[bad == 1].sum()))
        for one, bad in sets
        if 0 < bad.sum() < len(bad) and np.ptp(one)
    ]
    if not said:
        return Conditional(math.nan, math.nan, math.nan, math.nan, math.nan, 0, separated=False)
    scale = float(np.concatenate([one - one.mean() for one, _, _ in said]).std())
    b, information = 0.0, 0.0
    for _ in range(MOST_STEPS):
        moments = [_moments(b * (one / scale), one / scale, n) for one, n, _ in said]
        score = sum(total / scale - mean for (_, _, total), (mean, _) in zip(said, moments, strict=True))
        information = sum(variance for _, variance in moments)
        if information < 1e-9 or abs(b) > FAR:
            return Conditional(math.nan, math.nan, math.nan, math.nan, math.nan, len(said), separated=True)
        step = max(-2.0, min(2.0, score / information))
        b += step
        if abs(step) < 1e-11:
            break
    b, se = b / scale, 1 / math.sqrt(information) / scale
    wide = float(norm.ppf(0.975)) * se
    return Conditional(b, se, b - wide, b + wide, float(2 * norm.sf(abs(b) / se)), len(said), separated=False)


def _moments(weight: Floats, x: Floats, harmed_n: int) -> tuple[float, float]:
    """Return mean and variance of the summed dose of `harmed_n` faces drawn with chances as exp(weight).

    The sums over all choices of faces are built face by face (elementary symmetric functions and their derivatives).
    """
    lifted = np.exp(weight - weight.max())
    total, first, second = (np.zeros(harmed_n + 1) for _ in range(3))
    total[0] = 1.0
    for one, dose in zip(lifted.tolist(), x.tolist(), strict=True):
        second[1:] = second[1:] + one * (second[:-1] + 2 * dose * first[:-1] + dose * dose * total[:-1])
        first[1:] = first[1:] + one * (first[:-1] + dose * total[:-1])
        total[1:] = total[1:] + one * total[:-1]
    mean = first[-1] / total[-1]
    return float(mean), float(second[-1] / total[-1] - mean * mean)
