"""Tables of how the water of a head flies: the share of it that has come below a height by a distance.

`SprayTable.share_below[i, j]` is the share of a head's water that, at distance ``i`` of ``throw_m``, passes below
height ``j`` of ``top_m`` or has landed before. Row by row it is a rank: paths of larger drops lie above those of
smaller ones, so the water that clears an obstacle of height H at distance r is all that ranks above the look-up there,
and what it takes is what ranks between that and the share already landed. One look-up at the top of a face and one at
its foot give its catch; the same numbers give the shadow, so that nothing is lost (crossing-height method).

A table depends on the kind of head, the pressure (steps of 25 kPa), the angle (1 degree), the riser (5 cm), the wind
speed (whole m/s, 0 to 5), the drag law and the coefficient files. It is stretched to the throw of each head by
`stretch`. `table_for` builds one, or takes it from a cache handed in: any object with ``get`` and ``put``.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, dataclass, replace
from functools import cache
from importlib.resources import files
from typing import Protocol

import numpy as np
import numpy.typing as npt

from gravegis.science.irrigation.ballistics import Flights, Launch, fly
from gravegis.science.irrigation.drag import MEASURED
from gravegis.science.irrigation.drops import diameter_at_share, share_below, size_and_spread, spray_kinds
from gravegis.science.irrigation.hydraulics import jet_speed_m_s

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

PRESSURE_STEP_KPA, ANGLE_STEP_DEG, RISER_STEP_M, WIND_CLASSES = 25.0, 1.0, 0.05, 6
DISTANCES_N, HEIGHTS_N = 257, 65
DROPS_N = 301
"""Drop sizes flown, at equal steps of volume; between them the paths are interpolated."""
LARGEST_MM = 5.8
"""Largest drop: the fall speeds measured by Gunn and Kinzer 1949 end there; larger ones break up (from memory,
unconfirmed), their volume is spread over the rest."""
PATTERN_SHARE = 0.99
"""Share of the water within the model's own throw; the farthest hundredth is spread over the rest. Own choice."""
STREAM_SHARE = 0.5
"""A stone is struck by the stream where this share of the volume, still rising, passes below its top. Own choice."""
STEEPEST = 0.55
"""Least model throw, in shares of the stated one, at which the near field keeps its own scale. See `stretch`."""
_FORMAT = 2


@dataclass(frozen=True, slots=True, order=True)
class TableKey:
    """What a table depends on, already rounded; made by `table_keys`."""

    kind: str
    pressure_kpa: float
    angle_deg: float
    riser_m: float
    wind_class: int
    law: str = MEASURED
    coefficients: str = ""

    @property
    def name(self) -> str:
        """Name for a cache, safe for a file."""
        text = json.dumps([_FORMAT, *asdict(self).values()])
        return f"spray-{hashlib.sha256(text.encode()).hexdigest()[:24]}"


class Cache(Protocol):
    """Where tables are kept between runs; whether it remembers changes nothing but time."""

    def get(self, name: str) -> bytes | None:
        """Return what was put under this name, None if nothing was."""

    def put(self, name: str, data: bytes) -> None:
        """Keep this under the name."""


@dataclass(frozen=True, slots=True, eq=False)
class SprayTable:
    """Flight of the water of one key.

    Attributes
    ----------
    throw_m
        Distance within which `PATTERN_SHARE` of the water lands, before it is stretched to a head. [m]
    top_m
        Height of the last column; all water stays below it. [m]
    drift_s
        How far a uniform wind carries the pattern, per m/s of wind. [s]
    share_below
        Shape ``(DISTANCES_N, HEIGHTS_N)``, distances from 0 to ``throw_m``, heights from 0 to ``top_m``.
    strike_m
        Shape ``(HEIGHTS_N,)``: distance within which the stream strikes a stone of each height. [m]
    """

    throw_m: float
    top_m: float
    drift_s: float
    share_below: Floats
    strike_m: Floats


@cache
def coefficient_hash() -> str:
    """Hash of the coefficient files and of the fixed choices of this module."""
    digest = hashlib.sha256(repr((_FORMAT, DISTANCES_N, HEIGHTS_N, DROPS_N, LARGEST_MM, PATTERN_SHARE)).encode())
    for name in ("drop_fall_speeds.csv", "spray_kinds.csv"):
        digest.update(files("gravegis.science").joinpath("data", name).read_bytes())
    return digest.hexdigest()[:16]


def table_keys(
    kinds: npt.ArrayLike,
    pressure_kpa: npt.ArrayLike,
    angle_deg: npt.ArrayLike,
    riser_m: npt.ArrayLike,
    wind_m_s: npt.ArrayLike = 0.0,
    *,
    law: str = MEASURED,
) -> tuple[list[TableKey], Ints]:
    """Return the keys needed for some heads, in order, and the place of each head's key.

    ``kinds`` are names of `drops.spray_kinds`, shape ``(heads,)``; NaN in the others stands for the usual figure of
    the kind. Wind above 5 m/s counts as 5: by then nobody should irrigate (Yacoubi et al. 2012: above 4 m/s
    uniformity is badly impaired). Raises ValueError naming unknown kinds and figures out of range.
    """
    names = np.atleast_1d(np.asarray(kinds, dtype=np.str_))
    unknown = sorted(set(names.tolist()) - set(spray_kinds()))
    if unknown:
        raise ValueError(f"Unknown kinds of head: {', '.join(unknown)}.")
    usual = [spray_kinds()[name] for name in names.tolist()]
    pressure = _or_usual(pressure_kpa, [kind.pressure_kpa for kind in usual])
    angle = _or_usual(angle_deg, [kind.trajectory_deg for kind in usual])
    riser = _or_usual(riser_m, [kind.riser_m for kind in usual])
    wind = _or_usual(wind_m_s, [0.0] * len(names))
    limits = (("pressure_kpa", pressure, 25, 2000), ("angle_deg", angle, 0, 90), ("riser_m", riser, 0, 10))
    wrong = [
        f"head {row}: {name} is {values[row]:g}, expected {low} to {high}"
        for name, values, low, high in (*limits, ("wind_m_s", wind, 0, 100))
        for row in np.flatnonzero(~((values >= low) & (values <= high)))
    ]
    if wrong:
        raise ValueError("; ".join(wrong) + ".")
    rows = zip(
        names.tolist(),
        (np.maximum(1, np.round(pressure / PRESSURE_STEP_KPA)) * PRESSURE_STEP_KPA).tolist(),
        (np.round(angle / ANGLE_STEP_DEG) * ANGLE_STEP_DEG).tolist(),
        np.round(np.round(riser / RISER_STEP_M) * RISER_STEP_M, 2).tolist(),
        np.minimum(np.round(wind), WIND_CLASSES - 1).astype(int).tolist(),
        strict=True,
    )
    keys = [TableKey(*row, law, coefficient_hash()) for row in rows]
    needed = sorted(set(keys))
    place = {key: row for row, key in enumerate(needed)}
    return needed, np.array([place[key] for key in keys], dtype=np.int64)


def _or_usual(values: npt.ArrayLike, usual: list[float]) -> Floats:
    given = np.broadcast_to(np.asarray(values, np.float64), (len(usual),))
    return np.where(np.isnan(given), usual, given)


def table_for(key: TableKey, cache: Cache | None = None) -> SprayTable:
    """Return the table of a key, from the cache if it holds a sound one, else built and put there."""
    kept = cache.get(key.name) if cache is not None else None
    if kept is not None:
        try:
            return from_bytes(kept)
        except ValueError:
            pass  # a damaged entry is built again
    table = build_table(key)
    if cache is not None:
        cache.put(key.name, to_bytes(table))
    return table


def build_table(key: TableKey) -> SprayTable:
    """Fly the drops of a key and tabulate them."""
    kind = spray_kinds()[key.kind]
    d50_mm, spread = size_and_spread(kind, key.pressure_kpa)
    rank = np.linspace(0.0, 1.0, DROPS_N)
    whole = float(share_below(LARGEST_MM, d50_mm, spread)) * PATTERN_SHARE
    diameter_mm = np.clip(diameter_at_share(rank * whole, d50_mm, spread), 0.1, LARGEST_MM)
    speed_m_s = float(jet_speed_m_s(key.pressure_kpa))
    launch = Launch(speed_m_s, key.angle_deg, key.riser_m, law=key.law)
    still = fly(diameter_mm, launch)
    throw_m = max(float(still.range_m.max()), 1e-3)
    top_m = 1.02 * float(still.apex_m.max()) + 0.02
    heights_m = np.linspace(0.0, top_m, HEIGHTS_N)
    height_at_m = np.sort(_heights_at(still, np.linspace(0.0, throw_m, DISTANCES_N)), axis=1)
    share = np.array([np.interp(heights_m, row, rank) for row in height_at_m])
    share[-1] = 1.0  # by the throw all has landed
    share[0, 0] = 0.0
    # what has landed stays landed: the paths are interpolated, which may miss that by some millionths
    share = np.maximum(share, np.maximum.accumulate(share[:, :1]))
    drop = int(STREAM_SHARE * (DROPS_N - 1))
    usual = replace(launch, angle_deg=max(launch.angle_deg, kind.trajectory_deg))
    coherent_m = float(fly(diameter_mm[drop : drop + 1], usual).apex_at_m[0])
    strike_m = _strike(still, heights_m, drop, coherent_m)
    return SprayTable(throw_m, top_m, _drift_s(diameter_mm, launch, key.wind_class), share, strike_m)


def _heights_at(flights: Flights, distances_m: Floats) -> Floats:
    """Height of each drop at each distance, shape ``(distances, drops)``, below ground where it has landed."""
    found = [
        np.interp(distances_m, x_m, z_m, right=-1.0)
        for x_m, z_m in zip(flights.x_m.T, np.maximum(flights.z_m, -1.0).T, strict=True)
    ]
    return np.array(found).T


def _strike(flights: Flights, heights_m: Floats, drop: int, coherent_m: float) -> Floats:
    """Distance at which the path of the drop of rank `STREAM_SHARE` rises past each height.

    A stone that it never rises past is in its way as far as it flies, while the stream holds together: to
    ``coherent_m``, the distance of the top of its path at the usual angle of the kind, or its own where it is thrown
    more steeply. Own choice, no source: no measured length is at hand.
    """
    rise = int(np.argmax(flights.z_m[:, drop])) + 1
    z_m, x_m = flights.z_m[:rise, drop], flights.x_m[:rise, drop]
    in_way_m = max(float(x_m[-1]), min(coherent_m, float(flights.range_m[drop])))
    rising = np.where(heights_m <= z_m[-1], np.interp(heights_m, z_m, x_m), in_way_m)
    return np.where(heights_m <= z_m[0], 0.0, rising)


def _drift_s(diameter_mm: Floats, launch: Launch, wind_class: int) -> float:
    """Half of what separates landing with the wind from landing against it, mean over the water, per m/s."""
    wind_m_s = max(1, wind_class)
    some = diameter_mm[:: DROPS_N // 20]
    to, fro = (
        fly(some, Launch(launch.speed_m_s, launch.angle_deg, launch.riser_m, wind_along_m_s=wind, law=launch.law))
        for wind in (wind_m_s, -wind_m_s)
    )
    return float((to.range_m - fro.range_m).mean()) / (2.0 * wind_m_s)


def stretch(table_throw_m: npt.ArrayLike, throw_m: npt.ArrayLike) -> tuple[Floats, Floats]:
    """Return c1, c2 of the place in a table, u = s (c1 + c2 s), for a share s of the stated throw.

    The pattern ends at the stated throw (u = 1 at s = 1), while near the head, where pressure and angle alone rule
    the stream, distance keeps its scale. Where the model reaches less than `STEEPEST` of the stated throw that would
    fold the table, and distance is stretched evenly. Own choice: single-drop flight is known to end too short.
    """
    ratio = np.asarray(table_throw_m, float) / np.asarray(throw_m, float)
    bent = ratio > STEEPEST
    return np.where(bent, 1.0 / ratio, 1.0), np.where(bent, (ratio - 1.0) / ratio, 0.0)


def to_bytes(table: SprayTable) -> bytes:
    """Return a table as bytes: the same table, the same bytes."""
    body = b"".join(np.ascontiguousarray(part, "<f8").tobytes() for part in _parts(table))
    return hashlib.sha256(body).digest() + body


def from_bytes(data: bytes) -> SprayTable:
    """Return the table; raises ValueError when the bytes are cut, damaged or of another format."""
    body = data[32:]
    if hashlib.sha256(body).digest() != data[:32] or len(body) != 8 * (3 + DISTANCES_N * HEIGHTS_N + HEIGHTS_N):
        raise ValueError("Not a whole spray table of this format.")
    numbers = np.frombuffer(body, "<f8").astype(np.float64)
    share = numbers[3 : 3 + DISTANCES_N * HEIGHTS_N].reshape(DISTANCES_N, HEIGHTS_N)
    throw_m, top_m, drift_s = numbers[:3].tolist()
    return SprayTable(throw_m, top_m, drift_s, share, numbers[-HEIGHTS_N:])


def _parts(table: SprayTable) -> tuple[Floats, Floats, Floats]:
    return np.array([table.throw_m, table.top_m, table.drift_s]), table.share_below, table.strike_m
