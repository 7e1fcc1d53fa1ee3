"""Juniper Bench laid out in metres on EPSG:32149: plots, stones, heads and zones, and what is true of each.

Everything is invented; coordinates lie somewhere on dry uplands only so that sun and grid behave as in a real place.
Design figures of the contractor are round in his units (feet, gallons, psi); the truth beside them is in SI.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
import shapely

SEED = 20261126
METRIC_CRS, FEET_CRS, LONLAT_CRS = "EPSG:32149", "EPSG:2286", "EPSG:4269"
ORIGIN_EN = (585_000.0, 165_000.0)

FOOT_M = 0.3048
# National Institute of Standards and Technology Special Publication 811, appendix B: exact
GALLON_L, PSI_KPA, INCH_M = 3.785411784, 6.894757293168, 0.0254

PLOT_WIDE_M, PLOT_LONG_M = 1.25, 2.5
ROWS = tuple("ABCDEFGH")
ROW_STEP_M = 5.6
PLOTS_N = 34
HEAD_STEP_M = 10.7
HEAD_COLUMNS, HEAD_LINES = 5, 5
PHONE_ERROR_M = 3.0
EMPTY_N = 22

STONE_TYPES = {"white": 0.35, "grey": 0.40, "dark": 0.15, "sandy": 0.10}
# width, thickness and height of a usual headstone there, lowest and highest, in inches
SIZES_IN = ((18, 30), (6, 10), (20, 42))


@dataclass(frozen=True, slots=True)
class Row:
    """One thing on the ground: its columns as true in SI, its columns as the contractor gives them, its shape."""

    truth: dict[str, Any]
    given: dict[str, Any]
    shape: shapely.Geometry


def _at(east_m: float, north_m: float) -> tuple[float, float]:
    return ORIGIN_EN[0] + east_m, ORIGIN_EN[1] + north_m


@cache
def plots() -> tuple[Row, ...]:
    """Return eight rows of plots, two sections, inscriptions to the east."""
    made = []
    for place, letter in enumerate(ROWS):
        section = "UPPER" if place < len(ROWS) // 2 else "LOWER"
        for number in range(1, PLOTS_N + 1):
            west, south = place * ROW_STEP_M, (number - 1) * (PLOT_WIDE_M + 0.1)
            name = f"{letter}-{number:03d}"
            corners = [_at(west, south), _at(west + PLOT_LONG_M, south + PLOT_WIDE_M)]
            made.append(
                Row(
                    {"plot_id": name, "section": section, "row": letter, "lot": str(number)},
                    {"PLOT_NUMBE": name, "SECTION_NA": section, "ROW_LETTER": letter, "LOT_NUMBER": str(number)},
                    shapely.box(*corners[0], *corners[1]),
                )
            )
    return tuple(made)


def _zone(line: int) -> int:
    return 1 if line < 2 else 2 if line < 4 else 3


@cache
def heads() -> tuple[Row, ...]:
    """Return 25 rotors head to head: quarters in the corners, halves at the sides, full circles inside."""
    rng = np.random.default_rng([SEED, 1])
    made = []
    for line in range(HEAD_LINES):
        for column in range(HEAD_COLUMNS):
            start, sweep = _arc(column, line)
            flow_gpm = {360: 4.8, 180: 2.4, 90: 1.2}[sweep]
            radius_ft, psi = float(34 + rng.integers(0, 3)), float(44 + rng.integers(0, 5))
            off = 0.4 * rng.standard_normal(2)
            number = f"{_zone(line)}{line:d}{column + 1:d}"
            east, north = _at(HEAD_STEP_M * column - 1.6 + off[0], HEAD_STEP_M * line + 0.6 + off[1])
            truth = {
                "head_id": number, "zone_id": str(_zone(line)), "kind": "rotor", "throw_m": radius_ft * FOOT_M,
                "flow_l_min": flow_gpm * GALLON_L, "pressure_kpa": psi * PSI_KPA, "arc_from_deg": float(start),
                "arc_sweep_deg": float(sweep), "riser_m": 4 * INCH_M,
            }  # fmt: skip
            given = {
                "HEAD_NUMBE": number, "ZONE_STATI": str(_zone(line)), "HEAD_TYPE_": "rotor", "RADIUS_FEE": radius_ft,
                "FLOW_GALLO": flow_gpm, "PRESSURE_P": psi, "ARC_START_": float(start), "ARC_SWEEP_": float(sweep),
                "RISER_HEIG": 4.0,
            }  # fmt: skip
            made.append(Row(truth, given, shapely.Point(east, north)))
    return tuple(made)


def _arc(column: int, line: int) -> tuple[int, int]:
    """Return where a head starts and how far it turns, clockwise, in degrees."""
    west, east = column == 0, column == HEAD_COLUMNS - 1
    south, north = line == 0, line == HEAD_LINES - 1
    if not (west or east or south or north):
        return 0, 360
    if south:
        return (270, 90) if east else (0, 90) if west else (270, 180)
    if north:
        return (180, 90) if east else (90, 90) if west else (90, 180)
    return (180, 180) if east else (0, 180)


@cache
def zones() -> tuple[Row, ...]:
    """Return the zones as the areas drawn on the contractor's plan; gravegis keeps them as a table."""
    made = []
    for zone, (low, high) in {1: (-1.0, 16.6), 2: (16.6, 38.0), 3: (38.0, 46.0)}.items():
        south, north = _at(-4.0, low), _at(HEAD_STEP_M * 4 + 4.0, high)
        limit_gpm = 30.0 + 5.0 * zone
        made.append(
            Row(
                {"zone_id": str(zone), "source_id": "well", "valve_limit_l_min": limit_gpm * GALLON_L},
                {"STATION_NU": str(zone), "WATER_SOUR": "well", "VALVE_MAX_": limit_gpm},
                shapely.box(*south, *north),
            )
        )
    return tuple(made)


@cache
def pipes() -> tuple[Row, ...]:
    """Return the laterals of the plan: no layer of gravegis takes them, but they come with such a plan."""
    made = []
    for line in range(HEAD_LINES):
        ends = [
            _at(-1.6, HEAD_STEP_M * line + 0.6),
            _at(HEAD_STEP_M * (HEAD_COLUMNS - 1) - 1.6, HEAD_STEP_M * line + 0.6),
        ]
        made.append(Row({}, {"PIPE_NUMBE": f"L{line + 1}", "DIAMETER_I": 1.25}, shapely.LineString(ends)))
    return tuple(made)


@cache
def stones() -> tuple[Row, ...]:
    """Return about 250 stones: true middle, and the point a phone gave, off by 3 m on each axis."""
    rng = np.random.default_rng([SEED, 2])
    empty = set(rng.permutation(len(plots()))[:EMPTY_N].tolist())
    made: list[Row] = []
    for place, plot in enumerate(plots()):
        pick, year, *sizes = rng.random(5)
        off = PHONE_ERROR_M * rng.standard_normal(2)
        if place in empty:
            continue
        west, south, *_ = shapely.bounds(plot.shape)
        middle = (west + 0.35, south + PLOT_WIDE_M / 2)
        inches = [round(low + (high - low) * share) for (low, high), share in zip(SIZES_IN, sizes, strict=True)]
        kinds, shares = list(STONE_TYPES), np.cumsum(list(STONE_TYPES.values()))
        kind = kinds[min(int(np.searchsorted(shares, pick)), len(kinds) - 1)]
        number = f"{len(made) + 1:04d}"
        measured = (middle[0] + off[0], middle[1] + off[1])
        truth = {
            "stone_id": number, "plot_id": plot.truth["plot_id"], "material": kind, "width_m": inches[0] * INCH_M,
            "thickness_m": inches[1] * INCH_M, "height_m": inches[2] * INCH_M, "year": 1896 + int(year * 120),
            "true_e_m": middle[0], "true_n_m": middle[1],
        }  # fmt: skip
        given = {
            "MARKER_ID": number, "PLOT": plot.truth["plot_id"], "STONE_COLOR": kind, "WIDTH_IN": inches[0],
            "THICK_IN": inches[1], "HEIGHT_IN": inches[2], "YEAR": truth["year"], "ACCURACY_FT": 10,
        }  # fmt: skip
        made.append(Row(truth, given, shapely.Point(measured)))
    return tuple(made)


# One sheet of a water laboratory, long form, as they are sent: parts below the limit of detection, hardness as CaCO3.
# Invented; charges balance within 5 % when read as the sheet says.
LAB_SHEET: tuple[tuple[str, str, str], ...] = (
    ("pH", "7.8", "pH units"),
    ("Temperature", "57", "deg F"),
    ("Specific conductance", "712", "umhos/cm"),
    ("Total dissolved solids", "428", "mg/L"),
    ("Alkalinity, total", "238", "mg/L as CaCO3"),
    ("Calcium hardness", "175", "mg/L as CaCO3"),
    ("Magnesium hardness", "96", "mg/L as CaCO3"),
    ("Sodium", "38", "mg/L"),
    ("Potassium", "4.1", "mg/L"),
    ("Chloride", "34", "mg/L"),
    ("Sulfate", "68", "mg/L"),
    ("Iron, total", "0.62", "mg/L"),
    ("Iron, dissolved", "<0.05", "mg/L"),
    ("Manganese, total", "0.09", "mg/L"),
    ("Manganese, dissolved", "<0.01", "mg/L"),
)
# What the sheet says in the columns of layer water; an empty cell is below detection or not asked for.
WATER_TRUTH: dict[str, Any] = {
    "ph": 7.8, "temp_degc": round((57 - 32) * 5 / 9, 4), "conductivity_us_cm": 712, "tds_mg_l": 428,
    "alkalinity_mg_l": 238, "alkalinity_as": "CaCO3", "calcium_mg_l": round(175 / 2.49728, 2),
    "magnesium_mg_l": round(96 / 4.11792, 2), "sodium_mg_l": 38, "potassium_mg_l": 4.1, "chloride_mg_l": 34,
    "sulfate_mg_l": 68, "iron_mg_l": 0.62, "iron_basis": "total", "manganese_mg_l": 0.09, "manganese_basis": "total",
}  # fmt: skip
