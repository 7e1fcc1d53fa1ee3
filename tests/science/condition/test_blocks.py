"""Dense groups as scikit-learn finds them, and blocks that fit into a day."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from sklearn.cluster import DBSCAN
from sklearn.metrics import adjusted_rand_score

from gravegis.errors import LayerError, SettingError
from gravegis.science.condition.blocks import dense_clusters, split_blocks
from gravegis.science.condition.clusters import cluster

if TYPE_CHECKING:
    from numpy.typing import NDArray


def planted(seed: int) -> tuple[NDArray[np.float64], NDArray[np.bool_], NDArray[np.int64]]:
    """Four patches of harm on a ground of 5,000 stones in rows."""
    rng = np.random.default_rng(seed)
    xy = np.stack(np.meshgrid(np.arange(0, 120, 1.2), np.arange(0, 125, 2.5)), axis=-1).reshape(-1, 2)
    patch = np.full(len(xy), -1)
    for number, middle in enumerate(((20, 20), (90, 30), (30, 95), (95, 100))):
        patch[np.hypot(*(xy - middle).T) < 12] = number
    harmed = rng.random(len(xy)) < np.where(patch >= 0, 0.85, 0.05)
    return xy, harmed, patch


@given(st.integers(0, 60))
def test_cores_are_grouped_as_scikit_learn_groups_them(seed: int) -> None:
    rng = np.random.default_rng(seed)
    xy, harmed = rng.uniform(0, 30, (150, 2)), rng.random(150) < 0.7
    made = dense_clusters(xy, harmed, link_m=2.5, least_n=5)
    other = DBSCAN(eps=2.5, min_samples=5).fit(xy[harmed])
    cores = np.flatnonzero(harmed)[other.core_sample_indices_]
    pairs = {(int(a), int(b)) for a, b in zip(made[cores], other.labels_[other.core_sample_indices_], strict=True)}
    assert len(pairs) == len({a for a, _ in pairs}) == len({b for _, b in pairs})
    # who belongs to a group at all is the same; which group a stone between two joins may differ
    np.testing.assert_array_equal(made[harmed] >= 0, other.labels_ >= 0)
    assert (made[~harmed] == -1).all()


def test_planted_patches_come_apart() -> None:
    xy, harmed, patch = planted(1)
    made = dense_clusters(xy, harmed, link_m=4.0, least_n=7)
    assert adjusted_rand_score(patch[harmed], made[harmed]) > 0.85
    # the plain rule joins a good part of the ground where stones stand this close
    assert len(np.unique(made[made >= 0])) >= 4


def test_rows_that_stand_close_do_not_make_one_giant_block() -> None:
    xy, _, _ = planted(2)
    everything = np.ones(len(xy), dtype=np.bool_)
    whole = cluster(xy, everything, link_m=4.0, least_n=6)
    assert len(np.unique(whole)) == 1
    minutes = np.random.default_rng(3).choice([8.0, 35.0, 60.0], len(xy))
    blocks = split_blocks(xy, whole, minutes, most_min=330.0)
    time_min = np.bincount(blocks, weights=minutes)
    assert time_min.max() <= 330.0
    # few more than must be
    assert len(time_min) <= 1.35 * minutes.sum() / 330
    # compact: blocks of one group do not lie across each other
    hulls = [shapely.convex_hull(shapely.multipoints(xy[blocks == one])) for one in range(40)]
    overlap = sum(a.intersection(b).area for n, a in enumerate(hulls) for b in hulls[:n])
    assert overlap == pytest.approx(0, abs=1e-6)
    spread = [np.ptp(xy[blocks == one], axis=0).max() for one in range(len(time_min))]
    assert np.median(spread) < 15


quarter = st.tuples(st.integers(0, 40), st.integers(0, 40), st.integers(0, 90), st.integers(-1, 2))


@given(st.lists(quarter, max_size=40), st.floats(5, 300))
def test_blocks_keep_every_stone_within_its_group_and_the_limit(
    stones: list[tuple[int, int, int, int]], most_min: float
) -> None:
    table = np.array(stones, dtype=np.float64).reshape(-1, 4)
    groups = table[:, 3].astype(np.intp)
    made = split_blocks(table[:, :2], groups, table[:, 2], most_min=most_min)
    np.testing.assert_array_equal(made >= 0, groups >= 0)
    sizes = []
    for one in range(int(made.max(initial=-1)) + 1):
        at = made == one
        assert len(np.unique(groups[at])) == 1
        assert table[at, 2].sum() <= most_min or at.sum() == 1
        sizes.append(int(at.sum()))
    assert sizes == sorted(sizes, reverse=True)
    assert 0 not in sizes


def test_a_group_that_fits_stays_whole_and_a_long_stone_is_a_block_of_its_own() -> None:
    xy = [[0, 0], [1, 0], [2, 0], [3, 0]]
    assert split_blocks(xy, [0, 0, 0, 0], [10, 10, 10, 10], most_min=40).tolist() == [0, 0, 0, 0]
    made = split_blocks(xy, [0, 0, 0, 0], [10, 10, 500, 10], most_min=40)
    assert (made == made[2]).sum() == 1


def test_hostile_input_is_refused() -> None:
    with pytest.raises(SettingError, match="most_min is 0"):
        split_blocks([[0, 0]], [0], [5], most_min=0)
    with pytest.raises(LayerError, match="missing or negative"):
        split_blocks([[0, 0]], [0], [np.nan], most_min=5)
    with pytest.raises(LayerError, match="1 positions, 2 groups, 1 times"):
        split_blocks([[0, 0]], [0, 0], [5], most_min=5)
    with pytest.raises(LayerError, match="no position"):
        dense_clusters(np.array([[np.nan, 0.0]]), [True], link_m=1, least_n=1)
