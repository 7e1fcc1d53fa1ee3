"""Where the job stands: the state of each stage, worked out from the results there are and whether they still hold."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from gravegis import staleness
from gravegis.layers import schema
from gravegis.window.stages import STAGES, by_stage

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gravegis.contract import Analysis
    from gravegis.site import Site
    from gravegis.staleness import Stale

__all__ = ["StageState", "states"]


@dataclass(frozen=True, slots=True)
class StageState:
    """State of one stage.

    `kind` is one of done, open, late (a result no longer holds), waits (on the stage `waits_on`), lacks (inputs named
    in `lacks`), nothing (no analysis installed). `count` is how many analyses, or layers at the survey, it is about.
    """

    stage: str
    kind: str
    count: int = 0
    waits_on: int = 0
    lacks: tuple[str, ...] = ()
    analyses: tuple[str, ...] = ()


def states(site: Site, pool: Mapping[str, Analysis[Any]], late: tuple[Stale, ...] | None = None) -> list[StageState]:
    """Return the state of every stage, in the order of the job."""
    stale = {one.analysis for one in (staleness.stale(site) if late is None else late)}
    staged = by_stage(pool)
    return [_survey(site, staged["survey"])] + [
        _state(stage, staged, site, pool, stale) for stage in STAGES if stage != "survey"
    ]


def _survey(site: Site, analyses: tuple[str, ...]) -> StageState:
    inputs = [name for name in site if schema.layer(name).role == "input" and site.has(name)]
    if not site.has("stones"):
        return StageState("survey", "lacks", len(inputs), lacks=("stones",), analyses=analyses)
    return StageState("survey", "done", len(inputs), analyses=analyses)


def _state(
    stage: str, staged: Mapping[str, tuple[str, ...]], site: Site, pool: Mapping[str, Analysis[Any]], stale: set[str]
) -> StageState:
    names = staged[stage]
    if not names:
        return StageState(stage, "nothing")
    ran = {record.analysis for record in site.log}
    if late := [name for name in names if name in stale]:
        return StageState(stage, "late", len(late), analyses=names)
    todo = [name for name in names if name not in ran]
    if not todo:
        return StageState(stage, "done", len(names), analyses=names)
    makers = {layer: name for name, one in pool.items() for layer in one.gives}
    waits, lacks = set[str](), list[str]()
    can = 0
    for name in todo:
        missing = [one for one in pool[name].lacks(site) if makers.get(one.partition(".")[0]) not in names]
        made = {stage_at for one in missing for stage_at in _stages_of(makers.get(one.partition(".")[0]), staged)}
        given = [one for one in missing if one.partition(".")[0] not in makers]
        waits |= made
        lacks += given
        can += not made and not given
    if can:
        return StageState(stage, "open", can, analyses=names)
    if lacks:
        return StageState(stage, "lacks", len(todo), lacks=tuple(dict.fromkeys(lacks)), analyses=names)
    on = max(STAGES.index(one) for one in waits) + 1
    return StageState(stage, "waits", len(todo), waits_on=on, analyses=names)


def _stages_of(maker: str | None, staged: Mapping[str, tuple[str, ...]]) -> set[str]:
    return {stage for stage, names in staged.items() if maker in names}
