"""Two surveys of one ground: by findings, by quick scores, by place; what is said and what is not."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from gravegis import pipeline
from gravegis.site import Site, SiteInfo

if TYPE_CHECKING:
    from pathlib import Path

THEN, NOW = "2024-05-01", "2026-10-01"


def ground(n: int, **columns: Any) -> Site:
    stones = gpd.GeoDataFrame(
        {"stone_id": [f"s{i}" for i in range(n)], **columns},
        geometry=shapely.points(500_000 + 2.0 * np.arange(n), np.full(n, 6_250_000.0)), crs="EPSG:7854",
    )  # fmt: skip
    return Site(SiteInfo("t", "EPSG:7854")).with_layers({"stones": stones})


def found(rows: list[tuple[str, str, int, str]]) -> pd.DataFrame:
    names = ["stone_id", "pattern", "severity", "found_on"]
    return pd.DataFrame([dict(zip(names, row, strict=True)) for row in rows])


def told(site: Site, **typed: str) -> tuple[pd.DataFrame, str]:
    done = pipeline.run(site, ["change"], typed={"change": typed}).site
    return done["stone_change"].set_index(["harm", "stone_id"]), "\n".join(done.log[-1].notes)


def test_findings_of_two_visits_are_held_against_each_other_harm_by_harm() -> None:
    rows = [
        ("s0", "moss", 3, THEN), ("s0", "moss", 1, NOW),
        ("s1", "crack", 1, THEN), ("s1", "crack", 2, NOW),
        ("s2", "moss", 2, THEN), ("s3", "moss", 2, NOW), ("s4", "moss", 1, THEN), ("s4", "moss", 1, NOW),
    ]  # fmt: skip
    table, notes = told(ground(6).with_layers({"findings": found(rows)}))
    overall = table.loc["overall"]["change"].to_dict()
    assert overall == {"s0": "better", "s1": "worse", "s2": "lost", "s3": "new", "s4": "same"}
    growth = table.reset_index().query("harm == 'growth' and stone_id == 's0'").iloc[0]
    assert [growth[name] for name in ("before", "now", "before_on", "now_on")] == [3, 1, THEN, NOW]
    assert table.loc[("cracks", "s1"), "change"] == "worse"
    # somebody looked at it both times and met no growth
    assert table.loc[("growth", "s1"), "change"] == "same"
    assert "detachment" not in table.index.get_level_values("harm")
    assert "1 stones were seen then and not now, 1 now and not then" in notes


def test_what_a_stone_is_like_now_is_read_from_the_last_visit() -> None:
    rows = [("s0", "moss", 3, THEN), ("s0", "moss", 1, NOW), ("s1", "crack", 2, THEN)]
    site = pipeline.run(ground(2).with_layers({"findings": found(rows)}), ["condition"]).site
    made = site["stone_condition"].set_index("stone_id")
    assert made["overall"].tolist() == [1, 2]
    assert made["surveyed_on"].tolist() == [NOW, THEN]
    assert "1 findings are of earlier visits: kept, and not counted here." in site.log[-1].notes


def test_one_visit_gives_no_change_and_says_so() -> None:
    rows = [("s0", "moss", 3, "2026-10-01"), ("s1", "moss", 1, "2026-10-20")]
    site = pipeline.run(ground(2).with_layers({"findings": found(rows)}), ["change"]).site
    assert site["stone_change"].empty
    assert "of one visit: there is nothing to compare yet" in site.log[-1].notes[0]


def test_a_class_from_findings_is_not_held_against_a_quick_score() -> None:
    site = ground(2, quick_score=[3, 3], surveyed_on=THEN)
    table, notes = told(site.with_layers({"findings": found([("s0", "moss", 1, NOW), ("s1", "moss", 1, NOW)])}))
    assert set(table.loc["overall"]["change"]) == {"not graded"}
    assert "2 stones were graded in another way then than now" in notes


def test_quick_scores_by_place_find_their_stone_and_a_far_one_finds_none() -> None:
    site = ground(3, quick_score=[0, 1, 2], surveyed_on=NOW)
    earlier = gpd.GeoDataFrame(
        {"survey_id": ["a", "b"], "quick_score": [2, 1], "surveyed_on": THEN},
        geometry=shapely.points([500_000.3, 500_003.1], [6_250_000.2, 6_250_009.0]), crs="EPSG:7854",
    )  # fmt: skip
    table, _ = told(site.with_layers({"surveys": earlier}))
    assert table.loc["overall"]["change"].to_dict() == {"s0": "better", "s1": "new", "s2": "new"}


def test_the_day_that_parts_two_surveys_can_be_named() -> None:
    rows = [("s0", "moss", 3, "2026-09-01"), ("s0", "moss", 1, "2026-10-01")]
    table, _ = told(ground(1).with_layers({"findings": found(rows)}), later_from="2026-09-15")
    assert table.loc[("overall", "s0"), "change"] == "better"


@pytest.mark.parametrize(("moved", "words"), [(30, "more than the 10%"), (6, "no more than the 10%")])
def test_change_is_held_against_what_two_people_disagree_on(moved: int, words: str) -> None:
    n = 60
    now = np.ones(n, dtype=int)
    now[:moved] = 2
    site = ground(n, quick_score=now, surveyed_on=NOW)
    rows = [(f"s{i}", 1, THEN, "A") for i in range(n)]
    rows += [(f"s{i}", 2 if i < 4 else 1, "2024-05-02", "B") for i in range(20, 60)]
    again = [(stone, 2 if stone in ("s20", "s21", "s22", "s23") else 1, on, by) for stone, _, on, by in rows[n:]]
    # the later of two scores of one survey counts: let that be A's
    rows = [(stone, score, "2024-05-03", by) for stone, score, _, by in rows[:n]] + again
    frame = pd.DataFrame(rows, columns=["stone_id", "quick_score", "surveyed_on", "by"])
    _, notes = told(site.with_layers({"surveys": frame.assign(survey_id=[str(i) for i in range(len(frame))])}))
    assert words in notes
    assert f"0 are better, {moved} worse" in notes


def test_as_many_better_as_worse_is_no_change_that_can_be_told() -> None:
    rows = [(f"s{i}", "moss", 1 + i % 2, THEN) for i in range(20)] + [
        (f"s{i}", "moss", 2 - i % 2, NOW) for i in range(20)
    ]
    _, notes = told(ground(20).with_layers({"findings": found(rows)}))
    assert "10 are better, 10 worse; both ways alike as far as can be told" in notes


@pytest.mark.cited("223 grounds assets with two visits, public data: 28 of 62 in poor condition became good")
def test_the_assets_seen_twice_go_through_the_analysis(shared: Path) -> None:
    file = shared / "real" / "campus" / "assets_condition.geojson"
    if not file.exists():
        pytest.skip("no public data here")
    rows = json.loads(file.read_text(encoding="utf-8"))["features"]
    frame = gpd.GeoDataFrame.from_features(rows, crs="EPSG:4326").to_crs("EPSG:32610")
    ids = [f"A{i:03d}" for i in range(len(frame))]
    then, now = {"VG": 0, "G": 1, "P": 3}, {"Good": 1, "Fair": 2, "Poor": 3}
    stones = gpd.GeoDataFrame(
        {"stone_id": ids, "quick_score": frame["BOL_COND2020"].map(now), "surveyed_on": "2020-06-01"},
        geometry=frame.geometry, crs="EPSG:32610",
    )  # fmt: skip
    earlier = pd.DataFrame(
        {
            "survey_id": ids,
            "stone_id": ids,
            "quick_score": frame["BOL_CONDITION"].map(then),
            "surveyed_on": "2015-06-01",
        }
    )
    site = Site(SiteInfo("t", "EPSG:32610")).with_layers({"stones": stones, "surveys": earlier})
    table = told(site)[0].loc["overall"]
    poor = table[table["before"] == 3]
    assert (len(poor), int((poor["now"] == 1).sum())) == (62, 28)
    assert int((frame["BOL_COND2020"] == "Missing").sum()) <= int((table["change"] == "lost").sum())
