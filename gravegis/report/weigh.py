"""How much hangs on a thing that is missing: rows, stones, and answers that may change.

Own rule, stated wherever it is shown: the stones the rows speak of (stones themselves; for heads and zones those
within the longest throw, as in `layers.ask`; all stones where rows name neither), once for each analysis that can run
and reads the thing or builds on one that does. It counts answers that may change, not by how much.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from gravegis.layers import ask, schema

if TYPE_CHECKING:
    from collections.abc import Mapping

    import numpy.typing as npt

    from gravegis.contract import Analysis
    from gravegis.layers.canonical import Frame
    from gravegis.site import Site

    Rows = npt.NDArray[np.int64]

__all__ = ["RULE", "Stones", "built_on"]

RULE = (
    "Own rule: stones that hang on it, once for each result that reads it or builds on one that "
    "does. By how much an answer would move is not worked out."
)


@dataclass(eq=False)
class Stones:
    """Counts the stones that rows of a layer speak of."""

    site: Site
    all_n: int = field(init=False)
    _by_head: dict[str, Rows] | None = field(init=False, default=None)

    def __post_init__(self) -> None:
        self.all_n = len(self.site["stones"]) if "stones" in self.site else 0

    def of(self, layer: str, rows: npt.NDArray[np.bool_] | None = None) -> int:
        """Return how many stones the rows of a layer speak of; all of them for the layer as a whole."""
        if rows is None or not self.all_n or layer not in self.site:
            return self.all_n
        frame = self.site[layer][rows]
        if layer == "stones":
            return len(frame)
        if "stone_id" in frame.columns and frame["stone_id"].notna().any():
            named = frame["stone_id"].dropna().unique()
            return int(self.site["stones"]["stone_id"].isin(named).sum())
        heads = self._heads_of(frame)
        return self.all_n if heads is None else self._about(heads)

    def _heads_of(self, frame: Frame) -> set[str] | None:
        """Return the heads rows speak of, by name or by zone; None where they name neither."""
        if "head_id" in frame.columns:
            return set(frame["head_id"].dropna())
        if "zone_id" in frame.columns and self.site.has("heads", "zone_id"):
            heads = self.site["heads"]
            return set(heads.loc[heads["zone_id"].isin(frame["zone_id"].dropna()), "head_id"])
        return None

    def _about(self, heads: set[str]) -> int:
        if self._by_head is None:
            self._by_head = ask.stones_by_head(self.site)
        rows = [self._by_head[head] for head in heads if head in self._by_head]
        return len(np.unique(np.concatenate(rows))) if rows else 0


def built_on(pool: Mapping[str, Analysis[Any]], *, by_needs: bool = False) -> dict[str, tuple[str, ...]]:
    """Return for each analysis those that build on its results, on these again, and so on, in the order of the job.

    Parameters
    ----------
    by_needs
        Only those that cannot do without, not those that use a result where it is there.
    """
    reads = {name: set(one.needs if by_needs else one.reads()) for name, one in pool.items()}
    direct = {
        name: {other for other in pool if other != name and reads[other] & set(one.gives)} for name, one in pool.items()
    }
    out: dict[str, tuple[str, ...]] = {}
    for name in pool:
        found, todo = set[str](), [name]
        while todo:
            new = direct[todo.pop()] - found - {name}
            found |= new
            todo.extend(new)
        out[name] = tuple(other for other in pool if other in found)
    return out


def is_input(layer: str) -> bool:
    """Whether a layer is brought in by people; what no schema knows counts as such."""
    return not schema.is_known(layer) or schema.layer(layer).role == "input"
