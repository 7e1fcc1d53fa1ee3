"""Two surveys of a ground out of all that is on file: which rows are of the earlier, which of the later one.

Findings, quick scores of the stones and the rows of layer ``surveys`` all carry a day. Where the days of the whole
ground leave a gap longer than a visit lasts, what lies before the last such gap is the earlier survey, or what lies
before a day somebody names. Of each survey the last visit to a stone counts.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from gravegis.layers.canonical import column
from gravegis.layers.holder import holds
from gravegis.layers.stones import findings_of, numbers, places_m
from gravegis.layers.visits import VISIT_DAYS, days_of
from gravegis.science.condition.change import match_by_place
from gravegis.science.condition.harms import HarmGrades, grade_harms
from gravegis.science.condition.scores import score_stones

if TYPE_CHECKING:
    import numpy.typing as npt

    from gravegis.layers.canonical import Frame
    from gravegis.layers.holder import Holder

    Floats = npt.NDArray[np.float64]

__all__ = ["Survey", "split_day", "surveyed_twice", "surveys_before_and_now", "with_stones"]


@dataclass(frozen=True, slots=True)
class Survey:
    """One survey, one entry per stone of `ids`.

    `seen` says whether the stone was looked at; `overall` is its class, NaN where none; `basis` what the class rests
    on; `grades` the single harms; `day` when it was last seen, empty where not known.
    """

    ids: npt.NDArray[np.str_]
    seen: npt.NDArray[np.bool_]
    overall: Floats
    basis: npt.NDArray[np.str_]
    grades: HarmGrades
    day: npt.NDArray[np.str_]


def with_stones(site: Holder, within_m: float) -> Frame:
    """Return the rows of layer ``surveys``, those without a stone named by the nearest one; empty without the layer.

    A place names a stone only where each is the nearest to the other; others stay without one and are not counted.
    """
    if not holds(site, "surveys"):
        return pd.DataFrame({"stone_id": [], "quick_score": [], "surveyed_on": [], "by": []})
    frame = site["surveys"].reset_index(drop=True)
    ids = column(frame, "surveys", "stone_id").to_numpy(dtype=object).copy()
    lacking = np.flatnonzero(pd.isna(ids))
    if lacking.size and "geometry" in frame:
        stones = site["stones"]
        pairs = match_by_place(places_m(frame)[lacking], places_m(stones), within_m=within_m)
        ids[lacking[pairs[:, 0]]] = stones["stone_id"].to_numpy()[pairs[:, 1]]
    return frame.assign(stone_id=pd.array(ids, dtype="str"))


def split_day(site: Holder, surveys: Frame) -> float:
    """Return the first day of the later survey, as days since 1970; NaN where all on file is of one visit. [days]."""
    days = np.concatenate([_quick(site, surveys)["day"].to_numpy(dtype="float64"), _found(site)])
    sorted_days = np.unique(days[~np.isnan(days)])
    gaps = np.flatnonzero(np.diff(sorted_days) > VISIT_DAYS)
    return float(sorted_days[gaps[-1] + 1]) if gaps.size else float("nan")


def surveys_before_and_now(site: Holder, surveys: Frame, split: float) -> tuple[Survey, Survey]:
    """Return the earlier and the later survey; what carries no day is of the later one."""
    quick, findings = _quick(site, surveys), site.get("findings") if "findings" in site else None  # type: ignore[attr-defined]
    named = [site["stones"]["stone_id"], quick["stone_id"].dropna()]
    ids = np.array(list(dict.fromkeys(pd.concat(named).astype("str"))), dtype=np.str_)
    found_day = _found(site)
    out = []
    for earlier in (True, False):
        rows = None
        if findings is not None:
            rows = findings[(found_day < split) == earlier]
        out.append(_survey(ids, rows, quick[(quick["day"] < split) == earlier]))
    return out[0], out[1]


def _found(site: Holder) -> Floats:
    return days_of(site["findings"], "findings", "found_on") if holds(site, "findings") else np.array([])


def _quick(site: Holder, surveys: Frame) -> Frame:
    """Return all quick scores with their stone and day, those of layer ``stones`` among them."""
    stones = site["stones"]
    parts = [
        pd.DataFrame(
            {
                "stone_id": frame["stone_id"],
                "score": numbers(frame, layer, "quick_score"),
                "day": days_of(frame, layer, "surveyed_on"),
                "on": column(frame, layer, "surveyed_on"),
            }
        )
        for layer, frame in (("stones", stones), ("surveys", surveys))
    ]
    joined = pd.concat([one.astype({"on": "object", "stone_id": "object"}) for one in parts], ignore_index=True)
    return joined[joined["score"].notna() & joined["stone_id"].notna()]


def _survey(ids: npt.NDArray[np.str_], findings: Frame | None, quick: Frame) -> Survey:
    stones = pd.DataFrame({"stone_id": ids})
    last = quick.sort_values("day", kind="stable", na_position="first").drop_duplicates("stone_id", keep="last")
    last = last.set_index("stone_id").reindex(ids)
    score = last["score"].to_numpy(dtype="float64", na_value=np.nan)
    read, _ = findings_of(stones, findings)
    made = score_stones(read, score)
    overall = np.where(made.overall >= 0, made.overall.astype(np.float64), np.nan)
    found = np.bincount(read.stone, minlength=len(ids)) > 0
    day = last["on"].fillna("")
    if findings is not None and "found_on" in findings:
        newest = findings.dropna(subset=["found_on"]).groupby("stone_id")["found_on"].max().reindex(ids).fillna("")
        day = newest.where(newest >= day, day)
    return Survey(ids, found | ~np.isnan(score), overall, made.basis, grade_harms(read, score), day.to_numpy(np.str_))


def surveyed_twice(surveys: Frame, split: float) -> tuple[int, int] | None:
    """Return how many stones two people graded differently within one survey, and how many both graded."""
    if surveys.empty:
        return None
    frame = pd.DataFrame(
        {
            "stone_id": surveys["stone_id"],
            "later": days_of(surveys, "surveys", "surveyed_on") >= split,
            "by": column(surveys, "surveys", "by"),
            "score": numbers(surveys, "surveys", "quick_score"),
        }
    ).dropna()
    groups = frame.groupby(["stone_id", "later"])
    twice = groups["by"].nunique() >= 2
    if not twice.any():
        return None
    unlike = groups["score"].max() > groups["score"].min()
    return int((unlike & twice).sum()), int(twice.sum())
