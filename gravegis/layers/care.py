"""From the tables about care (parts, permissions, products, treatments, sensitive ground) to what the science takes."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import shapely

from gravegis.layers.canonical import column
from gravegis.layers.stones import days_before, numbers, words
from gravegis.science.care.permissions import Asked
from gravegis.science.care.restrict import BUFFER_M, Limit, ground_limit, part_limit
from gravegis.science.care.steps import Label
from gravegis.science.care.treatment import METHODS
from gravegis.science.condition.tables import vocabulary

if TYPE_CHECKING:
    import numpy.typing as npt

    from gravegis.layers.canonical import Frame

__all__ = [
    "ages_years",
    "asked_of",
    "done_before",
    "ground_limits",
    "label_of",
    "part_limits",
    "seconds_of",
]

CLEANER = METHODS[-1]


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


def ground_limits(stones: Frame, sensitive: Frame | None, buffer_m: float = BUFFER_M) -> list[Limit]:
    """Return what sensitive ground within its buffer asks of the stones near it."""
    if sensitive is None or sensitive.empty or stones.empty:
        return []
    shapes = np.asarray(stones["geometry"].array, dtype=object)
    tree = shapely.STRtree(shapes)
    kinds, names = words(sensitive, "sensitive", "kind"), words(sensitive, "sensitive", "sensitive_id")
    buffers = np.nan_to_num(numbers(sensitive, "sensitive", "buffer_m"), nan=buffer_m)
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
    conditions = words(permissions, "permissions", "conditions")
    left = -days_before(permissions, "permissions", "until", as_of) if as_of else np.full(len(permissions), np.nan)
    made = []
    for row in range(len(permissions)):
        if named[row]:
            hit = [] if np.isnan(rows[row]) else [int(rows[row])]
        elif sections[row] is None:
            hit = list(range(len(stones)))
        else:
            hit = np.flatnonzero(of_stone == sections[row]).tolist()
        made += [
            Asked(
                stone, kinds[row] or "", states[row] or "", float(left[row]), conditions[row] or "",
                of_stone=bool(named[row]),
            )
            for stone in hit
        ]  # fmt: skip
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
    """Return the label of the cleaner in use: the first product by name that is one; None where there is none.

    A product whose kind nobody wrote counts as the cleaner; one of another kind, such as a soap, does not.
    """
    if products is None or products.empty:
        return None
    kinds = [vocabulary("methods").term(one) or one for one in words(products, "products", "kind")]
    row = next((place for place, kind in enumerate(kinds) if not kind or kind == CLEANER), None)
    if row is None:
        return None

    def text(name: str) -> str:
        return words(products, "products", name)[row] or ""

    def figure(name: str) -> float | None:
        value = float(numbers(products, "products", name)[row])
        return None if np.isnan(value) else value

    return Label(
        name=text("label") or str(products["product_id"].iloc[row]), strength=text("strength"),
        not_with=text("not_with"), protective=text("protective"), first_aid=text("first_aid"),
        dwell_low_min=figure("dwell_low_min"), dwell_high_min=figure("dwell_high_min"), low_degc=figure("low_degc"),
        high_degc=figure("high_degc"), reentry_h=figure("reentry_h"), uses=text("uses"),
    )  # fmt: skip


def seconds_of(civil: str) -> float:
    """Return a civil time ``HH:MM`` or ``HH:MM:SS`` as seconds of the day. [s]."""
    hours, minutes, *seconds = civil.split(":")
    return int(hours) * 3600.0 + int(minutes) * 60.0 + (int(seconds[0]) if seconds else 0)
