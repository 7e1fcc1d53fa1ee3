"""Map extracts in PBF: whether a file is whole, and which ways it holds (OSM PBF, the open format)."""

from __future__ import annotations

import struct
import zlib
from typing import TYPE_CHECKING

from gravegis.errors import LayerError

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

__all__ = ["blocks", "tagged_ways"]

_AGAIN = "Fetch the extract again."
# Limits of the format: head of a block 64 KiB, its data 32 MiB.
_MOST_HEAD, _MOST_BLOCK = 64 * 1024, 32 * 1024 * 1024
_MOST_LOOKED_AT = 10_000_000  # bytes unpacked, some seconds; an extract about a cemetery has a hundredth: own choice
_NUMBER, _BYTES, _EIGHT, _FOUR = 0, 2, 1, 5  # kinds of field in the encoding


def blocks(path: Path) -> list[bytes]:
    """Return the unpacked blocks of a PBF file; raises LayerError where it is cut or a block is too large.

    Of a file too large to be looked through for ways that a reader drops there are none.
    """
    size, at, kept, kept_n = path.stat().st_size, 0, list[bytes](), 0
    with path.open("rb") as stream:
        while at < size:
            stream.seek(at)
            head = stream.read(4)
            length = struct.unpack(">I", head)[0] if len(head) == 4 else _MOST_HEAD + 1
            if length > _MOST_HEAD:
                raise LayerError("the file is cut or damaged", where=path.name, remedy=_AGAIN)
            data = _data_size(stream.read(length))
            at += 4 + length + data
            if not 0 < data <= _MOST_BLOCK or at > size:
                raise LayerError("the file is cut or damaged", where=path.name, remedy=_AGAIN)
            made = _unpack(stream.read(data), path)
            kept_n += len(made)
            kept = [*kept, made] if kept_n <= _MOST_LOOKED_AT else []
    return kept


def _data_size(head: bytes) -> int:
    """Return the data size in the head of a block: field 3, a number; 0 where there is none."""
    at = 0
    while at < len(head):
        key, at = _varint(head, at)
        value, at = _varint(head, at)
        if key >> 3 == 3 and key & 7 == 0:
            return value
        at += value if key & 7 == 2 else 0
    return 0


def _varint(data: bytes, at: int) -> tuple[int, int]:
    value = shift = 0
    while at < len(data) and shift < 64:
        value |= (data[at] & 0x7F) << shift
        at += 1
        if data[at - 1] < 0x80:
            break
        shift += 7
    return value, at


def _unpack(blob: bytes, path: Path) -> bytes:
    """Return the data of a block unpacked, so that a damaged one is noticed: the reader would pass over it."""
    at, made = 0, b""
    while at < len(blob):
        key, at = _varint(blob, at)
        value, at = _varint(blob, at)
        if key & 7 != 2:
            continue
        part, at = blob[at : at + value], at + value
        if key >> 3 == 1:
            made = part
        if key >> 3 == 3:
            unpacker = zlib.decompressobj()
            try:
                made = unpacker.decompress(part, _MOST_BLOCK)
            except zlib.error:
                raise LayerError("the file is damaged", where=path.name, remedy=_AGAIN) from None
            if unpacker.unconsumed_tail or not unpacker.eof:
                raise LayerError("the file is damaged", where=path.name, remedy=_AGAIN)
    return made


def tagged_ways(data: list[bytes]) -> dict[str, int]:
    """Return how many of its points the file holds, for each way with tags."""
    known, ways = set[int](), dict[str, list[int]]()
    for block in data:
        for group in _parts(block, 2):
            for node in _parts(group, 1):
                known.update(_zigzag(one) for field, one in _fields(node) if field == 1 and isinstance(one, int))
            for dense in _parts(group, 2):
                known.update(one for packed in _parts(dense, 1) for one in _running(packed))
            for way in _parts(group, 3):
                _way(way, ways)
    return {way: sum(one in known for one in points) for way, points in ways.items()}


def _parts(data: bytes, wanted: int) -> Iterator[bytes]:
    return (value for field, value in _fields(data) if field == wanted and isinstance(value, bytes))


def _way(value: bytes, ways: dict[str, list[int]]) -> None:
    """Take a way that has tags to those found, with the names of its points."""
    parts = dict(_fields(value))
    refs = parts.get(8)
    if parts.get(2):
        ways[str(parts.get(1, 0))] = list(_running(refs)) if isinstance(refs, bytes) else []


def _running(packed: bytes) -> Iterator[int]:
    """Give the numbers of a packed list, each counted from the one before."""
    at = total = 0
    while at < len(packed):
        step, at = _varint(packed, at)
        total += _zigzag(step)
        yield total


def _zigzag(value: int) -> int:
    return (value >> 1) ^ -(value & 1)


def _fields(data: bytes) -> Iterator[tuple[int, int | bytes]]:
    """Give number and value of each field; of an encoding that is not known the rest is left."""
    at = 0
    while at < len(data):
        key, at = _varint(data, at)
        if key & 7 == _NUMBER:
            value, at = _varint(data, at)
            yield key >> 3, value
        elif key & 7 == _BYTES:
            size, at = _varint(data, at)
            yield key >> 3, data[at : at + size]
            at += size
        elif key & 7 in (_EIGHT, _FOUR):
            at += 8 if key & 7 == _EIGHT else 4
        else:
            return
