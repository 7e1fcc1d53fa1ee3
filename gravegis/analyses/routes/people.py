"""What there is to do today, and who is there to do it, as the planner takes them."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from gravegis.analyses.routes.hours import open_windows, why_shut
from gravegis.analyses.routes.places import text_of
from gravegis.analyses.routes.settings import SHIFT
from gravegis.layers.canonical import column
from gravegis.layers.care import label_of, seconds_of
from gravegis.layers.carried import litres_carried
from gravegis.layers.stones import checks_too_old, numbers, places_m
from gravegis.layers.zones_off import ZONE_NOT_OFF, refused_stones
from gravegis.science.care.ways import way_table
from gravegis.science.routing.model import Break, Crew, Stop

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from gravegis.analyses.routes.hours import Shut
    from gravegis.analyses.routes.places import Places
    from gravegis.analyses.routes.settings import RouteSettings
    from gravegis.layers.canonical import Frame
    from gravegis.site import Site

CLEANING_SKILL, BRUSH_SKILL = "cleaner", "brush"
LOWEST = 1
"""Priority of a stone whose line names none."""


def dates_of(settings: RouteSettings) -> list[str]:
    """Return the date of each day of the plan, empty texts where no day is set."""
    if not settings.day:
        return [""] * settings.days_n
    first = dt.date.fromisoformat(settings.day)
    return [str(first + dt.timedelta(days=nth)) for nth in range(settings.days_n)]


def todo_of(site: Site, dates: Sequence[str]) -> Frame:
    """Return the stones that may go out on any of the days, by place, so that their names change no plan."""
    work = site["worklist"]
    todo = work[(work["who"] == "crew") & work["hold"].isna() & (work["work_min"] > 0)]
    never = set.intersection(*(set(barred_on(site, day)) for day in dates))
    todo = todo[~todo["stone_id"].isin(never)]
    x, y = places_m(site["stones"].set_index("stone_id").loc[list(todo["stone_id"])]).T
    return todo.iloc[np.lexsort((np.arange(len(todo)), y, x))].reset_index(drop=True)


def barred_on(site: Site, day: str) -> dict[str, tuple[str, str]]:
    """Return the stones no crew may go to on a day, with the code of the reason and its words."""
    refused = refused_stones(site.get("wetting_links"), site.get("permissions"), day)
    barred = {stone_id: (ZONE_NOT_OFF, words) for stone_id, words in refused.items()}
    for stone_id, age in checks_too_old(site["stones"], site["worklist"], day).items():
        words = f"the check of its stability will be {age} days old: check it anew first"
        barred[stone_id] = ("CHECK_TOO_OLD", words)
    return barred


def stops_of(
    site: Site, todo: Frame, places: Places, shut: Mapping[str, list[Shut]], settings: RouteSettings
) -> list[Stop]:
    """Return each stone to do with its parts of the work, soak, litres, skill and open times."""
    asks = tells_skills(site)
    service_s = numbers(todo, "worklist", "work_min") * 60.0
    priority = np.nan_to_num(numbers(todo, "worklist", "priority"), nan=LOWEST)
    water_l = np.nan_to_num(numbers(todo, "worklist", "water_l"))
    cleaner_l = np.nan_to_num(numbers(todo, "worklist", "cleaner_l"))
    method, skill = text_of(todo, "worklist", "method"), text_of(todo, "worklist", "skill")
    soak_s = {name: _soak_s(site, name) for name in set(method)}
    row_of, made = places.row_of(), []
    for row, (stone_id, treatment) in enumerate(zip(todo["stone_id"], todo["treatment"], strict=True)):
        shortest_s, longest_s = soak_s[method[row]]
        trained = skill_for(skill[row], treatment)
        soaks = longest_s > 0
        made.append(
            Stop(
                stop_id=str(stone_id), place=row_of[str(stone_id)], service_s=float(service_s[row]),
                priority=int(priority[row]), skill=trained if asks else "",
                apply_s=float(service_s[row]) * settings.apply_frac if soaks else 0.0,
                soak_min_s=shortest_s, soak_max_s=longest_s, water_l=float(water_l[row]),
                rinse_l=float(water_l[row]) / 2 if soaks else 0.0, cleaner_l=float(cleaner_l[row]),
                windows=open_windows(shut[str(stone_id)]), why=why_shut(shut[str(stone_id)]),
            )
        )  # fmt: skip
    return made


def tells_skills(site: Site) -> bool:
    """Return whether the skill of any crew is on file; where none is, every crew may do every kind of work."""
    return bool(column(site["crews"], "crews", "skills").notna().any())


def skill_for(named: str, treatment: object) -> str:
    """Return the skill a stone of the worklist asks for, empty for none."""
    return named or (CLEANING_SKILL if str(treatment).startswith("clean") else "")


def _soak_s(site: Site, method: str) -> tuple[float, float]:
    """Return the shortest and longest soak of a way of working; the label on file comes first."""
    way = way_table().get(method)
    if way is None or way.soak_high_min <= 0:
        return 0.0, 0.0
    label = label_of(site.get("products")) if site.has("products") else None
    low = way.soak_low_min if label is None or label.dwell_low_min is None else label.dwell_low_min
    high = way.soak_high_min if label is None or label.dwell_high_min is None else label.dwell_high_min
    return low * 60.0, max(low, high) * 60.0


def crews_of(crews: Frame, places: Places, settings: RouteSettings) -> list[Crew]:
    """Return the crews that have time to walk; skills are words between semicolons."""
    columns = {
        name: text_of(crews, "crews", name)
        for name in ("base_id", "skills", "shift_from", "shift_to", "carries", "led_by")
    }
    factor = np.nan_to_num(numbers(crews, "crews", "work_factor"), nan=1.0)
    people_n = np.nan_to_num(numbers(crews, "crews", "people_n"), nan=2.0)
    trained_n = np.minimum(np.nan_to_num(numbers(crews, "crews", "trained_n")), people_n)
    place = {label: row for row, label in enumerate(places.bases)}
    made = []
    for row, crew_id in enumerate(crews["crew_id"]):
        one = {name: values[row] for name, values in columns.items()}
        base = place.get(one["base_id"] or places.bases[0], 0)
        carried = litres_carried(one["carries"])
        crew = Crew(
            str(crew_id), base, base,
            seconds_of(one["shift_from"] or SHIFT[0]) + settings.set_up_min * 60.0,
            seconds_of(one["shift_to"] or SHIFT[1]) - settings.pack_up_min * 60.0,
            _skills(one["skills"]), work_factor=float(factor[row]), cleaner_l=settings.carry_cleaner_l,
            water_l=settings.carry_l if carried is None else carried,
            max_open=settings.led_open_n if one["led_by"] else settings.open_n, max_open_m=settings.open_distance_m,
            leader=one["led_by"], people_n=int(people_n[row]), trained_n=int(trained_n[row]),
        )  # fmt: skip
        if crew.shift_to_s > crew.shift_from_s:
            long = crew.shift_to_s - crew.shift_from_s > settings.break_span_min * 60.0
            made.append(replace(crew, breaks=_breaks(settings) if long else ()))
    return made


def _skills(typed: str) -> frozenset[str]:
    skills = {word.strip() for word in typed.split(";") if word.strip()}
    # who is trained to clean with the cleaner is trained to brush with water
    return frozenset(skills | ({BRUSH_SKILL} if CLEANING_SKILL in skills else set()))


def _breaks(settings: RouteSettings) -> tuple[Break, ...]:
    if not settings.break_from or settings.break_min <= 0:
        return ()
    low = seconds_of(settings.break_from)
    return (Break(low, max(low, seconds_of(settings.break_to or settings.break_from)), settings.break_min * 60.0),)
