"""Throws over footprints: pairs of stone and head with near misses, and the table of stones."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    from gravegis.analyses.wetting.heads import Heads, Water
    from gravegis.contract import Job
    from gravegis.layers.canonical import Frame
    from gravegis.science.irrigation.bundles import Turns
    from gravegis.science.irrigation.reach import Pairs

    Floats = npt.NDArray[np.float64]
    Shapes = npt.NDArray[np.object_]

__all__ = ["WET_M", "overlay", "placed_rows", "stone_heights", "with_strikes"]

WET_M = -1e-7
"""A margin of this or more is wet: touch counts. [m]"""
_PAIR = ["stone", "throw", "distance_m", "margin_m", "near_m"]
_PORTION = 8192  # stones worked on between two looks at whether the job was cancelled
_FARTHEST_MISS_M = 30.0  # near misses are looked at up to here, however large the errors. Own choice.
_FEW = 1_000_000  # pairs of stone and head up to which compiled loops are not worth the time to load them
FLAT_FORMS = ("ledger", "flush marker")
"""Forms of which all counts as top."""


def placed_rows(shapes: Shapes) -> npt.NDArray[np.int64]:
    """Return the rows that lie somewhere."""
    import shapely

    return np.flatnonzero(~(shapely.is_missing(shapes) | shapely.is_empty(shapes)))


def overlay(stones: Frame, heads: Heads, water: Water, job: Job) -> tuple[Frame, Frame]:
    """Return pairs (rows of stone and head), near misses too, and a table of stones.

    In doubt: nothing is known that makes the stone dry; drawn: it stands on ground drawn as wet.
    """
    import pandas as pd
    import shapely

    from gravegis.science.irrigation import reach
    from gravegis.science.irrigation.throw import make_throws

    shapes = np.asarray(stones["geometry"], dtype=object)
    placed = placed_rows(shapes)
    anywhere = make_throws(shapely.get_x(heads.point), shapely.get_y(heads.point), 1.0)  # only the places count
    unknown, longest_m = np.delete(heads.point, heads.rows), heads.throws.throw_m.max(initial=0.0)
    margin_m, near_m = np.full((2, len(stones)), np.nan)
    near, drawn = np.full(len(stones), -1), np.zeros(len(stones), dtype=np.bool_)
    doubt = ~np.isin(np.arange(len(stones)), placed)
    doubt |= not len(heads.rows) and (len(heads.point) > 0 or not len(heads.loose))
    touch_m, found = _miss_m(stones, heads), [np.zeros((len(_PAIR), 0))]
    few = len(placed) * len(heads.rows) <= _FEW
    for first in range(0, len(placed), _PORTION):
        job.progress(0.1 + 0.3 * first / len(placed), "laying throws over stones")
        rows = placed[first : first + _PORTION]
        pairs = _pairs(shapes[rows], heads, water.turns, touch_m, few=few)
        margin_m[rows] = _margins(shapes[rows], heads, pairs, carried=bool(water.turns.drift_m.any()))
        near_m[rows], near[rows] = reach.near_heads(shapes[rows], anywhere)
        lengths = pairs.distance_m, pairs.margin_m, pairs.near_m
        found.append(np.stack([rows[pairs.stone_i], pairs.head_i, *lengths]))
        tree = shapely.STRtree(shapes[rows])
        drawn[rows[tree.query(heads.loose, predicate="dwithin", distance=reach.TOUCH_M)[1]]] = True
        doubt[rows[tree.query(unknown, predicate="dwithin", distance=longest_m)[1]]] = True
    wide = pd.DataFrame(np.concatenate(found, axis=1).T, columns=_PAIR)
    wide = wide.astype({"stone": "int64", "throw": "int64"})
    wide["head"] = heads.rows[wide["throw"]]
    near_id = pd.Series([*heads.frame["head_id"], None], dtype="str").iloc[near].reset_index(drop=True)
    table = {"stone_id": stones["stone_id"], "margin_m": margin_m, "nearest_head_id": near_id, "nearest_head_m": near_m}
    return wide, pd.DataFrame({**table, "doubt": doubt, "drawn": drawn})


def _miss_m(stones: Frame, heads: Heads) -> float:
    """Return how far beyond a throw a stone may still be wet: for errors, drift and wet ground at its foot. [m]"""
    from gravegis.science.irrigation.certainty import FOOT_M, FRINGE_M, SURE_SIGMAS

    if not (len(stones) and len(heads.rows)):
        return FRINGE_M
    used = heads.frame.iloc[heads.rows]
    swing_m = used["throw_m"].fillna(used["strip_length_m"]) * np.radians(used["swing_deg"])
    worst = np.sqrt(
        used["error_m"] ** 2 + used["throw_error_m"] ** 2 + swing_m**2 + float(stones["error_m"].max()) ** 2
    )
    return float(min(max(FRINGE_M, FOOT_M, SURE_SIGMAS * float(worst.max())), _FARTHEST_MISS_M))


def _pairs(shapes: Shapes, heads: Heads, turns: Turns, touch_m: float, *, few: bool) -> Pairs:
    from gravegis.science.irrigation.pairs import find_pairs

    return find_pairs(shapes, heads.throws, outlines=heads.outlines, touch_m=touch_m, turns=turns, compiled=not few)


def _margins(shapes: Shapes, heads: Heads, pairs: Pairs, *, carried: bool) -> Floats:
    """Return the largest margin of each stone; where wind carries the patterns, of stones far off in still air."""
    from gravegis.science.irrigation import reach

    best = np.full(len(shapes), -np.inf)
    np.maximum.at(best, pairs.stone_i, pairs.margin_m)
    if not np.isneginf(best).any():
        return best
    wet = pairs.margin_m >= WET_M
    own = reach.Pairs(*(getattr(pairs, name)[wet] for name in reach.Pairs.__slots__))
    still, _ = reach.nearest_margin(shapes, heads.throws, own, outlines=heads.outlines)
    if carried:  # what is not among the pairs misses by more than was looked at
        still = np.minimum(still, -1e-6)
    return np.where(np.isneginf(best), still, best)


def stone_heights(stones: Frame) -> tuple[Floats, npt.NDArray[np.bool_], npt.NDArray[np.bool_]]:
    """Return the height of every stone, NaN where unknown, 0 for flat forms; whether assumed; whether flat. [m]"""
    from gravegis.layers.stones import numbers, words
    from gravegis.science.care.sizes import stone_sizes

    none = np.full(len(stones), np.nan)
    height = numbers(stones, "stones", "height_m")
    flat_ground = height == 0
    sizes = stone_sizes(
        np.where(height > 0, height, np.nan), none, none, words(stones, "stones", "form"), [None] * len(stones)
    )
    flat = np.isin(sizes.form, FLAT_FORMS) | flat_ground
    return np.where(flat, 0.0, sizes.height_m), sizes.height_assumed & ~flat_ground & ~flat, flat


def with_strikes(wide: Frame, stones: Frame, heads: Heads, water: Water) -> Frame:
    """Add to each pair its error, the strike distance, the probability that the stream strikes the stone, and whether.

    ``struck`` is for sure enough, ``maybe`` for places as surveyed only. Only what lies within the turn is struck.
    """
    from gravegis.science.irrigation.certainty import SURE_SIGMAS, can_name_struck, margin_error_m, strike_is_sure
    from gravegis.science.irrigation.rays.water import strike_distance_m

    stone, throw, head = (wide[name].to_numpy() for name in ("stone", "throw", "head"))
    away_m, near_m = (wide[name].to_numpy(dtype=np.float64) for name in ("distance_m", "near_m"))
    of_head = {name: heads.frame[name].to_numpy(dtype=np.float64)[head]
               for name in ("error_m", "throw_error_m", "swing_deg")}  # fmt: skip
    stone_m = stones["error_m"].to_numpy()[stone]
    still_m = margin_error_m(away_m, stone_m, of_head["error_m"], of_head["throw_error_m"])
    # wherever a head points, a stone beyond its throw stays dry
    swing_deg = np.where(away_m <= heads.throws.throw_m[throw] + SURE_SIGMAS * still_m, of_head["swing_deg"], 0.0)
    wide["error_m"] = margin_error_m(away_m, stone_m, of_head["error_m"], of_head["throw_error_m"], swing_deg)
    wide["place_error_m"] = np.hypot(stone_m, of_head["error_m"])
    height = stones["known_height_m"].to_numpy()[stone]
    if not len(wide):
        return wide.assign(strike_m=0.0, can_name=False, struck=False, maybe=False, chance=0.0)
    strike_m = strike_distance_m(water.tables, water.table_i[throw], heads.throws.throw_m[throw], np.nan_to_num(height))
    strike_m = np.where(np.isnan(height), np.nan, np.where((height > 0) & water.on_faces[throw], strike_m, 0.0))
    wide["strike_m"] = strike_m
    place_m, margin_m, error_m = (wide[name].to_numpy() for name in ("place_error_m", "margin_m", "error_m"))
    wide["chance"] = _chances(wide, stones, heads, of_head["swing_deg"])
    wide["can_name"] = (strike_m > 0) & can_name_struck(np.nan_to_num(strike_m), place_m)
    meets = wide["can_name"].to_numpy() & (near_m <= strike_m) & (margin_m >= WET_M)
    sure = strike_is_sure(margin_m, error_m, strike_m - near_m, place_m, wide["chance"].to_numpy())
    wide["struck"], wide["maybe"] = meets & sure, meets & ~sure
    return wide


def _chances(wide: Frame, stones: Frame, heads: Heads, swing_deg: Floats) -> Floats:
    """Return the probability of a strike by pair, NaN where the height of the stone is not known."""
    import shapely

    from gravegis.science.irrigation.certainty import strike_probability
    from gravegis.science.irrigation.throw import StripSide

    names = ("distance_m", "near_m", "strike_m", "place_error_m")
    away_m, near_m, strike_m, place_m = (wide[name].to_numpy(dtype=np.float64) for name in names)
    near_m = np.where(np.isfinite(near_m), near_m, away_m)
    chance = np.where(np.isnan(strike_m), np.nan, 0.0)
    some = np.flatnonzero((strike_m > 0) & (near_m <= strike_m + 9.0 * place_m))
    throw = wide["throw"].to_numpy()[some]
    middle = shapely.centroid(_in_turn(wide, stones, heads, some))
    east, north = shapely.get_x(middle) - heads.throws.x_m[throw], shapely.get_y(middle) - heads.throws.y_m[throw]
    depth_m = np.maximum(np.hypot(east, north) - near_m[some], 0.0)  # from the near edge to the middle
    ahead = np.isin(heads.throws.strip_side[throw], [StripSide.END, StripSide.SIDE])  # none of it behind the head
    chance[some] = strike_probability(
        east, north, strike_m[some] + depth_m, np.hypot(place_m[some], near_m[some] * np.radians(swing_deg[some])),
        from_deg=heads.throws.from_deg[throw] - np.where(ahead, 90.0, 0.0),
        sweep_deg=np.where(ahead, 180.0, heads.throws.sweep_deg[throw]),
    )  # fmt: skip
    return chance


def _in_turn(wide: Frame, stones: Frame, heads: Heads, some: npt.NDArray[np.int64]) -> Shapes:
    """Return the footprints of some pairs; of those whose nearest part lies outside the turn, what lies within."""
    import shapely

    from gravegis.science.irrigation.throw import Throws, throw_polygons

    rows = wide.iloc[some]
    shapes: Shapes = np.asarray(stones["geometry"], dtype=object)[rows["stone"].to_numpy()]
    throw, near_m = rows["throw"].to_numpy(), rows["near_m"].to_numpy(dtype=np.float64)
    split = np.isfinite(near_m) & (near_m > rows["distance_m"].to_numpy() + 1e-6)
    split = np.flatnonzero(split & (heads.throws.sweep_deg[throw] < 360.0))
    own = Throws(*(getattr(heads.throws, name)[throw[split]] for name in Throws.__slots__))
    inside = shapely.intersection(shapes[split], throw_polygons(own))
    shapes[split] = np.where(shapely.is_empty(inside), shapes[split], inside)
    return shapes
