"""Edits since the last save: one line each in `journal.jsonl`, flushed to the disk before the next gesture.

The first line names the save the edits belong to, so that those of an older save are never made twice. Each line
carries a checksum over itself and the line before: a last line that was cut off is dropped, damage anywhere else is
refused. Opening a site replays the journal over the last save; a save empties it.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import logging
import os
import re
import sqlite3
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from gravegis import edits
from gravegis.errors import LayerError, StoreError
from gravegis.layers import schema
from gravegis.store.commit import flush
from gravegis.store.names import GPKG, JOURNAL
from gravegis.store.tables import SaveId

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from gravegis.site import Site

__all__ = ["KINDS", "Entry", "Journal", "append", "empty", "put_aside", "read", "replayed", "save_of"]

_log = logging.getLogger(__name__)
KINDS = ("edit", "undo", "redo")
_LINE = re.compile(rb'\{"sum":"([0-9a-f]{16})",(.*)\}', re.DOTALL)


@dataclass(frozen=True, slots=True)
class Entry:
    """One line: an edit, and whether it was a gesture of its own, took one back, or made one again."""

    kind: str
    edit: edits.AnyEdit


@dataclass(frozen=True, slots=True)
class Journal:
    """What stands in the journal of a site, and where its next line goes.

    `save` is the present save. `is_ours` is False where the file belongs to another save: its lines do not count.
    `end` is the size of its whole lines, `last` the checksum of the last of them.
    """

    save: SaveId
    entries: tuple[Entry, ...] = ()
    belongs_to: str = ""
    end: int = 0
    last: str = ""

    @property
    def is_ours(self) -> bool:
        """Whether the lines were written after the present save."""
        return bool(self.save.this) and self.belongs_to == self.save.this

    @property
    def is_spent(self) -> bool:
        """Whether the lines went into the present save already, or there are none."""
        return not self.belongs_to or self.belongs_to == self.save.previous

    @property
    def standing_n(self) -> int:
        """How many gestures since the present save still stand."""
        return len(self._stacks()[0])

    @property
    def undoable(self) -> edits.AnyEdit | None:
        """The last gesture that still stands; None where there is none since the last save."""
        return next(iter(self._stacks()[0][-1:]), None)

    @property
    def redoable(self) -> edits.AnyEdit | None:
        """The gesture that was taken back last, as long as nothing was done since; else None."""
        return next(iter(self._stacks()[1][-1:]), None)

    def _stacks(self) -> tuple[list[edits.AnyEdit], list[edits.AnyEdit]]:
        done, back = list[edits.AnyEdit](), list[edits.AnyEdit]()
        for entry in self.entries:
            if entry.kind == "undo":
                back.extend(done[-1:])
                done = done[:-1]
            else:
                back = back[:-1] if entry.kind == "redo" else []
                done.append(entry.edit)
        return done, back


def save_of(path: Path) -> SaveId:
    """Return what the save in a site file is known by; empty for a file of schema 1, one that is gone or damaged."""
    if not path.is_file():
        return SaveId()
    try:
        with contextlib.closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)) as connection:
            facts = dict(connection.execute('SELECT fact, value FROM "site"').fetchall())
        return SaveId(json.loads(facts.get("save_id", '""')), json.loads(facts.get("previous_save", '""')))
    except (sqlite3.Error, ValueError):
        return SaveId()


def read(folder: Path) -> Journal:
    """Return the journal of a site; raises StoreError where a line of it is damaged."""
    save, path = save_of(folder / GPKG), folder / JOURNAL
    try:
        raw = path.read_bytes()
    except FileNotFoundError:
        return Journal(save)
    except OSError as error:
        raise StoreError(
            f"the edits since the last save cannot be read ({error.strerror or error})", where=str(path),
            remedy="Check the permission to read it.",
        ) from error  # fmt: skip
    belongs_to = _head(raw, path)
    if not belongs_to:
        return Journal(save)
    if belongs_to != save.this:
        return Journal(save, belongs_to=belongs_to)
    return _parsed(raw, save, path)


def replayed(site: Site, folder: Path) -> Site:
    """Return the site with the edits since its save made again; raises StoreError where one does not fit."""
    journal, path = read(folder), folder / JOURNAL
    if not journal.is_ours:
        if not journal.is_spent:
            _log.warning("%s belongs to another save of this site; the edits in it are not made", path)
        return site
    number = 1

    def told() -> Iterator[edits.AnyEdit]:
        nonlocal number
        for entry in journal.entries:
            number += 1
            yield entry.edit

    try:
        return edits.replay(site, told())
    except LayerError as error:
        raise _damaged(path, number, f"it does not fit the site: {error.problems[0].problem}") from error


def append(folder: Path, journal: Journal, kind: str, edit: edits.AnyEdit) -> Journal:
    """Write one line behind the others, wait until the disk holds it, and return the journal with it.

    Hold `locked(folder)` from `read` on. Raises StoreError (nothing changed) where it cannot be written.
    """
    path = folder / JOURNAL
    if not journal.save.this:
        raise StoreError("a site of an older schema has no journal", where=str(path), remedy="Save the site first.")
    _refuse_changed(folder, journal)
    try:
        if not journal.is_ours:
            _clear(path, journal)
            journal = Journal(journal.save, belongs_to=journal.save.this)
        text, last = b"", journal.last
        if journal.end == 0:
            head = {"journal": 1, "schema": schema.SCHEMA_VERSION, "save": journal.save.this}
            text, last = _line(json.dumps(head), "")
        line, last = _line(f'{{"kind":"{kind}","edit":{edits.to_line(edit)}}}', last)
        end = _write(path, journal.end, text + line)
    except OSError as error:
        raise StoreError(
            f"the edit cannot be written down ({error.strerror or error}); nothing was changed", where=str(path),
            remedy="Check free space and write permission of the site folder, then do it again.",
        ) from error  # fmt: skip
    return replace(journal, entries=(*journal.entries, Entry(kind, edit)), end=end, last=last)


def _refuse_changed(folder: Path, journal: Journal) -> None:
    """Raise StoreError where somebody else wrote since the journal was read: their lines are never written over."""
    path = folder / JOURNAL
    size = path.stat().st_size if path.exists() else 0
    if size != journal.end and read(folder).last != journal.last:
        raise StoreError(
            "somebody else has edited or saved the site since it was opened; nothing was changed", where=str(path),
            remedy="Open it again, then do it again.",
        )  # fmt: skip


def put_aside(folder: Path) -> None:
    """Give a journal that cannot be read another name, so that nothing of it is lost; raises OSError."""
    path = folder / JOURNAL
    if path.exists():
        _aside(path, hashlib.sha256(path.read_bytes()).hexdigest())


def empty(folder: Path, journal: Journal) -> None:
    """Remove the journal after a save that holds its edits; one of another save is put aside and kept."""
    path = folder / JOURNAL
    try:
        if journal.is_ours or journal.is_spent:
            path.unlink(missing_ok=True)
        else:
            _clear(path, journal)
    except OSError as error:  # it names an older save, so nobody makes its edits again
        _log.info("%s cannot be removed (%s)", path, error)


def _clear(path: Path, journal: Journal) -> None:
    """Make room for a journal of the present save."""
    if journal.is_spent:
        path.unlink(missing_ok=True)
        return
    _aside(path, journal.belongs_to)


def _aside(path: Path, name: str) -> None:
    aside = path.with_name(f"{path.stem}-{name[:8]}{path.suffix}")
    path.replace(aside)
    _log.warning("%s: its edits are not part of the site; the file is kept as %s", path, aside.name)


def _write(path: Path, end: int, text: bytes) -> int:
    """Write behind the whole lines; what was there of a line cut off goes. Return the new end; raises OSError."""
    is_new = not path.exists()
    descriptor = os.open(path, os.O_CREAT | os.O_WRONLY | getattr(os, "O_BINARY", 0), 0o644)
    try:
        try:
            os.ftruncate(descriptor, end)
            os.lseek(descriptor, end, os.SEEK_SET)
            left = memoryview(text)
            while left:
                left = left[os.write(descriptor, left) :]
            os.fsync(descriptor)
        except OSError:
            with contextlib.suppress(OSError):
                os.ftruncate(descriptor, end)
            raise
    finally:
        os.close(descriptor)
    if is_new and os.name == "posix":
        flush(path.parent)
    return end + len(text)


def _line(body: str, before: str) -> tuple[bytes, str]:
    """Return a line with its checksum in front, and the checksum."""
    inner = body[1:-1].encode()
    checksum = _sum(inner, before)
    return b'{"sum":"' + checksum.encode() + b'",' + inner + b"}\n", checksum


def _sum(inner: bytes, before: str) -> str:
    return hashlib.sha256(before.encode() + inner).hexdigest()[:16]


def _checked(line: bytes, before: str) -> tuple[bytes, str] | None:
    """Return the body of a line and its checksum; None where it is damaged."""
    found = _LINE.fullmatch(line)
    if found is None or _sum(found[2], before) != found[1].decode():
        return None
    return b"{" + found[2] + b"}", found[1].decode()


def _head(raw: bytes, path: Path) -> str:
    """Return the save a journal names; empty where its first line was cut off, so that nothing stands in it yet."""
    line, newline, rest = raw.partition(b"\n")
    whole = _checked(line, "")
    if whole is not None:
        return str(json.loads(whole[0]).get("save"))
    if not newline or (not rest and b"\0" in line):
        return ""
    raise _damaged(path, 1, "its checksum is wrong")


def _parsed(raw: bytes, save: SaveId, path: Path) -> Journal:
    entries, end, last = list[Entry](), 0, ""
    *lines, tail = raw.split(b"\n")
    for number, line in enumerate(lines, 1):
        whole = _checked(line, last)
        if whole is None:
            # a block of the last line that never reached the disk reads as zeros: that line was not finished
            if number == len(lines) and not tail and b"\0" in line:
                break
            raise _damaged(path, number, "its checksum is wrong")
        if number == 1:
            _refuse_other_schema(whole[0], path)
        else:
            entries.append(_entry(whole[0], path, number))
        end, last = end + len(line) + 1, whole[1]
    if end < len(raw):
        _log.info("%s: the last line was cut off and is dropped", path)
    return Journal(save, tuple(entries), save.this, end, last)


def _entry(body: bytes, path: Path, number: int) -> Entry:
    try:
        said = json.loads(body)
        if said["kind"] not in KINDS:
            raise ValueError(said["kind"])
        return Entry(str(said["kind"]), edits.from_body(said["edit"]))
    except (ValueError, KeyError, TypeError, LayerError) as error:
        raise _damaged(path, number, f"it is no edit ({error})") from error


def _refuse_other_schema(body: bytes, path: Path) -> None:
    written = json.loads(body).get("schema")
    if written != schema.SCHEMA_VERSION:
        raise StoreError(
            f"the edits since the last save were written with schema {written}, this is {schema.SCHEMA_VERSION}",
            where=str(path),
            remedy="Open the site once with the gravegis that wrote them and save it: gravegis run SITE.",
        )


def _damaged(path: Path, number: int, why: str) -> StoreError:
    before = number - 2
    mended = (
        f"keep a copy of it, then delete line {number} and all after it; the {before} edits before it are then kept."
        if before > 0
        else "give it another name; the site is then as it was saved last."
    )
    return StoreError(
        f"line {number} of the edits since the last save is damaged ({why}); nothing was changed",
        where=str(path),
        remedy=f"Put back a copy of the file. Without one: {mended}",
    )
