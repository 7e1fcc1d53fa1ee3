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

__all__ = ["NO_FACE", "Heads", "Water", "errors_assumed", "known_heads", "water_of"]

NO_FACE = ("bubbler", "drip")
"""Kinds that wet the ground only: no face is worked out for them."""


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
    import shapely

    from gravegis.layers import canonical
    from gravegis.layers.spraying import sprayers_of

    found = sprayers_of(site)
    heads, frame, own = found.placed, found.frame, found.outline
    areas = site.get("wet_areas", canonical.empty("wet_areas", site.info.crs))
    no_head = ~found.drawn["head_id"].isin(heads["head_id"])
    loose = [*areas.geometry.dropna(), *found.drawn.geometry[no_head], None]
    is_own = ~shapely.is_missing(own)
    outlines = {i: own[row] for i, row in enumerate(found.rows) if is_own[row]}
    frame = frame.assign(error_m=known_errors_m(heads, "heads", settings.position_error_m))
    return Heads(_with_errors(frame, heads, is_own, settings), np.asarray(heads.geometry, dtype=object), found.throws,
                 found.rows, outlines, np.array(loose, dtype=object)[:-1])  # fmt: skip


def _with_errors(frame: Frame, heads: Frame, is_own: npt.NDArray[np.bool_], settings: WettingSettings) -> Frame:
    """Add the errors of throw and bearing, and whether the figures were measured or guessed."""
    from gravegis.layers.canonical import column
    from gravegis.layers.heads import bearing_unknown, turn_unknown

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
    no_bearing = bearing_unknown(heads).to_numpy() & strip
    turned = (frame["pattern"] == "part circle").to_numpy() | strip
    swing_deg = np.select([no_bearing, turned], [360.0 / np.sqrt(12.0), settings.bearing_error_deg], 0.0)
    unplaced = column(heads, "heads", "position_error_m").isna().to_numpy()
    return frame.assign(
        throw_error_m=np.nan_to_num(error_m), swing_deg=swing_deg, no_bearing=no_bearing,
        measured=measured & ~unplaced, turn_unknown=no_turn,
        guessed=by_kind | assumed | no_turn | no_bearing | unplaced,
    )  # fmt: skip


def water_of(heads: Heads, wind: tuple[Floats, Floats] | None, cache: Cache | None) -> Water:
    """Return flow and flight of the water of the heads of known ground; ``wind`` is speed and bearing, by throw."""
    from gravegis.layers.spraying import figure, flight_of

    used = heads.frame.iloc[heads.rows]
    flight = flight_of(used, heads.throws, wind, cache)
    flow = figure(used, "flow_l_min") * 60.0
    told = (flow > 0) & ~used["no_litres"].to_numpy(dtype=bool)
    return Water(np.where(told, flow, np.nan), flight.spray, flight.tables, flight.table_i, flight.turns,
                 ~np.isin(flight.kind, NO_FACE))  # fmt: skip


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
