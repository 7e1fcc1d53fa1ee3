"""What each head of known ground sends out, and for how many hours."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    from gravegis.analyses.coverage.settings import CoverageSettings
    from gravegis.layers.clock import Clock
    from gravegis.layers.spraying import Sprayers
    from gravegis.science.irrigation.bundles import Spray, Turns
    from gravegis.site import Site

    Floats = npt.NDArray[np.float64]
    Ints = npt.NDArray[np.int64]
    Bools = npt.NDArray[np.bool_]

__all__ = ["Sent", "sent_of"]


@dataclass(frozen=True, slots=True, eq=False)
class Sent:
    """Water of the heads whose ground is known, in the order of their throws.

    Attributes
    ----------
    zone
        Zone of each, empty where it has none.
    flow_l_h, is_taken
        NaN where it is not known; whether it was taken from like heads.
    hours
        Hours a season, NaN where they are not known.
    ground
        What each wets: the surveyed outline, else its pattern.
    is_surveyed
        Whether that outline was surveyed.
    box_m
        West, south, east, north of all its water, also where the wind carries it.
    """

    zone: npt.NDArray[np.object_]
    flow_l_h: Floats
    is_taken: Bools
    hours: Floats
    ground: npt.NDArray[np.object_]
    is_surveyed: Bools
    box_m: Floats
    turns: Turns
    spray: Spray
    windy: bool


def sent_of(site: Site, found: Sprayers, clock: Clock | None, settings: CoverageSettings) -> Sent:
    """Return what the heads send out."""
    import shapely

    from gravegis.layers.clock import wind_of
    from gravegis.layers.spray_tables import cache
    from gravegis.layers.spraying import figure, flight_of
    from gravegis.science.irrigation.throw import throw_bounds, throw_polygons

    used = found.frame.iloc[found.rows]
    zone = used["zone_id"].fillna("").to_numpy(dtype=object)
    wind = wind_of(site, zone.tolist(), clock) if settings.use_wind else None
    flight = flight_of(used, found.throws, wind, cache())
    flow = figure(used, "flow_l_min") * 60.0
    flow = np.where(flow > 0, flow, np.nan)
    filled, is_taken = _filled(flow, found, zone, flight.kind, settings)
    outline = found.outline[found.rows]
    is_surveyed = ~shapely.is_missing(outline)
    pattern = np.asarray(throw_polygons(found.throws, segments_per_circle=64), dtype=object)
    hours = np.array([np.nan if clock is None or not one else clock.hours(one) for one in zone], dtype=np.float64)
    drift = np.hypot(flight.turns.wind_x, flight.turns.wind_y)
    box_m = throw_bounds(found.throws) + drift[:, None] * np.array([-1.0, -1.0, 1.0, 1.0])
    return Sent(
        zone, filled, is_taken, hours, np.where(is_surveyed, outline, pattern), is_surveyed, box_m,
        flight.turns, flight.spray, bool(drift.any()),
    )  # fmt: skip


def _filled(
    flow: Floats, found: Sprayers, zone: npt.NDArray[np.object_], kind: npt.NDArray[np.str_],
    settings: CoverageSettings,
) -> tuple[Floats, Bools]:  # fmt: skip
    """Return the flows, those not known taken from like heads: one kind on one valve, all strips together."""
    from gravegis.science.irrigation.like_heads import flow_of_like_heads

    if not settings.fill_flow or not len(flow):
        return flow, np.zeros(len(flow), dtype=np.bool_)
    strip = found.throws.strip_side != 0
    size = np.where(strip, found.throws.strip_length_m * found.throws.strip_width_m, found.throws.sweep_deg)
    alike = [f"{'strip' if is_strip else one}\n{name}" for is_strip, one, name in zip(strip, kind, zone, strict=True)]
    like = np.unique(alike, return_inverse=True)[1].astype(np.int64)
    like[zone == ""] = -1 - np.arange(int((zone == "").sum()))  # without a zone no head is like another
    return flow_of_like_heads(flow, size.astype(np.float64), like, least_n=settings.like_heads_n)
