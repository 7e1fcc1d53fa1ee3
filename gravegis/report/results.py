"""Results in the site, each with its state in words: the one place that asks whether a result still holds."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gravegis import staleness
from gravegis.report.model import ResultState

if TYPE_CHECKING:
    from gravegis.site import Site

__all__ = ["result_states"]


def result_states(site: Site) -> tuple[ResultState, ...]:
    """Return every result of the log in its order, and whether it still follows from the layers."""
    gone = {one.analysis: "; ".join(one.reasons) for one in staleness.stale(site)}
    return tuple(
        ResultState(
            record.analysis,
            record.analysis not in gone,
            f"out of date: {gone[record.analysis]}" if record.analysis in gone else "holds",
            record.assumed,
        )
        for record in site.log
    )
