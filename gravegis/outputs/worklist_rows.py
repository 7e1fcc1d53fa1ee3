"""The stones of the worklist as the pages read them: with their place, their group, and what goes out or is held."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from gravegis.outputs import words

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from gravegis.site import Site

__all__ = ["NO_BLOCK", "Row", "in_blocks", "place_n", "row_of", "rows_of", "short_name", "short_place", "total", "what"]

NO_BLOCK = "outside every group"
SHORT = {"scrub now": "cleaner, scrub now", "apply and leave": "cleaner, leave on", "water only": "water, soft brush"}
LOOK = "look and record"


@dataclass(frozen=True, slots=True)
class Row:
    """A stone of the worklist with the rows of ``stones`` and of its group."""

    work: Mapping[str, Any]
    stone: Mapping[str, Any]
    block: str

    @property
    def goes_out(self) -> bool:
        """Whether a crew may go to it."""
        return self.work["who"] == "crew" and not self.work["hold"]

    @property
    def is_held(self) -> bool:
        """Whether a crew would go to it but for what holds it."""
        return self.work["who"] == "crew" and bool(self.work["hold"])


def rows_of(site: Site) -> list[Row]:
    """Return the worklist, most urgent first."""
    stones = {row["stone_id"]: row for row in words.records(site, "stones")}
    blocks = {row["stone_id"]: row["cluster_id"] for row in words.records(site, "stone_clusters")}
    made = [
        Row(work, stones.get(work["stone_id"], {}), blocks.get(work["stone_id"]) or NO_BLOCK)
        for work in words.records(site, "worklist")
    ]
    return sorted(made, key=lambda row: (-(row.work["priority"] or 0), row.block, words.in_order(row.work["stone_id"])))


def in_blocks(rows: Sequence[Row]) -> dict[str, list[Row]]:
    """Return the stones of each block, the block with most urgent work first, what lies outside every group last."""
    groups: dict[str, list[Row]] = {}
    for row in rows:
        groups.setdefault(row.block, []).append(row)

    def urgency(name: str) -> tuple[bool, int, str]:
        urgent = sum(1 for row in groups[name] if row.goes_out and row.work["priority"] == 3)
        return name == NO_BLOCK, -urgent, name

    return {name: groups[name] for name in sorted(groups, key=urgency)}


def total(rows: Sequence[Row], name: str) -> float:
    """Return the sum of a column, unknown amounts as 0."""
    return float(sum(row.work[name] or 0.0 for row in rows))


def row_of(stone: Mapping[str, Any]) -> str:
    """Return the row of the ground a stone stands in, in words."""
    return words.place({**stone, "place_in_row": None}) or "Place not recorded"


def place_n(row: Row) -> float:
    """Return the place in the row as a key to sort by, unknown places last."""
    count = row.stone.get("place_in_row")
    return math.inf if count is None else float(count)


def short_name(row: Row) -> str:
    """Return stone and place in its row, with a star where the leader checks first."""
    count = row.stone.get("place_in_row")
    place = "" if count is None or not row.stone.get("row") else f" {words.ordinal(int(count))}"
    return f"{row.work['stone_id']}{place}{' *' if row.work['first_step'] else ''}"


def short_place(stone: Mapping[str, Any]) -> str:
    """Return where a stone stands and what to know it by, short: place in row, inscription, tag."""
    count, row, section = stone.get("place_in_row"), stone.get("row"), stone.get("section")
    in_row = f"{words.ordinal(int(count))} in {row}" if row and count is not None else f"row {row}" if row else ""
    # a row is often named after its section, such as B3 in section B
    told = section is not None and not (row and str(row).startswith(str(section)))
    where = ", ".join(filter(None, (in_row, f"section {section}" if told else "")))
    mark = f"“{stone['find_me']}”" if stone.get("find_me") else ""
    tag = f"tag {stone['tag']}" if stone.get("tag") else ""
    return "; ".join(filter(None, (where or "place not recorded", mark, tag)))


def what(row: Row) -> str:
    """Return in two or three words what a crew does."""
    return SHORT.get(row.work["method"] or "", LOOK)
