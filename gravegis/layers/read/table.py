"""Tables of text: separator, encoding and decimal sign are found out and shown; every value stays text."""

from __future__ import annotations

import csv
import io
import re
from typing import TYPE_CHECKING

import pandas as pd

from gravegis.errors import LayerError
from gravegis.layers.read import header_rows, numbers
from gravegis.layers.read.raw import Raw, many, shown, tidy_names

if TYPE_CHECKING:
    from pathlib import Path

    from gravegis.layers.canonical import Frame

__all__ = ["decode", "read_table"]

SEPARATORS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}
_FALLBACK = "cp1252"  # what spreadsheets of Western Europe and America write; common practice, no source
_BOMS = ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"))
_TRIED_ROWS = 2000

Rows = list[list[str]]


def read_table(path: Path, *, layer: str | None = None, encoding: str | None = None) -> Raw:
    """Read a table with column names in its first row; values stay as typed, so ``007`` stays ``007``.

    Raises LayerError when it is no table, rows have too many or too few values, or the text cannot be decoded.
    """
    if layer is not None:
        raise LayerError("A table holds one layer only", where="--file-layer", remedy="Leave --file-layer out.")
    text, how, doubtful = decode(path.read_bytes(), encoding, where=path.name)
    separator, rows = _rows(text, path.name)
    header, body, skipped = _body(rows, path.name)
    head = header_rows.names_of(header, [_as_texts(row, len(header)) for row in body[:_TRIED_ROWS]])
    body = body[head.rows :]
    names, notes = tidy_names(head.names, placed=False)
    notes = [*head.notes, *notes]
    frame = pd.DataFrame(dict(zip(names, _columns(body, len(names)), strict=True)), columns=names)
    found = numbers.evidence(_numbers(frame))
    decimal = next(iter(found)) if len(found) == 1 else ""
    guess = f"read as {how}, separated by {SEPARATORS[separator]}, {len(frame)} rows, {len(names)} columns"
    if decimal == ",":
        guess += f", decimal comma (such as '{found[',']}')"
    if skipped:
        notes.append(f"{many(skipped, 'empty row')} left out")
    warnings = _mangled(frame, how) if doubtful else ()
    return Raw(frame, is_table=True, decimal=decimal, notes=(guess, *notes), warnings=warnings)


def decode(data: bytes, encoding: str | None, *, where: str) -> tuple[str, str, bool]:
    """Return the text, the encoding in words, and whether that was only guessed."""
    bom = next((name for mark, name in _BOMS if data.startswith(mark)), None)
    wanted = encoding or bom or "utf-8"
    try:
        text, guessed = data.decode(wanted), False
    except LookupError:
        raise LayerError(
            f"'{wanted}' is no encoding known here", where=where, remedy="Such as cp1252, cp1251."
        ) from None
    except UnicodeDecodeError:
        if encoding or bom:
            raise LayerError(
                f"the file is not {wanted}", where=where, remedy="Name the encoding it has: --encoding cp1252, ..."
            ) from None
        text, guessed, wanted = _fallback(data, where), True, _FALLBACK
    if "\x00" in text:
        raise LayerError(
            "this is no text file", where=where, remedy="Export it as CSV (UTF-8), GeoJSON, GeoPackage or Shapefile."
        )
    # spreadsheets put a line such as `sep=;` before the table
    text = re.sub(r"\Asep=.\r?\n", "", text.removeprefix("\ufeff"))
    return text, wanted.removesuffix("-sig"), guessed


def _fallback(data: bytes, where: str) -> str:
    try:
        return data.decode(_FALLBACK)
    except UnicodeDecodeError:
        raise LayerError(
            f"the text is neither UTF-8 nor {_FALLBACK}",
            where=where,
            remedy="Name its encoding: --encoding cp1251, ...",
        ) from None


def _rows(text: str, where: str) -> tuple[str, Rows]:
    """Return the separator and the rows: the separator that gives every row the same number of values, most of all."""
    if not re.sub(r"[\s,;|]", "", text):
        raise LayerError("the file is empty", where=where, remedy="Export it again.")
    tried, broken = dict[str, Rows](), ""
    for separator in SEPARATORS:
        try:
            tried[separator] = list(csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True))
        except csv.Error as error:
            broken = str(error)
    best = max(tried, key=lambda one: _fit(tried[one]), default="")
    if broken and (not best or not _fit(tried[best])[0]):
        raise LayerError(
            f"the quotes of the table do not close or a value is too long ({broken})", where=where,
            remedy="Export it again; a quote inside a quoted value is written twice.",
        )  # fmt: skip
    return best, tried[best]


def _fit(rows: Rows) -> tuple[bool, float, int]:
    """Return how well a separator fits: more than one column, share of rows as wide as the first, columns."""
    filled = [row for row in rows if any(cell.strip() for cell in row)][:_TRIED_ROWS]
    if not filled:
        return False, 0.0, 0
    width = len(filled[0])
    alike = sum(len(row) == width for row in filled) / len(filled)
    return width > 1, alike, width


def _body(rows: Rows, where: str) -> tuple[list[str], Rows, int]:
    filled = [row for row in rows if any(cell.strip() for cell in row)]
    header, *body = filled  # there is one: the text is more than separators
    while header and not header[-1].strip() and all(not any(c.strip() for c in row[len(header) - 1 :]) for row in body):
        header = header[:-1]
    wrong = [
        f"row {number} has {len(row)}"
        for number, row in enumerate(body, start=1)
        if len(row) < len(header) or any(cell.strip() for cell in row[len(header) :])
    ]
    if wrong:
        words = f"{many(len(wrong), 'row')} without the {len(header)} values of the first row: {shown(wrong)}"
        remedy = "Look for a separator inside a value: such values stand in double quotes."
        raise LayerError(words, where=where, remedy=remedy)
    return header, body, len(rows) - len(filled)


def _as_texts(row: list[str], width: int) -> tuple[str | None, ...]:
    return tuple(cell.strip() or None for cell in row[:width])


def _columns(body: Rows, width: int) -> list[pd.Series[str]]:
    columns = zip(*(row[:width] for row in body), strict=True) if body else ((),) * width
    return [pd.Series([cell.strip() or None for cell in column], dtype="str") for column in columns]


def _numbers(frame: Frame) -> list[str]:
    """Return what could be a number, for the decimal sign of the whole file."""
    texts = (text for name in frame.columns for text in frame[name].head(_TRIED_ROWS).dropna().unique())
    found = (numbers.split(text) for text in texts if text[:1].isdigit() or text[:1] in "+-.,\u2212")
    return [one[0] for one in found if one is not None and (not one[1] or one[1].isalpha())]


def _mangled(frame: Frame, how: str) -> tuple[str, ...]:
    """Return a question where letters beyond plain English were read with a guessed encoding."""
    odd = {t for name in frame.columns for t in frame[name].dropna().unique() if not t.isascii()}
    odd |= {str(name) for name in frame.columns if not str(name).isascii()}
    if not odd:
        return ()
    return (f"the file is not UTF-8 and was read as {how}: {shown(sorted(odd), 3)}; if that is wrong: --encoding ...",)
