"""Water by face: what each head leaves where, an hour and a season, with the stones in front taken into account."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gravegis.analyses.wetting.overlay import WET_M, placed_rows

if TYPE_CHECKING:
    import numpy.typing as npt

    from gravegis.analyses.wetting.heads import Heads, Water
    from gravegis.layers.canonical import Frame
    from gravegis.layers.clock import Clock

    Floats = npt.NDArray[np.float64]
    Ints = npt.NDArray[np.int64]
    Bools = npt.NDArray[np.bool_]

__all__ = ["BY_COMPASS", "BY_FACING", "Dose", "doses", "face_table", "worst_faces"]

BY_FACING, BY_COMPASS = ("front", "left", "back", "right", "top"), ("north", "east", "south", "west", "top")
_TOP, _SIDES = 4, 4
_FEW = 1_000_000


@dataclass(frozen=True, slots=True, eq=False)
class Dose:
    """Water by pair and by stone.

    Attributes
    ----------
    share
        Share of the flow of its head that each pair leaves on front, left, back, right and top, ``(pairs, 5)``.
    season_l
        What each pair leaves in a season, ``(pairs,)``, NaN where flow or hours are not known. [L]
    season_mm
        Depth on open ground at each stone, ``(stones,)``. [mm]
    area_m2
        Of the faces and the top, ``(stones, 5)``, 0 where there is none.
    rate, season
        On each face, ``(stones, 5)``: while the zone that wets it most is running [L/m2 h], and in a season [L/m2].
    struck
        Whether the stream strikes that face, ``(stones, 5)``.
    """

    share: Floats
    season_l: Floats
    season_mm: Floats
    area_m2: Floats
    rate: Floats
    season: Floats
    struck: Bools


def doses(
    stones: Frame, pairs: Frame, heads: Heads, water: Water, clock: Clock | None, more: Bools
) -> Dose:  # fmt: skip
    """Work out the water of all pairs that stand (`kept`); a pair the model does not have has no figures.

    ``more`` says of which stones somebody saw that water from elsewhere wets them: nothing is known in sum.
    """
    share, ground, area = _caught(stones, pairs, heads, water)
    stone, throw = pairs["stone"].to_numpy(), pairs["throw"].to_numpy()
    flow = np.where(throw >= 0, np.append(water.flow_l_h, np.nan)[throw], np.nan)
    alien = ~pairs["in_model"].to_numpy(dtype=bool)
    share[alien], ground[alien] = np.nan, np.nan
    stands = pairs["kept"].to_numpy(dtype=bool)
    litres = np.where((share == 0) | ~stands[:, None], 0.0, share * flow[:, None])
    ground = np.where(stands, ground, 0.0)
    rain = np.where(ground == 0, 0.0, ground * flow)
    hours = _hours_of(pairs, clock)
    # without any schedule nothing is said of a season, not even of faces that stay dry
    no_water = (litres == 0) & (clock is not None)
    by_season = np.where(no_water, 0.0, litres * hours[:, None])
    with np.errstate(invalid="ignore", divide="ignore"):
        rate = np.where(area > 0, _most_by_zone(stone, pairs, litres, len(stones)) / area, np.nan)
        season = np.where(area > 0, _summed(stone, by_season, len(stones)) / area, np.nan)
    # on top of a point, and on flat ground, what falls is the rain on the ground
    rate[:, _TOP] = np.where(area[:, _TOP] > 0, rate[:, _TOP],
                             _most_by_zone(stone, pairs, rain[:, None], len(stones))[:, 0])  # fmt: skip
    depth = _summed(stone, np.where(rain == 0, 0.0, rain * hours)[:, None], len(stones))[:, 0]
    season[:, _TOP] = np.where(area[:, _TOP] > 0, season[:, _TOP], depth)
    rate[more], season[more], depth[more] = np.nan, np.nan, np.nan
    struck = np.zeros((len(stones), 5), dtype=np.bool_)
    at = pairs["struck"].to_numpy(dtype=bool)
    np.logical_or.at(struck, stone[at], (np.nan_to_num(share[at]) > 0) & stands[at][:, None])
    struck[:, _TOP] = False
    # the order in which heads are added up must not show: names of heads and stones decide it
    rate = np.asarray(np.round(rate, 9), dtype=np.float64)
    season = np.asarray(np.round(season, 9), dtype=np.float64)
    return Dose(share, by_season.sum(axis=1), depth, area, rate, season, struck)


def _caught(stones: Frame, pairs: Frame, heads: Heads, water: Water) -> tuple[Floats, Floats, Floats]:
    """Return shares by pair, open ground [1/m2] by pair, and areas of faces and top by stone."""
    from gravegis.science.irrigation.coverage import ground_rate_mm_h
    from gravegis.science.irrigation.footprints import face_lengths_m, face_of_edges, make_ground, plan_areas_m2
    from gravegis.science.irrigation.rays.water import Stones, catch
    from gravegis.science.irrigation.reach import Pairs

    share, open_ground, area = np.zeros((len(pairs), 5)), np.zeros(len(pairs)), np.zeros((len(stones), 5))
    shapes = np.asarray(stones["geometry"], dtype=object)
    placed = placed_rows(shapes)
    if not len(placed):
        return share, open_ground, area
    ground = make_ground(shapes[placed])
    height = stones["known_height_m"].to_numpy(dtype=np.float64)[placed]
    face = face_of_edges(ground, stones["looks_deg"].to_numpy(dtype=np.float64)[placed])
    area[placed, :_SIDES] = face_lengths_m(ground, face) * np.nan_to_num(height)[:, None]
    area[placed, _TOP] = plan_areas_m2(ground)
    # every pair of the model counts here: one that was seen dry still stands in front of others
    mine = np.flatnonzero(pairs["in_model"].to_numpy())
    at = np.full(len(stones), -1)
    at[placed] = np.arange(len(placed))
    stone_i, head_i = at[pairs["stone"].to_numpy()[mine]], pairs["throw"].to_numpy()[mine]
    length = pairs["distance_m"].to_numpy()[mine]
    some = Pairs(stone_i, head_i, length, pairs["margin_m"].to_numpy()[mine], length)
    few = len(placed) * len(heads.rows) <= _FEW
    caught = catch(ground, water.turns, water.spray, some, Stones(np.nan_to_num(height), face), compiled=not few)
    share[mine] = np.column_stack([caught.face_l_h, caught.top_l_h])
    share[mine] *= water.on_faces[head_i][:, None] | (np.arange(5) == _TOP)
    open_ground[mine] = ground_rate_mm_h(ground, water.turns, water.spray, some, compiled=not few)
    # in a surveyed outline, but off the turn that was noted: wet, and nobody knows how much
    drawn = np.isin(head_i, [*heads.outlines]) & (pairs["margin_m"].to_numpy()[mine] >= WET_M)
    lost = mine[drawn & (open_ground[mine] == 0) & (share[mine].sum(axis=1) == 0)]
    share[lost], open_ground[lost] = np.nan, np.nan
    unknown = np.isnan(stones["known_height_m"].to_numpy(dtype=np.float64)[pairs["stone"].to_numpy()])
    share[unknown, :_SIDES] = np.nan
    return share, open_ground, area


def _hours_of(pairs: Frame, clock: Clock | None) -> Floats:
    if clock is None:
        return np.full(len(pairs), np.nan)
    zones = pairs["zone_id"].fillna("")
    return np.asarray(zones.map({zone: clock.hours(zone) for zone in zones.unique()}), dtype=np.float64)


def _summed(stone: Ints, values: Floats, stones_n: int) -> Floats:
    out = np.zeros((stones_n, values.shape[1]))
    np.add.at(out, stone, values)
    return out


def _most_by_zone(stone: Ints, pairs: Frame, values: Floats, stones_n: int) -> Floats:
    """Return the most that one zone gives to each stone; heads without a zone run alone. Unknown stays unknown."""
    zone = ("z" + pairs["zone_id"]).fillna("h" + pairs["head_id"])
    code = zone.astype("category").cat.codes.to_numpy().astype(np.int64)
    key, of = np.unique(stone * (len(pairs) + 1) + code, return_inverse=True)
    sums = _summed(of, values, len(key))
    out = np.zeros((stones_n, values.shape[1]))
    np.maximum.at(out, key // (len(pairs) + 1), sums)
    return out


def face_table(stones: Frame, kept: Frame, dose: Dose) -> Frame:
    """Return one row per face of each stone that water reaches; nothing where nothing at all is known of a face."""
    import pandas as pd

    wet = np.zeros(len(stones), dtype=np.bool_)
    wet[kept["stone"].to_numpy()] = True
    row, face = np.nonzero(wet[:, None] & ((dose.area_m2 > 0) | (np.arange(5) == _TOP)))
    named = stones["facing_known"].to_numpy(dtype=bool)[row]
    facing = stones["facing_true_deg"].to_numpy(dtype=np.float64)[row]
    looks = np.where(face == _TOP, np.nan, (np.where(named, facing, 0.0) + 90.0 * face) % 360.0)
    frame = pd.DataFrame({
        "stone_id": stones["stone_id"].to_numpy()[row],
        "face": np.where(named, np.array(BY_FACING)[face], np.array(BY_COMPASS)[face]),
        "facing_deg": looks, "rate_l_m2_h": dose.rate[row, face], "season_l_m2": dose.season[row, face],
        "struck": pd.array(dose.struck[row, face], dtype="boolean"),
    })  # fmt: skip
    # a strike is not known where the height is not; a top alone of which no rate is known says nothing
    unknown = np.isnan(stones["known_height_m"].to_numpy(dtype=np.float64))[row]
    frame.loc[unknown & (face != _TOP), "struck"] = pd.NA
    alone = (dose.area_m2[row, :_SIDES] <= 0).all(axis=1) & (face == _TOP)
    told: Frame = frame[~(alone & frame["rate_l_m2_h"].isna().to_numpy())].reset_index(drop=True)
    return told


def worst_faces(stones: Frame, dose: Dose) -> list[str | None]:
    """Return the upright face with most water, of stones whose facing is known; struck ones come first.

    By the season where it is known for all faces, else by the hour; without flows only where the stream strikes.
    """
    season, rate = dose.season[:, :_SIDES], dose.rate[:, :_SIDES]
    lacking = np.asarray(np.isnan(season).any(axis=1))
    amount = np.where(lacking.reshape(-1, 1), rate, season)
    struck = dose.struck[:, :_SIDES]
    known = ~np.isnan(amount).any(axis=1) | struck.any(axis=1)
    score = np.nan_to_num(amount) + np.where(struck, 1e9, 0.0)
    ok = stones["facing_known"].to_numpy(dtype=bool) & known & (score.max(axis=1, initial=0.0) > 0)
    return [BY_FACING[best] if fine else None for best, fine in zip(score.argmax(axis=1), ok, strict=True)]
