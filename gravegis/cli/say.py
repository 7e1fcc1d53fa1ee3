"""What a command says: answers, what was assumed, progress, errors."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from pathlib import Path

    from gravegis.errors import GravegisError
    from gravegis.layers.ask import Measurement
    from gravegis.site import Site
    from gravegis.staleness import Stale

__all__ = [
    "answers",
    "became_out_of_date",
    "in_words",
    "measured_next",
    "out_of_date",
    "progress",
    "report_of",
    "what_changed",
]


def in_words(error: GravegisError) -> str:
    """Return an error with all its problems."""
    count = len(error.problems)
    head = "1 problem" if count == 1 else f"{count} problems"
    return "\n".join([f"{head}; {what_changed(error)}.", *(f"  - {problem}" for problem in error.problems)])


def what_changed(error: BaseException) -> str:
    """Return what an interrupted command left: its own note where it had saved already, else nothing."""
    return next(iter(getattr(error, "__notes__", ())), "nothing was changed")


def answers(site: Site, outcome: Any) -> None:  # noqa: ANN401 - pipeline.Outcome, imported when needed
    """Print notes and assumptions of what ran, and what did not and why."""
    from gravegis.outputs.told import told

    for record in site.log:
        if record.analysis in outcome.ran:
            click.echo(f"\n{record.analysis}:")
            for note in record.notes:
                click.echo(f"  {note}")
            for assumed in told(record.assumed):
                click.echo(f"  Assumed - {assumed}")
    for words in _left_or_late(outcome):
        click.echo(f"\n{words}.")
    if outcome.stale:
        click.echo("")
    out_of_date(outcome.stale)


def _left_or_late(outcome: Any) -> Iterator[str]:  # noqa: ANN401 - pipeline.Outcome, imported when needed
    """Give what did not run, what ran though nobody asked for it, and what went."""
    for skip in outcome.skipped:
        yield f"{skip.name}: not run, {skip.reason}"
    for one in outcome.renewed:
        yield f"{one.analysis}: was out of date ({'; '.join(one.reasons)}) and was worked out again first"
    for drop in outcome.dropped:
        yield f"{drop.name}: its older result can never hold again and is dropped, {drop.reason}"


def out_of_date(found: Sequence[Stale]) -> None:
    """Print the results that no longer hold, and why."""
    for one in found:
        click.echo(f"OUT OF DATE: {one}.")


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


def measured_next(asked: Sequence[Measurement]) -> None:
    """Print what to measure or ask next, with the number of stones it bears on."""
    if not asked:
        return
    click.echo("\nMeasure or ask next, by how many stones hang on it (own rule):")
    for place, one in enumerate(asked, 1):
        waits = f"; for {one.waits_for}" if one.waits_for else ""
        click.echo(f"{place:>3}. {one.words} ({one.changes_n} stone{'s' * (one.changes_n != 1)}{waits})")


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
