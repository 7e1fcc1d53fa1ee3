"""When zones run, against plain calendar arithmetic and a minute-by-minute oracle."""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gravegis.science.irrigation.schedule import (
    REFERENCE_YEAR,
    Intervals,
    ProgramLine,
    Unread,
    expand,
    hours_by_zone,
    hours_of_any,
    parse_adjust,
    parse_every,
    program_lines,
    season,
    season_days,
)

ADELAIDE, BERLIN = "Australia/Adelaide", "Europe/Berlin"
QUICK = settings(max_examples=60, deadline=None, derandomize=True)


def _spans(intervals: Intervals, zone: str = "Z1") -> list[tuple[str, str]]:
    """Intervals of a zone in UTC, as a person would write them."""
    rows = np.flatnonzero(intervals.zone == zone)
    return [
        tuple(dt.datetime.fromtimestamp(int(s), dt.UTC).strftime("%m-%d %H:%M") for s in span)  # type: ignore[misc]
        for span in zip(intervals.start_s[rows], intervals.end_s[rows], strict=True)
    ]


def _one_day(line: ProgramLine, day: dt.date, zone: str) -> list[tuple[str, str]]:
    return _spans(expand([line], day, day, zone), line.zone_id)


@pytest.mark.cited("IANA time zone database: South Australia changes at 2:00 on the first Sunday of October")
def test_a_start_skipped_in_adelaide_runs_an_hour_later_by_the_clock() -> None:
    # 2:00 becomes 3:00, so 3:30 daylight time (UTC+10:30) is 17:00 UTC of the day before
    line = ProgramLine("Z1", "02:30", 20)
    assert _one_day(line, dt.date(2026, 10, 4), ADELAIDE) == [("10-03 17:00", "10-03 17:20")]
    assert _one_day(line, dt.date(2026, 10, 3), ADELAIDE) == [("10-02 17:00", "10-02 17:20")]  # UTC+9:30
    assert _one_day(line, dt.date(2026, 10, 5), ADELAIDE) == [("10-04 16:00", "10-04 16:20")]  # UTC+10:30


@pytest.mark.cited("IANA time zone database: South Australia changes back at 3:00 on the first Sunday of April")
def test_a_start_that_comes_twice_in_adelaide_runs_once_the_first_time() -> None:
    line = ProgramLine("Z1", "02:30", 20)
    assert _one_day(line, dt.date(2027, 4, 4), ADELAIDE) == [("04-03 16:00", "04-03 16:20")]


@pytest.mark.cited("Directive 2000/84/EC, articles 2 and 3: 1:00 UTC on the last Sundays of March and October")
def test_both_clock_changes_in_berlin() -> None:
    line = ProgramLine("Z1", "02:30", 90)
    assert _one_day(line, dt.date(2027, 3, 28), BERLIN) == [("03-28 01:30", "03-28 03:00")]  # 3:30 in summer time
    assert _one_day(line, dt.date(2026, 10, 25), BERLIN) == [("10-25 00:30", "10-25 02:00")]  # once, in summer time


def test_a_run_through_a_clock_change_lasts_as_long_as_programmed() -> None:
    line = ProgramLine("Z1", "01:30", 120)
    for day in (dt.date(2026, 10, 4), dt.date(2027, 4, 4)):
        assert hours_by_zone(expand([line], day, day, ADELAIDE)) == {"Z1": 2.0}


def test_a_run_across_midnight_is_seen_from_both_days_and_counted_once() -> None:
    line = ProgramLine("Z1", "23:40", 60, every="wed")  # 2026-12-02 is a Wednesday
    wednesday, thursday = dt.date(2026, 12, 2), dt.date(2026, 12, 3)
    assert hours_by_zone(expand([line], wednesday, wednesday, ADELAIDE))["Z1"] == pytest.approx(20 / 60)
    assert hours_by_zone(expand([line], thursday, thursday, ADELAIDE))["Z1"] == pytest.approx(40 / 60)
    assert len(expand([line], wednesday, thursday, ADELAIDE)) == 1
    assert hours_by_zone(expand([line], wednesday, thursday, ADELAIDE)) == {"Z1": 1.0}


def test_cycles_that_reach_into_the_third_day_are_found() -> None:
    line = ProgramLine("Z1", "22:00", 60, every="wed", cycles_n=3, soak_min=23 * 60)  # starts 24 h apart
    friday = dt.date(2026, 12, 4)
    assert _one_day(line, friday, "") == [("12-04 22:00", "12-04 23:00")]


def test_odd_and_even_go_by_the_day_of_the_month() -> None:
    first, last = dt.date(2027, 1, 30), dt.date(2027, 2, 2)
    assert _spans(expand([ProgramLine("Z1", "05:00", 60, "odd")], first, last, "")) == [
        ("01-31 05:00", "01-31 06:00"),
        ("02-01 05:00", "02-01 06:00"),  # two odd days in a row
    ]
    assert _spans(expand([ProgramLine("Z1", "05:00", 60, "even")], first, last, "")) == [
        ("01-30 05:00", "01-30 06:00"),
        ("02-02 05:00", "02-02 06:00"),
    ]


def test_every_third_day_is_counted_from_its_day_in_both_directions() -> None:
    line = ProgramLine("Z1", "05:00", 60, "3d from 2026-10-01")
    days = [span[0][:5] for span in _spans(expand([line], dt.date(2026, 9, 25), dt.date(2026, 10, 8), ""))]
    assert days == ["09-25", "09-28", "10-01", "10-04", "10-07"]


def test_weekdays_are_read_short_and_long_in_any_order() -> None:
    rule = parse_every(" Friday, mon;WED ")
    week = np.arange("2026-11-30", "2026-12-07", dtype="datetime64[D]")  # Monday to Sunday
    assert rule.runs_on(week).tolist() == [True, False, True, False, True, False, False]


def test_a_season_crosses_new_year() -> None:
    line = ProgramLine("Z1", "05:00", 60, from_on="12-30", to_on="01-02")
    days = [span[0][:5] for span in _spans(expand([line], dt.date(2026, 12, 1), dt.date(2027, 1, 31), ""))]
    assert days == ["12-30", "12-31", "01-01", "01-02"]


@pytest.mark.parametrize(
    ("from_on", "to_on"), [("2026-12-30", "2027-01-02"), ("2026-12-30", "01-02"), ("12-30", "2027-01-02")]
)
def test_a_season_with_years_runs_in_those_years_only(from_on: str, to_on: str) -> None:
    line = ProgramLine("Z1", "05:00", 60, from_on=from_on, to_on=to_on)
    assert hours_by_zone(expand([line], dt.date(2025, 1, 1), dt.date(2029, 1, 1), "")) == {"Z1": 4.0}


def test_a_season_that_ends_on_29_february_ends_on_the_28th_in_other_years() -> None:
    line = ProgramLine("Z1", "05:00", 60, from_on="02-01", to_on="02-29")
    assert hours_by_zone(expand([line], dt.date(2027, 1, 1), dt.date(2027, 12, 31), "")) == {"Z1": 28.0}
    assert hours_by_zone(expand([line], dt.date(2028, 1, 1), dt.date(2028, 12, 31), "")) == {"Z1": 29.0}


def test_cycles_are_parted_by_their_rest() -> None:
    line = ProgramLine("Z1", "03:30", 20, cycles_n=2, soak_min=25)
    day = dt.date(2026, 12, 2)
    assert _one_day(line, day, "") == [("12-02 03:30", "12-02 03:50"), ("12-02 04:15", "12-02 04:35")]


def test_seasonal_adjustment_scales_the_cycle_and_not_the_rest() -> None:
    day = dt.date(2026, 12, 2)
    assert len(expand([ProgramLine("Z1", "03:30", 20, adjust_pct=(0.0,))], day, day, ADELAIDE)) == 0
    line = ProgramLine("Z1", "03:30", 20, cycles_n=2, soak_min=25, adjust_pct=(150.0,))
    assert _one_day(line, day, "") == [("12-02 03:30", "12-02 04:00"), ("12-02 04:25", "12-02 04:55")]


def test_twelve_adjustments_begin_with_january() -> None:
    by_month = tuple(float(10 * month) for month in range(1, 13))
    line = ProgramLine("Z1", "05:00", 60, adjust_pct=by_month)
    for month in (1, 6, 12):
        day = dt.date(2027, month, 15)
        assert hours_by_zone(expand([line], day, day, ADELAIDE)) == {"Z1": pytest.approx(month / 10)}


def test_overlapping_and_touching_runs_of_a_zone_are_one_and_those_of_two_zones_stay_two() -> None:
    day = dt.date(2026, 12, 2)
    lines = [
        ProgramLine("Z2", "05:00", 60),
        ProgramLine("Z1", "05:00", 60),
        ProgramLine("Z1", "05:30", 10),
        ProgramLine("Z1", "06:00", 15),
        ProgramLine("Z1", "07:00", 30),
    ]
    made = expand(lines, day, day, "")
    assert made.zone.tolist() == ["Z1", "Z1", "Z2"]
    assert _spans(made) == [("12-02 05:00", "12-02 06:15"), ("12-02 07:00", "12-02 07:30")]
    assert hours_of_any(made, ["Z1", "Z2"]) == pytest.approx(1.75)  # the union, not 2.75
    assert hours_of_any(made, ["Z2"]) == 1.0
    assert hours_of_any(made, ["nowhere"]) == hours_of_any(made, []) == 0.0


def test_hours_of_the_watering_season_by_hand() -> None:
    # 1 October to 30 April of a common year has 212 days; 1 October 2026 is a Thursday
    lines = [
        ProgramLine("Z1", "05:00", 30, "2d from 2026-10-01", from_on="10-01", to_on="04-30"),
        ProgramLine("Z2", "05:00", 30, "thu", from_on="10-01", to_on="04-30"),
    ]
    made = season(lines, ADELAIDE)
    assert (made.first_day, made.last_day) == (dt.date(2026, 10, 1), dt.date(2027, 9, 30))
    assert hours_by_zone(made.intervals) == {"Z1": 106 / 2, "Z2": 31 / 2}
    assert made.unknown == ()


def test_the_year_of_a_season_never_asks_the_clock() -> None:
    undated = ProgramLine("Z1", "05:00", 30, from_on="10-01", to_on="04-30")
    dated = ProgramLine("Z1", "05:00", 30, from_on="2024-11-01", to_on="2025-03-31")
    leap = ProgramLine("Z1", "05:00", 30, from_on="2024-02-29", to_on="2024-03-31")
    assert season_days([undated]) == (dt.date(REFERENCE_YEAR, 10, 1), dt.date(REFERENCE_YEAR + 1, 9, 30))
    assert season_days([undated, dated]) == (dt.date(2024, 11, 1), dt.date(2025, 10, 31))
    assert season_days([leap]) == (dt.date(2024, 2, 28), dt.date(2025, 2, 27))
    assert season_days([])[0] == dt.date(REFERENCE_YEAR, 1, 1)


def test_where_the_year_begins_does_not_matter_for_seasons_without_years() -> None:
    summer = ProgramLine("Z1", "05:00", 30, from_on="10-01", to_on="04-30")
    autumn = ProgramLine("Z2", "05:00", 30, from_on="03-01", to_on="05-31")
    together = hours_by_zone(season([summer, autumn], "").intervals)  # begins on 1 March, cuts the summer in two
    assert together["Z1"] == hours_by_zone(season([summer], "").intervals)["Z1"] == 212 / 2
    assert together["Z2"] == 92 / 2


def test_lines_without_a_season_or_of_another_year_leave_the_hours_of_their_zone_unknown() -> None:
    lines = [
        ProgramLine("Z1", "05:00", 30, from_on="2026-10-01", to_on="2027-04-30"),
        ProgramLine("Z2", "06:00", 30),
        ProgramLine("Z3", "07:00", 30, from_on="2028-10-01", to_on="2029-04-30"),
    ]
    made = season(lines, ADELAIDE)
    assert {one.zone_id for one in made.unknown} == {"Z2", "Z3"}
    assert made.zones == {"Z1"}
    assert season(lines, ADELAIDE, [Unread("Z1", "R9: it has no start")]).zones == set()
    assert set(hours_by_zone(made.intervals)) == {"Z1"}


def test_without_a_time_zone_the_hours_are_those_of_civil_time() -> None:
    line = ProgramLine("Z1", "02:30", 45, "daily")
    first, last = dt.date(2026, 9, 1), dt.date(2027, 5, 31)
    assert hours_by_zone(expand([line], first, last, "")) == hours_by_zone(expand([line], first, last, ADELAIDE))


def test_rows_of_a_table_are_read_and_those_that_cannot_be_used_say_why() -> None:
    good = {
        "schedule_id": "R1",
        "zone_id": "Z1",
        "start_at": "03:30",
        "run_min": 20.0,
        "every": "mon",
        "soak_min": None,
    }
    full = {**good, "cycles_n": 2.0, "soak_min": 25, "from_on": "10-01", "to_on": "04-30", "adjust_pct": "80"}
    no_start = {"schedule_id": "R2", "zone_id": "Z2", "run_min": 20.0, "every": "mon", "start_at": None}
    odd = {**good, "schedule_id": "R3", "every": "sometimes"}
    half = {**good, "schedule_id": "R4", "from_on": "10-01"}
    lines, unread = program_lines([good, full, no_start, odd, half])
    assert lines == (
        ProgramLine("Z1", "03:30", 20.0, "mon"),
        ProgramLine("Z1", "03:30", 20.0, "mon", 2, 25.0, "10-01", "04-30", (80.0,)),
    )
    assert [one.zone_id for one in unread] == ["Z2", "Z1", "Z1"]
    assert unread[0].words == "R2: it has no start"
    assert "R3: 'sometimes' says no days" in unread[1].words
    assert "only one end" in unread[2].words


def test_adjustments_are_one_or_twelve() -> None:
    assert parse_adjust("80 %") == (80.0,)
    assert parse_adjust("10,20,30,40,50,60,70,80,90,100,110,120") == tuple(float(10 * i) for i in range(1, 13))
    for text in ("", "1,2,3", "-5", "nan", "inf", "much"):
        with pytest.raises(ValueError, match="neither one percentage nor twelve"):
            parse_adjust(text)


@pytest.mark.parametrize(
    "text", ["", "sometimes", "3d", "0d from 2026-10-01", "mon,xyz", "odd,mon", "d from 2026-10-01"]
)
def test_days_that_cannot_be_read_are_refused_with_the_forms_there_are(text: str) -> None:
    with pytest.raises(ValueError, match="expected mon,wed,fri or 3d from 2026-10-01 or odd"):
        parse_every(text)
    with pytest.raises(ValueError, match="no day such as"):
        parse_every("3d from 2026-02-30")


def test_every_line_that_cannot_be_used_is_named_in_one_error() -> None:
    day = dt.date(2026, 12, 2)
    lines = [
        ProgramLine("Z1", "25:00", 20),
        ProgramLine("Z2", "05:00", -1),
        ProgramLine("Z3", "05:00", 20, from_on="02-30", to_on="04-01"),
        ProgramLine("Z4", "05:00", 20, from_on="2026-10-01", to_on="2026-09-01"),
        ProgramLine("Z5", "05:00", 20, cycles_n=0),
        ProgramLine("Z6", "05:00", 1e9),
        ProgramLine("Z7", "05:00", float("nan")),
    ]
    with pytest.raises(ValueError, match=r"line 0 \(zone Z1\).*25:00") as caught:
        expand(lines, day, day, ADELAIDE)
    for words in ("run_min is -1", "'02-30' is no day", "before it begins", "cycles_n is 0", "longer than a year"):
        assert words in str(caught.value)
    assert "run_min is nan" in str(caught.value)


def test_unknown_time_zones_and_days_in_the_wrong_order_are_refused() -> None:
    day = dt.date(2026, 12, 2)
    for name in ("Nowhere/Town", "../etc/passwd", "Europe"):
        with pytest.raises(ValueError, match="no time zone called"):
            expand([], day, day, name)
    with pytest.raises(ValueError, match="lies before the first"):
        expand([], day, day - dt.timedelta(days=1), ADELAIDE)


def test_no_lines_give_no_intervals() -> None:
    made = expand([], dt.date(2026, 1, 1), dt.date(2026, 12, 31), ADELAIDE)
    assert len(made) == 0
    assert hours_by_zone(made) == {}
    assert hours_of_any(made, ["Z1"]) == 0.0
    assert len(season([], ADELAIDE).intervals) == 0


# --- properties ---

_RULES = st.sampled_from(["daily", "odd", "even", "mon,wed,fri", "sun", "2d from 2026-10-01", "3d from 2027-01-01"])
_LINES = st.builds(
    ProgramLine,
    zone_id=st.sampled_from(["Z1", "Z2"]),
    start=st.builds("{:02d}:{:02d}".format, st.integers(0, 23), st.integers(0, 59)),
    run_min=st.integers(0, 200).map(lambda n: 2.0 * n),
    every=_RULES,
    cycles_n=st.integers(1, 4),
    soak_min=st.integers(0, 900).map(float),
    adjust_pct=st.sampled_from([(100.0,), (0.0,), (50.0,), (150.0,)]),
)
_FIRST_DAYS = st.sampled_from([dt.date(2026, 10, 3), dt.date(2027, 4, 2), dt.date(2026, 12, 30)])


def _starts(line: ProgramLine, day: dt.date, zone: ZoneInfo) -> dt.datetime | None:
    """Moment a line starts on a civil day, found by looking through the minutes of that day."""
    runs = {
        "daily": True,
        "odd": day.day % 2 == 1,
        "even": day.day % 2 == 0,
        "mon,wed,fri": day.strftime("%a") in ("Mon", "Wed", "Fri"),
        "sun": day.strftime("%a") == "Sun",
        "2d from 2026-10-01": (day - dt.date(2026, 10, 1)).days % 2 == 0,
        "3d from 2027-01-01": (day - dt.date(2027, 1, 1)).days % 3 == 0,
    }
    if not runs[line.every]:
        return None
    wall = dt.datetime.combine(day, dt.time.fromisoformat(line.start))
    low = dt.datetime.combine(day, dt.time(), dt.UTC) - dt.timedelta(hours=15)
    for minute in range(30 * 60):
        moment = low + dt.timedelta(minutes=minute)
        if moment.astimezone(zone).replace(tzinfo=None) == wall:
            return moment
    before = (low + dt.timedelta(hours=3)).astimezone(zone).utcoffset()  # skipped: as if the clock had not changed
    assert before is not None
    return wall.replace(tzinfo=dt.UTC) - before


def _oracle_minutes(lines: list[ProgramLine], first: dt.date, last: dt.date, zone: ZoneInfo) -> set[tuple[str, int]]:
    """Every minute in which a zone runs."""
    low = dt.datetime.combine(first, dt.time(), zone).timestamp() / 60
    high = dt.datetime.combine(last + dt.timedelta(days=1), dt.time(), zone).timestamp() / 60
    minutes = set()
    for line in lines:
        length = round(line.run_min * line.adjust_pct[0] / 100)
        for back in range(-5, (last - first).days + 1):
            moment = _starts(line, first + dt.timedelta(days=back), zone)
            for cycle in range(line.cycles_n if moment is not None else 0):
                assert moment is not None
                at = round(moment.timestamp() / 60) + cycle * (length + int(line.soak_min))
                minutes |= {(line.zone_id, minute) for minute in range(at, at + length) if low <= minute < high}
    return minutes


@settings(max_examples=25, deadline=None, derandomize=True)
@given(lines=st.lists(_LINES, min_size=1, max_size=2), first=_FIRST_DAYS, days_n=st.integers(0, 2))
def test_expansion_is_what_looking_through_every_minute_gives(
    lines: list[ProgramLine], first: dt.date, days_n: int
) -> None:
    last = first + dt.timedelta(days=days_n)
    made = expand(lines, first, last, ADELAIDE)
    minutes = {
        (str(zone), minute)
        for zone, start, end in zip(made.zone, made.start_s, made.end_s, strict=True)
        for minute in range(int(start) // 60, int(end) // 60)
    }
    assert minutes == _oracle_minutes(lines, first, last, ZoneInfo(ADELAIDE))


@QUICK
@given(lines=st.lists(_LINES, max_size=6), first=_FIRST_DAYS, days_n=st.integers(0, 10))
def test_intervals_are_sorted_apart_and_never_negative(lines: list[ProgramLine], first: dt.date, days_n: int) -> None:
    made = expand(lines, first, first + dt.timedelta(days=days_n), BERLIN)
    assert (made.end_s > made.start_s).all()
    same = made.zone[1:] == made.zone[:-1]
    assert (made.start_s[1:][same] > made.end_s[:-1][same]).all()
    assert made.zone.tolist() == sorted(made.zone.tolist())
    hours = hours_by_zone(made)
    assert all(total >= 0 for total in hours.values())
    assert max(hours.values(), default=0.0) - 1e-9 <= hours_of_any(made, ["Z1", "Z2"]) <= sum(hours.values()) + 1e-9


@QUICK
@given(lines=st.lists(_LINES, max_size=4), first=_FIRST_DAYS, days_n=st.integers(1, 6))
def test_days_one_by_one_give_the_hours_of_the_days_together(
    lines: list[ProgramLine], first: dt.date, days_n: int
) -> None:
    days = [first + dt.timedelta(days=n) for n in range(days_n)]
    together = hours_by_zone(expand(lines, days[0], days[-1], ADELAIDE))
    apart: dict[str, float] = {}
    for day in days:
        for zone, hours in hours_by_zone(expand(lines, day, day, ADELAIDE)).items():
            apart[zone] = apart.get(zone, 0.0) + hours
    assert apart == pytest.approx(together)


@QUICK
@given(minutes=st.lists(st.integers(1, 59), min_size=1, max_size=20), zone=st.sampled_from(["", ADELAIDE, BERLIN]))
def test_hours_of_lines_that_do_not_overlap_add_up(minutes: list[int], zone: str) -> None:
    lines = [ProgramLine("Z1", f"{hour + 3:02d}:00", float(run_min)) for hour, run_min in enumerate(minutes)]
    first, last = dt.date(2026, 6, 1), dt.date(2026, 6, 7)  # no clock change
    assert hours_by_zone(expand(lines, first, last, zone))["Z1"] == pytest.approx(7 * sum(minutes) / 60)


@QUICK
@given(lines=st.lists(_LINES, min_size=2, max_size=5), first=_FIRST_DAYS)
def test_the_order_of_lines_changes_nothing(lines: list[ProgramLine], first: dt.date) -> None:
    turned = list(reversed(lines))
    one, other = (expand(some, first, first + dt.timedelta(days=3), ADELAIDE) for some in (lines, turned))
    assert one.zone.tolist() == other.zone.tolist()
    assert one.start_s.tolist() == other.start_s.tolist()
    assert one.end_s.tolist() == other.end_s.tolist()
