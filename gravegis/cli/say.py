"""What a command says: answers, what was assumed, progress, errors."""

from __future__ import annotations

import logging
import sys
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from gravegis.errors import GravegisError
    from gravegis.site import Site

__all__ = ["WARNINGS", "answers", "in_words", "progress", "report_of", "what_changed"]


class _Warnings(logging.Handler):
    """Says to the person what gravegis noticed on its way: results dropped, a lock taken over, files put aside."""

    def emit(self, record: logging.LogRecord) -> None:
        """Say one."""
        click.echo(f"Note: {record.getMessage()}", err=True)


WARNINGS = _Warnings(logging.WARNING)


def in_words(error: GravegisError) -> str:
    """Return an error with all its problems."""
    count = len(error.problems)
    head = "1 problem" if count == 1 else f"{count} problems"
    return "\n".join([f"{head}; {what_changed(error)}.", *(f"  - {problem}" for problem in error.problems)])


def what_changed(error: BaseException) -> str:
    """Return what an interrupted command left: its own note where it had saved already, else nothing."""
    return next(iter(getattr(error, "__notes__", ())), "nothing was changed")


def answers(site: Site, outcome: Any, say: Callable[[str], None] = click.echo) -> None:  # noqa: ANN401 - pipeline.Outcome
    """Say notes and assumptions of what ran, and what did not and why."""
    from gravegis.outputs.told import told

    for record in site.log:
        if record.analysis in outcome.ran:
            say(f"\n{record.analysis}:")
            for note in record.notes:
                say(f"  {note}")
            for assumed in told(record.assumed):
                say(f"  Assumed - {assumed}")
    for skip in outcome.skipped:
        say(f"\n{skip.name}: not run, {skip.reason}.")
    for drop in outcome.dropped:
        say(f"\n{drop.name}: older results dropped, {drop.reason}.")


def progress() -> Callable[[str, float, str], None]:
    """Return what reports progress: one line that is written over on a terminal, nothing in a file."""
    if not sys.stderr.isatty():
        return lambda name, share, words: None

    def report(name: str, share: float, words: str) -> None:
        click.echo(f"\r{name:<10} {share:4.0%} {words[:60]:<60}", err=True, nl=False)

    return report


def report_of(brought: Any, layer: str, file: Path) -> Site:  # noqa: ANN401 - bring.Brought, imported when needed
    """Print what bringing a file in found out, and return the site with it."""
    site: Site = brought.site
    click.echo(f"{layer}: {len(site[layer])} rows from {file}.")
    for words in (*brought.notes, *brought.warnings, *brought.assumed):
        click.echo(f"  {words}")
    return site
