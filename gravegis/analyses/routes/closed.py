"""When a funeral, mowing or digging shuts stones: the closures on file, in seconds of the civil day."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, NamedTuple
from zoneinfo import ZoneInfo

import numpy as np
import shapely

from gravegis.errors import LayerError, Problem
from gravegis.layers.stones import numbers

if TYPE_CHECKING:
    from collections.abc import Iterator

    from shapely.geometry.base import BaseGeometry

    from gravegis.layers.canonical import Frame
    from gravegis.site import Site

DAY_S = 86_400.0
WHOLE_GROUND = "one without an outline shuts the whole ground"


class Closed(NamedTuple):
    """A span of the day in which the stones of some rows are shut, and what shuts them."""

    from_s: float
    to_s: float
    kind: str
    stones: tuple[str, ...]


def closed(site: Site, todo: Frame, day: str) -> Iterator[Closed]:
    """Give what is shut on a day (YYYY-MM-DD); raises LayerError for times nobody can read."""
    if not site.has("closures"):
        return
    closures, midnight = site["closures"], dt.datetime.fromisoformat(day)
    stones = site["stones"].set_index("stone_id").loc[list(todo["stone_id"])].geometry
    quiet_m = np.nan_to_num(numbers(closures, "closures", "quiet_m"))
    for row, (one, (low, high)) in enumerate(zip(closures.to_dict("records"), _spans(site, closures), strict=True)):
        # one without a beginning or an end holds until somebody says otherwise
        from_s = 0.0 if low is None else (low - midnight).total_seconds()
        to_s = DAY_S if high is None else (high - midnight).total_seconds()
        if to_s <= 0 or from_s >= DAY_S:
            continue
        place = one.get("geometry")
        near = np.ones(len(stones), dtype=bool)
        if not _nowhere(place):
            near = shapely.distance(np.asarray(stones), place) <= quiet_m[row]
        shut = tuple(str(name) for name in stones.index[near])
        yield Closed(max(from_s, 0.0), min(to_s, DAY_S), str(one.get("kind") or "closed"), shut)


def without_outline(site: Site) -> int:
    """Return how many closures nobody drew."""
    frame = site["closures"]
    return len(frame) if "geometry" not in frame.columns else sum(map(_nowhere, frame["geometry"]))


def _nowhere(place: BaseGeometry | None) -> bool:
    return place is None or bool(place.is_empty)


def _spans(site: Site, closures: Frame) -> list[tuple[dt.datetime | None, dt.datetime | None]]:
    """Return beginning and end of each closure in civil time; all that cannot be read is said at once."""
    zone = ZoneInfo(site.info.time_zone) if site.info.time_zone else None
    spans: list[tuple[dt.datetime | None, dt.datetime | None]] = []
    problems: list[Problem] = []
    for row in closures.to_dict("records"):
        where, ends = f"closures[{row['closure_id']}]", list[dt.datetime | None]()
        for name in ("from_at", "to_at"):
            try:
                ends.append(_civil(row.get(name), zone, is_end=name == "to_at"))
            except ValueError as error:
                problems.append(Problem(f"{name} is '{row[name]}'{error}.", where, REMEDY))
                ends.append(None)
        low, high = ends
        if low is not None and high is not None and high <= low:
            text = f"It runs from {row['from_at']} to {row['to_at']}: the end is not after the beginning."
            problems.append(Problem(text, where, "Give the beginning first."))
        spans.append((low, high))
    if problems:
        raise LayerError.of(problems)
    return spans


REMEDY = "Write it as 2026-12-02T14:30, civil time of the site, or as a date for the whole day."


def _civil(typed: object, zone: ZoneInfo | None, *, is_end: bool) -> dt.datetime | None:
    """Return an instant as civil time of the site; a bare date is the whole day."""
    if not isinstance(typed, str) or not typed.strip():
        return None
    words = typed.strip()
    try:
        at = dt.datetime.fromisoformat(words)
    except ValueError:
        raise ValueError("") from None
    if at.tzinfo is not None:
        if zone is None:
            raise ValueError(" with an offset, and the time zone of the site is not known")
        at = at.astimezone(zone).replace(tzinfo=None)
    is_date = "T" not in words.upper() and ":" not in words and " " not in words
    return at + dt.timedelta(days=1) if is_end and is_date else at
