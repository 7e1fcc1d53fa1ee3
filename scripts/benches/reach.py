"""Which heads reach which stones, against sector polygons and a spatial join."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np

from gravegis.science.irrigation.reach import reach
from gravegis.science.irrigation.throw import throw_polygons
from scripts.benches.figure import Figure, check, timed
from scripts.benches.ground import ABOUT, CRS, heads, stones

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gravegis.science.irrigation.reach import Pairs
    from gravegis.science.irrigation.throw import Throws
    from scripts.benches.figure import Work

    Keys = np.ndarray[tuple[int], np.dtype[np.int64]]

SEGMENTS = 64  # a circle of the general way
REPEATS = 3
TARGETS = {"reach.100k": ">= 8", "reach.million": ">= 20"}


def run(work: Work) -> Iterator[Figure]:
    """Give how many times faster exact reach is than a join of drawn sectors, on a ground full of heads."""
    for name, full, quick in (("reach.100k", 100_000, 1_000), ("reach.million", 1_000_000, 2_000)):
        count = work.rows(full, quick)
        small = stones(500, work.seed), heads(500, work.seed)
        _check_equal(reach(small[0].geometry.to_numpy(), small[1]), _joined(*small), small[1])
        layer, throws = stones(count, work.seed), heads(count, work.seed)
        library, keys = timed(partial(_joined, layer, throws), 1 if count > 100_000 else REPEATS)
        ours, pairs = timed(partial(reach, layer.geometry.to_numpy(), throws), REPEATS)
        missed = _check_equal(pairs, keys, throws)
        yield Figure(
            name=name, **library.times(ours), unit="times faster", n=count, target=TARGETS[name],
            data_set=f"{ABOUT}; {len(throws)} heads all over, {len(pairs)} pairs", baseline_value=library.clock_s,
            baseline=f"polygons of {SEGMENTS} pieces a circle and geopandas.sjoin, "
            f"{'once' if count > 100_000 else f'median of {REPEATS}'}; seconds",
            repeats=REPEATS,
            note=f"ours {ours}, exact and with the margin of each pair; the drawn sectors miss {missed} pairs "
            "whose margin is less than they cut off",
        )  # fmt: skip


def _joined(layer: gpd.GeoDataFrame, throws: Throws) -> Keys:
    sectors = gpd.GeoDataFrame(geometry=throw_polygons(throws, segments_per_circle=SEGMENTS), crs=CRS)
    found = gpd.sjoin(layer[["geometry"]], sectors, predicate="intersects")
    return _keys(found.index.to_numpy(), found["index_right"].to_numpy(), len(throws))


def _keys(stone: Keys, head: Keys, heads_n: int) -> Keys:
    return np.sort(stone.astype(np.int64) * heads_n + head)


def _check_equal(pairs: Pairs, drawn: Keys, throws: Throws) -> int:
    """Return how many pairs the join misses; each must lie within what a straight piece cuts off its arc."""
    ours = pairs.stone_i * len(throws) + pairs.head_i
    check(bool(np.isin(drawn, ours).all()), "the join finds pairs that reach does not")
    missed = ~np.isin(ours, drawn)
    cut_m = throws.throw_m[pairs.head_i] * (1 - np.cos(np.pi / SEGMENTS)) + 1e-6
    check(bool((pairs.margin_m[missed] <= cut_m[missed]).all()), "reach finds pairs that no arc explains")
    return int(missed.sum())
