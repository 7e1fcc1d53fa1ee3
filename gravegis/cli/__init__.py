"""The command line: one subcommand per analysis, generated from its declaration, and a few around them.

Exit code 0: done. 2: something the person can mend, said as problem, place, remedy. 1: our bug.
"""

from __future__ import annotations

import logging
import sys
import traceback
from contextlib import nullcontext
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from gravegis import registry
from gravegis.cli import adding, checking, edits, forms, versions
from gravegis.cli.running import JSON, run_and_write
from gravegis.cli.say import WARNINGS, became_out_of_date, in_words, out_of_date, report_of, what_changed
from gravegis.cli.typed import check_zone, layer_and_file, settings_typed, without_saved
from gravegis.cli.window import window
from gravegis.errors import Cancelled, GravegisError

if TYPE_CHECKING:
    from collections.abc import Sequence

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
    logging.getLogger("gravegis").addHandler(WARNINGS)
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
gravegis.add_command(forms.forms)


@gravegis.command(name="set")
@SITE
@click.option("--title", help="What the site is called on maps and sheets.")
@click.option("--time-zone", help="Such as Australia/Adelaide.")
@click.option("--seed", type=SEED, help="Seed of everything random.")
@click.option("--forget", multiple=True, metavar="ANALYSIS.SETTING", help="A saved setting to forget.")
def set_(site: Path, title: str | None, time_zone: str | None, seed: int | None, forget: tuple[str, ...]) -> None:
    """Change title, time zone or seed of a site, or forget saved settings; without options show them."""
    from gravegis import staleness, store

    check_zone(time_zone or "")
    wanted = {"title": title, "time_zone": time_zone, "seed": seed}
    changes: dict[str, Any] = {name: value for name, value in wanted.items() if value is not None}
    # who only wants to see them is a reader, and readers go on
    with store.locked(site) if changes or forget else nullcontext():
        before = store.load(site)
        info = replace(before.info, **changes)
        done = replace(before, info=info, settings=without_saved(before.settings, forget))
        if changes or forget:
            store.save(done, site)
    click.echo(
        f"title {info.title}; time zone {info.time_zone or 'not said'}; seed {info.seed}; {info.crs or 'no CRS yet'}"
    )
    for analysis, values in done.settings.items():
        click.echo(f"saved: {', '.join(f'{analysis}.{name}={value}' for name, value in values.items())}")
    became_out_of_date(staleness.stale(before), staleness.stale(done), site)


@gravegis.command()
@SITE
@click.argument("wanted", nargs=-1, metavar="[ANALYSIS]...")
@click.option("--set", "typed", multiple=True, metavar="ANALYSIS.SETTING=VALUE", help="Such as wetting.near_m='6 ft'.")
@click.option("--save-settings", is_flag=True, help="Remember what --set says in the site.")
@PAPER
@JSON
def run(
    site: Path, wanted: tuple[str, ...], typed: tuple[str, ...], save_settings: bool, paper: str, json_file: str
) -> None:
    """Run every analysis that has its inputs (or those named), save, and write maps, sheets and tables to out/."""
    run_and_write(site, wanted, settings_typed(typed), paper=paper, save_settings=save_settings, json_file=json_file)


@gravegis.command()
@SITE
def layers(site: Path) -> None:
    """List the layers of a site: rows, columns filled, what each is, and whether it is out of date."""
    from gravegis import staleness, store
    from gravegis.layers import schema

    loaded = store.load(site)
    stale = {one.analysis for one in staleness.stale(loaded)}
    late = {name for record in loaded.log if record.analysis in stale for name in (*record.gives, *record.grids)}
    click.echo(f"{loaded.info.title}, {loaded.info.crs or 'no CRS yet'}")
    for name, frame in loaded.items():
        one = schema.layer(name)
        columns = [c for c in frame.columns if c != "geometry" and frame[c].notna().any()]
        click.echo(f"{one.role:<7}{name:<17}{len(frame):>7} rows  {_late(name, late)}{', '.join(columns)}")
    for name, grid in loaded.grids.items():
        size = f"{grid.values.shape[0]} x {grid.values.shape[1]} cells of {grid.cell_m:g} m"
        click.echo(f"grid   {name:<17}{size}  {_late(name, late)}".rstrip())


def _late(name: str, late: set[str]) -> str:
    return "OUT OF DATE  " if name in late else ""


@gravegis.command()
@SITE
@click.argument("layer")
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
@click.option("--with-names", is_flag=True, help="Include find_me, the short inscriptions.")
def export(site: Path, layer: str, file: Path, with_names: bool) -> None:
    """Write one layer to a file: .csv, .geojson, .gpkg or .shp; results carry the place of their stone."""
    from gravegis import staleness, store
    from gravegis.outputs import exchange

    loaded = store.load(site)
    count = exchange.export_layer(loaded, layer, file, with_names=with_names)
    click.echo(f"{count} rows of {layer} written to {file}.")
    click.echo(f"What was assumed on the way to it stands in {exchange.assumed_with(file)}.")
    makers = {record.analysis for record in loaded.log if layer in record.gives}
    out_of_date([one for one in staleness.stale(loaded) if one.analysis in makers])


for _command in (checking.check, edits.edit, edits.undo, edits.redo, versions.versions, versions.restore, window):
    gravegis.add_command(_command)


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
    run_and_write(made, (), {}, paper=paper)


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
        from gravegis.outputs.help_pictures import help_pictures

        click.echo(registry.load(topic).reference())
        for picture in help_pictures(topic):
            click.echo(f"\nPicture: {picture.file}\n  {picture.words}")


def _command_of(analysis: Analysis[Any]) -> click.Command:
    """Return the subcommand of an analysis, with an option per setting that shows unit, range and source."""

    def callback(site: Path, paper: str, json_file: str, **typed: Any) -> None:  # noqa: ANN401 - made from settings
        given = {name: str(value) for name, value in typed.items() if value is not None}
        run_and_write(site, (analysis.name,), {analysis.name: given}, paper=paper, json_file=json_file)

    command = click.Command(
        analysis.name,
        callback=callback,
        help=f"{analysis.question}\n\n\b\n{analysis.summary()}",
        short_help=analysis.question,
    )
    for wrap in (SITE, PAPER, JSON):
        wrap(command)
    for name, (default, kind) in analysis.kinds().items():
        words = f"{kind.help} {kind.range_text()}; default {default}, from: {kind.source}."
        command.params.append(click.Option([f"--{name.replace('_', '-')}"], metavar="VALUE", help=words))
    return command
