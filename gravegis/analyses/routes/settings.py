"""What can be set for the day plan, with what is taken where nothing is set."""

from __future__ import annotations

from dataclasses import dataclass

from gravegis.contract import choice, day_typed, number, text, time_typed, whole


def _time(typed: str) -> str:
    return time_typed(typed) if typed.strip() else ""


SHIFT = ("08:00", "12:00")
"""Shift of a crew whose line names none: common practice, no source."""
ONE_BLOCK, AS_OTHERS = "one block", "as other crews"
"""How crews with a leader work."""
GATE_WIDTH_M = 1.0
"""Width of a gate whose row names none: common practice, no source. [m]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class RouteSettings:
    """The day, how long to search, and how people walk."""

    day: str = text(
        "", "Day of the plan.", form="a date such as 2026-12-02, or nothing", source="typed", reader=day_typed
    )
    iterations_n: int = whole(
        1000, "Rounds of the search; the same number and seed give the same plan.", low=1, high=1_000_000,
        source="own choice: the made-up days of scripts/bench.py are planned with as many",
    )  # fmt: skip
    set_up_min: float = number(
        45.0, "Of the shift before the first walk: briefing, sign-in, set-up.", unit="min", low=0, high=240,
        source="common practice, no source",
    )  # fmt: skip
    pack_up_min: float = number(
        30.0, "Of the shift kept free after the last walk: breaks and packing.", unit="min", low=0, high=240,
        source="common practice, no source",
    )  # fmt: skip
    path_speed_m_s: float = number(
        1.3991, "Walking speed on paths.", unit="m/s", low=0.2, high=3,
        source="Tobler 1993, NCGIA Technical Report 93-1: 5.0367 km/h on level ground",
    )  # fmt: skip
    open_speed_m_s: float = number(
        0.8395, "Walking speed off paths.", unit="m/s", low=0.2, high=3,
        source="Tobler 1993, NCGIA Technical Report 93-1: 0.6 of the speed on a path",
    )  # fmt: skip
    detour_factor: float = number(
        1.3, "Where no paths are known: how much longer a way is than the straight line.", unit="1", low=1, high=3,
        source="common practice, no source",
    )  # fmt: skip
    days_n: int = whole(
        1, "Days planned one after the other: each takes what the days before left.", low=1, high=31, source="typed",
    )  # fmt: skip
    break_from: str = text(
        "10:30", "Earliest start of the break; nothing for none.", form="a time such as 10:30, or nothing",
        source="common practice, no source", reader=_time,
    )  # fmt: skip
    break_to: str = text(
        "12:30", "Latest start of the break; a crew back before it rests at home.", form="a time such as 12:30",
        source="common practice, no source", reader=_time,
    )  # fmt: skip
    break_min: float = number(
        30.0, "Length of the break, taken where the crew stands.", unit="min", low=0, high=120,
        source="common practice, no source",
    )  # fmt: skip
    break_span_min: float = number(
        300.0, "Crews out for longer than this take the break; shorter shifts have it in their packing time.",
        unit="min", low=0, high=1440, source="common practice, no source",
    )  # fmt: skip
    open_n: int = whole(
        3, "Stones a crew lets soak at a time.", low=1, high=6,
        source="own choice, no source",
    )  # fmt: skip
    led_open_n: int = whole(
        2, "The same for crews led by somebody who is not one of them.", low=1, high=6,
        source="common practice, no source",
    )  # fmt: skip
    open_distance_m: float = number(
        40.0, "Longest walk between stones that soak at the same time.", unit="m", low=0, high=500,
        source="common practice, no source",
    )  # fmt: skip
    walk_price_ratio: float = number(
        1.0, "What a minute on foot counts beside its own minute: 0 walks as it comes, more walks less.", unit="1",
        low=0, high=10, source="own choice: on eight made-up days 1 lost fewer urgent stones to the soaks than 2",
    )  # fmt: skip
    apply_frac: float = number(
        0.35, "Share of the work on a stone that comes before the soak: wetting, lifting growth, putting on.",
        unit="1", low=0.05, high=0.95, source="own choice, no source",
    )  # fmt: skip
    refill_min: float = number(
        4.0, "Filling the cans at a tap or tank.", unit="min", low=0, high=60, source="common practice, no source",
    )  # fmt: skip
    carry_l: float = number(
        20.0, "Water a crew carries where its line does not say: two cans by hand.", unit="l", low=1, high=2000,
        source="common practice, no source",
    )  # fmt: skip
    carry_cleaner_l: float = number(
        5.0, "Cleaner ready to use that a crew carries; filled up at its base.", unit="l", low=0, high=200,
        source="common practice, no source",
    )  # fmt: skip
    wet_ground_min: float = number(
        120.0, "Ground counts as wet and slippery for so long after its zone ran.", unit="min", low=0, high=1440,
        source="common practice, no source",
    )  # fmt: skip
    led_mode: str = choice(
        ONE_BLOCK, "Crews led by somebody who is not one of them: all in one block within sight of that leader's post, "
        "or spread over the ground as other crews are.", options=(ONE_BLOCK, AS_OTHERS),
        source="common practice, no source",
    )  # fmt: skip
    sight_m: float = number(
        40.0, "Farthest that a stone may be from the leader's post.", unit="m", low=5, high=500,
        source="common practice, no source",
    )  # fmt: skip
    look_over_m: float = number(
        1.2, "Walls, hedges and fences up to this height are looked over from the post.", unit="m", low=0, high=2,
        source="common practice, no source",
    )  # fmt: skip
    novice_ratio: float = number(
        8.0, "Untrained people for one trained among a leader's crews, the leader counted as trained; crews beyond it "
        "stay at the base.", unit="1", low=0, high=20,
        source="common practice, no source: one leader with four pairs",
    )  # fmt: skip
    spares_n: int = whole(
        3, "Spare stones after the stop line of each list.", low=0, high=20, source="common practice, no source",
    )  # fmt: skip
