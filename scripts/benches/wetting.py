"""Wetting from footprints to litres, against sector polygons and a spatial join: as ratios in one run, and as seconds.

The join ends in the same table: each pair with its distance, sorted by stone and head, and the number of heads by
stone. What a general library has nothing for (faces, shadows) is set against that join alone.
"""

from __future__ import annotations

import time
from functools import partial
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import shapely

from gravegis.science.irrigation.coverage import cover, make_grid
from gravegis.science.irrigation.footprints import make_ground
from gravegis.science.irrigation.pairs import find_pairs
from gravegis.science.irrigation.rays.water import strike_distance_m
from gravegis.science.irrigation.throw import throw_polygons
from gravegis.science.irrigation.wind import turns_of
from scripts.benches.child import in_child
from scripts.benches.figure import Figure, check, timed
from scripts.benches.lawn import ABOUT, DENSE, SPARSE, Lawn, make_lawn, spray_of, work_out
from scripts.benches.lawn_site import site_of, tables

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    import numpy.typing as npt

    from gravegis.science.irrigation.reach import Pairs
    from scripts.benches.figure import Spent, Work

    Ints = npt.NDArray[np.int64]
    Floats = npt.NDArray[np.float64]

SEGMENTS = 64  # a circle of the general way
JOIN = f"polygons of {SEGMENTS} pieces a circle and geopandas.sjoin, distance of each pair, sorted; seconds"
HECTARES_STONES, CELL_M = 133_000, 0.25  # stones on 40 ha
REPEATS = 3


def run(work: Work) -> Iterator[Figure]:
    """Give the ratios, then time and memory of a million stones, and everything for 100,000 stones."""
    for stones in (work.rows(100_000, 1_000), work.rows(1_000_000, 2_000)):
        yield from _against_join(stones, work)
    yield _raster(work.rows(HECTARES_STONES, 1_000), work)
    yield from _alone(work)


def _against_join(stones: int, work: Work) -> Iterator[Figure]:
    size = "100k" if stones in (100_000, 1_000) else "million"
    for kind, stones_a_head, target in (("sparse", SPARSE, ">= 3.5"), ("dense", DENSE, ">= 15")):
        lawn = make_lawn(stones, stones_a_head, seed=work.seed)
        library, table = timed(partial(joined, lawn), REPEATS if stones < 500_000 else 1)
        ground, turns = make_ground(lawn.footprints), turns_of(lawn.throws)
        find_pairs(lawn.footprints, lawn.throws, turns=turns, ground=ground)  # warm
        loops, pairs = timed(partial(find_pairs, lawn.footprints, lawn.throws, turns=turns, ground=ground), REPEATS)
        missed = _check_equal(pairs, table[0], lawn)
        wet = len(np.unique(pairs.stone_i)) / stones
        about = f"{ABOUT}; {len(lawn.throws)} heads, {len(pairs)} pairs, {wet:.1%} of the stones wet"
        shared = partial(_figure, n=stones, data_set=about, library=library)
        yield shared(
            f"wetting.flags_{kind}_{size}", loops, target,
            f"edges of the footprints at hand; with the margin of each pair; the join misses {missed} pairs",
        )  # fmt: skip
        whole, _ = timed(partial(flagged, lawn), REPEATS)
        yield shared(
            f"wetting.flags_from_footprints_{kind}_{size}", whole, ">= 5" if kind == "dense" else "",
            "from footprints to the table",
        )  # fmt: skip
        if kind == "dense":
            yield from _tables(lawn, shared, size)
            yield from _faces(lawn, shared, size)


def _tables(lawn: Lawn, shared: Callable[..., Figure], size: str) -> Iterator[Figure]:
    """Measure flags from the layers of a site to the tables of a result, by names; the join ends in the same."""
    site = site_of(lawn)

    def by_join() -> None:
        keys, distance_m, _ = joined(lawn)
        tables(site, *np.divmod(keys, len(lawn.throws)), distance_m)

    def by_loops() -> None:
        pairs, _ = flagged(lawn)
        tables(site, pairs.stone_i, pairs.head_i, pairs.distance_m)

    library, _ = timed(by_join, 1)
    ours, _ = timed(by_loops, REPEATS)
    yield shared(f"wetting.flags_to_tables_dense_{size}", ours, ">= 5", "as tables with names", library=library)


def _faces(lawn: Lawn, shared: Callable[..., Figure], size: str) -> Iterator[Figure]:
    """Faces and shadows with the real tables, which are at hand; from footprints to litres."""
    spray = spray_of(lawn)
    for name, shadows, target in (("faces", False, ">= 4"), ("shadows", True, ">= 2.5")):
        work_out(lawn, spray, shadows=shadows)
        ours, _ = timed(partial(work_out, lawn, spray, shadows=shadows), REPEATS)
        yield shared(
            f"wetting.{name}_dense_{size}", ours, target if size == "million" else "",
            "from footprints to litres on each face and top by pair, and by stone; the join gives neither",
        )  # fmt: skip


def _figure(name: str, ours: Spent, target: str, note: str, *, n: int, data_set: str, library: Spent) -> Figure:
    return Figure(
        name=name, **library.times(ours), unit="times faster", n=n, target=target, data_set=data_set,
        baseline_value=library.clock_s, baseline=JOIN, repeats=REPEATS, note=f"ours {ours}; {note}",
    )  # fmt: skip


def joined(lawn: Lawn) -> tuple[Ints, Floats, Ints]:
    """Sector polygons of usual arcs and a spatial join, ending in pairs by stone and head, distances and counts."""
    stones = gpd.GeoDataFrame(geometry=lawn.footprints)
    sectors = gpd.GeoDataFrame(geometry=throw_polygons(lawn.throws, segments_per_circle=SEGMENTS))
    found = gpd.sjoin(stones, sectors, predicate="intersects")
    stone_i, head_i = found.index.to_numpy(), found["index_right"].to_numpy()
    order = np.lexsort((head_i, stone_i))
    stone_i, head_i = stone_i[order], head_i[order]
    places = np.asarray(shapely.points(lawn.throws.x_m, lawn.throws.y_m))
    distance_m = np.asarray(shapely.distance(lawn.footprints[stone_i], places[head_i]))
    return stone_i * len(lawn.throws) + head_i, distance_m, np.bincount(stone_i, minlength=len(stones))


def flagged(lawn: Lawn) -> tuple[Pairs, Ints]:
    """Pairs with distance and margin, and heads by stone."""
    pairs = find_pairs(lawn.footprints, lawn.throws)
    return pairs, np.bincount(pairs.stone_i, minlength=len(lawn.footprints))


def _check_equal(pairs: Pairs, drawn: Ints, lawn: Lawn) -> int:
    """Return how many pairs the join misses; each must lie within what a straight piece cuts off its arc."""
    ours = pairs.stone_i * len(lawn.throws) + pairs.head_i
    check(bool(np.isin(drawn, ours).all()), "the join finds pairs that the loops do not")
    missed = ~np.isin(ours, drawn)
    cut_m = lawn.throws.throw_m[pairs.head_i] * (1 - np.cos(np.pi / SEGMENTS)) + 1e-6
    check(bool((pairs.margin_m[missed] <= cut_m[missed]).all()), "the loops find pairs that no arc explains")
    return int(missed.sum())


def _raster(stones: int, work: Work) -> Figure:
    """Rate on a raster, against one numpy loop over the heads that does the same."""
    lawn = make_lawn(stones, DENSE, seed=work.seed)
    spray, turns = spray_of(lawn), turns_of(lawn.throws)
    grid = make_grid((0.0, 0.0, *lawn.side_m), CELL_M)
    library, plain = timed(partial(cover, turns, spray, grid, lawn.flow_l_h, compiled=False, threads=1), 1)
    cover(turns, spray, grid, lawn.flow_l_h)
    loops, raster = timed(partial(cover, turns, spray, grid, lawn.flow_l_h), REPEATS)
    most = plain.sum_mm.max()
    check(bool(np.allclose(raster.sum_mm, plain.sum_mm, rtol=0, atol=1e-9 * most)), "the two rasters differ")
    hectares = lawn.side_m[0] * lawn.side_m[1] / 1e4
    return Figure(
        name="wetting.raster", **library.times(loops), unit="times faster", n=len(lawn.throws), target=">= 6",
        data_set=f"{len(lawn.throws)} heads on {hectares:.1f} ha, cells of {CELL_M} m",
        baseline_value=library.clock_s, baseline="numpy, head by head, once; seconds", repeats=REPEATS,
        note=f"ours {loops}, each head scaled to its flow",
    )  # fmt: skip


def _alone(work: Work) -> Iterator[Figure]:
    """Time and memory without anything to compare with, each in a process of its own."""
    said: dict[str, Any] = {"data_set": f"{ABOUT}; dense", "warm_up": "the same once, not counted"}
    few, many = work.rows(10_000, 500), work.rows(1_000_000, 2_000)
    small, large = (in_child(f"{__name__}:shadows", str(stones), str(work.seed)) for stones in (few, many))
    growth, by_processor = (
        float(large[time_] or 0) / many / (float(small[time_] or 1) / few) for time_ in ("best_s", "best_processor_s")
    )
    yield Figure(name="wetting.growth", value=growth, processor_value=by_processor, n=many, target="<= 1.5",
                 unit="times the time per stone",
                 note=f"faces and shadows: {small['best_s']:.3f} s for {few}, {large['best_s']:.3f} s for {many}",
                 **said)  # fmt: skip
    yield Figure(name="wetting.peak", value=large["peak_gb"], unit="GB", n=many, target="<= 6", **said)
    stones = work.rows(100_000, 1_000)
    told = in_child(f"{__name__}:analysis", str(stones), str(work.seed))
    yield Figure(
        name="wetting.site_to_result", value=told["best_s"], processor_value=told["best_processor_s"], unit="s",
        n=stones, target="<= 10", note="the analysis whole, from the layers of a site to its layers and words", **said,
    )  # fmt: skip
    told = in_child(f"{__name__}:everything", str(stones), str(work.seed))
    yield Figure(
        name="wetting.everything", value=told["best_s"], processor_value=told["best_processor_s"], unit="s", n=stones,
        target="<= 10",
        note="near misses, faces, shadows, ground rate, season, states and chance of a strike, raster of a season; "
        "the tables are made in the warm-up", **said,
    )  # fmt: skip


def _best(work: Callable[[], object], repeats: int = REPEATS) -> dict[str, float]:
    clock, processor = [], []
    for _ in range(repeats + 1):
        begin = time.perf_counter(), time.process_time()
        work()
        clock.append(time.perf_counter() - begin[0])
        processor.append(time.process_time() - begin[1])
    return {"best_s": min(clock[1:]), "best_processor_s": min(processor[1:])}


def shadows(stones: str, seed: str) -> dict[str, float]:
    """Faces with shadows of some stones."""
    lawn = make_lawn(int(stones), DENSE, seed=int(seed))
    spray = spray_of(lawn)
    return _best(partial(work_out, lawn, spray, shadows=True))


def analysis(stones: str, seed: str) -> dict[str, float]:
    """Run the analysis on a site of some stones, from the throws on."""
    from gravegis import pipeline

    site = site_of(make_lawn(int(stones), DENSE, seed=int(seed)))
    return _best(partial(pipeline.run, site, ["wetting"]))


def everything(stones: str, seed: str) -> dict[str, float]:
    """All the science there is of some stones, with tables at hand."""
    from scripts.benches.lawn import all_of

    lawn = make_lawn(int(stones), DENSE, seed=int(seed))
    spray = spray_of(lawn)
    strike_m = partial(strike_distance_m, lawn.tables)
    return _best(partial(all_of, lawn, spray, strike_m))
