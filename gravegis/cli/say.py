"""What a command says: answers, what was assumed, progress, errors."""

from __future__ import annotations

import logging
import sys
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from pathlib import Path

    from gravegis.errors import GravegisError
    from gravegis.site import Site
    from gravegis.staleness import Stale

__all__ = [
    "WARNINGS",
    "answers",
    "became_out_of_date",
    "in_words",
    "out_of_date",
    "progress",
    "report_of",
    "what_changed",
]


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
    """Print the answers of what ran, what was assumed, what did not run, and what is out of date."""
    from gravegis.outputs.told import told

    for record in site.log:
        if record.analysis in outcome.ran:
            say(f"\n{record.analysis}:")
            for note in record.notes:
                say(f"  {note}")
            for assumed in told(record.assumed):
                say(f"  Assumed - {assumed}")
    for words in _left_or_late(outcome):
        say(f"\n{words}.")
    if outcome.stale:
        say("")
    out_of_date(outcome.stale, say)


def _left_or_late(outcome: Any) -> Iterator[str]:  # noqa: ANN401 - pipeline.Outcome, imported when needed
    """Give what did not run, what ran though nobody asked for it, and what went."""
    for skip in outcome.skipped:
        yield f"{skip.name}: not run, {skip.reason}"
    for one in outcome.renewed:
        yield f"{one.analysis}: was out of date ({'; '.join(one.reasons)}) and was worked out again first"
    for drop in outcome.dropped:
        yield f"{drop.name}: its older result can never hold again and is dropped, {drop.reason}"


def out_of_date(found: Sequence[Stale], say: Callable[[str], None] = click.echo) -> None:
    """Print the results that no longer hold, and why."""
    for one in found:
        say(f"OUT OF DATE: {one}.")


def became_out_of_date(before: Sequence[Stale], after: Sequence[Stale], folder: Path) -> None:
    """Print which results a change put out of date, and that pages made earlier do not know of it."""
    out_of_date([one for one in after if one not in before])
    same = [one.analysis for one in after if one in before]
    if same:
        click.echo(f"Out of date as before: {', '.join(same)}.")
    if after:
        click.echo(
            f"They are kept. Maps and sheets in {folder / 'out'} were made before and carry no mark of this: "
            f"gravegis run {folder}"
        )


def progress() -> Callable[[str, float, str], None]:
    """Return what reports progress: one line that is written over on a terminal, nothing in a file."""
    if not sys.stderr.isatty():
        return lambda name, share, words: None

    def report(name: str, share: float, words: str) -> None:
        click.echo(f"\r{name:<10} {share:4.0%} {words[:60]:<60}", err=True, nl=False)

    return report


def report_of(brought: Any, layer: str, file: Path) -> Site:  # noqa: ANN401 - bring.Brought, imported when needed
    """Print what bringing a file in found out, and return the site with it."""
    from gravegis.layers.read.raw import many

    site: Site = brought.site
    click.echo(f"{layer}: {many(len(site[layer]), 'row')} from {file}.")
    for words in (*brought.notes, *brought.warnings, *brought.assumed):
        click.echo(f"  {words}")
    return site
