"""Survey forms typed back: of the quick one, a row per stone with eight boxes, each box becomes a finding.

A figure 1 to 3 in a box is how bad it is, any other mark says that it is there, how bad nobody said. A stone with a
mark somewhere, or in the box that says nothing was seen, was looked at: its empty boxes are findings of severity 0. A
stone without any mark was not looked at, and gives nothing: that is not the same as sound. Nor do the lines of a full
form that hold the name of a stone alone.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import TYPE_CHECKING, Any

import pandas as pd

from gravegis.errors import Problem
from gravegis.layers.walks import ids_of
from gravegis.science.condition.tables import rows

if TYPE_CHECKING:
    from gravegis.layers.read.raw import Raw
    from gravegis.layers.road import Road

__all__ = ["NOTHING_SEEN", "NOT_MARKED", "ticks", "unfold"]

NOTHING_SEEN = "nothing seen"
"""Heading of the box for a stone that was looked at and shows none of the eight."""

NOT_MARKED = "quick survey: box left empty"
_MARKED = "quick survey: box"
_NO = ("", "0", "no", "n", "-", "false", "none")
_FULL = {"stone_id", "pattern", "severity", "extent_frac", "face", "height_from_m", "height_to_m", "found_on", "by"}
"""Headings of the full survey form."""
_GRADES = {"1": 1, "2": 2, "3": 3, "1.0": 1, "2.0": 2, "3.0": 3}


@cache
def ticks() -> dict[str, str]:
    """Return the eight boxes of the quick survey and the pattern each stands for (quick_ticks.csv)."""
    return {row["tick"]: row["pattern"] for row in rows("quick_ticks")}


def unfold(raw: Raw, road: Road) -> Raw:
    """Return findings, one row each, where a file holds the boxes of the quick survey; else the file as it is."""
    names = {str(name).strip().casefold(): str(name) for name in raw.frame.columns}
    boxes = {tick: names[tick] for tick in ticks() if tick in names}
    if road.layer.name != "findings":
        return raw
    if not boxes or "pattern" in names:
        return _without_empty_lines(raw, names, road)
    frame = raw.frame
    marks = pd.DataFrame({tick: _marks(frame[name]) for tick, name in boxes.items()})
    nothing = _marks(frame[names[NOTHING_SEEN]]) if NOTHING_SEEN in names else pd.Series("", index=frame.index)
    is_marked = ~marks.isin(_NO)
    said_none = ~nothing.isin(_NO)
    both = is_marked.any(axis=1) & said_none
    if both.any():
        at = ", ".join(str(int(row) + 1) for row in both.to_numpy().nonzero()[0][:5])
        problem = f"a box is marked, and '{NOTHING_SEEN}' too: row {at}"
        road.add([Problem(problem, "findings", "Mark one or the other.")])
    looked = (is_marked.any(axis=1) | said_none).to_numpy()
    rest = [name for name in frame.columns if name not in {*boxes.values(), names.get(NOTHING_SEEN)}]
    parts = [_of_box(frame.loc[looked, rest], marks.loc[looked, tick], tick) for tick in boxes]
    made = pd.concat(parts, ignore_index=True) if parts else frame.iloc[:0]
    made = _named(made, names, ("stone_id", "found_on", "by", "pattern"), road)
    blank = int((~looked).sum())
    road.notes.append(
        f"quick survey: {int(looked.sum())} stones looked at, {int(is_marked.to_numpy().sum())} boxes marked; findings "
        "are named by family, as volunteers see them"
    )
    if blank:
        road.notes.append(f"quick survey: {blank} rows without a mark were not looked at, and are left out")
    return replace(raw, frame=made)


def _without_empty_lines(raw: Raw, names: dict[str, str], road: Road) -> Raw:
    """Leave out lines that hold the name of a stone and nothing else, as in a form nobody filled in."""
    rest = [name for name in raw.frame.columns if name != names.get("stone_id")]
    if "stone_id" not in names or "pattern" not in names or "geometry" in raw.frame:
        return raw
    if set(names) >= _FULL:
        kept = _kept_lines(raw, rest, road)
        return replace(raw, frame=_named(kept, names, ("stone_id", "found_on", "by", "pattern", "face"), road))
    return replace(raw, frame=_kept_lines(raw, rest, road))


def _kept_lines(raw: Raw, rest: list[Any], road: Road) -> pd.DataFrame:
    empty = pd.DataFrame({name: _marks(raw.frame[name]) == "" for name in rest}).all(axis=1).to_numpy()
    if not empty.any() or empty.all():
        return raw.frame
    road.notes.append(
        f"{int(empty.sum())} lines without a finding are left out: nobody looked, or nobody wrote it down"
    )
    return raw.frame[~empty].reset_index(drop=True)


def _named(frame: pd.DataFrame, names: dict[str, str], keys: tuple[str, ...], road: Road) -> pd.DataFrame:
    """Name findings of a form by what they are of, so that the same sheet typed twice replaces what it gave before."""
    if "finding_id" in names or "stone_id" not in names or frame.empty:
        return frame
    held = {one: names.get(one, one) for one in keys}
    day = held["found_on"]
    if day not in frame.columns or (_marks(frame[day]) == "").any():
        road.notes.append("not every line says its day: typed in a second time, they would stand there twice")
        return frame
    road.replaces = True
    return frame.assign(finding_id=ids_of(frame, [theirs for theirs in held.values() if theirs in frame.columns]))


def _marks(column: pd.Series[Any]) -> pd.Series[Any]:
    return column.astype("object").where(column.notna(), "").astype("str").str.strip().str.casefold()


def _of_box(stones: pd.DataFrame, mark: pd.Series[Any], tick: str) -> pd.DataFrame:
    is_there = ~mark.isin(_NO)
    severity = mark.map(_GRADES).where(is_there, 0).astype("Int64")
    note = pd.Series(NOT_MARKED, index=mark.index).where(~is_there, f"{_MARKED} '{tick}'")
    own = [name for name in stones.columns if str(name).strip().casefold() == "note"]
    if own:
        typed = _marks(stones[own[0]])
        words = stones[own[0]].astype("object").where(typed != "", "").astype("str")
        note = note.where(typed == "", note + "; " + words)
        stones = stones.drop(columns=own)
    return stones.assign(pattern=ticks()[tick], severity=severity, note=note)
