"""Assumed lines of a result, taken apart again: ``heads.throw_m (3 rows): ...``."""

from __future__ import annotations

import re
from dataclasses import dataclass

__all__ = ["AssumedLine", "read"]

_LINE = re.compile(r"^([a-z_]+)(?:\.([a-z_]+))?(?: \((\d+) rows?\))?: (.+)$", re.DOTALL)


@dataclass(frozen=True, slots=True)
class AssumedLine:
    """One line: layer and column it speaks of (empty where none), rows it was taken for, and what was taken."""

    layer: str
    column: str
    rows_n: int | None
    words: str

    @property
    def what(self) -> str:
        """``layer`` or ``layer.column``; empty where the line names neither."""
        return f"{self.layer}.{self.column}" if self.column else self.layer


def read(line: str) -> AssumedLine:
    """Return the parts of a line as `contract.Assumption` writes it; any other text becomes words alone."""
    found = _LINE.match(line)
    if found is None:
        return AssumedLine("", "", None, line)
    layer, column, rows_n, words = found.groups()
    return AssumedLine(layer, column or "", None if rows_n is None else int(rows_n), words)
