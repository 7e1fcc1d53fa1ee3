"""The stages of the job, and which analysis belongs to which: data, so that a new one needs no code here."""

from __future__ import annotations

import csv
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gravegis.contract import Analysis

__all__ = ["STAGES", "by_stage", "stage_of"]

STAGES = ("survey", "wetting", "harm", "condition", "plan", "records")
"""Stages in the order of the job."""


@cache
def _table() -> Mapping[str, str]:
    text = files("gravegis.window").joinpath("data", "stages.csv").read_text(encoding="utf-8")
    return {row["analysis"]: row["stage"] for row in csv.DictReader(text.splitlines())}


def stage_of(name: str, pool: Mapping[str, Analysis[Any]]) -> str:
    """Return the stage of an analysis.

    One that the table does not name, such as a plugin from outside, stands beside the last in the job whose results
    it reads; one that reads inputs only stands with the condition of the stones.
    """
    return _stage_of(name, pool, frozenset())


def _stage_of(name: str, pool: Mapping[str, Analysis[Any]], seen: frozenset[str]) -> str:
    if name in _table():
        return _table()[name]
    reads = pool[name].reads() if name in pool else {}
    built_on = [one for one, other in pool.items() if one != name and one not in seen and set(other.gives) & set(reads)]
    found = [_stage_of(one, pool, seen | {name}) for one in built_on]
    return max(found, key=STAGES.index, default="condition")


def by_stage(pool: Mapping[str, Analysis[Any]]) -> dict[str, tuple[str, ...]]:
    """Return the names of the analyses of each stage, empty for a stage without any.

    They stand in the order of the table, others behind: the last is what the stage is about, and what it opens with.
    """
    known = list(_table())
    of = {
        name: stage_of(name, pool)
        for name in sorted(pool, key=lambda one: known.index(one) if one in known else len(known))
    }
    return {stage: tuple(name for name, one in of.items() if one == stage) for stage in STAGES}
