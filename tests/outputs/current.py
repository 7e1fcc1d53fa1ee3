"""Made-up results as if they had been worked out from the site just now, so that no page takes them for out of date."""

from __future__ import annotations

from dataclasses import asdict, replace
from typing import TYPE_CHECKING

from gravegis import registry, staleness

if TYPE_CHECKING:
    from gravegis.site import ResultRecord, Site


def current(site: Site) -> Site:
    """Return the site with a log that tells what each analysis would read now."""
    return replace(site, log=tuple(_of_now(site, record) for record in site.log))


def _of_now(site: Site, record: ResultRecord) -> ResultRecord:
    analysis = registry.load(record.analysis)
    return replace(
        record,
        version=analysis.version,
        settings={**asdict(analysis.read({}, site.settings.get(record.analysis))), **record.settings},
        inputs=staleness.inputs_read(site, analysis),
        tables=staleness.tables_read(analysis),
        facts=staleness.facts_read(site, analysis),
        typed=tuple(record.settings),
    )
