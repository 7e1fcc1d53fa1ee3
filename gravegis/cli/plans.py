"""The day plan against an earlier one."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from gravegis.errors import PlanError, SettingError

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from gravegis.outputs.plan_change import Change, Place
    from gravegis.site import Site

__all__ = ["plan_change"]

_COLUMNS = ("day", "crew_id", "seq", "stone_id")


@click.command(name="plan_change")
@click.argument("site", type=click.Path(path_type=Path, file_okay=False))
@click.argument("earlier", required=False)
@click.option("--to", type=click.Path(path_type=Path, dir_okay=False), help="Write it to a .pdf or a .csv file.")
def plan_change(site: Path, earlier: str | None, to: Path | None) -> None:
    """Say what changed in the day plan: stones that are new, fell out, changed crew, day or order.

    EARLIER is a name from `gravegis versions SITE` (or enough of it to know it by), or a stops.csv kept from an
    earlier run; without it, the newest earlier save with another plan.
    """
    from gravegis import store
    from gravegis.outputs import plan_change as change

    if to is not None and to.suffix.lower() not in _WRITERS:
        raise SettingError(f"'{to.name}' is neither a .pdf nor a .csv file.", where="--to")
    loaded = store.load(site)
    if not loaded.has("stops"):
        raise PlanError("there is no day plan", where=str(site), remedy=f"Make one: gravegis run {site} routes .")
    now = change.places_of_rows(loaded["stops"][list(_COLUMNS)].itertuples(index=False))
    since, before = _earlier(site, earlier, now)
    why = {}
    if loaded.has("unplanned"):
        why = dict(zip(loaded["unplanned"]["stone_id"], loaded["unplanned"]["detail"].fillna(""), strict=True))
    changes = change.compare(before, now, why)
    for line in change.in_words(changes, len(now), since):
        click.echo(line)
    for row in change.rows(changes):
        click.echo(
            f"  {row['stone_id']:<12}{row['change']:<12}{row['before'] or '-'} -> {row['now'] or row['why'] or '-'}"
        )
    if to is not None:
        _WRITERS[to.suffix.lower()](loaded, to, changes, (len(now), since))
        click.echo(f"Written to {to}.")


def _earlier(site: Path, wanted: str | None, now: Mapping[str, Place]) -> tuple[str, dict[str, Place]]:
    """Return what the earlier plan is called, and its places."""
    from gravegis.outputs import plan_change as change
    from gravegis.store import versions

    if wanted and Path(wanted).suffix.lower() == ".csv":
        return Path(wanted).name, change.places_of_csv(Path(wanted))
    files = [versions.find(site, wanted)] if wanted else [one.file for one in versions.listing(site) if not one.damage]
    for file in files:
        before = change.places_of_rows(versions.cells(file, "stops", _COLUMNS))
        if wanted or (before and before != now):
            return f"the save of {versions.describe(file, name=file.stem).saved_at:%Y-%m-%d %H:%M} UTC", before
    raise PlanError(
        "no earlier save holds another day plan", where=str(site),
        remedy="Name a stops.csv kept from an earlier run.",
    )  # fmt: skip


def _pdf(site: Site, to: Path, changes: Sequence[Change], about: tuple[int, str]) -> None:
    from gravegis.outputs import plan_change as change

    to.write_bytes(change.page(site, changes, *about))


def _csv(site: Site, to: Path, changes: Sequence[Change], about: tuple[int, str]) -> None:
    from gravegis.outputs import cells
    from gravegis.outputs import plan_change as change

    del site, about
    cells.write_csv(
        to, [list(change.COLUMNS), *([cells.harmless(one) for one in row.values()] for row in change.rows(changes))]
    )


_WRITERS: dict[str, Callable[[Site, Path, Sequence[Change], tuple[int, str]], None]] = {".pdf": _pdf, ".csv": _csv}
