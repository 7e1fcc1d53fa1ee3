"""Inputs of an older schema, brought forward one step at a time with nothing lost; results are dropped and listed.

To raise the schema: `SCHEMA_VERSION` in `layers.schema`, one function here, a tiny site of the old schema in
`tests/store/frozen`. A step that renames columns makes the journal of an older save unreadable; `journal` says so.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from gravegis.errors import StoreError
from gravegis.layers import schema
from gravegis.store import tables

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from pathlib import Path

    from gravegis.layers.canonical import Frame

__all__ = ["dropped_words", "forward", "is_carried"]


def is_carried(table: str) -> bool:
    """Whether a table of an older site is brought forward: facts, settings and every layer that is no result."""
    if table in tables.NAMES:
        return table in ("site", "settings")
    return not schema.is_known(table) or schema.layer(table).role == "input"


def forward(frames: Mapping[str, Frame], version: int, path: Path) -> dict[str, Frame]:
    """Return the tables of an older site as the present schema has them; raises StoreError where no step is known."""
    made = dict(frames)
    for step in range(version, schema.SCHEMA_VERSION):
        if step not in STEPS:
            raise StoreError(
                f"nothing here brings schema {step} forward", where=str(path), remedy="Install a newer gravegis."
            )
        made = STEPS[step](made)
    return made


def dropped_words(version: int, analyses: list[str]) -> str:
    """Return what became of the results of an older site."""
    head = f"the site was written with schema {version} and is read as {schema.SCHEMA_VERSION}: all inputs are there"
    if not analyses:
        return head
    return f"{head}, the results of {', '.join(analyses)} are dropped (work them out again: gravegis run)"


def _to_2(frames: dict[str, Frame]) -> dict[str, Frame]:
    """Bring schema 1 forward: inputs are as they were; photos may name a file, the site tells one save from another."""
    return frames


STEPS: Mapping[int, Callable[[dict[str, Frame]], dict[str, Frame]]] = {1: _to_2}
