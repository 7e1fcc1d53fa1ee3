"""Run a plan: each analysis in turn, its result written into a new site and into the log."""

from __future__ import annotations

import datetime as dt
import hashlib
from dataclasses import asdict, dataclass, field
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from gravegis import registry
from gravegis.contract import Job, listed
from gravegis.errors import PluginError
from gravegis.registry import Skipped
from gravegis.site import ResultRecord, Site

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from gravegis.contract import Analysis, Result
    from gravegis.registry import Plan

__all__ = ["Outcome", "Watch", "fresh", "run", "run_one"]


@dataclass(frozen=True, slots=True)
class Outcome:
    """The site after a run, what ran, what was left out and why, and which older results no longer stand."""

    site: Site
    ran: tuple[str, ...]
    skipped: tuple[Skipped, ...]
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
    plan: Plan = registry.plan(wanted, site)
    settings = {name: registry.load(name).read(typed.get(name, {}), site.settings.get(name)) for name in plan.order}
    for name in plan.order:
        site = run_one(site, registry.load(name), settings[name], watch)
    site, dropped = fresh(site)
    return Outcome(site, plan.order, plan.skipped, dropped)


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
        inputs=_input_hashes(site, analysis),
        gives={name: canonical.content_hash(frame) for name, frame in given.items()},
        grids=tuple(result.grids),
        notes=result.notes,
        assumed=tuple(str(one) for one in result.assumed),
        made_at=watch.now().isoformat(timespec="seconds"),
    )
    return site.with_result(given, result.grids, record)


def fresh(site: Site) -> tuple[Site, tuple[Skipped, ...]]:
    """Return the site without results that no longer follow from its layers, and which went and why.

    A result stands as long as every column and geometry its analysis reads holds what it held then. What was worked
    out from a result that went goes too.
    """
    gone: list[Skipped] = []
    while True:
        stale = next(((record, why) for record in site.log if (why := _why_stale(site, record))), None)
        if stale is None:
            return site, tuple(gone)
        record, why = stale
        gone.append(Skipped(record.analysis, why))
        site = site.without_result(record.analysis)


def _why_stale(site: Site, record: ResultRecord) -> str:
    """Return in words why a result no longer stands; empty where it does."""
    try:
        analysis = registry.load(record.analysis)
    except PluginError:
        return "its analysis is not installed here"
    if analysis.version != record.version:
        return "its analysis has changed since"
    now = _input_hashes(site, analysis)
    changed = sorted(name for name in {*now, *record.inputs} if now.get(name) != record.inputs.get(name))
    if changed:
        return f"{', '.join(changed)} changed since"
    return "" if all(name in site for name in record.gives) else "part of it is gone"


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


def _input_hashes(site: Site, analysis: Analysis[Any]) -> dict[str, str]:
    """Return a hash of exactly the columns and geometries the analysis reads, per layer, and of what holds for all."""
    from gravegis.layers import canonical

    hashes = {
        layer: canonical.content_hash(site[layer], columns)
        for layer, columns in analysis.reads().items()
        if layer in site
    }
    facts = f"{site.info.crs} {site.info.time_zone} {site.info.seed}"
    hashes["facts of the site"] = hashlib.sha256(facts.encode()).hexdigest()
    hashes["coefficient tables"] = _tables_hash()
    return hashes


@cache
def _tables_hash() -> str:
    """Return a hash of the vocabularies and coefficient tables that ship with gravegis."""
    digest = hashlib.sha256()
    for folder in ("science", "layers"):
        for table in sorted(files(f"gravegis.{folder}").joinpath("data").iterdir(), key=lambda one: one.name):
            digest.update(table.read_bytes())
    return digest.hexdigest()
