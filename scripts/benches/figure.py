"""What a benchmark gives: figures with their target, and how each was measured."""

from __future__ import annotations

import gc
import os
import statistics
import sys
import time
from dataclasses import asdict, dataclass
from importlib.metadata import PackageNotFoundError, version
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

__all__ = ["Figure", "Spent", "UnequalError", "Work", "absent", "as_line", "check", "timed"]

LIBRARIES = ("numpy", "pandas", "geopandas", "shapely", "pyogrio", "fiona", "pyarrow", "scipy", "numba", "gravegis")
WARM = "each way once on a small set of the same kind, not counted"
QUICK = "quick: small set, the figure tells only that the benchmark works"


class UnequalError(Exception):
    """The two ways that are compared do not give the same: their times say nothing."""


@dataclass(frozen=True, slots=True)
class Work:
    """What a benchmark is given: where data sets are kept, the seed of them, and whether it must be quick."""

    folder: Path
    seed: int
    quick: bool

    def rows(self, full: int, quick: int) -> int:
        """Return how many rows to take."""
        return quick if self.quick else full


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """One figure: `value` in `unit` against `target` such as ``>= 8`` (empty: none); None where not measured.

    `processor_value` is the same by processor time: on a computer that others use too it tells more than the clock.
    """

    name: str
    value: float | None
    unit: str
    n: int
    data_set: str
    target: str = ""
    processor_value: float | None = None
    baseline_value: float | None = None
    baseline: str = "none: an absolute figure, of this computer"
    repeats: int = 1
    warm_up: str = WARM
    note: str = ""

    @property
    def holds(self) -> bool | None:
        """Whether the target is met; None where there is none or nothing was measured."""
        if self.value is None or not self.target:
            return None
        sign, limit = self.target.split()
        return self.value >= float(limit) if sign == ">=" else self.value <= float(limit)


def absent(name: str, why: str) -> Figure:
    """Return the line of a benchmark that cannot run here, with the reason."""
    return Figure(name=name, value=None, unit="", n=0, data_set="", warm_up="none", note=f"not available: {why}")


def as_line(figure: Figure, work: Work) -> dict[str, Any]:
    """Return all that is said of a figure, in the order it is printed."""
    said = asdict(figure)
    note = "; ".join(part for part in (said.pop("note"), QUICK if work.quick else "") if part)
    return {
        **{key: said.pop(key) for key in ("name", "value", "unit", "target")},
        "holds": None if work.quick else figure.holds,
        "seed": work.seed,
        **said,
        "note": note,
        "load_average": [round(one, 2) for one in os.getloadavg()] if hasattr(os, "getloadavg") else None,
        "cpu_count": os.cpu_count(),
        "versions": _versions(),
    }


def _versions() -> dict[str, str]:
    found = {"python": sys.version.split()[0]}
    for name in LIBRARIES:
        try:
            found[name] = version(name)
        except PackageNotFoundError:
            found[name] = "not installed"
    return found


@dataclass(frozen=True, slots=True)
class Spent:
    """Time of one way, by the clock and of the processor. [s]."""

    clock_s: float
    processor_s: float

    def __str__(self) -> str:
        """Return both in words."""
        return f"{self.clock_s:.3f} s ({self.processor_s:.3f} s of processor time)"

    def times(self, other: Spent) -> dict[str, Any]:
        """Return how many times longer this is than another, as the two values of a figure."""
        least = 1e-9  # a clock may not have moved
        return {
            "value": self.clock_s / max(other.clock_s, least),
            "processor_value": self.processor_s / max(other.processor_s, least),
        }


def timed(way: Callable[[], Any], repeats: int = 3) -> tuple[Spent, Any]:
    """Return the median times of some runs, and what the last one gave; garbage is swept before each."""
    clock, processor, result = list[float](), list[float](), None
    for _ in range(repeats):
        result = None  # what the run before gave would make the next one dearer
        gc.collect()
        begin = time.perf_counter(), time.process_time()
        result = way()
        clock.append(time.perf_counter() - begin[0])
        processor.append(time.process_time() - begin[1])
    return Spent(statistics.median(clock), statistics.median(processor)), result


def check(equal: bool, what: str) -> None:
    """Raise UnequalError unless two ways gave the same."""
    if not equal:
        raise UnequalError(what)
