"""Moran's I and join counts against printed output of another program, against esda and against all layouts."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pytest
from esda.moran import Moran as EsdaMoran
from libpysal.examples import get_path
from libpysal.io import open as open_gal

from gravegis.errors import LayerError
from gravegis.science.condition.autocorrelation import join_counts, moran, moran_of_sums

if TYPE_CHECKING:
    from numpy.typing import NDArray


def linked(name: str) -> tuple[list[tuple[int, int]], list[float], Any]:
    """Return the links of a weights file that comes with libpysal, each row adding up to 1."""
    opened = open_gal(get_path(name))
    read = opened.read()
    opened.close()
    place = {one: at for at, one in enumerate(read.id_order)}
    links, weight = [], []
    for one, others in read.neighbors.items():
        links += [(place[one], place[other]) for other in others]
        weight += [1 / len(others)] * len(others)
    return links, weight, read


@pytest.mark.cited("R spdep moran.test on columbus CRIME, queen: 0.500188557, -0.020833333, 0.008689289, 5.5894")
def test_columbus_crime_gives_the_printed_figures() -> None:
    crime = gpd.read_file(get_path("columbus.shp"))["CRIME"].to_numpy()
    links, weight, _ = linked("columbus.gal")
    assert len(links) == 236
    made = moran(crime, links, weight)
    assert made.i == pytest.approx(0.500188557, abs=1e-8)
    assert made.expected == pytest.approx(-0.020833333, abs=1e-9)
    assert made.variance == pytest.approx(0.008689289, abs=1e-9)
    assert made.z == pytest.approx(5.5894, abs=1e-4)


@pytest.mark.cited("esda's own test of Moran's I on the rate of sids2: 0.2477251932")
def test_sids2_rates_give_the_figure_of_another_library() -> None:
    frame = gpd.read_file(get_path("sids2.shp"))
    links, weight, _ = linked("sids2.gal")
    printed = frame["SIDR74"].to_numpy()  # the rate as the file prints it
    assert moran(printed, links, weight).i == pytest.approx(0.2477251932, abs=1e-9)
    rate = 1000 * frame["SID74"].to_numpy() / frame["BIR74"].to_numpy()
    assert moran(rate, links, weight).i == pytest.approx(0.24772519, abs=1e-6)


def test_st_louis_is_the_same_as_esda_says_now() -> None:
    rate = gpd.read_file(get_path("stl_hom.shp"))["HR8893"].to_numpy()
    links, weight, read = linked("stl.gal")
    other = EsdaMoran(rate, read, permutations=0)
    made = moran(rate, links, weight)
    assert made.i == pytest.approx(other.I, abs=1e-12)
    assert made.variance == pytest.approx(other.VI_rand, rel=1e-9)
    assert made.p == pytest.approx(other.p_rand, rel=1e-6)


def test_from_neighbour_sums_it_is_the_same_as_from_links() -> None:
    rng = np.random.default_rng(4)
    xy, grade = rng.uniform(0, 20, (60, 2)), rng.integers(0, 4, 60)
    near = (np.hypot(*(xy[:, None] - xy[None]).transpose(2, 0, 1)) <= 4) & ~np.eye(60, dtype=bool)
    links = np.argwhere(near)
    one = moran(grade, links, np.ones(len(links)))
    other = moran_of_sums(grade, near @ grade, near.sum(axis=1))
    assert (one.i, one.variance, one.z) == pytest.approx((other.i, other.variance, other.z), rel=1e-12)


@pytest.mark.parametrize("values", [[1.0] * 9, [1.0, 2.0, 3.0]])
def test_equal_values_or_three_places_say_nothing(values: list[float]) -> None:
    links = [(a, b) for a in range(len(values)) for b in range(len(values)) if a != b]
    assert np.isnan(moran(values, links, np.ones(len(links))).z)


def test_a_weight_too_few_is_refused() -> None:
    with pytest.raises(LayerError, match="2 links, 1 weights"):
        moran([1, 2], [(0, 1), (1, 0)], [1.0])


def lattice() -> list[tuple[int, int]]:
    pairs = [(4 * r + c, 4 * r + c + 1) for r in range(4) for c in range(3)]
    return pairs + [(4 * r + c, 4 * r + c + 4) for r in range(3) for c in range(4)]


def counts_of_all_layouts(pairs: list[tuple[int, int]]) -> NDArray[np.int64]:
    """Return both and mixed of every way to set 8 of 16 places, counted the plain way."""
    made = np.zeros((12870, 16), dtype=np.int64)
    for row, some in enumerate(itertools.combinations(range(16), 8)):
        made[row, list(some)] = 1
    a, b = (made[:, [pair[end] for pair in pairs]] for end in (0, 1))
    return np.column_stack([(a & b).sum(axis=1), (a ^ b).sum(axis=1)])


@pytest.mark.cited("full enumeration of all 12,870 layouts of a 4 x 4 rook lattice: P(BB >= 10) = 22/12870")
def test_join_counts_of_the_lattice_equal_full_enumeration() -> None:
    made = join_counts([0] * 8 + [1] * 8, lattice())
    assert (made.both, made.neither, made.mixed) == (10, 10, 4)
    every = counts_of_all_layouts(lattice())
    assert int((every[:, 0] >= made.both).sum()) == 22
    assert int((every[:, 1] <= made.mixed).sum()) == 4
    assert made.expected_both == pytest.approx(every[:, 0].mean(), rel=1e-12)
    assert made.variance_both == pytest.approx(every[:, 0].var(), rel=1e-9)
    assert made.expected_mixed == pytest.approx(every[:, 1].mean(), rel=1e-12)
    assert made.variance_mixed == pytest.approx(every[:, 1].var(), rel=1e-9)
