"""Blocks over months: the budget is kept, no stone is lost or done twice, shut months stay empty."""

from __future__ import annotations

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gravegis.science.care.season import ASK, BUDGET_SPENT, NO_MONTH, Block, months_from, plan_season, runs_in_month

MONTHS = months_from(dt.date(2026, 11, 15), 4)
NOV, DEC, JAN, FEB = MONTHS
OPEN = dict.fromkeys(MONTHS, 1.0)


def block(name: str, *minutes: float, urgency: float = 1.0, zones: tuple[str, ...] = ()) -> Block:
    return Block(name, minutes, urgency, frozenset(zones))


def test_months_run_over_the_year() -> None:
    assert [f"{month:%Y-%m}" for month in MONTHS] == ["2026-11", "2026-12", "2027-01", "2027-02"]


@pytest.mark.parametrize(
    ("start", "end", "running"),
    [("", "", [1, 1, 1, 1]), ("10-01", "11-30", [1, 0, 0, 0]), ("12-31", "02-01", [0, 1, 1, 1]),
     ("2026-12-01", "2026-12-31", [0, 1, 0, 0]), ("12-05", "", [1, 1, 1, 1])],
)  # fmt: skip
def test_a_programme_runs_in_a_month_when_any_day_of_it_lies_in_its_season(
    start: str, end: str, running: list[int]
) -> None:
    assert [runs_in_month(month, start, end) for month in MONTHS] == [bool(one) for one in running]


def test_the_most_urgent_block_goes_first_and_one_begun_is_finished_before_another_opens() -> None:
    blocks = [block("low", 60.0, urgency=1), block("high", 60.0, 60.0, 60.0, urgency=3)]
    made = plan_season(blocks, MONTHS, day_min=120, days_n=9, month_days_n=OPEN, running={})
    told = [(one.month, one.block, one.days, one.stones_n, one.is_last) for one in made]
    assert told == [(NOV, "high", 1.0, 2, False), (DEC, "high", 0.5, 1, True), (DEC, "low", 0.5, 1, True)]


def test_a_block_waits_for_the_month_in_which_its_zones_rest() -> None:
    running = {NOV: frozenset({"Z1"}), DEC: frozenset({"Z1"})}
    [one] = plan_season(
        [block("b", 60, zones=("Z1",))], MONTHS, day_min=60, days_n=9, month_days_n=OPEN, running=running
    )
    assert (one.month, one.is_last) == (JAN, True)


def test_zones_that_always_run_are_asked_for_or_their_block_is_never_reached() -> None:
    always = dict.fromkeys(MONTHS, frozenset({"Z1"}))
    blocks = [block("b", 60, zones=("Z1",))]
    [asked] = plan_season(blocks, MONTHS, day_min=60, days_n=9, month_days_n=OPEN, running=always)
    assert (asked.month, asked.reason) == (NOV, ASK)
    [never] = plan_season(blocks, MONTHS, day_min=60, days_n=9, month_days_n=OPEN, running=always, may_ask=False)
    assert (never.month, never.reason) == (None, NO_MONTH)


def test_what_the_budget_does_not_reach_is_named_with_the_days_it_lacks() -> None:
    made = plan_season([block("b", *[60.0] * 10)], MONTHS, day_min=120, days_n=2, month_days_n=OPEN, running={})
    assert [(one.month, one.stones_n, one.days, one.reason) for one in made][-1] == (None, 6, 3.0, BUDGET_SPENT)


BLOCKS = st.lists(
    st.tuples(st.lists(st.floats(1, 500), min_size=1, max_size=9), st.sampled_from(["", "Z1", "Z2"])), max_size=5
)


@given(BLOCKS, st.floats(0, 12), st.lists(st.sampled_from([0.0, 1.0, 3.5]), min_size=4, max_size=4), st.booleans())
def test_no_stone_is_lost_or_done_twice_and_no_budget_passed(
    made: list[tuple[list[float], str]], days_n: float, month_days: list[float], may_ask: bool
) -> None:
    blocks = [block(f"b{k}", *minutes, zones=(zone,) if zone else ()) for k, (minutes, zone) in enumerate(made)]
    caps = dict(zip(MONTHS, month_days, strict=True))
    running = {NOV: frozenset({"Z1", "Z2"}), DEC: frozenset({"Z1"}), JAN: frozenset({"Z1"}), FEB: frozenset({"Z1"})}
    plan = plan_season(
        blocks, MONTHS, day_min=330, days_n=days_n, month_days_n=caps, running=running, may_ask=may_ask
    )  # fmt: skip
    for one in blocks:
        assert sum(share.stones_n for share in plan if share.block == one.name) == len(one.work_min)
        whole = sum(share.days for share in plan if share.block == one.name)
        assert whole * 330 == pytest.approx(sum(one.work_min))
    worked = [share for share in plan if share.month]
    assert sum(share.days for share in worked) <= days_n + 1e-6
    for month in MONTHS:
        assert sum(share.days for share in worked if share.month == month) <= caps[month] + 1e-6
