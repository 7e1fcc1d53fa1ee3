"""Minutes, water and cleaner for a stone, by size class and amount of soiling.

The figures are those of effort.csv: a trained pair, hands on, the soak not counted; common practice, no
source. Crews new to the work take longer (`pace`). Replace them with your own minutes as soon as you have any.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gravegis.errors import LayerError, SettingError
from gravegis.science.care.sizes import forms
from gravegis.science.care.treatment import LOOK_FIRST
from gravegis.science.condition.reasons import reason
from gravegis.science.condition.tables import rows

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import ArrayLike, NDArray

    from gravegis.science.care.history import Actual
    from gravegis.science.care.sizes import Sizes
    from gravegis.science.care.treatment import Care
    from gravegis.science.care.ways import Ways
    from gravegis.science.condition.reasons import Reason

__all__ = [
    "INSPECTION_MIN", "SIZE_CLASSES", "SOILING_CLASSES", "Effort", "effort", "kind_of_work", "size_class",
    "soiling_class",
]  # fmt: skip

INSPECTION_MIN = 5.0
"""Minutes to look at a stone and record its harm, with pictures: common practice, no source."""

LEADER_CHECK_MIN = 2.0
"""Minutes for the leader's look at how a stone stands: common practice, no source."""

SIZE_CLASSES = ("small", "tablet", "large")
SOILING_CLASSES = ("light", "moderate", "heavy")

SMALL_BELOW_M2 = 0.3
"""Upper end of the small class as effort.csv has it: common practice, no source."""

LARGE_FROM_M2 = (1.2 * 4.0) ** 0.5
"""Halfway, as a ratio, between the areas of a tablet and a large stone in effort.csv: own rule."""

ASSUMED_SIZE = "tablet"
ASSUMED_SOILING = "moderate"


@dataclass(frozen=True, slots=True)
class Effort:
    """One entry per stone; all zero where no crew works. [min, l]

    `size_basis` is ``measured``, ``form`` (partly or wholly from usual sizes) or ``assumed``.
    """

    work_min: NDArray[np.float64]
    water_l: NDArray[np.float64]
    cleaner_l: NDArray[np.float64]
    size_class: NDArray[np.str_]
    size_basis: NDArray[np.str_]
    soiling_class: NDArray[np.str_]
    reasons: tuple[tuple[Reason, ...], ...]


def size_class(sizes: Sizes) -> tuple[NDArray[np.str_], NDArray[np.str_]]:
    """Return the size class of each stone and what it rests on.

    By surface; a flush marker is always small. Where neither sizes nor form are known the stone counts as a
    tablet, the usual stone: common practice, no source.
    """
    area = sizes.area_m2
    by_area = np.select(
        [np.isnan(area), area < SMALL_BELOW_M2, area >= LARGE_FROM_M2], [ASSUMED_SIZE, "small", "large"], "tablet"
    )
    always = np.array([forms().look_up(form, "always_size_class") for form in sizes.form.tolist()], dtype=np.str_)
    of_size = np.where(always != "", always, by_area)
    basis = np.select([np.isnan(area) & (always == ""), sizes.assumed], ["assumed", "form"], "measured")
    return of_size.astype(np.str_), basis.astype(np.str_)


def soiling_class(severity: ArrayLike) -> NDArray[np.str_]:
    """Return light, moderate or heavy for severities 1, 2, 3; moderate where it is not known (-1 or 0)."""
    grade = np.asarray(severity, dtype=np.int64).reshape(-1)
    return np.select([grade == 1, grade == 3], ["light", "heavy"], ASSUMED_SOILING).astype(np.str_)


def effort(
    care: Care,
    sizes: Sizes,
    *,
    pace: float = 1.0,
    inspection_min: float = INSPECTION_MIN,
    leader_checks: ArrayLike | None = None,
    leader_check_min: float = LEADER_CHECK_MIN,
    ways: Ways | None = None,
    actual: Mapping[str, Actual] | None = None,
    water_factor: float = 1.0,
    cleaner_factor: float = 1.0,
) -> Effort:
    """Return the work each stone takes.

    Parameters
    ----------
    care, sizes
        Treatment and sizes of the stones.
    pace
        Minutes against a trained pair: 1 trained; people new to it 1.5 to 2 (common practice, no source).
    inspection_min
        Minutes for a stone that is only looked at. [min]
    leader_checks
        Stones the leader checks first; these take `leader_check_min` more where a crew works.
    ways
        In which way each is cleaned; its factors change minutes, water and cleaner.
    actual
        Minutes that work really took, by `kind_of_work`; they take the place of the table and of `pace`.
    water_factor, cleaner_factor
        Litres against the table.

    Raises
    ------
    SettingError
        When `pace` or a number of minutes makes no sense.
    LayerError
        When lengths differ.
    """
    _check(care, sizes, pace, inspection_min, leader_check_min)
    of_size, basis = size_class(sizes)
    soiling = soiling_class(care.severity)
    cleans = care.method != ""
    looks = care.treatment == LOOK_FIRST
    per_stone = [_amounts()[one, much] for one, much in zip(of_size.tolist(), soiling.tolist(), strict=True)]
    minutes, water, cleaner = np.array(per_stone, dtype=np.float64).reshape(-1, 3).T
    checks = np.zeros(cleans.size, dtype=np.bool_) if leader_checks is None else np.asarray(leader_checks, np.bool_)
    faster, wetter, more = (1.0, 1.0, 1.0) if ways is None else ways.factors()
    kinds = kind_of_work(of_size, soiling, None if ways is None else ways.way)
    own = [(actual or {}).get(kind) for kind in kinds]
    hands_on = np.where(
        [one is not None for one in own],
        [0.0 if one is None else one.median_min for one in own],
        minutes * pace * faster,
    )
    work = np.select([cleans, looks], [hands_on, np.full(cleans.size, inspection_min)], 0.0)
    with_cleaner = care.method == "quaternary-ammonium cleaner"
    return Effort(
        work_min=work + np.where(checks & (cleans | looks), leader_check_min, 0.0),
        water_l=np.where(cleans, water * wetter * water_factor, 0.0),
        cleaner_l=np.where(with_cleaner, cleaner * more * cleaner_factor, 0.0),
        size_class=of_size,
        size_basis=basis,
        soiling_class=soiling,
        reasons=tuple(
            (*_reasons(stone, care, sizes, (of_size, basis, soiling)), *_own_minutes(own[stone]))
            if cleans[stone]
            else ()
            for stone in range(cleans.size)
        ),
    )


def kind_of_work(
    of_size: NDArray[np.str_], soiling: NDArray[np.str_], way: NDArray[np.str_] | None = None
) -> tuple[str, ...]:
    """Return the name each stone's work goes by when minutes are compared: size, soiling and way of working."""
    way = np.full(of_size.size, "", dtype=np.str_) if way is None else way
    return tuple(
        ", ".join(filter(None, parts)) for parts in zip(of_size.tolist(), soiling.tolist(), way.tolist(), strict=True)
    )


def _own_minutes(own: Actual | None) -> tuple[Reason, ...]:
    if own is None:
        return ()
    figures = {"median_min": own.median_min, "low_min": own.low_min, "high_min": own.high_min}
    return (reason("own_minutes", n=own.n, **{name: round(value, 1) for name, value in figures.items()}),)


def _check(care: Care, sizes: Sizes, pace: float, inspection_min: float, leader_check_min: float) -> None:
    if care.treatment.size != sizes.height_m.size:
        raise LayerError(f"{care.treatment.size} treatments for {sizes.height_m.size} stones", where="stones")
    if not (np.isfinite(pace) and pace > 0):
        raise SettingError(f"pace is {pace:g}", remedy="Give a figure above 0, such as 1.5.")
    for name, minutes in (("inspection_min", inspection_min), ("leader_check_min", leader_check_min)):
        if not (np.isfinite(minutes) and minutes >= 0):
            raise SettingError(f"{name} is {minutes:g}", remedy="Give 0 minutes or more.")


def _amounts() -> Mapping[tuple[str, str], tuple[float, float, float]]:
    """Minutes, litres of water, litres of cleaner per size and soiling; moderate amounts are halfway."""
    made: dict[tuple[str, str], tuple[float, float, float]] = {}
    for row in rows("effort"):
        for soiling in SOILING_CLASSES:
            made[row["size_class"], soiling] = (
                float(row[f"work_min_{soiling}"]),
                _between(row, "water_l", soiling),
                _between(row, "cleaner_l", soiling),
            )
    return made


def _between(row: Mapping[str, str], what: str, soiling: str) -> float:
    share = SOILING_CLASSES.index(soiling) / (len(SOILING_CLASSES) - 1)
    return (1 - share) * float(row[f"{what}_light"]) + share * float(row[f"{what}_heavy"])


def _reasons(
    stone: int, care: Care, sizes: Sizes, classes: tuple[NDArray[np.str_], NDArray[np.str_], NDArray[np.str_]]
) -> tuple[Reason, ...]:
    of_size, basis, soiling = (str(column[stone]) for column in classes)
    area = round(float(sizes.area_m2[stone]), 2)
    size = {
        "measured": reason("size_measured", size_class=of_size, area_m2=area),
        "form": reason("size_from_form", size_class=of_size, area_m2=area, form=str(sizes.form[stone])),
        "assumed": reason("size_assumed", size_class=of_size),
    }[basis]
    severity = int(care.severity[stone])
    if severity < 1:
        return size, reason("soiling_assumed", soiling=soiling)
    return size, reason("soiling_class", soiling=soiling, severity=severity)
