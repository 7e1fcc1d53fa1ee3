"""Which face of a stone is sprayed and which lies in its lee, and what was found on either.

Left and right are those of somebody reading the inscription. A face is sprayed by a head that stands within 60
degrees of the way it looks, the more the nearer (by the square of the distance). The face opposite lies in the lee
where it gets at most a quarter of that: on a lawn watered from all sides no face is quite dry. Own rules. What somebody
saw wetted or dry on a face outranks that.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import shapely

from gravegis.layers.canonical import column
from gravegis.layers.holder import holds
from gravegis.layers.north import true_north_on_grid_deg
from gravegis.layers.stones import numbers, places_m
from gravegis.science.condition.harms import harm_of
from gravegis.science.condition.scores import find_term

if TYPE_CHECKING:
    import numpy.typing as npt

    from gravegis.layers.canonical import Frame
    from gravegis.layers.holder import Holder

    Floats = npt.NDArray[np.float64]

__all__ = ["FACES", "FacePairs", "face_pairs", "face_water", "harmed_faces"]

FACES = ("front", "left", "back", "right")
"""Upright faces clockwise as seen from above; each stands opposite the one two places on."""

WATER = {
    "season_l_m2": "hundred litres on a square metre a season",
    "rate_l_m2_h": "litre on a square metre an hour",
}
"""Columns of the wetting per face, the better first, and the unit in which their effect is told."""

WITHIN_COS = 0.5
LEE_SHARE = 0.25


@dataclass(frozen=True, slots=True)
class FacePairs:
    """Per stone the place in `FACES` of the sprayed and of the lee face, -1 where there is no such pair.

    `dose` is the water per face as worked out, shape ``(stones, 4)``, NaN where unknown; sights are not in it. `placed`
    tells the stones whose pair follows from where heads stand, for the water of a face is not known.
    """

    sprayed: npt.NDArray[np.intp]
    lee: npt.NDArray[np.intp]
    dose: Floats
    placed: npt.NDArray[np.bool_]


def face_pairs(site: Holder) -> FacePairs:
    """Return the sprayed and the opposite, lee, face of each stone; upright faces only."""
    stones = site["stones"]
    name = face_water(site)
    by_place = _by_place(site)
    dose = _worked_out(site, name) if name else by_place
    # where the water of a face is not known, as at a head without a flow, the places of the heads tell
    placed = np.asarray(np.isnan(dose).any(axis=1)) if name else np.ones(len(stones), dtype=np.bool_)
    seen = _seen(site, np.where(placed[:, None], by_place, dose))
    sprayed, lee = np.full((2, len(stones)), -1)
    for stone in np.flatnonzero(np.nanmax(seen, axis=1, initial=0.0) > 0):
        # the wettest face whose opposite is in the lee; one whose water is not known is neither
        for face in np.argsort(-np.nan_to_num(seen[stone], nan=-1.0), kind="stable"):
            if seen[stone, face] > 0 and seen[stone, (face + 2) % 4] <= LEE_SHARE * seen[stone, face]:
                sprayed[stone], lee[stone] = face, (face + 2) % 4
                break
    return FacePairs(sprayed, lee, dose, placed & (sprayed >= 0))


def _by_place(site: Holder) -> Floats:
    """Return a weight per face from where the heads stand that reach the stone; NaN where the facing is unknown."""
    stones = site["stones"]
    dose = np.full((len(stones), 4), np.nan)
    facing = numbers(stones, "stones", "facing_deg")
    dose[~np.isnan(facing)] = 0.0
    if not (holds(site, "wetting_links") and holds(site, "heads", "geometry")):
        return dose
    links, heads = site["wetting_links"], site["heads"]
    stone = pd.Index(stones["stone_id"]).get_indexer(links["stone_id"])
    head = pd.Index(heads["head_id"]).get_indexer(links["head_id"])
    point = np.asarray(heads["geometry"], dtype=object)
    used = (stone >= 0) & (head >= 0) & ~(shapely.is_missing(point)[head] | shapely.is_empty(point)[head])
    stone, head = stone[used], head[used]
    xy = places_m(stones)
    east, north = shapely.get_x(point[head]) - xy[stone, 0], shapely.get_y(point[head]) - xy[stone, 1]
    turn = true_north_on_grid_deg(site.info.crs, xy[stone, 0], xy[stone, 1])
    seen_from = np.degrees(np.arctan2(east, north)) - turn - facing[stone]
    near = 1.0 / np.maximum(np.hypot(east, north), 1.0) ** 2
    for face in range(4):
        cosine = np.cos(np.radians(seen_from - 90.0 * face))
        straight = np.where(cosine >= WITHIN_COS, near * cosine, 0.0)
        # from the side a face gets less than its share, how much is not said
        np.add.at(dose[:, face], stone, straight)
        glanced = np.unique(stone[(cosine > 1e-9) & (cosine < WITHIN_COS)])
        glanced = glanced[dose[glanced, face] == 0]
        dose[glanced, face] = np.nan
    return dose


def face_water(site: Holder) -> str:
    """Return the column of the wetting per face that tells how much water a face gets, empty where none does."""
    return next((name for name in WATER if holds(site, "face_wetting", name)), "")


def _worked_out(site: Holder, name: str) -> Floats:
    """Return the water per face as worked out by the wetting."""
    stones, faces = site["stones"], site["face_wetting"]
    dose = np.full((len(stones), 4), np.nan)
    row = pd.Index(stones["stone_id"]).get_indexer(faces["stone_id"])
    place = pd.Index(FACES).get_indexer(pd.Index(faces["face"]))
    used = (row >= 0) & (place >= 0)
    dose[row[used], place[used]] = faces[name].to_numpy(dtype="float64", na_value=np.nan)[used]
    return dose


def _seen(site: Holder, dose: Floats) -> Floats:
    """Return the water per face with what was seen in its place; of one face the later sight wins."""
    made = dose.copy()
    if not holds(site, "observations", "face"):
        return made
    seen = site["observations"].assign(seen_on=column(site["observations"], "observations", "seen_on"))
    seen = seen.sort_values("seen_on", kind="stable", na_position="first")
    row = pd.Index(site["stones"]["stone_id"]).get_indexer(
        pd.Index(column(seen, "observations", "stone_id").fillna(""))
    )
    face = pd.Index(FACES).get_indexer(pd.Index(seen["face"].fillna("")))
    what = column(seen, "observations", "seen").to_numpy(dtype=object)
    for at in np.flatnonzero((row >= 0) & (face >= 0)):
        if what[at] in ("struck", "wetted", "dry"):
            # as wet as the wettest face of the stone, or as with a head at one metre
            wet = max(1.0, float(np.nanmax(dose[row[at]], initial=0.0)))
            made[row[at], face[at]] = 0.0 if what[at] == "dry" else wet
    return made


def harmed_faces(stones: Frame, findings: Frame, harm: str) -> Floats:
    """Return 1 where a harm was found on a face, 0 where not, shape ``(stones, 4)``.

    NaN for stones of which no finding names an upright face, and for those with the harm on a face nobody named.
    """
    out = np.full((len(stones), 4), np.nan)
    row = pd.Index(stones["stone_id"]).get_indexer(findings["stone_id"])
    face = pd.Index(FACES).get_indexer(pd.Index(column(findings, "findings", "face").fillna("")))
    known = {word: harm_of(find_term(word)) for word in set(findings["pattern"].dropna())}
    of = findings["pattern"].map(known).to_numpy(dtype=object)
    there = numbers(findings, "findings", "severity") != 0
    out[np.unique(row[(row >= 0) & (face >= 0)])] = 0.0
    mine = (row >= 0) & there & np.array([one == harm for one in of], dtype=np.bool_)
    on_top = (column(findings, "findings", "face") == "top").fillna(value=False).to_numpy(dtype=bool)
    out[row[mine & (face < 0) & ~on_top]] = np.nan
    at = mine & (face >= 0)
    out[row[at], face[at]] = np.where(np.isnan(out[row[at], face[at]]), np.nan, 1.0)
    return out
