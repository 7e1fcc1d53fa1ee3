"""The day on paper: stops, crews, and who is where when. Times are seconds since midnight."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from collections.abc import Iterable

    import numpy as np
    from numpy.typing import NDArray

__all__ = [
    "BrokenPlanError",
    "Crew",
    "CrewDay",
    "DayPlan",
    "Provenance",
    "Reason",
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
    NO_TIME_LEFT = "no time left; carried over"


@dataclass(frozen=True, slots=True)
class Stop:
    """One stone or place of work; ``priority`` is 1 (lowest) to 3 (highest), ``skill`` "" for none."""

    stop_id: str
    place: int
    """Row of the place in the walking matrix."""
    service_s: float
    """Working time at the stop, 0 or more. [s]"""
    priority: int = 1
    skill: str = ""


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
class CrewDay:
    """The day of one crew; without visits it stays at its base."""

    crew_id: str
    visits: tuple[Visit, ...]
    walk_m: float
    walk_s: float
    leave_base_s: float
    back_at_base_s: float


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

    @property
    def done(self) -> frozenset[str]:
        """Ids of all stops that are visited."""
        return frozenset(visit.stop_id for day in self.days for visit in day.visits)


def priority_points(plan: DayPlan, stops: Iterable[Stop]) -> int:
    """Return the priority done: 1, 50 or 2,500 points for each visited stop of class 1, 2 or 3."""
    done = plan.done
    return sum(PRIORITY_BASE ** (stop.priority - 1) for stop in stops if stop.stop_id in done)
