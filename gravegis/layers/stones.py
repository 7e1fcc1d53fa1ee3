"""From the tables of stones and findings to the arrays the science works on."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import shapely

from gravegis.layers.canonical import column
from gravegis.layers.visits import of_last_visit
from gravegis.science.care.gates import GateLimits
from gravegis.science.condition.scores import Findings, read_findings

if TYPE_CHECKING:
    from collections.abc import Iterable

    import numpy.typing as npt

    from gravegis.layers.canonical import Frame

__all__ = ["checks_too_old", "days_before", "findings_of", "numbers", "places_m", "reasons_json", "words"]


def places_m(stones: Frame) -> npt.NDArray[np.float64]:
    """Return one position per stone, shape ``(stones, 2)``: the point, or the centroid of the footprint. [m].

    NaN where a stone has no place.
    """
    middle = shapely.centroid(np.asarray(stones["geometry"], dtype=object))
    return np.column_stack([shapely.get_x(middle), shapely.get_y(middle)]).astype(np.float64)


def findings_of(stones: Frame, findings: Frame | None) -> tuple[Findings, int]:
    """Return the findings of the last visit to these stones, and how many findings name a stone that is not there."""
    none = pd.DataFrame({"stone_id": pd.Series([], dtype="str"), "pattern": pd.Series([], dtype="str")})
    frame = none if findings is None else findings
    row = pd.Series(np.arange(len(stones)), index=stones["stone_id"]).reindex(frame["stone_id"]).to_numpy("float64")
    known = ~np.isnan(row)
    now = known & of_last_visit(frame)
    kept = frame[now]
    made = read_findings(
        row[now],
        words(kept, "findings", "pattern"),
        numbers(kept, "findings", "severity"),
        numbers(kept, "findings", "extent_frac"),
        stones_n=len(stones),
    )
    return made, int((~known).sum())


def numbers(frame: Frame, layer: str, name: str) -> npt.NDArray[np.float64]:
    """Return a column of numbers, NaN where missing or where the layer does not have it."""
    return column(frame, layer, name).to_numpy(dtype="float64", na_value=np.nan)


def words(frame: Frame, layer: str, name: str) -> list[Any]:
    """Return a column of texts, None where missing or where the layer does not have it."""
    return [None if pd.isna(word) else str(word) for word in column(frame, layer, name)]


def days_before(frame: Frame, layer: str, name: str, last: str) -> npt.NDArray[np.float64]:
    """Return how many days before the day `last` each date lies; NaN where there is no date. [days]."""
    dates = pd.to_datetime(column(frame, layer, name), format="%Y-%m-%d", errors="coerce")
    gone = (pd.Timestamp(last) - dates) / pd.Timedelta(days=1)
    return np.asarray(gone, dtype=np.float64)


def checks_too_old(stones: Frame, work: Frame, day: str) -> dict[str, int]:
    """Return stones that go out as firm on a check too old on a day, with its age; none without a day. [days]."""
    if not day:
        return {}
    age = days_before(stones, "stones", "stability_on", day)
    as_firm = work.loc[column(work, "worklist", "first_step").isna(), "stone_id"]
    old = np.flatnonzero((age > GateLimits().valid_days) & stones["stone_id"].isin(as_firm).to_numpy())
    return {str(stones["stone_id"].iloc[row]): int(age[row]) for row in old}


def reasons_json(reasons: Iterable[Iterable[Any]]) -> pd.Series[Any]:
    """Return reasons as JSON texts, one per row."""
    return pd.Series([json.dumps(list(one), sort_keys=True, ensure_ascii=False) for one in reasons], dtype="str")
