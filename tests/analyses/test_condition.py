from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import rasterio
import shapely

from gravegis import pipeline, store
from gravegis.errors import SettingError
from gravegis.site import Site, SiteInfo

if TYPE_CHECKING:
    from pathlib import Path


def site_of(findings: list[dict[str, Any]] | None = None, **columns: list[Any]) -> Site:
    count = len(next(iter(columns.values())))
    stones = gpd.GeoDataFrame(
        {"stone_id": [f"s{i}" for i in range(count)], **columns},
        geometry=[shapely.Point(2.0 * i, 0) for i in range(count)], crs="EPSG:7854",
    )  # fmt: skip
    site = Site(SiteInfo("t", "EPSG:7854")).with_layers({"stones": stones})
    return site if findings is None else site.with_layers({"findings": pd.DataFrame(findings)})


def result(site: Site, name: str, layer: str) -> Any:
    return pipeline.run(site, [name]).site[layer].set_index("stone_id")


def test_the_class_is_the_worst_finding_and_says_which() -> None:
    found = [
        {"stone_id": "s0", "pattern": "staining", "severity": 1},
        {"stone_id": "s0", "pattern": "Lichens", "severity": 3},
        {"stone_id": "s1", "pattern": "orange stain", "severity": 2},
    ]
    condition = result(site_of(found, quick_score=[0, 0, 2, None]), "condition", "stone_condition")
    assert condition["overall"].tolist()[:3] == [3, 2, 2]
    assert condition["basis"].tolist() == ["findings", "findings", "quick score", "none"]
    assert condition["main_harm"].tolist()[:2] == ["lichen", "staining"]
    assert json.loads(condition.loc["s0", "reasons"])[0]["values"]["severity"] == 3


def test_no_record_is_not_class_0() -> None:
    condition = result(site_of(quick_score=[None, 0]), "condition", "stone_condition")
    assert pd.isna(condition.loc["s0", "overall"])
    assert condition.loc["s1", "overall"] == 0


def test_unknown_harm_and_unknown_stones_are_counted_and_said() -> None:
    found = [
        {"stone_id": "s0", "pattern": "wobbly vibes", "severity": 2},
        {"stone_id": "gone", "pattern": "moss", "severity": 1},
    ]
    notes = pipeline.run(site_of(found, quick_score=[1]), ["condition"]).site.log[-1].notes
    assert any("1 findings name a harm that is not known" in note for note in notes)
    assert any("1 findings name a stone that is not in the layer" in note for note in notes)


def test_without_any_record_there_is_no_condition_and_no_heat_map() -> None:
    done = pipeline.run(site_of(width_m=[0.5] * 20), ["condition", "heatmap", "clusters"]).site
    assert done["stone_condition"]["overall"].isna().all()
    assert done.grids == {}
    assert len(done["clusters"]) == 0
    assert any("no condition map" in note for record in done.log for note in record.notes)


def test_groups_hold_like_harm_within_reach_and_are_numbered_by_size() -> None:
    stones = gpd.GeoDataFrame(
        {"stone_id": [f"s{i:02d}" for i in range(15)], "section": ["A"] * 8 + ["B"] * 7},
        geometry=[shapely.Point(1.5 * i + (40 if i >= 8 else 0), 0) for i in range(15)], crs="EPSG:7854",
    )  # fmt: skip
    found = [{"stone_id": f"s{i:02d}", "pattern": "moss" if i < 8 else "crack", "severity": 2} for i in range(15)]
    site = Site(SiteInfo("t", "EPSG:7854")).with_layers({"stones": stones, "findings": pd.DataFrame(found)})
    done = pipeline.run(site, ["clusters"]).site
    groups: Any = done["clusters"].set_index("cluster_id")
    assert groups["stones_n"].to_dict() == {"G1": 8, "G2": 7}
    assert groups["sections"].to_dict() == {"G1": "A", "G2": "B"}
    assert done["stone_clusters"]["cluster_id"].tolist() == ["G1"] * 8 + ["G2"] * 7
    inside = groups.loc["G1", "geometry"]
    assert all(inside.contains(point) for point in stones.geometry[:8])


def test_the_heat_map_shows_a_share_in_the_crs_of_the_site(sample_run: Site) -> None:
    grid = sample_run.grids["share_damaged"]
    shown = grid.values[grid.values == grid.values]
    assert len(shown)
    assert shown.min() >= 0
    assert shown.max() <= 1
    west, south, east, north = grid.bounds_m
    ground = shapely.box(*sample_run["stones"].total_bounds)
    assert shapely.box(west, south, east, north).intersects(ground)


def test_the_geotiff_lies_where_it_should_and_holds_the_share_of_a_plain_kernel_sum(
    sample_run: Site, tmp_path: Path
) -> None:
    """Any raster reader: CRS of the site, north up, cells equal to the kernel sums written out stone by stone."""
    store.save(sample_run, tmp_path)
    (file,) = (tmp_path / "grids").glob("share_damaged-*.tif")
    with rasterio.open(file) as opened:
        assert opened.crs.to_epsg() == 7854
        values, at = opened.read(1), opened.transform
    known = sample_run["stone_condition"].dropna(subset=["overall"])
    places = sample_run["stones"].set_index("stone_id").geometry.centroid.reindex(known["stone_id"])
    xy, bad = np.column_stack([places.x, places.y]), (known["overall"] >= 2).to_numpy(dtype=float)
    rows, columns = np.nonzero(np.isfinite(values))
    for row, column in list(zip(rows, columns, strict=True))[:: len(rows) // 40]:
        x, y = at.c + (column + 0.5) * at.a, at.f + (row + 0.5) * at.e
        weight = np.exp(-((xy - [x, y]) ** 2).sum(axis=1) / (2 * 6.0**2))
        # linear binning on 0.5 m cells and 32-bit cells: within a thousandth
        assert values[row, column] == pytest.approx((weight * bad).sum() / weight.sum(), abs=1e-3)


def test_heat_map_is_masked_where_too_few_stones_speak(sample_site: Site) -> None:
    def shown(least: str) -> int:
        done = pipeline.run(sample_site, ["heatmap"], typed={"heatmap": {"least_stones_n": least}}).site
        values = done.grids["share_damaged"].values
        return int((values == values).sum())

    assert 0 < shown("40") < shown("10")


@pytest.mark.parametrize(
    ("pattern", "who", "cleans"),
    [("lichen", "crew", True), ("staining", "conservator only", False), ("encrustation", "conservator only", False),
     ("delamination", "conservator only", False)],
)  # fmt: skip
def test_crews_treat_growth_and_leave_iron_lime_and_loose_stone(pattern: str, who: str, cleans: bool) -> None:
    found = [{"stone_id": "s0", "pattern": pattern, "severity": 2}]
    work = result(
        site_of(found, material=["marble"], stability=["firm"], stability_on=["2026-11-01"]), "worklist", "worklist"
    )
    assert work.loc["s0", "who"] == who
    assert bool(work.loc["s0", "work_min"] > 0) == cleans
    assert str(work.loc["s0", "treatment"]).startswith("clean") is cleans


def test_a_stone_that_moves_is_held_and_an_unchecked_one_starts_with_the_leader() -> None:
    found = [{"stone_id": f"s{i}", "pattern": "moss", "severity": 1} for i in range(4)]
    work = result(
        site_of(found, stability=["moves", "unchecked", None, "unchecked"], height_m=[0.6, 0.6, 0.6, 1.8],
                form=["headstone"] * 4, material=["marble"] * 4),
        "worklist", "worklist",
    )  # fmt: skip
    assert work["hold"].tolist()[0] == "moves"
    assert pd.isna(work["hold"].tolist()[1])
    assert work["first_step"].tolist()[1:3] == ["leader checks first"] * 2
    assert work["hold"].tolist()[3] == "trained tester first"


def test_only_iron_and_lime_gives_no_crew_work_with_the_reason() -> None:
    found = [
        {"stone_id": "s0", "pattern": "staining", "severity": 3},
        {"stone_id": "s1", "pattern": "encrustation", "severity": 1},
    ]
    work = result(site_of(found, material=["marble", "granite"]), "worklist", "worklist")
    assert (work["work_min"] == 0).all()
    assert work["stays"].tolist() == ["staining", "encrustation"]
    codes = {reason["code"] for text in work["reasons"] for reason in json.loads(text)}
    assert "conservator_only" in codes


def test_stones_without_a_record_are_looked_at_those_near_a_head_first(sample_site: Site) -> None:
    bare = sample_site.without(("findings",))
    bare = bare.with_layers({"stones": bare["stones"].drop(columns="quick_score")})
    done = pipeline.run(bare, ["wetting", "worklist"]).site
    work: Any = done["worklist"].set_index("stone_id")
    assert set(work["treatment"]) == {"look and record first"}
    near = done["stone_wetting"].set_index("stone_id")["nearest_head_m"].reindex(work.index)
    assert (work.loc[near <= 2.0, "priority"] == 3).all()
    assert (work.loc[near > 2.0, "priority"] < 3).all()


def test_nearness_is_not_told_finer_than_the_positions_carry(sample_site: Site) -> None:
    """Phone points: the order may rest on the map, the words may not."""
    stones = sample_site["stones"].drop(columns=["quick_score", "position_error_m", "position_basis"])
    coarse = sample_site.without(("findings",)).with_layers({"stones": stones})
    fine = coarse.with_layers({"stones": stones.assign(position_error_m=0.05)})
    heads = sample_site["heads"]
    fine = fine.with_layers({"heads": heads.assign(position_error_m=0.05)})
    by_phone = fine.with_layers({"heads": heads.assign(position_error_m=4.0)})
    codes = {
        name: {one["code"] for text in result(site, "worklist", "worklist")["reasons"] for one in json.loads(text)}
        for name, site in (("coarse", coarse), ("fine", fine), ("heads by phone", by_phone))
    }
    for name in ("coarse", "heads by phone"):
        assert "inspect_near_by_map" in codes[name]
        assert "inspect_near_head" not in codes[name]
    assert "inspect_near_head" in codes["fine"]
    assert "inspect_near_by_map" not in codes["fine"]


def test_a_heat_map_of_one_harm_leaves_out_stones_of_which_it_is_unknown() -> None:
    found = [{"stone_id": f"s{i}", "pattern": "moss" if i < 20 else "crack", "severity": 2} for i in range(40)]
    typed = {"heatmap": {"harm": "growth", "bandwidth_m": "6 m", "cell_m": "1"}}
    done = pipeline.run(site_of(found, quick_score=[2] * 60), ["heatmap"], typed=typed).site
    assert "50% of the 40 stones looked at for growth have growth of severity 2 or more." in done.log[-1].notes
    assert {"share_damaged", "effective_stones", "stone_density", "share_clear"} == set(done.grids)
    shown = np.isfinite(done.grids["share_damaged"].values)
    clear = done.grids["share_clear"].values
    assert set(np.unique(clear[shown])) <= {0.0, 1.0}
    assert np.isnan(clear[~shown]).all()


@pytest.mark.parametrize("rule", ["scott", "silverman"])
def test_rules_of_thumb_for_the_kernel_are_refused_with_the_reason(rule: str) -> None:
    with pytest.raises(SettingError, match="size of the site, not of a patch"):
        pipeline.run(site_of(quick_score=[1, 2] * 20), ["heatmap"], typed={"heatmap": {"bandwidth_m": rule}})


def crowd(pattern: str = "moss") -> Site:
    """Return twelve close rows of twenty stones, all with growth, in one section."""
    xy = np.stack(np.meshgrid(np.arange(20) * 1.2, np.arange(12) * 2.5), axis=-1).reshape(-1, 2)
    stones = gpd.GeoDataFrame(
        {"stone_id": [f"s{i:03d}" for i in range(len(xy))], "section": "A", "material": "granite", "stability": "firm",
         "stability_on": "2026-11-01", "form": "headstone", "height_m": 0.8},
        geometry=shapely.points(xy), crs="EPSG:7854",
    )  # fmt: skip
    found = [{"stone_id": one, "pattern": pattern, "severity": 2} for one in stones["stone_id"]]
    return Site(SiteInfo("t", "EPSG:7854")).with_layers({"stones": stones, "findings": pd.DataFrame(found)})


def test_close_rows_make_blocks_of_a_day_not_one_giant_group() -> None:
    done = pipeline.run(crowd(), ["clusters"], typed={"clusters": {"block_min": "300"}}).site
    groups, work = done["clusters"], done["worklist"].set_index("stone_id")["work_min"]
    assert len(groups) > 5
    assert groups["work_min"].max() <= 300
    members: Any = done["stone_clusters"].set_index("stone_id")["cluster_id"]
    assert members.notna().all()
    for row in groups.to_dict("records"):
        of_group = members.index[members == row["cluster_id"]]
        assert work.reindex(of_group).sum() == pytest.approx(row["work_min"])
        assert row["stones_n"] == len(of_group)
        assert (row["main_harm"], row["sections"]) == ("biological colonisation", "A")


def test_groups_by_treatment_share_it() -> None:
    done = pipeline.run(crowd(), ["clusters"], typed={"clusters": {"by": "treatment"}}).site
    members: Any = done["stone_clusters"].set_index("stone_id")["cluster_id"].dropna()
    treatment = done["worklist"].set_index("stone_id")["treatment"]
    of_group = done["clusters"].set_index("cluster_id")["main_harm"]
    assert len(members)
    assert (treatment.reindex(members.index) == of_group.reindex(members).to_numpy()).all()


def test_stones_no_crew_works_on_are_cut_by_looks_and_count_no_minutes() -> None:
    done = pipeline.run(crowd("rust stain"), ["clusters"], typed={"clusters": {"block_min": "300"}}).site
    assert (done["clusters"]["work_min"] == 0).all()
    assert len(done["clusters"]) >= 4
    assert done["clusters"]["stones_n"].max() <= 60


def test_groups_of_hot_spots_lie_in_hot_spots_and_dense_ones_where_harm_is_dense(sample_site: Site) -> None:
    done = pipeline.run(sample_site, ["clusters"], typed={"clusters": {"gather": "hot spots"}}).site
    members = set(done["stone_clusters"].dropna()["stone_id"])
    hot = set(done["stone_hotspots"].query("state == 'hot'")["stone_id"])
    assert members
    assert members <= hot

    def grouped(gather: str) -> set[str]:
        made = pipeline.run(sample_site, ["clusters"], typed={"clusters": {"gather": gather}}).site
        return set(made["stone_clusters"].dropna()["stone_id"])

    assert grouped("dense") < grouped("near each other")


def test_parts_of_other_material_are_counted_and_enter_no_class() -> None:
    site = site_of([{"stone_id": "s0", "pattern": "moss", "severity": 1}], material=["marble", "slate"])
    bare = pipeline.run(site, ["condition"]).site
    parts = pd.DataFrame(
        {
            "part_id": ["1", "2", "3", "4"],
            "stone_id": ["s0", "s0", "s1", "elsewhere"],
            "part": ["gilding", None, "gilding", "vase"],
            "material": [None, "lead", None, None],
        }
    )
    done = pipeline.run(site.with_layers({"parts": parts}), ["condition"]).site
    said = "2 stones carry parts of other material, counted in no class: gilding 2, lead 1."
    assert said in done.log[-1].notes
    assert done["stone_condition"]["overall"].equals(bare["stone_condition"]["overall"])
    assert not any("parts of other material" in note for note in bare.log[-1].notes)
