"""The heads of a scene, and which stones one of them would wet where a hand has moved it: exact, on arrays."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from gravegis.layers.canonical import column
from gravegis.layers.heads import surveyed_outlines, throws_of
from gravegis.layers.north import true_north_on_grid_deg
from gravegis.science.irrigation.reach import reach
from gravegis.science.irrigation.throw import StripSide, Throws, make_throws, throw_bounds, throw_polygons
from gravegis.window.canvas.stones import Wet

if TYPE_CHECKING:
    from collections.abc import Mapping

    import numpy.typing as npt

    from gravegis.site import Site
    from gravegis.window.canvas.rings import Box, Floats, Ints, Shapes
    from gravegis.window.canvas.stones import Stones

__all__ = ["Heads", "Placed", "heads_of", "moved_since", "outline_of", "placed", "state_after", "wetted_by"]

PIECES = 64
"""Straight pieces of a drawn circle: own choice, 1.8 cm at 15 m; which stones are wetted never depends on it."""


@dataclass(frozen=True, slots=True, eq=False)
class Heads:
    """Heads that have a place, one row each.

    Attributes
    ----------
    ids, tags, zones
        Name, what is written beside it, zone (empty: none).
    is_faulty
        Whether a fault is noted.
    x_m, y_m
        Place. [m]
    throws, throw_row
        What the heads throw, and the row in it of each head, -1 where nothing is known.
    outlines
        Ground each wets, for drawing; None where it is not known.
    surveyed
        Row -> outline as surveyed, which wins over the throw and does not move with the head.
    north_deg
        Grid bearing of true north at each head. [deg]
    """

    ids: npt.NDArray[np.object_]
    tags: npt.NDArray[np.object_]
    zones: npt.NDArray[np.object_]
    is_faulty: npt.NDArray[np.bool_]
    x_m: Floats
    y_m: Floats
    throws: Throws
    throw_row: Ints
    outlines: Shapes
    surveyed: Mapping[int, shapely.Geometry]
    north_deg: Floats

    def __len__(self) -> int:
        return len(self.ids)


@dataclass(frozen=True, slots=True)
class Placed:
    """One head as a hand holds it. Bearings are of the grid. `strip_side` is empty for a circle or a part of one."""

    x_m: float
    y_m: float
    throw_m: float
    from_deg: float
    sweep_deg: float
    strip_length_m: float = float("nan")
    strip_width_m: float = float("nan")
    strip_side: str = ""

    def throws(self) -> Throws:
        """Return it as the science takes it."""
        return make_throws(
            [self.x_m], [self.y_m], [self.throw_m], from_deg=[self.from_deg], sweep_deg=[self.sweep_deg],
            strip_length_m=[self.strip_length_m], strip_width_m=[self.strip_width_m], strip_side=[self.strip_side],
        )  # fmt: skip


def heads_of(site: Site) -> Heads:
    """Return the heads of a site that have a place; figures are worked out anew, so that they are those of now."""
    from gravegis.analyses import throw
    from gravegis.contract import Job

    frame = site["heads"] if site.has("heads") else None
    if frame is None:
        return _none()
    computed = throw.run(site, throw.ThrowSettings(segments_n=PIECES), Job()).layers["throws_computed"]
    shapes = np.asarray(frame["geometry"].array, dtype=object)
    kept = np.flatnonzero(~(shapely.is_missing(shapes) | shapely.is_empty(shapes)))
    place = np.full(len(frame), -1, dtype=np.int64)
    place[kept] = np.arange(len(kept))
    known, rows = throws_of(computed, frame, site.info.crs)
    throw_row = np.full(len(kept), -1, dtype=np.int64)
    throw_row[place[rows]] = np.arange(len(rows))
    x_m, y_m = shapely.get_x(shapes[kept]), shapely.get_y(shapes[kept])
    ids = np.asarray(frame["head_id"], dtype=object)[kept]
    fault = column(frame, "heads", "fault")
    outlines = np.asarray(computed["geometry"].array, dtype=object)[kept]
    surveyed = surveyed_outlines(site["throws"] if site.has("throws") else None)
    return Heads(
        ids=ids,
        tags=np.asarray(column(frame, "heads", "tag").fillna(frame["head_id"]), dtype=object)[kept],
        zones=np.asarray(column(frame, "heads", "zone_id").fillna(""), dtype=object)[kept],
        is_faulty=(fault.notna() & (fault != "none")).to_numpy(dtype=bool)[kept],
        x_m=x_m, y_m=y_m, throws=known, throw_row=throw_row, outlines=outlines,
        surveyed={row: surveyed[name] for row, name in enumerate(ids.tolist()) if name in surveyed.index},
        north_deg=true_north_on_grid_deg(site.info.crs, x_m, y_m),
    )  # fmt: skip


def _none() -> Heads:
    empty, nothing = np.empty(0), np.empty(0, dtype=object)
    return Heads(
        nothing, nothing, nothing, np.empty(0, bool), empty, empty, make_throws([], [], []), np.empty(0, np.int64),
        nothing, {}, empty,
    )  # fmt: skip


def placed(heads: Heads, row: int) -> Placed | None:
    """Return a head as it stands; None where nothing is known of what it throws."""
    at = int(heads.throw_row[row])
    if at < 0:
        return None
    one = {field.name: getattr(heads.throws, field.name)[at] for field in fields(Throws)}
    side = StripSide(int(one.pop("strip_side")))
    return Placed(
        **{name: float(value) for name, value in one.items()},
        strip_side="" if side is StripSide.NONE else side.name.lower(),
    )


def outline_of(one: Placed) -> shapely.Geometry:
    """Return the ground a head wets as it is held, for drawing."""
    made: shapely.Geometry = throw_polygons(one.throws(), segments_per_circle=PIECES)[0]
    return made


def wetted_by(stones: Stones, one: Placed, surveyed: shapely.Geometry | None = None) -> tuple[Ints, Floats]:
    """Return the stones a head wets as it is held, and their distance from it: exactly what the overlay gives.

    Parameters
    ----------
    stones
        All of the scene; only those near the head are looked at.
    one
        The head.
    surveyed
        Its outline as surveyed, which wins.
    """
    throws = one.throws()
    box = _box(throw_bounds(throws)[0] if surveyed is None else shapely.bounds(surveyed))
    rows = stones.tiles.rows_in(box)
    if not len(rows):
        return rows, np.empty(0)
    pairs = reach(stones.footprints[rows], throws, outlines={} if surveyed is None else {0: surveyed})
    return rows[pairs.stone_i], pairs.distance_m


def _box(bounds: Floats) -> Box:
    west, south, east, north = (float(side) for side in bounds)
    return west - 0.01, south - 0.01, east + 0.01, north + 0.01


def state_after(stones: Stones, heads: Heads, rows: Ints, skip: Ints) -> npt.NDArray[np.int8]:
    """Return the wetting codes of some stones as all heads but some give them, exactly."""
    codes = np.full(len(rows), Wet.NOT_REACHED, dtype=np.int8)
    at = np.setdiff1d(np.flatnonzero(heads.throw_row >= 0), skip)
    if not len(rows) or not len(at):
        return codes
    used = heads.throw_row[at]
    west, south = stones.tiles.row_bounds_m[rows, :2].min(axis=0)
    east, north = stones.tiles.row_bounds_m[rows, 2:].max(axis=0)
    boxes = throw_bounds(heads.throws)[used]
    for place, row in enumerate(at.tolist()):
        if row in heads.surveyed:
            boxes[place] = shapely.bounds(heads.surveyed[row])
    near = (boxes[:, 0] <= east) & (boxes[:, 2] >= west) & (boxes[:, 1] <= north) & (boxes[:, 3] >= south)
    at, used = at[near], used[near]
    throws = Throws(**{field.name: getattr(heads.throws, field.name)[used] for field in fields(Throws)})
    outlines = {place: heads.surveyed[row] for place, row in enumerate(at.tolist()) if row in heads.surveyed}
    pairs = reach(stones.footprints[rows], throws, outlines=outlines)
    codes[pairs.stone_i] = Wet.REACHED
    codes[pairs.stone_i[pairs.distance_m <= stones.near_m]] = Wet.NEAR
    return codes


def moved_since(site: Site, stones: Stones, heads: Heads) -> Stones:
    """Return stones whose state follows the heads that were changed since wetting was worked out.

    The log of results is not touched: it says that they are out of date. Stones away from those heads keep what was
    worked out, with observations and doubt; the others get what the throws alone give.
    """
    if not site.has("throws_computed") or not site.has("stone_wetting"):
        return stones
    segments_n = next(
        (int(str(one.settings.get("segments_n", 256))) for one in site.log if one.analysis == "throw"), 256
    )
    then = dict(zip(site["throws_computed"]["head_id"], site["throws_computed"]["geometry"].array, strict=True))
    now = np.full(len(heads), None, dtype=object)
    known = heads.throw_row >= 0
    now[known] = throw_polygons(heads.throws, segments_per_circle=segments_n)[heads.throw_row[known]]
    for row, outline in heads.surveyed.items():
        now[row] = outline
    old = np.array([then.pop(name, None) for name in heads.ids.tolist()] + [None], dtype=object)[:-1]
    same = shapely.equals_exact(old, now, 1e-6) | (shapely.is_missing(old) & shapely.is_missing(now))
    changed = np.flatnonzero(~same)
    gone = [shape for shape in then.values() if shape is not None]
    touched = [shape for shape in (*old[changed], *now[changed], *gone) if shape is not None]
    if not touched:
        return stones
    rows = np.unique(np.concatenate([stones.tiles.rows_in(_box(shapely.bounds(one))) for one in touched]))
    near = shapely.dwithin(stones.footprints[rows], shapely.union_all(np.array(touched, dtype=object)), 0.05)
    rows = rows[near]
    codes = stones.wet_code.copy()
    codes[rows] = state_after(stones, heads, rows, np.empty(0, dtype=np.int64))
    return replace(stones, wet_code=codes)
