"""When each zone runs: programme lines expanded to intervals in UTC, and the hours they make.

The only reader of schedule lines. Where a controller could read a line in more than one way, the docstring
says which way is taken (choices of this package, no source).
"""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterable, Mapping, Sequence

__all__ = [
    "REFERENCE_YEAR", "DayRule", "Intervals", "ProgramLine", "Season", "Unread", "expand", "hours_by_zone",
    "hours_of_any", "parse_adjust", "parse_every", "program_lines", "season", "season_days",
]  # fmt: skip

Days = npt.NDArray[np.datetime64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

REFERENCE_YEAR = 2026
"""Year taken for a season when no line names one. Choice of this package: neither it nor the next has a 29 February."""

_DAY_S = 86_400
_LONGEST_DAYS = 366  # no start may take longer than a year: it would be a slip of the pen
_WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
_WEEKDAY = {word: i for i, name in enumerate(_WEEKDAYS) for word in (name, name[:3])}
_INTERVAL = re.compile(r"^([1-9]\d{0,2})\s*d\s+from\s+([12]\d{3}-\d{2}-\d{2})$")
_START = re.compile(r"^([01]?\d|2[0-3]):([0-5]\d)(?::([0-5]\d))?$")
_CALENDAR_DAY = re.compile(r"^(?:([12]\d{3})-)?(\d{2})-(\d{2})$")
_YEAR = 10_000  # days as numbers: 20261001, without a year 1001


@dataclass(frozen=True, slots=True)
class ProgramLine:
    """One line of a programme.

    Attributes
    ----------
    zone_id, start, every
        Zone that it runs; civil time ``HH:MM`` or ``HH:MM:SS`` of the first cycle; days, see `parse_every`.
    run_min
        Length of one cycle at 100 percent, 0 or more. [min]
    cycles_n, soak_min
        Cycles a start, 1 or more; rest from the end of one to the next, never adjusted. [min]
    from_on, to_on
        First and last day of the season, both included, ``MM-DD`` or ``YYYY-MM-DD``; without years it may
        cross New Year. Both empty: no limit. With a year on one side only, the other is the nearest such day.
    adjust_pct
        Seasonal adjustment of the cycle: one figure, or twelve, January first; the month of the start counts. [%]
    """

    zone_id: str
    start: str
    run_min: float
    every: str = "daily"
    cycles_n: int = 1
    soak_min: float = 0.0
    from_on: str = ""
    to_on: str = ""
    adjust_pct: tuple[float, ...] = (100.0,)


@dataclass(frozen=True, slots=True, eq=False)
class Intervals:
    """When zones run, arrays of shape ``(intervals,)``, sorted by zone, then time; those of a zone never touch.

    ``start_s`` and ``end_s`` are whole seconds since 1970 UTC (of civil time where no time zone was given).
    """

    zone: npt.NDArray[np.str_]
    start_s: Ints
    end_s: Ints

    def __len__(self) -> int:
        return len(self.zone)


@dataclass(frozen=True, slots=True)
class Unread:
    """A line that cannot be used, and why in words."""

    zone_id: str
    words: str


@dataclass(frozen=True, slots=True, eq=False)
class Season:
    """One year of running: its days, when zones run, zones whose hours are known, lines that leave them unknown."""

    first_day: dt.date
    last_day: dt.date
    intervals: Intervals
    zones: frozenset[str]
    unknown: tuple[Unread, ...]


@dataclass(frozen=True, slots=True)
class DayRule:
    """Days on which a line starts: weekdays (Monday is 0), rest of the day of the month by two, steps from a day."""

    weekdays: tuple[int, ...] = tuple(range(7))
    rests: tuple[int, ...] = (0, 1)
    step_n: int = 1
    counted_from: dt.date | None = None

    def runs_on(self, days: Days) -> Bools:
        """Whether it starts on each day, shape ``(days,)``; days are of dtype ``datetime64[D]``."""
        count = days.astype(np.int64)
        from_day = 0 if self.counted_from is None else (self.counted_from - dt.date(1970, 1, 1)).days
        # day 0 of the count was a Thursday
        on = np.isin((count + 3) % 7, self.weekdays) & np.isin(_day_numbers(days) % 2, self.rests)
        return np.asarray(on & ((count - from_day) % self.step_n == 0))


_PLAIN: Mapping[str, DayRule] = {"daily": DayRule(), "odd": DayRule(rests=(1,)), "even": DayRule(rests=(0,))}


def parse_every(text: str) -> DayRule:
    """Return the rule behind a text such as ``mon,wed,fri``, ``3d from 2026-10-01``, ``odd``, ``even``, ``daily``.

    Odd and even go by the day of the month, so an odd line runs on the 31st and on the 1st. The day an interval
    is counted from sets the count only, also backwards: the season says when the line begins and ends. Raises
    ValueError for anything else, with the forms there are.
    """
    words = text.strip().lower()
    if words in _PLAIN:
        return _PLAIN[words]
    found = _INTERVAL.match(words)
    if found is not None:
        _day_number(found.group(2))  # refuses what is no day
        return DayRule(step_n=int(found.group(1)), counted_from=dt.date.fromisoformat(found.group(2)))
    named = [word for word in re.split(r"[,;\s]+", words) if word]
    if named and all(word in _WEEKDAY for word in named):
        return DayRule(weekdays=tuple(sorted({_WEEKDAY[word] for word in named})))
    raise ValueError(f"'{text}' says no days: expected mon,wed,fri or 3d from 2026-10-01 or odd, even, daily")


def parse_adjust(text: str) -> tuple[float, ...]:
    """Return one or twelve percentages written with commas, semicolons or blanks; else raise ValueError."""
    try:
        figures = tuple(float(word) for word in re.split(r"[,;\s]+", text.replace("%", " ").strip(" ,;")))
    except ValueError:
        figures = ()
    if len(figures) not in (1, 12) or not all(0 <= figure < np.inf for figure in figures):
        raise ValueError(f"'{text}' is neither one percentage nor twelve, 0 or more")
    return figures


def program_lines(rows: Iterable[Mapping[str, object]]) -> tuple[tuple[ProgramLine, ...], tuple[Unread, ...]]:
    """Read the rows of a table of schedules; what is missing is None or has no key.

    Without cycles there is one, without a rest none, without an adjustment 100 percent. A row without start,
    minutes or days, or one that cannot be read, is given back with the reason.
    """
    lines, unread = list[ProgramLine](), list[Unread]()
    for row in rows:
        there = {name: value for name, value in row.items() if value is not None}
        zone_id, name = str(there.get("zone_id", "")), str(there.get("schedule_id", "a line"))
        absent = [word for key, word in _NEEDED.items() if key not in there]
        try:
            if absent:
                raise ValueError(f"it has no {' and no '.join(absent)}")
            given = {key: _READ.get(key, str)(str(there[key])) for key in _FIELDS if key in there}
            line = ProgramLine(zone_id, given.pop("start_at"), **given)  # type: ignore[arg-type]  # read as declared
            _program(line)
        except ValueError as error:
            unread.append(Unread(zone_id, f"{name}: {error}"))
        else:
            lines.append(line)
    return tuple(lines), tuple(unread)


_NEEDED = {"start_at": "start", "run_min": "minutes", "every": "days"}
_FIELDS = ("start_at", "run_min", "every", "cycles_n", "soak_min", "from_on", "to_on", "adjust_pct")
_READ: Mapping[str, Callable[[str], object]] = {
    "run_min": float, "cycles_n": lambda text: _whole(text), "soak_min": float, "adjust_pct": parse_adjust,
}  # fmt: skip


def _whole(text: str) -> int:
    figure = float(text)
    if not np.isfinite(figure):
        raise ValueError(f"{text} cycles have no end")
    return int(figure)


def expand(lines: Sequence[ProgramLine], first_day: dt.date, last_day: dt.date, time_zone: str) -> Intervals:
    """Return when the zones run from the start of the first day to the end of the last.

    Runs that began before the range, or go on after it, are cut at midnight, so that days put together give
    the same hours as the days one by one. The length of a run is elapsed time. At a clock change a start that
    is skipped (02:30) runs as much later (03:30); a start that comes twice runs once, the first time. Raises
    ValueError naming every line that cannot be used, for an unknown time zone and for days in the wrong order.

    Parameters
    ----------
    lines
        The programme; runs of one zone that overlap or touch are one interval.
    first_day, last_day
        Civil days, both included.
    time_zone
        IANA name. Empty where nobody said: the seconds are then civil time without clock changes, good for
        sums of hours, not for the sun.
    """
    if last_day < first_day:
        raise ValueError(f"The last day, {last_day}, lies before the first, {first_day}.")
    zone, programs = _time_zone(time_zone), _programs(lines)
    edge = np.array([first_day, last_day + dt.timedelta(days=1)], dtype="datetime64[D]")
    low_s, high_s = _utc_s(edge, 0, zone)
    back_n = max((program.look_back_days for program in programs), default=0)
    days = np.arange(edge[0] - np.timedelta64(back_n, "D"), edge[1])
    at_s = {start_s: _utc_s(days, start_s, zone) for start_s in {program.start_s for program in programs}}
    nothing = np.zeros(0, dtype=np.int64)
    names, starts, ends = list[str](), [nothing], [nothing]
    for program in programs:
        start_s, end_s = program.runs(days, at_s[program.start_s])
        start_s, end_s = np.maximum(start_s, low_s), np.minimum(end_s, high_s)
        kept = start_s < end_s
        starts.append(start_s[kept])
        ends.append(end_s[kept])
        names += [program.line.zone_id] * int(kept.sum())
    return _merged(np.array(names, dtype=np.str_), np.concatenate(starts), np.concatenate(ends))


def season_days(lines: Sequence[ProgramLine]) -> tuple[dt.date, dt.date]:
    """Return the first and the last day of the one year over which hours a season are counted.

    It begins on the first ``from_on`` that names a year. Where none does, it begins on the earliest
    ``MM-DD`` (1 January without any) of the earliest year that an interval counts from, else of
    `REFERENCE_YEAR`: a season without years lies in it once, in one piece or in two. The clock is never asked.
    """
    firsts = [_day_number(line.from_on) for line in lines if line.from_on]
    counted = [parse_every(line.every).counted_from for line in lines]
    year = min((day.year for day in counted if day is not None), default=REFERENCE_YEAR)
    first = min((day for day in firsts if day > _YEAR), default=year * _YEAR + min(firsts, default=101))
    first -= first % _YEAR == 229  # not every year has 29 February
    first_day, next_day = (dt.date(first // _YEAR + n, first // 100 % 100, first % 100) for n in (0, 1))
    return first_day, next_day - dt.timedelta(days=1)


def season(lines: Sequence[ProgramLine], time_zone: str, unread: Sequence[Unread] = ()) -> Season:
    """Return one year of running, from `season_days`.

    A line without season dates is not counted and makes the hours of its zone unknown: it runs until somebody
    switches it off, nobody knows when. So does a line whose season lies outside the year, or an unread one.
    """
    first_day, last_day = season_days([line for line in lines if line.from_on])
    days = np.arange(np.datetime64(first_day, "D"), np.datetime64(last_day, "D") + 1)
    counted, unknown = list[ProgramLine](), list(unread)
    for line in lines:
        if not line.from_on:
            unknown.append(Unread(line.zone_id, f"the line at {line.start} has no season dates"))
        elif not _in_season(line.from_on, line.to_on, days).any():
            words = f"the line at {line.start} from {line.from_on} lies outside the year from {first_day}"
            unknown.append(Unread(line.zone_id, words))
        else:
            counted.append(line)
    zones = frozenset(line.zone_id for line in counted) - {one.zone_id for one in unknown}
    return Season(first_day, last_day, expand(counted, first_day, last_day, time_zone), zones, tuple(unknown))


def hours_by_zone(intervals: Intervals) -> dict[str, float]:
    """Return the hours each zone runs, by zone."""
    return {str(zone): hours_of_any(intervals, [str(zone)]) for zone in np.unique(intervals.zone)}


def hours_of_any(intervals: Intervals, zones: Collection[str]) -> float:
    """Return the hours in which at least one of these zones runs: the union, never the sum."""
    named = np.array(sorted(zones), dtype=np.str_)
    low, high = np.searchsorted(intervals.zone, named), np.searchsorted(intervals.zone, named, side="right")
    rows = np.concatenate([np.zeros(0, np.int64), *(np.arange(*span) for span in zip(low, high, strict=True))])
    one = _merged(np.full(len(rows), "", dtype=np.str_), intervals.start_s[rows], intervals.end_s[rows])
    return float((one.end_s - one.start_s).sum()) / 3600


@dataclass(frozen=True, slots=True)
class _Program:
    """One line, checked."""

    line: ProgramLine
    start_s: int
    cycle_s: Ints  # (12,) by month
    soak_s: int
    rule: DayRule

    @property
    def look_back_days(self) -> int:
        """How far before a day a start may lie whose last cycle still reaches it (one more for clock changes)."""
        return self.line.cycles_n * (int(self.cycle_s.max()) + self.soak_s) // _DAY_S + 2

    def runs(self, days: Days, utc_s: Ints) -> tuple[Ints, Ints]:
        """Return start and end of every cycle begun by a start on these days."""
        kept = self.rule.runs_on(days) & _in_season(self.line.from_on, self.line.to_on, days)
        cycle_s = self.cycle_s[_day_numbers(days[kept]) // 100 % 100 - 1, None]
        start_s = utc_s[kept, None] + np.arange(self.line.cycles_n) * (cycle_s + self.soak_s)
        return start_s.ravel(), (start_s + cycle_s).ravel()


def _programs(lines: Sequence[ProgramLine]) -> list[_Program]:
    programs, wrong = list[_Program](), list[str]()
    for row, line in enumerate(lines):
        try:
            programs.append(_program(line))
        except ValueError as error:
            wrong.append(f"line {row} (zone {line.zone_id}): {error}")
    if wrong:
        raise ValueError("; ".join(wrong) + ".")
    return programs


def _program(line: ProgramLine) -> _Program:
    found = _START.match(line.start)
    if found is None:
        raise ValueError(f"start '{line.start}' is no time such as 05:30")
    hours, minutes, seconds = (int(part or 0) for part in found.groups())
    for name, low in (("run_min", 0), ("soak_min", 0), ("cycles_n", 1)):
        value = getattr(line, name)
        if not low <= value < np.inf:
            raise ValueError(f"{name} is {value:g}, expected {low} or more")
    percent = np.array(parse_adjust(",".join(repr(float(figure)) for figure in line.adjust_pct)))
    if line.cycles_n * (line.run_min * percent.max() / 100 + line.soak_min) * 60 > _LONGEST_DAYS * _DAY_S:
        raise ValueError("one start takes longer than a year")
    _in_season(line.from_on, line.to_on, np.zeros(0, dtype="datetime64[D]"))  # refuses what cannot be read
    cycle_s = np.broadcast_to(np.rint(line.run_min * 60 * percent / 100).astype(np.int64), 12)
    start_s = hours * 3600 + minutes * 60 + seconds
    return _Program(line, start_s, cycle_s, round(line.soak_min * 60), parse_every(line.every))


def _day_numbers(days: Days) -> Ints:
    """Return days as numbers such as 20261001: they compare as days do."""
    months = days.astype("datetime64[M]")
    month = months.astype(np.int64)  # since January 1970
    day = (days - months.astype("datetime64[D]")).astype(np.int64) + 1
    return np.asarray((month // 12 + 1970) * _YEAR + (month % 12 + 1) * 100 + day)


def _day_number(text: str) -> int:
    """Return a written day as such a number, without a year as month and day only."""
    found = _CALENDAR_DAY.match(text.strip())
    try:
        year, month, day = (int(part or 0) for part in found.groups()) if found else (0, 0, 0)
        dt.date(year or 2000, month, day)  # 2000 was a leap year
    except ValueError:
        raise ValueError(f"'{text}' is no day such as 10-01 or 2026-10-01") from None
    return year * _YEAR + month * 100 + day


def _in_season(from_on: str, to_on: str, days: Days) -> Bools:
    """Whether each day lies in the season; raises ValueError for a season that cannot be read."""
    if not (from_on or to_on):
        return np.ones(len(days), dtype=np.bool_)
    if not (from_on and to_on):
        raise ValueError(f"the season has only one end ('{from_on or to_on}')")
    first, last, number = _day_number(from_on), _day_number(to_on), _day_numbers(days)
    if first < _YEAR and last < _YEAR:
        after, before = number % _YEAR >= first, number % _YEAR <= last
        return after & before if first <= last else after | before
    if first < _YEAR:
        first += (last // _YEAR - (first > last % _YEAR)) * _YEAR
    elif last < _YEAR:
        last += (first // _YEAR + (last < first % _YEAR)) * _YEAR
    if last < first:
        raise ValueError(f"the season ends ({to_on}) before it begins ({from_on})")
    return np.asarray((number >= first) & (number <= last))


def _time_zone(name: str) -> ZoneInfo | None:
    try:
        return ZoneInfo(name) if name else None
    except (LookupError, ValueError, OSError):
        raise ValueError(f"there is no time zone called '{name}'; expected a name such as Australia/Adelaide") from None


def _utc_s(days: Days, start_s: int, zone: ZoneInfo | None) -> Ints:
    """Return the moments of one civil time on these days, in seconds since 1970 UTC."""
    if zone is None:
        return np.asarray(days.astype(np.int64) * _DAY_S + start_s)
    at = dt.time(start_s // 3600, start_s // 60 % 60, start_s % 60, tzinfo=zone)
    # fold 0: a skipped time counts from the offset before the change, a doubled one is the first (PEP 495)
    moments = (dt.datetime.combine(day, at).timestamp() for day in days.tolist())
    return np.fromiter(moments, dtype=np.float64, count=len(days)).astype(np.int64)


def _merged(zone: npt.NDArray[np.str_], start_s: Ints, end_s: Ints) -> Intervals:
    """Sort by zone and time and join what overlaps or touches."""
    if not len(zone):
        return Intervals(zone, start_s, end_s)
    order = np.lexsort((start_s, zone))
    zone, start_s, end_s = zone[order], start_s[order], end_s[order]
    # zones are set apart in time, so that one running maximum serves all
    place = np.cumsum(np.concatenate([[0], zone[1:] != zone[:-1]])) * (int(end_s.max() - start_s.min()) + 1)
    reached = np.maximum.accumulate(end_s + place)
    fresh = np.flatnonzero(np.concatenate([[True], (start_s + place)[1:] > reached[:-1]]))
    return Intervals(zone[fresh], start_s[fresh], np.maximum.reduceat(end_s, fresh))
