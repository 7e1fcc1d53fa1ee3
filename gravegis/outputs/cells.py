"""Cells and files of tables that office programs open without harm."""

from __future__ import annotations

import csv
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

__all__ = ["harmless", "write_csv"]

RISKY = ("=", "+", "-", "@", "\t", "\r", "＝", "＋", "－", "＠")
"""First signs that make an office program take a text for a formula (common practice, no source)."""


def harmless(text: str) -> str:
    """Return text that no office program takes for a formula."""
    return f"'{text}" if text.startswith(RISKY) else text


def write_csv(file: Path, rows: Iterable[list[str]]) -> None:
    """Write rows of text, in UTF-8 with a byte-order mark."""
    with file.open("w", encoding="utf-8-sig", newline="") as out:
        csv.writer(out).writerows(rows)
