"""The small tables: zones, schedules, sources, water, crews, permissions, and the settings of the ground."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from .ground import CRS, SEED, TITLE

if TYPE_CHECKING:
    from .stones import Stone

ZONES: list[dict[str, Any]] = [
    {"zone_id": "Z1", "source_id": "bore", "notes": "rotors of section A, west"},
    {"zone_id": "Z2", "source_id": "bore", "notes": "rotors of section A, east; also runs after lunch in the season"},
    {"zone_id": "Z3", "source_id": "bore", "notes": "rotors of section B, west"},
    {"zone_id": "Z4", "source_id": "bore", "notes": "rotors of section B, east"},
    {"zone_id": "Z5", "source_id": "bore", "notes": "rotors of section E"},
    {"zone_id": "Z6", "source_id": "bore", "notes": "rotors between sections D and E"},
    {"zone_id": "Z7", "source_id": "bore", "notes": "rotors of section D; also runs after lunch in the season"},
    {"zone_id": "Z8", "source_id": "bore", "notes": "strips of the west verge, small heads behind rows A5 and B5"},
]

# schedule, zone, program, start, minutes, days, cycles, rest between them. All minutes of program A together do not
# fit the hours the source allows: the last zones run into the morning.
_RUNS: tuple[tuple[str, str, str, str, int, str, int, int | None], ...] = (
    ("R1", "Z1", "A", "02:00", 45, "daily", 1, None),
    ("R2", "Z2", "A", "02:45", 45, "daily", 1, None),
    ("R3", "Z3", "A", "03:30", 45, "daily", 1, None),
    ("R4", "Z4", "A", "04:15", 45, "daily", 1, None),
    ("R5", "Z5", "A", "05:00", 45, "daily", 1, None),
    ("R6", "Z6", "A", "05:45", 45, "daily", 1, None),
    ("R7", "Z7", "A", "06:30", 45, "daily", 1, None),
    ("R8", "Z8", "A", "07:15", 9, "mon,wed,fri", 2, 20),
    ("R9", "Z2", "B", "13:30", 10, "2d from 2026-10-01", 1, None),
    ("R10", "Z7", "B", "14:10", 10, "2d from 2026-10-01", 1, None),
    ("R11", "Z8", "B", "20:15", 8, "sat", 1, None),
)
_RUN_NAMES = ("schedule_id", "zone_id", "program", "start_at", "run_min", "every", "cycles_n", "soak_min")
_SEASON = {"from_on": "10-01", "to_on": "04-30", "adjust_pct": 100, "kind": "program"}
SCHEDULES: list[dict[str, Any]] = [{**dict(zip(_RUN_NAMES, run, strict=True)), **_SEASON} for run in _RUNS]
AFTERNOON_ZONES = ("Z2", "Z7")


def _weekly_min() -> dict[str, float]:
    """Return the minutes a week each zone runs in the season."""
    days = {"daily": 7.0, "2d from 2026-10-01": 3.5, "mon,wed,fri": 3.0, "sat": 1.0}
    total = dict.fromkeys((zone["zone_id"] for zone in ZONES), 0.0)
    for run in SCHEDULES:
        total[run["zone_id"]] += run["run_min"] * run["cycles_n"] * days[run["every"]]
    return total


WEEKLY_MIN = _weekly_min()

SOURCES: list[dict[str, Any]] = [
    {"source_id": "bore", "kind": "bore", "flow_limit_l_min": 240, "allowed": "02:00-06:00 daily"},
    {"source_id": "mains", "kind": "mains", "flow_limit_l_min": 60, "allowed": "any"},
]

# Invented for the sample; the ions balance within 2 %. Iron far above 0.3 and manganese above 0.05 mg/L, the aesthetic
# limits for drinking water of 40 CFR 143.3. The second bore sample was filtered by the laboratory, and so hides it.
WATER: list[dict[str, Any]] = [
    {"sample_id": "WS1", "source_id": "bore", "taken_at": "head H14 after five minutes", "temp_degc": 21.5, "ph": 7.3,
     "conductivity_us_cm": 1780, "tds_mg_l": 1010, "calcium_mg_l": 142, "magnesium_mg_l": 41, "sodium_mg_l": 158,
     "potassium_mg_l": 8, "chloride_mg_l": 298, "sulfate_mg_l": 92, "alkalinity_mg_l": 358, "alkalinity_as": "CaCO3",
     "iron_mg_l": 3.1, "iron_basis": "total", "manganese_mg_l": 0.16, "manganese_basis": "total",
     "sampled_on": "2026-10-06"},
    {"sample_id": "WS2", "source_id": "bore", "taken_at": "bore head", "temp_degc": 21.0, "ph": 7.2,
     "conductivity_us_cm": 1750, "tds_mg_l": 990, "calcium_mg_l": 139, "magnesium_mg_l": 40, "sodium_mg_l": 155,
     "potassium_mg_l": 8, "chloride_mg_l": 292, "sulfate_mg_l": 90, "alkalinity_mg_l": 351, "alkalinity_as": "CaCO3",
     "iron_mg_l": 0.04, "iron_basis": "filtered", "manganese_mg_l": 0.15, "manganese_basis": "filtered",
     "sampled_on": "2026-03-18"},
    {"sample_id": "WS3", "source_id": "mains", "taken_at": "tap T1", "temp_degc": 19.0, "ph": 7.6,
     "conductivity_us_cm": 420, "tds_mg_l": 235, "calcium_mg_l": 22, "magnesium_mg_l": 12, "sodium_mg_l": 43,
     "potassium_mg_l": 4, "chloride_mg_l": 77, "sulfate_mg_l": 24, "alkalinity_mg_l": 75, "alkalinity_as": "CaCO3",
     "iron_mg_l": 0.02, "iron_basis": "total", "manganese_mg_l": 0.01, "manganese_basis": "total",
     "sampled_on": "2026-10-06"},
]  # fmt: skip

# 420 minutes less 75 for set-up, breaks and packing leave a trained pair 345; a volunteer morning of 210 leaves 135.
# Novices need 1.5 to 2 times the minutes of a trained pair: judgement of practitioners, no source.
_VOLUNTEERS = {
    "people_n": 2, "skills": "cleaner", "shift_from": "08:30", "shift_to": "12:00", "base_id": "BS2",
    "carries": "hand 20 L", "led_by": "trained leader", "work_factor": 1.75,
}  # fmt: skip
CREWS: list[dict[str, Any]] = [
    {"crew_id": "C1", "people_n": 2, "skills": "trained tester;cleaner", "shift_from": "07:30",
     "shift_to": "14:30", "base_id": "BS1", "carries": "cart 60 L", "led_by": None, "work_factor": 1.0,
     "trained_n": 2},
    *({"crew_id": f"V{number}", **_VOLUNTEERS, "trained_n": number % 2} for number in (1, 2, 3, 4)),
]  # fmt: skip

PRODUCTS: list[dict[str, Any]] = [{"product_id": "PR1", "label": "quaternary cleaner for stone (invented label)"}]

# Two were asked and have not answered, four were not asked; the listing of the old part allows washing.
_ASKED = 2


def permissions(stones: list[Stone]) -> list[dict[str, Any]]:
    """Return who must agree: the authority of the official military markers, the heritage listing of section C."""
    marked = [stone for stone in stones if stone.columns.get("significance")]
    rows: list[dict[str, Any]] = [
        {"permission_id": f"PM{number}", "stone_id": stone.columns["stone_id"], "kind": "war-graves authority",
         "status": "pending" if number <= _ASKED else "unknown"}
        for number, stone in enumerate(marked, start=1)
    ]  # fmt: skip
    listing = {"permission_id": "PM7", "section": "C", "kind": "heritage listing", "status": "granted",
               "until": "2028-06-30", "conditions": "water and soft brushes only"}  # fmt: skip
    return [*rows, listing]


SITE: dict[str, Any] = {
    "title": TITLE,
    "crs": CRS,
    "time_zone": "Australia/Adelaide",
    "elevation_m": 150,
    "seed": SEED,
    "settings": {"routes": {"day": "2026-12-02"}, "worklist": {"as_of": "2026-12-02"}},
}
