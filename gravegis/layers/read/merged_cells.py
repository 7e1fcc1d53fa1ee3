"""Merged cells of a sheet: the one value stands for every cell, and a file holds it in the first."""

from __future__ import annotations

import re
from typing import Any

from gravegis.errors import LayerError
from gravegis.layers.read.raw import many, shown

__all__ = ["gather", "spread"]

Cells = list[tuple[Any, ...]]

_AREA = re.compile(r"([A-Z]{1,3})(\d{1,7}):([A-Z]{1,3})(\d{1,7})", re.ASCII)
_MOST_CELLS = 1_000_000  # common practice, no source


def gather(found: list[str], name: str, attributes: dict[str, str]) -> None:
    """Take the area of a merged cell to those found, such as ``D2:D5``, as an element of a sheet tells it."""
    if name == "mergeCell" and "ref" in attributes:
        found.append(attributes["ref"])


def spread(cells: Cells, areas: list[str], head: int) -> tuple[Cells, tuple[str, ...]]:
    """Return the cells with the value of each merged area in all of its empty cells, and what to say.

    Parameters
    ----------
    head
        Row of the column names, counted from 0: what is merged above it is left alone.
    """
    rows, told, count = [list(row) for row in cells], list[str](), 0
    for area in areas:
        found = _AREA.fullmatch(area)
        if found is None:
            continue
        left, top, right, bottom = _column(found[1]), int(found[2]) - 1, _column(found[3]), int(found[4]) - 1
        if bottom < head or not (0 <= top < len(rows) and 0 <= left < len(rows[top])):
            continue
        bottom, right = min(bottom, len(rows) - 1), min(right, len(rows[top]) - 1)
        count += (bottom - top + 1) * (right - left + 1)
        if count > _MOST_CELLS:
            raise LayerError(f"more than {_MOST_CELLS:,} cells of the sheet are merged", remedy="Take the merging out.")
        value = rows[top][left]
        if value is None or (isinstance(value, str) and not value.strip()):
            continue
        for row in rows[max(top, head) : bottom + 1]:
            row[left : right + 1] = [value if one is None else one for one in row[left : right + 1]]
        told.append(f"'{value}' in {area}")
    note = f"{many(len(told), 'merged cell')}, whose value counts for each of its rows: {shown(told)}"
    return [tuple(row) for row in rows] if told else cells, (note,) if told else ()


def _column(letters: str) -> int:
    number = 0
    for letter in letters:
        number = number * 26 + ord(letter) - 64
    return number - 1
