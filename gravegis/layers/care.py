"""From the tables about care (parts, permissions, products, treatments, sensitive ground) to what the science takes."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import shapely

from gravegis.layers.canonical import column
from gravegis.layers.stones import days_before, numbers, words
from gravegis.science.care.permissions import Asked
from gravegis.science.care.restrict import Limit, ground_limit, part_limit
from gravegis.science.care.steps import Label

if TYPE_CHECKING:
    import numpy.typing as npt

    from gravegis.layers.canonical import Frame

__all__ = [
    "BUFFER_M",
    "ages_years",
    "asked_of",
    "done_before",
    "ground_limits",
    "label_of",
    "part_limits",
    "seconds_of",
]

BUFFER_M = 5.0
"""Distance to keep from sensitive ground whose row names none: common practice, no source. [m]"""


def _rows_of(stones: Frame, frame: Frame, layer: str) -> npt.NDArray[np.float64]:
    """Return the row of the stone each row names, NaN where there is no such stone."""
    places = pd.Series(np.arange(len(stones)), index=stones["stone_id"])
    return places.reindex(column(frame, layer, "stone_id")).to_numpy(dtype="float64")


def part_limits(stones: Frame, parts: Frame | None) -> list[Limit]:
    """Return what every part of other material asks of its stone."""
    if parts is None:
        return []
    rows, what, made_of = _rows_of(stones, parts, "parts"), words(parts, "parts", "part"), words(
        parts, "parts", "material"
    )  # fmt: skip
    return [
        part_limit(int(row), part, material)
        for row, part, material in zip(rows, what, made_of, strict=True)
        if not np.isnan(row)
    ]


def ground_limits(stones: Frame, sensitive: Frame | None) -> list[Limit]:
    """Return what sensitive ground within its buffer asks of the stones near it."""
    if sensitive is None or sensitive.empty or stones.empty:
        return []
    shapes = np.asarray(stones["geometry"].array, dtype=object)
    tree = shapely.STRtree(shapes)
    kinds, names = words(sensitive, "sensitive", "kind"), words(sensitive, "sensitive", "sensitive_id")
    buffers = np.nan_to_num(numbers(sensitive, "sensitive", "buffer_m"), nan=BUFFER_M)
    made = []
    for row, area in enumerate(sensitive["geometry"].array):
        if area is None or area.is_empty:
            continue
        near = tree.query(area, predicate="dwithin", distance=float(buffers[row]))
        away_m = shapely.distance(shapes[near], area)
        made += [
            ground_limit(int(one), kinds[row], names[row] or "", distance_m=float(far), buffer_m=float(buffers[row]))
            for one, far in sorted(zip(near.tolist(), away_m.tolist(), strict=True))
        ]
    return made


def asked_of(stones: Frame, permissions: Frame | None, as_of: str) -> list[Asked]:
    """Return every row of `permissions` once per stone it holds for: the stone it names, else all of its section.

    A row that names a zone is an answer about its water, not about stones.
    """
    if permissions is None:
        return []
    permissions = permissions[column(permissions, "permissions", "zone_id").isna()]
    rows = _rows_of(stones, permissions, "permissions")
    named = column(permissions, "permissions", "stone_id").notna().to_numpy()
    sections, of_stone = (
        words(permissions, "permissions", "section"),
        np.array(words(stones, "stones", "section"), object),
    )
    kinds, states = words(permissions, "permissions", "kind"), words(permissions, "permissions", "status")
    left = -days_before(permissions, "permissions", "until", as_of) if as_of else np.full(len(permissions), np.nan)
    made = []
    for row in range(len(permissions)):
        if named[row]:
            hit = [] if np.isnan(rows[row]) else [int(rows[row])]
        elif sections[row] is None:
            hit = list(range(len(stones)))
        else:
            hit = np.flatnonzero(of_stone == sections[row]).tolist()
        made += [Asked(stone, kinds[row] or "", states[row] or "", float(left[row])) for stone in hit]
    return made


def ages_years(stones: Frame, as_of: str) -> npt.NDArray[np.float64]:
    """Return the years since the earliest year on each stone; NaN where unknown. [years]."""
    years = numbers(stones, "stones", "year")
    return float(as_of[:4]) - years if as_of else np.full(len(stones), np.nan)


def done_before(
    stones: Frame, treatments: Frame | None, as_of: str
) -> tuple[npt.NDArray[np.intp], list[Any], npt.NDArray[np.float64]]:
    """Return per record of work on a known stone: row of the stone, what was done, days since."""
    if treatments is None:
        return np.empty(0, dtype=np.intp), [], np.empty(0)
    rows = _rows_of(stones, treatments, "treatments")
    known = ~np.isnan(rows)
    kept = treatments[known]
    days = days_before(kept, "treatments", "done_on", as_of) if as_of else np.full(len(kept), np.nan)
    return rows[known].astype(np.intp), words(kept, "treatments", "what"), days


def label_of(products: Frame | None) -> Label | None:
    """Return the label of the first product on file, by name; None where there is none."""
    if products is None or products.empty:
        return None
    low, high = (numbers(products, "products", name)[0] for name in ("dwell_low_min", "dwell_high_min"))
    strength, names, apart = (words(products, "products", name)[0] for name in ("strength", "label", "not_with"))
    return Label(
        name=names or str(products["product_id"].iloc[0]), strength=strength or "", not_with=apart or "",
        dwell_low_min=None if np.isnan(low) else float(low), dwell_high_min=None if np.isnan(high) else float(high),
    )  # fmt: skip


def seconds_of(civil: str) -> float:
    """Return a civil time ``HH:MM`` or ``HH:MM:SS`` as seconds of the day. [s]."""
    hours, minutes, *seconds = civil.split(":")
    return int(hours) * 3600.0 + int(minutes) * 60.0 + (int(seconds[0]) if seconds else 0)
