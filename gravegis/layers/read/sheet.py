"""Spreadsheets: each sheet, and each table beside another on a sheet, is a layer; values stay as they are."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from functools import partial
from io import BytesIO
from typing import TYPE_CHECKING, Any

import pandas as pd

from gravegis.errors import LayerError
from gravegis.layers.read import archive, header_rows, merged_cells, numbers
from gravegis.layers.read.damage import library_reads
from gravegis.layers.read.raw import Raw, many, shown, tidy_names
from gravegis.layers.read.xml_text import scan

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

__all__ = ["read_sheet", "read_tables"]

_AGAIN = "Open it in a spreadsheet program and save it again as .xlsx."
_MOST_CELLS = 20_000_000  # what an office computer holds in memory as text: common practice, no source
_LOOKED_AT = 30  # rows searched for the names of the columns
_FULL_SHARE, _TEXT_SHARE = 0.7, 0.8
_ERRORS = frozenset({"#N/A", "#DIV/0!", "#REF!", "#VALUE!", "#NAME?", "#NUM!", "#NULL!"})

Cells = list[tuple[Any, ...]]


@dataclass(frozen=True, slots=True)
class _Table:
    """One table of a sheet: its name, the row of its column names, its columns (first and after the last)."""

    name: str
    head: int
    first: int
    end: int


def read_sheet(path: Path, *, layer: str | None = None, encoding: str | None = None) -> Raw:
    """Read one table of a workbook; raises LayerError when it is damaged, or holds several and none is named.

    A sheet is called by its name, tables side by side on it ``NAME table 1``, ``NAME table 2``. Formulas are read
    as the result the file holds. A number in a cell without a date format stays a number; `epoch` of what is
    returned tells from which day this workbook counts days.
    """
    if encoding is not None:
        raise LayerError("A workbook says its encoding itself", where="--encoding", remedy="Leave --encoding out.")
    merged = _look_inside(path)
    sheets, epoch, parts = _workbook(path, results=True)
    tables = {one.name: (one, name) for name, cells in sheets.items() for one in _tables(name, cells)}
    name = _chosen(tables, layer, path.name)
    table, sheet = tables[name]
    cells, spread = merged_cells.spread(sheets[sheet], merged.get(parts[sheet], []), table.head)
    raw = _rows(cells, table)
    lost = _without_result(path, sheets[sheet], sheet)
    said = [f"{many(lost, 'formula')} of the sheet without a stored result read as empty; {_AGAIN}"] if lost else []
    return Raw(raw.frame, is_table=True, decimal=raw.decimal, epoch=epoch, notes=(*raw.notes, *spread),
               warnings=(*raw.warnings, *said))  # fmt: skip


def read_tables(path: Path) -> dict[str, Raw]:
    """Return every table of a workbook by its name, as `read_sheet` would; raises LayerError when it is damaged."""
    merged = _look_inside(path)
    sheets, epoch, parts = _workbook(path, results=True)
    made = dict[str, Raw]()
    for name, cells in sheets.items():
        for one in _tables(name, cells):
            whole, said = merged_cells.spread(cells, merged.get(parts[name], []), one.head)
            raw = _rows(whole, one)
            made[one.name] = replace(raw, epoch=epoch, notes=(*raw.notes, *said))
    if not made:
        _chosen({}, None, path.name)
    return made


def _look_inside(path: Path) -> dict[str, list[str]]:
    """Refuse archives that are not harmless and parts with entities of their own, before the library opens them.

    Returns the merged cells of each part, such as ``D2:D5``: the library does not tell them where it reads on the way.
    """
    merged = dict[str, list[str]]()
    with archive.opened(path) as packed:
        for name in packed.namelist():
            if name.lower().endswith((".xml", ".rels")):
                with packed.open(name) as stream:
                    found = merged.setdefault(name, [])
                    scan(BytesIO(stream.read()), f"{path.name}, {name}", start=partial(merged_cells.gather, found))
    return merged


def _workbook(path: Path, *, results: bool) -> tuple[dict[str, Cells], str, dict[str, str]]:
    import openpyxl

    with library_reads(path, "workbook", _AGAIN), path.open("rb") as stream:
        book = openpyxl.load_workbook(stream, read_only=True, data_only=results, keep_links=False)
        try:
            sheets = {sheet.title: _cells(sheet) for sheet in book.worksheets}
            parts = {sheet.title: str(getattr(sheet, "_worksheet_path", "")).lstrip("/") for sheet in book.worksheets}
        finally:
            book.close()
    return sheets, "1904" if book.epoch.year == 1904 else "1900", parts


def _cells(sheet: Any) -> Cells:  # noqa: ANN401 - a sheet of the library
    sheet.reset_dimensions()  # what the file claims its size to be is not believed
    rows, count = [], 0
    for row in sheet.iter_rows(values_only=True):
        count += len(row)
        if count > _MOST_CELLS:
            raise LayerError(f"the sheet has more than {_MOST_CELLS:,} cells", where=str(sheet.title),
                             remedy="Delete what is not data, or save the sheet as CSV.")  # fmt: skip
        rows.append(row)
    while rows and all(_blank(cell) for cell in rows[-1]):
        rows.pop()
    width = max((len(row) for row in rows), default=0)
    return [(*row, *(None,) * (width - len(row))) for row in rows]


def _blank(cell: object) -> bool:
    return cell is None or (isinstance(cell, str) and not cell.strip())


def _tables(sheet: str, cells: Cells) -> Iterator[_Table]:
    """Give the tables of a sheet, left to right: parted by empty columns, or where the names begin again."""
    if not cells:
        return
    head = _head(cells)
    names = ["" if _blank(cell) else str(cell).strip() for cell in cells[head]]
    filled = [any(not _blank(row[place]) for row in cells[head:]) for place in range(len(names))]
    starts: list[tuple[int, int]] = []
    first = None
    for place in range(len(names) + 1):
        stop = place == len(names) or not filled[place]
        again = first is not None and not stop and _begins_again(names, first, place)
        if first is not None and (stop or again):
            starts.append((first, place))
            first = place if again else None
        elif first is None and not stop:
            first = place
    parts = [(one, end) for one, end in starts if any(names[one:end])]
    for number, (one, end) in enumerate(parts, start=1):
        yield _Table(sheet if len(parts) == 1 else f"{sheet} table {number}", head, one, end)


def _head(cells: Cells) -> int:
    """Return the row of the column names: the first nearly full one that is nearly all words."""
    most = max(sum(not _blank(cell) for cell in row) for row in cells)
    for number, row in enumerate(cells[:_LOOKED_AT]):
        filled = [cell for cell in row if not _blank(cell)]
        words = sum(isinstance(cell, str) for cell in filled)
        if filled and len(filled) >= _FULL_SHARE * most and words >= _TEXT_SHARE * len(filled):
            return number
    return next(number for number, row in enumerate(cells) if any(not _blank(cell) for cell in row))


def _begins_again(names: list[str], first: int, place: int) -> bool:
    """Whether the names from `place` on repeat those from `first` on, two of them at least."""
    width = place - first
    rest = names[place : place + width]
    return width >= 2 and len(rest) >= 2 and bool(rest[0]) and names[first : first + len(rest)] == rest


def _chosen(tables: dict[str, tuple[_Table, str]], wanted: str | None, where: str) -> str:
    if wanted in tables:
        return wanted
    if wanted is None and len(tables) == 1:
        return next(iter(tables))
    if not tables:
        raise LayerError("the workbook holds no table", where=where, remedy=_AGAIN)
    said = f"has no sheet called '{wanted[:60]}'" if wanted else f"holds {len(tables)} tables"
    raise LayerError(f"the workbook {said}: {shown(tables, 60)}", where=where, remedy="Name one: --file-layer NAME.")


def _rows(cells: Cells, table: _Table) -> Raw:
    first = ["" if _blank(cell) else str(cell) for cell in cells[table.head][table.first : table.end]]
    body = [row[table.first : table.end] for row in cells[table.head + 1 :]]
    body = [row for row in body if any(not _blank(cell) for cell in row)]
    head = header_rows.names_of(first, [tuple(map(_text, row)) for row in body[:_LOOKED_AT]], table.head + 1)
    names, renamed = tidy_names(head.names, placed=False)
    body = body[head.rows :]
    columns = zip(*body, strict=True) if body else ((),) * len(names)
    values = {name: pd.Series([_text(cell) for cell in column], dtype="str")
              for name, column in zip(names, columns, strict=True)}  # fmt: skip
    frame = pd.DataFrame(values, columns=names)
    wrong = sum(isinstance(cell, str) and cell in _ERRORS for row in body for cell in row)
    is_number = any(isinstance(cell, (int, float)) and not isinstance(cell, bool) for row in body for cell in row)
    texts = [cell for row in body for cell in row if isinstance(cell, str)]
    found = numbers.evidence(one[0] for text in texts if (one := numbers.split(text)) is not None and not one[1])
    decimal = next(iter(found)) if len(found) == 1 and not is_number else ""
    notes = [f"read as a spreadsheet, {table.name}: {many(len(frame), 'row')}, {many(len(names), 'column')}"]
    if table.head:
        above = [str(cell).strip() for row in cells[: table.head] for cell in row if isinstance(cell, str)]
        notes.append(f"column names stand in row {table.head + 1}; left out above them: {shown(above)}")
    said = [f"{many(wrong, 'cell')} with an error of a formula read as empty"] if wrong else []
    return Raw(frame, is_table=True, decimal=decimal, notes=(*notes, *head.notes, *renamed), warnings=tuple(said))


def _text(cell: object) -> str | None:
    """Return a cell as text: days in ISO form, whole numbers without a point."""
    if _blank(cell) or (isinstance(cell, str) and cell in _ERRORS):
        return None
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, dt.datetime):
        return cell.date().isoformat() if cell.time() == dt.time() else cell.isoformat()
    if isinstance(cell, (dt.date, dt.time)):
        return cell.isoformat()
    if isinstance(cell, float):
        return str(int(cell)) if cell.is_integer() and abs(cell) < 1e15 else repr(cell)
    return str(cell).strip().replace("\x00", "")


def _without_result(path: Path, cells: Cells, sheet: str) -> int:
    """Return how many formulas of a sheet hold no result: programs that do not calculate write such files."""
    formulas = _workbook(path, results=False)[0]
    return sum(
        isinstance(formula, str) and formula.startswith("=") and result is None
        for row, other in zip(formulas[sheet], cells, strict=False)
        for formula, result in zip(row, other, strict=False)
    )
