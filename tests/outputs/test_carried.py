from __future__ import annotations

import csv
import json
from typing import TYPE_CHECKING

import geopandas as gpd
import pytest

from gravegis.outputs import exchange, words
from gravegis.outputs.assumed_json import assumed_behind, assumed_line, builds_on

if TYPE_CHECKING:
    from pathlib import Path

    from gravegis.site import Site


def test_a_layer_carries_what_was_assumed_on_the_whole_way_to_it_and_nothing_else(sample_run: Site) -> None:
    assert [one.analysis for one in builds_on(sample_run, "stone_wetting")] == ["throw", "wetting"]
    assert [one.analysis for one in builds_on(sample_run, "stone_condition")] == ["condition"]
    assert builds_on(sample_run, "stones") == ()
    said = assumed_behind(sample_run, "stone_wetting")
    assert any(one["analysis"] == "throw" and "arc unknown" in one["words"] for one in said)
    assert not any(one["analysis"] for one in assumed_behind(sample_run, "stones"))


def test_geojson_holds_it_at_the_top_and_other_programs_read_the_features(sample_run: Site, tmp_path: Path) -> None:
    file = tmp_path / "wetting.geojson"
    rows_n = exchange.export_layer(sample_run, "stone_wetting", file)
    made = json.loads(file.read_text(encoding="utf-8"))
    assert made["type"] == "FeatureCollection"
    assert made["assumed"] == assumed_behind(sample_run, "stone_wetting")
    # RFC 7946, section 7.1: a foreign member must not be called as a member of another kind of object
    assert not {"coordinates", "geometries", "geometry", "properties"} & set(made)
    frame = gpd.read_file(file)
    assert len(frame) == rows_n == len(made["features"])
    assert "assumed" not in frame.columns
    assert exchange.assumed_with(file) == file


@pytest.mark.parametrize("suffix", [".csv", ".gpkg", ".shp"])
def test_other_kinds_have_a_text_beside_them(sample_run: Site, tmp_path: Path, suffix: str) -> None:
    file = tmp_path / f"wetting{suffix}"
    # points and footprints beside each other cannot go into one Shapefile: a footprint shrinks to its middle here
    points = sample_run["stones"].assign(geometry=sample_run["stones"].geometry.centroid)
    exchange.export_layer(sample_run.with_layers({"stones": points}), "stone_wetting", file)
    told = exchange.assumed_with(file).read_text(encoding="utf-8")
    assert all(line in told.splitlines() for line in words.assumed(sample_run, ["throw", "wetting"]))
    assert not any(line in told for line in words.told(["stones.height_m (25 rows): the usual height of its form"]))


def test_a_table_beside_its_text_is_still_a_plain_table(sample_run: Site, tmp_path: Path) -> None:
    file = tmp_path / "heads.csv"
    exchange.export_layer(sample_run, "heads", file)
    rows = list(csv.DictReader(file.read_text(encoding="utf-8-sig").splitlines()))
    assert len(rows) == len(sample_run["heads"])
    assert "how far it turns" not in exchange.assumed_with(file).read_text(encoding="utf-8")


def test_a_line_is_told_in_parts_and_in_words() -> None:
    assert assumed_line("heads.arc_sweep_deg (2 rows): a full circle") == {
        "layer": "heads", "column": "arc_sweep_deg", "rows_n": 2, "words": "a full circle",
        "text": "heads, how far it turns (2 rows): a full circle",
    }  # fmt: skip
