"""Heads with a place, the ground each wets, and how its water flies: what every analysis of water starts from."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gravegis.errors import LayerError

if TYPE_CHECKING:
    import numpy.typing as npt

    from gravegis.layers.canonical import Frame
    from gravegis.layers.holder import Holder
    from gravegis.science.irrigation.bundles import Spray, Turns
    from gravegis.science.irrigation.tables import Cache, SprayTable
    from gravegis.science.irrigation.throw import Throws

    Floats = npt.NDArray[np.float64]
    Ints = npt.NDArray[np.int64]
    Shapes = npt.NDArray[np.object_]

__all__ = [
    "BUILT",
    "FIGURES",
    "Flight",
    "Sprayers",
    "figure",
    "flight_of",
    "kinds_used",
    "level_in_ground",
    "sprayers_of",
]

_SIZE = ["strip_length_m", "strip_width_m"]
FIGURES = [
    "pattern", "throw_m", "throw_low_m", "throw_high_m", "arc_from_deg", "arc_sweep_deg", *_SIZE, "basis", "mend_first",
]  # fmt: skip
"""Columns read of ``throws_computed``."""
BUILT = ["kind", "pressure_kpa", "trajectory_deg", "riser_m", "flow_l_min", "changed_on"]
"""Columns read of ``heads``, as built."""
_BY_THROW = ((4.6, "spray"), (9.0, "rotary nozzle"), (np.inf, "rotor"))
"""Kind taken for a head of unknown kind, by its throw: upper ends of the usual ranges (data/head_kinds.csv)."""


@dataclass(frozen=True, slots=True, eq=False)
class Sprayers:
    """Heads with a place, and the throws of those whose ground is known.

    Attributes
    ----------
    frame
        One row a head: head_id, zone_id, figures of its throw, and as built; ``no_litres`` where its ground was
        surveyed but nobody noted its turn, so that nobody can say how much of its water falls where.
    placed
        The same rows of layer ``heads``.
    outline
        Surveyed ground of each head, None where there is none.
    throws, rows
        Throws of the heads whose pattern is known, and their rows in `frame`.
    drawn
        Surveyed grounds, with the head_id of each.
    """

    frame: Frame
    placed: Frame
    outline: Shapes
    throws: Throws
    rows: Ints
    drawn: Frame


@dataclass(frozen=True, slots=True, eq=False)
class Flight:
    """How the water of the heads of known ground flies, for a flow of 1; the tables of it, and kind of each head."""

    spray: Spray
    tables: list[SprayTable]
    table_i: Ints
    turns: Turns
    kind: npt.NDArray[np.str_]


def sprayers_of(site: Holder) -> Sprayers:
    """Return the heads that have a place; surveyed ground wins over figures, its farthest point is the throw."""
    import pandas as pd
    import shapely

    from gravegis.layers import canonical
    from gravegis.layers.heads import surveyed_outlines, throws_of

    heads = _layer(site, "heads")
    heads = heads[~shapely.is_missing(heads.geometry.to_numpy()) & ~heads.geometry.is_empty].reset_index(drop=True)
    computed = _layer(site, "throws_computed")
    known = {name: canonical.column(computed, "throws_computed", name) for name in FIGURES}
    frame = pd.DataFrame({"head_id": computed["head_id"], **known}).set_index("head_id")
    frame = frame.reindex(heads["head_id"]).reset_index().fillna({"arc_from_deg": 0.0, "arc_sweep_deg": 360.0})
    drawn = _layer(site, "throws")
    drawn = drawn[~shapely.is_missing(drawn.geometry.to_numpy())].assign(
        head_id=canonical.column(drawn, "throws", "head_id")
    )
    outline, point = surveyed_outlines(drawn), np.asarray(heads.geometry, dtype=object)
    own = np.array([*(outline.get(head) for head in frame["head_id"]), None], dtype=object)[:-1]
    is_own = ~shapely.is_missing(own)
    frame["pattern"] = frame["pattern"].where(~is_own, "surveyed outline")
    frame["throw_m"] = frame["throw_m"].where(~is_own, shapely.hausdorff_distance(point, own))
    frame["no_litres"] = is_own & _turn_unsaid(heads)
    frame["arc_sweep_deg"] = frame["arc_sweep_deg"].where(~frame["no_litres"], 360.0)
    strip = frame["pattern"].fillna("").str.startswith("strip ")
    frame[_SIZE] = frame[_SIZE].where(strip, np.nan)
    complete = frame["throw_m"].notna().where(~strip, frame[_SIZE].notna().all(axis=1))
    frame["pattern"] = frame["pattern"].where(complete)
    throws, rows = throws_of(frame, heads, site.info.crs)
    for name in ("zone_id", *BUILT):
        frame[name] = canonical.column(heads, "heads", name)
    return Sprayers(frame, heads, own, throws, rows, drawn)


def _turn_unsaid(heads: Frame) -> npt.NDArray[np.bool_]:
    """Whether nobody knows along which bearings a head of surveyed outline sends its water."""
    from gravegis.layers.canonical import column
    from gravegis.layers.heads import turn_unknown

    strip = column(heads, "heads", "kind").fillna("").str.startswith("strip ")
    return np.asarray(turn_unknown(heads) | strip, dtype=np.bool_)


def flight_of(used: Frame, throws: Throws, wind: tuple[Floats, Floats] | None, cache: Cache | None) -> Flight:
    """Return how water flies from heads: ``used`` are the rows of `Sprayers.frame` that the throws are of.

    ``wind`` is speed [m/s] and bearing it comes from [deg], by throw.
    """
    from gravegis.science.irrigation.rays.water import make_spray
    from gravegis.science.irrigation.wind import drift_m, turns_of

    kind = kinds_used(used)
    speed, from_deg = (np.zeros(len(used)), np.zeros(len(used))) if wind is None else wind
    tables, table_i = _tables(used, kind, speed, cache)
    drift_s = np.array([table.drift_s for table in tables])[table_i] if tables else np.zeros(0)
    # a surveyed outline holds its own wind
    speed = np.where(used["pattern"] == "surveyed outline", 0.0, speed)
    turns = turns_of(throws, *drift_m(speed, from_deg, drift_s))
    return Flight(make_spray(throws, 1.0, tables, table_i), tables, table_i, turns, kind)


def _tables(
    used: Frame, kind: npt.NDArray[np.str_], wind_m_s: Floats, cache: Cache | None
) -> tuple[list[SprayTable], Ints]:
    """Return the tables of flight and the place of each head's; raises LayerError that names the heads."""
    from gravegis.science.irrigation.tables import table_for, table_keys

    if not len(used):
        return [], np.zeros(0, dtype=np.int64)
    pressure, angle, riser = (figure(used, name) for name in ("pressure_kpa", "trajectory_deg", "riser_m"))
    pressure = np.where(pressure > 0, np.maximum(pressure, 25.0), np.nan)
    riser = np.where(level_in_ground(used), np.nan, riser)
    ids, place = used["head_id"].to_numpy(dtype=object), "heads: pressure_kpa, trajectory_deg, riser_m"
    remedy = "Correct the figure, or leave it empty: then the usual one of the kind counts."
    try:
        keys, table_i = table_keys(kind, pressure, angle, riser, wind_m_s)
    except ValueError as error:
        named = re.sub(r"\bhead (\d+)", lambda found: f"head {ids[int(found[1])]}", str(error))
        raise LayerError(named, where=place, remedy=remedy) from None
    tables = []
    for row, key in enumerate(keys):
        try:
            tables.append(table_for(key, cache))
        except ValueError as error:
            heads = ", ".join(str(one) for one in ids[table_i == row][:5])
            raise LayerError(f"Nobody can follow the water of {heads}: {error}", where=place, remedy=remedy) from None
    return tables, table_i


def level_in_ground(used: Frame) -> npt.NDArray[np.bool_]:
    """Whether a head is said to throw level out of the ground, by the steps of the tables: no water could leave it."""
    return np.asarray((figure(used, "trajectory_deg") <= 0.5) & (figure(used, "riser_m") <= 0.025))


def kinds_used(used: Frame) -> npt.NDArray[np.str_]:
    """Return the kind of each head, by its throw where it has none that is known."""
    from gravegis.science.irrigation.drops import spray_kinds

    kind = used["kind"].fillna("").to_numpy(dtype=object)
    by_throw = [next(name for most, name in _BY_THROW if not throw > most) for throw in used["throw_m"]]
    known = [str(one) if one in spray_kinds() else other for one, other in zip(kind, by_throw, strict=True)]
    return np.array(known, dtype=np.str_)


def figure(used: Frame, name: str) -> Floats:
    """Return a column of numbers, NaN where one is not known."""
    return np.asarray(used[name].to_numpy(dtype=np.float64, na_value=np.nan))


def _layer(site: Holder, name: str) -> Frame:
    from gravegis.layers import canonical

    if name in site:
        return site[name]
    return canonical.empty(name, site.info.crs or None)
