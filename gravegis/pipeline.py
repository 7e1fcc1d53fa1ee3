"""Run a plan: each analysis in turn, its result written into a new site and into the log."""

from __future__ import annotations

import datetime as dt
from dataclasses import asdict, dataclass, field
from typing import TYPE_CHECKING, Any

from gravegis import registry, staleness
from gravegis.contract import Job, listed
from gravegis.errors import PluginError
from gravegis.site import ResultRecord, Site

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from gravegis.contract import Analysis, Result
    from gravegis.registry import Plan, Skipped
    from gravegis.staleness import Stale

__all__ = ["Outcome", "Watch", "run", "run_one"]


@dataclass(frozen=True, slots=True)
class Outcome:
    """The site after a run, what ran, what was left out and why, and what became of older results.

    `stale` are results that are kept though they no longer hold, `renewed` those that were out of date and ran again
    because others build on them, `dropped` those that can no longer be worked out at all.
    """

    site: Site
    ran: tuple[str, ...]
    skipped: tuple[Skipped, ...]
    stale: tuple[Stale, ...] = ()
    renewed: tuple[Stale, ...] = ()
    dropped: tuple[Skipped, ...] = ()


@dataclass(frozen=True, slots=True)
class Watch:
    """How a run is watched: progress per analysis, cancelling, and the clock at the edge."""

    report: Callable[[str, float, str], None] = lambda name, share, words: None
    cancelled: Callable[[], bool] = lambda: False
    now: Callable[[], dt.datetime] = field(default=lambda: dt.datetime.now(dt.UTC))


def run(
    site: Site,
    wanted: Sequence[str] = (),
    *,
    typed: Mapping[str, Mapping[str, str]] | None = None,
    watch: Watch | None = None,
) -> Outcome:
    """Run the wanted analyses (all that can run when none is named) and those they build on.

    Older results that no longer hold afterwards are kept and named. Only where an analysis would be run again but
    lacks what it needs, its older result goes: it could never hold again, and nothing new may be built on it.

    Parameters
    ----------
    typed
        Analysis -> setting -> text as typed; it outranks what the site has saved, which outranks the default.

    Raises
    ------
    PlanError, SettingError, PluginError
        Before anything ran where that is possible; the site given is never changed.
    """
    typed, watch = typed or {}, watch or Watch()
    site, plan, dropped = _planned(site, wanted)
    before = staleness.stale(site)
    settings = {name: registry.load(name).read(typed.get(name, {}), site.settings.get(name)) for name in plan.order}
    for name in plan.order:
        site = run_one(site, registry.load(name), settings[name], watch)
    renewed = tuple(one for one in before if wanted and one.analysis in plan.order and one.analysis not in wanted)
    return Outcome(site, plan.order, plan.skipped, staleness.stale(site), renewed, dropped)


def _planned(site: Site, wanted: Sequence[str]) -> tuple[Site, Plan, tuple[Skipped, ...]]:
    """Return the plan, and the site without stale results of analyses in it that lack what they need."""
    dropped: list[Skipped] = []
    while True:
        plan = registry.plan(wanted, site)
        old = {one.analysis for one in staleness.stale(site)}
        gone = [skip for skip in plan.skipped if skip.name in old]
        if not gone:
            return site, plan, tuple(dropped)
        dropped += gone
        for skip in gone:
            site = site.without_result(skip.name)


def run_one(site: Site, analysis: Analysis[Any], settings: object, watch: Watch | None = None) -> Site:
    """Run one analysis and return the site with its result and the line of the log."""
    watch = watch or Watch()
    job = Job(
        seed=site.info.seed,
        report=lambda share, words: watch.report(analysis.name, share, words),
        cancelled=watch.cancelled,
    )
    result = analysis.work(site, settings, job)
    _check_given(analysis, result)
    from gravegis.layers import canonical

    given = {name: canonical.conform(frame, name) for name, frame in result.layers.items()}
    record = ResultRecord(
        analysis=analysis.name,
        version=analysis.version,
        settings=asdict(settings),  # type: ignore[call-overload]
        seed=site.info.seed,
        inputs=staleness.inputs_read(site, analysis),
        gives={name: canonical.content_hash(frame) for name, frame in given.items()},
        grids=tuple(result.grids),
        notes=result.notes,
        assumed=tuple(str(one) for one in result.assumed),
        made_at=watch.now().isoformat(timespec="seconds"),
        tables=staleness.tables_read(analysis),
        facts=staleness.facts_read(site, analysis),
        typed=staleness.one_off(site, analysis, settings),
    )
    return site.with_result(given, result.grids, record)


def _check_given(analysis: Analysis[Any], result: Result) -> None:
    missing = [name for name in analysis.gives if name not in result.layers]
    extra = [name for name in result.layers if name not in analysis.gives]
    extra += [name for name in result.grids if name not in analysis.gives_grids]
    if missing or extra:
        raise PluginError(
            f"{analysis.name} gave what it does not declare: {listed(extra)}; and did not give: {listed(missing)}",
            where=analysis.name,
            remedy="Ask the author of the plugin: what it gives must be what it declares.",
        )
