"""From a site to its report."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from gravegis import registry
from gravegis.layers import ask, schema
from gravegis.layers import check as checks
from gravegis.report import mend
from gravegis.report.gaps import Ground, gaps_of, lacks_of
from gravegis.report.model import AnalysisState, LayerLine, Report
from gravegis.report.results import result_states

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gravegis.contract import Analysis
    from gravegis.report.model import Gap
    from gravegis.site import Site

__all__ = ["report_of"]


def report_of(site: Site, *, folder: str = "SITE", made_on: str = "") -> Report:
    """Return what can be answered on a site, what is missing, what is doubtful and what to measure next.

    Nothing is run and nothing is changed; what a run would find out only while it works is not in it, except for
    results that are there and still hold.

    Parameters
    ----------
    folder
        Name of the site in the commands that mend something.
    made_on
        Day of the report; nothing here reads a clock.

    Raises
    ------
    PlanError
        When plugins need each other in a circle.
    """
    pool, bad = registry.analyses()
    ground = Ground(site, pool, registry.plan((), site, pool).order)
    results = result_states(site)
    gaps = gaps_of(ground, results, folder)
    return Report(
        title=site.info.title,
        crs=site.info.crs,
        crs_basis=site.info.crs_basis,
        time_zone=site.info.time_zone,
        made_on=made_on,
        layers=tuple(_layer(site, name) for name in site),
        analyses=(*(_state(ground, one, gaps) for one in pool.values()), *(_left_out(*one) for one in _reasons(bad))),
        gaps=gaps,
        findings=tuple(checks.check_site(site)),
        sources=site.info.sources,
        brought_in=site.info.assumed,
        results=results,
        measurements=tuple(ask.next_measurements(site)),
    )


def _layer(site: Site, name: str) -> LayerLine:
    known = schema.layer(name)
    return LayerLine(name, known.role, known.meaning, len(site[name]))


def _state(ground: Ground, one: Analysis[Any], gaps: Sequence[Gap]) -> AnalysisState:
    lacks = tuple(_lack(ground, layer, column) for layer, column in lacks_of(ground, one.name))
    own = tuple(place for place, gap in enumerate(gaps, 1) if one.name in gap.analyses)
    said = [gap for gap in gaps if any(two.analysis == one.name and two.words for two in gap.instead)]
    bare = [
        layer for layer in one.needs
        if layer in ground.site and ground.site[layer].empty and not ground.will_be_made(layer)
    ]  # fmt: skip
    can_run = one.name in ground.runs
    if not can_run:
        state = f"cannot run: it needs {'; '.join(lacks)}"
    elif bare:
        state = f"can run, but gives nothing: no rows in {', '.join(bare)}"
    else:
        count = f"{len(said)} thing{'s' * (len(said) != 1)}" if said else "nothing"
        state = f"can run; {count} assumed"
    return AnalysisState(
        name=one.name, title=one.title, question=one.question, can_run=can_run, state=state, lacks=lacks, gaps=own,
        gives=(*one.gives, *one.gives_grids),
    )  # fmt: skip


def _lack(ground: Ground, layer: str, column: str) -> str:
    name, maker = mend.name_of(layer, column), ground.makers.get(layer)
    return f"{name} (from analysis {maker}, which cannot run either)" if maker else name


def _reasons(bad: Sequence[registry.Skipped]) -> list[tuple[str, str]]:
    return [(one.name, one.reason) for one in bad]


def _left_out(name: str, reason: str) -> AnalysisState:
    return AnalysisState(
        name=name, title=name, question="", can_run=False, state=f"left out: {reason}", lacks=(), gaps=(), gives=()
    )
