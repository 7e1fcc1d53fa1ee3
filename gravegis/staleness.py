"""Which results no longer follow from what they were worked out from, and why, in words.

A result holds as long as every column and geometry its analysis reads, every table of coefficients it looks things up
in and every fact of the site holds what it held then, no saved setting differs from the one it was made with, and
the results it was built on hold too. Results that do not hold are kept and marked, never shown as if they did.
"""

from __future__ import annotations

import hashlib
from dataclasses import asdict, dataclass
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from gravegis import registry
from gravegis.errors import PluginError, SettingError
from gravegis.layers.naming import column_in_words, layer_in_words

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from gravegis.contract import Analysis
    from gravegis.site import ResultRecord, Site

__all__ = [
    "NOT_INSTALLED", "Stale", "facts_read", "inputs_read", "one_off", "stale", "table_hashes", "tables_read",
    "title_of", "traced",
]  # fmt: skip

NOT_INSTALLED = "its analysis is not installed here, so nobody can tell whether it still holds"
MOST_COLUMNS = 3
"""Columns of one layer that are named one by one; own choice."""
_FACTS = {
    "crs": "reference system of the site",
    "time_zone": "time zone of the site",
    "seed": "seed of everything random",
}


@dataclass(frozen=True, slots=True)
class Stale:
    """A result that no longer holds: what changed since, in words, and the out-of-date results it was built on."""

    analysis: str
    changed: tuple[str, ...] = ()
    built_on: tuple[str, ...] = ()

    @property
    def reasons(self) -> tuple[str, ...]:
        """Why it no longer holds, a clause each."""
        return (*self.changed, *(f"built on {title_of(one)}, which is out of date" for one in self.built_on))

    def __str__(self) -> str:
        return f"{title_of(self.analysis)} ({self.analysis}): {'; '.join(self.reasons)}"


def stale(site: Site) -> tuple[Stale, ...]:
    """Return the results of a site that no longer hold, in the order of the results log."""
    makers = {layer: record.analysis for record in site.log for layer in record.gives}
    own = {record.analysis: _own_reasons(site, record, makers) for record in site.log}
    builds = {record.analysis: _builds_on(record, makers) for record in site.log}
    gone = {name for name, reasons in own.items() if reasons}
    while more := {name for name in own if name not in gone and gone & builds[name]}:
        gone |= more
    return tuple(
        Stale(name, own[name], tuple(one for one in own if one in gone & builds[name])) for name in own if name in gone
    )


def traced(found: Iterable[Stale], names: Iterable[str]) -> tuple[Stale, ...]:
    """Return those of the results named that are stale, and all stale ones they were built on, nearest first."""
    by_name, out, todo = {one.analysis: one for one in found}, dict[str, Stale](), list(names)
    while todo:
        name = todo.pop(0)
        if name in by_name and name not in out:
            out[name] = by_name[name]
            todo.extend(by_name[name].built_on)
    return tuple(out.values())


def title_of(analysis: str) -> str:
    """Return the title of an analysis; its name where it is not installed."""
    try:
        return registry.load(analysis).title
    except PluginError:
        return analysis


def inputs_read(site: Site, analysis: Analysis[Any]) -> dict[str, str]:
    """Return rows per layer and a hash per column that an analysis reads; nothing for what is not there."""
    read: dict[str, str] = {}
    for layer, columns in analysis.reads().items():
        if layer in site:
            read[layer] = str(site.rows_n(layer))
            hashes = {f"{layer}.{column}": site.column_hash(layer, column) for column in columns}
            read |= {name: value for name, value in hashes.items() if value}
    return read


def tables_read(analysis: Analysis[Any]) -> dict[str, str]:
    """Return a hash per table of coefficients or words that an analysis looks things up in."""
    every = table_hashes()
    return {name: every.get(name, "") for name in (every if analysis.tables is None else analysis.tables)}


def facts_read(site: Site, analysis: Analysis[Any]) -> dict[str, object]:
    """Return what an analysis reads of the site as a whole."""
    return {name: getattr(site.info, name) for name in analysis.facts}


def one_off(site: Site, analysis: Analysis[Any], settings: object) -> tuple[str, ...]:
    """Return the settings of a run that differ from what the site says: those typed for this run only."""
    usual, used = asdict(analysis.read({}, site.settings.get(analysis.name))), asdict(settings)  # type: ignore[call-overload]
    return tuple(name for name, value in used.items() if value != usual[name])


@cache
def table_hashes() -> Mapping[str, str]:
    """Return a hash of every table that ships with gravegis, by its name."""
    folder = files("gravegis.science").joinpath("data")
    tables = sorted((one for one in folder.iterdir() if one.name.endswith(".csv")), key=lambda one: one.name)
    return {one.name.removesuffix(".csv"): hashlib.sha256(one.read_bytes()).hexdigest() for one in tables}


def _builds_on(record: ResultRecord, makers: Mapping[str, str]) -> set[str]:
    """Return the analyses whose results a result was built on, from what its record says it read."""
    return {makers[layer] for layer in record.inputs if layer in makers} - {record.analysis}


def _own_reasons(site: Site, record: ResultRecord, makers: Mapping[str, str]) -> tuple[str, ...]:
    """Return why a result no longer holds, but for the results it was built on."""
    try:
        analysis = registry.load(record.analysis)
    except PluginError:
        return (NOT_INSTALLED,)
    return tuple(
        dict.fromkeys(
            (
                *_method(analysis, record),
                *_inputs(record.inputs, inputs_read(site, analysis), makers),
                *_tables(record.tables, tables_read(analysis)),
                *_facts(record.facts, facts_read(site, analysis)),
                *_settings(site, analysis, record),
                *_parts(site, record),
            )
        )
    )


def _method(analysis: Analysis[Any], record: ResultRecord) -> tuple[str, ...]:
    if analysis.version == record.version:
        return ()
    return (f"the method has changed since (version {record.version} then, {analysis.version} now)",)


def _inputs(then: Mapping[str, str], now: Mapping[str, str], makers: Mapping[str, str]) -> list[str]:
    """Return what changed in the layers read, a clause per layer, or per analysis where layers are results."""
    every = dict.fromkeys((*now, *then))
    differ = [name for name in every if then.get(name) != now.get(name)]
    clauses: list[str] = []
    for layer in dict.fromkeys(name.partition(".")[0] for name in differ):
        columns = [name.partition(".")[2] for name in differ if name.startswith(f"{layer}.")]
        if layer in then and layer in now and layer in makers:
            clauses.append(f"{title_of(makers[layer])}: worked out again since, with another result")
        else:
            clauses.append(_layer(layer_in_words(layer), then.get(layer), now.get(layer)) or _columns(layer, columns))
    return clauses


def _layer(name: str, then: str | None, now: str | None) -> str:
    """Return in words how the rows of a layer differ; empty where there are as many."""
    if then == now:
        return ""
    if then is None:
        return f"{name}: not there then, there now"
    return f"{name}: gone since" if now is None else f"{name}: {then} rows then, {now} now"


def _columns(layer: str, columns: list[str]) -> str:
    said = list(dict.fromkeys(_column(layer, column) for column in columns))
    more = f" and {len(said) - MOST_COLUMNS} more" if len(said) > MOST_COLUMNS else ""
    return f"{layer_in_words(layer)}: {', '.join(said[:MOST_COLUMNS])}{more} changed since"


def _column(layer: str, column: str) -> str:
    return "place on the ground" if column == "geometry" else column_in_words(layer, column)


def _tables(then: Mapping[str, str], now: Mapping[str, str]) -> list[str]:
    changed = sorted(name for name in {*then, *now} if then.get(name) != now.get(name))
    return [f"table of {name.replace('_', ' ')} ({name}.csv): changed since" for name in changed]


def _facts(then: Mapping[str, object], now: Mapping[str, object]) -> list[str]:
    changed = [name for name in dict.fromkeys((*now, *then)) if then.get(name) != now.get(name)]
    return [f"{_FACTS.get(name, name)}: {_shown(then.get(name))} then, {_shown(now.get(name))} now" for name in changed]


def _settings(site: Site, analysis: Analysis[Any], record: ResultRecord) -> list[str]:
    """Return the settings that the site has now and the result was not made with.

    A setting typed for one run counts as that run's own, until the site has another one saved.
    """
    saved = site.settings.get(analysis.name, {})
    try:
        now = asdict(analysis.read({}, saved))
    except SettingError:
        return ["its saved settings can no longer be read"]
    return [
        f"setting {name}: made with {_shown(record.settings.get(name))}, "
        f"{'saved is' if name in saved else 'usual is'} {_shown(value)}"
        for name, value in now.items()
        if record.settings.get(name) != value and (name in saved or name not in record.typed)
    ]


def _shown(value: object) -> str:
    return "nothing" if value in ("", None) else f"{value:g}" if isinstance(value, float) else str(value)


def _parts(site: Site, record: ResultRecord) -> list[str]:
    """Return which parts of a result are gone."""
    layers = [layer_in_words(name) for name in record.gives if name not in site]
    grids = [name.replace("_", " ") for name in record.grids if name not in site.grids]
    return [f"{one}: this part of it is gone" for one in (*layers, *grids)]
