"""What an analysis is: a plain object that declares what it reads, gives and can be set to, and one function.

From this declaration come the subcommand, the help page, the order of a run and the contract suite
(`gravegis.testing`). A plugin registers an `Analysis` under the entry-point group ``gravegis.analyses``.
"""

from __future__ import annotations

import hashlib
import inspect
import math
from dataclasses import dataclass, field, fields, replace
from typing import TYPE_CHECKING, Any, ClassVar, Generic, Protocol, TypeVar

from gravegis.errors import Cancelled, PluginError, Problem, SettingError
from gravegis.kinds import (
    Choice,
    Flag,
    Kind,
    Number,
    Text,
    choice,
    day_typed,
    flag,
    number,
    text,
    time_typed,
    whole,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from dataclasses import Field

    import numpy as np

    from gravegis.layers.canonical import Frame
    from gravegis.site import Raster, Site

__all__ = [
    "FACTS",
    "Analysis",
    "Assumption",
    "Choice",
    "Flag",
    "Job",
    "Number",
    "Result",
    "Text",
    "choice",
    "day_typed",
    "flag",
    "listed",
    "number",
    "text",
    "time_typed",
    "whole",
]


FACTS = ("crs", "time_zone", "seed")
"""What is true of the whole site and may change a result."""


class Settings(Protocol):
    """Any frozen dataclass whose fields were declared with the functions above."""

    __dataclass_fields__: ClassVar[dict[str, Any]]


S = TypeVar("S", bound=Settings)


@dataclass(frozen=True, slots=True)
class Assumption:
    """What was missing and what was taken instead, for the Assumed box on every map, sheet and table."""

    what: str
    words: str
    rows_n: int | None = None

    def __str__(self) -> str:
        count = "" if self.rows_n is None else f" ({self.rows_n} row{'' if self.rows_n == 1 else 's'})"
        return f"{self.what}{count}: {self.words}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Result:
    """What an analysis gives: layers, grids, the answer in words, and what it assumed beyond its `uses`."""

    layers: Mapping[str, Frame] = field(default_factory=dict)
    grids: Mapping[str, Raster] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    assumed: tuple[Assumption, ...] = ()


@dataclass(frozen=True, slots=True)
class Job:
    """The run around an analysis: progress, cancelling and the only source of chance."""

    seed: int = 1
    report: Callable[[float, str], None] = lambda share, words: None
    cancelled: Callable[[], bool] = lambda: False

    def progress(self, share: float, words: str) -> None:
        """Say how far the work is (0 to 1); also a place where it can be cancelled."""
        self.check()
        self.report(min(max(share, 0.0), 1.0), words)

    def check(self) -> None:
        """Raise Cancelled when the person asked to stop; called at least every 100 ms of work."""
        if self.cancelled():
            raise Cancelled

    def rng(self, name: str) -> np.random.Generator:
        """Return the generator of this name: same site seed and name, same numbers."""
        import numpy as np

        words = hashlib.sha256(name.encode()).digest()[:8]
        return np.random.default_rng([self.seed, int.from_bytes(words, "big")])


@dataclass(frozen=True, slots=True, kw_only=True)
class Analysis(Generic[S]):
    """One step from layers to layers.

    Parameters
    ----------
    name, title, question
        The word on the command line, the heading, and the question it answers.
    needs
        Layer -> columns without which nothing can be said.
    uses
        Layer -> column -> what is assumed without it. The column ``*`` stands for the layer as a whole; an
        empty text means that nothing is assumed: the column is read, and where it is missing nothing is said.
    gives
        Layer -> column -> meaning.
    gives_grids
        Grid -> meaning.
    may_be_missing
        ``layer.column`` of results that may hold nothing, or one value only, on a good site.
    settings
        A frozen dataclass of declared settings.
    run
        The pure function; it never changes the site it is given.
    version
        Raised whenever the same input may give another result.
    sources
        Where method and figures come from.
    tables
        Tables of ``gravegis/science/data`` it looks things up in; None, when not stated, for all of them. A table
        or fact that changes makes the result out of date (`gravegis.staleness`).
    facts
        What it reads of the site as a whole: of `FACTS`; all of them when not stated.
    """

    name: str
    title: str
    question: str
    needs: Mapping[str, tuple[str, ...]]
    uses: Mapping[str, Mapping[str, str]]
    gives: Mapping[str, Mapping[str, str]]
    settings: type[S]
    run: Callable[[Site, S, Job], Result]
    version: int
    sources: tuple[str, ...]
    gives_grids: Mapping[str, str] = field(default_factory=dict)
    may_be_missing: frozenset[str] = frozenset()
    tables: tuple[str, ...] | None = None
    facts: tuple[str, ...] = FACTS

    def kinds(self) -> dict[str, tuple[object, Kind]]:
        """Return each setting's default and kind, in the order declared."""
        return {one.name: (one.default, _kind(one, self.name)) for one in fields(self.settings)}

    def read(self, typed: Mapping[str, str], saved: Mapping[str, object] | None = None) -> S:
        """Return settings: what was typed, else what was saved, else the default.

        Raises SettingError with every problem; command line, window and Python all go this way.
        """
        kinds, values, problems = self.kinds(), dict[str, object](), list[Problem]()
        for name, value in {**_as_typed(saved or {}), **typed}.items():
            if name not in kinds:
                known = ", ".join(kinds) or "none"
                problems.append(Problem(f"there is no setting '{name}'", self.name, f"Settings: {known}."))
                continue
            try:
                values[name] = kinds[name][1].read(value)
            except SettingError as error:
                remedy = error.problems[0].remedy or f"Allowed: {kinds[name][1].range_text()}."
                problems.append(Problem(error.problems[0].problem, f"{self.name}.{name}", remedy))
        if problems:
            raise SettingError.of(problems)
        return self.settings(**values)

    def reads(self) -> dict[str, tuple[str, ...]]:
        """Return every layer and column this analysis reads."""
        layers = dict.fromkeys([*self.needs, *self.uses])
        return {
            layer: tuple(
                dict.fromkeys([*self.needs.get(layer, ()), *(c for c in self.uses.get(layer, {}) if c != "*")])
            )
            for layer in layers
        }

    def summary(self) -> str:
        """Return in a few lines what it needs, uses and gives."""
        needs = "; ".join(f"{layer} ({', '.join(columns)})" for layer, columns in self.needs.items())
        lines = [f"Needs: {needs}.", f"Uses where there: {', '.join(self.uses) or 'nothing more'}."]
        lines += [f"Gives: {', '.join([*self.gives, *self.gives_grids])}."]
        return "\n".join(lines)

    def reference(self) -> str:
        """Return the help page: question, method, settings with range and source, what it reads and gives."""
        method = inspect.cleandoc(self.run.__doc__ or "")
        lines = [f"{self.title} ({self.name})", "", self.question, "", method, "", "Settings"]
        for name, (default, kind) in self.kinds().items():
            lines += [f"  {name} = {default}", f"      {kind.help} Range: {kind.range_text()}. Source: {kind.source}."]
        lines += ["", "Needs"] + [f"  {layer}: {', '.join(columns)}" for layer, columns in self.needs.items()]
        lines += ["", "Uses where there; assumed without it"]
        for layer, columns in self.uses.items():
            lines += [f"  {layer}.{column}: {words or 'nothing is assumed'}" for column, words in columns.items()]
        lines += ["", "Gives"]
        for layer, columns in self.gives.items():
            lines += [f"  {layer}.{column}: {meaning}" for column, meaning in columns.items()]
        lines += [f"  grid {name}: {meaning}" for name, meaning in self.gives_grids.items()]
        lines += ["", "Sources"] + [f"  {source}" for source in self.sources]
        return "\n".join(lines)

    def lacks(self, site: Site) -> tuple[str, ...]:
        """Return what the analysis cannot do without and the site lacks: ``layer`` or ``layer.column``."""
        out: list[str] = []
        for layer, columns in self.needs.items():
            if layer not in site:
                out.append(layer)
                continue
            there = site[layer].columns
            out.extend(f"{layer}.{column}" for column in columns if column not in there)
        return tuple(out)

    def work(self, site: Site, settings: S | None = None, job: Job | None = None) -> Result:
        """Run on a site and add what was assumed for missing `uses`; raises PluginError where a need is missing.

        What the analysis itself says of a layer or column takes the place of the declared line, for it knows how
        many rows it was assumed for and with which figure; 0 rows mean that it was not assumed at all.
        """
        lacks = self.lacks(site)
        if lacks:
            raise PluginError(
                f"{self.name} cannot run without {', '.join(lacks)}", where=self.name,
                remedy="Add the layer, or run the analysis that gives it.",
            )  # fmt: skip
        result = self.run(site, settings if settings is not None else self.settings(), job or Job(seed=site.info.seed))
        own = {one.what for one in result.assumed}
        declared = [one for one in self._assumed(site) if one.what not in own]
        return replace(result, assumed=(*declared, *(one for one in result.assumed if one.rows_n != 0)))

    def _assumed(self, site: Site) -> tuple[Assumption, ...]:
        out: list[Assumption] = []
        for layer, columns in self.uses.items():
            if not site.has(layer):
                if columns.get("*"):
                    out.append(Assumption(layer, columns["*"]))
                continue
            frame = site[layer]
            for column, words in columns.items():
                missing = len(frame) if column not in frame.columns else int(frame[column].isna().sum())
                if column != "*" and words and missing:
                    out.append(Assumption(f"{layer}.{column}", words, missing))
        return tuple(out)


def listed(words: Sequence[str], most_n: int = 8) -> str:
    """Return names for a note, the first few and how many more there are."""
    more = f" and {len(words) - most_n} more" if len(words) > most_n else ""
    return ", ".join(words[:most_n]) + more


def _kind(one: Field[Any], name: str) -> Kind:
    try:
        kind: Kind = one.metadata["kind"]
    except KeyError:
        raise PluginError(
            f"setting {one.name} has no kind",
            where=name,
            remedy="Declare it with number(), choice(), flag() or text().",
        ) from None
    return kind


def _as_typed(saved: Mapping[str, object]) -> dict[str, str]:
    """Return saved values as a person would have typed them, so that one reader checks both."""
    return {name: _typed_form(value) for name, value in saved.items()}


def _typed_form(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float) and math.isfinite(value):
        return repr(value)
    return str(value)
