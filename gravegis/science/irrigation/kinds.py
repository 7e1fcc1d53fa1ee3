"""What is usual for each kind of sprinkler head, for where nothing better is known."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["HeadKind", "head_kinds"]


@dataclass(frozen=True, slots=True)
class HeadKind:
    """A kind of head: range of throw, or usual size of its strip. [m]."""

    kind: str
    strip_side: str
    throw_low_m: float
    throw_high_m: float
    strip_length_m: float
    strip_width_m: float
    source: str

    @property
    def throw_m(self) -> float:
        """Middle of the range: a figure to rank by, not a measurement. [m]."""
        return (self.throw_low_m + self.throw_high_m) / 2


def _figure(text: str) -> float:
    return float(text) if text else float("nan")


@cache
def head_kinds() -> Mapping[str, HeadKind]:
    """Return the kinds by name; every row carries its source."""
    text = files("gravegis.science").joinpath("data", "head_kinds.csv").read_text(encoding="utf-8")
    return {
        row["kind"]: HeadKind(
            kind=row["kind"],
            strip_side=row["strip_side"],
            throw_low_m=_figure(row["throw_low_m"]),
            throw_high_m=_figure(row["throw_high_m"]),
            strip_length_m=_figure(row["strip_length_m"]),
            strip_width_m=_figure(row["strip_width_m"]),
            source=row["source"],
        )
        for row in csv.DictReader(text.splitlines())
    }
