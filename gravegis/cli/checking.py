"""`gravegis check`: one report over a site, on the terminal, as a page and as JSON."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from gravegis.cli.running import STDOUT, today, write_json

if TYPE_CHECKING:
    from rich.console import Console
    from rich.text import Text

    from gravegis.outputs.check_words import Entry, Section
    from gravegis.report import Report

__all__ = ["check"]

MENDABLE = 2
MOST_WIDE = 120
"""Signs in a line at most, however wide the terminal: longer lines are hard to read (common practice, no source)."""
_LEAST_ROOM = 20
_STYLES = {"bad": "bold red", "doubt": "yellow", "good": "green", "plain": "bold"}


@click.command()
@click.argument("site", type=click.Path(path_type=Path, file_okay=False))
@click.option("--html", type=click.Path(path_type=Path, dir_okay=False), help="Write the report as one page.")
@click.option("--json", "json_file", default="", metavar="FILE", help="The same as JSON; - for standard output, alone.")
def check(site: Path, html: Path | None, json_file: str) -> None:
    """Say what can be answered, what is missing, what is doubtful, and what to measure next; exit code 2 on errors.

    One report: which analyses can run and what each takes instead of what it lacks, most answers first, with the
    command that mends it; remarks on the layers; what was kept as typed; results; the ten next measurements.
    """
    from gravegis import store
    from gravegis.report import report_of

    report = report_of(store.load(site), folder=str(site), made_on=today())
    if html is not None:
        from gravegis.outputs.check_report import page

        html.write_text(page(report), encoding="utf-8", newline="\n")
    if json_file:
        from gravegis.outputs.check_json import report_object

        write_json(report_object(report), json_file)
    if json_file != STDOUT:
        _show(report)
    raise click.exceptions.Exit(MENDABLE if report.errors_n else 0)


def _show(report: Report) -> None:
    from rich.console import Console

    from gravegis.outputs.check_words import facts, remarks, sections, verdict
    from gravegis.outputs.words import one_line

    console = Console(highlight=False, markup=False, emoji=False)
    _say(console, f"{one_line(report.title)}; {facts(report)}", style="bold")
    _say(console, verdict(report))
    _say(console, remarks(report))
    for section in sections(report):
        _show_section(console, section)


def _show_section(console: Console, one: Section) -> None:
    _say(console, "")
    _say(console, one.title if one.title.endswith("?") else f"{one.title}:", style="bold underline")
    if not one.entries:
        _say(console, one.empty, indent=2)
        return
    if one.intro:
        _say(console, one.intro, indent=2, style="dim")
    width = max(len(entry.label) for entry in one.entries)
    for entry in one.entries:
        _show_entry(console, entry, width)


def _show_entry(console: Console, one: Entry, width: int) -> None:
    from rich.text import Text

    # numbers stand right, words left
    label = one.label.rjust(width) if one.label.endswith(".") else one.label.ljust(width)
    _say(console, Text.assemble((label, _STYLES[one.tone]), " ", one.head), hang=width + 1)
    for note in one.notes:
        _say(console, note, indent=4, hang=2)
    if one.command:
        _say(console, f"$ {one.command}", indent=4, hang=2)


def _say(console: Console, what: str | Text, *, indent: int = 0, hang: int = 0, style: str = "") -> None:
    """Print one text: wrapped with hanging lines on a terminal, as one line where a program or a file takes it."""
    from rich.text import Text

    text = Text(what, style=style) if isinstance(what, str) else what
    if not console.is_terminal:
        click.echo(" " * indent + text.plain)
        return
    room = max(min(console.width, MOST_WIDE) - indent - hang, _LEAST_ROOM)
    for place, line in enumerate(text.wrap(console, room)):
        line.rstrip()
        console.print(Text(" " * (indent + (hang if place else 0))) + line, soft_wrap=True)
