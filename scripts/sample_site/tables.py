"""The small tables: zones, schedules, crews, and the settings of the ground."""

from __future__ import annotations

from typing import Any

from .ground import CRS, SEED, TITLE

ZONES: list[dict[str, Any]] = [
    {"zone_id": "Z1", "source_id": "bore", "notes": "rotors of section A"},
    {"zone_id": "Z2", "source_id": "bore", "notes": "rotors of section B; also runs after lunch in the season"},
    {"zone_id": "Z3", "source_id": "bore", "notes": "north line: rotors, sprays and rotary nozzles"},
    {"zone_id": "Z4", "source_id": "bore", "notes": "strip heads of the verge along the west drive"},
]

_SEASON = {"from_on": "10-01", "to_on": "04-30", "adjust_pct": 100, "kind": "program"}
SCHEDULES: list[dict[str, Any]] = [
    {"schedule_id": "R1", "zone_id": "Z1", "program": "A", "start_at": "03:30", "run_min": 20,
     "every": "mon,wed,fri", "cycles_n": 2, "soak_min": 25, **_SEASON},
    {"schedule_id": "R2", "zone_id": "Z2", "program": "A", "start_at": "05:00", "run_min": 40,
     "every": "mon,wed,fri", "cycles_n": 1, **_SEASON},
    {"schedule_id": "R3", "zone_id": "Z2", "program": "B", "start_at": "13:30", "run_min": 10,
     "every": "2d from 2026-10-01", "cycles_n": 1, **_SEASON},
    {"schedule_id": "R4", "zone_id": "Z3", "program": "A", "start_at": "06:00", "run_min": 35,
     "every": "tue,thu,sat", "cycles_n": 1, **_SEASON},
    {"schedule_id": "R5", "zone_id": "Z4", "program": "A", "start_at": "06:45", "run_min": 12,
     "every": "2d from 2026-10-01", "cycles_n": 1, **_SEASON},
    {"schedule_id": "R6", "zone_id": "Z4", "program": "B", "start_at": "20:15", "run_min": 8,
     "every": "sat", "cycles_n": 1, **_SEASON},
]  # fmt: skip

CREWS: list[dict[str, Any]] = [
    {"crew_id": "C1", "people_n": 2, "skills": "trained tester;cleaner", "shift_from": "07:30",
     "shift_to": "14:30", "base_id": "BS1", "carries": "cart 60 L"},
    {"crew_id": "C2", "people_n": 2, "skills": "cleaner", "shift_from": "08:00", "shift_to": "12:00",
     "base_id": "BS1", "carries": "hand 20 L"},
]  # fmt: skip

SITE: dict[str, Any] = {
    "title": TITLE,
    "crs": CRS,
    "time_zone": "Australia/Adelaide",
    "elevation_m": 150,
    "seed": SEED,
    "settings": {"routes": {"day": "2026-12-02"}, "worklist": {"as_of": "2026-12-02"}},
}
