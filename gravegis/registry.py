"""Which analyses there are and in which order they run.

Built-in analyses are named here and loaded when asked for; others come from the entry-point group
``gravegis.analyses``. A broken plugin is left out, with the reason.
"""

from __future__ import annotations

import logging
from dataclasses import dataclass
from graphlib import CycleError, TopologicalSorter
from importlib import import_module
from importlib.metadata import entry_points
from typing import TYPE_CHECKING, Any

from gravegis.contract import Analysis
from gravegis.errors import PlanError, PluginError, Problem

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from gravegis.site import Site

__all__ = ["BUILT_IN", "GROUP", "Plan", "Skipped", "analyses", "load", "names", "plan"]

log = logging.getLogger(__name__)
GROUP = "gravegis.analyses"

BUILT_IN = (
    "throw",
    "wetting",
    "coverage",
    "condition",
    "hotspots",
    "clusters",
    "heatmap",
    "evidence",
    "change",
    "worklist",
    "routes",
    "zone_requests",
    "season_plan",
)
"""Names of the built-in analyses, each a module of `gravegis.analyses` with an object ``ANALYSIS``."""


@dataclass(frozen=True, slots=True)
class Skipped:
    """An analysis left out of a run, and why."""

    name: str
    reason: str


@dataclass(frozen=True, slots=True)
class Plan:
    """Analyses in running order, and those left out."""

    order: tuple[str, ...]
    skipped: tuple[Skipped, ...] = ()


def names() -> tuple[str, ...]:
    """Return the names of all analyses, built-in ones first; none is loaded."""
    others = sorted(point.name for point in entry_points(group=GROUP) if point.name not in BUILT_IN)
    return (*BUILT_IN, *others)


def load(name: str) -> Analysis[Any]:
    """Return one analysis; raises PluginError when there is none of this name or it cannot be loaded."""
    if name in BUILT_IN:
        return _checked(import_module(f"gravegis.analyses.{name}").ANALYSIS, name)
    for point in entry_points(group=GROUP):
        if point.name == name:
            return _from_outside(name, point.load)
    raise PluginError(
        f"there is no analysis called '{name}'",
        remedy=f"Analyses: {', '.join(names())}. `gravegis list` explains them.",
    )


def analyses() -> tuple[dict[str, Analysis[Any]], tuple[Skipped, ...]]:
    """Return every analysis that loads, and those that do not, with the reason."""
    good: dict[str, Analysis[Any]] = {}
    bad: list[Skipped] = []
    taken: dict[str, str] = {}
    for name in names():
        try:
            one = load(name)
        except PluginError as error:
            log.warning("analysis %s left out: %s", name, error)
            bad.append(Skipped(name, error.problems[0].problem))
            continue
        double = sorted(layer for layer in one.gives if layer in taken)
        if double:
            bad.append(Skipped(name, f"it gives {', '.join(double)}, which {taken[double[0]]} gives already"))
            continue
        taken |= dict.fromkeys(one.gives, name)
        good[name] = one
    return good, tuple(bad)


def plan(wanted: Sequence[str], site: Site, known: Mapping[str, Analysis[Any]] | None = None) -> Plan:
    """Return the running order of the wanted analyses and of those whose results they need or use.

    Parameters
    ----------
    wanted
        Names; empty for all.
    site
        Its input layers decide what can run.

    Raises
    ------
    PlanError
        When an analysis asked for by name lacks an input, or analyses need each other in a circle.
    """
    pool = dict(known) if known is not None else analyses()[0]
    unknown = [name for name in wanted if name not in pool]
    for name in unknown:
        pool[name] = load(name)
    makers = {layer: name for name, one in pool.items() for layer in one.gives}
    needed = _with_makers(wanted or tuple(pool), pool, makers)
    places = {name: place for place, name in enumerate(pool)}
    order = _sorted({name: _before(pool[name], makers, needed) for name in needed}, places)
    return _possible(order, wanted, site, pool)


def _with_makers(wanted: Sequence[str], pool: Mapping[str, Analysis[Any]], makers: Mapping[str, str]) -> set[str]:
    """Return the wanted analyses and all those that give a layer they need or use."""
    todo, needed = list(wanted), set[str]()
    while todo:
        name = todo.pop()
        if name not in needed:
            needed.add(name)
            todo.extend(makers[layer] for layer in pool[name].reads() if layer in makers)
    return needed


def _before(one: Analysis[Any], makers: Mapping[str, str], needed: set[str]) -> set[str]:
    return {makers[layer] for layer in one.reads() if makers.get(layer) in needed} - {one.name}


def _sorted(graph: Mapping[str, set[str]], places: Mapping[str, int]) -> tuple[str, ...]:
    """Return the names in an order that keeps what builds on what, and else that of the job."""
    sorter = TopologicalSorter(graph)
    try:
        sorter.prepare()
    except CycleError as error:
        circle = " -> ".join(error.args[1])
        raise PlanError(
            f"analyses need each other in a circle: {circle}", remedy="Ask the author of the plugin."
        ) from None
    order: list[str] = []
    ready = list(sorter.get_ready())
    while ready:
        name = min(ready, key=lambda one: places[one])
        ready.remove(name)
        order.append(name)
        sorter.done(name)
        ready.extend(sorter.get_ready())
    return tuple(order)


def _possible(order: Sequence[str], wanted: Sequence[str], site: Site, pool: Mapping[str, Analysis[Any]]) -> Plan:
    """Leave out what lacks an input; that is an error only where it was asked for by name."""
    have = {(layer, column) for layer in site for column in site[layer].columns}
    layers = set(site)
    runs: list[str] = []
    skipped: list[Skipped] = []
    for name in order:
        one = pool[name]
        lacks = [
            layer if layer not in layers else f"{layer}.{column}"
            for layer, columns in one.needs.items()
            for column in (columns or ("",))
            if layer not in layers or (column and (layer, column) not in have)
        ]
        if lacks:
            skipped.append(Skipped(name, f"it needs {', '.join(dict.fromkeys(lacks))}"))
            continue
        runs.append(name)
        layers |= set(one.gives)
        have |= {(layer, column) for layer, columns in one.gives.items() for column in (*columns, "geometry")}
    refused = [skip for skip in skipped if skip.name in wanted]
    if refused:
        raise PlanError.of(
            [
                Problem(
                    f"{skip.name} cannot run: {skip.reason}",
                    "the site",
                    "Add the layer: gravegis add SITE LAYER FILE.",
                )
                for skip in refused
            ]
        )
    return Plan(tuple(runs), tuple(skipped))


def _from_outside(name: str, loader: Any) -> Analysis[Any]:  # noqa: ANN401 - whatever a stranger's entry point gives
    try:
        return _checked(loader(), name)
    except PluginError:
        raise
    except Exception as error:
        raise PluginError(
            f"plugin '{name}' cannot be loaded ({type(error).__name__}: {error})",
            where=GROUP,
            remedy="Update or uninstall the package it comes from.",
        ) from error


def _checked(found: object, name: str) -> Analysis[Any]:
    if not isinstance(found, Analysis) or found.name != name:
        raise PluginError(f"plugin '{name}' is no Analysis of that name", where=GROUP, remedy="Ask its author.")
    from gravegis.layers import schema

    for layer in found.gives:
        if not schema.is_known(layer) or schema.layer(layer).role != "result":
            raise PluginError(
                f"plugin '{name}' gives '{layer}', which is no result layer of the schema", where=GROUP,
                remedy="Give a result layer that stands in gravegis/layers/data/layers.csv.",
            )  # fmt: skip
    return found
