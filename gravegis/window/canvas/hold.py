"""A head in the hand: where it is held, which stones it wets there, and what that changes in its row. No Qt here."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from gravegis.layers.north import true_north_on_grid_deg
from gravegis.science.irrigation.throw import StripSide
from gravegis.window.canvas.heads import Placed, outline_of, placed, state_after, wetted_by
from gravegis.window.canvas.stones import Wet

if TYPE_CHECKING:
    import numpy.typing as npt

    from gravegis.window.canvas.rings import Ints
    from gravegis.window.scene import Scene

__all__ = ["Hold", "Part", "hold_of"]

LEAST_M, MOST_M = 0.5, 60.0
"""Throws a hand can set: own choice, wider than any nozzle of the table of kinds."""
LEAST_SWEEP_DEG = 5.0
Part = str
"""What the hand has: ``place``, ``turn`` (the whole turn), ``sweep`` (its end) or ``size``."""
_UNKNOWN = Placed(0.0, 0.0, 1.0, 0.0, 360.0)


@dataclass(slots=True)
class Hold:
    """One head of a scene in the hand; `now` changes, all else is as it was when it was taken."""

    scene: Scene
    row: int
    was: Placed
    is_known: bool
    now: Placed
    was_rows: Ints
    rows: Ints
    codes: npt.NDArray[np.int8]
    _others: dict[int, int]

    @property
    def head_id(self) -> str:
        """Name of the head."""
        return str(self.scene.heads.ids[self.row])

    @property
    def surveyed(self) -> shapely.Geometry | None:
        """Outline as surveyed, which stays where it is."""
        return self.scene.heads.surveyed.get(self.row)

    @property
    def outline(self) -> shapely.Geometry | None:
        """Ground it wets as it is held."""
        if self.surveyed is not None:
            return self.surveyed
        return outline_of(self.now) if self.is_known else None

    def wetted_ids(self) -> tuple[str, ...]:
        """Return the stones it wets as it is held."""
        return tuple(self.scene.stones.ids[self.rows].tolist())

    def handles(self) -> dict[Part, tuple[float, float]]:
        """Return where each handle stands on the ground. [m]"""
        now = self.now
        made = {"place": (now.x_m, now.y_m)}
        if not self.is_known or self.surveyed is not None:
            return made
        middle = now.from_deg + (0.0 if now.strip_side else now.sweep_deg / 2)
        made["size"] = _along(now, middle, _reach_m(now))
        if now.strip_side:
            made["turn"] = _along(now, now.from_deg, _reach_m(now) + 1.5)
        else:
            made["sweep"] = _along(now, now.from_deg + now.sweep_deg, now.throw_m)
            if now.sweep_deg < 360.0:
                made["turn"] = _along(now, now.from_deg, now.throw_m)
        return made

    def drag(self, part: Part, x_m: float, y_m: float) -> None:
        """Hold one part of the head at a place on the ground."""
        now = self.now
        far_m = math.hypot(x_m - now.x_m, y_m - now.y_m)
        bearing = math.degrees(math.atan2(x_m - now.x_m, y_m - now.y_m)) % 360.0
        if part == "place":
            self.hold(replace(now, x_m=round(x_m, 3), y_m=round(y_m, 3)))
        elif part == "size":
            self.resize(far_m - _reach_m(now))
        elif part == "turn":
            self.hold(replace(now, from_deg=self._as_true(bearing)))
        else:
            sweep = round((bearing - now.from_deg) % 360.0, 1)
            self.hold(replace(now, sweep_deg=360.0 if sweep < LEAST_SWEEP_DEG else sweep))

    def nudge(self, east_m: float, north_m: float) -> None:
        """Move it by so much."""
        self.hold(replace(self.now, x_m=round(self.now.x_m + east_m, 3), y_m=round(self.now.y_m + north_m, 3)))

    def turn(self, by_deg: float) -> None:
        """Turn it clockwise."""
        self.hold(replace(self.now, from_deg=self._as_true(self.now.from_deg + by_deg)))

    def resize(self, by_m: float) -> None:
        """Make its throw, or the length of its strip, longer by so much."""
        now = self.now
        if not self.is_known:
            return
        if now.strip_side:
            grow = by_m * (2 if now.strip_side == StripSide.CENTRE.name.lower() else 1)
            if now.strip_side == StripSide.SIDE.name.lower():
                width = round(min(max(now.strip_width_m + by_m, LEAST_M), now.strip_length_m), 2)
                self.hold(replace(now, strip_width_m=width))
            else:
                length = round(min(max(now.strip_length_m + grow, now.strip_width_m), MOST_M), 2)
                self.hold(replace(now, strip_length_m=length))
        else:
            self.hold(replace(now, throw_m=round(min(max(now.throw_m + by_m, LEAST_M), MOST_M), 2)))

    def hold(self, now: Placed) -> None:
        """Hold it so, and work out which stones it wets there and what state they and those it left are in."""
        self.now = now
        stones = self.scene.stones
        if self.is_known:
            self.rows, far_m = wetted_by(stones, now, self.surveyed)
            mine = np.where(far_m <= stones.near_m, Wet.NEAR, Wet.REACHED).astype(np.int8)
        else:
            self.rows, mine = np.empty(0, np.int64), np.empty(0, np.int8)
        touched = np.union1d(self.was_rows, self.rows)
        fresh = np.array([row for row in touched.tolist() if row not in self._others], dtype=np.int64)
        states = state_after(stones, self.scene.heads, fresh, np.array([self.row]))
        self._others.update(zip(fresh.tolist(), states.tolist(), strict=True))
        codes = np.array([self._others[row] for row in touched.tolist()], dtype=np.int8)
        at = np.searchsorted(touched, self.rows)
        codes[at] = np.maximum(codes[at], mine)
        self.codes = codes

    @property
    def touched(self) -> Ints:
        """Stones it wets now or wetted when it was taken; `codes` are theirs."""
        return np.union1d(self.was_rows, self.rows)

    def changes(self) -> dict[str, object]:
        """Return what is other than before, by column of layer heads; bearings are true again."""
        was, now = self.was, self.now
        made: dict[str, object] = {}
        if (was.x_m, was.y_m) != (now.x_m, now.y_m):
            made["geometry"] = shapely.Point(now.x_m, now.y_m)
        if was.from_deg != now.from_deg:
            made["arc_from_deg"] = round((now.from_deg - self._north_deg) % 360.0, 1) % 360.0
        if was.sweep_deg != now.sweep_deg:
            made["arc_sweep_deg"] = now.sweep_deg
            made.setdefault("arc_from_deg", round((now.from_deg - self._north_deg) % 360.0, 1) % 360.0)
        if not now.strip_side and was.throw_m != now.throw_m:
            made["throw_m"] = now.throw_m
        for name in ("strip_length_m", "strip_width_m"):
            if now.strip_side and getattr(was, name) != getattr(now, name):
                made |= {"strip_length_m": now.strip_length_m, "strip_width_m": now.strip_width_m}
        return made

    def settle(self) -> None:
        """Hold it as its row will say: true north is not quite the same at another place."""
        if not self.is_known or self.now == self.was:
            return
        north = true_north_on_grid_deg(self.scene.crs, np.array([self.now.x_m]), np.array([self.now.y_m]))
        true_deg = self.now.from_deg - self._north_deg
        if self.now.sweep_deg < 360.0 or self.now.strip_side:
            self.hold(replace(self.now, from_deg=true_deg + float(north[0])))

    @property
    def _north_deg(self) -> float:
        return float(self.scene.heads.north_deg[self.row])

    def _as_true(self, grid_deg: float) -> float:
        """Return a bearing of the grid whose true bearing has one decimal, as it will be written."""
        return round((grid_deg - self._north_deg) % 360.0, 1) + self._north_deg


def hold_of(scene: Scene, head_id: str) -> Hold | None:
    """Take a head into the hand; None where the scene has no such head with a place."""
    found = np.flatnonzero(scene.heads.ids == head_id)
    if not len(found):
        return None
    row = int(found[0])
    known = placed(scene.heads, row)
    was = known or replace(_UNKNOWN, x_m=float(scene.heads.x_m[row]), y_m=float(scene.heads.y_m[row]))
    empty = np.empty(0, dtype=np.int64)
    made = Hold(
        scene, row, was, known is not None or row in scene.heads.surveyed, was, empty, empty, empty.astype(np.int8), {}
    )
    made.hold(was)
    made.was_rows = made.rows
    return made


def _reach_m(one: Placed) -> float:
    """Distance from the head to the handle of its size."""
    if not one.strip_side:
        return one.throw_m
    if one.strip_side == StripSide.SIDE.name.lower():
        return one.strip_width_m
    return one.strip_length_m / (2 if one.strip_side == StripSide.CENTRE.name.lower() else 1)


def _along(one: Placed, bearing_deg: float, far_m: float) -> tuple[float, float]:
    turn = math.radians(bearing_deg)
    return one.x_m + far_m * math.sin(turn), one.y_m + far_m * math.cos(turn)
