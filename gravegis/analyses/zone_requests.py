"""Which zone must be off from when to when, so that nobody works in the spray and nothing is washed away."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from gravegis.contract import Analysis, Job, Result, listed, number, text, time_typed
from gravegis.science.care.zones_off import AFTER_H, EVENING_AT

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gravegis.layers.canonical import Frame
    from gravegis.science.care.zones_off import OffWindow
    from gravegis.site import Site

PRACTICE = "common practice, no source"
UNDATED = dt.date(2001, 1, 2)  # stands for 'day 1': only differences of days are used
_LAST = "23:59"
DONE = "DONE_TODAY"
"""Reason of `routes` for a stone done before the rest of the day was planned anew."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RequestSettings:
    """How long before and after the work a zone stays off."""

    evening_at: str = text(
        EVENING_AT, "Off from this time of the evening before.", form="a time such as 18:00", source=PRACTICE,
        reader=time_typed,
    )  # fmt: skip
    after_h: float = number(
        AFTER_H, "Off for so long after the last stone was treated.", unit="h", low=0, high=240, source=PRACTICE
    )


def run(site: Site, settings: RequestSettings, job: Job) -> Result:
    """List every zone that reaches a stone of the day plan, with the time it has to stay off.

    From the evening before, so that the ground is dry, until some hours after the last stone was treated; where
    stones are only looked at, until the last crew has left them. Days that meet become one request. What was
    answered is read from `permissions` (zone_id and status); leave
    that ends before the zone may run again is no leave. Heads whose zone is not known are named in the notes:
    nobody can turn off what nobody can name. The label of a cleaner may ask for longer.
    """
    import pandas as pd

    from gravegis.layers.canonical import column, empty

    job.progress(0.1, "stones of the plan and the zones that reach them")
    links = site["wetting_links"] if site.has("wetting_links") else empty("wetting_links")
    stops = _stops(site)
    dated = any(_date(one) is not None for one in stops["day"].unique())
    reach = pd.DataFrame({"stone_id": links["stone_id"], "zone_id": column(links, "wetting_links", "zone_id")})
    met = stops.merge(reach.drop_duplicates(), on="stone_id")
    nameless = met.loc[met["zone_id"].isna(), "stone_id"].nunique()
    treated = _treated(site)
    rows = [
        _row(zone, window, _answer(site, str(zone), window, dated=dated), dated=dated)
        for zone, of_zone in met.dropna(subset=["zone_id"]).groupby("zone_id", sort=True)
        for window in _windows(of_zone, treated, settings)
    ]
    job.progress(0.9, "writing the requests")
    frame = pd.DataFrame(rows) if rows else empty("zone_requests")
    return Result(layers={"zone_requests": frame}, notes=_notes(rows, int(nameless)))


def _stops(site: Site) -> Frame:
    """Return the stones of each day with the time they are left.

    Spare ones, and those done before the rest of the first day was planned anew, count as left last.
    """
    import pandas as pd

    stops = site["stops"][["stone_id", "day", "leave_at"]]
    last, also = stops.groupby("day", as_index=False)["leave_at"].max(), []
    if site.has("spares"):
        also.append(site["spares"][["stone_id", "day"]])
    if site.has("unplanned", "reason") and len(last):
        left = site["unplanned"]
        also.append(left.loc[left["reason"] == DONE, ["stone_id"]].assign(day=last["day"].iloc[0]))
    return pd.concat([stops, *(rows.merge(last, on="day") for rows in also)], ignore_index=True) if also else stops


def _date(day: str) -> dt.date | None:
    try:
        return dt.date.fromisoformat(day)
    except ValueError:
        return None


def _day(day: str) -> dt.date:
    """Return the date of a day, for ``day 3`` of an undated plan the second after the one that stands for day 1."""
    found = _date(day)
    if found is not None:
        return found
    nth = day.rpartition(" ")[2]
    return UNDATED + dt.timedelta(days=int(nth) - 1 if nth.isdecimal() else 0)


def _answer(site: Site, zone: str, window: OffWindow, *, dated: bool) -> str:
    """Return how a request stands: a refusal counts on any day of work, other answers if they hold to the last day."""
    from gravegis.layers.zones_off import zone_answers

    days = (window.off_from.date() + dt.timedelta(days=1), window.on_again.date())
    states = [
        zone_answers(site.get("permissions"), str(day) if dated else "").get(zone, ("not asked", ""))[0] for day in days
    ]
    return "refused" if "refused" in states else states[1]


def _treated(site: Site) -> frozenset[str] | None:
    """Return the stones on which something is put; None where the worklist does not tell."""
    work = site.get("worklist")
    # a column without a value tells that nothing is put on, no column tells nothing
    if work is None or work.empty or "method" not in work.columns:
        return None
    return frozenset(work.loc[work["method"].notna(), "stone_id"])


def _windows(of_zone: Frame, treated: frozenset[str] | None, settings: RequestSettings) -> Iterator[OffWindow]:
    from gravegis.science.care.zones_off import joined, off_window

    evening = dt.time.fromisoformat(settings.evening_at)
    made = []
    for day, stops in of_zone.groupby("day"):
        stones = frozenset(stops["stone_id"])
        is_treated = treated is None or bool(stones & treated)
        last = stops["leave_at"].dropna().max()
        leave = dt.time.fromisoformat(last if isinstance(last, str) else _LAST)
        hours = settings.after_h if is_treated else 0.0
        made.append(off_window(_day(str(day)), leave, stones, evening_at=evening, after_h=hours))
    yield from joined(made)


def _row(zone: object, window: OffWindow, answer: str, *, dated: bool) -> dict[str, Any]:
    return {
        "zone_id": zone,
        "off_from": _told(window.off_from, dated=dated),
        "on_again": _told(window.on_again, dated=dated),
        "stones_n": len(window.stones),
        "answer": answer,
    }


def _told(at: dt.datetime, *, dated: bool) -> str:
    """Return an instant as YYYY-MM-DDTHH:MM, or in days from the day of an undated plan."""
    # to whole minutes, upwards: on again never before the time is over
    at += dt.timedelta(minutes=1 if at.second else 0)
    if dated:
        return at.strftime("%Y-%m-%dT%H:%M")
    return f"day {(at.date() - UNDATED).days + 1} {at:%H:%M}"


def _notes(rows: list[dict[str, Any]], nameless_n: int) -> tuple[str, ...]:
    asked = [f"{one['zone_id']} ({one['stones_n']} stones)" for one in rows]
    refused = [f"{one['zone_id']} ({one['stones_n']} stones)" for one in rows if one["answer"] == "refused"]
    out = [f"To be asked for off: zone {listed(asked)}." if asked else "No zone reaches a stone of the plan."]
    if refused:
        out.append(f"Refused: zone {listed(refused)}. Nobody goes to these stones: run routes again or take them off.")
    if nameless_n:
        out.append(f"{nameless_n} stones of the plan are reached by heads whose zone is not on file: ask which it is.")
    return tuple(out)


ANALYSIS = Analysis(
    name="zone_requests",
    title="Zones to be asked for off",
    question="Which zone must be off from when to when, and for which stones?",
    needs={"stops": ("stone_id", "day", "leave_at")},
    uses={
        "spares": {"*": "", "stone_id": "", "day": ""},
        "unplanned": {"*": "", "stone_id": "", "reason": ""},
        "wetting_links": {"*": "which zone reaches which stone is not known: no request", "zone_id": ""},
        "worklist": {"*": "every stone of the plan is treated: its zone stays off after the work too", "method": ""},
        "permissions": {"*": "", "zone_id": "", "status": "", "until": "", "ref": ""},
    },
    gives={
        "zone_requests": {
            "zone_id": "zone to be off",
            "off_from": "off from",
            "on_again": "may run again from",
            "stones_n": "stones of the plan it reaches",
            "answer": "answer so far",
        }
    },
    may_be_missing=frozenset({"zone_requests.off_from", "zone_requests.answer", "zone_requests.on_again"}),
    settings=RequestSettings,
    run=run,
    version=2,
    tables=("permission_states",),
    facts=(),
    sources=(f"evening before until a day after: {PRACTICE}",),
)
