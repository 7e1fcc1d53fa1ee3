"""Which block of stones in which month, when all is done, and what is never reached."""

from __future__ import annotations

import calendar
import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from gravegis.contract import Analysis, Assumption, Job, Result, day_typed, flag, number, text, whole

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from pandas import Series

    from gravegis.layers.canonical import Frame
    from gravegis.science.care.season import Block, Share
    from gravegis.site import Site

PRACTICE = "common practice, no source"
TYPED = "typed; what the owner can pay or the volunteers can give"
COLD_DEGC = 5.0
"""No wet work on a day that gets colder: common practice, no source. [degC]"""
NO_GROUP = "outside every group"
NO_MINUTES = "the worklist has no minutes of work"
ZONE_STAYS_ON = "a zone that reaches them was asked for off and refused"


@dataclass(frozen=True, slots=True, kw_only=True)
class SeasonSettings:
    """The budget, the months, and which of them can be worked."""

    days_n: float = number(40.0, "Days of one pair in all.", unit="1", low=0, high=10_000, source=TYPED)
    month_days_n: float = number(6.0, "Most days of one pair in a month.", unit="1", low=0, high=500, source=TYPED)
    day_work_min: float = number(
        330.0, "Minutes of work of a trained pair in a day, set-up and breaks taken off.", unit="min", low=10, high=900,
        source=PRACTICE,
    )  # fmt: skip
    from_on: str = text(
        "", "Day the season starts.", form="a date such as 2026-12-02, or nothing",
        source="typed; without it the day after the newest check or survey of a stone", reader=day_typed,
    )  # fmt: skip
    months_n: int = whole(12, "Months looked ahead.", low=1, high=120, source="own choice: one year")
    cold_days_frac: float = number(
        0.5, "A month is left out for frost when more of its days than this get colder than 5 degrees.", unit="1",
        low=0, high=1, source="own choice; the 5 degrees: common practice, no source",
    )  # fmt: skip
    ask_off: bool = flag(
        default=True, help="Ask for zones off that run in every month; otherwise their stones are never reached.",
        source=PRACTICE,
    )  # fmt: skip


def run(site: Site, settings: SeasonSettings, job: Job) -> Result:
    """Give each month the most urgent blocks whose zones rest, until the days are used up.

    A block is a group of stones, and a section where stones stand in none. A block begun is finished before another is
    opened. A month is left out when too many of its days are cold by the weather on file. Minutes are those of the
    worklist, which takes your own once there are enough; soak that overlaps and the walk between stones are not in
    them. Stones held, for a conservator, or reached by a zone that was refused (where the refusal has not ended when
    the season starts) are listed as not reached, with that reason.
    """
    import pandas as pd

    from gravegis.layers.canonical import empty
    from gravegis.layers.zones_off import refused_stones
    from gravegis.science.care.season import months_from, plan_season

    job.progress(0.1, "blocks of work")
    start, basis = _start(site, settings)
    months = months_from(start, settings.months_n)
    names = _block_names(site)
    work = site["worklist"]
    work = work.assign(block=[names.get(str(stone), NO_GROUP) for stone in work["stone_id"]])
    refused = refused_stones(site.get("wetting_links"), site.get("permissions"), str(start))
    barred = work["stone_id"].isin(refused)
    out = work[(work["who"] == "crew") & work["hold"].isna() & (work["work_min"] > 0) & ~barred]
    job.progress(0.4, "months")
    cold = _cold_months(site, settings)
    month_days_n = {month: 0.0 if month.month in cold else settings.month_days_n for month in months}
    job.progress(0.6, "sharing out the days")
    shares = plan_season(
        _blocks(out, _zones(site)), months, day_min=settings.day_work_min, days_n=settings.days_n,
        month_days_n=month_days_n, running=_running(site, months), may_ask=settings.ask_off,
    )  # fmt: skip
    rows = [_row(share) for share in shares] + _left(work, out, settings, barred=barred)
    for place, row in enumerate(rows, 1):
        row["season_plan_id"] = f"L{place:03d}"
    frame = pd.DataFrame(rows) if rows else empty("season_plan")
    assumed = (basis,) if len(work) else (Assumption(basis.what, "", 0),)
    return Result(layers={"season_plan": frame}, notes=_notes(shares, cold, months), assumed=assumed)


def _start(site: Site, settings: SeasonSettings) -> tuple[dt.date, Assumption]:
    """Return the first day; without one the day after the newest date of a stone, for no clock is read."""
    from gravegis.layers.canonical import column

    if settings.from_on:
        return dt.date.fromisoformat(settings.from_on), Assumption("season_plan.from_on", "", 0)
    stones = site["stones"] if site.has("stones") else None
    found = [] if stones is None else [
        column(stones, "stones", name).dropna().max() for name in ("surveyed_on", "stability_on")
    ]  # fmt: skip
    newest = max((one for one in found if isinstance(one, str)), default="")
    if newest:
        start = dt.date.fromisoformat(newest) + dt.timedelta(days=1)
        return start, Assumption("season_plan.from_on", f"the season starts on {start}, a day after the newest record")
    return dt.date(2001, 1, 1), Assumption("season_plan.from_on", "no date is known: months count from January 2001")


def _block_names(site: Site) -> dict[str, str]:
    """Return the block of each stone: its group, else its section."""
    from gravegis.layers.canonical import column

    names: dict[str, str] = {}
    if site.has("stones"):
        stones = site["stones"]
        sections = column(stones, "stones", "section")
        names = {
            stone: f"section {section}, no group"
            for stone, section in zip(stones["stone_id"], sections, strict=True)
            if isinstance(section, str)
        }
    if site.has("stone_clusters", "cluster_id"):
        groups = site["stone_clusters"].dropna(subset=["cluster_id"])
        names |= dict(zip(groups["stone_id"], groups["cluster_id"], strict=True))
    return names


def _zones(site: Site) -> dict[str, frozenset[str]]:
    """Return the zones that reach each stone."""
    if not site.has("wetting_links", "zone_id"):
        return {}
    links = site["wetting_links"].dropna(subset=["zone_id"])
    return {str(stone): frozenset(zones) for stone, zones in links.groupby("stone_id")["zone_id"]}


def _blocks(out: Frame, zones: Mapping[str, frozenset[str]]) -> list[Block]:
    from gravegis.science.care.season import Block

    made = []
    for name, rows in out.groupby("block", sort=True):
        ordered = rows.sort_values(["priority", "stone_id"], ascending=[False, True])
        minutes = tuple(ordered["work_min"].astype(float))
        urgency = float(rows["priority"].astype(float).sum()) / sum(minutes)
        reach = frozenset[str]().union(*(zones.get(stone, frozenset()) for stone in rows["stone_id"]))
        made.append(Block(str(name), minutes, urgency, reach))
    return made


def _running(site: Site, months: Sequence[dt.date]) -> dict[dt.date, frozenset[str]]:
    """Return the zones that run in each month; a zone without a programme on file counts as running."""
    from gravegis.layers.stones import words
    from gravegis.science.care.season import runs_in_month

    known = frozenset[str]().union(*_zones(site).values())
    if not site.has("schedules"):
        return dict.fromkeys(months, known)
    frame = site["schedules"]
    lines = list(zip(*(words(frame, "schedules", name) for name in ("zone_id", "from_on", "to_on")), strict=True))
    without = known - {zone for zone, *_ in lines}
    return {
        month: without | {zone for zone, start, end in lines if zone and runs_in_month(month, start or "", end or "")}
        for month in months
    }


def _cold_months(site: Site, settings: SeasonSettings) -> frozenset[int]:
    """Return the months in which too many days on file get cold."""
    import pandas as pd

    if not (site.has("weather", "at") and site.has("weather", "temp_degc")):
        return frozenset()
    weather = site["weather"][["at", "temp_degc"]].dropna()
    if not len(weather):
        return frozenset()
    at = pd.to_datetime(weather["at"], utc=True).dt.tz_convert(site.info.time_zone or "UTC")
    daily = weather["temp_degc"].astype(float).groupby(at.dt.date.to_numpy()).min()
    cold = (daily < COLD_DEGC).groupby([day.month for day in daily.index]).mean()
    return frozenset(int(str(month)) for month, share in cold.items() if share > settings.cold_days_frac)


def _row(share: Share) -> dict[str, Any]:
    month = share.month
    last = month and month.replace(day=calendar.monthrange(month.year, month.month)[1])
    return {
        "month": f"{month:%Y-%m}" if month else None, "cluster_id": share.block, "days": round(share.days, 2),
        "stones_n": share.stones_n, "finish_on": last.isoformat() if last and share.is_last else None,
        "reason": share.reason,
    }  # fmt: skip


def _left(work: Frame, out: Frame, settings: SeasonSettings, *, barred: Series[bool]) -> list[dict[str, Any]]:
    """Return what no crew may go to, by block and reason, so that every stone of the worklist is counted."""
    rest = work[~work["stone_id"].isin(out["stone_id"])]
    crew = rest["who"] == "crew"
    why = ("held: " + rest["hold"].where(crew)).fillna("for " + rest["who"].fillna("nobody"))
    free = crew & rest["hold"].isna()
    why = why.mask(free, NO_MINUTES).mask(free & barred.loc[rest.index], ZONE_STAYS_ON)
    made = []
    for (block, reason), rows in rest.groupby([rest["block"], why], sort=True):
        minutes = (
            float(rows["work_min"].astype(float).fillna(0).sum())
            if str(reason).startswith(("held", ZONE_STAYS_ON))
            else 0.0
        )
        days = round(minutes / settings.day_work_min, 2)
        made.append({"month": None, "cluster_id": block, "days": days, "stones_n": len(rows), "finish_on": None,
                     "reason": reason})  # fmt: skip
    return made


def _notes(shares: Sequence[Share], cold: frozenset[int], months: Sequence[dt.date]) -> tuple[str, ...]:
    done = [share for share in shares if share.month]
    never = [share for share in shares if not share.month]
    if not shares:
        return ("No stone may go out: there is nothing to plan.",)
    days, stones = sum(one.days for one in done), sum(one.stones_n for one in done)
    out = [f"{stones} stones in {days:.1f} days of one pair, from {months[0]:%B %Y} to {months[-1]:%B %Y} at most."]
    if never:
        lacking, missed = sum(one.days for one in never), sum(one.stones_n for one in never)
        out.append(f"Never reached: {missed} stones, which would take {lacking:.1f} days more.")
    elif done:
        out.append(f"All that may go out is done by the end of {max(one.month for one in done if one.month):%B %Y}.")
    if cold:
        out.append(f"Left out for frost: {', '.join(calendar.month_name[one] for one in sorted(cold))}.")
    return tuple(out)


ANALYSIS = Analysis(
    name="season_plan",
    title="Season plan",
    question="Which block in which month, when is it done, and what is never reached?",
    needs={"worklist": ("stone_id", "who", "hold", "work_min", "priority")},
    uses={
        "stone_clusters": {"*": "no groups: blocks are sections", "cluster_id": ""},
        "stones": {"*": "", "section": "", "surveyed_on": "", "stability_on": ""},
        "wetting_links": {"*": "which zone reaches which stone is not known: no month is left out for water",
                          "zone_id": ""},
        "schedules": {"*": "no programmes are on file: zones count as running all year", "zone_id": "", "from_on": "",
                      "to_on": ""},
        "permissions": {"*": "", "zone_id": "", "status": "", "until": "", "ref": ""},
        "weather": {"*": "no weather is on file: no month is left out for frost", "at": "", "temp_degc": ""},
    },
    gives={
        "season_plan": {
            "season_plan_id": "line",
            "month": "month, missing where never reached",
            "cluster_id": "block",
            "days": "days of one pair",
            "stones_n": "stones",
            "finish_on": "day by which the block is done",
            "reason": "why then, or why never",
        }
    },
    may_be_missing=frozenset({"season_plan.month", "season_plan.finish_on", "season_plan.reason"}),
    settings=SeasonSettings,
    run=run,
    version=2,
    tables=("permission_states",),
    facts=("time_zone",),
    sources=(f"minutes of a day, cold limit of 5 degrees: {PRACTICE}", "most urgent work per minute first: own choice"),
)  # fmt: skip
