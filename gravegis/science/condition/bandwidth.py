"""How wide the kernel of a share map should be: the width that best predicts each stone from the others.

Rules of thumb from the spread of positions (Scott, Silverman) measure the size of the site, not the size of a patch:
on an invented site with patches of 15 m they gave 23 m (own trial). They are refused.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.spatial import cKDTree

from gravegis.errors import SettingError
from gravegis.science.condition.places import flagged

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike, NDArray

    Floats = NDArray[np.float64]

__all__ = ["BANDWIDTHS_M", "REFUSED", "BandwidthChoice", "choose_bandwidth", "refuse_rule_of_thumb"]

BANDWIDTHS_M = (1.5, 2.0, 3.0, 4.0, 6.0, 9.0, 14.0, 20.0)
"""Bandwidths tried when none is given: own list, from one stone spacing to a block of stones. [m]"""

CUT_LEFT_OUT = 5.0
"""Neighbours beyond this many bandwidths are left out of the prediction of a stone."""

REFUSED = ("scott", "silverman")
"""Rules of thumb that are refused, with the reason."""


def refuse_rule_of_thumb(typed: str) -> None:
    """Raise SettingError where somebody asks for a rule of thumb by name."""
    if typed.strip().casefold().removesuffix("'s rule") in REFUSED:
        raise SettingError(
            f"'{typed}' is a rule from the spread of positions: it measures the size of the site, not of a patch "
            "(23 m for patches of 15 m in a trial)",
            remedy="Give a distance, or let the bandwidth be chosen by leaving stones out.",
        )


@dataclass(frozen=True, slots=True)
class BandwidthChoice:
    """The bandwidth that predicts left-out stones best.

    `loglik` holds the mean log-likelihood per stone of each candidate, `constant_loglik` that of one share
    for the whole ground. `gain_se` is the standard error of the difference between the best candidate and
    the constant. `beats_constant` is true when the gain is more than twice that error: own rule (on invented ground
    with harm by chance, 150 maps each of 100, 400 and 1,500 stones, it was never true; a gain above zero came up in
    29 to 47 % of them). Otherwise the map says no more than one figure for the whole ground would, and must say so.
    """

    bandwidth_m: float
    candidates_m: tuple[float, ...]
    loglik: tuple[float, ...]
    constant_loglik: float
    gain_se: float
    beats_constant: bool
    stones_tried_n: int


def choose_bandwidth(
    xy_m: ArrayLike,
    damaged: ArrayLike,
    candidates_m: Sequence[float | str] = BANDWIDTHS_M,
    *,
    most_tried: int = 4_000,
) -> BandwidthChoice:
    """Return the candidate that best predicts each stone from the others.

    A stone is predicted as the kernel share of its neighbours without itself; one without neighbours within
    five bandwidths is predicted by the share of all others. Predictions are held half a stone away from 0
    and 1 (1/2n to 1 - 1/2n: own rule), else a single surprise would count without limit. Of two equal
    candidates the wider is taken.

    Parameters
    ----------
    xy_m
        Positions of the stones that were looked at, shape ``(stones, 2)``. [m]
    damaged
        Whether each of them is damaged.
    candidates_m
        Bandwidths to try. [m]
    most_tried
        On larger sites this many stones, evenly taken from west to east, are left out in turn; all stones
        still serve as neighbours. Own limit, for time.

    Raises
    ------
    SettingError
        When there is no candidate, one is not above 0, or one is a rule of thumb.
    LayerError
        When shapes differ or a position is not finite.
    """
    for one in candidates_m:
        refuse_rule_of_thumb(str(one))
    widths = tuple(float(one) for one in candidates_m)
    if not widths or not all(math.isfinite(one) and one > 0 for one in widths) or most_tried < 1:
        raise SettingError(
            f"candidates_m {widths}, most_tried {most_tried}", remedy="Give one or more distances above 0 m."
        )
    xy, bad = flagged(xy_m, damaged)
    n = len(xy)
    if n < 2:
        none = (math.nan,) * len(widths)
        return BandwidthChoice(max(widths), widths, none, math.nan, math.nan, beats_constant=False, stones_tried_n=0)
    tried = np.lexsort((xy[:, 1], xy[:, 0]))[:: math.ceil(n / most_tried)]
    constant = (np.count_nonzero(bad) - bad[tried]) / (n - 1)
    score_constant = _log_likelihood(constant, bad[tried], n)
    tree = cKDTree(xy)
    scores = [_log_likelihood(_left_out_share(tree, bad, tried, width, constant), bad[tried], n) for width in widths]
    loglik = tuple(float(score.mean()) for score in scores)
    best = max(range(len(widths)), key=lambda at: (loglik[at], widths[at]))
    gain = scores[best] - score_constant
    gain_se = float(gain.std(ddof=1) / math.sqrt(gain.size)) if gain.size > 1 else math.nan
    return BandwidthChoice(
        bandwidth_m=widths[best],
        candidates_m=widths,
        loglik=loglik,
        constant_loglik=float(score_constant.mean()),
        gain_se=gain_se,
        beats_constant=bool(gain.mean() > 2 * gain_se),
        stones_tried_n=int(tried.size),
    )


def _log_likelihood(share: Floats, bad: NDArray[np.bool_], n: int) -> Floats:
    held = np.clip(share, 0.5 / n, 1 - 0.5 / n)
    return np.where(bad, np.log(held), np.log1p(-held))


def _left_out_share(
    tree: cKDTree,
    bad: NDArray[np.bool_],
    tried: NDArray[np.intp],
    bandwidth_m: float,
    otherwise: Floats,
) -> Floats:
    """Kernel share of the neighbours of each tried stone, itself left out."""
    xy = np.asarray(tree.data)
    share = otherwise.copy()
    step = _chunk(tree, tried, CUT_LEFT_OUT * bandwidth_m)
    for start in range(0, tried.size, step):
        some = tried[start : start + step]
        near = cKDTree(xy[some]).sparse_distance_matrix(tree, CUT_LEFT_OUT * bandwidth_m, output_type="coo_matrix")
        weight = np.exp(-0.5 * (near.data / bandwidth_m) ** 2)
        # distance 0 is kept by position, not by value: two stones may share a spot
        weight[some[near.row] == near.col] = 0.0
        total = np.bincount(near.row, weights=weight, minlength=some.size)
        harmed = np.bincount(near.row, weights=weight * bad[near.col], minlength=some.size)
        np.divide(harmed, total, out=share[start : start + step], where=total > 0)
    return share


def _chunk(tree: cKDTree, tried: NDArray[np.intp], reach_m: float) -> int:
    """How many stones to take at once so that about two million neighbours are held."""
    sample = np.asarray(tree.data)[tried[:: max(1, tried.size // 200)]]
    most = int(tree.query_ball_point(sample, reach_m, return_length=True).max(initial=1))
    return max(1, 2_000_000 // most)
