"""Pairs of stone and head by compiled loops over a list of cells; `reach.reach` without them, bit for bit the same.

Circles and turns go through the loops, strips and surveyed outlines, which are few, through `reach`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gravegis.science import compiled as code
from gravegis.science.irrigation.bundles import Cells, Floats, Ground, Ints, Turns
from gravegis.science.irrigation.footprints import make_ground
from gravegis.science.irrigation.reach import TOUCH_M, Outlines, Pairs, reach
from gravegis.science.irrigation.throw import Geometries, StripSide, Throws
from gravegis.science.irrigation.wind import turns_of
from gravegis.science.spread import spread

if TYPE_CHECKING:
    from types import ModuleType

KERNELS = "gravegis.science.irrigation.kernels"
PORTION = 8192
"""Stones a portion: some milliseconds of work. Own choice."""
Columns = tuple[Ints, Ints, Floats, Floats, Floats]
"""Rows of stone and head; distance, margin and near of `reach.Pairs`."""
_LEAST_CELL_M, _MOST_CELLS = 4.0, 4_000_000


def find_pairs(
    footprints: Geometries,
    throws: Throws,
    *,
    outlines: Outlines | None = None,
    touch_m: float = TOUCH_M,
    turns: Turns | None = None,
    ground: Ground | None = None,
    compiled: bool = True,
    threads: int | None = None,
) -> Pairs:
    """Pairs of stone and head where any part of the footprint lies in the throw, or misses it by ``touch_m``.

    The arguments and the result are those of `reach.reach`; a larger ``touch_m`` gives near misses too, with negative
    margins, for what is uncertain or at the fringe. ``ground`` is `footprints.make_ground` of the footprints where it
    is at hand. ``compiled=False``, or no numba, gives the same without compiled loops.
    """
    kernels = code.load(KERNELS) if compiled else None
    if kernels is None:
        return reach(footprints, throws, outlines=outlines, touch_m=touch_m, turns=turns)
    if not (np.isfinite(touch_m) and touch_m >= 0):
        raise ValueError(f"touch_m is {touch_m:g}, expected 0 or more.")
    special = throws.strip_side != StripSide.NONE
    special[[head for head in (outlines or {}) if 0 <= head < len(throws)]] = True
    ground = make_ground(footprints) if ground is None else ground
    arcs = np.flatnonzero(~special)
    plain = _subset(turns_of(throws) if turns is None else turns, arcs)
    found = _by_loops(kernels, ground, plain, touch_m, threads)
    if outlines or special.any():
        found = [*found, _special(footprints, throws, np.flatnonzero(special), outlines, touch_m, turns)]
    return _joined(found, arcs, len(throws))


def _by_loops(kernels: ModuleType, ground: Ground, turns: Turns, touch_m: float, threads: int | None) -> list[Columns]:
    """Pairs of circles and turns; the heads are rows of ``turns``."""
    if not (len(ground.first) and len(turns.x_m)):
        return []
    cells = _cells_over(ground, turns)
    first = np.zeros(cells.nx * cells.ny + 1, dtype=np.int64)
    none = np.zeros(0, dtype=np.int64)
    kernels.cells_of_heads(turns, cells, touch_m + 1e-6, first[1:], none, False)
    np.cumsum(first, out=first)
    item = np.empty(first[-1], dtype=np.int64)
    kernels.cells_of_heads(turns, cells, touch_m + 1e-6, first[:-1].copy(), item, True)

    def work(low: int, high: int) -> Columns:
        who, lengths = kernels.pairs(ground, turns, cells, first, item, touch_m, low, high)
        return who[:, 0], who[:, 1], lengths[:, 0], lengths[:, 1], lengths[:, 2]

    return spread(work, len(ground.first), portion=PORTION, threads=threads)


def _cells_over(ground: Ground, turns: Turns) -> Cells:
    """Square cells over the boxes of the stones, about half a throw wide."""
    west, south = (ground.x_m - ground.radius_m).min(), (ground.y_m - ground.radius_m).min()
    wide, high = (ground.x_m + ground.radius_m).max() - west, (ground.y_m + ground.radius_m).max() - south
    size = max(_LEAST_CELL_M, float(np.median(turns.throw_m)) / 2.0, float(np.sqrt(wide * high / _MOST_CELLS)))
    size = max(size, wide / _MOST_CELLS, high / _MOST_CELLS)
    return Cells(float(west), float(south), size, int(wide / size) + 1, int(high / size) + 1)


def _subset(turns: Turns, rows: Ints) -> Turns:
    return turns if len(rows) == len(turns.x_m) else Turns._make(part[rows] for part in turns)


def _special(
    footprints: Geometries,
    throws: Throws,
    rows: Ints,
    outlines: Outlines | None,
    touch_m: float,
    turns: Turns | None,
) -> Columns:
    """Pairs of the heads in some rows by `reach`; heads are counted from the end, -1 for the first of ``rows``."""
    some = Throws(*(getattr(throws, name)[rows] for name in Throws.__slots__))
    place = {int(row): at for at, row in enumerate(rows)}
    own = {place.get(head, len(rows)): outline for head, outline in (outlines or {}).items()}
    found = reach(
        footprints, some, outlines=own, touch_m=touch_m, turns=None if turns is None else _subset(turns, rows)
    )
    return found.stone_i, rows[found.head_i] - len(throws), found.distance_m, found.margin_m, found.near_m


def _joined(found: list[Columns], arcs: Ints, heads: int) -> Pairs:
    """Pairs of all portions, sorted by stone, then head; heads of the loops are places in ``arcs``."""
    if not found:
        none, nothing = np.zeros(0, dtype=np.int64), np.zeros(0)
        return Pairs(none, none, nothing, nothing, nothing)
    stone_i, head_i, *lengths = (np.concatenate(parts) for parts in zip(*found, strict=True))
    own = head_i >= 0
    head_i = np.where(own, np.append(arcs, 0)[np.maximum(head_i, 0)], head_i + heads)
    if not own.all():
        order = np.lexsort((head_i, stone_i))
        stone_i, head_i, lengths = stone_i[order], head_i[order], [length[order] for length in lengths]
    return Pairs(stone_i, head_i, *lengths)
