"""Patches of ground with something to know about them: hosed, shaded, to be spared, closed, fed with iron."""

from __future__ import annotations

from typing import Any

import shapely

from .ways import POND

# the corner where somebody waters by hand, with a hose, what no head reaches
HOSED_CORNER = ((8.5, 117.6), (30.0, 117.6), (30.0, 124.7), (10.5, 124.7), (8.5, 123.0))
# new turf in the old part, fed with iron and watered by nobody: the rust there is not of the spray
FED_PATCH = ((102.4, 27.0), (116.6, 27.0), (116.6, 35.5), (102.4, 35.5))
IRON_FEED = {
    "grounds_log_id": "L1", "what": "iron feed", "section": "C", "done_on": "2026-08-24",
    "note": "iron sulphate on the new turf between rows C1 and C5",
}  # fmt: skip
WEED_SPRAY = {
    "grounds_log_id": "L2", "what": "weed spray", "section": "D", "done_on": "2026-09-02", "note": "along the kerbs",
}  # fmt: skip
SPRAYED_VERGE = ((51.5, 63.6), (53.0, 63.6), (53.0, 121.5), (51.5, 121.5))

# place, radius of the crown, height, share of the sunlight that comes through
TREES: tuple[tuple[tuple[float, float], float, float, float], ...] = (
    ((25.0, 34.0), 4.5, 9.0, 0.25),
    ((38.5, 92.0), 4.0, 8.0, 0.25),
    ((15.0, 108.0), 3.6, 7.0, 0.35),
    ((58.5, 40.0), 4.2, 8.5, 0.25),
    ((82.0, 22.0), 3.8, 7.5, 0.35),
    ((74.5, 100.0), 4.6, 9.5, 0.25),
    ((104.0, 50.0), 5.0, 11.0, 0.20),
    ((113.0, 84.0), 5.2, 12.0, 0.20),
    ((107.0, 112.0), 4.4, 10.0, 0.20),
)
# at noon the shadow of a tree falls to the south here, by about half its height over the year
SHADE_LENGTH = 0.5
POND_BUFFER_M = 12.0


def crown(place: tuple[float, float], radius_m: float) -> shapely.Polygon:
    """Return the ground under a tree."""
    return shapely.Point(place).buffer(radius_m, quad_segs=4)


def shaded_ground() -> shapely.Geometry:
    """Return what lies under the trees or in their shadow at noon: what counts as shaded in the truth."""
    falls = []
    for (east, north), radius_m, high, _ in TREES:
        end = crown((east, north - SHADE_LENGTH * high), radius_m)
        falls.append(shapely.convex_hull(shapely.union(crown((east, north), radius_m), end)))
    return shapely.union_all(falls)


def shade_rows() -> tuple[list[dict[str, Any]], list[shapely.Geometry]]:
    """Return the layer of trees: rows and crowns."""
    rows = [
        {"shade_id": f"TR{number}", "kind": "tree", "height_m": high, "transmissivity": share}
        for number, (_, _, high, share) in enumerate(TREES, start=1)
    ]
    return rows, [crown(place, radius_m) for place, radius_m, *_ in TREES]


def sensitive_rows() -> tuple[list[dict[str, Any]], list[shapely.Geometry]]:
    """Return the layer of what must be spared: the pond."""
    return [{"sensitive_id": "N1", "kind": "pond", "buffer_m": POND_BUFFER_M}], [shapely.Polygon(POND)]


def closure_rows() -> tuple[list[dict[str, Any]], list[shapely.Geometry]]:
    """Return the ground closed on the day of the plan and the day after."""
    rows: list[dict[str, Any]] = [
        {"closure_id": "K1", "kind": "funeral", "from_at": "2026-12-02T10:00", "to_at": "2026-12-02T11:30",
         "quiet_m": 30.0},
        {"closure_id": "K2", "kind": "mowing", "from_at": "2026-12-02T07:00", "to_at": "2026-12-02T09:00",
         "quiet_m": None},
        {"closure_id": "K3", "kind": "digging", "from_at": "2026-12-03T07:00", "to_at": "2026-12-03T12:00",
         "quiet_m": None},
    ]  # fmt: skip
    shapes: list[shapely.Geometry] = [
        shapely.box(8.0, 84.0, 24.0, 100.0),
        shapely.box(53.0, 63.5, 94.0, 122.0),
        shapely.box(50, 30, 56, 36),
    ]
    return rows, shapes


def grounds_log_rows() -> tuple[list[dict[str, Any]], list[shapely.Geometry]]:
    """Return what was put on the grass: the iron feed that explains rust on dry stones, and a weed spray."""
    rows: list[dict[str, Any]] = [IRON_FEED, WEED_SPRAY]
    shapes: list[shapely.Geometry] = [shapely.Polygon(FED_PATCH), shapely.Polygon(SPRAYED_VERGE)]
    return rows, shapes
