"""The edge to other people's libraries: they meet a damaged file with whatever error their parts happen to raise."""

from __future__ import annotations

import warnings
from contextlib import contextmanager
from typing import TYPE_CHECKING

from gravegis.errors import GravegisError, LayerError

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

__all__ = ["library_reads"]

_LONG = 160


@contextmanager
def library_reads(path: Path, what: str = "file", remedy: str = "Export it again.") -> Iterator[None]:
    """Turn any error of a library into a LayerError that says that the file is cut or damaged.

    Only calls of the library stand inside, so that errors of our own are not hidden. Its warnings are dropped:
    what they tell is judged by the rows that come out.

    Parameters
    ----------
    what
        What the file is, in words: ``workbook``, ``drawing``.
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            yield
    except (GravegisError, MemoryError):
        raise
    except Exception as error:  # noqa: BLE001 - see above: there is no list of what damage raises
        said = " ".join(str(error).split())[:_LONG]
        words = f"the {what} is cut or damaged, or not of its kind ({type(error).__name__}: {said})"
        raise LayerError(words, where=path.name, remedy=remedy) from None
