"""Share of damaged stones: closed forms, an outside kernel estimate, mass, symmetry, and an honest bandwidth."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.stats import gaussian_kde, norm

from gravegis.errors import LayerError, SettingError
from gravegis.science.condition import bandwidth
from gravegis.science.condition.bandwidth import BANDWIDTHS_M, choose_bandwidth
from gravegis.science.condition.density import Grid, RateMap, share_of_damaged

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


def site(n: int, seed: int, *, width_m: float = 40.0, damaged: float = 0.3) -> tuple[Floats, Flags]:
    rng = np.random.default_rng(seed)
    return rng.uniform(0, width_m, (n, 2)), rng.random(n) < damaged


def at(made: RateMap, values: Floats, x_m: float, y_m: float) -> float:
    """Value of the cell that holds a place, by the affine figures as any raster reader would take them."""
    a, _, c, _, e, f = made.grid.affine
    return float(values[int((y_m - f) // e), int((x_m - c) // a)])


@pytest.mark.cited("closed form of a bivariate normal, standard deviation 3 m: peak 1/(18 pi), times exp(-1/2) at 3 m")
def test_one_stone_gives_the_closed_form_of_the_kernel() -> None:
    # on a cell centre, so that binning moves nothing
    made = share_of_damaged([[0.25, 0.25]], np.array([True]), bandwidth_m=3.0, cell_m=0.5)
    assert at(made, made.density, 0.25, 0.25) == pytest.approx(0.0176838826, abs=1e-9)
    assert made.density.max() == at(made, made.density, 0.25, 0.25)
    assert at(made, made.density, 3.25, 0.25) == pytest.approx(0.0107258170, abs=1e-9)
    assert at(made, made.density, 0.25, -2.75) == pytest.approx(0.0107258170, abs=1e-9)


@pytest.mark.cited(
    "scipy 1.17 gaussian_kde, an outside implementation without grid or cut; limit from the project's checks"
)
def test_the_map_is_within_5e_4_of_peak_of_an_outside_kernel_estimate() -> None:
    rng = np.random.default_rng(5)
    raw = rng.uniform(0, 300, (20_000, 2))
    # whitened, so that the outside estimate, which takes its shape from the data, has a round kernel of 6 m
    white = (raw - raw.mean(axis=0)) @ np.linalg.inv(np.linalg.cholesky(np.cov(raw.T))).T * 80.0
    made = share_of_damaged(white, np.ones(len(white), dtype=bool), bandwidth_m=6.0, cell_m=0.5)
    outside = gaussian_kde(white.T, bw_method=6.0 / 80.0)
    np.testing.assert_allclose(outside.covariance, 36.0 * np.eye(2), atol=1e-8)
    rows, cols = rng.integers(0, made.grid.ny, 400), rng.integers(0, made.grid.nx, 400)
    places = np.vstack([made.grid.centre_x_m[cols], made.grid.centre_y_m[rows]])
    expected = outside(places) * len(white)
    assert np.abs(made.density[rows, cols] - expected).max() <= 5e-4 * made.density.max()


@pytest.mark.cited("closed form: even density over a rectangle is a product of normal distribution differences")
def test_an_even_lawn_gives_the_closed_form_in_the_middle_at_the_edge_and_in_the_corner() -> None:
    x, y = np.meshgrid(np.arange(0.25, 40, 0.5), np.arange(0.25, 30, 0.5))
    xy = np.column_stack([x.ravel(), y.ravel()])
    h = 3.0
    made = share_of_damaged(xy, np.ones(len(xy), dtype=bool), bandwidth_m=h, cell_m=0.5)
    for px, py in [(20.25, 15.25), (0.25, 15.25), (0.25, 0.25), (39.75, 29.75)]:
        along_x = norm.cdf((40 - px) / h) - norm.cdf(-px / h)
        along_y = norm.cdf((30 - py) / h) - norm.cdf(-py / h)
        # the lattice of stones stands for an even density by the midpoint rule
        assert at(made, made.density, px, py) == pytest.approx(4.0 * along_x * along_y, rel=5e-3)


@pytest.mark.cited("own derivation: (sum k)^2 / sum k^2 in even density is density times 4 pi h^2")
def test_the_effective_number_of_stones_is_what_the_sums_over_stones_say() -> None:
    x, y = np.meshgrid(np.arange(0.25, 40, 0.5), np.arange(0.25, 40, 0.5))
    xy = np.column_stack([x.ravel(), y.ravel()])
    made = share_of_damaged(xy, np.ones(len(xy), dtype=bool), bandwidth_m=3.0, cell_m=0.5)
    kernel = np.exp(-0.5 * ((xy - [20.25, 20.25]) ** 2).sum(axis=1) / 9.0)
    assert at(made, made.effective_n, 20.25, 20.25) == pytest.approx(kernel.sum() ** 2 / (kernel**2).sum(), rel=1e-3)


@given(st.integers(1, 60), st.integers(0, 1000))
def test_no_stone_is_lost_or_made(n: int, seed: int) -> None:
    xy, bad = site(n, seed)
    made = share_of_damaged(xy, bad, bandwidth_m=2.0, cell_m=0.5)
    assert made.density.sum() * 0.25 == pytest.approx(np.count_nonzero(bad), abs=n * 1e-8)
    every = share_of_damaged(xy, np.ones(n, dtype=bool), bandwidth_m=2.0, cell_m=0.5)
    assert every.density.sum() * 0.25 == pytest.approx(n, rel=1e-8)


@given(st.integers(1, 80), st.integers(0, 1000), st.floats(0, 1))
def test_a_share_is_a_share_and_is_shown_only_where_enough_stones_speak(n: int, seed: int, damaged: float) -> None:
    xy, bad = site(n, seed, width_m=15.0, damaged=damaged)
    made = share_of_damaged(xy, bad, bandwidth_m=2.0, cell_m=1.0, least_stones=5)
    shown = ~np.isnan(made.share)
    assert np.all((made.share[shown] >= 0) & (made.share[shown] <= 1))
    assert np.all(made.effective_n[shown] >= 5)


@pytest.mark.parametrize("all_damaged", [True, False])
def test_constant_damage_gives_a_constant_share(*, all_damaged: bool) -> None:
    xy, _ = site(200, 1)
    made = share_of_damaged(xy, np.full(200, all_damaged), bandwidth_m=3.0, cell_m=0.5)
    shown = made.share[~np.isnan(made.share)]
    assert shown.size > 1000
    np.testing.assert_array_equal(shown, float(all_damaged))


def test_every_second_stone_damaged_gives_a_half_right_to_the_edge() -> None:
    # rows of damaged and sound stones on the same spots: the share is one half everywhere, the edge included
    xy, _ = site(150, 2)
    made = share_of_damaged(np.vstack([xy, xy]), np.arange(300) < 150, bandwidth_m=3.0, cell_m=0.5)
    np.testing.assert_allclose(made.share[~np.isnan(made.share)], 0.5, atol=1e-12)


@given(st.integers(-400, 400), st.integers(-400, 400))
def test_a_shift_by_whole_cells_moves_the_map_and_nothing_else(east: int, north: int) -> None:
    xy, bad = site(120, 3, width_m=20.0)
    xy = np.round(xy * 64) / 64  # so that the shift is exact
    one = share_of_damaged(xy, bad, bandwidth_m=2.0, cell_m=0.5)
    other = share_of_damaged(xy + np.array([east, north]) * 0.5, bad, bandwidth_m=2.0, cell_m=0.5)
    assert other.grid == Grid(one.grid.x0_m + east * 0.5, one.grid.y0_m + north * 0.5, 0.5, one.grid.nx, one.grid.ny)
    np.testing.assert_allclose(other.share, one.share, rtol=0, atol=1e-12)


def test_north_is_up_and_east_is_right() -> None:
    rng = np.random.default_rng(4)
    xy = rng.uniform(0, 40, (600, 2))
    made = share_of_damaged(xy, (xy[:, 0] > 20) & (xy[:, 1] > 20), bandwidth_m=3.0, cell_m=0.5)
    assert at(made, made.share, 30.0, 30.0) > 0.9
    for x_m, y_m in [(10.0, 30.0), (10.0, 10.0), (30.0, 10.0)]:
        assert at(made, made.share, x_m, y_m) < 0.1
    assert made.grid.centre_y_m[0] > made.grid.centre_y_m[-1]
    assert made.grid.affine[2] + made.grid.affine[0] / 2 == made.grid.centre_x_m[0]
    assert made.grid.affine[5] + made.grid.affine[4] / 2 == made.grid.centre_y_m[0]


def test_a_patch_smaller_than_the_least_is_dropped_and_counted() -> None:
    lawn, _ = site(400, 6)
    lonely = np.array([[100.0, 100.0]]) + np.random.default_rng(0).normal(0, 0.1, (11, 2))
    xy = np.vstack([lawn, lonely])
    bad = np.ones(len(xy), dtype=bool)
    kept = share_of_damaged(xy, bad, bandwidth_m=3.0, cell_m=0.5, least_patch_m2=0.0)
    assert (at(kept, kept.share, 100.0, 100.0), kept.patches_dropped_n) == (1.0, 0)
    dropped = share_of_damaged(xy, bad, bandwidth_m=3.0, cell_m=0.5, least_patch_m2=100.0)
    assert math.isnan(at(dropped, dropped.share, 100.0, 100.0))
    assert dropped.patches_dropped_n == 1
    assert at(dropped, dropped.share, 20.0, 20.0) == 1.0


@pytest.mark.cited("own derivation: (sum k)^2 / sum k^2 of n equal weights is n")
def test_a_clump_counts_as_the_stones_it_has() -> None:
    clump = np.full((6, 2), 0.25)
    made = share_of_damaged(clump, np.ones(6, dtype=bool), bandwidth_m=3.0, cell_m=0.5)
    assert at(made, made.effective_n, 0.25, 0.25) == pytest.approx(6.0, rel=1e-9)
    assert np.isnan(made.share).all()


def test_far_from_all_stones_hardly_any_stone_speaks() -> None:
    made = share_of_damaged(np.full((50, 2), 0.25), np.ones(50, dtype=bool), bandwidth_m=3.0, cell_m=0.5)
    assert at(made, made.effective_n, 15.25, 0.25) < 0.001
    assert math.isnan(at(made, made.share, 15.25, 0.25))


@given(st.integers(20, 80), st.integers(0, 20))
def test_nothing_is_shown_farther_than_one_bandwidth_from_the_next_stone(n: int, seed: int) -> None:
    xy, bad = site(n, seed, width_m=15.0)
    made = share_of_damaged(xy, bad, bandwidth_m=3.0, cell_m=0.5)
    row, col = np.nonzero(np.isfinite(made.share))
    shown = np.column_stack([made.grid.centre_x_m[col], made.grid.centre_y_m[row]])
    nearest = np.sqrt(((shown[:, None] - xy[None]) ** 2).sum(axis=2)).min(axis=1)
    # a stone is shared out to the four cells around it, hence one diagonal of a cell more
    assert nearest.max(initial=0.0) <= 3.0 + 0.5 * math.sqrt(2)


def test_no_stones_give_an_empty_map() -> None:
    made = share_of_damaged([], [], bandwidth_m=3.0, cell_m=0.5)
    assert made.share.shape == made.density.shape == made.effective_n.shape == (0, 0)


def test_too_few_stones_give_a_map_without_a_share() -> None:
    xy, bad = site(4, 1)
    assert np.isnan(share_of_damaged(xy, bad, bandwidth_m=3.0, cell_m=0.5).share).all()


@pytest.mark.parametrize(
    ("settings", "words"),
    [
        ({"bandwidth_m": 0.0}, "bandwidth_m is 0"),
        ({"bandwidth_m": math.nan}, "bandwidth_m is nan"),
        ({"bandwidth_m": -3.0}, "bandwidth_m is -3"),
        ({"cell_m": 0.0}, "cell_m is 0"),
        ({"cell_m": 2.0}, r"cell_m is 2 at a bandwidth of 3 m(.|\n)*at most 1.5 m"),
        ({"least_stones": 0.0}, "least_stones is 0"),
        ({"least_patch_m2": -1.0}, "least_patch_m2 is -1"),
    ],
)
def test_senseless_settings_are_refused_with_the_remedy(settings: dict[str, float], words: str) -> None:
    with pytest.raises(SettingError, match=words):
        share_of_damaged([[0, 0]], np.array([True]), **{"bandwidth_m": 3.0, "cell_m": 0.5, **settings})


def test_a_stone_on_the_other_side_of_the_world_is_refused_before_memory_runs_out() -> None:
    with pytest.raises(SettingError, match=r"cells(.|\n)*far from all others"):
        share_of_damaged([[0.0, 0.0], [1e7, 1e7]], np.array([True, False]), bandwidth_m=3.0, cell_m=0.5)


def test_grades_are_not_taken_for_yes_or_no() -> None:
    with pytest.raises(LayerError, match="not yes or no"):
        share_of_damaged([[0, 0], [1, 1]], np.array([0.0, np.nan]), bandwidth_m=3.0, cell_m=0.5)


def test_lost_positions_and_odd_lengths_are_refused() -> None:
    with pytest.raises(LayerError, match=r"stones\[1\]"):
        share_of_damaged([[0.0, 0.0], [np.inf, 1.0]], np.array([True, True]), bandwidth_m=3.0, cell_m=0.5)
    with pytest.raises(LayerError, match="1 positions for 2 stones"):
        choose_bandwidth([[0, 0]], np.array([True, True]))
    with pytest.raises(LayerError, match="shape"):
        choose_bandwidth(np.zeros((2, 3)), np.array([True, True]))


def plain_log_likelihood(xy: Floats, bad: Flags, bandwidth_m: float) -> float:
    """Mean log-likelihood of stones predicted from the others, in plain Python."""
    n, total = len(xy), 0.0
    for i in range(n):
        above = below = 0.0
        for j in range(n):
            d2 = (xy[i][0] - xy[j][0]) ** 2 + (xy[i][1] - xy[j][1]) ** 2
            if j != i and d2 <= (5 * bandwidth_m) ** 2:
                weight = math.exp(-d2 / (2 * bandwidth_m**2))
                below += weight
                above += weight * bool(bad[j])
        share = above / below if below > 0 else (sum(map(bool, bad)) - bool(bad[i])) / (n - 1)
        share = min(max(share, 0.5 / n), 1 - 0.5 / n)
        total += math.log(share if bad[i] else 1 - share)
    return total / n


@pytest.mark.parametrize("seed", [0, 1, 2])
def test_leaving_one_out_equals_plain_python_on_forty_stones(seed: int) -> None:
    xy, bad = site(40, seed)
    xy[7] = xy[8]  # two stones on one spot still see each other
    widths = (0.5, 2.0, 5.0, 30.0)
    choice = choose_bandwidth(xy, bad, widths)
    np.testing.assert_allclose(choice.loglik, [plain_log_likelihood(xy, bad, width) for width in widths], rtol=1e-12)
    assert choice.bandwidth_m == widths[int(np.argmax(choice.loglik))]
    assert choice.stones_tried_n == 40


def test_taking_stones_in_small_lots_changes_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    xy, bad = site(200, 9)
    whole = choose_bandwidth(xy, bad)
    monkeypatch.setattr(bandwidth, "_chunk", lambda *_: 7)
    np.testing.assert_allclose(choose_bandwidth(xy, bad).loglik, whole.loglik, rtol=1e-12)


def test_patches_of_harm_are_found_and_beat_one_figure_for_all() -> None:
    rng = np.random.default_rng(11)
    xy = rng.uniform(0, 70, (1500, 2))
    near = np.hypot(*(xy - [35, 35]).T) < 15
    choice = choose_bandwidth(xy, rng.random(1500) < np.where(near, 0.7, 0.05))
    assert choice.beats_constant
    assert 2.0 <= choice.bandwidth_m <= 9.0
    assert max(choice.loglik) > choice.constant_loglik


@pytest.mark.parametrize("seed", range(10))
def test_harm_by_chance_does_not_beat_one_figure_for_all(seed: int) -> None:
    xy, bad = site(400, seed, width_m=36.0)
    assert not choose_bandwidth(xy, bad).beats_constant


def test_a_narrow_kernel_can_be_worse_than_no_map() -> None:
    xy, bad = site(400, 21, width_m=36.0)
    choice = choose_bandwidth(xy, bad)
    assert choice.loglik[0] < choice.constant_loglik


@pytest.mark.parametrize("all_damaged", [True, False])
def test_constant_damage_beats_nothing_and_takes_the_widest(*, all_damaged: bool) -> None:
    xy, _ = site(50, 3)
    choice = choose_bandwidth(xy, np.full(50, all_damaged))
    assert not choice.beats_constant
    assert choice.bandwidth_m == max(BANDWIDTHS_M)


@pytest.mark.parametrize("n", [0, 1])
def test_nothing_can_be_left_out_of_one_stone(n: int) -> None:
    choice = choose_bandwidth(np.zeros((n, 2)), np.ones(n, dtype=bool))
    assert not choice.beats_constant
    assert math.isnan(choice.constant_loglik)


def test_a_large_site_is_tried_on_some_stones_with_all_as_neighbours() -> None:
    xy, bad = site(3000, 5, width_m=100.0)
    some = choose_bandwidth(xy, bad, (4.0,), most_tried=500)
    every = choose_bandwidth(xy, bad, (4.0,))
    assert some.stones_tried_n == 500
    assert some.loglik[0] == pytest.approx(every.loglik[0], abs=0.06)


@pytest.mark.parametrize("widths", [(), (0.0,), (3.0, -1.0), (math.nan,)])
def test_senseless_bandwidths_are_refused(widths: tuple[float, ...]) -> None:
    with pytest.raises(SettingError, match="candidates_m"):
        choose_bandwidth([[0, 0], [1, 1]], np.array([True, False]), widths)


@pytest.mark.parametrize("rule", ["scott", "Silverman", "scott's rule"])
def test_rules_of_thumb_are_refused_with_the_reason(rule: str) -> None:
    xy, bad = site(50, 1)
    with pytest.raises(SettingError, match="size of the site, not of a patch"):
        choose_bandwidth(xy, bad, (3.0, rule))


def test_what_is_clear_is_a_patch_and_speckle_is_not() -> None:
    x, y = np.meshgrid(np.arange(0, 60, 1.5), np.arange(0, 60, 1.5))
    xy = np.column_stack([x.ravel(), y.ravel()])
    rng = np.random.default_rng(3)
    patch = np.hypot(*(xy - [40, 40]).T) < 8
    bad = rng.random(len(xy)) < np.where(patch, 0.9, 0.15)
    made = share_of_damaged(xy, bad, bandwidth_m=3.0, cell_m=0.5)
    shown = np.isfinite(made.share)
    assert not (made.clear & ~shown).any()
    assert made.clear[np.unravel_index(np.nanargmax(made.share), made.share.shape)]
    px, py = np.meshgrid(made.grid.centre_x_m, made.grid.centre_y_m)
    assert made.clear[np.hypot(px - 40, py - 40) < 5].all()
    # by chance alone little of the ground is called clear
    even = share_of_damaged(xy, rng.permutation(bad), bandwidth_m=3.0, cell_m=0.5)
    assert (even.clear & np.isfinite(even.share)).sum() < 0.1 * np.isfinite(even.share).sum()


def test_the_density_of_all_stones_counts_the_sound_ones_too() -> None:
    xy, bad = site(80, 4)
    made = share_of_damaged(xy, bad, bandwidth_m=2.0, cell_m=0.5)
    assert made.density_all.sum() * 0.25 == pytest.approx(80, rel=1e-8)
    every = share_of_damaged(xy, np.ones(80, dtype=bool), bandwidth_m=2.0, cell_m=0.5)
    np.testing.assert_allclose(made.density_all, every.density)
