"""Invented rows of slabs and turned heads in any number, and what the science makes of them, for benchmarks only."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
import shapely

from gravegis.science.irrigation import certainty
from gravegis.science.irrigation.coverage import cover, ground_rate_mm_h, make_grid
from gravegis.science.irrigation.footprints import face_lengths_m, face_of_edges, make_ground, plan_areas_m2
from gravegis.science.irrigation.pairs import find_pairs
from gravegis.science.irrigation.rays.water import Stones, by_stone, catch, make_spray
from gravegis.science.irrigation.tables import SprayTable, build_table, table_keys
from gravegis.science.irrigation.throw import Throws, make_throws
from gravegis.science.irrigation.wind import turns_of

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy.typing as npt

    from gravegis.science.irrigation.bundles import Spray

    Floats = npt.NDArray[np.float64]
    Geometries = npt.NDArray[np.object_]

SPARSE, DENSE = 133, 20
"""Stones a head: about two fifths of the stones wet, and nearly all."""
ABOUT = "invented slabs of 0.6 by 0.3 m, 1.2 m apart in rows 2.5 m apart; heads of 5 to 15 m in turns of 90 to 360"
_SPACING_M, _ROW_M = 1.2, 2.5
_ERROR_M, _HOURS = 0.1, 150.0


@dataclass(frozen=True, slots=True, eq=False)
class Lawn:
    """Stones and heads of a ground."""

    footprints: Geometries
    height_m: Floats
    throws: Throws
    flow_l_h: Floats
    side_m: tuple[float, float]
    tables: list[SprayTable] = field(default_factory=list)


def make_lawn(stones: int, stones_a_head: int, *, seed: int = 0) -> Lawn:
    """Return rows of slabs, and heads anywhere where they are few, else in a shaken grid as on a lawn laid out."""
    rng = np.random.default_rng(seed)
    columns = max(1, round(np.sqrt(stones * _SPACING_M * _ROW_M) / _SPACING_M))
    place = np.arange(stones)
    middle = np.stack([(place % columns + 0.5) * _SPACING_M, (place // columns + 0.5) * _ROW_M], axis=1)
    middle += rng.normal(0, 0.05, middle.shape)
    turn = np.radians(rng.normal(0, 5, stones))
    corner = np.array([(-0.3, -0.15), (0.3, -0.15), (0.3, 0.15), (-0.3, 0.15)])
    across = np.stack([np.cos(turn), -np.sin(turn), np.sin(turn), np.cos(turn)], axis=1).reshape(-1, 2, 2)
    footprints = np.asarray(shapely.polygons(middle[:, None] + corner @ across), dtype=object)
    side = columns * _SPACING_M, -(-stones // columns) * _ROW_M
    heads = max(1, stones // stones_a_head)
    x_m, y_m = (
        _grid_of(heads, side, rng) if stones_a_head < SPARSE else rng.uniform(0, 1, (2, heads)) * [[s] for s in side]
    )
    sweep = rng.choice([90.0, 120.0, 180.0, 270.0, 360.0, 0.0], heads, p=[0.2, 0.1, 0.25, 0.1, 0.25, 0.1])
    sweep = np.where(sweep == 0, rng.uniform(90, 360, heads), sweep)
    throws = make_throws(x_m, y_m, rng.uniform(5, 15, heads), from_deg=rng.uniform(0, 360, heads), sweep_deg=sweep)
    flow = rng.uniform(360, 2160, heads) * sweep / 360
    return Lawn(footprints, rng.uniform(0.3, 1.6, stones), throws, flow, side)


def _grid_of(heads: int, side: tuple[float, float], rng: np.random.Generator) -> tuple[Floats, Floats]:
    apart = np.sqrt(side[0] * side[1] / heads)
    across = max(1, round(side[0] / apart))
    row = np.arange(heads)
    x_m = (row % across + 0.5) * side[0] / across + rng.uniform(-1, 1, heads)
    return x_m, (row // across + 0.5) * apart + rng.uniform(-1, 1, heads)


def spray_of(lawn: Lawn) -> Spray:
    """Make the tables of a lawn of rotors, keep them with it, and bundle them."""
    keys, table_i = table_keys(["rotor"] * len(lawn.throws), np.nan, np.nan, np.nan)
    lawn.tables[:] = [build_table(key) for key in keys]
    return make_spray(lawn.throws, lawn.flow_l_h, lawn.tables, table_i)


def work_out(lawn: Lawn, spray: Spray, *, shadows: bool) -> tuple[Floats, Floats]:
    """Edges, pairs, faces and tops, from footprints to litres by stone."""
    ground, turns = make_ground(lawn.footprints), turns_of(lawn.throws)
    pairs = find_pairs(lawn.footprints, lawn.throws, turns=turns, ground=ground)
    known = Stones(lawn.height_m, face_of_edges(ground, 0.0))
    caught = catch(ground, turns, spray, pairs, known, shadows=shadows)
    return by_stone(caught, pairs.stone_i, len(lawn.footprints))


def all_of(lawn: Lawn, spray: Spray, strike_of: Callable[..., Floats]) -> tuple[npt.NDArray[np.int8], Floats, Floats]:
    """Give states, litres a season by square metre of face, and the raster of a season."""
    ground, turns = make_ground(lawn.footprints), turns_of(lawn.throws)
    stones, throws = len(lawn.footprints), lawn.throws
    face = face_of_edges(ground, 0.0)
    near = find_pairs(lawn.footprints, throws, turns=turns, ground=ground, touch_m=5 * _ERROR_M + 1.0)
    error_m = certainty.margin_error_m(near.distance_m, _ERROR_M, _ERROR_M, 0.05 * throws.throw_m[near.head_i], 2.0)
    sure = certainty.sureness(near.stone_i, near.margin_m, error_m, stones)
    margin_m = np.full(stones, -np.inf)
    np.maximum.at(margin_m, near.stone_i, near.margin_m)
    strike_m = strike_of(spray.table[near.head_i], throws.throw_m[near.head_i], lawn.height_m[near.stone_i])
    hit = (near.distance_m <= strike_m) & certainty.can_name_struck(strike_m, error_m) & (near.margin_m >= 0)
    states = certainty.states(sure, margin_m, np.bincount(near.stone_i, hit, minlength=stones) > 0)
    close = np.flatnonzero(near.distance_m <= strike_m + certainty.LOOK_SIGMAS * error_m)
    stone_i, head_i = near.stone_i[close], near.head_i[close]
    certainty.strike_probability(
        ground.x_m[stone_i] - throws.x_m[head_i], ground.y_m[stone_i] - throws.y_m[head_i], strike_m[close],
        error_m[close], from_deg=throws.from_deg[head_i], sweep_deg=throws.sweep_deg[head_i],
    )  # fmt: skip
    caught = catch(ground, turns, spray, near, Stones(lawn.height_m, face))
    ground_rate_mm_h(ground, turns, spray, near)
    hours = np.full(len(throws), _HOURS)
    area_m2 = face_lengths_m(ground, face) * lawn.height_m[:, None]
    faces_l, top_l = by_stone(caught, near.stone_i, stones, weight=hours[near.head_i])
    season = np.column_stack([faces_l / area_m2, top_l / plan_areas_m2(ground)])
    raster = cover(turns, spray, make_grid((0.0, 0.0, *lawn.side_m)), lawn.flow_l_h, weight=hours)
    return states, season, raster.sum_mm
