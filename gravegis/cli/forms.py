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
    """Write the quick and the full survey form: PDF to print, CSV and XLSX to type into.

    Typed forms come back with `gravegis add SITE findings FILE --more`.
    """
    from gravegis import store
    from gravegis.outputs.forms import write_forms

    where = folder or site / "out" / "forms"
    for file in write_forms(store.load(site), where, section=section, paper=paper):
        click.echo(f"{file}")
    click.echo("Type what was found into the tables, then: gravegis add SITE findings FILE --more")
