"""Commands that bring files in: look at one, add one as a layer, save how it was read for next time."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from gravegis.cli.say import became_out_of_date, report_of

if TYPE_CHECKING:
    from gravegis.layers.suggest import Look
    from gravegis.site import Site

__all__ = ["add", "look"]

_FILE = click.Path(path_type=Path, dir_okay=False, exists=True)
_OPTIONS = (
    click.option("--column", "mapping", multiple=True, metavar="OURS=THEIRS [UNIT]",
                 help='Which column of the file holds which of ours, such as throw_m="RADIUS ft".'),
    click.option("--mapping", "mapping_file", type=_FILE, help="A mapping saved before."),
    click.option("--save-mapping", type=click.Path(path_type=Path, dir_okay=False),
                 help="Save which column is which, units, words and options, for the next file of this kind."),
    click.option("--crs", metavar="EPSG:...", help="Reference system of the file where it does not say."),
    click.option("--swap-xy", is_flag=True, help="The file has its two coordinates the wrong way round."),
    click.option("--encoding", help="Encoding of a text file or a Shapefile table, such as cp1252."),
    click.option("--file-layer", help="Layer, folder or sheet within the file, where it holds several."),
    click.option("--unit", metavar="m|ft|usft|...", help="Unit of the coordinates, where the file does not say."),
    click.option("--dates", metavar="dmy|mdy", help="Order of days in figures, such as 06/05/2024."),
    click.option("--control", type=_FILE,
                 help="Control points of a local grid: local_x, local_y and lon, lat."),
    click.option("--bearings", metavar="true|magnetic", help="North that bearings in the file are counted from."),
    click.option("--declination", "declination_deg", type=float, metavar="DEGREES",
                 help="How far magnetic north lies east of true north; west is below 0."),
)  # fmt: skip


def _with_options(command: Any) -> Any:  # noqa: ANN401 - a function that click decorates
    for option in reversed(_OPTIONS):
        command = option(command)
    return command


@click.command()
@click.argument("site", type=click.Path(path_type=Path, file_okay=False))
@click.argument("layer")
@click.argument("file", type=click.Path(path_type=Path, exists=True))
@click.option("--more", is_flag=True, help="Add the rows to those that are there, such as those of another visit.")
@_with_options
def add(site: Path, layer: str, file: Path, save_mapping: Path | None, *, more: bool, **options: Any) -> None:  # noqa: ANN401
    """Bring a file in as a layer: tables, spreadsheets, map files, drawings, GPX, KML, or a folder of photos.

    All problems of the file are said at once; the site is changed only if there are none. Results that no longer
    follow are kept, marked out of date and named.
    """
    from gravegis import staleness, store
    from gravegis.layers import bring

    with store.locked(site):
        before = store.load(site)
        done = report_of(bring.bring_in(before, layer, file, **options, more=more), layer, file)
        done = _with_pictures(done, site, layer, file)
        store.save(done, site)
    became_out_of_date(staleness.stale(before), staleness.stale(done), site)
    if save_mapping is not None:
        _save(_look(layer, file, options), save_mapping)


@click.command()
@click.argument("layer")
@click.argument("file", type=click.Path(path_type=Path, exists=True))
@_with_options
def look(layer: str, file: Path, save_mapping: Path | None, **options: Any) -> None:  # noqa: ANN401
    """Show what would become of each column of a file as a layer, and what is only proposed; no site is needed.

    With --save-mapping the table is saved: take the question mark away from a line to accept it, then bring the file
    in with --mapping.
    """
    from gravegis.layers.read.raw import brief, shown

    found = _look(layer, file, options)
    for words in (*found.raw.notes, *found.raw.warnings):
        click.echo(f"  {brief(words)}")
    width = max((len(row.in_file[:40]) for row in found.rows), default=6)
    click.echo(f"\n{'column':<{width}}  {'filled':>6}  {'becomes':<22}  why; examples")
    for row in found.rows:
        becomes = f"{row.becomes}{'' if row.taken or not row.becomes else ' ?'}" + (
            f" [{row.unit}]" if row.unit else ""
        )
        examples = shown(one[:20] for one in row.examples)
        click.echo(f"{shown([row.in_file[:40]]):<{width}}  {row.filled:>6}  {becomes:<22}  {row.why}; {examples}")
    click.echo("\n? is proposed, not taken: name it with --column, or take the mark away in a saved mapping.")
    if empty := _not_found(layer, found):
        click.echo(
            f"Nothing in the file for: {', '.join(empty)}. If it holds them under other names: --column OURS=THEIRS."
        )
    if save_mapping is not None:
        _save(found, save_mapping)


def _not_found(layer: str, found: Look) -> list[str]:
    """Return the columns of the layer that nothing in the file is taken or proposed for."""
    from gravegis.layers import schema

    have = {row.becomes for row in found.rows}
    return [name for name in schema.layer(layer).columns if name not in have]


def _with_pictures(done: Site, folder: Path, layer: str, file: Path) -> Site:
    """Keep the pictures that came with a layer in the site folder, and say which did not come."""
    from gravegis import store
    from gravegis.layers.read.raw import shown

    done, missing = store.photos.keep_all(done, folder, layer, file if file.is_dir() else file.parent)
    if missing:
        click.echo(f"  {len(missing)} pictures are named that are not beside the file: {shown(missing)}")
    return done


def _look(layer: str, file: Path, options: Any) -> Look:  # noqa: ANN401 - the options above
    from gravegis.layers import suggest

    return suggest.look(layer, file, **options)


def _save(found: Look, path: Path) -> None:
    from gravegis.layers import mapping_file

    count = mapping_file.write_mapping(path, found.lines)
    click.echo(f"{count} lines of mapping in {path}; lines whose first word ends in ? are proposals.")
