"""Water on faces and tops: against plain Python and shapely, by mass, and compiled against not compiled."""

from __future__ import annotations

import itertools
import math
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import affinity

from gravegis.science.irrigation.footprints import face_of_edges, make_ground
from gravegis.science.irrigation.pairs import find_pairs
from gravegis.science.irrigation.rays.water import Caught, Stones, by_stone, catch, make_spray
from gravegis.science.irrigation.tables import DISTANCES_N, HEIGHTS_N, SprayTable, build_table, table_keys
from gravegis.science.irrigation.throw import Throws, make_throws
from gravegis.science.irrigation.wind import turns_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gravegis.science.irrigation.bundles import Spray, Turns

Geometries = npt.NDArray[np.object_]
Floats = npt.NDArray[np.float64]

ROTOR = build_table(table_keys(["rotor"], 300.0, 25.0, 0.1)[0][0])


def slabs(rng: np.random.Generator, stones: int, side_m: float) -> Geometries:
    """Slabs in rows that do not overlap."""
    columns = int(side_m / 1.3)
    place = rng.permutation(columns * int(side_m / 1.3))[:stones]
    middle = np.stack([place % columns, place // columns], axis=1) * 1.3 + 0.65
    turn = rng.uniform(0, 2 * np.pi, stones)
    half = rng.uniform([0.2, 0.05], [0.5, 0.25], (stones, 2))[:, None]
    corners = half * np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)])
    matrix = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]]).transpose(2, 0, 1)
    return np.asarray(shapely.polygons(corners @ matrix + middle[:, None]), dtype=object)


def arcs(rng: np.random.Generator, heads: int, side_m: float) -> Throws:
    sweep = rng.choice([90.0, 180.0, 270.0, 360.0, 0.0], heads)
    return make_throws(
        rng.uniform(0, side_m, heads), rng.uniform(0, side_m, heads), rng.uniform(6, 15, heads),
        from_deg=rng.uniform(0, 360, heads), sweep_deg=np.where(sweep == 0, rng.uniform(20, 340, heads), sweep),
    )  # fmt: skip


def one_head(**more: Any) -> tuple[Throws, Turns, Spray]:
    throws = make_throws([0.0], [0.0], 12.0, **more)
    return throws, turns_of(throws), make_spray(throws, 1000.0, [ROTOR], 0)


def caught_by(
    stones: Sequence[shapely.Geometry], height_m: npt.ArrayLike, *, shadows: bool = True, nodes_n: int = 4, **more: Any
) -> Caught:
    """Water of one head of 1000 L/h and 12 m, by stone (all must be reached)."""
    throws, turns, spray = one_head(**more)
    shapes = np.array([*stones, None], dtype=object)[:-1]
    ground, pairs = make_ground(shapes), find_pairs(shapes, throws)
    assert pairs.stone_i.tolist() == list(range(len(stones)))
    heights = np.broadcast_to(np.asarray(height_m, float), len(stones))
    known = Stones(heights, face_of_edges(ground, 180.0))
    return catch(ground, turns, spray, pairs, known, shadows=shadows, nodes_n=nodes_n)


def total(caught: Caught) -> float:
    return float(caught.face_l_h.sum() + caught.top_l_h.sum())


# --- an oracle in plain Python and shapely, which shares the table only ---


def look_up(share: Floats, place: float, height: float) -> float:
    """Bilinear, plainly."""
    if place >= 1 or height >= HEIGHTS_N - 1:
        return 1.0
    i, j = min(int(place * (DISTANCES_N - 1)), DISTANCES_N - 2), int(height)
    f, g = place * (DISTANCES_N - 1) - i, height - j
    near, far = (share[row, j] * (1 - g) + share[row, j + 1] * g for row in (i, i + 1))
    return float(near * (1 - f) + far * f)


class Oracle:
    """One head, its turn as a polygon with straight far sides, its stones as shapely polygons."""

    def __init__(self, throws: Throws, k: int, flow_l_h: float, table: SprayTable) -> None:
        self.x, self.y, self.throw = throws.x_m[k], throws.y_m[k], throws.throw_m[k]
        self.table, self.flow_rad = table, flow_l_h / math.radians(throws.sweep_deg[k])
        bearings = np.radians(np.linspace(throws.from_deg[k], throws.from_deg[k] + throws.sweep_deg[k], 73))
        ring = [(self.x + 50 * math.sin(b), self.y + 50 * math.cos(b)) for b in bearings]
        full = throws.sweep_deg[k] == 360
        self.turn = shapely.Polygon(ring if full else [(self.x, self.y), *ring])
        self.place = shapely.Point(self.x, self.y)

    def reaches(self, stone: shapely.Geometry) -> bool:
        part = shapely.intersection(stone, self.turn)
        return not part.is_empty and shapely.distance(part, self.place) <= self.throw + 1e-7

    def below(self, distance: float, height_m: float) -> float:
        """Share come below a height by a distance, stretched to the throw."""
        ratio, s = self.table.throw_m / self.throw, min(distance / self.throw, 1.0)
        place = s / ratio * (1 + (ratio - 1) * s) if ratio > 0.55 else s
        return look_up(self.table.share_below, place, height_m * (HEIGHTS_N - 1) / self.table.top_m)

    def nodes(self, edge: shapely.LineString) -> list[tuple[float, float, float]]:
        """Places on a part of an edge and the angle each stands for: four, two if slim, four times eight if wide."""
        (ax, ay), (bx, by) = edge.coords
        a, b = math.atan2(ay - self.y, ax - self.x), math.atan2(by - self.y, bx - self.x)
        turn = (b - a + math.pi) % (2 * math.pi) - math.pi
        pieces = 8 if math.cos(turn) < 0.9 else 1
        found = []
        rays = 2 if abs(math.sin(turn / pieces)) < 0.05 else 4
        cuts = [self.meet(a + turn * c / pieces, edge) for c in range(pieces + 1)]
        for (px, py), (qx, qy) in itertools.pairwise(cuts):
            area = abs((px - self.x) * (qy - self.y) - (py - self.y) * (qx - self.x))
            for node, weight in zip(*np.polynomial.legendre.leggauss(rays), strict=True):
                x, y = px + (node + 1) / 2 * (qx - px), py + (node + 1) / 2 * (qy - py)
                found.append((float(x), float(y), float(weight / 2 * area / ((x - self.x) ** 2 + (y - self.y) ** 2))))
        return found

    def meet(self, angle: float, edge: shapely.LineString) -> tuple[float, float]:
        """Where the line of an edge is met by a ray at an angle from east."""
        (ax, ay), (bx, by) = edge.coords
        ux, uy = math.cos(angle), math.sin(angle)
        along = ((ax - self.x) * (by - ay) - (ay - self.y) * (bx - ax)) / (ux * (by - ay) - uy * (bx - ax))
        return self.x + along * ux, self.y + along * uy

    def follow(
        self, place: tuple[float, float], tree: shapely.STRtree, heights: Floats, me: int, *, shadows: bool
    ) -> tuple[float, float]:
        """Share gone before a place on a stone, and where the ray through it leaves that stone."""
        r = math.hypot(place[0] - self.x, place[1] - self.y)
        ux, uy = (place[0] - self.x) / r, (place[1] - self.y) / r
        ray = shapely.LineString([(self.x, self.y), (self.x + 50 * ux, self.y + 50 * uy)])
        gone, end = self.below(r, 0.0), r
        for j in tree.query(ray, predicate="intersects"):
            stone = tree.geometries[j]
            cut = shapely.get_coordinates(shapely.intersection(ray, stone))
            ways = np.hypot(cut[:, 0] - self.x, cut[:, 1] - self.y)
            if j == me:
                end = min(float(ways.max()), self.throw)
            elif shadows and ways.min() < r and not shapely.intersects(stone, self.place):
                for way in (float(ways.min()), min(float(ways.max()), r)):
                    gone = max(gone, self.below(way, float(heights[j])))
        return gone, end

    def catch(self, stones: Geometries, heights: Floats, me: int, *, shadows: bool) -> tuple[dict[int, float], float]:
        """Litres an hour by edge of one stone, and on its top."""
        tree = shapely.STRtree(stones)
        sides: dict[int, float] = {}
        top = 0.0
        corners = shapely.get_coordinates(shapely.orient_polygons(stones[me]))
        for e, (a, b) in enumerate(itertools.pairwise(corners)):
            outer = (a + b) / 2 + np.array([b[1] - a[1], a[0] - b[0]])
            if (outer - (a + b) / 2) @ (np.array([self.x, self.y]) - a) <= 0:
                continue  # looks away
            wet = shapely.intersection(shapely.LineString([a, b]), self.turn)
            for part in shapely.get_parts(wet):
                if part.is_empty or not isinstance(part, shapely.LineString):
                    continue
                for x, y, angle in self.nodes(part):
                    r = math.hypot(x - self.x, y - self.y)
                    if r >= self.throw:
                        continue
                    gone, end = self.follow((x, y), tree, heights, me, shadows=shadows)
                    face = self.below(r, float(heights[me]))
                    sides[e] = sides.get(e, 0.0) + self.flow_rad * angle * max(0.0, face - gone)
                    behind = self.below(end, float(heights[me]))
                    top += self.flow_rad * angle * max(0.0, behind - max(gone, face))
        return sides, top


def oracle_agrees(stones_n: int, heads_n: int, side_m: float, *, seed: int) -> int:
    rng = np.random.default_rng(seed)
    stones, throws = slabs(rng, stones_n, side_m), arcs(rng, heads_n, side_m)
    heights = rng.uniform(0.2, 1.6, stones_n)
    heights[::10] = 0.0
    flow = rng.uniform(300, 2000, heads_n)
    tables = [ROTOR]
    ground, turns, pairs = make_ground(stones), turns_of(throws), find_pairs(stones, throws)
    face = np.arange(4 * stones_n) % 4  # each edge its own face
    spray = make_spray(throws, flow, tables, 0)
    both = [catch(ground, turns, spray, pairs, Stones(heights, face), shadows=shadows) for shadows in (False, True)]
    found = set(zip(pairs.stone_i.tolist(), pairs.head_i.tolist(), strict=True))
    row = {key: at for at, key in enumerate(zip(pairs.stone_i.tolist(), pairs.head_i.tolist(), strict=True))}
    compared = 0
    for k in range(heads_n):
        oracle = Oracle(throws, k, float(flow[k]), ROTOR)
        near = np.flatnonzero(shapely.distance(stones, oracle.place) <= throws.throw_m[k] + 1.0)
        reached = [int(i) for i in near if oracle.reaches(stones[i])]
        assert reached == sorted(i for i, head in found if head == k)
        mine, tall = stones[reached], heights[reached]
        for at, i in enumerate(reached):
            if shapely.intersects(stones[i], oracle.place):
                continue
            for ours, shadows in zip(both, (False, True), strict=True):
                sides, top = oracle.catch(mine, tall, at, shadows=shadows)
                expected = [sides.get(e, 0.0) for e in range(4)]
                p = row[i, k]
                np.testing.assert_allclose(ours.face_l_h[p], expected, rtol=1e-6, atol=1e-9 * flow[k])
                assert ours.top_l_h[p] == pytest.approx(top, rel=1e-6, abs=1e-9 * flow[k])
                compared += 1
    return compared


def test_oracle_agrees_on_flags_faces_and_tops() -> None:
    assert oracle_agrees(150, 6, 24.0, seed=3) > 200


@pytest.mark.full
def test_oracle_agrees_on_2000_stones_and_100_heads() -> None:
    assert oracle_agrees(2_000, 100, 85.0, seed=4) > 5_000


# --- compiled and not ---


@pytest.mark.parametrize("windy", [False, True])
@pytest.mark.parametrize("shadows", [False, True])
def test_loops_and_numpy_give_the_same_bits(windy: bool, shadows: bool) -> None:
    rng = np.random.default_rng(1)
    stones = slabs(rng, 300, 30.0)
    stones[::7] = shapely.centroid(stones[::7])
    stones[1::30] = shapely.buffer(stones[1::30], 0.8) - shapely.buffer(stones[1::30], 0.4)  # kerbs round a plot
    throws = arcs(rng, 15, 30.0)
    strips = make_throws(
        rng.uniform(0, 30, 6), rng.uniform(0, 30, 6), np.nan, from_deg=rng.uniform(0, 360, 6), strip_length_m=6.0,
        strip_width_m=2.0, strip_side=["centre", "end", "side"] * 2,
    )  # fmt: skip
    throws = Throws(*(np.concatenate([getattr(throws, n), getattr(strips, n)]) for n in Throws.__slots__))
    turns = turns_of(throws, 2.0, 1.0) if windy else turns_of(throws)
    ground, pairs = make_ground(stones), find_pairs(stones, throws, turns=turns)
    spray = make_spray(throws, rng.uniform(100, 2000, 21), [ROTOR], 0)
    known = Stones(rng.uniform(0, 1.6, 300), face_of_edges(ground, rng.uniform(0, 360, 300)))
    ways: tuple[dict[str, Any], ...] = ({"threads": 1}, {"threads": 5}, {"compiled": False})
    one, two, three = (catch(ground, turns, spray, pairs, known, shadows=shadows, **way) for way in ways)
    for other in (two, three):
        assert one.face_l_h.tobytes() == other.face_l_h.tobytes()
        assert one.top_l_h.tobytes() == other.top_l_h.tobytes()
    assert one.face_l_h.max() > 10
    hours = np.linspace(1, 9, len(pairs))
    faces, top = by_stone(one, pairs.stone_i, 300, weight=hours)
    plain_faces, plain_top = by_stone(one, pairs.stone_i, 300, weight=hours, compiled=False)
    assert faces.tobytes() == plain_faces.tobytes()
    assert top.tobytes() == plain_top.tobytes()
    assert faces.sum() == pytest.approx((one.face_l_h.sum(axis=1) * hours).sum())


# --- mass ---


def water_gone(low_deg: float, high_deg: float, stone: shapely.Geometry, height_m: float) -> float:
    """Litres an hour that a stone takes, ray by ray on a fine fan: all that ranks up to what passes its top."""
    throws, _, _ = one_head()
    oracle = Oracle(throws, 0, 1000.0, ROTOR)
    angles = np.radians(np.linspace(low_deg, high_deg, 20_001))
    middle = (angles[1:] + angles[:-1]) / 2
    rays = shapely.linestrings(np.stack([np.zeros((20_000, 2)), 50 * np.stack([np.sin(middle), np.cos(middle)], 1)], 1))
    taken = 0.0
    for cut in np.asarray(shapely.intersection(rays, stone)):
        if not cut.is_empty:
            ways = np.hypot(*shapely.get_coordinates(cut).T)
            near, far = float(ways.min()), float(ways.max())
            top = max(oracle.below(near, height_m), oracle.below(far, height_m))
            taken += (top - oracle.below(near, 0.0)) * (angles[1] - angles[0])
    return taken * 1000.0 / (2 * math.pi)


@pytest.mark.cited("mass balance: what the stone takes is what its shadow lacks (derived)")
@pytest.mark.parametrize(("at_m", "height_m"), [(2.0, 0.9), (4.0, 0.9), (8.0, 0.9), (10.0, 0.4), (8.0, 0.0)])
def test_faces_and_top_take_what_the_shadow_behind_lacks(at_m: float, height_m: float) -> None:
    stone = shapely.box(at_m, -0.3, at_m + 0.15, 0.3)
    half = math.degrees(math.atan2(0.3, at_m)) + 0.01
    caught = total(caught_by([stone], height_m, nodes_n=64))
    assert caught > 0
    assert caught == pytest.approx(water_gone(90 - half, 90 + half, stone, height_m), rel=2e-4)


@settings(max_examples=60)
@given(st.floats(0.8, 10.0), st.floats(0, 360), st.floats(0, 2.0), st.floats(0, 180))
def test_stone_behind_takes_no_more_for_being_shaded_and_the_one_in_front_loses_nothing(
    at_m: float, bearing_deg: float, height_m: float, turn_deg: float
) -> None:
    east, north = math.sin(math.radians(bearing_deg)), math.cos(math.radians(bearing_deg))
    slab = affinity.rotate(shapely.box(-0.3, -0.1, 0.3, 0.1), turn_deg)
    pair = [affinity.translate(slab, east * way, north * way) for way in (at_m, at_m + 0.9)]
    alone = [total(caught_by([stone], height_m)) for stone in pair]
    shaded = caught_by(pair, height_m)
    by_stone = shaded.face_l_h.sum(axis=1) + shaded.top_l_h
    assert by_stone[0] == pytest.approx(alone[0])
    assert by_stone[1] <= alone[1] + 1e-9


def test_walls_one_behind_another_never_take_more_than_is_sent_out() -> None:
    walls = [shapely.Point(0, 0).buffer(r + 0.1, 64) - shapely.Point(0, 0).buffer(r, 64) for r in (4.0, 4.5, 5.0)]
    heights = [0.9, 0.6, 1.2]
    open_, shaded = (total(caught_by(walls, heights, shadows=shadows)) for shadows in (False, True))
    throws, _, _ = one_head()
    oracle = Oracle(throws, 0, 1000.0, ROTOR)
    assert open_ > 1.02 * shaded
    # all but what lands inside the first wall and on the ground between the walls, ray by ray
    gone, left = 0.0, 1000.0
    for r, height in zip((4.0, 4.5, 5.0), heights, strict=True):
        gone = max(gone, oracle.below(r, 0.0))
        taken = max(gone, oracle.below(r, height), oracle.below(r + 0.1, height)) - gone
        gone, left = gone + taken, left - 1000.0 * taken
    assert shaded == pytest.approx(1000.0 - left, rel=1e-3)


@pytest.mark.parametrize("sweep_deg", [90.0, 200.0, 360.0])
def test_a_closed_wall_takes_all_that_has_not_landed_before_it(sweep_deg: float) -> None:
    wall = shapely.Point(0, 0).buffer(6.2, 256) - shapely.Point(0, 0).buffer(6.0, 256)
    caught = caught_by([wall], 10.0, sweep_deg=sweep_deg, from_deg=33.0)
    throws, _, _ = one_head()
    landed = Oracle(throws, 0, 1000.0, ROTOR).below(6.0, 0.0)
    assert total(caught) == pytest.approx(1000.0 * (1 - landed), rel=1e-4)


def test_a_head_within_a_kerb_waters_what_lies_within_it() -> None:
    slab = shapely.box(-12, -12, 12, 12)
    assert total(caught_by([slab], 0.2)) == pytest.approx(1000.0, rel=1e-9)
    half = caught_by([shapely.Point(0, 0).buffer(6.0, 128)], 0.2)
    throws, _, _ = one_head()
    landed = Oracle(throws, 0, 1000.0, ROTOR).below(6.0, 0.0)
    assert half.top_l_h[0] == pytest.approx(1000.0 * landed, rel=1e-3)
    assert half.face_l_h.sum() == 0.0


# --- faces, by hand ---


def test_only_faces_that_look_at_the_head_are_wetted() -> None:
    front = caught_by([shapely.box(-0.3, 6, 0.3, 6.2)], 0.9)  # north of the head, facing it
    assert front.face_l_h[0, 0] > 0
    assert front.face_l_h[0, 1:].tolist() == [0.0, 0.0, 0.0]
    assert front.top_l_h[0] > 0


@pytest.mark.cited("flux through a plane: a face turned by 60 degrees catches half as much per area")
def test_oblique_face_catches_by_the_cosine() -> None:
    thin = shapely.box(-0.05, 6, 0.05, 6.001)
    square = caught_by([thin], 0.9).face_l_h[0, 0]
    turned = caught_by([affinity.rotate(thin, 60.0)], 0.9, nodes_n=16)
    assert turned.face_l_h[0].max() == pytest.approx(square / 2, rel=0.02)


def test_flush_stone_takes_its_water_on_top() -> None:
    flush = caught_by([shapely.box(-0.3, 6, 0.3, 6.5)], 0.0)
    assert flush.face_l_h.sum() == 0.0
    assert flush.top_l_h[0] > 0


def test_stone_in_front_shades_the_one_behind_and_not_the_other_way() -> None:
    pair = [shapely.box(-0.5, 6, 0.5, 6.1), shapely.box(-0.2, 6.3, 0.2, 6.4)]
    open_, shaded = (caught_by(pair, 0.9, shadows=shadows) for shadows in (False, True))
    assert shaded.face_l_h[0].tolist() == open_.face_l_h[0].tolist()
    assert shaded.face_l_h[1, 0] < 0.5 * open_.face_l_h[1, 0]
    low = caught_by(pair, [0.0, 0.9])
    assert low.face_l_h[1, 0] == pytest.approx(open_.face_l_h[1, 0])


def test_stone_struck_by_the_stream_leaves_those_right_behind_dry() -> None:
    pair = [shapely.box(-0.6, 1.2, 0.6, 1.3), shapely.box(-0.1, 6, 0.1, 6.1)]
    caught = caught_by(pair, [0.9, 0.9])
    assert caught.face_l_h[0, 0] > 50
    assert caught.face_l_h[1].sum() == 0.0


def test_few_rays_agree_with_many() -> None:
    stone = shapely.box(-0.3, 2, 0.3, 2.2)
    few, many = (total(caught_by([stone], 0.9, nodes_n=n)) for n in (4, 64))
    assert few == pytest.approx(many, rel=1e-3)


def test_unknown_flow_stays_unknown_and_only_there() -> None:
    throws = make_throws([0.0, 0.5], 0.0, 12.0)
    stones = np.array([shapely.box(-0.3, 6, 0.3, 6.2)], dtype=object)
    ground, turns, pairs = make_ground(stones), turns_of(throws), find_pairs(stones, throws)
    spray = make_spray(throws, [np.nan, 500.0], [ROTOR], 0)
    caught = catch(ground, turns, spray, pairs, Stones(np.array([0.9]), face_of_edges(ground, 180.0)))
    assert np.isnan(caught.face_l_h[0, 0])
    assert caught.face_l_h[1, 0] > 0


def test_unknown_heights_and_wild_heads_are_refused() -> None:
    with pytest.raises(ValueError, match="Heights of stones must be known"):
        caught_by([shapely.box(-0.3, 6, 0.3, 6.2)], np.nan)
    throws = make_throws([0.0], 0.0, 12.0)
    for flow, table in ((-1.0, 0), (5.0, 1)):
        with pytest.raises(ValueError, match="every head must have a table"):
            make_spray(throws, flow, [ROTOR], table)


def test_no_pairs_give_no_water() -> None:
    throws, turns, spray = one_head()
    far = np.array([shapely.box(50, 50, 51, 51)], dtype=object)
    ground, pairs = make_ground(far), find_pairs(far, throws)
    for compiled in (True, False):
        caught = catch(ground, turns, spray, pairs, Stones(np.ones(1), face_of_edges(ground, 0.0)), compiled=compiled)
        assert caught.face_l_h.shape == (0, 4)
