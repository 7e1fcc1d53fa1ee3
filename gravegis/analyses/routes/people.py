"""What there is to do today, and who is there to do it, as the planner takes them."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from gravegis.analyses.routes.hours import open_windows, why_shut
from gravegis.analyses.routes.places import litres, text_of
from gravegis.analyses.routes.settings import SHIFT
from gravegis.layers.canonical import column
from gravegis.layers.care import label_of, seconds_of
from gravegis.layers.stones import checks_too_old, numbers, places_m
from gravegis.layers.zones_off import refused_stones
from gravegis.science.care.ways import way_table
from gravegis.science.routing.model import Break, Crew, Stop

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gravegis.analyses.routes.hours import Shut
    from gravegis.analyses.routes.places import Places
    from gravegis.analyses.routes.settings import RouteSettings
    from gravegis.layers.canonical import Frame
    from gravegis.site import Site

CLEANING_SKILL, BRUSH_SKILL = "cleaner", "brush"


def todo_of(site: Site, day: str) -> Frame:
    """Return the stones that may go out, ordered by place, so that another name for a stone changes no plan."""
    work = site["worklist"]
    todo = work[(work["who"] == "crew") & work["hold"].isna() & (work["work_min"] > 0)]
    todo = todo[~todo["stone_id"].isin(checks_too_old(site["stones"], work, day))]
    todo = todo[~todo["stone_id"].isin(zone_refused(site, day))]
    x, y = places_m(site["stones"].set_index("stone_id").loc[list(todo["stone_id"])]).T
    return todo.iloc[np.lexsort((np.arange(len(todo)), y, x))].reset_index(drop=True)


def zone_refused(site: Site, day: str) -> dict[str, str]:
    """Return the stones reached by a zone that somebody refused to turn off, with the reason in words."""
    return refused_stones(site.get("wetting_links"), site.get("permissions"), day)


def stops_of(
    site: Site, todo: Frame, places: Places, shut: Mapping[str, list[Shut]], settings: RouteSettings
) -> list[Stop]:
    """Return each stone to do with its parts of the work, soak, litres, skill and open times."""
    asks = bool(column(site["crews"], "crews", "skills").notna().any())
    service_s, priority = numbers(todo, "worklist", "work_min") * 60.0, numbers(todo, "worklist", "priority")
    water_l = np.nan_to_num(numbers(todo, "worklist", "water_l"))
    cleaner_l = np.nan_to_num(numbers(todo, "worklist", "cleaner_l"))
    method, skill = text_of(todo, "worklist", "method"), text_of(todo, "worklist", "skill")
    soak_s = {name: _soak_s(site, name) for name in set(method)}
    row_of, made = places.row_of(), []
    for row, (stone_id, treatment) in enumerate(zip(todo["stone_id"], todo["treatment"], strict=True)):
        shortest_s, longest_s = soak_s[method[row]]
        trained = skill[row] or (CLEANING_SKILL if str(treatment).startswith("clean") else "")
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
        crew = Crew(
            str(crew_id), base, base,
            seconds_of(one["shift_from"] or SHIFT[0]) + settings.set_up_min * 60.0,
            seconds_of(one["shift_to"] or SHIFT[1]) - settings.pack_up_min * 60.0,
            _skills(one["skills"]), work_factor=float(factor[row]), cleaner_l=settings.carry_cleaner_l,
            water_l=litres(one["carries"]) or settings.carry_l,
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
