"""What is missing for which analysis, from nothing but the declarations `needs` and `uses`: plugins come by themselves.

What a standing result says it took goes before what its analysis declares, for it knows the rows and the figure.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from gravegis.layers import schema
from gravegis.report import lines, mend, weigh
from gravegis.report.model import Gap, Instead

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    import numpy.typing as npt

    from gravegis.contract import Analysis
    from gravegis.report.model import ResultState
    from gravegis.site import Site

__all__ = ["Ground", "gaps_of", "lacks_of"]

NOTHING = "there are no rows: it runs and gives nothing"


@dataclass(frozen=True, slots=True, eq=False)
class Ground:
    """What gaps are found in: the site, all analyses by name, and which of them can run."""

    site: Site
    pool: Mapping[str, Analysis[Any]]
    runs: Sequence[str]

    @property
    def makers(self) -> dict[str, str]:
        """Layer -> the analysis that gives it."""
        return {layer: name for name, one in self.pool.items() for layer in one.gives}

    def will_be_made(self, layer: str) -> bool:
        """Whether an analysis that can run gives this layer."""
        return self.makers.get(layer) in self.runs


@dataclass(slots=True, eq=False)
class _Draft:
    """A gap while it is being gathered over the analyses."""

    layer: str
    column: str
    rows: npt.NDArray[np.bool_] | None
    blocks: list[str] = field(default_factory=list)
    instead: dict[str, list[Instead]] = field(default_factory=dict)


def lacks_of(ground: Ground, name: str) -> tuple[tuple[str, str], ...]:
    """Return (layer, column) an analysis cannot do without and will not find; column empty for the whole layer."""
    made = {
        (layer, column) for layer in ground.pool[name].needs if ground.will_be_made(layer)
        for column in ("", "geometry", *ground.pool[ground.makers[layer]].gives[layer])
    }  # fmt: skip
    there = {(layer, column) for layer in ground.site for column in ("", *ground.site[layer].columns)} | made
    out = [
        (layer, column if (layer, "") in there else "")
        for layer, columns in ground.pool[name].needs.items()
        for column in (columns or ("",))
        if (layer, column) not in there or (layer, "") not in there
    ]
    return tuple(dict.fromkeys(out))


def gaps_of(ground: Ground, results: Sequence[ResultState], folder: str) -> tuple[Gap, ...]:
    """Return everything that is missing, the one on which most answers hang first; silent ones stand last.

    Parameters
    ----------
    results
        States of the results in the site; the Assumed lines of those that hold are taken at their word.
    folder
        Name of the site in the commands that mend a gap.
    """
    said = {one.analysis: [lines.read(text) for text in one.assumed] for one in results if one.holds}
    drafts: dict[tuple[str, str], _Draft] = {}
    for name in ground.pool:
        for layer, column, instead in _missing(ground, name, said.get(name)):
            draft = drafts.setdefault((layer, column), _Draft(layer, column, _rows(ground.site, layer, column)))
            if instead is None:
                draft.blocks.append(name)
            else:
                draft.instead.setdefault(name, []).append(instead)
    stones, later = weigh.Stones(ground.site), weigh.built_on(ground.pool)
    waiting = weigh.built_on(ground.pool, by_needs=True)
    made = [_gap(ground, draft, stones, later, waiting, folder) for draft in drafts.values()]
    return tuple(sorted(made, key=lambda one: (one.is_silent, -one.answers_n, -len(one.blocks), -len(one.results))))


def _missing(
    ground: Ground, name: str, said: Sequence[lines.AssumedLine] | None
) -> Iterator[tuple[str, str, Instead | None]]:
    """Give what is missing for one analysis; without `Instead` where it cannot run without it."""
    lacks = lacks_of(ground, name)
    # what another analysis would give is missing there, not here
    yield from ((layer, column, None) for layer, column in lacks if layer not in ground.makers)
    seen = {f"{layer}.{column}" if column else layer for layer, column in lacks}
    for layer, column, words in (*_empty(ground, name), *_unused(ground, name)):
        what = f"{layer}.{column}" if column else layer
        if what not in seen:
            seen.add(what)
            yield layer, column, _instead(name, what, words, said)
    for line in said or ():
        # what only the run found out, such as a name that stands nowhere
        if line.what not in seen and schema.is_known(line.layer) and weigh.is_input(line.layer):
            yield line.layer, line.column, Instead(name, _taken(line), from_result=True)


def _empty(ground: Ground, name: str) -> Iterator[tuple[str, str, str]]:
    """Give the layers an analysis needs that are there without a row."""
    for layer in ground.pool[name].needs:
        if layer in ground.site and ground.site[layer].empty and weigh.is_input(layer):
            yield layer, "", NOTHING


def _unused(ground: Ground, name: str) -> Iterator[tuple[str, str, str]]:
    """Give what an analysis would use and does not find, with what it declares to take instead."""
    one, site = ground.pool[name], ground.site
    for layer, columns in one.uses.items():
        if not site.has(layer):
            # a layer only a plugin knows cannot be brought in by anybody
            if layer not in one.needs and schema.is_known(layer) and not ground.will_be_made(layer):
                yield layer, "", columns.get("*", "")
            continue
        for column, words in columns.items():
            rows = _rows(site, layer, column)
            if column != "*" and (words or weigh.is_input(layer)) and rows is not None and rows.any():
                yield layer, column, words


def _rows(site: Site, layer: str, column: str) -> npt.NDArray[np.bool_] | None:
    """Return which rows of a layer lack a column; None where the layer as a whole is meant or not there."""
    if column in ("", "*") or layer not in site:
        return None
    frame = site[layer]
    if column not in frame.columns:
        return np.ones(len(frame), dtype=np.bool_)
    return np.asarray(frame[column].isna(), dtype=np.bool_)


def _instead(name: str, what: str, words: str, said: Sequence[lines.AssumedLine] | None) -> Instead:
    if said is None:
        return Instead(name, words)
    return Instead(name, "; ".join(_taken(line) for line in said if line.what == what), from_result=True)


def _taken(line: lines.AssumedLine) -> str:
    if line.rows_n is None:
        return line.words
    return f"{line.words} (taken for {line.rows_n} row{'s' * (line.rows_n != 1)})"


def _gap(
    ground: Ground,
    draft: _Draft,
    stones: weigh.Stones,
    later: Mapping[str, tuple[str, ...]],
    waiting: Mapping[str, tuple[str, ...]],
    folder: str,
) -> Gap:
    blocks = _in_order(ground, {*draft.blocks, *(two for one in draft.blocks for two in waiting[one])} - {*ground.runs})
    readers = {*draft.blocks, *draft.instead}
    hang = {*readers, *(two for one in readers for two in later[one])} & {*ground.runs, *blocks}
    results = _in_order(ground, hang)
    rows = draft.rows if draft.rows is None or draft.rows.any() else None
    stones_n = stones.of(draft.layer, rows)
    maker = ground.makers.get(draft.layer, "")
    return Gap(
        layer=draft.layer,
        column=draft.column,
        name=mend.name_of(draft.layer, draft.column),
        rows_n=None if draft.rows is None else int(draft.rows.sum()),
        of_n=None if draft.rows is None else len(draft.rows),
        stones_n=stones_n,
        blocks=blocks,
        instead=tuple(one for some in draft.instead.values() for one in some),
        results=results,
        answers_n=stones_n * len(results),
        measure=mend.way_to(draft.layer, draft.column, maker),
        command=mend.command(folder, draft.layer, draft.column, maker),
    )


def _in_order(ground: Ground, names: set[str]) -> tuple[str, ...]:
    return tuple(name for name in ground.pool if name in names)
