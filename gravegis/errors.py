"""Every error a person can cause: what is wrong, where, and how to mend it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Self

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = [
    "Cancelled",
    "CrsError",
    "GravegisError",
    "LayerError",
    "PlanError",
    "PluginError",
    "Problem",
    "SettingError",
    "StoreError",
]


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that is wrong: the fact, the place (file, layer, row, column) and the remedy."""

    problem: str
    where: str = ""
    remedy: str = ""

    def __str__(self) -> str:
        place = f"{self.where}: " if self.where else ""
        remedy = f"\n    To mend it: {self.remedy}" if self.remedy else ""
        return f"{place}{self.problem}{remedy}"


class GravegisError(Exception):
    """Root of all errors a person can mend; the command line ends with exit code 2 on it.

    GravegisError
      LayerError(ValueError)    a layer or file does not fit its schema
        CrsError                no usable coordinate reference system
      SettingError(ValueError)  a setting is out of range or misspelt
      PlanError                 analyses asked for cannot be run on this site
      PluginError               a plugin is broken or does not keep its contract
      StoreError                a site folder cannot be read or written
    """

    def __init__(self, problem: str, *, where: str = "", remedy: str = "") -> None:
        self.problems: tuple[Problem, ...] = (Problem(problem, where, remedy),)
        super().__init__(str(self.problems[0]))

    @classmethod
    def of(cls, problems: Sequence[Problem]) -> Self:
        """Return one error that carries all problems of one input, so that a file is mended once."""
        first, *rest = problems
        error = cls(first.problem, where=first.where, remedy=first.remedy)
        error.problems = (first, *rest)
        error.args = ("\n".join(str(problem) for problem in error.problems),)
        return error


class LayerError(GravegisError, ValueError):
    """A layer or a file does not fit its schema."""


class CrsError(LayerError):
    """The coordinate reference system is missing, unknown or does not suit the work."""


class SettingError(GravegisError, ValueError):
    """A setting is misspelt, has the wrong unit or is out of its range."""


class PlanError(GravegisError):
    """The analyses asked for cannot be run on this site."""


class PluginError(GravegisError):
    """A plugin cannot be loaded or does not keep its contract."""


class StoreError(GravegisError):
    """A site folder cannot be read or written."""


class Cancelled(Exception):  # noqa: N818 - a wish of the person, not an error
    """The person asked to stop; nothing was changed."""
