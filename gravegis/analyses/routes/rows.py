"""The plan as layers: stops, walked lines, steps, days of the crews and what is not planned."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import pandas as pd

from gravegis.analyses.routes.closed import DAY_S
from gravegis.analyses.routes.led import post_of
from gravegis.analyses.routes.people import barred_on
from gravegis.layers.canonical import empty
from gravegis.science.routing.model import WORK

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from gravegis.analyses.routes.places import Places
    from gravegis.layers.canonical import Frame
    from gravegis.science.routing.model import Crew, CrewDay, DayPlan, Op, Stop
    from gravegis.science.routing.walking import WalkMatrix
    from gravegis.site import Site


@dataclass(frozen=True, slots=True)
class Planned:
    """One day: its name, the plan, and what it was made from."""

    day: str
    dated: str
    plan: DayPlan
    stops: tuple[Stop, ...]
    crews: tuple[Crew, ...]


def layers_of(site: Site, days: Sequence[Planned], places: Places, walk: WalkMatrix, todo: Frame) -> dict[str, Frame]:
    """Return the layers of all days; what the last day leaves is what is not planned."""
    crs = site.info.crs
    stops = [row for one in days for row in _stop_rows(one, todo)]
    legs = [row for one in days for row in _leg_rows(one, places, walk)]
    steps = [row for one in days for row in _step_rows(one)]
    crew_days = [row for one in days for row in _day_rows(one, walk)]
    spares = [row for one in days for row in _spare_rows(one)]
    done = {stone_id for one in days for stone_id in one.plan.done}
    left = list(_unplanned_rows(site, days[-1], places, walk, done))
    return {
        "stops": pd.DataFrame(stops) if stops else empty("stops"),
        "legs": gpd.GeoDataFrame(legs, geometry="geometry", crs=crs) if legs else empty("legs", crs),
        "crew_steps": pd.DataFrame(steps) if steps else empty("crew_steps"),
        "crew_days": pd.DataFrame(crew_days) if crew_days else empty("crew_days"),
        "spares": pd.DataFrame(spares) if spares else empty("spares"),
        "unplanned": pd.DataFrame(left) if left else empty("unplanned"),
    }


def civil(seconds: float) -> str:
    """Return seconds of the day as a civil time."""
    whole_s = round(seconds)
    return f"{whole_s // 3600:02d}:{whole_s % 3600 // 60:02d}:{whole_s % 60:02d}"


def _stop_rows(one: Planned, todo: Frame) -> Iterator[dict[str, Any]]:
    work = todo.set_index("stone_id")
    stop_of = {stop.stop_id: stop for stop in one.stops}
    for day in one.plan.days:
        first = {op.ref: op for op in reversed(day.ops) if op.kind in {"work", "apply"}}
        scrub = {op.ref: op for op in day.ops if op.kind == "scrub"}
        for seq, visit in enumerate(day.visits, 1):
            wet, after = first[visit.stop_id], scrub.get(visit.stop_id)
            soak_end = None if after is None else civil(wet.end_s + stop_of[visit.stop_id].soak_min_s)
            yield {
                "crew_id": day.crew_id, "day": one.day, "seq": seq, "stone_id": visit.stop_id,
                "kind": "stone", "place_id": visit.stop_id,
                "arrive_at": civil(visit.arrive_s), "apply_at": civil(wet.start_s), "soak_end_at": soak_end,
                "scrub_at": None if after is None else civil(after.start_s), "leave_at": civil(visit.leave_s),
                "work_min": work.loc[visit.stop_id, "work_min"], "priority": work.loc[visit.stop_id, "priority"],
            }  # fmt: skip


def _step_rows(one: Planned) -> Iterator[dict[str, Any]]:
    for day in one.plan.days:
        for seq, op in enumerate(day.ops, 1):
            yield {
                "crew_id": day.crew_id, "day": one.day, "seq": seq, "kind": op.kind, "place_id": op.ref or None,
                "arrive_at": civil(op.arrive_s), "start_at": civil(op.start_s), "end_at": civil(op.end_s),
            }  # fmt: skip


def _leg_rows(one: Planned, places: Places, walk: WalkMatrix) -> Iterator[dict[str, Any]]:
    crew_of = {crew.crew_id: crew for crew in one.crews}
    for day in one.plan.days:
        if not day.ops:
            continue
        crew = crew_of[day.crew_id]
        way = [crew.start_place, *(op.place for op in day.ops if op.kind != "break"), crew.end_place]
        seq = 0
        for i, j in pairwise(way):
            if i == j:  # what is done next is done where they stand
                continue
            seq += 1
            yield {
                "crew_id": day.crew_id, "day": one.day, "seq": seq, "from_stop": places.name(i),
                "to_stop": places.name(j), "length_m": float(walk.metres[i, j]), "walk_s": float(walk.seconds[i, j]),
                "geometry": walk.path(i, j),
            }  # fmt: skip


def _spare_rows(one: Planned) -> Iterator[dict[str, Any]]:
    stop_of = {stop.stop_id: stop for stop in one.stops}
    for spares in one.plan.spares:
        for seq, name in enumerate(spares.stop_ids, 1):
            stop = stop_of[name]
            yield {
                "crew_id": spares.crew_id, "day": one.day, "seq": seq, "stone_id": name,
                "work_min": stop.service_s / 60.0, "priority": stop.priority,
            }  # fmt: skip


def _day_rows(one: Planned, walk: WalkMatrix) -> Iterator[dict[str, Any]]:
    stop_of = {stop.stop_id: stop for stop in one.stops}
    for day in one.plan.days:
        done = [stop_of[visit.stop_id] for visit in day.visits]
        busy_s = sum(op.end_s - op.start_s for op in day.ops)
        at_stones = sum(op.end_s - op.start_s for op in day.ops if op.kind in WORK)
        yield {
            "crew_id": day.crew_id, "day": one.day, "stones_n": len(done),
            "length_m": day.walk_m, "work_min": at_stones / 60.0,
            "idle_min": max(0.0, day.back_at_base_s - day.leave_base_s - day.walk_s - busy_s) / 60.0,
            "refills_n": len(refills(day)), "water_l": float(sum(stop.water_l for stop in done)),
            "cleaner_l": float(sum(stop.cleaner_l for stop in done)), "leave_at": civil(day.leave_base_s),
            "return_at": civil(day.back_at_base_s), **_led_cells(one, day, walk),
        }  # fmt: skip


def _led_cells(one: Planned, day: CrewDay, walk: WalkMatrix) -> dict[str, str | None]:
    """Return where the leader stands, and when the crew must stop to be back in time."""
    found = post_of(one, day.crew_id)
    if found is None:
        return {"post_by": None, "stop_at": None}
    post, crew = found
    last = day.ops[-1].place if day.ops else post.place
    home_s = float(walk.seconds[last, crew.end_place]) * crew.pace_factor
    # to the whole minute before
    stop_s = (crew.shift_to_s - home_s) // 60 * 60 if home_s < DAY_S else crew.shift_from_s
    return {"post_by": post.stop_id, "stop_at": civil(stop_s)}


def refills(day: CrewDay) -> list[Op]:
    """Return the times a crew fills its cans on the way."""
    return [op for op in day.ops if op.kind == "refill"]


def _unplanned_rows(
    site: Site, last: Planned, places: Places, walk: WalkMatrix, done: set[str]
) -> Iterator[dict[str, Any]]:  # fmt: skip
    place_of, bases = places.row_of(), sorted({crew.start_place for crew in last.crews})
    for one in last.plan.unplanned:
        detail = one.detail
        if one.reason.name == "UNREACHABLE":
            shut = {walk.shut_off_by(place_of[one.stop_id], base) for base in bases} - {None}
            barriers = [
                str(site["barriers"]["barrier_id"].iloc[row]) for row in sorted(row for row in shut if row is not None)
            ]
            detail = f"{detail} ({', '.join(barriers)})" if barriers else detail
        yield {"stone_id": one.stop_id, "reason": one.reason.name, "detail": f"{one.reason.value}: {detail}"}
    yield from _barred_rows(site, last, {*done, *(one.stop_id for one in last.plan.unplanned)})


def _barred_rows(site: Site, last: Planned, named: set[str]) -> Iterator[dict[str, Any]]:
    """Give the stones no crew was asked to do on the last day, each with its reason."""
    barred, work = barred_on(site, last.dated), site["worklist"]
    work = work.assign(has_work=work["work_min"] > 0)
    for row in work[~work["stone_id"].isin(named)].itertuples():
        reason, detail = "NOT_FOR_CREWS", f"{row.treatment} ({row.who})"
        if row.who == "crew":
            if isinstance(row.hold, str):
                reason, detail = "ON_HOLD", f"held: {row.hold}"
            elif not row.has_work:
                reason, detail = "NO_MINUTES", "the worklist has no minutes of work for it"
            elif row.stone_id in barred:
                reason, detail = barred[str(row.stone_id)]
        yield {"stone_id": row.stone_id, "reason": reason, "detail": detail}
