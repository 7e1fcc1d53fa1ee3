"""Day lists for the routing tests."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pytest

from gravegis.science.routing.ground import Ground
from gravegis.science.routing.model import Crew, Stop
from gravegis.science.routing.walking import WalkMatrix, walk_matrix

if TYPE_CHECKING:
    from collections.abc import Callable

SHIFT_FROM_S = 8 * 3600


class Day(NamedTuple):
    """What `plan_day` is given."""

    stops: list[Stop]
    crews: list[Crew]
    walk: WalkMatrix


def day(stops_n: int, seed: int, crews_n: int = 2, shift_min: int = 450, side_m: float = 150) -> Day:
    """Two bases and random stops of 5 to 40 minutes; a fifth needs a skill that only the first crew has."""
    rng = np.random.default_rng(seed)
    xy = np.concatenate([[[0.0, 0.0], [side_m, 0.0]], rng.uniform(0, side_m, (stops_n, 2))])
    stops = [
        Stop(
            stop_id=f"s{k:03d}",
            place=k + 2,
            service_s=60 * int(rng.integers(5, 41)),
            priority=int(rng.integers(1, 4)),
            skill="lead letters" if rng.random() < 0.2 else "",
        )
        for k in range(stops_n)
    ]
    skills = [frozenset({"lead letters"} if k == 0 else ()) for k in range(crews_n)]
    until_s = SHIFT_FROM_S + 60 * shift_min
    crews = [Crew(f"c{k}", k % 2, 0, SHIFT_FROM_S, until_s, skills[k]) for k in range(crews_n)]
    return Day(stops, crews, walk_matrix(xy, Ground()))


@pytest.fixture(scope="session")
def random_day() -> Callable[..., Day]:
    """Maker of random days: (stops_n, seed, crews_n, shift_min, side_m)."""
    return day


@pytest.fixture(scope="session")
def straight_walk() -> Callable[[np.ndarray], WalkMatrix]:
    """Maker of matrices of straight lines at one second a metre."""

    def make(xy_m: np.ndarray) -> WalkMatrix:
        metres = np.hypot(*(xy_m[:, None] - xy_m).transpose(2, 0, 1))
        return WalkMatrix.from_times(metres, metres)

    return make
