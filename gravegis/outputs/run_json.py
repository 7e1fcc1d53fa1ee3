"""What a run gave, as one JSON object: answers, settings, what was assumed, layers and files."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from gravegis import registry
from gravegis.contract import Number
from gravegis.errors import PluginError
from gravegis.outputs import words
from gravegis.outputs.assumed_json import assumed_line

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gravegis.outputs.folder import Made
    from gravegis.pipeline import Outcome
    from gravegis.site import ResultRecord, Site

__all__ = ["FORMAT", "run_object"]

FORMAT = "gravegis run 1"
"""Name and version of the form; the number rises when a member changes its meaning or goes."""


def run_object(outcome: Outcome, site: Site, made: Sequence[Made], *, made_on: str) -> dict[str, Any]:
    """Return what ran and what came of it as plain lists and maps.

    Parameters
    ----------
    site
        The site as saved after the run.
    made
        The files written for people.
    made_on
        Day of the run; nothing here reads a clock.
    """
    ran = [record for record in site.log if record.analysis in outcome.ran]
    return {
        "format": FORMAT,
        "title": site.info.title,
        "crs": site.info.crs,
        "crs_basis": site.info.crs_basis,
        "time_zone": site.info.time_zone,
        "made_on": made_on,
        "analyses": [_analysis(site, record) for record in ran],
        "not_run": [{"analysis": one.name, "reason": one.reason} for one in outcome.skipped],
        "dropped": [{"analysis": one.name, "reason": one.reason} for one in outcome.dropped],
        "brought_in": [assumed_line(line) for line in site.info.assumed],
        "assumed_box": list(words.assumed(site, [record.analysis for record in ran])),
        "files": [{"path": str(one.path), "words": one.words} for one in made],
    }


def _analysis(site: Site, record: ResultRecord) -> dict[str, Any]:
    return {
        "analysis": record.analysis,
        "version": record.version,
        "made_at": record.made_at,
        "seed": record.seed,
        "notes": list(record.notes),
        "settings": _settings(record),
        "assumed": [assumed_line(line) for line in record.assumed],
        "layers": [{"layer": name, "rows_n": len(site[name])} for name in record.gives],
        "grids": [_grid(site, name) for name in record.grids],
    }


def _settings(record: ResultRecord) -> list[dict[str, Any]]:
    """Return each setting with its value, and where its analysis is installed also default, unit, range and source."""
    try:
        kinds = registry.load(record.analysis).kinds()
    except PluginError:
        kinds = {}
    out: list[dict[str, Any]] = []
    for name, value in record.settings.items():
        line: dict[str, Any] = {"setting": name, "value": value}
        if name in kinds:
            default, kind = kinds[name]
            unit = kind.unit if isinstance(kind, Number) else ""
            line |= {
                "is_default": value == default, "default": default, "unit": unit, "range": kind.range_text(),
                "meaning": kind.help, "source": kind.source,
            }  # fmt: skip
        out.append(line)
    return out


def _grid(site: Site, name: str) -> dict[str, Any]:
    grid = site.grids[name]
    return {
        "grid": name, "meaning": grid.meaning, "unit": grid.unit, "cell_m": grid.cell_m,
        "rows_n": grid.values.shape[0], "columns_n": grid.values.shape[1],
    }  # fmt: skip
