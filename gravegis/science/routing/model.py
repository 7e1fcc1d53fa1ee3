"""The day on paper: stops, crews, and who is where when. Times are seconds since midnight."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from collections.abc import Iterable

    import numpy as np
    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

__all__ = [
    "Break",
    "BrokenPlanError",
    "Crew",
    "CrewDay",
    "DayPlan",
    "LedRules",
    "Op",
    "Post",
    "Provenance",
    "Reason",
    "Refill",
    "Spares",
    "Stop",
    "Unplanned",
    "Visit",
    "WalkTable",
    "priority_points",
]

# One stop of a class outweighs forty-nine of the class below. Measured on the sample day: with 10, twelve looks of
# five minutes outweighed one urgent stone of an hour and 8 of 33 urgent stones stayed behind, with 50 five; with 100
# the search, whose prizes then near the limit of the solver, missed the best plan of six stops.
PRIORITY_BASE = 50


class BrokenPlanError(RuntimeError):
    """A plan of ours broke a rule when it was checked: a fault of the program, not of the input."""


class WalkTable(Protocol):
    """Walking seconds and metres between all places, shape (n, n); inf where one cannot walk."""

    @property
    def seconds(self) -> NDArray[np.float64]:
        """Walking time. [s]"""

    @property
    def metres(self) -> NDArray[np.float64]:
        """Length of the quickest way. [m]"""


class Reason(Enum):
    """Why a stop is not in the plan, in words."""

    NO_CREW = "no crew is out"
    NO_CREW_WITH_SKILL = "no crew out has the skill"
    UNREACHABLE = "no way on foot from any base"
    JOB_LONGER_THAN_SHIFT = "the work and the walk are longer than the shift"
    NEEDS_MORE_WATER_THAN_CARRIED = "needs more water than a crew carries"
    NEEDS_MORE_CLEANER_THAN_CARRIED = "needs more cleaner than a crew carries"
    WINDOW_TOO_SHORT = "the time it may be worked on is shorter than the work"
    WINDOW_OUTSIDE_SHIFT = "nobody is out in the time it may be worked on"
    NO_REFILL = "the cans are empty and no water fit for rinsing is in reach"
    NO_CLEANER_LEFT = "the cleaner is used up and no more of it is kept in reach"
    NO_TIME_LEFT = "no time left; carried over"
    OUT_OF_SIGHT = "out of sight of the leader's post"
    TOO_FEW_TRAINED = "too few trained people for the novices"


@dataclass(frozen=True, slots=True)
class Stop:
    """One stone or place of work; ``priority`` is 1 (lowest) to 3 (highest), ``skill`` "" for none.

    With a soak the work comes in two parts: ``apply_s`` of it first, the rest (scrub and rinse) after the soak, no
    sooner than ``soak_min_s`` and begun no later than ``soak_max_s`` after the first part. The soak costs nobody's
    time. The cans must hold the cleaner and the water but for ``rinse_l`` when the first part begins, and ``rinse_l``
    when the second does: between them they may be filled up.
    """

    stop_id: str
    place: int
    """Row of the place in the walking matrix."""
    service_s: float
    """Working time at the stop, hands on, 0 or more. [s]"""
    priority: int = 1
    skill: str = ""
    apply_s: float = 0.0
    """Part of the working time before the soak; 0 to ``service_s``. [s]"""
    soak_min_s: float = 0.0
    soak_max_s: float = 0.0
    """Longest soak: beyond it the film dries on the stone. 0 means no soak. [s]"""
    water_l: float = 0.0
    rinse_l: float = 0.0
    """Part of the water that is needed only after the soak. [l]"""
    cleaner_l: float = 0.0
    windows: tuple[tuple[float, float], ...] | None = None
    """Times of the day in one of which the whole work lies, soak and all; None for any time. [s]"""
    why: str = ""
    """What shuts it at other times, in words."""

    @property
    def carry_l(self) -> float:
        """Return the most water that must be in the cans at a time. [l]"""
        return max(self.water_l - self.rinse_l, self.rinse_l) if self.soaks else self.water_l

    @property
    def soaks(self) -> bool:
        """Return True where the work is parted by a soak."""
        return self.soak_max_s > 0


@dataclass(frozen=True, slots=True)
class Break:
    """A rest that begins in a span of time, where the crew stands; due unless it is back by ``latest_s``."""

    from_s: float
    latest_s: float
    length_s: float


@dataclass(frozen=True, slots=True)
class Refill:
    """A place where cans are filled up: a tap or a base with a tank; ``cleaner`` where cleaner is kept too."""

    refill_id: str
    place: int
    service_s: float
    water: bool = True
    cleaner: bool = False


@dataclass(frozen=True, slots=True)
class Crew:
    """People who walk and work together: one stop at a time, from one base to the same or another."""

    crew_id: str
    start_place: int
    end_place: int
    shift_from_s: float
    shift_to_s: float
    skills: frozenset[str] = frozenset()
    pace_factor: float = 1.0
    """Walking time against that of the matrix; 1.2 takes a fifth longer. Work is not changed."""
    work_factor: float = 1.0
    """Working time against that of the stop; 1.75 for beginners. A soak is not changed."""
    water_l: float = float("inf")
    """Water carried when full; the crew starts full. [l]"""
    cleaner_l: float = float("inf")
    breaks: tuple[Break, ...] = ()
    max_open: int = 3
    """Stones that may soak at a time; 1 waits beside each."""
    max_open_m: float = 40.0
    """Longest walk between stones that soak at the same time: common practice, no source. [m]"""
    leader: str = ""
    """Who leads it from a post within sight; "" for a crew by itself."""
    people_n: int = 2
    trained_n: int = 0
    """Of its people so many are trained; the leader is not one of them."""


@dataclass(frozen=True, slots=True, eq=False)
class LedRules:
    """What holds for crews with a leader: all work in one block within sight of one post, trained and novice mixed.

    ``xy_m`` (places, 2) are the places of the walking matrix, ``screens`` what nobody sees through or over.
    """

    sight_m: float
    novices_n: float
    """Untrained people for each trained one of a leader's crews, the leader counted as trained."""
    xy_m: NDArray[np.float64]
    screens: tuple[BaseGeometry, ...] = ()
    spares_n: int = 3
    """Stones on each list after the stop line."""


@dataclass(frozen=True, slots=True)
class Post:
    """Where a leader stands: beside a stop, at a row of the walking matrix."""

    leader: str
    stop_id: str
    place: int


@dataclass(frozen=True, slots=True)
class Spares:
    """The stones a crew goes on with if time is left, in order."""

    crew_id: str
    stop_ids: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Unplanned:
    """A stop left out, with the reason and its figures."""

    stop_id: str
    reason: Reason
    detail: str


@dataclass(frozen=True, slots=True)
class Visit:
    """Work at one stop, from arrival to leaving."""

    stop_id: str
    arrive_s: float
    leave_s: float


@dataclass(frozen=True, slots=True)
class Op:
    """One thing a crew does: "work", "apply" or "scrub" at a stop, "refill" at a place, or a "break".

    ``ref`` is the id of the stop or the place of refilling, "" for a break; between ``arrive_s`` and ``start_s`` the
    crew waits.
    """

    kind: str
    ref: str
    place: int
    arrive_s: float
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class CrewDay:
    """The day of one crew in the order it is done; with nothing to do it stays at its base."""

    crew_id: str
    ops: tuple[Op, ...]
    walk_m: float
    walk_s: float
    leave_base_s: float
    back_at_base_s: float

    @property
    def visits(self) -> tuple[Visit, ...]:
        """Return the stops by first visit, each from its first arrival to its last leaving."""
        found: dict[str, Visit] = {}
        for op in self.ops:
            if op.kind in WORK:
                first = found.get(op.ref)
                found[op.ref] = Visit(op.ref, op.arrive_s if first is None else first.arrive_s, op.end_s)
        return tuple(found.values())


WORK = frozenset({"work", "apply", "scrub"})


@dataclass(frozen=True, slots=True)
class Provenance:
    """How a plan was made; with ``kept_earlier`` the search found nothing better than the earlier plan."""

    solver: str
    version: str
    seed: int
    iterations: int
    stopped_by: str
    kept_earlier: bool = False


@dataclass(frozen=True, slots=True)
class DayPlan:
    """The days of all crews by crew id, and the stops left out by stop id."""

    days: tuple[CrewDay, ...]
    unplanned: tuple[Unplanned, ...]
    provenance: Provenance
    posts: tuple[Post, ...] = ()
    spares: tuple[Spares, ...] = ()

    @property
    def done(self) -> frozenset[str]:
        """Ids of all stops that are visited."""
        return frozenset(visit.stop_id for day in self.days for visit in day.visits)


def priority_points(plan: DayPlan, stops: Iterable[Stop]) -> int:
    """Return the priority done: 1, 50 or 2,500 points for each visited stop of class 1, 2 or 3."""
    done = plan.done
    return sum(PRIORITY_BASE ** (stop.priority - 1) for stop in stops if stop.stop_id in done)
