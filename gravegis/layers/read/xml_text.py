"""Texts in XML, read without anything that expands, includes or looks elsewhere."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from typing import TYPE_CHECKING, Any
from xml.parsers import expat

from gravegis.errors import LayerError

if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import BinaryIO

__all__ = ["scan", "tree", "words_of"]

# Far beyond any drawing of a cemetery, well within the memory of an office computer: common practice, no source.
MOST_DEEP, MOST_ELEMENTS = 200, 5_000_000
_CHUNK = 1 << 20
_AGAIN = "Export it again."


class _RefusedError(Exception):
    """Stops the parser from inside a handler."""


def scan(
    stream: BinaryIO, where: str, *, start: Callable[[str, dict[str, str]], object],
    end: Callable[[str], object] = lambda name: None, data: Callable[[str], object] | None = None,
) -> None:  # fmt: skip
    """Walk through a text in XML from its first byte to its last, calling back with plain names.

    Raises LayerError where it has a document type or entities of its own (a few lines of them grow to gigabytes,
    and they may name files), where it is cut or no XML, or has more parts than any file of a cemetery.
    """
    parser, counts = expat.ParserCreate(namespace_separator="}"), [0, 0]

    def opened(name: str, attributes: dict[str, str]) -> None:
        counts[0] += 1
        counts[1] += 1
        if counts[0] > MOST_DEEP or counts[1] > MOST_ELEMENTS:
            raise _RefusedError(f"it has more than {MOST_ELEMENTS:,} elements or {MOST_DEEP} one in the other")
        start(_plain(name), {_plain(key): value for key, value in attributes.items()})

    def closed(name: str) -> None:
        counts[0] -= 1
        end(_plain(name))

    def refused(*_: Any) -> None:  # noqa: ANN401 - whatever the parser gives
        raise _RefusedError(
            "it has a document type or entities of its own, which no program that makes such files writes"
        )

    parser.buffer_text = True
    parser.StartElementHandler, parser.EndElementHandler = opened, closed
    parser.StartDoctypeDeclHandler = parser.EntityDeclHandler = refused
    if data is not None:
        parser.CharacterDataHandler = data
    _feed(parser, stream, where)


def _feed(parser: expat.XMLParserType, stream: BinaryIO, where: str) -> None:
    try:
        while chunk := stream.read(_CHUNK):
            parser.Parse(chunk, False)
        parser.Parse(b"", True)
    except _RefusedError as error:
        raise LayerError(f"the file is refused: {error}", where=where, remedy=_AGAIN) from None
    except (expat.ExpatError, ValueError, LookupError) as error:
        raise LayerError(f"the file is cut or no XML ({error})", where=where, remedy=_AGAIN) from None


def _plain(name: str) -> str:
    return name.rpartition("}")[2]


def tree(stream: BinaryIO, where: str, *, root: tuple[str, ...]) -> ET.Element:
    """Return a text in XML as a tree with plain names; raises LayerError as `scan`, and for another root."""
    builder = ET.TreeBuilder()
    scan(stream, where, start=builder.start, end=builder.end, data=builder.data)
    top = builder.close()
    if top.tag not in root:
        raise LayerError(
            f"the file begins with <{top.tag[:40]}>, not <{root[0]}>", where=where, remedy="Is its ending right?"
        )
    return top


def words_of(parent: ET.Element, name: str) -> str | None:
    """Return the text of a child, without blanks around; None where there is none."""
    found = parent.find(name)
    return None if found is None or found.text is None or not found.text.strip() else found.text.strip()
