"""Earlier saves of a site: list them, put one back."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import click

from gravegis.cli.say import out_of_date

if TYPE_CHECKING:
    from gravegis.store.versions import Version

__all__ = ["restore", "versions"]

_SITE = click.argument("site", type=click.Path(path_type=Path, file_okay=False))


@click.command()
@_SITE
def versions(site: Path) -> None:
    """List the earlier saves of a site, newest first: when, layers and rows, which results."""
    from gravegis import store
    from gravegis.store import versions as kept

    listed = kept.listing(site)
    if (site / store.GPKG).is_file():
        click.echo(_line("the present one", kept.describe(site / store.GPKG)))
        if edits := store.journal.read(site).standing_n:
            click.echo(f"{'':<35}and {edits} edit{'s' * (edits != 1)} since")
    elif not listed:
        raise kept.no_site(site)
    for one in listed:
        click.echo(_line(one.name, one))
    click.echo(f"{len(listed)} earlier versions; put one back with: gravegis restore {site} VERSION")


@click.command()
@_SITE
@click.argument("version")
def restore(site: Path, version: str) -> None:
    """Put an earlier save back; the present one becomes a version first.

    VERSION is a name from `gravegis versions SITE`, or enough of it to know it by. Maps and sheets in out/ stay as
    they are until you run again.
    """
    from gravegis import staleness, store

    with store.locked(site):
        name = store.restore(site, version)
        stale = staleness.stale(store.load(site))
    click.echo(f"{name} is the site again; what was there is kept as a version.")
    out_of_date(stale)
    click.echo(f"Maps and sheets in {site / 'out'} are not changed by this; to make them anew: gravegis run {site}")


def _line(name: str, version: Version) -> str:
    when = version.saved_at.astimezone(ZoneInfo(version.time_zone)) if version.time_zone else version.saved_at
    head = f"{name:<35}{when:%Y-%m-%d %H:%M:%S} {version.time_zone or 'UTC'}"
    if version.damage:
        return f"{head}  damaged ({version.damage})"
    results = ", ".join(version.results) or "none"
    return f"{head}  {len(version.layers)} layers, {sum(version.layers.values())} rows; results: {results}"
