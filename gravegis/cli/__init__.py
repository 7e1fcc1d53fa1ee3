"""The command line: one subcommand per analysis, generated from its declaration, and a few around them.

Exit code 0: done. 2: something the person can mend, said as problem, place, remedy. 1: our bug.
"""

from __future__ import annotations

import datetime as dt
import logging
import sys
import traceback
from contextlib import nullcontext
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from gravegis import registry
from gravegis.cli import adding, versions
from gravegis.cli.say import answers, in_words, measured_next, progress, report_of, what_changed
from gravegis.cli.typed import check_zone, layer_and_file, settings_typed, without_saved
from gravegis.errors import Cancelled, GravegisError

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from gravegis.contract import Analysis

__all__ = ["main"]

BUG, MENDABLE = 1, 2
SITE = click.argument("site", type=click.Path(path_type=Path, file_okay=False))
SEED = click.IntRange(0, 2**32 - 1)
PAPER = click.option("--paper", type=click.Choice(["A4", "Letter"]), default="A4", show_default=True)


class Commands(click.Group):
    """The commands written here, then one per analysis, loaded when asked for."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return fixed commands in the order of the job, then the analyses in running order."""
        return [*self.commands, *registry.names()]

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Return a command; an analysis becomes one on the spot."""
        if cmd_name in self.commands:
            return self.commands[cmd_name]
        if cmd_name in registry.names():
            return _command_of(registry.load(cmd_name))
        return None


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 110})
@click.option("--debug", type=click.Path(path_type=Path, dir_okay=False), help="Write what happens into this file.")
@click.version_option(package_name="gravegis")
def gravegis(debug: Path | None) -> None:
    """Which gravestones the sprinklers wet, where damage gathers, and which crew walks where today.

    Start with `gravegis demo FOLDER`, or `gravegis new SITE stones=stones.csv heads=heads.csv`, then
    `gravegis run SITE`. All figures are metric; units are understood where they are typed: --near-m "6 ft".
    """
    if debug:
        handler = logging.FileHandler(debug, encoding="utf-8")
        handler.setFormatter(logging.Formatter("%(asctime)s %(name)s %(levelname)s %(message)s"))
        logging.getLogger("gravegis").addHandler(handler)
        logging.getLogger("gravegis").setLevel(logging.DEBUG)


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command line and exit with its code."""
    try:
        code = gravegis.main(args=arguments, prog_name="gravegis", standalone_mode=False)
        sys.exit(code if isinstance(code, int) else 0)
    except GravegisError as error:
        click.echo(f"\n{in_words(error)}", err=True)
        sys.exit(MENDABLE)
    except OSError as error:
        place = f"{error.filename}: " if error.filename else ""
        click.echo(f"\n{place}{error.strerror or error}\nMend name, folder or permission and try again.", err=True)
        sys.exit(MENDABLE)
    except click.ClickException as error:
        error.show()
        sys.exit(MENDABLE)
    except (Cancelled, click.Abort, KeyboardInterrupt) as error:
        click.echo(f"Stopped; {what_changed(error)}.", err=True)
        sys.exit(MENDABLE)
    except Exception as error:  # noqa: BLE001 - the last line of defence: say that it is our bug and show where
        click.echo(f"{traceback.format_exc()}\nThis is a bug in gravegis; {what_changed(error)}.", err=True)
        sys.exit(BUG)


@gravegis.command()
@SITE
@click.argument("files", nargs=-1, metavar="[LAYER=FILE]...")
@click.option("--title", help="What the site is called on maps and sheets; default: name of the folder.")
@click.option("--time-zone", default="", help="Such as Australia/Adelaide; asked for, never guessed.")
@click.option("--seed", type=SEED, default=1, show_default=True, help="Seed of everything random.")
@click.option(
    "--crs", "site_crs", default="", metavar="EPSG:...", help="Metric reference system; default: from the data."
)
def new(site: Path, files: tuple[str, ...], title: str | None, time_zone: str, seed: int, site_crs: str) -> None:
    """Make a site folder, with layers brought in at once: stones=stones.csv heads=heads.csv."""
    from gravegis import store
    from gravegis.layers import bring, place
    from gravegis.site import Site, SiteInfo

    check_zone(time_zone)
    crs = place.metric_crs(site_crs) if site_crs else ""
    made = Site(SiteInfo(title or site.resolve().name, crs, "typed" if crs else "", time_zone, seed=seed))
    store.refuse_if_there(site)
    with store.locked(site, make=True):
        store.refuse_if_there(site)
        for layer, file in (layer_and_file(one) for one in files):
            made = report_of(bring.bring_in(made, layer, file), layer, file)
        store.save(made, site)
    click.echo(f"Made {site} ({made.info.title}). Next: gravegis run {site}")


gravegis.add_command(adding.add)
gravegis.add_command(adding.look)


@gravegis.command(name="set")
@SITE
@click.option("--title", help="What the site is called on maps and sheets.")
@click.option("--time-zone", help="Such as Australia/Adelaide.")
@click.option("--seed", type=SEED, help="Seed of everything random.")
@click.option("--forget", multiple=True, metavar="ANALYSIS.SETTING", help="A saved setting to forget.")
def set_(site: Path, title: str | None, time_zone: str | None, seed: int | None, forget: tuple[str, ...]) -> None:
    """Change title, time zone or seed of a site, or forget saved settings; without options show them."""
    from gravegis import pipeline, store

    check_zone(time_zone or "")
    wanted = {"title": title, "time_zone": time_zone, "seed": seed}
    changes: dict[str, Any] = {name: value for name, value in wanted.items() if value is not None}
    # who only wants to see them is a reader, and readers go on
    with store.locked(site) if changes or forget else nullcontext():
        before = store.load(site)
        info = replace(before.info, **changes)
        done, dropped = pipeline.fresh(replace(before, info=info, settings=without_saved(before.settings, forget)))
        if changes or forget:
            store.save(done, site)
    click.echo(
        f"title {info.title}; time zone {info.time_zone or 'not said'}; seed {info.seed}; {info.crs or 'no CRS yet'}"
    )
    for analysis, values in done.settings.items():
        click.echo(f"saved: {', '.join(f'{analysis}.{name}={value}' for name, value in values.items())}")
    then = "and are dropped" if changes or forget else "and will be dropped when the site is saved next"
    for one in dropped:
        click.echo(f"the results of {one.name} no longer stand ({one.reason}) {then}")


@gravegis.command()
@SITE
def check(site: Path) -> None:
    """Say what is wrong or doubtful in the layers of a site, and what to measure next; exit code 2 on errors."""
    from gravegis import store
    from gravegis.layers import ask
    from gravegis.layers import check as checks

    loaded = store.load(site)
    found = checks.check_site(loaded)
    for one in found:
        click.echo(f"{one.severity}: {one.problem}")
    errors = sum(one.severity == "error" for one in found)
    click.echo(f"{len(found)} remarks, {errors} of them errors.")
    measured_next(ask.next_measurements(loaded))
    raise click.exceptions.Exit(MENDABLE if errors else 0)


@gravegis.command()
@SITE
@click.argument("wanted", nargs=-1, metavar="[ANALYSIS]...")
@click.option("--set", "typed", multiple=True, metavar="ANALYSIS.SETTING=VALUE", help="Such as wetting.near_m='6 ft'.")
@click.option("--save-settings", is_flag=True, help="Remember what --set says in the site.")
@PAPER
def run(site: Path, wanted: tuple[str, ...], typed: tuple[str, ...], save_settings: bool, paper: str) -> None:
    """Run every analysis that has its inputs (or those named), save, and write maps, sheets and tables to out/."""
    _run_and_write(site, wanted, settings_typed(typed), paper=paper, save_settings=save_settings)


@gravegis.command()
@SITE
def layers(site: Path) -> None:
    """List the layers of a site: rows, columns filled, and what each is."""
    from gravegis import store
    from gravegis.layers import schema

    loaded = store.load(site)
    click.echo(f"{loaded.info.title}, {loaded.info.crs or 'no CRS yet'}")
    for name, frame in loaded.items():
        one = schema.layer(name)
        columns = [c for c in frame.columns if c != "geometry" and frame[c].notna().any()]
        click.echo(f"{one.role:<7}{name:<17}{len(frame):>7} rows  {', '.join(columns)}")
    for name, grid in loaded.grids.items():
        click.echo(f"grid   {name:<17}{grid.values.shape[0]} x {grid.values.shape[1]} cells of {grid.cell_m:g} m")


@gravegis.command()
@SITE
@click.argument("layer")
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
@click.option("--with-names", is_flag=True, help="Include find_me, the short inscriptions.")
def export(site: Path, layer: str, file: Path, with_names: bool) -> None:
    """Write one layer to a file: .csv, .geojson, .gpkg or .shp; results carry the place of their stone."""
    from gravegis import store
    from gravegis.outputs import exchange

    count = exchange.export_layer(store.load(site), layer, file, with_names=with_names)
    click.echo(f"{count} rows of {layer} written to {file}.")


gravegis.add_command(versions.versions)
gravegis.add_command(versions.restore)


@gravegis.command(name="list")
def list_() -> None:
    """List the analyses: what each answers, needs and gives."""
    good, bad = registry.analyses()
    for one in good.values():
        click.echo(f"{one.name:<11}{one.question}\n{'':<11}needs {', '.join(one.needs)}; gives {', '.join(one.gives)}")
    for skip in bad:
        click.echo(f"{skip.name:<11}left out: {skip.reason}")


@gravegis.command()
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False), default=Path("demo_site"))
@click.option("--layers", "source", type=click.Path(path_type=Path, exists=True), help="Folder of the sample layers.")
@PAPER
def demo(folder: Path, source: Path | None, paper: str) -> None:
    """Run the whole job on the sample site and say what to open."""
    from gravegis import sample, store

    source = source or sample.find()
    with store.locked(folder, make=True):
        made = sample.build(source, folder, say=click.echo)
    _run_and_write(made, (), {}, paper=paper, save_settings=False)


@gravegis.command(name="help")
@click.argument("topic", required=False)
@click.pass_context
def help_(ctx: click.Context, topic: str | None) -> None:
    """Explain an analysis: its question, method, settings with their sources, what it reads and gives."""
    parent = ctx.parent or ctx
    if topic is None:
        click.echo(parent.get_help())
    elif topic in gravegis.commands:
        click.echo(
            gravegis.commands[topic].get_help(click.Context(gravegis.commands[topic], parent=parent, info_name=topic))
        )
    else:
        click.echo(registry.load(topic).reference())


def _command_of(analysis: Analysis[Any]) -> click.Command:
    """Return the subcommand of an analysis, with an option per setting that shows unit, range and source."""

    def callback(site: Path, paper: str, **typed: Any) -> None:  # noqa: ANN401 - options generated from the settings
        given = {name: str(value) for name, value in typed.items() if value is not None}
        _run_and_write(site, (analysis.name,), {analysis.name: given}, paper=paper, save_settings=False)

    command = click.Command(
        analysis.name,
        callback=callback,
        help=f"{analysis.question}\n\n\b\n{analysis.summary()}",
        short_help=analysis.question,
    )
    for wrap in (SITE, PAPER):
        wrap(command)
    for name, (default, kind) in analysis.kinds().items():
        words = f"{kind.help} {kind.range_text()}; default {default}, from: {kind.source}."
        command.params.append(click.Option([f"--{name.replace('_', '-')}"], metavar="VALUE", help=words))
    return command


def _run_and_write(
    folder: Path, wanted: tuple[str, ...], typed: Mapping[str, Mapping[str, str]], *, paper: str, save_settings: bool
) -> None:
    from gravegis import pipeline, store
    from gravegis.outputs import folder as out

    # held until the pages are written: those in out/ belong to the site that was saved
    with store.locked(folder):
        site = store.load(folder)
        outcome = pipeline.run(site, wanted, typed=typed, watch=pipeline.Watch(report=progress()))
        done = outcome.site
        for name in typed if save_settings else ():
            done = done.with_settings(name, {**done.settings.get(name, {}), **typed[name]})
        store.save(done, folder)
        answers(done, outcome)
        for name in sorted(set(typed) - set(outcome.ran)):
            click.echo(f"\n{name}: its settings were not used, it did not run.")
        today = dt.datetime.now().astimezone().date().isoformat()
        try:
            made = out.write_all(done, folder / "out", made_on=today, paper=paper)
        except BaseException as error:
            error.add_note(f"the results are saved, maps and sheets in {folder / 'out'} are those of an earlier run")
            raise
        click.echo(f"\n{len(made)} files in {folder / 'out'}.")
        for place, one in enumerate(out.open_first(made)):
            click.echo(f"{'' if place else 'Open first:' + chr(10)}  {one.path}  {one.words}")
