"""Bearings counted from magnetic north, turned to true north once."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from gravegis.errors import Problem
from gravegis.layers.read.raw import many, shown

if TYPE_CHECKING:
    from gravegis.layers.canonical import Frame
    from gravegis.layers.said import Typed

__all__ = ["BEARINGS", "large_declination", "to_true"]

BEARINGS = ("facing_deg", "arc_from_deg", "bearing_deg")
"""Columns that hold a bearing; a sweep is an angle between two, which no declination changes."""

_NORTH = "bearing_north"
_USUAL_DEG = 30.0  # more occurs near the magnetic poles only: common practice, no source


def large_declination(typed: Typed) -> tuple[str, ...]:
    """Return a question where the declination typed is larger than where people live."""
    if typed.declination_deg is None or abs(typed.declination_deg) <= _USUAL_DEG:
        return ()
    return (
        f"a declination of {typed.declination_deg:g} degrees is more than the {_USUAL_DEG:g} that occur away from the "
        "magnetic poles: is it a bearing, or are minutes read as degrees?",
    )


def to_true(frame: Frame, typed: Typed, layer: str) -> tuple[Frame, list[str], list[Problem]]:
    """Return the layer with bearings from true north, what to say, and what is wrong.

    Where a column `bearing_north` tells the north of each row, only magnetic rows are turned, and the column then
    says true: a file that was turned cannot be turned again. Rows that say nothing follow what was typed.
    """
    there = [name for name in BEARINGS if name in frame.columns and frame[name].notna().any()]
    if not there:
        wrong = typed.bearings == "magnetic"
        remedy = f"Name the column that holds one of: {', '.join(BEARINGS)}; or leave --bearings out."
        return frame, [], [Problem("there are no bearings to turn", layer, remedy)] if wrong else []
    said = frame[_NORTH] if _NORTH in frame.columns else pd.Series([None] * len(frame), index=frame.index, dtype="str")
    magnetic = (said == "magnetic") | (said.isna() & (typed.bearings == "magnetic"))
    any_there = frame[there].notna().any(axis="columns")
    magnetic &= any_there
    if not magnetic.any():
        silent = int((said.isna() & any_there).sum())
        if silent and not typed.bearings:
            return frame, [f"{', '.join(there)}: taken to be counted from true north; nobody said"], []
        return frame, [], []
    if typed.declination_deg is None:
        words = f"{many(int(magnetic.sum()), 'bearing')} counted from magnetic north"
        return frame, [], [Problem(words, layer, "Say how far it lies east of true north: --bearings magnetic "
                                                 "--declination DEGREES (west is below 0), as the "
                                                 "chart of the place and year of the survey says")]  # fmt: skip
    made = frame.copy(deep=False)
    for name in there:
        turned = (made[name] + typed.declination_deg) % 360.0
        made[name] = made[name].where(~magnetic, turned)
    if _NORTH in frame.columns:
        made[_NORTH] = said.where(~magnetic, "true")
    notes = [
        f"{shown(there)}: {many(int(magnetic.sum()), 'row')} turned from magnetic to true north, declination "
        f"{typed.declination_deg:g} degrees east as typed"
    ]
    return made, notes, []
