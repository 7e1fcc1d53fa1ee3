"""What needs no dry stones: sprayed face against lee face of the same stone, and stain edge against wet edge.

Both faces share material, age, shade and surveyor, so that none of these explains a difference between them. Faces
that are alike say nothing; of the unlike ones a coin would put half on the sprayed side (McNemar 1947, exact binomial
form; date from memory, unconfirmed). The odds ratio within stones is the ratio of the two kinds of unlike pairs, its
interval that of Clopper & Pearson on their share.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.stats import binomtest, t

from gravegis.errors import LayerError
from gravegis.science.condition.association import Estimate

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

__all__ = ["EdgeMatch", "PairResult", "compare_edges", "compare_faces"]


@dataclass(frozen=True, slots=True)
class PairResult:
    """Pairs of faces: the odds ratio within stones, and how many pairs there are of each kind.

    `sprayed_only` counts stones whose sprayed face alone is harmed, `lee_only` those whose lee face alone is.
    """

    odds: Estimate
    sprayed_only: int
    lee_only: int
    both: int
    neither: int

    @property
    def n(self) -> int:
        """Number of pairs, like and unlike."""
        return self.sprayed_only + self.lee_only + self.both + self.neither


@dataclass(frozen=True, slots=True)
class EdgeMatch:
    """Height of the stain edge less that of the wet edge, stone by stone. [m]

    `shift` is the mean difference with Student's interval; `spread_m` its standard deviation; `near_share` the share
    of stones on which both lie within the tolerance; `chance_near_share` that share when every stain edge is held
    against every wet edge, as if they belonged to other stones; `shuffled_p` how often dealing the wet edges out anew
    brings as many together.
    """

    shift: Estimate
    spread_m: float
    near_share: float
    chance_near_share: float
    shuffled_p: float
    n: int


def compare_faces(sprayed: ArrayLike, lee: ArrayLike) -> PairResult:
    """Compare the sprayed with the lee face of each stone.

    Parameters
    ----------
    sprayed, lee
        Whether that face of the stone is harmed, shape ``(stones,)``.

    Returns
    -------
    NaN without unlike pairs; the ratio is infinite where no lee face alone is harmed.

    Raises
    ------
    LayerError
        When there is not one lee face for each sprayed face.
    """
    one, other = np.asarray(sprayed, dtype=np.bool_).reshape(-1), np.asarray(lee, dtype=np.bool_).reshape(-1)
    if one.size != other.size:
        raise LayerError(f"{one.size} sprayed faces, {other.size} lee faces", remedy="Give one pair per stone.")
    counts = [int(flag.sum()) for flag in (one & ~other, ~one & other, one & other, ~one & ~other)]
    return PairResult(_ratio(counts[0], counts[1]), *counts)


def _ratio(for_it: int, against: int) -> Estimate:
    if for_it + against == 0:
        return Estimate(math.nan, math.nan, math.nan, math.nan)
    test = binomtest(for_it, for_it + against, 0.5)
    low, high = test.proportion_ci(0.95, method="exact")
    odds = [math.inf if share >= 1 else share / (1 - share) for share in (for_it / (for_it + against), low, high)]
    return Estimate(odds[0], odds[1], odds[2], float(test.pvalue))


def compare_edges(
    stain_m: ArrayLike, wet_m: ArrayLike, *, tolerance_m: float, rng: np.random.Generator, rounds_n: int = 999
) -> EdgeMatch:
    """Compare the height at which stains end with the height to which water reaches.

    Parameters
    ----------
    stain_m, wet_m
        Heights on the same stones; stones with a missing one are left out. [m]
    tolerance_m
        Edges at most this far apart count as near. [m]
    rng
        Source of chance for dealing out the wet edges anew.
    rounds_n
        How often that is done.

    Raises
    ------
    LayerError
        When there is not one wet edge for each stain edge.
    """
    stain, wet = np.asarray(stain_m, dtype=np.float64).reshape(-1), np.asarray(wet_m, dtype=np.float64).reshape(-1)
    if stain.size != wet.size:
        raise LayerError(f"{stain.size} stain edges, {wet.size} wet edges", remedy="Give both for each stone.")
    known = np.isfinite(stain) & np.isfinite(wet)
    stain, wet = stain[known], wet[known]
    n = stain.size
    nothing = Estimate(math.nan, math.nan, math.nan, math.nan)
    if n < 3:
        return EdgeMatch(nothing, math.nan, math.nan, math.nan, math.nan, n)
    gap = stain - wet
    near = float((np.abs(gap) <= tolerance_m).mean())
    dealt = np.array([(np.abs(stain - rng.permutation(wet)) <= tolerance_m).mean() for _ in range(rounds_n)])
    p = (1 + int((dealt >= near - 1e-12).sum())) / (rounds_n + 1)
    chance = float((np.abs(stain[:, None] - wet[None]) <= tolerance_m).mean())
    return EdgeMatch(_mean(gap), float(gap.std(ddof=1)), near, chance, p, n)


def _mean(gap: np.ndarray[tuple[int], np.dtype[np.float64]]) -> Estimate:
    middle, se = float(gap.mean()), float(gap.std(ddof=1)) / math.sqrt(gap.size)
    law = t(gap.size - 1)
    half = float(law.ppf(0.975)) * se
    p = float(2 * law.sf(abs(middle) / se)) if se > 0 else math.nan
    return Estimate(middle, middle - half, middle + half, p)
