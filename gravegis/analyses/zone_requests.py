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
    answered is read from `permissions` (zone_id and status). Heads whose zone is not known are named in the notes:
    nobody can turn off what nobody can name. The label of a cleaner may ask for longer.
    """
    import pandas as pd

    from gravegis.layers.canonical import column, empty
    from gravegis.layers.zones_off import zone_answers

    job.progress(0.1, "stones of the plan and the zones that reach them")
    links = site["wetting_links"] if site.has("wetting_links") else empty("wetting_links")
    stops = _stops(site)
    day = next((one for one in sorted(stops["day"].unique()) if _date(one) is not None), "")
    answers = zone_answers(site.get("permissions"), day)
    reach = pd.DataFrame({"stone_id": links["stone_id"], "zone_id": column(links, "wetting_links", "zone_id")})
    met = stops.merge(reach.drop_duplicates(), on="stone_id")
    nameless = met.loc[met["zone_id"].isna(), "stone_id"].nunique()
    treated = _treated(site)
    rows = [
        _row(zone, window, answers.get(str(zone), ("not asked", ""))[0], dated=bool(day))
        for zone, of_zone in met.dropna(subset=["zone_id"]).groupby("zone_id", sort=True)
        for window in _windows(of_zone, treated, settings)
    ]
    job.progress(0.9, "writing the requests")
    frame = pd.DataFrame(rows) if rows else empty("zone_requests")
    return Result(layers={"zone_requests": frame}, notes=_notes(rows, int(nameless)))


def _stops(site: Site) -> Frame:
    """Return the stones of each day with the time they are left; spare ones as late as the last of the day."""
    import pandas as pd

    stops = site["stops"][["stone_id", "day", "leave_at"]]
    if not site.has("spares"):
        return stops
    last = stops.groupby("day", as_index=False)["leave_at"].max()
    return pd.concat([stops, site["spares"][["stone_id", "day"]].merge(last, on="day")], ignore_index=True)


def _date(day: str) -> dt.date | None:
    try:
        return dt.date.fromisoformat(day)
    except ValueError:
        return None


def _treated(site: Site) -> frozenset[str] | None:
    """Return the stones on which something is put; None where the worklist does not tell."""
    if not site.has("worklist", "method"):
        return None
    work = site["worklist"]
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
        made.append(off_window(_date(str(day)) or UNDATED, leave, stones, evening_at=evening, after_h=hours))
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
    version=1,
    tables=("permission_states",),
    facts=(),
    sources=(f"evening before until a day after: {PRACTICE}",),
)
