"""Made-up days of crews for the routing benchmark: one site of rows and paths, a fixed seed, a fixed mix of work."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from shapely.geometry import LineString

from gravegis.science.routing.ground import Ground
from gravegis.science.routing.model import Break, Crew, Refill, Stop
from gravegis.science.routing.walking import WalkMatrix, walk_matrix

if TYPE_CHECKING:
    import numpy.typing as npt

__all__ = ["MIX", "SEED", "Day", "full_day", "made_up_day"]

SEED = 20261125
MIX = (
    "rows of stones 1.2 m apart on 386 m by 232 m, paths round and across, 4 crews of 450 min from one base; wetting 6 "
    "to 10, soak 5 to 15 (30 longer at most), scrubbing 10 to 20 min, classes 1 to 3 alike, drawn evenly"
)
WIDE_M, DEEP_M = 386.0, 232.0
SHIFT_FROM_S, SHIFT_MIN = 8 * 3600, 450


class Day(NamedTuple):
    """What a plan is made from."""

    stops: list[Stop]
    crews: list[Crew]
    walk: WalkMatrix
    refills: tuple[Refill, ...] = ()


def _ground() -> Ground:
    across = [LineString([(0, y), (WIDE_M, y)]) for y in np.linspace(0, DEEP_M, 5)]
    along = [LineString([(x, 0), (x, DEEP_M)]) for x in np.linspace(0, WIDE_M, 7)]
    return Ground(paths=[*across, *along])


def _places(stones_n: int, chance: np.random.Generator) -> npt.NDArray[np.float64]:
    """Return distinct places of stones in rows 2.7 m apart."""
    columns, rows = int(WIDE_M / 1.2), int(DEEP_M / 2.7)
    spots = chance.choice(columns * rows, stones_n, replace=False)
    return np.column_stack([spots % columns * 1.2 + 0.6, spots // columns * 2.7 + 1.35])


def made_up_day(stones_n: int, seed: int = SEED) -> Day:
    """Return a day without water, windows or breaks, to compare ways of planning."""
    chance = np.random.default_rng((seed, stones_n))
    xy = np.concatenate([[[WIDE_M / 2, 0.0]], _places(stones_n, chance)])
    stops = []
    for k in range(stones_n):
        wet, soak, scrub = (int(60 * chance.uniform(*span)) for span in ((6, 10), (5, 15), (10, 20)))
        rank = int(chance.integers(1, 4))
        stops.append(
            Stop(
                f"s{k:04d}", k + 1, wet + scrub, rank, apply_s=wet, soak_min_s=soak, soak_max_s=soak + 1800,
            )
        )  # fmt: skip
    until_s = SHIFT_FROM_S + 60 * SHIFT_MIN
    crews = [Crew(f"c{k}", 0, 0, SHIFT_FROM_S, until_s) for k in range(4)]
    return Day(stops, crews, walk_matrix(xy, _ground()))


def full_day(stones_n: int = 150, seed: int = SEED) -> Day:
    """Return a day under all rules: two skills, five taps, litres of the effort table, windows, a break at noon."""
    chance = np.random.default_rng((seed, stones_n, 1))
    taps = np.column_stack([chance.uniform(0, WIDE_M, 5), chance.uniform(0, DEEP_M, 5)])
    xy = np.concatenate([[[WIDE_M / 2, 0.0]], taps, _places(stones_n, chance)])
    stops = []
    for k in range(stones_n):
        small = chance.random() < 0.5
        wet, scrub = (int(60 * value) for value in ((3, 12) if small else (10, 25)))
        low, shut = chance.uniform(8, 12) * 3600, chance.random()
        windows = None if shut < 0.7 else ((SHIFT_FROM_S, low + 3600), (low + 10800, 17 * 3600))
        stops.append(
            Stop(
                f"s{k:04d}", k + 6, wet + scrub, int(chance.integers(1, 4)), "lead letters" if k % 6 == 0 else "",
                apply_s=wet, soak_min_s=300, soak_max_s=900, water_l=6.0 if small else 25.0,
                cleaner_l=0.15 if small else 0.45, windows=windows, why="a zone runs",
            )
        )  # fmt: skip
    until_s = SHIFT_FROM_S + 60 * SHIFT_MIN
    skills = [frozenset({"lead letters"}) if k < 2 else frozenset[str]() for k in range(4)]
    rest = (Break(11.5 * 3600, 13 * 3600, 1800),)
    crews = [
        Crew(f"c{k}", 0, 0, SHIFT_FROM_S, until_s, skills[k], water_l=60, cleaner_l=8, breaks=rest) for k in range(4)
    ]
    refills = tuple(Refill(f"t{k}", k + 1, 240) for k in range(5))
    return Day(stops, crews, walk_matrix(xy, _ground()), refills)
