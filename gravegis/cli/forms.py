"""``gravegis forms``: survey forms to print, and the same as tables to type them into."""

from __future__ import annotations

from pathlib import Path

import click

__all__ = ["forms"]


@click.command()
@click.argument("site", type=click.Path(path_type=Path, file_okay=False))
@click.option("--section", help="Stones of this section only.")
@click.option("--paper", type=click.Choice(["A4", "Letter"]), default="A4", show_default=True)
@click.option("--folder", type=click.Path(path_type=Path, file_okay=False), help="Default: out/forms of the site.")
def forms(site: Path, section: str | None, paper: str, folder: Path | None) -> None:
    """Write the quick and the full survey form, and the form of a zone walk: PDF to print, CSV and XLSX to type into.

    Typed surveys come back with `gravegis add SITE findings FILE --more`, zone walks with `gravegis add SITE
    observations FILE --more`. The same sheet typed twice replaces what it gave before.
    """
    from gravegis import store
    from gravegis.outputs.forms import write_forms
    from gravegis.outputs.walk_form import write_walk

    where = folder or site / "out" / "forms"
    there = store.load(site)
    for file in write_forms(there, where, section=section, paper=paper):
        click.echo(f"{file}")
    walks = write_walk(there, where, paper=paper)
    for file in walks:
        click.echo(f"{file}")
    click.echo("Type what was found into the tables, then: gravegis add SITE findings FILE --more")
    if walks:
        click.echo("Type what was seen while a zone ran, then: gravegis add SITE observations FILE --more")
