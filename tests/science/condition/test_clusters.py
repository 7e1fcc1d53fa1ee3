"""Groups of like harm: the same as plain union-find, whatever the order, and honest about dense blocks."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from gravegis.errors import LayerError, SettingError
from gravegis.science.condition import clusters
from gravegis.science.condition.clusters import NO_CLUSTER, cluster, hulls, share_harmed

if TYPE_CHECKING:
    from numpy.typing import NDArray

# quarter metres: sums of squares are exact, so stones at exactly the link distance occur and are compared alike
place = st.tuples(st.integers(0, 60), st.integers(0, 60))
stones = st.lists(st.tuples(place, st.booleans()), max_size=45)


def arrays(table: list[tuple[tuple[int, int], bool]]) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    return (
        np.array([at for at, _ in table], dtype=np.float64).reshape(-1, 2) / 4,
        np.array([bad for _, bad in table], dtype=np.bool_),
    )


def by_union_find(
    xy: NDArray[np.float64], harmed: NDArray[np.bool_], link_m: float, least_n: int
) -> list[frozenset[int]]:
    """Groups as sets of stones, found the plain way."""
    parent = {i: i for i in range(len(xy)) if harmed[i]}

    def root(i: int) -> int:
        while parent[i] != i:
            i = parent[i]
        return i

    for i in parent:
        for j in parent:
            if i < j and (xy[i, 0] - xy[j, 0]) ** 2 + (xy[i, 1] - xy[j, 1]) ** 2 <= link_m**2:
                parent[root(i)] = root(j)
    groups: dict[int, set[int]] = {}
    for i in parent:
        groups.setdefault(root(i), set()).add(i)
    kept = [frozenset(group) for group in groups.values() if len(group) >= least_n]
    return sorted(kept, key=lambda group: (-len(group), min((float(xy[i, 0]), float(xy[i, 1])) for i in group)))


@given(stones, st.sampled_from([0.25, 1.0, 2.5, 5.0]), st.integers(1, 5))
def test_groups_equal_plain_union_find_in_number_and_order(
    table: list[tuple[tuple[int, int], bool]], link_m: float, least_n: int
) -> None:
    xy, harmed = arrays(table)
    found = cluster(xy, harmed, link_m=link_m, least_n=least_n)
    sets = [frozenset(np.flatnonzero(found == one).tolist()) for one in range(int(found.max(initial=-1)) + 1)]
    assert sets == by_union_find(xy, harmed, link_m, least_n)


@given(stones, st.randoms(use_true_random=False))
def test_the_order_of_stones_does_not_change_their_group(
    table: list[tuple[tuple[int, int], bool]], rng: object
) -> None:
    xy, harmed = arrays(table)
    order = list(range(len(table)))
    rng.shuffle(order)  # type: ignore[attr-defined]
    straight = cluster(xy, harmed, link_m=2.0, least_n=2)
    shuffled = cluster(xy[order], harmed[order], link_m=2.0, least_n=2)
    np.testing.assert_array_equal(straight[order], shuffled)


@given(stones, st.integers(-8, 8), st.integers(-8, 8))
def test_groups_do_not_hang_on_where_the_ground_lies(
    table: list[tuple[tuple[int, int], bool]], east: int, north: int
) -> None:
    xy, harmed = arrays(table)
    np.testing.assert_array_equal(
        cluster(xy, harmed, link_m=2.0, least_n=2), cluster(xy + np.array([east, north]), harmed, link_m=2.0, least_n=2)
    )


@given(stones)
def test_a_longer_link_never_parts_stones(table: list[tuple[tuple[int, int], bool]]) -> None:
    xy, harmed = arrays(table)
    near = cluster(xy, harmed, link_m=1.0, least_n=2)
    far = cluster(xy, harmed, link_m=3.0, least_n=2)
    for one in range(int(near.max(initial=-1)) + 1):
        assert len(set(far[near == one].tolist())) == 1
    assert np.all(far[near >= 0] >= 0)


def test_the_link_distance_itself_counts_as_near() -> None:
    xy = [[0.0, 0.0], [4.0, 0.0], [8.001, 0.0]]
    assert cluster(xy, [True] * 3, link_m=4.0, least_n=1).tolist() == [0, 0, 1]


def test_sound_stones_neither_join_nor_carry_a_link() -> None:
    xy = [[0.0, 0.0], [3.0, 0.0], [6.0, 0.0]]
    assert cluster(xy, [True, False, True], link_m=4.0, least_n=1).tolist() == [0, NO_CLUSTER, 1]


def test_a_heap_of_stones_on_one_spot_is_one_group() -> None:
    heap = np.zeros((20_000, 2))
    assert set(cluster(heap, np.ones(20_000, dtype=bool), link_m=1.0, least_n=2).tolist()) == {0}


def test_no_stones_and_no_harm_give_no_groups() -> None:
    assert cluster([], [], link_m=1.0, least_n=1).shape == (0,)
    none = cluster([[0, 0], [1, 1]], [False, False], link_m=5.0, least_n=1)
    assert none.tolist() == [NO_CLUSTER, NO_CLUSTER]
    assert hulls([[0, 0], [1, 1]], none, pad_m=1.0).shape == (0,)


@pytest.mark.parametrize("link_m", [0.0, -1.0, np.nan, np.inf])
def test_a_senseless_link_is_refused(link_m: float) -> None:
    with pytest.raises(SettingError, match="link_m"):
        cluster([[0, 0]], [True], link_m=link_m, least_n=1)


def test_a_group_of_no_stones_is_refused() -> None:
    with pytest.raises(SettingError, match="least_n is 0"):
        cluster([[0, 0]], [True], link_m=1.0, least_n=0)


def test_a_link_that_joins_everything_is_refused_before_memory_runs_out(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(clusters, "MOST_PAIRS", 40)
    xy = [[i, 0] for i in range(10)]
    with pytest.raises(SettingError, match="joins 45 pairs"):
        cluster(xy, [True] * 10, link_m=100.0, least_n=1)


def test_a_harmed_stone_without_position_is_named_and_a_sound_one_is_let_be() -> None:
    xy = [[0.0, 0.0], [np.nan, 1.0]]
    assert cluster(xy, [True, False], link_m=1.0, least_n=1).tolist() == [0, NO_CLUSTER]
    with pytest.raises(LayerError, match=r"stones\[1\].*no position"):
        cluster(xy, [True, True], link_m=1.0, least_n=1)


@pytest.mark.parametrize("xy", [[[0, 0, 0], [1, 1, 1]], [0.0, 1.0], np.zeros((2, 2, 2))])
def test_positions_of_another_shape_are_refused(xy: object) -> None:
    with pytest.raises(LayerError, match="shape"):
        cluster(xy, [True, True], link_m=1.0, least_n=1)  # type: ignore[arg-type]


def test_as_many_marks_as_stones_are_asked_for() -> None:
    with pytest.raises(LayerError, match="2 positions for 1 stones"):
        cluster([[0, 0], [1, 1]], [True], link_m=1.0, least_n=1)


@given(stones, st.sampled_from([0.0, 0.5, 1.0]))
def test_every_stone_lies_within_the_outline_of_its_group(
    table: list[tuple[tuple[int, int], bool]], ratio: float
) -> None:
    xy, harmed = arrays(table)
    found = cluster(xy, harmed, link_m=3.0, least_n=1)
    outlines = hulls(xy, found, pad_m=0.5, ratio=ratio)
    assert len(outlines) == found.max(initial=-1) + 1
    for one, outline in enumerate(outlines):
        assert outline.is_valid
        assert outline.geom_type == "Polygon"
        assert all(outline.contains(shapely.Point(at)) for at in xy[found == one])


def test_an_outline_around_one_stone_is_a_disc() -> None:
    (outline,) = hulls([[3.0, 4.0]], [0], pad_m=2.0)
    assert outline.area == pytest.approx(np.pi * 4, rel=0.02)


@pytest.mark.parametrize(("pad_m", "ratio"), [(0.0, 0.5), (np.nan, 0.5), (1.0, 1.5)])
def test_a_senseless_outline_is_refused(pad_m: float, ratio: float) -> None:
    with pytest.raises(SettingError, match="pad_m"):
        hulls([[0, 0]], [0], pad_m=pad_m, ratio=ratio)


def test_the_share_inside_tells_a_dense_block_from_a_real_group() -> None:
    # two blocks of 16 stones: all harmed in one, every second in the other; one stone of each was not looked at
    block = np.array([[x, y] for x in range(4) for y in range(4)], dtype=float)
    xy = np.vstack([block, block + np.array([50, 0])])
    harmed = np.r_[np.ones(16, dtype=bool), np.arange(16) % 2 == 0]
    looked = np.ones(32, dtype=bool)
    looked[[1, 17]] = False
    found = cluster(xy, harmed, link_m=2.5, least_n=4)
    stones_n, share = share_harmed(xy, harmed, looked, hulls(xy, found, pad_m=0.6, ratio=1.0))
    assert share[0] == 1.0
    assert stones_n[0] == 15
    inside = [
        i
        for i in range(16, 32)
        if i != 17 and hulls(xy, found, pad_m=0.6, ratio=1.0)[1].contains_properly(shapely.Point(xy[i]))
    ]
    assert (stones_n[1], share[1]) == (len(inside), pytest.approx(harmed[inside].mean()))


def test_a_group_nobody_looked_at_has_no_share() -> None:
    outlines = hulls([[0.0, 0.0]], [0], pad_m=1.0)
    stones_n, share = share_harmed([[0.0, 0.0]], [True], [False], outlines)
    assert stones_n.tolist() == [0]
    assert np.isnan(share).all()
