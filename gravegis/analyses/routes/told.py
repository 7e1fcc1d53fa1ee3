"""The plan in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gravegis.analyses.routes import IN_WORDS
from gravegis.analyses.routes.rows import civil, refills
from gravegis.science.routing.model import WORK

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from gravegis.analyses.routes.places import Places
    from gravegis.analyses.routes.rows import Planned
    from gravegis.layers.canonical import Frame
    from gravegis.science.routing.model import CrewDay
    from gravegis.science.routing.walking import WalkMatrix


def notes_of(days: Sequence[Planned], places: Places, walk: WalkMatrix, left: Frame) -> tuple[str, ...]:
    """Return what the plan says in sentences: each crew, what is left, water, doubts, how it was made."""
    out = [_crew_day(one, day, several=len(days) > 1) for one in days for day in one.plan.days]
    counts = left["reason"].value_counts().sort_index()
    if len(counts):
        reasons = ", ".join(f"{count} {IN_WORDS.get(str(reason), reason)}" for reason, count in counts.items())
        out.append(f"{int(counts.sum())} stones of the worklist are not planned: {reasons}.")
    out.extend(_water(days, places))
    out.extend(_doubts(walk))
    made = days[-1].plan.provenance
    if made.iterations:
        out.append(
            f"Planned by {made.solver} {made.version}, seed {made.seed}, {made.iterations} rounds; checked again."
        )
    return tuple(out)


def _crew_day(one: Planned, day: CrewDay, *, several: bool) -> str:
    on = f" on {one.day}" if several else ""
    filled = len(refills(day))
    cans = f", {filled} stop{'s' * (filled > 1)} to fill the cans" if filled else ""
    return (
        f"Crew {day.crew_id}{on}: {len(day.visits)} stones, {day.walk_m:.0f} m on foot{cans}, "
        f"{civil(day.leave_base_s)[:5]} to {civil(day.back_at_base_s)[:5]}."
    )


def _water(days: Sequence[Planned], places: Places) -> Iterator[str]:
    """Say how many litres each base must have, where crews fill up at bases or start full from them."""
    for one in days:
        stop_of = {stop.stop_id: stop for stop in one.stops}
        used = {day.crew_id: sum(stop_of[visit.stop_id].water_l for visit in day.visits) for day in one.plan.days}
        total_l = sum(used.values())
        if places.brought and total_l > 0:
            yield f"Bring {total_l:.0f} l of water fit for rinsing to the bases for {one.day}."
        for base, needs_l in sorted(_drawn_l(one, places).items()):
            holds_l = places.tank_l[base]
            if needs_l > holds_l:
                name = places.bases[base]
                yield f"Base {name} needs {needs_l:.0f} l on {one.day}, its tank holds {holds_l:.0f} l: fill it again."


def _drawn_l(one: Planned, places: Places) -> dict[int, float]:
    """Return what is used on a day out of the tank of each base that has one: cans are full from it at the start."""
    stop_of, tanks = {stop.stop_id: stop for stop in one.stops}, {k for k, holds in enumerate(places.tank_l) if holds}
    water = {refill.refill_id: refill.place for refill in places.refills if refill.water}
    start = {crew.crew_id: crew.start_place for crew in one.crews}
    drawn = dict.fromkeys(tanks, 0.0)
    for day in one.plan.days:
        source = start[day.crew_id]
        for op in day.ops:
            if op.kind == "refill":
                source = water.get(op.ref, source)
            elif op.kind in WORK and source in tanks:
                stop = stop_of[op.ref]
                rinse_l = stop.rinse_l if stop.soaks else 0.0
                drawn[source] += rinse_l if op.kind == "scrub" else stop.water_l - rinse_l
    return drawn


def _doubts(walk: WalkMatrix) -> Iterator[str]:
    """Say what of the drawn ground does not fit a walker."""
    if walk.estimated:
        yield "No paths are known: lengths are straight lines round barriers times a factor, not surveyed ways."
    inside = int((walk.moved_m > 0).sum())
    if inside:
        farthest_m = walk.moved_m.max()
        yield f"{inside} places drawn inside a barrier count as standing beside it, {farthest_m:.1f} m off at most."
    if walk.cut_paths:
        yield f"{len(walk.cut_paths)} paths run through a barrier without a gate and are cut there. Is a gate missing?"
    if walk.idle_gates:
        yield f"{len(walk.idle_gates)} gates open nothing: no barrier within 1 m of them. Were they drawn in place?"
