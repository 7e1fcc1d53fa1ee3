"""How evenly water falls, from cans set out on the ground or from cells of a raster.

Every measure takes depths or rates of one unit, shape ``(cans,)``, and gives per cent, except the scheduling
coefficient. Where the low quarter of n cans is no whole number, `QUARTERS` says how n/4 is rounded: it changes the
result (15 cans: 40.1 against 49.6 % in one test), so the convention is kept with it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

Floats = npt.NDArray[np.float64]


def _nearest(share: float) -> int:
    return math.floor(share + 0.5)


QUARTERS: Mapping[str, Callable[[float], int]] = {"nearest": _nearest, "down": math.floor, "up": math.ceil}
"""How many cans are the lowest quarter (or half) when n/4 is no whole number; at least one. Own choice of default:
nearest, which is what the 15 cans of Merriam and Keller 1978 are worked with (the 4 lowest)."""


@dataclass(frozen=True, slots=True)
class Uniformity:
    """Measures of one set of cans, with the convention they were worked out with. [%]

    ``cu`` may be negative; ``sc`` has no unit and is infinite where the driest can is empty.
    """

    cans_n: int
    mean: float
    cu: float
    du_lq: float
    du_lh: float
    sc: float
    quarter: str


def uniformity(catch: npt.ArrayLike, *, quarter: str = "nearest") -> Uniformity:
    """All measures of one set; raises ValueError without cans, for negative catches or an unknown convention."""
    depth = _cans(catch)
    mean = float(depth.mean())
    least = float(depth.min())
    return Uniformity(
        len(depth), mean, christiansen(depth), low_share(depth, 1 / 4, quarter=quarter),
        low_share(depth, 1 / 2, quarter=quarter), mean / least if least > 0 else math.inf, quarter,
    )  # fmt: skip


def christiansen(catch: npt.ArrayLike, weight: npt.ArrayLike = 1.0) -> float:
    """Coefficient 100 (1 - sum |x - m| / sum x). [%] (Christiansen 1942, California AES Bulletin 670).

    With ``weight``, the distance of each can from the head, for cans in one line from it: each stands for a ring as
    long as its distance, so the weighted form of Heermann and Hein, 100 (1 - sum |x r - m r| / sum x r) with
    m = sum x r / sum r, is used (form as in the public workbook of catch-can tests, DOI 10.5281/zenodo.18495332).
    NaN where nothing was caught.
    """
    depth = _cans(catch)
    stands_for = np.broadcast_to(np.asarray(weight, np.float64), depth.shape)
    if not (np.isfinite(stands_for) & (stands_for > 0)).all():
        raise ValueError("Weights must be above 0.")
    total = float((depth * stands_for).sum())
    if total == 0:
        return math.nan
    mean = total / float(stands_for.sum())
    return 100.0 * (1.0 - float(np.abs(depth * stands_for - mean * stands_for).sum()) / total)


def low_share(catch: npt.ArrayLike, share: float, *, quarter: str = "nearest") -> float:
    """Mean of the lowest share of the cans (1/4: low quarter, 1/2: low half) over the mean of all. [%]

    NaN where nothing was caught.
    """
    depth = np.sort(_cans(catch))
    if quarter not in QUARTERS:
        raise ValueError(f"Convention {quarter!r} is none of {', '.join(QUARTERS)}.")
    lowest = max(1, QUARTERS[quarter](len(depth) * share))
    mean = float(depth.mean())
    return 100.0 * float(depth[:lowest].mean()) / mean if mean > 0 else math.nan


def driest_window_sc(rate: Floats, wanted: npt.NDArray[np.bool_], share: float = 0.05) -> float:
    """Scheduling coefficient: mean rate over the mean of the driest square window of about this share of the area.

    ``rate`` and ``wanted`` are a raster and the cells that should be watered, ``(ny, nx)``; a window counts where all
    of its cells are wanted. Point form, mean over minimum, where no window fits. Common practice: 1, 2 or 5 %.
    """
    if not wanted.any():
        return math.nan
    mean = float(rate[wanted].mean())
    side = max(1, round(math.sqrt(share * float(wanted.sum()))))
    while side > 1:
        sums, cells = (_window_sums(part, side) for part in (np.where(wanted, rate, 0.0), wanted.astype(np.float64)))
        whole = cells == side * side
        if whole.any():
            least = float(sums[whole].min()) / side**2
            return mean / least if least > 0 else math.inf
        side -= 1
    least = float(rate[wanted].min())
    return mean / least if least > 0 else math.inf


def _window_sums(values: Floats, side: int) -> Floats:
    """Return the sums of all square windows, from running sums."""
    ny, nx = values.shape
    if side > min(ny, nx):
        return np.zeros((0, 0))
    run = np.zeros((ny + 1, nx + 1))
    run[1:, 1:] = values.cumsum(axis=0).cumsum(axis=1)
    return run[side:, side:] - run[:-side, side:] - run[side:, :-side] + run[:-side, :-side]


def potential_low_quarter(catch: npt.ArrayLike, applied: float, *, quarter: str = "nearest") -> float:
    """Low quarter caught over what was sent out, 100 LQ / applied. [%] (PELQ, Merriam and Keller 1978)."""
    return low_share(catch, 1 / 4, quarter=quarter) * float(_cans(catch).mean()) / applied


@dataclass(frozen=True, slots=True)
class Comparison:
    """How well a model meets cans: mean error, root of the mean square error (unit of the cans), ratio of the means."""

    cans_n: int
    bias: float
    rms: float
    ratio: float


def compare(measured: npt.ArrayLike, modelled: npt.ArrayLike) -> Comparison:
    """Compare cans with a model of the same cans."""
    seen, made = _cans(measured), _cans(modelled)
    if seen.shape != made.shape:
        raise ValueError(f"{len(seen)} cans and {len(made)} model values.")
    error = made - seen
    mean = float(seen.mean())
    ratio = float(made.mean()) / mean if mean > 0 else math.nan
    return Comparison(len(seen), float(error.mean()), float(np.sqrt((error**2).mean())), ratio)


def _cans(catch: npt.ArrayLike) -> Floats:
    depth = np.asarray(catch, np.float64).ravel()
    if not len(depth) or not (np.isfinite(depth) & (depth >= 0)).all():
        raise ValueError("Expected one or more cans, each 0 or more.")
    return depth
