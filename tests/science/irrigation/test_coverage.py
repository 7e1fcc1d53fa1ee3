"""The raster keeps the mass of each head, tells what falls beyond it, and is the same without compiled loops."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from gravegis.science import compiled as code
from gravegis.science.irrigation import coverage as module
from gravegis.science.irrigation.coverage import (
    Shade,
    choose_cell_m,
    cover,
    ground_rate_mm_h,
    make_grid,
    off_site_l,
)
from gravegis.science.irrigation.footprints import face_of_edges, make_ground
from gravegis.science.irrigation.pairs import find_pairs
from gravegis.science.irrigation.rain import by_numpy
from gravegis.science.irrigation.rays.water import Stones, catch, make_spray
from gravegis.science.irrigation.tables import build_table, table_keys
from gravegis.science.irrigation.throw import Throws, make_throws
from gravegis.science.irrigation.wind import turns_of

if TYPE_CHECKING:
    from gravegis.science.irrigation.bundles import Grid, Spray, Turns

Floats = npt.NDArray[np.float64]
ROTOR = build_table(table_keys(["rotor"], 300.0, 25.0, 0.1)[0][0])


def heads(seed: int, count: int, side_m: float, *, inside: bool = False) -> tuple[Throws, Floats]:
    rng = np.random.default_rng(seed)
    sweep = rng.choice([90.0, 180.0, 270.0, 360.0, 55.0], count)
    low, high = (15.0, side_m - 15.0) if inside else (0.0, side_m)
    throws = make_throws(
        rng.uniform(low, high, count), rng.uniform(low, high, count), rng.uniform(4, 14, count),
        from_deg=rng.uniform(0, 360, count), sweep_deg=sweep,
    )  # fmt: skip
    return throws, rng.uniform(100, 2000, count)


def spray_of(throws: Throws, flow: Floats) -> Spray:
    return make_spray(throws, flow, [ROTOR], 0)


def water_on(sum_mm: Floats, grid: Grid) -> float:
    return float(sum_mm.sum() * grid.cell_m**2)


@pytest.mark.cited("conservation of mass")
@settings(max_examples=15)
@given(st.integers(0, 10_000), st.sampled_from([0.25, 0.5, 1.0, 3.0]), st.booleans())
def test_water_on_the_grid_and_beyond_it_is_what_is_sent(seed: int, cell_m: float, windy: bool) -> None:
    throws, flow = heads(seed, 8, 40.0)
    turns = turns_of(throws, 1.5, -2.0) if windy else turns_of(throws)
    grid = make_grid((0, 0, 40, 40), cell_m)
    found = cover(turns, spray_of(throws, flow), grid, flow)
    np.testing.assert_allclose(water_on(found.sum_mm, grid) + found.off_grid.sum(), flow.sum(), rtol=1e-9)
    assert (found.off_grid >= -1e-9).all()
    assert (found.sum_mm >= 0).all()


@pytest.mark.cited("conservation of mass: heads inside the grid")
def test_each_head_inside_the_grid_loses_nothing() -> None:
    throws, flow = heads(4, 6, 60.0, inside=True)
    grid = make_grid((0, 0, 60, 60), 0.5)
    found = cover(turns_of(throws), spray_of(throws, flow), grid, flow)
    np.testing.assert_allclose(water_on(found.sum_mm, grid), flow.sum(), rtol=1e-12)
    np.testing.assert_allclose(found.off_grid, 0.0, atol=1e-9)


def test_cells_before_scaling_hold_the_flow_within_half_a_per_cent() -> None:
    throws, flow = heads(5, 30, 60.0, inside=True)
    turns, spray, grid = turns_of(throws), spray_of(throws, flow), make_grid((0, 0, 60, 60), 0.25)
    shading, _ = module._shading(None, 30)
    total = np.zeros((30, 2))
    by_numpy.sums(turns, spray, grid, shading, total, np.array([0, 30]))
    np.testing.assert_allclose(total[:, 0].sum() * 0.25**2, flow.sum(), rtol=0.005)


def rows_of_slabs() -> npt.NDArray[np.object_]:
    x, y = np.meshgrid(np.arange(6, 34, 2.6), np.arange(6, 34, 1.7))
    return np.asarray(shapely.box(x.ravel(), y.ravel(), x.ravel() + 0.15, y.ravel() + 0.6), dtype=object)


@pytest.mark.cited("mass balance: what stones catch is what the ground behind them lacks (derived)")
def test_ground_in_the_shadow_lacks_what_the_stones_catch() -> None:
    """Before any scaling, cells with and without stones differ by what faces and tops are worked out to catch."""
    throws = make_throws([20.0, 14.0], [20.0, 25.0], [12.0, 9.0], sweep_deg=[360.0, 150.0])
    flow, stones = np.array([1000.0, 600.0]), rows_of_slabs()
    turns, spray, ground = turns_of(throws), spray_of(throws, flow), make_ground(stones)
    pairs = find_pairs(stones, throws)
    known = Stones(np.full(len(stones), 0.9), face_of_edges(ground, 0.0))
    caught = catch(ground, turns, spray, pairs, known, nodes_n=16)
    grid = make_grid((0, 0, 40, 40), 0.05)
    total = np.zeros((2, 2, 2))
    loops = code.load(module.KERNELS) or by_numpy
    for at, shade in enumerate((None, Shade(ground, known, pairs, caught))):
        loops.sums(turns, spray, grid, module._shading(shade, 2)[0], total[at], np.array([0, 2]))
    lacking = (total[0] - total[1])[:, 0] * 0.05**2
    of_head = np.bincount(pairs.head_i, caught.face_l_h.sum(axis=1) + caught.top_l_h)
    assert (of_head > 0.05 * flow).all()
    np.testing.assert_allclose(lacking, of_head, atol=0.005 * flow.max())


@pytest.mark.parametrize("windy", [False, True])
@pytest.mark.parametrize("shaded", [False, True])
def test_loops_threads_and_numpy_agree(windy: bool, shaded: bool) -> None:
    throws, flow = heads(7, 12, 40.0)
    strips = make_throws(
        [10.0, 20.0, 30.0], 20.0, np.nan, from_deg=30.0, strip_length_m=6.0, strip_width_m=2.0,
        strip_side=["centre", "end", "side"],
    )  # fmt: skip
    throws = Throws(*(np.concatenate([getattr(throws, n), getattr(strips, n)]) for n in Throws.__slots__))
    flow = np.append(flow, [300.0, 300.0, 300.0])
    turns = turns_of(throws, -1.0, 1.5) if windy else turns_of(throws)
    stones, spray = rows_of_slabs(), spray_of(throws, flow)
    ground, pairs = make_ground(stones), find_pairs(stones, throws, turns=turns)
    known = Stones(np.linspace(0, 1.5, len(stones)), face_of_edges(ground, 0.0))
    shade = Shade(ground, known, pairs, catch(ground, turns, spray, pairs, known)) if shaded else None
    grid = make_grid((0, 0, 40, 40), 0.5)
    alone = cover(turns, spray, grid, flow, shade=shade, threads=1)
    many = cover(turns, spray, grid, flow, shade=shade, threads=6)
    plain = cover(turns, spray, grid, flow, shade=shade, compiled=False)
    assert alone.sum_mm.tobytes() == many.sum_mm.tobytes()
    np.testing.assert_allclose(plain.sum_mm, alone.sum_mm, rtol=0, atol=1e-12 * alone.sum_mm.max())
    np.testing.assert_allclose(plain.off_grid, alone.off_grid, atol=1e-9)
    one, other = (ground_rate_mm_h(ground, turns, spray, pairs, compiled=compiled) for compiled in (True, False))
    assert one.tobytes() == other.tobytes()


def test_hours_make_depths_and_heads_without_hours_none() -> None:
    throws, flow = heads(9, 4, 40.0)
    turns, spray, grid = turns_of(throws), spray_of(throws, flow), make_grid((0, 0, 40, 40), 1.0)
    hours = np.array([0.0, 10.0, 2.5, 0.0])
    found = cover(turns, spray, grid, flow, weight=hours)
    np.testing.assert_allclose(water_on(found.sum_mm, grid) + found.off_grid.sum(), (flow * hours).sum())
    assert found.sent.tolist() == (flow * hours).tolist()


def test_wind_moves_the_middle_of_the_water_downwind() -> None:
    throws, flow = make_throws([30.0], [30.0], 12.0), np.array([1000.0])
    grid = make_grid((0, 0, 60, 60), 0.5)
    east = (np.arange(grid.nx) + 0.5) * 0.5
    still, windy = (
        cover(turns, spray_of(throws, flow), grid, flow).sum_mm.sum(axis=0)
        for turns in (turns_of(throws), turns_of(throws, 3.0, 0.0))
    )
    moved = (windy * east).sum() / windy.sum() - (still * east).sum() / still.sum()
    assert 2.0 < moved < 3.0


def test_pattern_smaller_than_a_cell_is_poured_into_the_cell_of_its_head() -> None:
    throws, flow = make_throws([5.2, 50.0], 5.2, 0.3), np.array([20.0, 30.0])
    grid = make_grid((0, 0, 20, 20), 2.0)
    found = cover(turns_of(throws), spray_of(throws, flow), grid, flow)
    assert found.sum_mm[2, 2] == pytest.approx(5.0)
    assert found.off_grid.tolist() == pytest.approx([0.0, 30.0])


def test_off_site_water_counts_cells_outside_and_beyond() -> None:
    throws, flow = make_throws([10.0], [0.0], 8.0), np.array([1000.0])
    grid = make_grid((0, 0, 20, 10), 0.25)
    found = cover(turns_of(throws), spray_of(throws, flow), grid, flow)
    on_site = np.ones((grid.ny, grid.nx), dtype=np.bool_)
    assert off_site_l(found, grid, on_site) == pytest.approx(500.0, rel=1e-3)
    on_site[:, : grid.nx // 2] = False
    assert off_site_l(found, grid, on_site) == pytest.approx(750.0, rel=1e-3)


def test_rate_at_a_stone_is_the_rate_of_the_raster_there() -> None:
    throws, flow = make_throws([0.0], [0.0], 12.0), np.array([1000.0])
    stones = np.asarray(shapely.points([(3.1, 2.2), (-7.4, 3.3), (0.3, -10.1)]), dtype=object)
    turns, spray = turns_of(throws), spray_of(throws, flow)
    pairs = find_pairs(stones, throws)
    rates = ground_rate_mm_h(make_ground(stones), turns, spray, pairs)
    grid = make_grid((-13, -13, 13, 13), 0.25)
    raster = cover(turns, spray, grid, flow).sum_mm
    cells = ((shapely.get_coordinates(stones) - (grid.x0_m, grid.y0_m)) / 0.25).astype(int)
    np.testing.assert_allclose(rates, raster[cells[:, 1], cells[:, 0]], rtol=0.1)


def test_unknown_flow_and_wild_grids_are_refused() -> None:
    throws = make_throws([0.0], [0.0], 12.0)
    turns: Turns = turns_of(throws)
    with pytest.raises(ValueError, match="Flow and weight of every head must be known"):
        cover(turns, spray_of(throws, np.ones(1)), make_grid((0, 0, 9, 9), 1.0), np.nan)
    with pytest.raises(ValueError, match="Cells of 0 m"):
        make_grid((0, 0, 9, 9), 0.0)
    with pytest.raises(ValueError, match="not west, south, east, north"):
        make_grid((9, 0, 0, 9))


def test_cell_size_is_chosen_to_fit() -> None:
    assert choose_cell_m(100.0, 100.0) == 0.25
    assert choose_cell_m(1000.0, 1000.0) == 0.5
    assert choose_cell_m(1e5, 1e5) == 5.0
    grid = make_grid((0.1, -3.7, 50.0, 20.0))
    assert (grid.x0_m, grid.y0_m, grid.cell_m) == (0.0, -3.75, 0.25)
