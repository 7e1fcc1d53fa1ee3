"""What is known of each stone beside its harm: wetting, nearest head, what else may explain harm, what is set apart."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import shapely

from gravegis.layers.canonical import column
from gravegis.layers.holder import holds
from gravegis.layers.stones import numbers, words
from gravegis.science.care.materials import materials
from gravegis.science.condition.tables import plain, rows

if TYPE_CHECKING:
    from collections.abc import Mapping

    import numpy.typing as npt

    from gravegis.layers.canonical import Frame
    from gravegis.layers.holder import Holder

    Floats = npt.NDArray[np.float64]
    Flags = npt.NDArray[np.bool_]

__all__ = ["PERIOD_YEARS", "Exposure", "exposure_of", "set_apart"]

PERIOD_YEARS = 50
"""Stones are of like age when their years fall into the same half century: own rule."""


@dataclass(frozen=True, slots=True)
class Exposure:
    """One entry per stone.

    `wetted` is 1, 0 or NaN where nothing can be said; `state` the word of the wetting where it gives one. `head` is
    the nearest head as a number, -1 where unknown. `strata` holds labels, empty where unknown; only those of which
    there are two or more.
    """

    wetted: Floats
    state: npt.NDArray[np.str_]
    head: npt.NDArray[np.int64]
    ratio: Floats
    hours: Floats
    strata: Mapping[str, npt.NDArray[np.str_]]


def exposure_of(site: Holder) -> Exposure:
    """Return wetting and other explanations of each stone."""
    stones = site["stones"]
    if holds(site, "stone_wetting"):
        table = site["stone_wetting"].set_index("stone_id").reindex(stones["stone_id"]).reset_index()
    else:
        table = pd.DataFrame({"stone_id": stones["stone_id"]})
    state = table["state"].fillna("") if "state" in table else pd.Series([""] * len(table), dtype="str")
    names = column(table, "stone_wetting", "nearest_head_id").fillna("")
    head = pd.Index(_heads_by_place(site)).get_indexer(pd.Index(names))
    away_m, throw_m = numbers(table, "stone_wetting", "nearest_head_m"), _throws_m(site, names)
    ratio: Floats = np.divide(away_m, throw_m, out=np.full(len(table), np.nan), where=throw_m > 0)
    hours = numbers(table, "stone_wetting", "season_h")
    return Exposure(
        _wetted(table, state), state.to_numpy(dtype=np.str_), head.astype(np.int64), ratio, hours, _strata(site)
    )


def _wetted(table: Frame, state: pd.Series[str]) -> Floats:
    """Return whether water falls on the place of a stone; one whose state is uncertain is neither wetted nor dry."""
    reached = column(table, "stone_wetting", "reached").astype("Float64")
    wetted = np.asarray(reached.to_numpy(dtype="float64", na_value=np.nan), dtype=np.float64)
    wetted[state == "uncertain"] = np.nan
    return wetted


def _heads_by_place(site: Holder) -> list[str]:
    """Return the heads from west to east: their numbers, and what is drawn by chance, do not hang on their names."""
    if not holds(site, "heads", "geometry"):
        return []
    point = np.asarray(site["heads"]["geometry"], dtype=object)
    order = np.lexsort((shapely.get_y(point), shapely.get_x(point)))
    return [str(one) for one in site["heads"]["head_id"].to_numpy()[order]]


def _throws_m(site: Holder, head_ids: pd.Series[str]) -> Floats:
    if not holds(site, "throws_computed", "throw_m"):
        return np.full(len(head_ids), np.nan)
    throws = site["throws_computed"].set_index("head_id")["throw_m"]
    return throws.reindex(head_ids).to_numpy(dtype="float64", na_value=np.nan)


def _strata(site: Holder) -> dict[str, npt.NDArray[np.str_]]:
    stones = site["stones"]
    year = numbers(stones, "stones", "year")
    first = np.floor(np.nan_to_num(year) / PERIOD_YEARS).astype(np.int64) * PERIOD_YEARS
    age = [
        f"{one} to {one + PERIOD_YEARS - 1}" if known else "" for one, known in zip(first, ~np.isnan(year), strict=True)
    ]
    typed = words(stones, "stones", "material")
    made = {
        "material": [materials().term(one) or plain(one) for one in typed],
        "section": [one or "" for one in words(stones, "stones", "section")],
        "age": age,
        "surveyor": _surveyors(site),
        "shade": _shades(site),
    }
    labels = {name: np.array(one, dtype=np.str_) for name, one in made.items()}
    return {name: one for name, one in labels.items() if len(np.unique(one[one != ""])) > 1}


def _surveyors(site: Holder) -> list[str]:
    """Return who found the first finding of each stone; empty where nobody said."""
    stones = site["stones"]
    if not holds(site, "findings", "by"):
        return [""] * len(stones)
    found = site["findings"].dropna(subset=["by"]).drop_duplicates("stone_id").set_index("stone_id")["by"]
    return [str(one) for one in found.reindex(stones["stone_id"]).fillna("")]


def _shades(site: Holder) -> list[str]:
    stones = site["stones"]
    if not holds(site, "shade", "geometry"):
        return [""] * len(stones)
    inside = _inside(stones, np.asarray(site["shade"]["geometry"], dtype=object))
    return ["shaded" if one else "open" for one in inside]


def _inside(stones: Frame, areas: npt.NDArray[np.object_]) -> Flags:
    tree = shapely.STRtree(np.asarray(stones["geometry"], dtype=object))
    hit = tree.query(areas, predicate="intersects")[1]
    return np.isin(np.arange(len(stones)), hit)


def set_apart(site: Holder, harm: str) -> tuple[dict[str, Flags], tuple[str, ...]]:
    """Return, per other cause of a harm, which stones it may have harmed; and what is known but cannot be placed."""
    stones = site["stones"]
    apart: dict[str, Flags] = {}
    unplaced: list[str] = []
    for rule in rows("other_causes"):
        if harm not in rule["harms"].split("|") or not holds(site, rule["layer"]):
            continue
        frame = site[rule["layer"]]
        text = column(frame, rule["layer"], _TEXT[rule["layer"]]).fillna("").str.casefold()
        found = frame[[_names_one(one, rule["words"]) for one in text]]
        if not len(found):
            continue
        if rule["layer"] == "grounds_log":
            at, lost_n = _treated_ground(site, found)
            if lost_n:
                unplaced.append(f"{rule['cause']}: {lost_n} entries do not say where")
        else:
            at = stones["stone_id"].isin(found["stone_id"]).to_numpy()
        if at.any():
            apart[rule["cause"]] = at
    return apart, tuple(unplaced)


def _names_one(text: str, listed: str) -> bool:
    return any(word in text for word in listed.split("|"))


_TEXT = {"grounds_log": "what", "parts": "material", "findings": "note"}


def _treated_ground(site: Holder, entries: Frame) -> tuple[Flags, int]:
    """Return the stones on ground treated before they were surveyed, and how many entries have no place."""
    stones = site["stones"]
    at, lost_n = np.zeros(len(stones), dtype=np.bool_), 0
    surveyed = _last_looked(site)
    section = column(stones, "stones", "section")
    for entry in entries.to_dict("records"):
        area, name, day = entry.get("geometry"), entry.get("section"), entry.get("done_on")
        if area is not None and not pd.isna(area) and not area.is_empty:
            here = _inside(stones, np.array([area], dtype=object))
        elif isinstance(name, str) and name:
            here = (section == name).fillna(value=False).to_numpy(dtype=bool)
        else:
            lost_n += 1
            continue
        # a day nobody noted counts as before
        late = surveyed < day if isinstance(day, str) else np.zeros(len(stones), dtype=np.bool_)
        at |= here & ~np.asarray((surveyed != "") & late, dtype=np.bool_)
    return at, lost_n


def _last_looked(site: Holder) -> npt.NDArray[np.str_]:
    """Return the day each stone was last looked at, empty where nobody noted it."""
    stones = site["stones"]
    day = column(stones, "stones", "surveyed_on").fillna("")
    if holds(site, "findings", "found_on"):
        last = site["findings"].dropna(subset=["found_on"]).groupby("stone_id")["found_on"].max()
        day = last.reindex(stones["stone_id"]).reset_index(drop=True).fillna(day)
    return day.to_numpy(dtype=np.str_)
