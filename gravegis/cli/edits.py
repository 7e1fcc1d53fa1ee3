"""Edit one row of a site, take the last edit back, make it again."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from gravegis.errors import SettingError, StoreError

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gravegis.edits import AnyEdit
    from gravegis.site import Site
    from gravegis.store.journal import Journal

__all__ = ["edit", "redo", "undo"]

_SITE = click.argument("site", type=click.Path(path_type=Path, file_okay=False))


@click.command()
@_SITE
@click.argument("layer")
@click.argument("id_", metavar="ID")
@click.argument("values", nargs=-1, metavar="[COLUMN=VALUE]...")
@click.option("--add", "is_new", is_flag=True, help="Add a row of this name.")
@click.option("--delete", "goes", is_flag=True, help="Delete the row.")
def edit(site: Path, layer: str, id_: str, values: tuple[str, ...], *, is_new: bool, goes: bool) -> None:
    """Change one row of a layer: height_m=1.2, throw_m="36 ft", material=marble; nothing behind = means not known.

    A place is given as x=... y=... in the reference system of the site, an outline as geometry="POLYGON ((...))".
    Each edit is written down at once; the next save (such as `gravegis run`) takes it into the site.
    """
    from gravegis import edits, store
    from gravegis.cli import row

    if goes and (values or is_new):
        raise SettingError("--delete takes no values and no --add", remedy="Give one of them.")
    if not goes and not values and not is_new:
        raise SettingError("no value is given", remedy="Write it such as height_m=1.2, or --delete.")
    with store.locked(site):
        before = store.load(site)
        if goes:
            made: AnyEdit = edits.delete(before, layer, id_)
        else:
            typed = row.typed(before, layer, id_, values)
            made = (edits.add if is_new else edits.change)(before, layer, id_, typed)
        after = edits.apply(before, made)
        store.journal.append(site, _journal(site, before), "edit", made)
    for words in (*_told(made), *_doubts(made), *_broken(before, after)):
        click.echo(words)
    click.echo(f"To take it back: gravegis undo {site}")
    _say_older(after, site)


@click.command()
@_SITE
def undo(site: Path) -> None:
    """Take the last edit back; again for the one before it, as far as the last save."""
    from gravegis import edits

    _again(site, "undo", lambda journal: journal.undoable and edits.undo_of(journal.undoable), "taken back")


@click.command()
@_SITE
def redo(site: Path) -> None:
    """Make the edit again that was taken back last."""
    _again(site, "redo", lambda journal: journal.redoable, "made again")


def _again(site: Path, kind: str, choose: Any, words: str) -> None:  # noqa: ANN401 - Journal -> edit or None
    from gravegis import edits, store

    with store.locked(site):
        before = store.load(site)
        journal = store.journal.read(site)
        made = choose(journal) if journal.is_ours else None
        if made is None:
            raise StoreError(
                f"since the last save no edit is there to be {words}", where=str(site),
                remedy=f"Earlier saves are listed by gravegis versions {site}, put back by gravegis restore {site}.",
            )  # fmt: skip
        after = edits.apply(before, made)
        store.journal.append(site, journal, kind, made)
    click.echo(f"{words}:")
    for line in (*_told(made), *_broken(before, after)):
        click.echo(line)
    _say_older(after, site)


def _journal(folder: Path, site: Site) -> Journal:
    """Return the journal to write into; a site of an older schema is saved first, so that lines have a save to name."""
    from gravegis import store

    found = store.journal.read(folder)
    if not found.save.this:
        store.save(site, folder)
        found = store.journal.read(folder)
    return found


def _told(made: AnyEdit) -> Iterator[str]:
    """Say what changed from what to what."""
    from gravegis import edits

    where = edits.row_words(made.layer, made.id)
    if isinstance(made, edits.Edit):
        for column, (before, after) in made.changes.items():
            yield f"{where}: {_name(column)} from {_shown(made, column, before)} to {_shown(made, column, after)}"
        return
    is_added = isinstance(made, edits.Add)
    yield f"{where}: {'added' if is_added else 'deleted'}; it {'holds' if is_added else 'held'}"
    for column, value in made.row.items():
        yield f"  {_name(column)} {_shown(made, column, value)}"


def _name(column: str) -> str:
    return "place" if column == "geometry" else column


def _shown(made: AnyEdit, column: str, value: Any) -> str:  # noqa: ANN401 - whatever a cell holds
    from gravegis.layers import schema

    if value is None:
        return "not known"
    if column == "geometry":
        if value.geom_type == "Point":
            return f"{value.x:.3f} {value.y:.3f}"
        return f"a {value.geom_type.lower()} round {value.centroid.x:.3f} {value.centroid.y:.3f}"
    one = schema.layer(made.layer).columns.get(column)
    unit = one.unit if one is not None and one.unit not in ("", "1") else ""
    words = f"{value:g}" if isinstance(value, float) else "yes" if value is True else "no" if value is False else value
    return f"{words} {unit}".rstrip()


def _doubts(made: AnyEdit) -> Iterator[str]:
    """Say which words are in no vocabulary."""
    from gravegis import edits
    from gravegis.layers import schema

    held = {} if isinstance(made, edits.Delete) else made.row if isinstance(made, edits.Add) else made.changes
    for column, value in held.items():
        one = schema.layer(made.layer).columns.get(column)
        after = value[1] if isinstance(value, tuple) else value
        if one is not None and one.values and after is not None and after not in one.values:
            yield f"  '{after}' is kept as typed; words known for {column}: {', '.join(one.values)}"


def _broken(before: Site, after: Site) -> Iterator[str]:
    """Say which names lead nowhere now that did not before."""
    from gravegis.layers import links

    known = {one.words for one in links.broken(before)}
    for one in links.broken(after):
        if one.has_target and one.words not in known:
            yield f"  {one.words}"


def _say_older(site: Site, folder: Path) -> None:
    if site.log:
        click.echo(f"Results, maps and sheets are those from before; to work them out anew: gravegis run {folder}")
