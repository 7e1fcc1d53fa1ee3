"""Conservation of water: what stones take, what falls on the ground and what leaves the site is what heads send out."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.interpolate import RegularGridInterpolator
from shapely import affinity

from gravegis.science import compiled as code
from gravegis.science.irrigation import coverage
from gravegis.science.irrigation.coverage import Shade, cover, make_grid
from gravegis.science.irrigation.footprints import face_of_edges, make_ground
from gravegis.science.irrigation.pairs import find_pairs
from gravegis.science.irrigation.rain import by_numpy
from gravegis.science.irrigation.rays.water import Stones, catch, make_spray
from gravegis.science.irrigation.tables import DISTANCES_N, HEIGHTS_N, build_table, stretch, table_keys
from gravegis.science.irrigation.throw import make_throws
from gravegis.science.irrigation.wind import turns_of

if TYPE_CHECKING:
    from gravegis.science.irrigation.bundles import Spray, Turns
    from gravegis.science.irrigation.throw import Throws

Floats = npt.NDArray[np.float64]
FLOW_L_H, THROW_M = 1000.0, 12.0
ROTOR = build_table(table_keys(["rotor"], 300.0, 25.0, 0.1)[0][0])
BELOW = RegularGridInterpolator(
    (np.linspace(0, 1, DISTANCES_N), np.linspace(0, ROTOR.top_m, HEIGHTS_N)), ROTOR.share_below
)


def below(distance_m: Floats, height_m: float) -> Floats:
    """Share come below a height by distances from a head of the test's throw, by a general library."""
    one, two = (float(part) for part in stretch(ROTOR.throw_m, THROW_M))
    share = np.minimum(distance_m / THROW_M, 1.0)
    place = np.minimum(share * (one + two * share), 1.0)
    return np.asarray(BELOW(np.stack([place, np.full(len(place), min(height_m, ROTOR.top_m))], axis=1)))


def lacking_l_h(stone: shapely.Polygon, height_m: float) -> float:
    """Water the ground lacks under one convex stone and behind it, over a fine fan of rays between its corners."""
    corners = shapely.get_coordinates(stone)
    toward = np.arctan2(*(shapely.get_coordinates(shapely.centroid(stone))[0][::-1]))
    angles = np.sort(np.mod(np.arctan2(corners[1:, 1], corners[1:, 0]) - toward + np.pi, 2 * np.pi) - np.pi)
    total = 0.0
    for low, high in itertools.pairwise(angles):
        fan = toward + low + (np.arange(4000) + 0.5) / 4000 * (high - low)
        u = np.stack([np.cos(fan), np.sin(fan)], axis=1)[:, None]
        a, run = corners[:-1], np.diff(corners, axis=0)
        cross = u[..., 0] * run[:, 1] - u[..., 1] * run[:, 0]
        with np.errstate(divide="ignore", invalid="ignore"):
            way = (a[:, 0] * run[:, 1] - a[:, 1] * run[:, 0]) / cross
            at = (a[:, 0] * u[..., 1] - a[:, 1] * u[..., 0]) / cross
        hit = (at >= 0) & (at <= 1) & np.isfinite(way)
        near = np.where(hit, way, np.inf).min(axis=1)
        far = np.where(hit, way, -np.inf).max(axis=1)
        some = np.isfinite(near) & (near < THROW_M)
        near, far = near[some], np.minimum(far[some], THROW_M)
        taken = np.maximum(below(near, height_m), below(far, height_m)) - below(near, 0.0)
        total += float(taken.sum()) * (high - low) / 4000
    return total * FLOW_L_H / (2 * np.pi)


@pytest.mark.cited("mass balance: what faces and top take is what the ground behind lacks (derived)")
@settings(max_examples=30)
@given(st.floats(1.0, 12.0), st.floats(0, 360), st.floats(0, 2.0), st.floats(0, 180), st.floats(0.05, 0.5))
def test_one_stone_takes_what_its_shadow_lacks_within_a_millionth_of_the_flow(
    at_m: float, bearing_deg: float, height_m: float, turn_deg: float, thick_m: float
) -> None:
    slab = affinity.translate(affinity.rotate(shapely.box(-0.3, -thick_m / 2, 0.3, thick_m / 2), turn_deg), 0, at_m)
    stone = affinity.rotate(slab, bearing_deg, origin=(0, 0))
    throws = make_throws([0.0], [0.0], THROW_M)
    shapes = np.array([stone], dtype=object)
    ground, pairs = make_ground(shapes), find_pairs(shapes, throws)
    spray, turns = make_spray(throws, FLOW_L_H, [ROTOR], 0), turns_of(throws)
    known = Stones(np.array([height_m]), face_of_edges(ground, 0.0))
    caught = catch(ground, turns, spray, pairs, known, nodes_n=400)
    taken = float(caught.face_l_h.sum() + caught.top_l_h.sum())
    assert taken == pytest.approx(lacking_l_h(stone, height_m), abs=1e-6 * FLOW_L_H)


def site(seed: int, *, windy: bool) -> tuple[npt.NDArray[np.object_], Floats, Throws, Floats, Turns, Spray]:
    """Heads in turns over rows of slabs that stand a little off their lines; some lie flush."""
    rng = np.random.default_rng(seed)
    x, y = (
        part.ravel() + rng.uniform(-0.2, 0.2, part.size)
        for part in np.meshgrid(np.arange(3, 37, 2.6), np.arange(3, 37, 1.4))
    )
    half = rng.uniform([0.05, 0.2], [0.2, 0.4], (len(x), 2)).T
    stones = np.asarray(shapely.box(x - half[0], y - half[1], x + half[0], y + half[1]), dtype=object)
    height = np.where(rng.random(len(x)) < 0.2, 0.0, rng.uniform(0.2, 1.4, len(x)))
    heads = 5
    throws = make_throws(
        rng.uniform(0, 40, heads), rng.uniform(0, 40, heads), rng.uniform(5, 14, heads),
        from_deg=rng.uniform(0, 360, heads), sweep_deg=rng.choice([90.0, 180.0, 270.0, 360.0, 55.0], heads),
    )  # fmt: skip
    flow = rng.uniform(200, 2000, heads)
    turns = turns_of(throws, *rng.uniform(-1.5, 1.5, 2)) if windy else turns_of(throws)
    return stones, height, throws, flow, turns, make_spray(throws, flow, [ROTOR], 0)


@pytest.mark.cited("conservation of mass")
@settings(max_examples=15)
@given(st.integers(0, 10_000), st.sampled_from([0.25, 1.0, 3.0]), st.booleans(), st.booleans())
def test_faces_tops_ground_and_off_site_are_what_is_sent(seed: int, cell_m: float, windy: bool, shadows: bool) -> None:
    stones, height, throws, flow, turns, spray = site(seed, windy=windy)
    ground, pairs = make_ground(stones), find_pairs(stones, throws, turns=turns)
    known = Stones(height, face_of_edges(ground, 0.0))
    caught = catch(ground, turns, spray, pairs, known, shadows=shadows)
    by_head = np.bincount(pairs.head_i, caught.face_l_h.sum(axis=1) + caught.top_l_h, minlength=len(flow))
    assume(shadows or (by_head < flow).all())  # without shadows, water may be counted twice
    assert (by_head < flow).all()
    grid = make_grid((0, 0, 40, 40), cell_m)
    found = cover(turns, spray, grid, flow, shade=Shade(ground, known, pairs, caught))
    whole = by_head.sum() + found.sum_mm.sum() * cell_m**2 + found.off_grid.sum()
    assert whole == pytest.approx(flow.sum(), rel=1e-9)
    assert (found.sum_mm >= 0).all()
    assert (found.off_grid >= -1e-9 * flow).all()


@pytest.mark.cited("conservation of mass, before the cells of a head are scaled to its flow")
@settings(max_examples=10)
@given(st.integers(0, 10_000))
def test_raster_alone_holds_the_mass_within_half_a_per_cent(seed: int) -> None:
    """Cells that are neither under a stone nor in a shadow, and what the stones take, without any scaling."""
    stones, height, throws, flow, turns, spray = site(seed, windy=False)
    ground, pairs = make_ground(stones), find_pairs(stones, throws)
    known = Stones(height, face_of_edges(ground, 0.0))
    caught = catch(ground, turns, spray, pairs, known, nodes_n=16)
    shade = Shade(ground, known, pairs, caught)
    total = np.zeros((len(flow), 2))
    loops = code.load(coverage.KERNELS) or by_numpy
    shading, taken = coverage._shading(shade, len(flow))
    loops.sums(turns, spray, make_grid((0, 0, 40, 40), 0.1), shading, total, np.array([0, len(flow)]))
    assert total[:, 0].sum() * 0.1**2 + taken.sum() == pytest.approx(flow.sum(), rel=0.005)
