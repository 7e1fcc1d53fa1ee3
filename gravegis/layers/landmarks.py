"""Arc edges told by two landmarks: `left stop at stone S12, right stop at H3`, seen from the head outward."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import shapely

from gravegis.errors import Problem
from gravegis.layers.canonical import column
from gravegis.layers.north import true_north_on_grid_deg
from gravegis.layers.read.raw import many, shown

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gravegis.layers.canonical import Frame
    from gravegis.layers.holder import Holder

__all__ = ["LEFT", "RIGHT", "arcs_by_landmarks", "known_places"]

LEFT, RIGHT = "arc_left_at", "arc_right_at"
"""Columns of a file of heads: names of what stands at the two stops of the arc, looking outward from the head."""

_HOLD = ("stones", "heads", "taps", "gates", "bases")
_NEAR_M = 0.05


def known_places(site: Holder, *, without: str = "") -> dict[str, Any]:
    """Return the places of what a person can point at, by name (``S12``, and ``stones S12`` where two share one)."""
    found: dict[str, Any] = {}
    double = set[str]()
    for layer in _HOLD:
        if layer not in site or layer == without or "geometry" not in site[layer].columns:
            continue
        frame = site[layer]
        middles = shapely.centroid(np.asarray(frame["geometry"].array, dtype=object))
        for name, place in zip(frame[frame.columns[0]].astype("str"), middles, strict=True):
            if place is None or place.is_empty:
                continue
            found[f"{layer} {name}"] = place
            double |= {name} & found.keys()
            found[name] = place
    return {name: place for name, place in found.items() if name not in double}


def arcs_by_landmarks(heads: Frame, places: Mapping[str, Any], crs: str) -> tuple[Frame, list[str], list[Problem]]:
    """Return the heads with arcs worked out from their landmarks, notes, and what is wrong.

    The arc begins at the left stop and turns clockwise to the right one. An arc that the file gives in degrees
    stays, and one that lacks a landmark stays unknown.

    Parameters
    ----------
    heads
        On the grid of the site, perhaps with columns `arc_left_at` and `arc_right_at`.
    places
        Where the landmarks stand, by name; other heads of the same file count too.
    """
    if LEFT not in heads.columns and RIGHT not in heads.columns:
        return heads, [], []
    own = dict(zip(heads["head_id"].astype("str"), heads.geometry, strict=True))
    start, sweep = column(heads, "heads", "arc_from_deg").copy(), column(heads, "heads", "arc_sweep_deg").copy()
    said: dict[str, list[str]] = {"done": [], **{words: [] for words in _WRONG}}
    for row, place in enumerate(heads.geometry):
        names = [_word(heads, name, row) for name in (LEFT, RIGHT)]
        if not any(names) or place is None or pd.notna(start.iloc[row]):
            continue
        head = str(heads["head_id"].iloc[row])
        marks = [places.get(name, own.get(name)) for name in names]
        verdict, words = _verdict(head, place, names, marks)
        said[verdict] += words
        if verdict == "done":
            one, two = (_bearing_deg(place, mark, crs) for mark in marks)
            start.iloc[row], sweep.iloc[row] = one, (two - one) % 360.0 or 360.0
    remedy = "Bring the stones in first, or correct the names."
    problems = [Problem(f"{words}: {shown(said[words])}", f"heads.{LEFT}, {RIGHT}", remedy)
                for words in _WRONG if said[words]]  # fmt: skip
    done = said["done"]
    if not done:
        return heads, [], problems
    notes = [f"arcs of {many(len(done), 'head')} worked out from two landmarks each: {shown(done)}"]
    return heads.assign(arc_from_deg=start, arc_sweep_deg=sweep), notes, problems


_UNKNOWN, _HALF, _ON_IT = _WRONG = (
    "landmarks that no layer holds", "heads with one of two landmarks", "heads that stand on their landmark",
)  # fmt: skip


def _verdict(head: str, place: Any, names: list[str], marks: list[Any]) -> tuple[str, list[str]]:  # noqa: ANN401
    """Return what becomes of the arc of one head, and whom it is said of."""
    if not all(names):
        return _HALF, [head]
    lost = [f"{name} (of {head})" for name, mark in zip(names, marks, strict=True) if mark is None]
    if lost:
        return _UNKNOWN, lost
    if any(place.distance(mark) < _NEAR_M for mark in marks):
        return _ON_IT, [head]
    return "done", [head]


def _word(frame: Frame, name: str, row: int) -> str:
    if name not in frame.columns or pd.isna(frame[name].iloc[row]):
        return ""
    return str(frame[name].iloc[row]).strip()


def _bearing_deg(head: Any, mark: Any, crs: str) -> float:  # noqa: ANN401 - shapely points
    """Return the true bearing from a head to a landmark."""
    grid = float(np.degrees(np.arctan2(mark.x - head.x, mark.y - head.y)))
    north = true_north_on_grid_deg(crs, np.array([head.x]), np.array([head.y]))[0]
    return float((grid - north) % 360.0)
