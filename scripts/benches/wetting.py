"""How fast the wetting loops are against sector polygons and a spatial join, in one run, as ratios.

Plain functions, each returning its figures by name, for a script to call with the number of stones. Every result is
checked against the other way before anything is timed.
"""

from __future__ import annotations

import time
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from gravegis.science.irrigation.coverage import cover, make_grid
from gravegis.science.irrigation.footprints import face_of_edges, make_ground
from gravegis.science.irrigation.pairs import find_pairs
from gravegis.science.irrigation.rays.water import Stones, catch, make_spray
from gravegis.science.irrigation.tables import build_table, table_keys
from gravegis.science.irrigation.throw import Throws, make_throws, throw_polygons
from gravegis.science.irrigation.wind import turns_of

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy.typing as npt

    from gravegis.science.irrigation.bundles import Ground, Spray
    from gravegis.science.irrigation.rays.water import Caught
    from gravegis.science.irrigation.reach import Pairs

    Floats = npt.NDArray[np.float64]
    Geometries = npt.NDArray[np.object_]

SPARSE, DENSE = 133, 20
"""Stones a head: about 42 % of the stones wet, and nearly all."""
_SPACING_M, _ROW_M = 1.2, 2.5


@dataclass(frozen=True, slots=True, eq=False)
class Site:
    """Invented rows of stones and turned heads in a jittered grid."""

    footprints: Geometries
    height_m: Floats
    throws: Throws
    flow_l_h: Floats
    side_m: tuple[float, float]


def make_site(stones: int, stones_a_head: int, *, seed: int = 0) -> Site:
    """Return slabs of 0.6 by 0.3 m, 1.2 m apart in rows 2.5 m apart, and heads of 5 to 15 m in turns of 90 to 360."""
    rng = np.random.default_rng(seed)
    columns = max(1, round(np.sqrt(stones * _SPACING_M * _ROW_M) / _SPACING_M))
    place = np.arange(stones)
    middle = np.stack([(place % columns + 0.5) * _SPACING_M, (place // columns + 0.5) * _ROW_M], axis=1)
    middle += rng.normal(0, 0.05, middle.shape)
    turn = np.radians(rng.normal(0, 5, stones))
    corner = np.array([(-0.3, -0.15), (0.3, -0.15), (0.3, 0.15), (-0.3, 0.15)])
    across = np.stack([np.cos(turn), -np.sin(turn), np.sin(turn), np.cos(turn)], axis=1).reshape(-1, 2, 2)
    footprints = np.asarray(shapely.polygons(middle[:, None] + corner @ across), dtype=object)
    side = columns * _SPACING_M, -(-stones // columns) * _ROW_M
    heads = max(1, stones // stones_a_head)
    apart = np.sqrt(side[0] * side[1] / heads)
    across_n = max(1, round(side[0] / apart))
    row = np.arange(heads)
    sweep = rng.choice([90.0, 120.0, 180.0, 270.0, 360.0, 0.0], heads, p=[0.2, 0.1, 0.25, 0.1, 0.25, 0.1])
    sweep = np.where(sweep == 0, rng.uniform(90, 360, heads), sweep)
    throws = make_throws(
        (row % across_n + 0.5) * side[0] / across_n + rng.uniform(-1, 1, heads),
        (row // across_n + 0.5) * apart + rng.uniform(-1, 1, heads),
        rng.uniform(5, 15, heads), from_deg=rng.uniform(0, 360, heads), sweep_deg=sweep,
    )  # fmt: skip
    return Site(footprints, rng.uniform(0.3, 1.6, stones), throws, rng.uniform(360, 2160, heads) * sweep / 360, side)


def best_s(work: Callable[[], object], *, repeats: int = 3) -> float:
    """Shortest of some runs: the machine may be busy. [s]"""
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def joined(site: Site) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    """Sector polygons of usual arcs and a spatial join: rows of stone and head."""
    import geopandas

    stones = geopandas.GeoDataFrame(geometry=site.footprints)
    sectors = geopandas.GeoDataFrame(geometry=throw_polygons(site.throws, segments_per_circle=64))
    found = geopandas.sjoin(stones, sectors, predicate="intersects")
    return found.index.to_numpy(), found["index_right"].to_numpy()


def bench_pairs(stones: int, stones_a_head: int) -> dict[str, float]:
    """Which stones each head reaches: polygons and join against the loops."""
    site = make_site(stones, stones_a_head)
    stone_i, head_i = joined(site)
    pairs = find_pairs(site.footprints, site.throws)
    ours = pairs.stone_i * len(site.throws) + pairs.head_i
    missed = np.setdiff1d(stone_i * len(site.throws) + head_i, ours)
    if len(missed):
        raise AssertionError(f"{len(missed)} pairs of the join are lacking")
    join_s = best_s(lambda: joined(site))
    loops_s = best_s(lambda: find_pairs(site.footprints, site.throws))
    ground = make_ground(site.footprints)
    bare_s = best_s(lambda: find_pairs(site.footprints, site.throws, ground=ground))
    return {
        "pairs_n": float(len(pairs)), "wet_frac": len(np.unique(pairs.stone_i)) / stones, "join_s": join_s,
        "loops_s": loops_s, "ratio": join_s / loops_s, "ratio_edges_at_hand": join_s / bare_s,
    }  # fmt: skip


def bench_faces(stones: int, stones_a_head: int) -> dict[str, float]:
    """Water on every face with the real tables, from geometry to litres, against the join alone."""
    site = make_site(stones, stones_a_head)
    water = _water_of(site)
    work_out(site, water, shadows=True)
    join_s = best_s(lambda: joined(site))
    return {
        "join_s": join_s,
        "ratio_faces": join_s / best_s(lambda: work_out(site, water, shadows=False)),
        "ratio_shadows": join_s / best_s(lambda: work_out(site, water, shadows=True)),
    }  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class Ready:
    """What is made once a site: the tables."""

    spray: Spray


def _water_of(site: Site) -> Ready:
    keys, table_i = table_keys(["rotor"] * len(site.throws), np.nan, np.nan, np.nan)
    return Ready(make_spray(site.throws, site.flow_l_h, [build_table(key) for key in keys], table_i))


def work_out(site: Site, ready: Ready, *, shadows: bool) -> tuple[Ground, Pairs, Caught]:
    """Edges, pairs, faces and tops of a whole site."""
    ground, turns = make_ground(site.footprints), turns_of(site.throws)
    pairs = find_pairs(site.footprints, site.throws, turns=turns, ground=ground)
    known = Stones(site.height_m, face_of_edges(ground, 0.0))
    return ground, pairs, catch(ground, turns, ready.spray, pairs, known, shadows=shadows)


def bench_raster(stones: int, cell_m: float) -> dict[str, float]:
    """Rate on a raster, against one numpy loop over the heads that does the same."""
    site = make_site(stones, DENSE)
    spray, turns = _water_of(site).spray, turns_of(site.throws)
    grid = make_grid((0.0, 0.0, *site.side_m), cell_m)
    by_loops = cover(turns, spray, grid, site.flow_l_h)
    by_arrays = cover(turns, spray, grid, site.flow_l_h, compiled=False, threads=1)
    if not np.allclose(by_loops.sum_mm, by_arrays.sum_mm, rtol=0, atol=1e-9 * by_loops.sum_mm.max()):
        raise AssertionError("The two rasters differ")
    arrays_s = best_s(lambda: cover(turns, spray, grid, site.flow_l_h, compiled=False, threads=1), repeats=1)
    loops_s = best_s(lambda: cover(turns, spray, grid, site.flow_l_h))
    return {"hectares": site.side_m[0] * site.side_m[1] / 1e4, "loops_s": loops_s, "ratio": arrays_s / loops_s}
