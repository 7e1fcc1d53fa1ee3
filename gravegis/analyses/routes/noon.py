"""The rest of a day planned anew from the plan on file: what is done stays, the rest changes as little as it can."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from gravegis.analyses.routes import UNDATED
from gravegis.errors import SettingError
from gravegis.layers.care import seconds_of
from gravegis.science.routing.model import CrewDay, DayPlan, Op, Provenance

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gravegis.analyses.routes.settings import RouteSettings
    from gravegis.layers.canonical import Frame
    from gravegis.science.routing.model import Crew
    from gravegis.site import Site

DONE = "DONE_TODAY"
"""Reason code of a stone that is not planned again because it was done, or begun, before the rest of the day."""


@dataclass(frozen=True, slots=True)
class Noon:
    """From when the day is planned anew, what is done by then with its words, and the plan of the morning."""

    from_s: float
    done: dict[str, str]
    plan: DayPlan


def noon_of(site: Site, settings: RouteSettings) -> Noon | None:
    """Return the state of the day at the time set; None where the whole day is planned.

    Done is what `treatments` has for the day; where it has nothing yet, what the plan on file has begun by then.
    Raises SettingError where no plan of the day is on file.
    """
    if not settings.from_time:
        return None
    day = settings.day or UNDATED.format(1)
    stops = site["stops"] if site.has("stops") else None
    rows = None if stops is None else stops[stops["day"] == day].sort_values(["crew_id", "seq"])
    if rows is None or rows.empty:
        raise SettingError(
            f"from_time is {settings.from_time}, and no plan of {day} is on file to go on from.",
            where="routes.from_time", remedy="Plan the whole day first, without from_time.",
        )  # fmt: skip
    from_s = seconds_of(settings.from_time)
    return Noon(from_s, _done(site, rows, settings), _as_plan(rows))


def _done(site: Site, rows: Frame, settings: RouteSettings) -> dict[str, str]:
    earlier = site["unplanned"] if site.has("unplanned") else None
    done = {} if earlier is None else dict(
        earlier.loc[earlier["reason"] == DONE, ["stone_id", "detail"]].itertuples(index=False, name=None)
    )  # fmt: skip
    said = site["treatments"] if settings.day and site.has("treatments", "done_on") else None
    today = [] if said is None else said.loc[said["done_on"].astype(str) == settings.day, "stone_id"].tolist()
    if today:
        return done | dict.fromkeys(map(str, today), f"done on {settings.day}, as recorded")
    begun = rows.loc[rows["apply_at"].map(seconds_of) < seconds_of(settings.from_time), "stone_id"]
    return done | dict.fromkeys(map(str, begun), f"begun before {settings.from_time}, by the plan on file")


def _as_plan(rows: Frame) -> DayPlan:
    """Return the stops on file as the earlier plan: who does what in which order is all that is gone by."""
    days = tuple(
        CrewDay(str(crew), tuple(Op("work", str(stone), 0, 0.0, 0.0, 0.0) for stone in mine["stone_id"]),
                0.0, 0.0, 0.0, 0.0)
        for crew, mine in rows.groupby("crew_id", sort=True)
    )  # fmt: skip
    return DayPlan(days, (), Provenance("on file", "", 0, 0, ""))


def crews_from(crews: Sequence[Crew], from_s: float) -> list[Crew]:
    """Return who is still out then: from their bases, cans full, breaks that could begin earlier taken."""
    return [
        replace(crew, shift_from_s=max(crew.shift_from_s, from_s),
                breaks=tuple(one for one in crew.breaks if one.from_s >= from_s))
        for crew in crews if crew.shift_to_s > from_s
    ]  # fmt: skip
