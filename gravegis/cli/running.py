"""Run, save, write what people open, and say it: the road of `run`, `demo` and of every analysis as a command."""

from __future__ import annotations

import datetime as dt
import json
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from gravegis.cli.say import answers, progress

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from gravegis.outputs.folder import Made

__all__ = ["JSON", "STDOUT", "run_and_write", "today", "write_json"]

STDOUT = "-"
"""What stands for the standard output where a file is asked for."""
JSON = click.option(
    "--json", "json_file", default="", metavar="FILE",
    help="Write answers, settings, assumptions and files as one JSON object; - for the standard output.",
)  # fmt: skip


def today() -> str:
    """Return the day here, for what is printed on pages."""
    return dt.datetime.now().astimezone().date().isoformat()


def write_json(made: Mapping[str, Any], file: str) -> None:
    """Write one JSON object to a file, or to the standard output; only ASCII, so that any terminal can take it."""
    text = json.dumps(made, indent=2, allow_nan=False) + "\n"
    if file == STDOUT:
        click.echo(text, nl=False)
    else:
        Path(file).write_text(text, encoding="ascii")


def run_and_write(
    folder: Path,
    wanted: tuple[str, ...],
    typed: Mapping[str, Mapping[str, str]],
    *,
    paper: str,
    save_settings: bool = False,
    json_file: str = "",
) -> None:
    """Run analyses on a site folder, save it, write maps, sheets and tables, and say what came of it.

    Where the JSON object goes to the standard output, everything else that is said goes to the error output.
    """
    from gravegis import pipeline, store
    from gravegis.outputs import folder as out
    from gravegis.outputs.run_json import run_object

    say: Callable[[str], None] = partial(click.echo, err=json_file == STDOUT)
    # held until the pages are written: those in out/ belong to the site that was saved
    with store.locked(folder):
        site = store.load(folder)
        # saved first, so that what is typed is not taken for the settings of this run alone
        for name in typed if save_settings else ():
            site = site.with_settings(name, {**site.settings.get(name, {}), **typed[name]})
        outcome = pipeline.run(site, wanted, typed=typed, watch=pipeline.Watch(report=progress()))
        done = outcome.site
        store.save(done, folder)
        answers(done, outcome, say)
        for name in sorted(set(typed) - set(outcome.ran)):
            say(f"\n{name}: its settings were not used, it did not run.")
        made_on = today()
        try:
            made = out.write_all(done, folder / "out", made_on=made_on, paper=paper)
        except BaseException as error:
            error.add_note(f"the results are saved, maps and sheets in {folder / 'out'} are those of an earlier run")
            raise
    _say_files(made, folder / "out", say)
    if json_file:
        write_json(run_object(outcome, done, made, made_on=made_on), json_file)


def _say_files(made: list[Made], folder: Path, say: Callable[[str], None]) -> None:
    from gravegis.outputs import folder as out

    say(f"\n{len(made)} files in {folder}.")
    for place, one in enumerate(out.open_first(made)):
        say(f"{'' if place else 'Open first:' + chr(10)}  {one.path}  {one.words}")
