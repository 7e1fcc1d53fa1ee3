"""The sprinkler heads, what each one truly wets, and what the survey got down of it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from .ground import SEED
from .ways import path_ground

if TYPE_CHECKING:
    from .stones import Stone

STONE_CLEARANCE_M = 0.35
ROTOR_COLUMNS = tuple(6.0 + 12.5 * place for place in range(8))
ROTOR_LINES = tuple(12.0 + 11.5 * place for place in range(10))
ROTOR_THROW_M = 12.0
# flow grows with the arc so that the ground gets about the same depth: common practice, no source
ROTOR_FLOW_L_MIN = {360: 17.5, 180: 9.0, 90: 4.5}


@dataclass(slots=True)
class Head:
    """One head: where it stands in plan metres, the ground it truly wets, and its columns."""

    place: tuple[float, float]
    columns: dict[str, Any]
    wets: shapely.Polygon = field(default_factory=shapely.Polygon)


def _arc(column: int, line: int) -> tuple[float, float]:
    """Return where a rotor of the grid starts and how far it turns: quarters, halves, full circles."""
    west, east = column == 0, column == len(ROTOR_COLUMNS) - 1
    south, north = line == 0, line == len(ROTOR_LINES) - 1
    if not (west or east or south or north):
        return 0.0, 360.0
    if south:
        return (270.0, 90.0) if east else (0.0, 90.0) if west else (270.0, 180.0)
    if north:
        return (180.0, 90.0) if east else (90.0, 90.0) if west else (90.0, 180.0)
    return (180.0, 180.0) if east else (0.0, 180.0)


def _zone(column: int, line: int) -> str:
    """Return the zone of a rotor: the west half in four blocks, the east half in three bands."""
    if column < 4:
        return ("Z1", "Z2", "Z3", "Z4")[column // 2 + 2 * (line // 5)]
    return "Z5" if line < 4 else "Z6" if line < 7 else "Z7"


def _rotors() -> list[Head]:
    heads = []
    for line, north_m in enumerate(ROTOR_LINES):
        for column, east_m in enumerate(ROTOR_COLUMNS):
            start, sweep = _arc(column, line)
            columns = {
                "zone_id": _zone(column, line),
                "kind": "rotor",
                "throw_m": ROTOR_THROW_M,
                "arc_from_deg": start,
                "arc_sweep_deg": sweep,
                "flow_l_min": ROTOR_FLOW_L_MIN[int(sweep)],
                "pressure_kpa": 300,
                "trajectory_deg": 25,
            }
            heads.append(Head((east_m, north_m), columns))
    return heads


def _small_heads() -> list[Head]:
    """Return the small heads of the lawn edges: rotary nozzles behind row A5, sprays behind row B5."""
    rows: tuple[tuple[float, float, str, float, float, float, float, int], ...] = (
        (37.0, 22.0, "rotary nozzle", 6.5, 180.0, 180.0, 4.8, 26),
        (37.0, 42.0, "rotary nozzle", 6.5, 180.0, 180.0, 4.8, 26),
        (43.8, 70.0, "spray", 4.5, 180.0, 180.0, 6.8, 28),
        (43.8, 79.0, "spray", 4.5, 270.0, 90.0, 3.4, 28),
    )
    names = ("kind", "throw_m", "arc_from_deg", "arc_sweep_deg", "flow_l_min", "trajectory_deg")
    made = []
    for east_m, north_m, *values in rows:
        columns: dict[str, Any] = {"zone_id": "Z8", "pressure_kpa": 210, **dict(zip(names, values, strict=True))}
        made.append(Head((east_m, north_m), columns))
    return made


def _strips() -> list[Head]:
    """Return the strip heads of the verge between the drive and section A.

    The bearing is where an end strip runs to, where a side strip reaches across, how a centre strip lies.
    """
    rows: tuple[tuple[float, float, str, float, float, float], ...] = (
        (5.4, 10.0, "strip end", 0.0, 7.5, 1.5),
        (4.6, 24.0, "strip side", 90.0, 9.0, 1.5),
        (5.4, 33.0, "strip centre", 0.0, 5.8, 1.5),
        (4.6, 72.0, "strip side", 90.0, 9.0, 1.5),
        (5.4, 88.0, "strip centre", 0.0, 5.8, 1.5),
        (5.4, 112.0, "strip end", 180.0, 6.0, 1.5),
    )
    made = []
    for east_m, north_m, kind, bearing, length_m, width_m in rows:
        columns = {
            "zone_id": "Z8",
            "kind": kind,
            "arc_from_deg": bearing,
            "strip_length_m": length_m,
            "strip_width_m": width_m,
            "flow_l_min": round(length_m * width_m * 0.65, 1),
            "pressure_kpa": 210,
            "trajectory_deg": 24,
        }
        made.append(Head((east_m, north_m), columns))
    return made


def sector(place: tuple[float, float], throw_m: float, start_deg: float, sweep_deg: float) -> shapely.Polygon:
    """Return the ground under a throw: a circle, or a slice of it clockwise from a true bearing."""
    turns = np.radians(np.linspace(start_deg, start_deg + sweep_deg, max(int(sweep_deg), 12) + 1))
    rim = np.column_stack([place[0] + throw_m * np.sin(turns), place[1] + throw_m * np.cos(turns)])
    return shapely.Polygon(rim if sweep_deg >= 360 else [place, *rim])


def strip(head: Head) -> shapely.Polygon:
    """Return the rectangle a strip head wets."""
    columns = head.columns
    length_m, width_m = columns["strip_length_m"], columns["strip_width_m"]
    # along the bearing from, along the bearing to, half across it
    near, far, half = {
        "strip end": (0.0, length_m, width_m / 2),
        "strip side": (0.0, width_m, length_m / 2),
        "strip centre": (-length_m / 2, length_m / 2, width_m / 2),
    }[columns["kind"]]
    out = np.array([np.sin(np.radians(columns["arc_from_deg"])), np.cos(np.radians(columns["arc_from_deg"]))])
    right = np.array([out[1], -out[0]])
    corners = ((near, half), (far, half), (far, -half), (near, -half))
    return shapely.Polygon([np.array(head.place) + a * out + r * right for a, r in corners])


def _clear_place(place: tuple[float, float], taken: shapely.Geometry) -> tuple[float, float]:
    """Return the nearest spot to a planned one that stands clear of stones and paths."""
    for ring_m in np.arange(0.0, 2.0, 0.1):
        for turn in np.radians(np.arange(0.0, 360.0, 30.0)):
            spot = (round(place[0] + ring_m * np.sin(turn), 2), round(place[1] + ring_m * np.cos(turn), 2))
            if shapely.distance(taken, shapely.Point(spot)) >= STONE_CLEARANCE_M:
                return spot
    message = f"no clear ground within 2 m of {place}"
    raise RuntimeError(message)


def surveyed_outline(head: Head) -> shapely.Polygon:
    """Return the uneven wet edge that was flagged round one head: shorter to the west, where the wind comes from."""
    turns = np.radians(np.arange(0.0, 360.0, 15.0))
    reach = head.columns["throw_m"] * (0.92 + 0.05 * np.sin(turns) - 0.02 * np.cos(3 * turns))
    rim = np.column_stack([head.place[0] + reach * np.sin(turns), head.place[1] + reach * np.cos(turns)])
    return shapely.Polygon(rim)


OUTLINED_HEAD = "H14"
TILTED_HEAD = "H06"
MISTING_HEAD = "H36"
# a leaning head throws short on the high side and long on the low one; mist falls short. Invented for this ground.
TILT_SHIFT_M = (1.5, 0.0)
MIST_SHARE = 0.75
NO_THROW_HEADS = ("H03", "H88")
NO_ARC_HEAD = "H05"


def true_ground(head: Head) -> shapely.Polygon:
    """Return the ground a head truly wets, faults and all."""
    columns = head.columns
    if columns["head_id"] == OUTLINED_HEAD:
        return surveyed_outline(head)
    if "strip_length_m" in columns:
        return strip(head)
    throw_m = columns["throw_m"] * (MIST_SHARE if columns["head_id"] == MISTING_HEAD else 1.0)
    wets = sector(head.place, throw_m, columns["arc_from_deg"], columns["arc_sweep_deg"])
    if columns["head_id"] == TILTED_HEAD:
        return shapely.transform(wets, lambda xy: xy + np.array(TILT_SHIFT_M))
    return wets


def make_heads(stones: list[Stone]) -> list[Head]:
    """Return the 90 heads in walking order of their zones, each with the ground it truly wets."""
    taken = shapely.union_all([path_ground(), *[stone.ground for stone in stones]])
    shapely.prepare(taken)
    heads = sorted([*_rotors(), *_strips(), *_small_heads()], key=lambda head: head.columns["zone_id"])
    for number, head in enumerate(heads, start=1):
        head.columns["head_id"] = f"H{number:02d}"
        if "strip_length_m" not in head.columns:
            head.place = _clear_place(head.place, taken)
        head.wets = true_ground(head)
    return heads


def truth_of_heads(heads: list[Head]) -> list[dict[str, Any]]:
    """Return what is true of each head before the survey's gaps; call it before `record`."""
    names = ("head_id", "throw_m", "arc_from_deg", "arc_sweep_deg", "flow_l_min", "pressure_kpa", "trajectory_deg")
    rows = []
    for head in heads:
        row: dict[str, Any] = {name: head.columns.get(name) for name in names}
        if row["head_id"] == MISTING_HEAD:
            row["throw_m"] = row["throw_m"] * MIST_SHARE
        shift = TILT_SHIFT_M if row["head_id"] == TILTED_HEAD else (0.0, 0.0)
        rows.append({**row, "shift_east_m": shift[0], "shift_north_m": shift[1]})
    return rows


def record(heads: list[Head]) -> None:
    """Turn what is true of each head into what the survey wrote down: faults, bases, and gaps."""
    rng = np.random.default_rng([SEED, 5])
    for number, head in enumerate(heads, start=1):
        columns = head.columns
        tagged, flow, pressure, angle, basis, looked = rng.random(6)
        columns["tag"] = str(number) if tagged < 0.7 else None
        columns["flow_l_min"] = columns["flow_l_min"] if flow < 0.6 else None
        columns["pressure_kpa"] = columns["pressure_kpa"] if pressure < 0.35 else None
        columns["trajectory_deg"] = columns["trajectory_deg"] if angle < 0.5 else None
        columns["throw_basis"] = "measured" if basis < 0.3 else "assumed" if basis < 0.5 else "stated"
        columns["position_error_m"] = 0.05
        columns["fault"] = "none" if looked < 0.75 else None
        columns["seen_on"] = f"2026-10-{5 + int(columns['zone_id'][1:]) // 3:02d}"
    by_id = {head.columns["head_id"]: head.columns for head in heads}
    by_id[TILTED_HEAD].update(fault="tilted", tilt_deg=12)
    by_id[MISTING_HEAD].update(fault="misting", pressure_kpa=480)
    by_id[OUTLINED_HEAD].update(throw_basis="measured")
    # what the survey missed: two throws and one arc, on heads whose widest guess stays far from section C
    for head_id in NO_THROW_HEADS:
        by_id[head_id].update(throw_m=None, throw_basis=None)
    by_id[NO_ARC_HEAD].update(arc_from_deg=None, arc_sweep_deg=None)
