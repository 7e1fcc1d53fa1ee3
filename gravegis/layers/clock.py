"""When zones run, from the schedule of a site: hours a season, wet nights and spells, sun, the wind in those hours."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from gravegis.errors import SettingError
from gravegis.layers.holder import holds

if TYPE_CHECKING:
    import numpy.typing as npt

    from gravegis.layers.canonical import Frame
    from gravegis.layers.holder import Holder
    from gravegis.science.irrigation.schedule import Season

    Floats = npt.NDArray[np.float64]
    Ints = npt.NDArray[np.int64]

__all__ = ["Clock", "clock_of", "stone_hours", "wind_of"]

_PIECE_S = 3600  # long runs are looked at hour by hour
_HOUR_S, _YEAR_H = 3600, 366 * 24
_NOTHING = (np.nan, np.nan, np.nan, np.nan)


@dataclass(frozen=True, slots=True, eq=False)
class Clock:
    """A season, the place (longitude and latitude, None where no time zone is known), and the drying time."""

    season: Season
    place: tuple[float, float] | None
    drying_h: float
    known: dict[frozenset[str], tuple[float, float, float, float]] = field(default_factory=dict)

    def hours(self, zone_id: object) -> float:
        """Return the hours a season of one zone, NaN where they are not known."""
        return self.figures(frozenset([str(zone_id)]))[0]

    def figures(self, zones: frozenset[str]) -> tuple[float, float, float, float]:
        """Return hours a season, wet nights, longest wet spell [h] and share of runs with the sun up."""
        if zones not in self.known:
            self.known[zones] = self._figures(zones) if zones <= self.season.zones else _NOTHING
        return self.known[zones]

    def _figures(self, zones: frozenset[str]) -> tuple[float, float, float, float]:
        from gravegis.science.irrigation.schedule import hours_of_any

        runs = self.season.intervals
        mine = np.isin(runs.zone, sorted(zones))
        start_s, end_s = runs.start_s[mine], runs.end_s[mine]
        hours, spell = hours_of_any(runs, zones), _longest_h(start_s, end_s, self.drying_h)
        if self.place is None or not len(start_s):
            return hours, np.nan if len(start_s) else 0.0, spell, np.nan
        nights, share = _nights_and_sun(start_s, end_s, self.place)
        return hours, nights, spell, share


def clock_of(site: Holder, drying_h: float) -> Clock | None:
    """Return the clock of a site, None without a schedule."""
    from gravegis.science.irrigation.schedule import program_lines, season

    if not holds(site, "schedules"):
        return None
    rows: Any = site["schedules"].astype(object)
    lines, unread = program_lines(rows.where(rows.notna(), None).to_dict("records"))
    try:
        made = season(lines, site.info.time_zone, unread)
    except ValueError as error:
        raise SettingError(str(error), where="site.time_zone") from None
    return Clock(made, _place(site) if site.info.time_zone else None, drying_h)


def _place(site: Holder) -> tuple[float, float] | None:
    """Return longitude and latitude of the middle of the stones, of the heads where there are none."""
    import pyproj

    layer = next((name for name in ("stones", "heads") if holds(site, name)), None)
    bounds: Any = [np.nan] if layer is None else site[layer].total_bounds
    if not np.isfinite(bounds).all():
        return None
    to_degrees = pyproj.Transformer.from_crs(site.info.crs, "EPSG:4326", always_xy=True)
    lon, lat = to_degrees.transform((bounds[0] + bounds[2]) / 2.0, (bounds[1] + bounds[3]) / 2.0)
    return (float(lon), float(lat)) if np.isfinite([lon, lat]).all() else None


def _longest_h(start_s: Ints, end_s: Ints, drying_h: float) -> float:
    """Return the longest time over which a stone never dries between two runs, and after the last of them."""
    if not len(start_s):
        return 0.0
    order = np.argsort(start_s, kind="stable")
    start, until = start_s[order], np.maximum.accumulate(end_s[order]) + round(drying_h * 3600)
    fresh = np.flatnonzero(np.concatenate([[True], start[1:] > until[:-1]]))
    last = np.append(fresh[1:], len(start)) - 1
    return float((until[last] - start[fresh]).max()) / 3600.0


def _pieces(start_s: Ints, end_s: Ints) -> tuple[Ints, Ints]:
    """Return moments within each run, an hour apart at most, its ends among them, and the run of each."""
    count = np.maximum(2, -(-(end_s - start_s) // _PIECE_S) + 1)
    run = np.repeat(np.arange(len(start_s)), count)
    step = np.arange(len(run)) - np.repeat(np.cumsum(count) - count, count)
    share = step / (count[run] - 1)
    return start_s[run] + np.rint(share * (end_s - start_s)[run]).astype(np.int64), run


def _clock_hours(start_s: Ints, end_s: Ints) -> tuple[Ints, Ints]:
    """Return the clock hours that runs touch, and how many seconds of each."""
    first = start_s // _HOUR_S
    count = np.maximum(first, (end_s - 1) // _HOUR_S) - first + 1
    run = np.repeat(np.arange(len(start_s)), count)
    at_s = (first[run] + np.arange(len(run)) - np.repeat(np.cumsum(count) - count, count)) * _HOUR_S
    return at_s, np.maximum(np.minimum(end_s[run], at_s + _HOUR_S) - np.maximum(start_s[run], at_s), 0)


def _nights_and_sun(start_s: Ints, end_s: Ints, place: tuple[float, float]) -> tuple[float, float]:
    from gravegis.science.sun import RISEN_DEG, sun_height_deg

    at_s, run = _pieces(start_s, end_s)
    up = sun_height_deg(at_s, *place) > RISEN_DEG
    # a night lasts from noon to noon of the sun
    night = np.floor((at_s[~up] + place[0] * 240.0 - 43200.0) / 86400.0)
    sunny = np.zeros(len(start_s), dtype=np.bool_)
    sunny[run[up]] = True
    return float(len(np.unique(night))), float(sunny.mean())


def stone_hours(table: Frame, kept: Frame, sights: Frame, clock: Clock | None) -> Floats:
    """Return hours, wet nights, longest wet spell and sunny share of each stone, shape ``(stones, 4)``.

    NaN where the schedule of one zone that reaches the stone is not known; 0 hours where none reaches it.
    """
    import pandas as pd

    out = np.full((len(table), 4), np.nan)
    if clock is None:
        return out
    named = sights["head_id"].isin(kept["head_id"].unique())
    seen = sights[sights["is_wet"] & ~named & (sights["zone_id"] != "")]
    out[~table["reached"].fillna(value=True).to_numpy(dtype=bool)] = (0.0, 0.0, 0.0, np.nan)
    row = np.concatenate([kept["stone"].to_numpy(np.int64), seen["row"].to_numpy(np.int64)])
    code, names = pd.factorize(pd.concat([kept["zone_id"], seen["zone_id"]]).fillna(""))
    row, code = np.divmod(np.unique(row * max(1, len(names)) + code), max(1, len(names)))
    first = np.flatnonzero(np.diff(row, prepend=-1))
    told = np.asarray(names, dtype=object)
    figures = [clock.figures(frozenset(told[some].tolist())) for some in np.split(code, first[1:])] if len(row) else []
    out[row[first]] = np.reshape(figures, (len(first), 4))
    return out


def wind_of(site: Holder, zones: list[Any], clock: Clock | None) -> tuple[Floats, Floats] | None:
    """Return speed and bearing of the mean wind in the hours each zone runs, by row of ``zones``; None without.

    The weather of a year stands for every year: hours are met by month, day and hour. Zones of unknown hours, and
    hours without a record, count as still.
    """
    if clock is None or clock.place is None or not holds(site, "weather", "wind_m_s"):
        return None
    weather = site["weather"]
    if not {"at", "wind_from_deg"} <= set(weather.columns):
        return None
    rows = weather.dropna(subset=["at", "wind_m_s", "wind_from_deg"])
    if rows.empty:
        return None
    toward = np.radians(rows["wind_from_deg"].to_numpy(np.float64) + 180.0)
    speed = rows["wind_m_s"].to_numpy(np.float64)
    sums = np.zeros((_YEAR_H, 3))
    hour = _hour_of_year(np.asarray(rows["at"].str.removesuffix("Z"), dtype="datetime64[s]"))
    np.add.at(sums, hour, np.stack([speed * np.sin(toward), speed * np.cos(toward), np.ones(len(rows))], axis=1))
    mean = {zone: _mean_wind(clock, str(zone), sums) for zone in {str(one) for one in zones}}
    east, north = np.array([mean[str(zone)] for zone in zones], dtype=np.float64).reshape(-1, 2).T
    return np.hypot(east, north), np.degrees(np.arctan2(-east, -north)) % 360.0


def _mean_wind(clock: Clock, zone: str, sums: Floats) -> tuple[float, float]:
    runs = clock.season.intervals
    mine = runs.zone == zone
    if zone not in clock.season.zones or not mine.any():
        return 0.0, 0.0
    at_s, weight = _clock_hours(runs.start_s[mine], runs.end_s[mine])
    found = sums[_hour_of_year(at_s.astype("datetime64[s]"))]
    some = (found[:, 2] > 0) & (weight > 0)
    if not some.any():
        return 0.0, 0.0
    mean = found[some, :2] / found[some, 2:]
    return (float(np.average(mean[:, 0], weights=weight[some])), float(np.average(mean[:, 1], weights=weight[some])))


def _hour_of_year(at: npt.NDArray[np.datetime64]) -> Ints:
    """Return month, day and hour as a place in a leap year."""
    month = at.astype("datetime64[M]")
    into_h = (at.astype("datetime64[h]") - month.astype("datetime64[h]")).astype(np.int64)
    leap = np.arange(np.datetime64("2000-01", "M"), np.datetime64("2001-01", "M")).astype("datetime64[h]")
    first_h = (leap - leap[0]).astype(np.int64)
    return np.asarray((first_h[month.astype(np.int64) % 12] + into_h) % _YEAR_H)
