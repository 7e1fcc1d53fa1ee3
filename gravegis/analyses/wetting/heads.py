"""Heads with a place: the ground they wet, the water they send out, and how sure both are."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from gravegis.contract import Assumption
from gravegis.layers.position_error import ERROR_OF_BASIS_M, UNKNOWN_M, known_errors_m, unknown_rows

if TYPE_CHECKING:
    import numpy.typing as npt

    from gravegis.analyses.wetting.settings import WettingSettings
    from gravegis.layers.canonical import Frame
    from gravegis.science.irrigation.bundles import Spray, Turns
    from gravegis.science.irrigation.tables import Cache, SprayTable
    from gravegis.science.irrigation.throw import Throws
    from gravegis.site import Site

    Floats = npt.NDArray[np.float64]
    Ints = npt.NDArray[np.int64]
    Shapes = npt.NDArray[np.object_]

__all__ = ["FIGURES", "NO_FACE", "Heads", "Water", "errors_assumed", "known_heads", "water_of"]

_SIZE = ["strip_length_m", "strip_width_m"]
FIGURES = [
    "pattern", "throw_m", "throw_low_m", "throw_high_m", "arc_from_deg", "arc_sweep_deg", *_SIZE, "basis", "mend_first",
]  # fmt: skip
_BUILT = ["kind", "pressure_kpa", "trajectory_deg", "riser_m", "flow_l_min", "changed_on"]
NO_FACE = ("bubbler", "drip")
"""Kinds that wet the ground only: no face is worked out for them."""
_BY_THROW = ((4.6, "spray"), (9.0, "rotary nozzle"), (np.inf, "rotor"))
"""Kind taken for a head of unknown kind, by its throw: upper ends of the usual ranges (data/head_kinds.csv)."""


@dataclass(frozen=True, slots=True, eq=False)
class Heads:
    """Heads with a place, throws of those whose ground is known, and drawn ground that belongs to none of them."""

    frame: Frame  # head_id, zone_id, mend_first, errors, swing_deg, guessed, measured, no_litres, and as built
    point: Shapes
    throws: Throws
    rows: Ints  # of the throws
    outlines: dict[int, Any]  # by row of the throw
    loose: Shapes


@dataclass(frozen=True, slots=True, eq=False)
class Water:
    """What the heads of known ground send out: flow of each [L/h], its spray for a flow of 1, the tables, wind."""

    flow_l_h: Floats
    spray: Spray
    tables: list[SprayTable]
    table_i: Ints
    turns: Turns
    on_faces: npt.NDArray[np.bool_]


def known_heads(site: Site, settings: WettingSettings) -> Heads:
    """Return the heads; surveyed ground wins over figures, its farthest point is the throw."""
    import pandas as pd
    import shapely

    from gravegis.layers import canonical
    from gravegis.layers.heads import surveyed_outlines, throws_of

    heads = site.get("heads", canonical.empty("heads", site.info.crs))
    heads = heads[heads.geometry.notna() & ~heads.geometry.is_empty].reset_index(drop=True)
    computed = site.get("throws_computed", canonical.empty("throws_computed"))
    known = {name: canonical.column(computed, "throws_computed", name) for name in FIGURES}
    frame = pd.DataFrame({"head_id": computed["head_id"], **known}).set_index("head_id")
    frame = frame.reindex(heads["head_id"]).reset_index().fillna({"arc_from_deg": 0.0, "arc_sweep_deg": 360.0})
    areas, drawn = (site.get(name, canonical.empty(name, site.info.crs)) for name in ("wet_areas", "throws"))
    drawn = drawn[drawn.geometry.notna()].assign(head_id=canonical.column(drawn, "throws", "head_id"))
    loose = [*areas.geometry.dropna(), *drawn.geometry[~drawn["head_id"].isin(heads["head_id"])], None]
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
    outlines = {i: own[row] for i, row in enumerate(rows) if is_own[row]}
    for name in ("zone_id", *_BUILT):
        frame[name] = canonical.column(heads, "heads", name)
    frame["error_m"] = known_errors_m(heads, "heads", settings.position_error_m)
    return Heads(_with_errors(frame, heads, is_own, settings), point, throws, rows, outlines,
                 np.array(loose, dtype=object)[:-1])  # fmt: skip


def _turn_unsaid(heads: Frame) -> npt.NDArray[np.bool_]:
    """Whether nobody knows along which bearings a head of surveyed outline sends its water: so not how much where."""
    from gravegis.layers.canonical import column
    from gravegis.layers.heads import turn_unknown

    strip = column(heads, "heads", "kind").fillna("").str.startswith("strip ")
    return np.asarray(turn_unknown(heads) | strip, dtype=np.bool_)


def _with_errors(frame: Frame, heads: Frame, is_own: npt.NDArray[np.bool_], settings: WettingSettings) -> Frame:
    """Add the errors of throw and bearing, and whether the figures were measured or guessed."""
    from gravegis.layers.canonical import column
    from gravegis.layers.heads import turn_unknown

    basis, throw_m = frame["basis"].fillna(""), frame["throw_m"]
    share = settings.stated_throw_error_frac
    spread_m = (frame["throw_high_m"] - frame["throw_low_m"]) / np.sqrt(12.0)  # of an even spread between the ends
    measured = is_own | (basis == "measured").to_numpy()
    by_kind = (basis == "by kind").to_numpy() & ~is_own
    assumed = (basis == "assumed").to_numpy() & ~is_own
    choices = [np.full(len(frame), settings.measured_throw_error_m), spread_m, throw_m * 2.0 * share]
    error_m = np.select([measured, by_kind, assumed], choices, throw_m * share)
    strip = frame["pattern"].fillna("").str.startswith("strip ").to_numpy()
    no_turn = turn_unknown(heads).to_numpy() & ~strip & ~is_own
    part = (frame["pattern"] == "part circle").to_numpy()
    unplaced = column(heads, "heads", "position_error_m").isna().to_numpy()
    return frame.assign(
        throw_error_m=np.nan_to_num(error_m), swing_deg=np.where(part, settings.bearing_error_deg, 0.0),
        measured=measured & ~unplaced, guessed=by_kind | assumed | no_turn | unplaced, turn_unknown=no_turn,
    )  # fmt: skip


def water_of(heads: Heads, wind: tuple[Floats, Floats] | None, cache: Cache | None) -> Water:
    """Return flow and flight of the water of the heads of known ground; ``wind`` is speed and bearing, by throw."""
    from gravegis.science.irrigation.rays.water import make_spray
    from gravegis.science.irrigation.tables import table_for, table_keys
    from gravegis.science.irrigation.wind import drift_m, turns_of

    used = heads.frame.iloc[heads.rows]
    kind = kinds_used(used)
    figures = [_figure(used, name) for name in ("pressure_kpa", "trajectory_deg", "riser_m")]
    pressure = np.where(figures[0] > 0, np.maximum(figures[0], 25.0), np.nan)
    speed, from_deg = (np.zeros(len(used)), np.zeros(len(used))) if wind is None else wind
    keys, table_i = table_keys(kind, pressure, figures[1], figures[2], speed) if len(used) else ([], heads.rows)
    tables = [table_for(key, cache) for key in keys]
    drift_s = np.array([table.drift_s for table in tables])[table_i] if tables else np.zeros(0)
    speed = np.where(np.isin(np.arange(len(used)), [*heads.outlines]), 0.0, speed)  # an outline holds its own wind
    turns = turns_of(heads.throws, *drift_m(speed, from_deg, drift_s))
    spray = make_spray(heads.throws, 1.0, tables, table_i)
    flow = _figure(used, "flow_l_min") * 60.0
    told = (flow > 0) & ~used["no_litres"].to_numpy(dtype=bool)
    return Water(np.where(told, flow, np.nan), spray, tables, table_i, turns, ~np.isin(kind, NO_FACE))


def kinds_used(used: Frame) -> npt.NDArray[np.str_]:
    """Return the kind of each head, by its throw where it has none that is known."""
    from gravegis.science.irrigation.drops import spray_kinds

    kind = used["kind"].fillna("").to_numpy(dtype=object)
    by_throw = [next(name for most, name in _BY_THROW if not throw > most) for throw in used["throw_m"]]
    known = [str(one) if one in spray_kinds() else other for one, other in zip(kind, by_throw, strict=True)]
    return np.array(known, dtype=np.str_)


def _figure(used: Frame, name: str) -> Floats:
    return np.asarray(used[name].to_numpy(dtype=np.float64, na_value=np.nan))


def errors_assumed(site: Site, settings: WettingSettings) -> list[Assumption]:
    """Return which error was taken for positions without one, and for how many rows; none where no head is known."""
    usual = "as by phone: unsourced default" if settings.position_error_m == UNKNOWN_M else "as set"
    taken = f"not known, nor how it was got: {settings.position_error_m:g} m, {usual}"
    by_basis = ", ".join(f"{basis} {error_m:g} m" for basis, error_m in ERROR_OF_BASIS_M.items())
    made = []
    for layer in ("stones", "heads"):
        told_n, unknown_n = unknown_rows(site[layer], layer) if site.has("heads") and layer in site else (0, 0)
        for words, rows_n in ((f"by how it was got ({by_basis}): unsourced defaults", told_n), (taken, unknown_n)):
            made.append(Assumption(f"{layer}.position_error_m", words, rows_n))
    return made
