"""The map of change between two surveys: what became of each stone, with the table of grades then and now."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gravegis.outputs import figure, pages
from gravegis.outputs.pages import About
from gravegis.outputs.things import bounds_m, ground, shapes_of, stones_of

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from gravegis.layers.canonical import Frame
    from gravegis.site import Site

__all__ = ["change_map", "table_of_change"]

KINDS = {
    "worse": "change_worse", "better": "change_better", "same": "change_same", "new": "change_new",
    "not graded": "change_not_graded", "lost": "change_lost",
}  # fmt: skip
"""What became of a stone and how it is drawn, the most telling first."""
_NOT_SEEN = "stone"


def change_map(
    site: Site, *, made_on: str = "", paper: str = "A4", plan_hash: str = "", page: tuple[int, int] = (1, 1)
) -> Figure:
    """Return the page of change of the condition class, with the grades then and now in words."""
    about = About(made_on, paper, plan_hash, page)
    stones, rows = site["stones"], _overall(site)
    shapes = shapes_of(stones)
    change = rows.set_index("stone_id")["change"].reindex(stones["stone_id"])
    kinds = [KINDS.get(str(one), _NOT_SEEN) for one in change]
    words = {_NOT_SEEN: "stone in neither survey"}
    drawn = [*stones_of(shapes, kinds, words, (*KINDS.values(), _NOT_SEEN)), *ground(site)]
    gone = int((~rows["stone_id"].isin(stones["stone_id"])).sum())
    first = [_days(rows), *table_of_change(rows)]
    if gone:
        first.append(f"{gone} stones of a survey have no place on file and are not drawn.")
    page_words = pages.page_of(site, "Change since the last survey", ("change",), about, first=first)
    sheet = pages.start(site, page_words, drawn, bounds_m(shapes, around=drawn), about)
    pages.rows_and_sections(site, sheet, pages.board_of(sheet, drawn))
    figure.remark(sheet, pages.covered(sheet, shapes))
    return sheet.figure


def _overall(site: Site) -> Frame:
    table = site["stone_change"]
    return table[table["harm"] == "overall"]


def _days(rows: Frame) -> str:
    spans = []
    for name in ("before_on", "now_on"):
        days = sorted(rows[name].dropna())
        last = f" to {days[-1]}" if days and days[-1] > days[0] else ""
        spans.append(f"{days[0]}{last}" if days else "on days not recorded")
    return f"Condition class, 0 to 3, of the survey {spans[0]} against that {spans[1]}"


def table_of_change(rows: Frame) -> list[str]:
    """Return the table of grades then and now, a line per grade then; nothing where none was graded both times."""
    both = rows.dropna(subset=["before", "now"])
    said = []
    for grade in sorted(both["before"].unique().tolist()):
        now = both.loc[both["before"] == grade, "now"].to_numpy(dtype=np.int64)
        parts = [f"{int((now == one).sum())} are {one}" for one in range(4) if (now == one).any()]
        said.append(f"{len(now)} were {grade}: {', '.join(parts)}")
    return [f"Then and now: {'; '.join(said)}."] if said else []
