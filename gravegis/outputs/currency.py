"""The mark on everything made for people that shows a result which no longer holds: what, why, and to run again."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gravegis import staleness
from gravegis.outputs import words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gravegis.site import Site

__all__ = ["OUT_OF_DATE", "listed", "mark"]

OUT_OF_DATE = "OUT OF DATE"
_RUN = "Run again before use."
MOST_TITLES, MOST_REASONS = 2, 3
"""Results and reasons in one mark, so that it stays a band; own choice. All of them stand in answers.txt."""


def mark(site: Site, analyses: Sequence[str], *, first: str = "") -> str:
    """Return the words of the mark for a page that shows what these analyses gave; empty where all of it holds.

    `first` is a sentence that comes before what is out of date.
    """
    found = staleness.stale(site)
    shown = sorted((one for one in found if one.analysis in analyses), key=lambda one: analyses.index(one.analysis))
    if not shown:
        return ""
    titles = words.listed((staleness.title_of(one.analysis) for one in shown), MOST_TITLES)
    traced = staleness.traced(found, [one.analysis for one in shown])
    reasons = list(dict.fromkeys(reason for one in traced for reason in one.changed))
    more = [f"and {len(reasons) - MOST_REASONS} more, see answers.txt"] if len(reasons) > MOST_REASONS else []
    why = "; ".join((*reasons[:MOST_REASONS], *more))
    verb = "was" if len(shown) == 1 else "were"
    return words.one_line(f"{OUT_OF_DATE}: {first} {titles} {verb} worked out before changes ({why}). {_RUN}")


def listed(site: Site) -> tuple[str, ...]:
    """Return a line per result of the site that no longer holds, with every reason."""
    return tuple(words.one_line(f"{OUT_OF_DATE}: {one}. {_RUN}") for one in staleness.stale(site))
