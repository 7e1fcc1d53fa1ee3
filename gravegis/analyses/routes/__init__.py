"""Which crew walks where today: crews on foot, from a base and back, along paths and round barriers."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from gravegis.analyses.routes.settings import GATE_WIDTH_M, SHIFT, RouteSettings
from gravegis.contract import Analysis, Assumption, Job, Result, listed

if TYPE_CHECKING:
    from collections.abc import Callable

    from gravegis.analyses.routes.places import Places
    from gravegis.analyses.routes.rows import Planned
    from gravegis.layers.canonical import Frame
    from gravegis.science.routing.model import LedRules
    from gravegis.science.routing.walking import WalkMatrix
    from gravegis.site import Site

UNDATED = "day {}"
NO_LINKS = "which heads reach which stone is not known: no stone waits for a zone"
NO_SCHEDULES = "no zone is known to run on the day"
IN_WORDS = {
    "NO_CREW": "no crew is out", "NO_CREW_WITH_SKILL": "no crew has the skill", "UNREACHABLE": "no way on foot",
    "JOB_LONGER_THAN_SHIFT": "longer than the shift", "NO_TIME_LEFT": "no time left", "ON_HOLD": "on hold",
    "NOT_FOR_CREWS": "not for crews", "NO_MINUTES": "no minutes of work on file",
    "CHECK_TOO_OLD": "stability checked too long ago",
    "NEEDS_MORE_WATER_THAN_CARRIED": "more water than is carried", "NO_REFILL": "no water left to rinse",
    "NO_CLEANER_LEFT": "no cleaner left",
    "NEEDS_MORE_CLEANER_THAN_CARRIED": "more cleaner than is carried",
    "ZONE_NOT_OFF": "its zone stays on", "OUT_OF_SIGHT": "out of sight of the leader's post",
    "TOO_FEW_TRAINED": "too few trained people",
    "WINDOW_TOO_SHORT": "open for too short a time", "WINDOW_OUTSIDE_SHIFT": "not open while a crew is out",
}  # fmt: skip
"""Reasons for not being planned, for lists."""


def run(site: Site, settings: RouteSettings, job: Job) -> Result:
    """Give each crew an order of stones that does the most urgent work first and walks little.

    A stone outweighs dozens of the next lower priority. While one stone soaks the crew wets the next or scrubs an
    older one, never longer than the film stays wet. Nobody wets a stone in its hot hours, works where a zone runs or
    the ground is wet from it, inside a closure, or where a zone was asked for off and refused; cans are filled only
    with water fit for rinsing. Crews led by somebody who is not one of them work in one block, every stone in sight of
    the leader's post, from a list by priority with a stop line and spare stones; who stays at home takes only their own
    list along. Walking is the quickest way over a network of paths and lines of sight that no wall,
    hedge or fence crosses; gates open them. Every stone of the worklist is planned or listed with its reason. The
    finished plan is tested again, rule by rule, by code that shares nothing with the search. Not yet covered: slopes,
    steps, and whether a way crosses a zone while it runs.
    """
    from gravegis.analyses.routes.assumed import assumed_of
    from gravegis.analyses.routes.led import MODES, led_assumed, led_notes
    from gravegis.analyses.routes.people import crews_of, dates_of, todo_of
    from gravegis.analyses.routes.places import ground_of, places_of
    from gravegis.analyses.routes.rows import layers_of
    from gravegis.analyses.routes.told import notes_of
    from gravegis.science.routing.ground import Pace
    from gravegis.science.routing.walking import walk_matrix

    job.progress(0.05, "reading crews and work")
    dates = dates_of(settings)
    todo = todo_of(site, dates)
    places, assumed = places_of(site, todo, settings)
    job.progress(0.1, "walking network")
    ground = ground_of(site)
    if not ground.paths:
        straight = f"straight lines round barriers times {settings.detour_factor:g}, at path speed"
        assumed.append(Assumption("paths", straight))
    # where no paths are on file the ways are partly paths all the same: the detour factor stands for them
    open_speed_m_s = settings.open_speed_m_s if ground.paths else settings.path_speed_m_s
    pace = Pace(1 / settings.path_speed_m_s, 1 / open_speed_m_s)
    walk = walk_matrix(places.xy_m, ground, pace=pace, detour_factor=settings.detour_factor, look=job.check)
    job.progress(0.3, "searching")
    led = MODES[settings.led_mode](site, places, settings)
    days = _days(site, todo, (places, walk), settings, job, led=led, dates=dates)
    job.progress(0.95, "writing the plan")
    layers = layers_of(site, days, places, walk, todo)
    idle = sorted(set(site["crews"]["crew_id"]) - {crew.crew_id for crew in crews_of(site["crews"], places, settings)})
    notes = notes_of(days, places, walk, layers["unplanned"])
    notes += tuple(note for one in days for note in led_notes(one, led, site["worklist"]))
    if idle:
        notes = (*notes, f"No time is left for crew {listed(idle)}: the shift less set-up and packing is over, or runs "
                 "past midnight, which is not planned.")  # fmt: skip
    assumed += [*assumed_of(site, settings), *led_assumed(site)]
    return Result(layers=layers, notes=notes, assumed=tuple(assumed))


def _days(
    site: Site,
    todo: Frame,
    where: tuple[Places, WalkMatrix],
    settings: RouteSettings,
    job: Job,
    *,
    led: LedRules | None,
    dates: list[str],
) -> list[Planned]:
    """Plan one day after the other; each takes what the days before left."""
    from gravegis.analyses.routes.hours import shut_times
    from gravegis.analyses.routes.people import barred_on, crews_of, stops_of
    from gravegis.analyses.routes.rows import Planned
    from gravegis.science.routing.daytable import Rules
    from gravegis.science.routing.led import plan_with_leaders
    from gravegis.science.routing.solve import plan_day

    planner = plan_day if led is None else partial(plan_with_leaders, led=led)
    places, walk = where
    rules = Rules(places.refills, settings.walk_price_ratio)
    days, done = list[Planned](), set[str]()
    for nth, dated in enumerate(dates):
        shut, gone = shut_times(site, todo, dated, settings), done | set(barred_on(site, dated))
        stops = [one for one in stops_of(site, todo, places, shut, settings) if one.stop_id not in gone]
        crews = crews_of(site["crews"], places, settings)
        plan = planner(
            stops, crews, walk, seed=site.info.seed, iterations=settings.iterations_n, rules=rules,
            progress=_share(job, nth, settings.days_n), cancelled=job.cancelled,
        )  # fmt: skip
        days.append(Planned(dated or UNDATED.format(nth + 1), dated, plan, tuple(stops), tuple(crews)))
        done |= plan.done
    return days


def _share(job: Job, nth: int, days_n: int) -> Callable[[float], object]:
    return lambda share: job.progress(0.3 + 0.6 * (nth + share) / days_n, "searching")


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
        "worklist": {
            "first_step": "", "method": "", "skill": "", "water_l": "", "cleaner_l": "", "not_from": "", "not_to": "",
        },
        "crews": {
            "shift_from": f"the shift starts at {SHIFT[0]} (common practice, no source)",
            "shift_to": f"the shift ends at {SHIFT[1]} (common practice, no source)",
            "base_id": "the first base",
            "skills": "no skill is on file: every crew may do every kind of work",
            "led_by": "", "people_n": "a crew is two people", "trained_n": "nobody of them is trained",
            "carries": "carries two cans by hand", "work_factor": "works at the pace of a trained pair",
        },
        "taps": {
            "*": "water comes from the tanks of the bases", "geometry": "", "tap_id": "",
            "fit_to_drink": "not known to be drinking water: not for rinsing",
        },
        "products": {"dwell_low_min": "", "dwell_high_min": "", "product_id": ""},
        "wetting_links": {"*": NO_LINKS, "stone_id": "", "zone_id": ""},
        "schedules": {
            "*": NO_SCHEDULES, "schedule_id": "", "zone_id": "", "start_at": "", "run_min": "", "every": "",
            "cycles_n": "", "soak_min": "", "from_on": "", "to_on": "", "adjust_pct": "", "kind": "",
        },
        "permissions": {"zone_id": "", "status": "", "until": "", "ref": ""},
        "closures": {"closure_id": "", "kind": "", "from_at": "", "to_at": "", "quiet_m": "", "geometry": ""},
        "bases": {"*": "crews start and end in the middle of the stones", "base_id": "", "geometry": "",
                  "tank_l": "a base whose tank nobody named has none"},
        "paths": {"*": "straight lines round barriers, longer by a factor, at path speed", "geometry": ""},
        "barriers": {
            "*": "no wall, hedge or fence is known: nothing stands in the way", "geometry": "", "barrier_id": "",
            "height_m": "nobody sees over one whose height nobody named",
        },
        "gates": {
            "geometry": "",
            "width_m": f"a gate of unknown width is {GATE_WIDTH_M:g} m wide (common practice, no source)",
        },
    },
    gives={
        "stops": {
            "crew_id": "crew", "day": "day", "seq": "order", "stone_id": "stone",
            "kind": "what it is: a stone", "place_id": "id of the place",
            "arrive_at": "arrival, civil time", "apply_at": "work or wetting begins, civil time",
            "soak_end_at": "the soak is long enough, civil time", "scrub_at": "scrubbing begins, civil time",
            "leave_at": "leaving for good, civil time",
            "work_min": "minutes of work", "priority": "priority",
        },
        "legs": {
            "crew_id": "crew", "day": "day", "seq": "order", "from_stop": "start", "to_stop": "end",
            "length_m": "metres walked", "walk_s": "seconds walked",
        },
        "crew_days": {
            "crew_id": "crew", "day": "day", "stones_n": "stones visited", "length_m": "metres walked",
            "work_min": "minutes of work at stones", "idle_min": "minutes of waiting", "refills_n": "cans filled",
            "water_l": "water used", "cleaner_l": "cleaner used", "leave_at": "leaves the base",
            "return_at": "back at the base", "post_by": "stone beside which the leader stands",
            "stop_at": "stop line of the list",
        },
        "spares": {
            "crew_id": "crew", "day": "day", "seq": "order after the stop line", "stone_id": "stone",
            "work_min": "minutes of work", "priority": "priority",
        },
        "crew_steps": {
            "crew_id": "crew", "day": "day", "seq": "order", "kind": "what is done: apply, scrub, work, refill, break",
            "place_id": "stone, tap or base; missing for a break", "arrive_at": "arrival, civil time",
            "start_at": "begins, civil time", "end_at": "ends, civil time",
        },
        "unplanned": {"stone_id": "stone", "reason": "reason code", "detail": "reason in words, with figures"},
    },
    may_be_missing=frozenset({
        "spares.priority",
        "stops.day", "stops.kind", "stops.soak_end_at", "stops.scrub_at", "legs.day", "crew_days.day",
        "crew_days.leave_at", "crew_days.return_at", "crew_days.refills_n", "crew_days.idle_min",
        "crew_steps.day", "crew_days.post_by", "crew_days.stop_at", "spares.day",
        "spares.crew_id",
    }),
    settings=RouteSettings,
    run=run, version=3, tables=("care_ways", "methods", "permission_states"), facts=("crs", "seed", "time_zone"),
    sources=(
        "search: PyVRP (iterated local search), optional stops with prizes by priority; own rule for the prizes",
        "soaks: gravegis/science/data/care_ways.csv or the label on file; parts of the work: own choice",
        "walking: line-of-sight network, Tobler 1993 (NCGIA Technical Report 93-1) speeds on level ground",
    ),
)  # fmt: skip
