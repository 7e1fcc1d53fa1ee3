"""Hot spots on a site: planted patches, unknown is not sound, too few is said, and the words."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from gravegis import pipeline
from gravegis.errors import SettingError
from gravegis.site import Site, SiteInfo

if TYPE_CHECKING:
    from numpy.typing import NDArray


def site_of(xy: NDArray[np.float64], found: list[dict[str, Any]], **columns: Any) -> Site:
    stones = gpd.GeoDataFrame(
        {"stone_id": [f"s{i:04d}" for i in range(len(xy))], **columns}, geometry=shapely.points(xy), crs="EPSG:7854"
    )
    site = Site(SiteInfo("t", "EPSG:7854")).with_layers({"stones": stones})
    return site.with_layers({"findings": pd.DataFrame(found)}) if found else site


def planted() -> tuple[Site, NDArray[np.bool_]]:
    """Moss in one patch of 12 m, none looked for in the north-east corner, staining by chance."""
    rng = np.random.default_rng(1)
    xy = np.stack(np.meshgrid(np.arange(0, 70, 1.8), np.arange(0, 70, 1.8)), axis=-1).reshape(-1, 2)
    patch = np.hypot(*(xy - [25, 30]).T) < 12
    looked = ~((xy[:, 0] > 60) & (xy[:, 1] > 60))
    found = []
    for i in np.flatnonzero(looked):
        found.append({"stone_id": f"s{i:04d}", "pattern": "soiling", "severity": 0})
        if rng.random() < (0.9 if patch[i] else 0.1):
            found.append({"stone_id": f"s{i:04d}", "pattern": "moss", "severity": int(rng.integers(2, 4))})
        if rng.random() < 0.2:
            found.append({"stone_id": f"s{i:04d}", "pattern": "rust stain", "severity": 2})
    return site_of(xy, found, section=["A"] * len(xy)), patch


def test_a_planted_patch_is_found_and_the_harm_by_chance_is_not() -> None:
    site, patch = planted()
    done = pipeline.run(site, ["hotspots"]).site
    table: Any = done["stone_hotspots"].set_index(["harm", "stone_id"])
    hot = set(table.loc["growth"].query("state == 'hot'").index)
    planted_ids = {f"s{i:04d}" for i in np.flatnonzero(patch)}
    assert len(hot & planted_ids) / len(planted_ids) >= 0.95
    assert len(hot - planted_ids) / len(hot) <= 0.2
    assert set(table.loc["staining"]["state"]) == {"not significant"}
    notes = "\n".join(done.log[-1].notes)
    assert "no place stands out from chance" in notes
    assert "Growth:" in notes
    assert "not why" in notes


def test_stones_nobody_looked_at_are_left_out_not_sound() -> None:
    site, _ = planted()
    table = pipeline.run(site, ["hotspots"]).site["stone_hotspots"]
    looked = set(site["findings"]["stone_id"])
    assert set(table["stone_id"]) == looked
    assert len(looked) < len(site["stones"])


def test_a_small_ground_says_too_few_and_why() -> None:
    xy = np.column_stack([np.arange(20) * 1.5, np.zeros(20)])
    done = pipeline.run(site_of(xy, [], quick_score=[0, 2] * 10), ["hotspots"]).site
    assert set(done["stone_hotspots"]["state"]) == {"too few"}
    assert done["stone_hotspots"]["q"].isna().all()
    assert "too few to tell: 20 stones were looked at, fewer than 30" in done.log[-1].notes[0]


def test_quick_scores_give_the_overall_map_only() -> None:
    rng = np.random.default_rng(2)
    done = pipeline.run(site_of(rng.uniform(0, 30, (90, 2)), [], quick_score=rng.integers(0, 4, 90)), ["hotspots"]).site
    assert set(done["stone_hotspots"]["harm"]) == {"overall"}
    assert len(done["stone_hotspots"]) == 90


def test_without_any_record_there_is_nothing_to_look_for() -> None:
    done = pipeline.run(site_of(np.zeros((5, 2)), []), ["hotspots"]).site
    assert len(done["stone_hotspots"]) == 0
    assert "No harm is recorded" in done.log[-1].notes[0]


def test_stones_all_on_one_spot_are_said_to_be() -> None:
    scores = [0, 3] * 350
    site = site_of(np.zeros((700, 2)), [], quick_score=scores)
    done = pipeline.run(site, ["hotspots"]).site
    assert len(done["stone_hotspots"]) == 0
    assert "share one position" in done.log[-1].notes[0]
    with pytest.raises(SettingError, match="more than 600"):
        pipeline.run(site, ["hotspots"], typed={"hotspots": {"band_m": "3"}})


def test_one_harm_and_one_band_can_be_asked_for() -> None:
    site, _ = planted()
    done = pipeline.run(site, ["hotspots"], typed={"hotspots": {"harm": "growth", "band_m": "4", "strict": "yes"}}).site
    assert set(done["stone_hotspots"]["harm"]) == {"growth"}
    assert "within 4 m" in done.log[-1].notes[0]
