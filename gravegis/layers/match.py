"""Which plot, row and section a thing lies in, by place."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import shapely

from gravegis.layers.canonical import column
from gravegis.layers.read.raw import shown

if TYPE_CHECKING:
    from collections.abc import Mapping

    import numpy.typing as npt

    from gravegis.layers.canonical import Frame

__all__ = ["Filled", "Joined", "agreement", "fill_places", "inside_points", "join_by_place"]

# What is filled from what: layer, its column, from which layer, from which of its columns (first that is there).
_FILLS = (
    ("plots", "row", "rows", ("row", "row_id")),
    ("plots", "section", "sections", ("section", "section_id")),
    ("plots", "section", "rows", ("section",)),
    ("stones", "plot_id", "plots", ("plot_id",)),
    ("stones", "row", "plots", ("row",)),
    ("stones", "section", "plots", ("section",)),
    ("stones", "row", "rows", ("row", "row_id")),
    ("stones", "section", "sections", ("section", "section_id")),
)
FILLING = frozenset(one for fill in _FILLS for one in (fill[0], fill[2]))
"""Layers whose change may fill columns of others."""


@dataclass(frozen=True, slots=True)
class Joined:
    """For each item the row of the area it lies in (-1: none or several), and the items of both kinds."""

    area: npt.NDArray[np.int64]
    none: npt.NDArray[np.int64]
    several: npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Filled:
    """The layers that changed, and what to say."""

    layers: Mapping[str, Frame]
    notes: tuple[str, ...]
    warnings: tuple[str, ...]


def inside_points(geometry: Any) -> npt.NDArray[np.object_]:  # noqa: ANN401 - any array of geometries
    """Return a point for each geometry: its centroid where that lies in it, else a point on it."""
    shapes = np.asarray(geometry, dtype=object)
    middle = shapely.centroid(shapes)
    outside = ~shapely.is_missing(shapes) & ~shapely.covers(shapes, middle)
    middle[outside] = shapely.point_on_surface(shapes[outside])
    return np.asarray(middle, dtype=object)


def join_by_place(items: Frame, areas: Frame) -> Joined:
    """Return for each item the one area its middle lies in; an item on a shared edge lies in several."""
    points = inside_points(items["geometry"].array)
    shapes = np.asarray(areas["geometry"].array, dtype=object)
    drawn = np.flatnonzero(shapely.get_dimensions(shapes) == 2)
    item, hit = shapely.STRtree(shapes[drawn]).query(points, predicate="intersects")
    counts = np.bincount(item, minlength=len(points))
    area = np.full(len(points), -1, dtype=np.int64)
    alone = counts[item] == 1
    area[item[alone]] = drawn[hit[alone]]
    return Joined(area, np.flatnonzero(counts == 0), np.flatnonzero(counts > 1))


def agreement(items: Frame, areas: Frame, joined: Joined, names: tuple[str, str]) -> tuple[int, npt.NDArray[np.int64]]:
    """Return how many joined items bear the same word as their area, and which bear another.

    `names` are the column of the items and the column of the areas; a missing word neither agrees nor differs.
    """
    own, of_area = _words(items[names[0]]), _of_area(areas[names[1]], joined)
    said = _filled_in(own) & _filled_in(of_area)
    alike = own == of_area
    return int((said & alike).sum()), np.flatnonzero(said & ~alike)


def _words(series: pd.Series[Any]) -> npt.NDArray[np.object_]:
    """Return texts stripped, None where missing; each different one is looked at once."""
    codes, once = pd.factorize(series)
    table = np.array([*(str(one).strip() for one in once), None], dtype=object)
    return np.asarray(table[codes], dtype=object)


def _of_area(theirs: pd.Series[Any], joined: Joined) -> npt.NDArray[np.object_]:
    """Return for each item the word of the area it lies in, None where it lies in none."""
    table = np.append(_words(theirs), [None])
    return np.asarray(table[joined.area], dtype=object)


def _filled_in(words: npt.NDArray[np.object_]) -> npt.NDArray[np.bool_]:
    return np.asarray(pd.notna(words), dtype=bool)


def fill_places(layers: Mapping[str, Frame]) -> Filled:
    """Fill section, row and plot of plots and stones where they are missing, by the place they lie in.

    What stands in a column is never changed; where the place says otherwise, that is a warning.

    Parameters
    ----------
    layers
        Layers of a site by name, all in one metric grid.
    """
    now = dict(layers)
    changed: dict[str, Frame] = {}
    notes, warnings = list[str](), list[str]()
    joins: dict[tuple[str, str], Joined] = {}
    for name, target, source, columns in _FILLS:
        if not _usable(now, name) or not _usable(now, source):
            continue
        there = [one for one in columns if one in now[source].columns and now[source][one].notna().any()]
        if not there:
            continue
        if (name, source) not in joins:
            joins[name, source] = join_by_place(now[name], now[source])
            warnings.extend(_unplaced(now[name], name, source, joins[name, source], target))
        frame, filled, differ = _filled(now[name], (name, target), now[source][there[0]], joins[name, source])
        if filled:
            now[name] = changed[name] = frame
            notes.append(f"{target} of {filled} {name} filled from the {source} they lie in")
        if differ:
            warnings.append(f"{len(differ)} {name} say another {target} than the {source} they lie in: {shown(differ)}")
    return Filled(changed, tuple(notes), tuple(warnings))


def _usable(layers: Mapping[str, Frame], name: str) -> bool:
    return name in layers and not layers[name].empty and "geometry" in layers[name].columns


def _filled(
    frame: Frame, place: tuple[str, str], theirs: pd.Series[Any], joined: Joined
) -> tuple[Frame, int, list[str]]:
    """Return the layer with gaps filled, how many, and ids of rows that say otherwise (a few words each)."""
    layer, target = place
    own = _words(column(frame, layer, target))
    of_area = _of_area(theirs, joined)
    known, missing = _filled_in(of_area), ~_filled_in(own)
    ids = frame[frame.columns[0]].astype("str").to_numpy()
    differ = np.flatnonzero(known & ~missing & (own != of_area))
    said = [f"{ids[row]} ({own[row]}, lies in {of_area[row]})" for row in differ]
    gaps = known & missing
    if not gaps.any():
        return frame, 0, said
    made = frame.copy(deep=False)
    made[target] = pd.Series(np.where(gaps, of_area, own), index=frame.index, dtype="str")
    return made, int(gaps.sum()), said


def _unplaced(frame: Frame, name: str, source: str, joined: Joined, target: str) -> list[str]:
    """Return words about items in no area or in several, where they do not say themselves where they belong."""
    ids = frame[frame.columns[0]].astype("str").to_numpy()
    silent = column(frame, name, target).isna().to_numpy()
    said = []
    for rows, words in ((joined.none, f"lie in none of the {source}"), (joined.several, f"lie in several {source}")):
        open_rows = rows[silent[rows]]
        if len(open_rows):
            said.append(f"{len(open_rows)} {name} {words}: {shown(ids[open_rows])}")
    return said
