"""Zone walks typed back: a line per head and stone with what was seen, and the fault of the head if there is one.

A line without anything seen was not looked at, and gives nothing: that is not the same as dry. Rows are named by zone,
head, stone, day and person, so that a sheet typed twice replaces what it gave before.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import pandas as pd

from gravegis.errors import Problem

if TYPE_CHECKING:
    from gravegis.layers.canonical import Frame
    from gravegis.layers.read.raw import Raw
    from gravegis.layers.road import Road

__all__ = ["WALK_COLUMNS", "ids_of", "unfold_walk", "with_faults"]

WALK_COLUMNS = (
    "zone_id", "head_id", "stone_id", "seen", "face", "wet_from_m", "wet_to_m", "fault", "wind", "seen_on", "by",
)  # fmt: skip
_NEEDED = {"zone_id", "head_id", "stone_id", "seen", "fault"}
_SEEN = {"s": "struck", "w": "wetted", "m": "mist", "d": "dry"}
_FACES = {"f": "front", "b": "back", "l": "left", "r": "right", "t": "top"}


def unfold_walk(raw: Raw, road: Road) -> Raw:
    """Return observations, one row each, where a file is the form of a zone walk; else the file as it is."""
    names = {str(name).strip().casefold(): str(name) for name in raw.frame.columns}
    if road.layer.name != "observations" or not set(names) >= _NEEDED or "observation_id" in names:
        return raw
    frame = raw.frame.rename(columns={theirs: ours for ours, theirs in names.items()})
    cells = {name: _plain(frame[name]) for name in WALK_COLUMNS if name in frame.columns}
    said = cells["fault"] != ""
    nameless = said & (cells["head_id"] == "")
    if nameless.any():
        rows = ", ".join(str(int(row) + 1) for row in nameless.to_numpy().nonzero()[0][:5])
        road.add([Problem(f"a fault is noted but no head: row {rows}", "observations.head_id", "Name the head.")])
    day = cells.get("seen_on", pd.Series("", index=frame.index))
    for row in said.to_numpy().nonzero()[0].tolist():
        road.faults[cells["head_id"].iloc[row]] = (cells["fault"].iloc[row].casefold(), day.iloc[row])
    seen = cells["seen"].str.casefold().replace(_SEEN)
    looked = (seen != "").to_numpy()
    frame = frame.assign(seen=seen)
    if "face" in cells:
        frame["face"] = cells["face"].str.casefold().replace(_FACES)
    made = frame[looked].drop(columns="fault").reset_index(drop=True)
    keys = [name for name in ("zone_id", "head_id", "stone_id", "seen_on", "by") if name in made.columns]
    made.insert(0, "observation_id", ids_of(made, keys))
    road.replaces = True
    road.notes.append(f"zone walk: {int(looked.sum())} lines with something seen")
    if not looked.all():
        road.notes.append(
            f"zone walk: {int((~looked).sum())} lines without a mark were not looked at, and are left out"
        )
    return replace(raw, frame=made)


def ids_of(frame: Frame, keys: list[str]) -> pd.Series[Any]:
    """Return a name for each row of what it is of, with a number where several are of the same."""
    parts = [_plain(frame[name]).where(lambda one: one != "", "-") for name in keys]
    names = parts[0]
    for one in parts[1:]:
        names = names + " " + one
    again = names.groupby(names).cumcount()
    return names.where(again == 0, names + " (" + (again + 1).astype("str") + ")")


def with_faults(heads: Frame, road: Road) -> Frame:
    """Return the heads with the faults noted on a walk; heads that are not known are told."""
    known = heads["head_id"].isin(list(road.faults))
    strange = sorted(set(road.faults) - set(heads["head_id"]))
    if strange:
        road.add([Problem(f"faults of heads that are not known: {', '.join(strange[:5])}", "observations.head_id",
                          "Use the names of layer heads.")])  # fmt: skip
    made = heads.copy()
    for column, place in (("fault", 0), ("seen_on", 1)):
        if column not in made.columns:
            made[column] = pd.Series(pd.NA, index=made.index, dtype="str")
        new = made["head_id"].map({head: said[place] or None for head, said in road.faults.items()})
        made[column] = new.where(known & new.notna(), made[column])
    road.notes.append(f"zone walk: a fault was noted of {int(known.sum())} heads, and stands in layer heads")
    return made


def _plain(column: pd.Series[Any]) -> pd.Series[Any]:
    return column.astype("object").where(column.notna(), "").astype("str").str.strip()
