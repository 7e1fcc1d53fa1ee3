"""The stones of a scene: footprints, condition class and wetting state as small codes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from gravegis.layers.canonical import column
from gravegis.window.canvas.rings import rings_of, tiles_of

if TYPE_CHECKING:
    import numpy.typing as npt

    from gravegis.site import Site
    from gravegis.window.canvas.rings import Floats, Rings, Shapes, Tiles

    Codes = npt.NDArray[np.int8]

__all__ = [
    "CLASS_KINDS", "NO_LAYER", "WET_KINDS", "Stones", "Wet", "footprints_of", "near_m_of", "same_ground", "stones_of",
]  # fmt: skip

CLASS_KINDS = ("condition_0", "condition_1", "condition_2", "condition_3", "condition_none")
"""Kinds of the class codes 0 to 4; 4 is a stone without a class."""
NO_LAYER = 5
"""Class code of every stone where condition has not been worked out."""
WET_KINDS = ("stone", "stone_not_reached", "stone_reached", "stone_near", "stone_not_known")
"""Kinds of the wetting codes 0 to 4; 0 is a stone of a site where wetting has not been worked out."""
NEAR_M = 2.0
"""Close to a head where the log does not say: common practice, no source."""


_GROUND = ("footprints", "x_m", "y_m", "rings", "tiles", "is_point", "size_m")


class Wet:
    """Codes of the wetting state, places in `WET_KINDS`."""

    PLAIN, NOT_REACHED, REACHED, NEAR, NOT_KNOWN = range(5)


@dataclass(frozen=True, slots=True, eq=False)
class Stones:
    """Stones that have a place, one row each.

    Attributes
    ----------
    ids, names
        Name of each, and what is written beside it (its tag where it has one).
    footprints
        Points or polygons in the grid of the site.
    x_m, y_m
        Middle of each. [m]
    rings, tiles
        Outlines of the polygons; rows by tile.
    is_point
        Whether only a point is known.
    class_code, wet_code
        Places in `CLASS_KINDS` (or `NO_LAYER`) and in `WET_KINDS`.
    size_m
        Longer side of a usual stone (the median), 0 where only points are known. [m]
    near_m
        How close to a head counts as close. [m]
    """

    ids: npt.NDArray[np.object_]
    names: npt.NDArray[np.object_]
    footprints: Shapes
    x_m: Floats
    y_m: Floats
    rings: Rings
    tiles: Tiles
    is_point: npt.NDArray[np.bool_]
    class_code: Codes
    wet_code: Codes
    size_m: float
    near_m: float

    def __len__(self) -> int:
        return len(self.ids)


def footprints_of(site: Site) -> Shapes:
    """Return the column of footprints itself: a layer of a site never changes, so it tells whether ground changed."""
    if not site.has("stones") or "geometry" not in site["stones"].columns:
        return np.empty(0, dtype=object)
    return np.asarray(site["stones"]["geometry"].array._data)


def same_ground(stones: Stones, site: Site) -> bool:
    """Whether the footprints of a site are those that these stones were made of."""
    placed = _placed(footprints_of(site))
    # the bytes of such an array are the places of its shapes in memory: the same shapes, not only equal ones
    return len(placed) == len(stones) and placed.tobytes() == stones.footprints.tobytes()


def _placed(shapes: Shapes) -> Shapes:
    kept: Shapes = shapes[~(shapely.is_missing(shapes) | shapely.is_empty(shapes))]
    return kept


def stones_of(site: Site, before: Stones | None = None) -> Stones:
    """Return the stones of a site that have a place; what `before` knows of the same ground is taken over."""
    shapes = footprints_of(site)
    kept = np.flatnonzero(~(shapely.is_missing(shapes) | shapely.is_empty(shapes)))
    frame = site["stones"].iloc[kept] if len(kept) else None
    ids = np.asarray(frame["stone_id"], dtype=object) if frame is not None else np.empty(0, dtype=object)
    names = ids
    if frame is not None and "tag" in frame.columns:
        names = np.asarray(frame["tag"].fillna(frame["stone_id"]), dtype=object)
    if before is not None and same_ground(before, site):
        places = {name: getattr(before, name) for name in _GROUND}
    else:
        places = _places(shapes[kept])
    return Stones(
        ids=ids, names=names, class_code=_class_codes(site, ids), wet_code=_wet_codes(site, ids),
        near_m=near_m_of(site), **places,
    )  # fmt: skip


def _places(shapes: Shapes) -> dict[str, object]:
    bounds_m = shapely.bounds(shapes) if len(shapes) else np.empty((0, 4))
    middle = (bounds_m[:, :2] + bounds_m[:, 2:]) / 2
    is_point = shapely.get_dimensions(shapes) == 0
    sides_m = (bounds_m[:, 2:] - bounds_m[:, :2]).max(axis=1)[~is_point]
    return {
        "footprints": shapes, "x_m": middle[:, 0].copy(), "y_m": middle[:, 1].copy(), "rings": rings_of(shapes),
        "tiles": tiles_of(bounds_m), "is_point": is_point,
        "size_m": float(np.median(sides_m)) if len(sides_m) else 0.0,
    }  # fmt: skip


def near_m_of(site: Site) -> float:
    """Return how close to a head counts as close: as the last run of wetting had it."""
    for record in site.log:
        if record.analysis == "wetting":
            return float(str(record.settings.get("near_m", NEAR_M)))
    return NEAR_M


def _class_codes(site: Site, ids: npt.NDArray[np.object_]) -> Codes:
    if not site.has("stone_condition"):
        return np.full(len(ids), NO_LAYER, dtype=np.int8)
    overall = column(site["stone_condition"], "stone_condition", "overall").set_axis(
        site["stone_condition"]["stone_id"]
    )
    known = overall.reindex(ids).to_numpy(dtype="float64", na_value=np.nan)
    return np.where(np.isnan(known), 4, known).astype(np.int8)


def _wet_codes(site: Site, ids: npt.NDArray[np.object_]) -> Codes:
    if not site.has("stone_wetting"):
        return np.zeros(len(ids), dtype=np.int8)
    frame = site["stone_wetting"].set_index("stone_id").reindex(ids)
    reached = column(frame, "stone_wetting", "reached")
    metres = column(frame, "stone_wetting", "nearest_head_m").to_numpy(dtype="float64", na_value=np.nan)
    if site.has("wetting_links", "distance_m"):
        links = site["wetting_links"]
        metres = links.groupby("stone_id")["distance_m"].min().reindex(ids).to_numpy(dtype="float64", na_value=np.nan)
    is_reached = reached.fillna(False).to_numpy(dtype=bool)
    codes = np.where(is_reached, Wet.REACHED, Wet.NOT_REACHED)
    codes[is_reached & (metres <= near_m_of(site))] = Wet.NEAR
    codes[reached.isna().to_numpy(dtype=bool)] = Wet.NOT_KNOWN
    return codes.astype(np.int8)
