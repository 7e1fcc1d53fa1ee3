"""Zones to be asked for off: the right hours, the right stones, and what a refusal shuts off."""

from __future__ import annotations

import datetime as dt
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import pandas as pd

from gravegis import registry
from gravegis.layers.care import asked_of
from gravegis.layers.zones_off import refused_stones, zone_answers
from gravegis.science.care.zones_off import joined, off_window
from gravegis.site import Site, SiteInfo

if TYPE_CHECKING:
    from gravegis.contract import Result

SIX, NOON = dt.time(18), dt.time(12)


def ground(days: tuple[str, ...] = ("2026-12-02",) * 3, **more: Any) -> Site:
    """Return three stops: a and b under zone Z1, b and c under Z2; c is only looked at."""
    stops = {"crew_id": "C1", "day": list(days), "seq": [1, 2, 3], "stone_id": ["a", "b", "c"],
             "leave_at": ["09:00:00", "10:30:20", "12:00:00"]}  # fmt: skip
    links = {"stone_id": ["a", "b", "b", "c", "d"], "head_id": ["h1", "h1", "h2", "h2", "h2"],
             "zone_id": ["Z1", "Z1", "Z2", "Z2", "Z2"]}  # fmt: skip
    work = {"stone_id": ["a", "b", "c"], "method": ["scrub now", "scrub now", None]}
    layers = {"stops": stops, "wetting_links": links, "worklist": work, **more}
    return Site(SiteInfo("Test", "EPSG:7854")).with_layers({name: pd.DataFrame(rows) for name, rows in layers.items()})


def asked(site: Site, **typed: str) -> Result:
    one = registry.load("zone_requests")
    return one.work(site, one.read(typed))


def rows(site: Site, **typed: str) -> list[tuple[Any, ...]]:
    frame = asked(site, **typed).layers["zone_requests"]
    return list(frame[["zone_id", "off_from", "on_again", "stones_n"]].itertuples(index=False, name=None))


def test_a_zone_is_off_from_the_evening_before_until_a_day_after_its_last_stone() -> None:
    assert rows(ground()) == [
        ("Z1", "2026-12-01T18:00", "2026-12-03T10:31", 2),
        ("Z2", "2026-12-01T18:00", "2026-12-03T12:00", 2),
    ]


def test_a_zone_over_stones_that_are_only_looked_at_may_run_once_the_crew_has_left() -> None:
    site = ground(worklist={"stone_id": ["a", "b", "c"], "method": ["scrub now", None, None]})
    assert rows(site)[1] == ("Z2", "2026-12-01T18:00", "2026-12-02T12:00", 2)


def test_hours_are_those_typed_and_days_of_an_undated_plan_are_counted_from_it() -> None:
    found = rows(ground(days=("day 1",) * 3), evening_at="20:15", after_h="48")
    assert found[0] == ("Z1", "day 0 20:15", "day 3 10:31", 2)


def test_days_that_meet_are_one_request_and_days_apart_are_two() -> None:
    assert len(rows(ground(days=("2026-12-02", "2026-12-03", "2026-12-03")))) == 2
    apart = rows(ground(days=("2026-12-02", "2026-12-09", "2026-12-09")))
    assert [(zone, start) for zone, start, *_ in apart] == [
        ("Z1", "2026-12-01T18:00"), ("Z1", "2026-12-08T18:00"), ("Z2", "2026-12-08T18:00"),
    ]  # fmt: skip


def test_joined_windows_cover_the_same_minutes_as_the_windows() -> None:
    days = [dt.date(2026, 12, day) for day in (2, 3, 5, 9, 10, 20)]
    windows = [off_window(day, NOON, [str(day)], evening_at=SIX, after_h=24) for day in days]

    def minutes(some: Any) -> set[dt.datetime]:
        half = dt.timedelta(minutes=30)
        return {one.off_from + k * half for one in some for k in range(int((one.on_again - one.off_from) / half))}

    made = joined(reversed(windows))
    assert minutes(made) == minutes(windows)
    assert sum(len(one.stones) for one in made) == len(windows)
    assert all(one.on_again < other.off_from for one, other in pairwise(made))


def test_a_refused_zone_shuts_off_its_stones_and_no_others_with_the_letter_named() -> None:
    said = pd.DataFrame({"permission_id": ["p"], "zone_id": ["Z1"], "status": ["refused"], "ref": ["letter 12"]})
    site = ground(permissions=said)
    shut = refused_stones(site["wetting_links"], site["permissions"])
    assert shut == dict.fromkeys(
        ["a", "b"], "zone Z1 (letter 12) reaches it and stays on: it was asked for off and refused"
    )
    done = asked(site)
    assert list(done.layers["zone_requests"]["answer"]) == ["refused", "not asked"]
    assert any("Refused: zone Z1 (2 stones)" in note for note in done.notes)


def test_the_strictest_answer_counts_and_one_that_ended_before_the_day_does_not() -> None:
    said = pd.DataFrame({
        "permission_id": ["p", "q", "r"], "zone_id": ["Z1", "Z1", "Z2"], "status": ["granted", "Refused", "refused"],
        "until": [None, None, "2026-11-30"],
    })  # fmt: skip
    assert {zone: state for zone, (state, _) in zone_answers(said, "2026-12-02").items()} == {"Z1": "refused"}
    assert refused_stones(None, said) == {}
    assert refused_stones(ground()["wetting_links"], None) == {}


def test_an_answer_about_a_zone_holds_no_stone_for_want_of_leave(sample_site: Site) -> None:
    """A row without stone and section is for the whole ground; one with a zone is about its water."""
    stones = sample_site["stones"]
    row = {"permission_id": ["p"], "status": ["refused"], "kind": ["owner"]}
    assert len(asked_of(stones, pd.DataFrame(row), "")) == len(stones)
    assert asked_of(stones, pd.DataFrame({**row, "zone_id": ["Z1"]}), "") == []


def test_stones_under_heads_without_a_zone_are_said_not_dropped() -> None:
    links = pd.DataFrame({"stone_id": ["a"], "head_id": ["h"], "zone_id": [None]})
    done = asked(ground(wetting_links=links))
    assert len(done.layers["zone_requests"]) == 0
    assert any("1 stones of the plan are reached by heads whose zone is not on file" in note for note in done.notes)


def test_each_day_of_an_undated_plan_counts() -> None:
    """Off from the evening before the first of them until a day after the last."""
    assert rows(ground(days=("day 1", "day 2", "day 2"))) == [
        ("Z1", "day 0 18:00", "day 3 10:31", 2), ("Z2", "day 1 18:00", "day 3 12:00", 2),
    ]  # fmt: skip
    assert len(rows(ground(days=("day 1", "day 3", "day 3")))) == 3
    ten = rows(ground(days=("day 10",) * 3))
    assert ten[0] == ("Z1", "day 9 18:00", "day 11 10:31", 2)


def answers_of(status: str, until: str | None, **more: Any) -> list[str]:
    said = {"permission_id": ["p"], "zone_id": ["Z1"], "status": [status], "until": [until]}
    return list(asked(ground(permissions=said, **more)).layers["zone_requests"]["answer"])[:1]


def test_leave_counts_only_if_it_lasts_until_the_zone_may_run_again() -> None:
    """Off until 2026-12-03 10:31, or a day later with a second day of work."""
    two = ("2026-12-02", "2026-12-03", "2026-12-03")
    assert answers_of("granted", "2026-12-02") == ["not asked"]
    assert answers_of("granted", "2026-12-03") == ["granted"]
    assert answers_of("granted", "2026-12-03", days=two) == ["not asked"]
    assert answers_of("granted", "2026-12-04", days=two) == ["granted"]
    assert answers_of("granted", None, days=two) == ["granted"]


def test_a_refusal_counts_if_it_holds_on_any_day_of_work() -> None:
    two = ("2026-12-02", "2026-12-03", "2026-12-03")
    assert answers_of("refused", "2026-12-02", days=two) == ["refused"]
    assert answers_of("refused", "2026-12-01", days=two) == ["not asked"]


def test_stones_that_are_all_only_looked_at_keep_no_zone_off_after_the_work() -> None:
    site = ground(worklist={"stone_id": ["a", "b", "c"], "method": [None, None, None]})
    assert [row[2] for row in rows(site)] == ["2026-12-02T10:31", "2026-12-02T12:00"]
