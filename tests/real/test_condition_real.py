"""Real tables nobody here wrote: assets seen twice, grades in seven spellings, graves of two kinds."""

from __future__ import annotations

import json
import warnings
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from gravegis import pipeline
from gravegis.science.condition.autocorrelation import moran_of_sums
from gravegis.science.condition.blocks import dense_clusters
from gravegis.science.condition.change import BETTER, CHANGES, compare_surveys, match_by_id, match_by_place
from gravegis.science.condition.hotspots import choose_band, find_hot_spots, neighbour_sums
from gravegis.site import Site, SiteInfo

if TYPE_CHECKING:
    from pathlib import Path

# one table each: what a person types once
THEN = {"VG": 0, "G": 1, "P": 3}
NOW = {"Good": 1, "Fair": 2, "Poor": 3}
SPELLINGS = {"good": 1, "fair": 2, "poor": 3}


@pytest.fixture(scope="module")
def assets(shared: Path) -> gpd.GeoDataFrame:
    file = shared / "real" / "campus" / "assets_condition.geojson"
    if not file.exists():
        pytest.skip("no public data here")
    rows = json.loads(file.read_text(encoding="utf-8"))["features"]
    frame = gpd.GeoDataFrame.from_features(rows, crs="EPSG:4326").to_crs("EPSG:32610")
    return frame.assign(id=[f"A{i:03d}" for i in range(len(frame))])


@pytest.mark.cited("223 grounds assets with two visits, public data: 28 of 62 in poor condition became good")
def test_of_62_poor_assets_28_became_good(assets: gpd.GeoDataFrame) -> None:
    then = assets["BOL_CONDITION"].map(THEN).to_numpy(dtype=float)
    now = assets["BOL_COND2020"].map(NOW).to_numpy(dtype=float)
    assert len(assets) == 223
    ids = assets["id"].tolist()
    made = compare_surveys(then, now, match_by_id(ids, ids))
    assert (then == 3).sum() == 62
    assert made.table[3, 1] == 28
    assert ((made.of_earlier == BETTER) & (then == 3)).sum() >= 28
    # missing or unread grades are neither better nor worse
    unread = np.isnan(then) | np.isnan(now)
    assert {CHANGES[one] for one in made.of_earlier[unread]} == {"not graded"}
    assert made.compared_n == (~unread).sum()


def test_matched_by_place_the_assets_give_the_same_as_by_id(assets: gpd.GeoDataFrame) -> None:
    xy = np.column_stack([assets.geometry.x, assets.geometry.y])
    order = np.random.default_rng(1).permutation(len(xy))
    # the nearest two stand 1.2 m apart: an error of 0.2 m moves none onto another
    moved = xy[order] + np.random.default_rng(2).uniform(-0.2, 0.2, xy.shape)
    pairs = match_by_place(xy, moved, within_m=0.6)
    assert len(pairs) == len(xy)
    assert (order[pairs[:, 1]] == pairs[:, 0]).all()


@pytest.mark.cited("50 burials, public data: four grades in seven spellings, blank among them")
def test_seven_spellings_are_four_grades_by_one_table(shared: Path) -> None:
    file = shared / "real" / "tables" / "messy_condition" / "burials.csv"
    if not file.exists():
        pytest.skip("no public data here")
    read = pd.read_csv(file, dtype="str", keep_default_na=False)
    typed = read["Preservation"]
    assert typed[typed != ""].nunique() == 7
    grades = typed.str.strip().str.casefold().map(SPELLINGS)
    assert (grades.isna() == (typed == "")).all()
    # good, fair, poor and not said
    assert grades.nunique(dropna=False) == 4
    stones = gpd.GeoDataFrame(
        {"stone_id": read["grave id"], "quick_score": grades},
        geometry=gpd.points_from_xy(np.arange(len(read)) * 2.0, np.zeros(len(read))), crs="EPSG:32633",
    )  # fmt: skip
    site = Site(SiteInfo("t", "EPSG:32633")).with_layers({"stones": stones})
    done = pipeline.run(site, ["hotspots"]).site
    known = done["stone_condition"]["overall"]
    assert known.isna().sum() == grades.isna().sum()
    assert len(done["stone_hotspots"]) == grades.notna().sum()


@pytest.fixture(scope="module")
def graves(shared: Path) -> tuple[np.ndarray[Any, Any], np.ndarray[Any, Any]]:
    rdata = pytest.importorskip("rdata")
    file = shared / "real" / "local_grid" / "grave.rda"
    if not file.exists():
        pytest.skip("no public data here")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        read = rdata.read_rda(file)["grave"]
    marks = np.asarray([str(one) for one in read["marks"]])
    return np.column_stack([read["x"], read["y"]]).astype(float), marks


@pytest.mark.cited("143 medieval graves of two kinds, a standard point pattern (Waller & Gotway 2004)")
def test_medieval_graves_run_as_a_cluster_test(graves: tuple[Any, Any]) -> None:
    xy, marks = graves
    kinds, counts = np.unique(marks, return_counts=True)
    assert len(xy) == 143
    assert len(kinds) == 2
    affected = (marks == kinds[counts.argmin()]).astype(np.int64)
    # the plan is in units of its own: a metre is taken for a hundred of them, which changes nothing but words
    xy = xy / 100
    band = choose_band(xy)
    made = find_hot_spots(xy, affected, band_m=band)
    assert made.why_too_few == ""
    assert np.isfinite(made.p).all() or (made.neighbours_n[np.isnan(made.p)] == 0).all()
    # dealing out the kinds anew gives as uneven a map about as often as p says: the whole and the p agree
    total, count = neighbour_sums(xy, affected, band)
    whole = moran_of_sums(affected, total, count)
    rng = np.random.default_rng(3)
    dealt = []
    for _ in range(199):
        other = rng.permutation(affected)
        dealt.append(moran_of_sums(other, *neighbour_sums(xy, other, band)).i)
    assert whole.expected == pytest.approx(np.mean(dealt), abs=4 * np.std(dealt) / np.sqrt(199))
    assert whole.variance == pytest.approx(np.var(dealt), rel=0.35)
    groups = dense_clusters(xy, affected == 1, link_m=band, least_n=3)
    assert (groups[affected == 0] == -1).all()
