"""What is said on the way of a file into a site; problems are gathered, so that a file is mended once."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from gravegis.errors import CrsError, LayerError, Problem
from gravegis.layers.read.raw import brief

if TYPE_CHECKING:
    from collections.abc import Iterable

    from gravegis.layers.schema import Layer

__all__ = ["Road"]


@dataclass(slots=True)
class Road:
    """What is said on the way; problems are gathered, so that a file is mended once.

    `replaces` tells that rows are named by what they are of, so one of a name that is there takes its place;
    `faults` holds by head the fault that a walk noted, and the day.
    """

    layer: Layer
    file: str
    notes: list[str] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)
    assumed: list[str] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    other_than_crs: bool = False
    replaces: bool = False
    faults: dict[str, tuple[str, str]] = field(default_factory=dict)

    def add(self, problems: Iterable[Problem], *, of_crs: bool = False) -> None:
        """Gather problems, each with the name of the file in front of its place."""
        for one in problems:
            where = one.where if self.file in one.where else ", ".join(part for part in (self.file, one.where) if part)
            words = {"problem": brief(one.problem), "where": brief(where), "remedy": brief(one.remedy)}
            self.problems.append(Problem(**words))
            self.other_than_crs |= not of_crs

    def stop(self) -> None:
        """Raise everything gathered so far as one error."""
        if self.problems:
            raise (LayerError if self.other_than_crs else CrsError).of(self.problems)

    def tidy(self) -> None:
        """Make words of strangers fit for a message, also those that a site keeps."""
        for said in (self.notes, self.warnings, self.assumed):
            said[:] = [brief(words) for words in said]
        self.file = brief(self.file, 200)
