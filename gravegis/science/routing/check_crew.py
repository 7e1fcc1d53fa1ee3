"""Whether the day of one crew keeps every rule; written apart from the search, on the raw data."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from gravegis.science.routing.model import Crew, CrewDay, Op, Refill, Stop, WalkTable

__all__ = ["Violation", "crew_day"]

TOLERANCE_S = 1e-3
TOLERANCE_M = 1e-3
TOLERANCE_L = 1e-6


@dataclass(frozen=True, slots=True)
class Violation:
    """A broken rule: its name, the stop or crew it concerns, and the figures."""

    rule: str
    who: str
    detail: str


@dataclass(slots=True)
class _Follower:
    """Goes through a day step by step with the crew's cans and the stones that soak."""

    crew: Crew
    stops: Mapping[str, Stop]
    walk: WalkTable
    refills: Mapping[str, Refill]
    place: int
    clock_s: float
    water_l: float
    cleaner_l: float
    walk_s: float = 0.0
    walk_m: float = 0.0
    open: dict[str, Op] = field(default_factory=dict)
    rests: list[Op] = field(default_factory=list)

    def step(self, op: Op) -> Iterator[Violation]:
        yield from self.come(op)
        if op.kind in {"work", "apply", "scrub"}:
            stop = self.stops.get(op.ref)
            if stop is not None:
                yield from self.stand(op, stop)
        elif op.kind == "refill":
            yield from self.fill(op)
        elif op.kind == "break":
            self.rests.append(op)
        else:
            yield Violation("step unknown", self.crew.crew_id, op.kind)
        self.place, self.clock_s = op.place, op.end_s

    def come(self, op: Op) -> Iterator[Violation]:
        hop_s = float(self.walk.seconds[self.place, op.place]) * self.crew.pace_factor
        who = op.ref or self.crew.crew_id
        if not op.arrive_s >= self.clock_s + hop_s - TOLERANCE_S:
            yield Violation("walk too short", who, f"{op.arrive_s - self.clock_s:g} s for {hop_s:g} s")
        if op.start_s < op.arrive_s - TOLERANCE_S or op.end_s < op.start_s - TOLERANCE_S:
            yield Violation("times", who, f"arrives {op.arrive_s:g}, begins {op.start_s:g}, ends {op.end_s:g} s")
        self.walk_s += hop_s
        self.walk_m += float(self.walk.metres[self.place, op.place])

    def stand(self, op: Op, stop: Stop) -> Iterator[Violation]:
        if op.place != stop.place:
            yield Violation("wrong place", op.ref, f"worked at place {op.place}, stands at {stop.place}")
        yield from self.takes_long_enough(op, stop)
        rinse_l = stop.rinse_l if stop.soaks else 0.0
        if op.kind == "scrub":
            yield from self.pour(op, rinse_l, 0.0)
            yield from self.soaked(op, stop)
            return
        if stop.skill and stop.skill not in self.crew.skills:
            yield Violation("skill", op.ref, f"crew {self.crew.crew_id} lacks {stop.skill!r}")
        yield from self.pour(op, stop.water_l - rinse_l, stop.cleaner_l)
        if op.kind == "apply":
            yield from self.opened(op)
        elif stop.soaks:
            yield Violation("soak left out", op.ref, "is worked on in one go")
        else:
            yield from self.in_window(op.ref, stop, op.start_s, op.end_s)

    def takes_long_enough(self, op: Op, stop: Stop) -> Iterator[Violation]:
        due = {"work": stop.service_s, "apply": stop.apply_s, "scrub": stop.service_s - stop.apply_s}[op.kind]
        due *= self.crew.work_factor
        if not op.end_s >= op.start_s + due - TOLERANCE_S:
            yield Violation("work cut short", op.ref, f"{op.end_s - op.start_s:g} s for {due:g} s")

    def pour(self, op: Op, water_l: float, cleaner_l: float) -> Iterator[Violation]:
        self.water_l -= water_l
        self.cleaner_l -= cleaner_l
        for what, left in (("water", self.water_l), ("cleaner", self.cleaner_l)):
            if not left >= -TOLERANCE_L:
                yield Violation(f"no {what}", op.ref, f"{-left:g} l short with crew {self.crew.crew_id}")

    def opened(self, op: Op) -> Iterator[Violation]:
        for other, wet in self.open.items():
            apart = float(self.walk.metres[wet.place, op.place])
            if apart > self.crew.max_open_m + TOLERANCE_M:
                yield Violation("open too far apart", op.ref, f"{apart:g} m from {other}")
        self.open[op.ref] = op
        if len(self.open) > self.crew.max_open:
            yield Violation("too many open", op.ref, f"{len(self.open)} soak, {self.crew.max_open} may")

    def soaked(self, op: Op, stop: Stop) -> Iterator[Violation]:
        wet = self.open.pop(op.ref, None)
        if wet is None:
            yield Violation("scrubbed dry", op.ref, "was not wetted before")
            return
        soak_s = op.start_s - wet.end_s
        if soak_s < stop.soak_min_s - TOLERANCE_S:
            yield Violation("soak too short", op.ref, f"{soak_s:g} s for {stop.soak_min_s:g} s")
        if soak_s > stop.soak_max_s + TOLERANCE_S:
            yield Violation("soak too long", op.ref, f"{soak_s:g} s, {stop.soak_max_s:g} s at most")
        yield from self.in_window(op.ref, stop, wet.start_s, op.end_s)

    def in_window(self, who: str, stop: Stop, start_s: float, end_s: float) -> Iterator[Violation]:
        if stop.windows is None:
            return
        if not any(low - TOLERANCE_S <= start_s and end_s <= high + TOLERANCE_S for low, high in stop.windows):
            yield Violation("outside its window", who, f"{start_s:g} to {end_s:g} s: {stop.why}")

    def fill(self, op: Op) -> Iterator[Violation]:
        tap = self.refills.get(op.ref)
        if tap is None or tap.place != op.place or not (tap.water or tap.cleaner):
            yield Violation("water not fit", op.ref, "is no place to fill cans for rinsing")
            return
        if not op.end_s >= op.start_s + tap.service_s - TOLERANCE_S:
            yield Violation("refill cut short", op.ref, f"{op.end_s - op.start_s:g} s for {tap.service_s:g} s")
        self.water_l = self.crew.water_l if tap.water else self.water_l
        self.cleaner_l = self.crew.cleaner_l if tap.cleaner else self.cleaner_l

    def rested(self, day: CrewDay) -> Iterator[Violation]:
        due = [one for one in self.crew.breaks if day.back_at_base_s > one.latest_s + TOLERANCE_S and day.ops]
        for nth, one in enumerate(due):
            taken = self.rests[nth] if nth < len(self.rests) else None
            in_time = taken is not None and one.from_s - TOLERANCE_S <= taken.start_s <= one.latest_s + TOLERANCE_S
            if taken is None or not in_time or taken.end_s < taken.start_s + one.length_s - TOLERANCE_S:
                text = f"none of {one.length_s / 60:g} min begun between {one.from_s:g} and {one.latest_s:g} s"
                yield Violation("break", self.crew.crew_id, text)


def crew_day(
    day: CrewDay, crew: Crew, stops: Mapping[str, Stop], walk: WalkTable, refills: Mapping[str, Refill]
) -> Iterator[Violation]:
    """Give every rule the day of a crew breaks."""
    at = _Follower(
        crew, stops, walk, refills, crew.start_place, day.leave_base_s, crew.water_l, crew.cleaner_l
    )  # fmt: skip
    if not day.leave_base_s >= crew.shift_from_s - TOLERANCE_S:
        yield Violation("leaves early", crew.crew_id, f"at {day.leave_base_s:g} s")
    for op in day.ops:
        yield from at.step(op)
    for name in at.open:
        yield Violation("left soaking", name, "is never scrubbed and rinsed")
    due_s = at.clock_s
    if day.ops:
        hop_s = float(walk.seconds[at.place, crew.end_place]) * crew.pace_factor
        due_s, at.walk_s = due_s + hop_s, at.walk_s + hop_s
        at.walk_m += float(walk.metres[at.place, crew.end_place])
    yield from _end_of_day(day, crew, due_s, at)
    yield from at.rested(day)


def _end_of_day(day: CrewDay, crew: Crew, due_s: float, at: _Follower) -> Iterator[Violation]:
    if not day.back_at_base_s >= due_s - TOLERANCE_S:
        yield Violation("way back too short", crew.crew_id, f"back at {day.back_at_base_s:g}, due {due_s:g} s")
    if not day.back_at_base_s <= crew.shift_to_s + TOLERANCE_S:
        late_s = day.back_at_base_s - crew.shift_to_s
        yield Violation("back late", crew.crew_id, f"{late_s / 60:.1f} min after the end of the shift")
    if not day.walk_s >= at.walk_s - TOLERANCE_S:
        yield Violation("walking time", crew.crew_id, f"{day.walk_s:g} s said, {at.walk_s:g} s needed")
    if not abs(day.walk_m - at.walk_m) <= TOLERANCE_M:
        yield Violation("walking length", crew.crew_id, f"{day.walk_m:g} m said, {at.walk_m:g} m walked")
