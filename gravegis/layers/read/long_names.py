"""Long column names of a Shapefile, which keeps ten signs only: undone by a table beside it, never guessed."""

from __future__ import annotations

import csv
from typing import TYPE_CHECKING

from gravegis.errors import LayerError
from gravegis.layers.read.raw import shown

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from gravegis.layers.canonical import Frame

__all__ = ["beside_name", "longer_names", "write_names"]

_HEAD = ("short", "long")


def beside_name(path: Path) -> Path:
    """Return where the table of names of a Shapefile stands: ``stones.names.csv`` beside ``stones.shp``."""
    return path.with_name(f"{path.stem}.names.csv")


def write_names(path: Path, long_of: Mapping[str, str]) -> None:
    """Write the table of names beside a Shapefile.

    Parameters
    ----------
    long_of
        The long name of each short one.
    """
    with beside_name(path).open("w", encoding="utf-8", newline="") as out:
        csv.writer(out).writerows([_HEAD, *long_of.items()])


def longer_names(frame: Frame, path: Path) -> tuple[Frame, list[str]]:
    """Return the rows of a Shapefile under their long names, where the table beside it tells them.

    Raises LayerError when that table is no such table, or two columns would get one name.
    """
    table = beside_name(path)
    if not table.is_file():
        return frame, []
    try:
        rows = list(csv.reader(table.read_text(encoding="utf-8-sig").splitlines(), strict=True))
    except (UnicodeDecodeError, csv.Error):
        rows = []
    if not rows or tuple(rows[0]) != _HEAD or any(len(row) != len(_HEAD) for row in rows):
        raise LayerError(
            "the table of long names is not readable", where=table.name,
            remedy="Two columns, short and long, in UTF-8; or take the table away.",
        )  # fmt: skip
    here = {str(name) for name in frame.columns}
    long_of = {short: long for short, long in rows[1:] if short in here and long.strip()}
    names = [long_of.get(str(name), str(name)) for name in frame.columns]
    if len(set(names)) != len(names):
        twice = sorted({name for name in names if names.count(name) > 1})
        raise LayerError(f"several columns would be called {shown(twice)}", where=table.name, remedy="Correct it.")
    changed = [f"{short} is {long}" for short, long in long_of.items() if short != long]
    if not changed:
        return frame, []
    return frame.set_axis(names, axis="columns"), [f"long names from {table.name}: {shown(changed)}"]
