"""What was assumed, in a form that other programs read: lists of layer, column, rows and words."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from gravegis.outputs import words
from gravegis.report.lines import read

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gravegis.site import ResultRecord, Site

__all__ = ["assumed_behind", "assumed_line", "builds_on"]


def assumed_line(line: str) -> dict[str, Any]:
    """Return one Assumed line: layer, column and rows where it names them, else None; the words, and all as text."""
    part = read(line)
    return {
        "layer": part.layer or None,
        "column": part.column or None,
        "rows_n": part.rows_n,
        "words": part.words,
        "text": words.told([line])[0],
    }


def builds_on(site: Site, layer: str) -> tuple[ResultRecord, ...]:
    """Return the results a layer comes from: the one that gives it and all those that one was built on."""
    makers = {name: record for record in site.log for name in record.gives}
    found: dict[str, ResultRecord] = {}
    todo: list[str] = [layer]
    while todo:
        record = makers.get(todo.pop())
        if record is not None and record.analysis not in found:
            found[record.analysis] = record
            todo.extend(_layers_read(record))
    return tuple(record for record in site.log if record.analysis in found)


def _layers_read(record: ResultRecord) -> Sequence[str]:
    """Return the layers a result was worked out from, as its record tells them."""
    return [name.partition(".")[0] for name in record.inputs]


def assumed_behind(site: Site, layer: str) -> list[dict[str, Any]]:
    """Return everything that was assumed on the way to a layer, each line with the analysis that assumed it.

    What was assumed when layers were brought in comes last, with None for the analysis.
    """
    lines = [
        {"analysis": record.analysis, **assumed_line(line)}
        for record in builds_on(site, layer)
        for line in record.assumed
    ]
    own = [
        {"analysis": None, "layer": None, "column": None, "rows_n": None, "words": text, "text": text}
        for text in words.site_assumed(site)
    ]
    return [*lines, *own]
