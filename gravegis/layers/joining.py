"""Rows of a file beside those a layer already holds: a second visit, a second sheet."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pandas as pd

from gravegis.errors import Problem
from gravegis.layers.read.raw import many, shown

if TYPE_CHECKING:
    from gravegis.layers.canonical import Frame
    from gravegis.layers.road import Road

__all__ = ["beside"]

_GIVEN = re.compile(r"R(\d+)")  # as rows without a name are called


def beside(there: Frame, new: Frame, road: Road) -> Frame:
    """Return both; names that the file left out and that were only counted go on counting, others must differ.

    Rows of a form typed back take the place of those it gave before.
    """
    key = road.layer.key[0]
    names = [str(one) for one in new[key]]
    if all(_GIVEN.fullmatch(one) for one in names) and set(names) & set(there[key]):
        numbers = [int(found[1]) for one in there[key] if (found := _GIVEN.fullmatch(str(one)))]
        start = max(numbers, default=0)
        new = new.assign(**{key: [f"R{start + one + 1:04d}" for one in range(len(new))]})
    if road.replaces:
        old = there[key].isin(new[key])
        if old.any():
            road.notes.append(f"{many(int(old.sum()), 'row')} that came before from the same form or test: replaced")
        there = there[~old]
    twice = sorted(set(new[key]) & set(there[key]))
    if twice:
        problem = f"{many(len(twice), 'row')} called as one that is there already: {shown(twice)}"
        road.add([Problem(problem, f"{road.layer.name}.{key}", "Give them other names, or leave the column out.")])
    road.notes.append(f"{many(len(new), 'row')} added to the {len(there)} that were there")
    return pd.concat([there, new], ignore_index=True)
