"""What the report says, as plain frozen values: whoever prints, draws or sends it adds nothing to it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from gravegis.layers.ask import Measurement
    from gravegis.layers.check import Finding

__all__ = ["AnalysisState", "Gap", "Instead", "LayerLine", "Report", "ResultState"]


@dataclass(frozen=True, slots=True)
class LayerLine:
    """One layer of the site: its name, role, what it is, and how many rows it has."""

    layer: str
    role: str
    words: str
    rows_n: int


@dataclass(frozen=True, slots=True)
class Instead:
    """What one analysis takes instead of what is missing; `from_result`: as its standing result says it did.

    `words` are empty where nothing is declared to be taken, or where the standing result took nothing.
    """

    analysis: str
    words: str
    from_result: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap:
    """One thing that is missing for one analysis or several.

    Parameters
    ----------
    layer, column
        Name of the schema; `column` is empty where the layer as a whole is missing.
    name
        The same in words.
    rows_n, of_n
        Rows without it, of how many; None where the layer as a whole is missing.
    stones_n
        Stones that hang on these rows (own rule, see `weigh`).
    blocks
        Analyses that cannot run without it, the one that needs it first.
    instead
        What each analysis that reads it takes instead.
    results
        Analyses that can run and whose answers hang on it, directly or because they build on such results.
    answers_n
        Answers that may change: `stones_n` for each of `results`, the order of worth.
    measure, command
        How to come by it, and the command that brings it in.
    """

    layer: str
    column: str
    name: str
    rows_n: int | None
    of_n: int | None
    stones_n: int
    blocks: tuple[str, ...]
    instead: tuple[Instead, ...]
    results: tuple[str, ...]
    answers_n: int
    measure: str
    command: str

    @property
    def what(self) -> str:
        """``layer`` or ``layer.column``, as in the Assumed lines of a result."""
        return f"{self.layer}.{self.column}" if self.column else self.layer

    @property
    def is_silent(self) -> bool:
        """Whether it stops nothing and nothing is declared to be taken instead."""
        return not self.blocks and not any(one.words for one in self.instead)

    @property
    def analyses(self) -> tuple[str, ...]:
        """The analyses it is missing for."""
        return tuple(dict.fromkeys((*self.blocks, *(one.analysis for one in self.instead))))


@dataclass(frozen=True, slots=True, kw_only=True)
class AnalysisState:
    """Whether one analysis can run, and what is missing for it.

    `state` says it in words; `lacks` names what it cannot do without; `gaps` are numbers of the report's gaps,
    counted from 1.
    """

    name: str
    title: str
    question: str
    can_run: bool
    state: str
    lacks: tuple[str, ...]
    gaps: tuple[int, ...]
    gives: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ResultState:
    """A result in the site: whether it still follows from the layers, in words, and its Assumed lines as recorded."""

    analysis: str
    holds: bool
    state: str
    assumed: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """One report over a site: what can be answered, what is missing, what is doubtful, what to measure next."""

    title: str
    crs: str
    crs_basis: str
    time_zone: str
    made_on: str
    layers: tuple[LayerLine, ...]
    analyses: tuple[AnalysisState, ...]
    gaps: tuple[Gap, ...]
    findings: tuple[Finding, ...]
    sources: tuple[str, ...]
    brought_in: tuple[str, ...]
    results: tuple[ResultState, ...]
    measurements: tuple[Measurement, ...]

    @property
    def errors_n(self) -> int:
        """Remarks that would make figures wrong."""
        return sum(one.severity == "error" for one in self.findings)

    @property
    def kept(self) -> tuple[Finding, ...]:
        """Remarks about values that are kept as typed."""
        return tuple(one for one in self.findings if one.is_kept)

    @property
    def doubtful(self) -> tuple[Finding, ...]:
        """All other remarks."""
        return tuple(one for one in self.findings if not one.is_kept)
