"""Portions of work on threads: compiled loops that hold no lock, each writing rows of its own."""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    from collections.abc import Callable

T = TypeVar("T")


def spread(work: Callable[[int, int], T], rows: int, *, portion: int, threads: int | None = None) -> list[T]:
    """Call ``work(first, last)`` for portions of some rows; return what they give, in order.

    The portions depend on ``portion`` alone, so that the number of threads (all processors by default) changes
    nothing but time. An error in one portion is raised once the portions under way have ended.
    """
    starts = range(0, rows, portion)
    count = min(len(starts), threads or os.cpu_count() or 1)
    if count <= 1:
        return [work(first, min(first + portion, rows)) for first in starts]
    with ThreadPoolExecutor(count) as pool:
        return list(pool.map(lambda first: work(first, min(first + portion, rows)), starts))
