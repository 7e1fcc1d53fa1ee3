"""A mapping saved for next time: which column is which, in what unit, and what words become, as one small table.

The table has four columns: ``what, name, in_file, becomes``. Rows whose ``what`` ends in a question mark are
proposals: they do nothing until somebody takes the mark away.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from gravegis.errors import LayerError, Problem

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from pathlib import Path

__all__ = ["HEAD", "OPTIONS", "MappingFile", "Row", "read_mapping", "write_mapping"]

HEAD = ("what", "name", "in_file", "becomes")
OPTIONS = ("crs", "swap_xy", "encoding", "file_layer", "dates", "unit", "bearings", "declination_deg")
"""Options of `gravegis add` that a mapping file may hold."""

_KINDS = ("column", "value", "name", "option")
_MOST_BYTES = 10_000_000

Row = tuple[str, str, str, str]


@dataclass(frozen=True, slots=True)
class MappingFile:
    """What a mapping file says.

    Attributes
    ----------
    columns
        As typed after ``--column``: ``throw_m=RADIUS ft``.
    words
        Per column of ours: what a value as written becomes.
    names
        Long name of each column name as it stands in the file.
    options
        Options of `gravegis add`, as typed.
    """

    columns: tuple[str, ...] = ()
    words: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    names: Mapping[str, str] = field(default_factory=dict)
    options: Mapping[str, str] = field(default_factory=dict)


def read_mapping(path: Path) -> MappingFile:
    """Read a mapping file; raises LayerError with every line that cannot be used."""
    try:
        if path.stat().st_size > _MOST_BYTES:
            raise LayerError("this is no mapping file: it is far too large", where=path.name, remedy="Name another.")
        text = path.read_text(encoding="utf-8-sig")
        separator = ";" if text.split("\n", 1)[0].count(";") >= len(HEAD) - 1 else ","
        rows = list(csv.reader(text.splitlines(), delimiter=separator, strict=True))
    except OSError as error:
        raise LayerError(f"the mapping file cannot be read ({error.strerror})", where=str(path)) from None
    except (UnicodeDecodeError, csv.Error) as error:
        raise LayerError(f"the mapping file is no table in UTF-8 ({error})", where=path.name, remedy=_HOW) from None
    if not rows or tuple(cell.strip() for cell in rows[0][: len(HEAD)]) != HEAD:
        raise LayerError("the mapping file does not begin with its four names", where=path.name, remedy=_HOW)
    return _read(path, rows)


_HOW = f"Its first line is {','.join(HEAD)}; gravegis look LAYER FILE --save-mapping NAME writes one."


def _read(path: Path, rows: Sequence[Sequence[str]]) -> MappingFile:
    columns, words, names, options = list[str](), dict[str, dict[str, str]](), dict[str, str](), dict[str, str]()
    problems = list[Problem]()
    for number, cells in enumerate(rows[1:], start=2):
        what, name, in_file, becomes = (cell.strip() for cell in (*cells, "", "", "", "")[: len(HEAD)])
        if what.endswith("?") or not any(cell.strip() for cell in cells):
            continue
        if what == "column" and name and in_file:
            columns.append(f"{name}={in_file} {becomes}".strip())
        elif what == "value" and name and in_file:
            words.setdefault(name, {})[in_file] = becomes
        elif what == "name" and in_file and becomes:
            names[in_file] = becomes
        elif what == "option" and name in OPTIONS and becomes:
            options[name] = becomes
        else:
            said = f"option '{name[:40]}' is not known" if what == "option" else f"'{what[:40]}' with gaps or not known"
            problems.append(Problem(said, f"{path.name}, line {number}", f"Lines are {', '.join(_KINDS)}."))
    if problems:
        raise LayerError.of(problems)
    return MappingFile(tuple(columns), words, names, options)


def write_mapping(path: Path, rows: Iterable[Row]) -> int:
    """Write a mapping file and return how many lines it has; one that is there already is replaced."""
    made = [tuple(row) for row in rows]
    with path.open("w", encoding="utf-8-sig", newline="") as out:
        csv.writer(out).writerows([HEAD, *made])
    return len(made)
