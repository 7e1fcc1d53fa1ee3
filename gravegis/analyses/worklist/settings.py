"""What the worklist can be set to."""

from __future__ import annotations

import re
from dataclasses import dataclass

from gravegis.contract import choice, day_typed, number, text, time_typed, whole
from gravegis.science.care.history import INTERVAL_DAYS, LEAST_RECORDS_N
from gravegis.science.care.hot import LIMIT_K
from gravegis.science.care.permissions import YOUNG_YEARS
from gravegis.science.care.priority import LONG_SPRAY_H
from gravegis.science.care.restrict import BUFFER_M
from gravegis.science.care.steps import ORDERS, RINSE_KPA
from gravegis.science.care.ways import GOALS

__all__ = ["PRACTICE", "WorklistSettings", "ids"]

PRACTICE = "common practice, no source"
_CLOCK = re.compile(r"^([01]\d|2[0-3]):[0-5]\d$")


def ids(typed: str) -> tuple[str, ...]:
    """Return the names in a list separated by ``;``."""
    return tuple(dict.fromkeys(name.strip() for name in typed.split(";") if name.strip()))


def _ids(typed: str) -> str:
    return "; ".join(ids(typed))


@dataclass(frozen=True, slots=True, kw_only=True)
class WorklistSettings:
    """Limits of the gate, the way of working, minutes, hot hours, and what moves a stone up."""

    as_of: str = text(
        "", "Day of work: ages of checks, leave and cleanings count from it.",
        form="a date such as 2026-12-02, or nothing",
        source="typed; without it the newest date in the site, since no clock is read", reader=day_typed,
    )  # fmt: skip
    goal: str = choice(
        GOALS[0], "What the day is for: the look of few stones, or many stones begun with the cleaner left on.",
        options=GOALS, source=PRACTICE,
    )  # fmt: skip
    order: str = choice(
        ORDERS[0], "In which order a face is worked; the base is wetted first either way.", options=ORDERS,
        source=PRACTICE,
    )  # fmt: skip
    gate_height_m: float = number(
        1.0, "Unchecked stones up to this height go out with the leader's check; taller ones wait for a tester.",
        unit="m", low=0, high=5, source=PRACTICE,
    )  # fmt: skip
    gate_mass_kg: float = number(
        150.0, "Unchecked stones heavier than this wait for a trained tester.", unit="kg", low=0, high=5000,
        source=PRACTICE,
    )  # fmt: skip
    gate_lean_deg: float = number(
        3.0, "Unchecked stones that lean more wait for a trained tester.", unit="deg", low=0, high=45, source=PRACTICE
    )
    check_valid_days: float = number(
        365.0, "How long a stability check counts.", unit="days", low=0, high=3650, source=PRACTICE
    )
    young_years: float = number(
        YOUNG_YEARS, "Stones whose earliest year is fewer years ago wait for the right-holder.",
        unit="years", low=0, high=150,
        source=PRACTICE,
    )  # fmt: skip
    interval_days: float = number(
        INTERVAL_DAYS, "Least time between two cleanings.", unit="days", low=0, high=36500, source=PRACTICE
    )
    clean_again: str = text(
        "", "Stones somebody answers for cleaning again before that.", form="names separated by ;", source="typed",
        reader=_ids,
    )  # fmt: skip
    pin: str = text("", "Stones to be put first.", form="names separated by ;", source="typed", reader=_ids)
    ban: str = text("", "Stones to be taken off the list.", form="names separated by ;", source="typed", reader=_ids)
    inspection_min: float = number(
        5.0, "Minutes to look at a stone and record its harm.", unit="min", low=1, high=60, source=PRACTICE
    )
    leader_check_min: float = number(
        2.0, "Minutes of the leader's check of an unchecked stone.", unit="min", low=0, high=60, source=PRACTICE
    )
    pace_factor: float = number(
        1.0, "Minutes against a trained pair; people new to it take 1.5 to 2.", unit="1", low=0.5, high=5,
        source=PRACTICE,
    )  # fmt: skip
    water_factor: float = number(1.0, "Water against the table of litres.", unit="1", low=0.1, high=10, source=PRACTICE)
    cleaner_factor: float = number(
        1.0, "Cleaner against the table of litres.", unit="1", low=0.1, high=10, source=PRACTICE
    )
    rinse_kpa: float = number(RINSE_KPA, "Highest pressure of the rinse.", unit="kPa", low=0, high=300, source=PRACTICE)
    container_l: float = number(
        20.0, "Size of a container of water; the load is rounded up to whole ones.", unit="l", low=1, high=1000,
        source="own choice, no source",
    )  # fmt: skip
    cleaner_container_l: float = number(
        5.0, "Size of a container of cleaner.", unit="l", low=0.1, high=1000, source="own choice, no source"
    )
    buffer_m: float = number(
        BUFFER_M, "Distance to keep from sensitive ground whose row names none.", unit="m", low=0, high=1000,
        source=PRACTICE,
    )  # fmt: skip
    own_minutes_n: int = whole(
        LEAST_RECORDS_N, "Records of a kind of work from which your own minutes take the place of the table.",
        low=1, high=1000, source="own choice, no source",
    )  # fmt: skip
    hot_from: str = text(
        "11:00", "Without worked-out temperatures nobody wets dark stone from this time of day.",
        form="a time as HH:MM", source=PRACTICE, reader=time_typed,
    )  # fmt: skip
    hot_to: str = text("17:00", "Until this time of day.", form="a time as HH:MM", source=PRACTICE, reader=time_typed)
    hot_limit_k: float = number(
        LIMIT_K, "Where temperatures were worked out: stone warmer than the water by more is not wetted.", unit="K",
        low=0, high=60, source=PRACTICE,
    )  # fmt: skip
    near_m: float = number(
        2.0, "A stone nobody has looked at is looked at first when a head stands this near.",
        unit="m", low=0, high=20, source=PRACTICE,
    )  # fmt: skip
    long_spray_h: float = number(
        LONG_SPRAY_H, "Hours of spray a season from which a stone moves up one priority.",
        unit="h", low=0, high=8784, source="own rule, no source",
    )  # fmt: skip
