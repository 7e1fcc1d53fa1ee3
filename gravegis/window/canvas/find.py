"""What lies under a pointer, in a frame or in a loop. No Qt here."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gravegis.window.canvas.ground import Pickable
    from gravegis.window.canvas.rings import Box, Ints
    from gravegis.window.scene import Scene

__all__ = ["PICK_PX", "found_at", "place_of", "stones_in_box", "stones_in_loop"]

PICK_PX = 9.0
"""How far from a thing the pointer may be: at least 8 px, so that a shaky hand picks it too."""


def found_at(scene: Scene, x_m: float, y_m: float, *, px_per_m: float, shown: frozenset[str]) -> tuple[str, str] | None:
    """Return layer and name of what lies at a place: heads before points before stones before plots."""
    within_m = PICK_PX / px_per_m
    head = _head(scene, x_m, y_m, within_m) if "heads" in shown else None
    if head is not None:
        return "heads", head
    for layer in scene.pickables:
        if layer.layer != "plots" and layer.group in shown and (row := _nearest(layer, x_m, y_m, within_m)) is not None:
            return layer.layer, str(layer.ids[row])
    if "stones" in shown and (row := _stone(scene, x_m, y_m, within_m)) is not None:
        return "stones", str(scene.stones.ids[row])
    for layer in scene.pickables:
        if layer.layer == "plots" and layer.group in shown and (row := _nearest(layer, x_m, y_m, 0.0)) is not None:
            return layer.layer, str(layer.ids[row])
    return None


def _head(scene: Scene, x_m: float, y_m: float, within_m: float) -> str | None:
    heads = scene.heads
    if not len(heads):
        return None
    square = (heads.x_m - x_m) ** 2 + (heads.y_m - y_m) ** 2
    row = int(square.argmin())
    return str(heads.ids[row]) if square[row] <= within_m**2 else None


def _stone(scene: Scene, x_m: float, y_m: float, within_m: float) -> int | None:
    """Return the row of the stone under a place, or of the nearest within reach, of equals by its middle."""
    stones = scene.stones
    rows = stones.tiles.rows_in((x_m - within_m, y_m - within_m, x_m + within_m, y_m + within_m))
    if not len(rows):
        return None
    far_m = shapely.distance(stones.footprints[rows], shapely.Point(x_m, y_m))
    middle = (stones.x_m[rows] - x_m) ** 2 + (stones.y_m[rows] - y_m) ** 2
    best = int(np.lexsort((middle, far_m))[0])
    return int(rows[best]) if far_m[best] <= within_m else None


def _nearest(layer: Pickable, x_m: float, y_m: float, within_m: float) -> int | None:
    tiles, shapes = layer.tiles, layer.shapes
    rows = tiles.rows_in((x_m - within_m, y_m - within_m, x_m + within_m, y_m + within_m))
    if not len(rows):
        return None
    far_m = shapely.distance(shapes[rows], shapely.Point(x_m, y_m))
    best = int(far_m.argmin())
    return int(rows[best]) if far_m[best] <= within_m else None


def stones_in_box(scene: Scene, box: Box) -> Ints:
    """Return the stones whose middle lies in a box."""
    west, south, east, north = box
    rows = scene.stones.tiles.rows_in(box)
    x_m, y_m = scene.stones.x_m[rows], scene.stones.y_m[rows]
    return rows[(x_m >= west) & (x_m <= east) & (y_m >= south) & (y_m <= north)]


def stones_in_loop(scene: Scene, corners_m: Sequence[tuple[float, float]]) -> Ints:
    """Return the stones whose middle lies in a loop drawn by hand; one that crosses itself takes all it goes round."""
    if len(corners_m) < 3:
        return np.empty(0, dtype=np.int64)
    loop = shapely.make_valid(shapely.Polygon(corners_m))
    west, south, east, north = (float(side) for side in loop.bounds)
    rows = stones_in_box(scene, (west, south, east, north))
    inside: Ints = rows[shapely.contains_xy(loop, scene.stones.x_m[rows], scene.stones.y_m[rows])]
    return inside


def place_of(scene: Scene, layer: str, name: str) -> tuple[float, float, float] | None:
    """Return the middle of a thing and how much ground it takes; None where the scene has no place for it. [m]"""
    known = {"stones": _stone_place, "heads": _head_place, "zones": _zone_place}
    if layer in known:
        return known[layer](scene, name)
    for one in (one for one in scene.pickables if one.layer == layer):
        found = np.flatnonzero(one.ids == name)
        if len(found):
            west, south, east, north = one.tiles.row_bounds_m[int(found[0])].tolist()
            return (west + east) / 2, (south + north) / 2, max(east - west, north - south, 1.0)
    return None


def _stone_place(scene: Scene, name: str) -> tuple[float, float, float] | None:
    stones = scene.stones
    found = np.flatnonzero(stones.ids == name)
    if not len(found):
        return None
    row = int(found[0])
    west, south, east, north = stones.tiles.row_bounds_m[row].tolist()
    return float(stones.x_m[row]), float(stones.y_m[row]), max(east - west, north - south, 0.5)


def _head_place(scene: Scene, name: str) -> tuple[float, float, float] | None:
    heads = scene.heads
    found = np.flatnonzero(heads.ids == name)
    if not len(found):
        return None
    row = int(found[0])
    at = int(heads.throw_row[row])
    reach_m = float(heads.throws.throw_m[at]) if at >= 0 else 1.0
    return float(heads.x_m[row]), float(heads.y_m[row]), 2 * reach_m


def _zone_place(scene: Scene, name: str) -> tuple[float, float, float] | None:
    heads = scene.heads
    mine = np.flatnonzero(heads.zones == name)
    if not len(mine):
        return None
    x_m, y_m = heads.x_m[mine], heads.y_m[mine]
    size_m = max(float(np.ptp(x_m)), float(np.ptp(y_m))) + 20.0
    return float(x_m.min() + x_m.max()) / 2, float(y_m.min() + y_m.max()) / 2, size_m
