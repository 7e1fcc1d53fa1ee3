"""Which crew walks where today: crews on foot, from a base and back, along paths and round barriers."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from gravegis.contract import Analysis, Assumption, Job, Result, listed, number, text, whole

if TYPE_CHECKING:
    from collections.abc import Iterator

    import numpy as np
    import numpy.typing as npt

    from gravegis.layers.canonical import Frame
    from gravegis.science.routing.ground import Ground
    from gravegis.science.routing.model import Crew, DayPlan, Stop
    from gravegis.science.routing.walking import WalkMatrix
    from gravegis.site import Site

UNDATED = "day 1"
IN_WORDS = {
    "NO_CREW": "no crew is out", "NO_CREW_WITH_SKILL": "no crew has the skill", "UNREACHABLE": "no way on foot",
    "JOB_LONGER_THAN_SHIFT": "longer than the shift", "NO_TIME_LEFT": "no time left", "ON_HOLD": "on hold",
    "NOT_FOR_CREWS": "not for crews", "CHECK_TOO_OLD": "stability checked too long ago",
}  # fmt: skip
CLEANING_SKILL = "cleaner"
SHIFT = ("08:00", "12:00")
GATE_WIDTH_M = 1.0


def _day(typed: str) -> str:
    return dt.date.fromisoformat(typed.strip()).isoformat() if typed.strip() else ""


@dataclass(frozen=True, slots=True, kw_only=True)
class RouteSettings:
    """The day, how long to search, and how people walk."""

    day: str = text("", "Day of the plan.", form="a date such as 2026-12-02, or nothing", source="typed", reader=_day)
    iterations_n: int = whole(
        2000, "Rounds of the search; the same number and seed give the same plan.", low=1, high=1_000_000,
        source="own choice; 2,000 rounds found the best known tour of 52 places, a simpler problem than a day of crews",
    )  # fmt: skip
    set_up_min: float = number(
        45.0, "Of the shift before the first walk: briefing, sign-in, set-up.", unit="min", low=0, high=240,
        source="common practice, no source",
    )  # fmt: skip
    pack_up_min: float = number(
        30.0, "Of the shift kept free after the last walk: breaks and packing.", unit="min", low=0, high=240,
        source="common practice, no source",
    )  # fmt: skip
    path_speed_m_s: float = number(
        1.3991, "Walking speed on paths.", unit="m/s", low=0.2, high=3,
        source="Tobler 1993, NCGIA Technical Report 93-1: 5.0367 km/h on level ground",
    )  # fmt: skip
    open_speed_m_s: float = number(
        0.8395, "Walking speed off paths.", unit="m/s", low=0.2, high=3,
        source="Tobler 1993, NCGIA Technical Report 93-1: 0.6 of the speed on a path",
    )  # fmt: skip
    detour_factor: float = number(
        1.3, "Where no paths are known: how much longer a way is than the straight line.", unit="1", low=1, high=3,
        source="common practice, no source",
    )  # fmt: skip


def run(site: Site, settings: RouteSettings, job: Job) -> Result:
    """Give each crew an order of stones that does the most urgent work first and walks little.

    A stone outweighs dozens of the next lower priority. Walking is the quickest way over a network of paths and lines
    of sight that no wall, hedge or fence crosses; gates open them. Every stone of the worklist is planned or listed
    with its reason. The finished plan is tested again, rule by rule, by code that shares nothing with the search.
    Not yet covered: soaking, water carried, breaks, zones that start spraying, closures, slopes, several days.
    """
    import numpy as np

    from gravegis.science.routing.ground import Pace
    from gravegis.science.routing.solve import plan_day
    from gravegis.science.routing.walking import walk_matrix

    job.progress(0.05, "reading crews and work")
    work, crews = site["worklist"], site["crews"]
    places, labels, assumed = _bases(site, crews)
    if not site.has("paths"):
        straight = f"straight lines round barriers times {settings.detour_factor:g}, at path speed"
        assumed.append(Assumption("paths", straight))
    todo = _todo(site, work, settings.day)
    xy = np.concatenate([places, _stone_places(site, todo)])
    job.progress(0.1, "walking network")
    ground = _ground(site)
    # where no paths are on file the ways are partly paths all the same: the detour factor stands for them
    open_speed_m_s = settings.open_speed_m_s if ground.paths else settings.path_speed_m_s
    pace = Pace(1 / settings.path_speed_m_s, 1 / open_speed_m_s)
    walk = walk_matrix(xy, ground, pace=pace, detour_factor=settings.detour_factor)
    stops, people = _stops(todo, len(places), crews), _crews(crews, labels, settings)
    job.progress(0.3, "searching")
    plan = plan_day(
        stops, people, walk, seed=site.info.seed, iterations=settings.iterations_n,
        progress=lambda share: job.progress(0.3 + 0.6 * share, "searching"), cancelled=job.cancelled,
    )  # fmt: skip
    job.progress(0.95, "writing the plan")
    layers = _layers(site, plan, walk, _Names(todo, labels, people, settings.day or UNDATED))
    idle = sorted(set(crews["crew_id"]) - {crew.crew_id for crew in people})
    notes = _notes(plan, walk, layers)
    if idle:
        notes = (*notes, f"No time is left for crew {listed(idle)}: the shift less set-up and packing is over, or runs "
                 "past midnight, which is not planned.")  # fmt: skip
    return Result(layers=layers, notes=notes, assumed=tuple(assumed))


def _todo(site: Site, work: Frame, day: str) -> Frame:
    """Return the stones that may go out, ordered by place, so that another name for a stone changes no plan."""
    import numpy as np

    from gravegis.layers.stones import checks_too_old

    todo = work[(work["who"] == "crew") & work["hold"].isna() & (work["work_min"] > 0)]
    todo = todo[~todo["stone_id"].isin(checks_too_old(site["stones"], work, day))]
    x, y = _stone_places(site, todo).T
    return todo.iloc[np.lexsort((np.arange(len(todo)), y, x))].reset_index(drop=True)


def _bases(site: Site, crews: Frame) -> tuple[npt.NDArray[np.float64], list[str], list[Assumption]]:
    """Return the places crews start from and their ids; without a base they start in the middle of the stones."""
    import numpy as np

    from gravegis.layers.canonical import column
    from gravegis.layers.stones import places_m

    if site.has("bases"):
        bases = site["bases"]
        known = set(bases["base_id"])
        stray = [one for one in column(crews, "crews", "base_id").dropna() if one not in known]
        unsaid = Assumption("crews.base_id", "the first base", int(column(crews, "crews", "base_id").isna().sum()))
        said = [unsaid, *(Assumption("crews.base_id", f"no base is called {one}: the first base", 1) for one in stray)]
        return places_m(bases), [str(one) for one in bases["base_id"]], said
    nobody = Assumption("crews.base_id", "", 0)  # there is no base to start from, the line of layer bases says so
    west, south, east, north = site["stones"].total_bounds if len(site["stones"]) else (0.0, 0.0, 0.0, 0.0)
    return np.array([[(west + east) / 2, (south + north) / 2]]), ["middle of the stones"], [nobody]


def _stone_places(site: Site, todo: Frame) -> npt.NDArray[np.float64]:
    from gravegis.layers.stones import places_m

    stones = site["stones"].set_index("stone_id").loc[list(todo["stone_id"])]
    return places_m(stones)


def _ground(site: Site) -> Ground:
    """Return paths, barriers and gates as the walking network takes them."""
    import numpy as np
    import shapely

    from gravegis.layers.stones import numbers, places_m
    from gravegis.science.routing.ground import Ground

    paths = np.asarray(site["paths"]["geometry"]) if site.has("paths") else np.array([], dtype=object)
    # a path drawn as an area is walked along its edge
    is_area = np.isin(shapely.get_type_id(paths), (3, 6)) if len(paths) else np.array([], dtype=bool)
    lines = np.where(is_area, shapely.boundary(paths), paths)
    barriers = np.asarray(site["barriers"]["geometry"]) if site.has("barriers") else np.array([], dtype=object)
    gates = site["gates"] if site.has("gates") else None
    return Ground(
        paths=[line for line in shapely.get_parts(lines) if shapely.length(line) > 0],
        barriers=list(barriers),
        gates_xy_m=np.empty((0, 2)) if gates is None else places_m(gates),
        gate_width_m=np.empty(0)
        if gates is None
        else np.nan_to_num(numbers(gates, "gates", "width_m"), nan=GATE_WIDTH_M),
    )


def _stops(todo: Frame, first: int, crews: Frame) -> list[Stop]:
    from gravegis.layers.canonical import column
    from gravegis.layers.stones import numbers
    from gravegis.science.routing.model import Stop

    asks = bool(column(crews, "crews", "skills").notna().any())
    service_s, priority = numbers(todo, "worklist", "work_min") * 60.0, numbers(todo, "worklist", "priority")
    return [
        Stop(
            stop_id=str(stone_id),
            place=first + row,
            service_s=float(service_s[row]),
            priority=int(priority[row]),
            skill=CLEANING_SKILL if asks and str(treatment).startswith("clean") else "",
        )
        for row, (stone_id, treatment) in enumerate(zip(todo["stone_id"], todo["treatment"], strict=True))
    ]


def _crews(crews: Frame, labels: list[str], settings: RouteSettings) -> list[Crew]:
    from gravegis.layers.stones import words
    from gravegis.science.routing.model import Crew

    columns = {name: words(crews, "crews", name) for name in ("base_id", "skills", "shift_from", "shift_to")}
    place = {label: row for row, label in enumerate(labels)}
    made = []
    for row, crew_id in enumerate(crews["crew_id"]):
        base = place.get(columns["base_id"][row] or labels[0], 0)
        skills = frozenset(word.strip() for word in (columns["skills"][row] or "").split(";") if word.strip())
        start, end = columns["shift_from"][row] or SHIFT[0], columns["shift_to"][row] or SHIFT[1]
        out_s, in_s = _seconds(start) + settings.set_up_min * 60.0, _seconds(end) - settings.pack_up_min * 60.0
        if in_s > out_s:
            made.append(Crew(str(crew_id), base, base, out_s, in_s, skills))
    return made


def _seconds(civil: str) -> float:
    hours, minutes, *seconds = civil.split(":")
    return int(hours) * 3600.0 + int(minutes) * 60.0 + (int(seconds[0]) if seconds else 0)


def _civil(seconds: float) -> str:
    whole_s = round(seconds)
    return f"{whole_s // 3600:02d}:{whole_s % 3600 // 60:02d}:{whole_s % 60:02d}"


@dataclass(frozen=True, slots=True)
class _Names:
    """What the plan's places are called: work to do, bases, crews, the day."""

    todo: Frame
    bases: list[str]
    crews: list[Crew]
    day: str

    def place_of(self) -> dict[str, int]:
        """Return the row in the walking matrix of each stone to do."""
        return {str(stone): len(self.bases) + row for row, stone in enumerate(self.todo["stone_id"])}


def _layers(site: Site, plan: DayPlan, walk: WalkMatrix, names: _Names) -> dict[str, Frame]:
    import geopandas as gpd
    import pandas as pd

    from gravegis.layers.canonical import empty

    crs = site.info.crs
    stops, legs = list(_stop_rows(plan, names)), list(_leg_rows(plan, walk, names))
    days = [
        {
            "crew_id": day.crew_id, "day": names.day, "stops_n": len(day.visits),
            "work_min": sum(visit.leave_s - visit.arrive_s for visit in day.visits) / 60.0,
            "walk_m": day.walk_m, "leave_at": _civil(day.leave_base_s), "back_at": _civil(day.back_at_base_s),
        }
        for day in plan.days
    ]  # fmt: skip
    left = list(_unplanned_rows(site["worklist"], plan, walk, names, site))
    return {
        "stops": pd.DataFrame(stops) if stops else empty("stops"),
        "legs": gpd.GeoDataFrame(legs, geometry="geometry", crs=crs) if legs else empty("legs", crs),
        "crew_days": pd.DataFrame(days) if days else empty("crew_days"),
        "unplanned": pd.DataFrame(left) if left else empty("unplanned"),
    }


def _stop_rows(plan: DayPlan, names: _Names) -> Iterator[dict[str, Any]]:
    work = names.todo.set_index("stone_id")
    for day in plan.days:
        for seq, visit in enumerate(day.visits, 1):
            yield {
                "crew_id": day.crew_id, "day": names.day, "seq": seq, "stone_id": visit.stop_id,
                "arrive_at": _civil(visit.arrive_s), "leave_at": _civil(visit.leave_s),
                "work_min": work.loc[visit.stop_id, "work_min"], "priority": work.loc[visit.stop_id, "priority"],
            }  # fmt: skip


def _leg_rows(plan: DayPlan, walk: WalkMatrix, names: _Names) -> Iterator[dict[str, Any]]:
    place_of = names.place_of()
    base_of = {crew.crew_id: crew.start_place for crew in names.crews}
    for day in plan.days:
        if not day.visits:
            continue
        base = base_of[day.crew_id]
        way = [(names.bases[base], base), *((visit.stop_id, place_of[visit.stop_id]) for visit in day.visits)]
        for seq, ((start, i), (end, j)) in enumerate(zip(way, [*way[1:], way[0]], strict=True), 1):
            yield {
                "crew_id": day.crew_id, "day": names.day, "seq": seq, "from_stop": start, "to_stop": end,
                "length_m": float(walk.metres[i, j]), "walk_s": float(walk.seconds[i, j]), "geometry": walk.path(i, j),
            }  # fmt: skip


def _unplanned_rows(
    work: Frame, plan: DayPlan, walk: WalkMatrix, names: _Names, site: Site
) -> Iterator[dict[str, Any]]:
    from gravegis.layers.stones import checks_too_old

    place_of, bases = names.place_of(), sorted({crew.start_place for crew in names.crews})
    too_old = checks_too_old(site["stones"], work, "" if names.day == UNDATED else names.day)
    for one in plan.unplanned:
        detail = one.detail
        if one.reason.name == "UNREACHABLE":
            shut = {walk.shut_off_by(place_of[one.stop_id], base) for base in bases} - {None}
            barriers = [
                str(site["barriers"]["barrier_id"].iloc[row]) for row in sorted(row for row in shut if row is not None)
            ]
            detail = f"{detail} ({', '.join(barriers)})" if barriers else detail
        yield {"stone_id": one.stop_id, "reason": one.reason.name, "detail": f"{one.reason.value}: {detail}"}
    for row in work[~work["stone_id"].isin(names.todo["stone_id"])].itertuples():
        reason, detail = "NOT_FOR_CREWS", f"{row.treatment} ({row.who})"
        if isinstance(row.hold, str) and row.who == "crew":
            reason, detail = "ON_HOLD", f"held: {row.hold}"
        elif row.stone_id in too_old:
            age = too_old[str(row.stone_id)]
            reason, detail = "CHECK_TOO_OLD", f"the check of its stability will be {age} days old: check it anew first"
        yield {"stone_id": row.stone_id, "reason": reason, "detail": detail}


def _notes(plan: DayPlan, walk: WalkMatrix, layers: dict[str, Frame]) -> tuple[str, ...]:
    out = [
        f"Crew {day.crew_id}: {len(day.visits)} stones, {day.walk_m:.0f} m on foot, "
        f"{_civil(day.leave_base_s)[:5]} to {_civil(day.back_at_base_s)[:5]}."
        for day in plan.days
    ]
    counts = layers["unplanned"]["reason"].value_counts().sort_index()
    if len(counts):
        reasons = ", ".join(f"{count} {IN_WORDS.get(str(reason), reason)}" for reason, count in counts.items())
        out.append(f"{int(counts.sum())} stones of the worklist are not planned: {reasons}.")
    out.extend(_doubts(walk))
    made = plan.provenance
    if made.iterations:
        out.append(
            f"Planned by {made.solver} {made.version}, seed {made.seed}, {made.iterations} rounds; checked again."
        )
    return tuple(out)


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


ANALYSIS = Analysis(
    name="routes",
    title="Day plan of the crews",
    question="Which crew walks where today, in which order?",
    needs={
        "stones": ("stone_id", "geometry"),
        "worklist": ("stone_id", "treatment", "who", "work_min", "priority", "hold"),
        "crews": ("crew_id",),
    },
    uses={
        "stones": {"stability_on": ""},
        "worklist": {"first_step": ""},
        "crews": {
            "shift_from": f"the shift starts at {SHIFT[0]} (common practice, no source)",
            "shift_to": f"the shift ends at {SHIFT[1]} (common practice, no source)",
            "base_id": "the first base",
            "skills": "",
        },
        "bases": {"*": "crews start and end in the middle of the stones", "base_id": "", "geometry": ""},
        "paths": {"*": "straight lines round barriers, longer by a factor, at path speed", "geometry": ""},
        "barriers": {
            "*": "no wall, hedge or fence is known: nothing stands in the way", "geometry": "", "barrier_id": "",
        },
        "gates": {
            "geometry": "",
            "width_m": f"a gate of unknown width is {GATE_WIDTH_M:g} m wide (common practice, no source)",
        },
    },
    gives={
        "stops": {
            "crew_id": "crew", "day": "day", "seq": "order", "stone_id": "stone",
            "arrive_at": "arrival, civil time", "leave_at": "leaving, civil time",
            "work_min": "minutes of work", "priority": "priority",
        },
        "legs": {
            "crew_id": "crew", "day": "day", "seq": "order", "from_stop": "start", "to_stop": "end",
            "length_m": "metres walked", "walk_s": "seconds walked",
        },
        "crew_days": {
            "crew_id": "crew", "day": "day", "stops_n": "stones visited", "work_min": "minutes of work",
            "walk_m": "metres walked", "leave_at": "leaves the base", "back_at": "back at the base",
        },
        "unplanned": {"stone_id": "stone", "reason": "reason code", "detail": "reason in words, with figures"},
    },
    may_be_missing=frozenset({"stops.day", "legs.day", "crew_days.day", "crew_days.leave_at", "crew_days.back_at"}),
    settings=RouteSettings,
    run=run, version=1, tables=(), facts=("crs", "seed"),
    sources=(
        "search: PyVRP (iterated local search), optional stops with prizes by priority; own rule for the prizes",
        "walking: line-of-sight network, Tobler 1993 (NCGIA Technical Report 93-1) speeds on level ground",
    ),
)  # fmt: skip
