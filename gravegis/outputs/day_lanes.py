"""What each crew does when, as stretches of time: walking, work at a stone, soaks, refills, breaks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from gravegis.layers.care import seconds_of
from gravegis.outputs import words

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from gravegis.outputs.days import CrewDay
    from gravegis.site import Site

__all__ = ["CrewLane", "Stretch", "lanes_of"]


@dataclass(frozen=True, slots=True)
class Stretch:
    """One thing from when to when, seconds of the day: a kind of the drawing table, the number of its stop."""

    kind: str
    label: str
    from_s: float
    to_s: float


@dataclass(frozen=True, slots=True)
class CrewLane:
    """A crew's day: what its people do one after the other, and in rows below it what soaks meanwhile."""

    crew_id: str
    hands: tuple[Stretch, ...]
    soaks: tuple[tuple[Stretch, ...], ...]

    @property
    def span_s(self) -> tuple[float, float]:
        """Return when it begins and ends. [s]"""
        return min(one.from_s for one in self.hands), max(one.to_s for one in self.hands)


def lanes_of(site: Site, days: Sequence[CrewDay]) -> tuple[CrewLane, ...]:
    """Return the lane of each crew that has steps with times."""
    steps: dict[tuple[str, str], list[Mapping[str, Any]]] = {}
    for row in sorted(words.records(site, "crew_steps"), key=lambda row: row["seq"]):
        if row["start_at"] and row["end_at"]:
            steps.setdefault((row["day"], row["crew_id"]), []).append(row)
    made = []
    for day in days:
        mine = steps.get((day.day, day.crew_id), [])
        if mine:
            label = {stop.stone_id: stop.label for stop in day.stops}
            hands = tuple(one for one in _hands(day, mine, label) if one.to_s > one.from_s)
            made.append(CrewLane(day.crew_id, hands, _rows(list(_soaks(mine, label)))))
    return tuple(made)


def _hands(day: CrewDay, steps: Sequence[Mapping[str, Any]], label: Mapping[str, str]) -> Iterator[Stretch]:
    """Give what the people do: the way to each step, waiting there, the step; then the way home."""
    at_s = _seconds(day.facts.get("leave_at"), seconds_of(steps[0]["start_at"]))
    for step in steps:
        start_s, end_s = seconds_of(step["start_at"]), seconds_of(step["end_at"])
        arrive_s = _seconds(step["arrive_at"], start_s)
        yield Stretch("step_walk", "", at_s, arrive_s)
        yield Stretch("step_wait", "", arrive_s, start_s)
        yield Stretch(f"step_{step['kind']}", label.get(step["place_id"] or "", ""), start_s, end_s)
        at_s = end_s
    yield Stretch("step_walk", "", at_s, _seconds(day.facts.get("return_at"), at_s))


def _seconds(civil: object, default: float) -> float:
    return seconds_of(civil) if isinstance(civil, str) and civil else default


def _soaks(steps: Sequence[Mapping[str, Any]], label: Mapping[str, str]) -> Iterator[Stretch]:
    wet: dict[str, float] = {}
    for step in steps:
        if step["kind"] == "apply":
            wet[step["place_id"]] = seconds_of(step["end_at"])
        elif step["kind"] == "scrub" and step["place_id"] in wet:
            begun_s = wet.pop(step["place_id"])
            yield Stretch("step_soak", label.get(step["place_id"], ""), begun_s, seconds_of(step["start_at"]))


def _rows(soaks: Sequence[Stretch]) -> tuple[tuple[Stretch, ...], ...]:
    """Lay soaks that overlap into rows below each other."""
    rows: list[list[Stretch]] = []
    for one in sorted(soaks, key=lambda one: one.from_s):
        row = next((row for row in rows if row[-1].to_s <= one.from_s), None)
        if row is None:
            rows.append([one])
        else:
            row.append(one)
    return tuple(tuple(row) for row in rows)
