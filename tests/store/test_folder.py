from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely

from gravegis import store
from gravegis.errors import LayerError, StoreError
from gravegis.layers import canonical, schema
from gravegis.site import Raster, ResultRecord, Site, SiteInfo

if TYPE_CHECKING:
    from pathlib import Path

CRS = "EPSG:7854"
INFO = SiteInfo("Test ground", CRS, "typed", "Australia/Adelaide", 150.0, seed=3, sources=("a", "b"))


def small_site() -> Site:
    stones = gpd.GeoDataFrame(
        {"stone_id": ["007", "b"], "quick_score": [2, None], "year": [1900, None], "their own": ["x", None]},
        geometry=[shapely.Point(372000.123456789, 6250000.1), shapely.box(1, 2, 3.5, 4)],
        crs=CRS,
    )
    every = {name: canonical.empty(name, CRS) for name in schema.layers()}
    return Site(INFO).with_layers({**every, "stones": stones, "zones": pd.DataFrame({"zone_id": ["Z"]})})


def test_load_of_save_is_the_same_site_over_every_layer_empty_ones_too(tmp_path: Path) -> None:
    site = small_site()
    store.save(site, tmp_path)
    again = store.load(tmp_path)
    assert again.info == site.info
    assert list(again) == list(site)
    differing = [name for name in site if not canonical.equal(site[name], again[name])]
    assert differing == []
    assert [str(t) for t in again["stones"].dtypes] == [str(t) for t in site["stones"].dtypes]


def test_log_settings_and_grids_come_back(tmp_path: Path) -> None:
    grid = Raster(np.array([[0.25, np.nan], [0.5, 1.0]]), 372000.0, 6250000.0, 0.5, "share", "1")
    record = ResultRecord("heatmap", 1, {"cell_m": 0.5}, 3, {"stones": "a"}, {"stones": "b"}, ("share",), ("n",), ())
    site = small_site().with_settings("heatmap", {"cell_m": 0.5}).with_result({}, {"share": grid}, record)
    store.save(site, tmp_path)
    again = store.load(tmp_path)
    assert again.log == (record,)
    assert again.settings == {"heatmap": {"cell_m": 0.5}}
    np.testing.assert_array_equal(again.grids["share"].values, grid.values)
    assert again.grids["share"].bounds_m == grid.bounds_m


def test_grids_named_by_no_version_any_more_are_swept(tmp_path: Path) -> None:
    grid = Raster(np.ones((2, 2)), 0.0, 2.0, 1.0, "share", "1")
    record = ResultRecord("heatmap", 1, {}, 3, {}, {}, ("share",), (), ())
    site = Site(INFO).with_result({}, {"share": grid}, record)
    store.save(site, tmp_path)
    for _ in range(5):
        store.save(site.without_results(), tmp_path)
        assert len(list((tmp_path / "grids").iterdir())) == 1
    store.save(site.without_results(), tmp_path)
    assert list((tmp_path / "grids").iterdir()) == []


@pytest.mark.parametrize("damage", ["gone", "cut"])
def test_a_result_whose_grid_is_gone_or_damaged_is_dropped_and_the_rest_is_read(tmp_path: Path, damage: str) -> None:
    grid = Raster(np.ones((2, 2)), 0.0, 2.0, 1.0, "share", "1")
    record = ResultRecord("heatmap", 1, {}, 3, {}, {}, ("share",), (), ())
    store.save(small_site().with_result({}, {"share": grid}, record), tmp_path)
    (file,) = (tmp_path / "grids").iterdir()
    if damage == "gone":
        file.unlink()
    else:
        file.write_bytes(file.read_bytes()[:40])
    again = store.load(tmp_path)
    assert again.grids == {}
    assert again.log == ()
    assert len(again["stones"]) == 2


def test_zero_and_nan_have_one_hash_whatever_their_sign() -> None:
    one, other = (pd.DataFrame({"margin_m": values}) for values in ([0.0, np.nan], [-0.0, -np.nan]))
    assert canonical.content_hash(one) == canonical.content_hash(other)


@pytest.mark.parametrize("name", ["g%201", "with space", "#hash", "fra?e", "墓地"])
def test_any_folder_name_serves(tmp_path: Path, name: str) -> None:
    store.save(small_site(), tmp_path / name)
    assert store.load(tmp_path / name).info == INFO


def test_an_empty_site_file_is_refused(tmp_path: Path) -> None:
    (tmp_path / "site.gpkg").touch()
    with pytest.raises(StoreError, match="damaged"):
        store.load(tmp_path)


def test_a_layer_keeps_columns_that_are_not_ours(tmp_path: Path) -> None:
    store.save(small_site(), tmp_path)
    assert store.load(tmp_path)["stones"]["their own"].tolist()[0] == "x"


def test_geometry_of_a_site_cannot_be_written_through() -> None:
    site = small_site()
    with pytest.raises(ValueError, match="read-only"):
        site["stones"].geometry.values[0] = shapely.Point(0, 0)


def test_a_change_to_a_copy_does_not_reach_the_site() -> None:
    site = small_site()
    frame = site["stones"]
    frame.loc[0, "year"] = 1
    assert site["stones"]["year"].tolist()[0] == 1900


def test_a_failed_save_leaves_the_old_site(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    site = small_site()
    store.save(site, tmp_path)
    before = (tmp_path / "site.gpkg").read_bytes()

    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(pyogrio, "write_dataframe", full)
    with pytest.raises(StoreError, match="No space left on device"):
        store.save(site.without_results(), tmp_path)
    assert (tmp_path / "site.gpkg").read_bytes() == before
    assert [path.name for path in tmp_path.iterdir() if path.name.startswith(".site")] == []


def test_a_second_site_in_the_same_folder_is_refused(tmp_path: Path) -> None:
    store.create(tmp_path, INFO)
    with pytest.raises(StoreError, match="already"):
        store.create(tmp_path, INFO)


def test_no_site_is_said_with_the_remedy(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match=r"no site here(.|\n)*gravegis new"):
        store.load(tmp_path)


def test_a_site_damaged_in_the_middle_is_refused(tmp_path: Path) -> None:
    store.save(small_site(), tmp_path)
    path = tmp_path / "site.gpkg"
    whole = bytearray(path.read_bytes())
    middle = len(whole) // 2 // 4096 * 4096
    whole[middle : middle + 4096] = b"\xff" * 4096
    path.write_bytes(bytes(whole))
    with pytest.raises(StoreError, match="damaged"):
        store.load(tmp_path)


@pytest.mark.parametrize("kept", [0.1, 0.5])
def test_a_cut_site_is_refused(tmp_path: Path, kept: float) -> None:
    store.save(small_site(), tmp_path)
    path = tmp_path / "site.gpkg"
    path.write_bytes(path.read_bytes()[: int(path.stat().st_size * kept)])
    with pytest.raises(StoreError, match="damaged"):
        store.load(tmp_path)


def test_a_geopackage_that_is_no_site_is_refused(tmp_path: Path) -> None:
    pyogrio.write_dataframe(small_site()["stones"], tmp_path / "site.gpkg", layer="stones", geometry_type="Unknown")
    with pytest.raises(StoreError, match="not a gravegis site"):
        store.load(tmp_path)


def test_a_newer_schema_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with monkeypatch.context() as later:
        later.setattr(schema, "SCHEMA_VERSION", schema.SCHEMA_VERSION + 1)
        store.save(small_site(), tmp_path)
    with pytest.raises(StoreError, match="newer"):
        store.load(tmp_path)


def test_layers_of_another_crs_are_refused() -> None:
    stones: Any = small_site()["stones"]
    stones = stones.to_crs("EPSG:4326")
    with pytest.raises(LayerError, match=r"EPSG:4326, the site in EPSG:7854"):
        Site(INFO).with_layers({"stones": stones})


def test_all_problems_of_all_layers_come_in_one_error() -> None:
    stones = small_site()["stones"].assign(height_m=["15 ft", "1"], quick_score=[7, 1])
    heads = pd.DataFrame({"head_id": ["1", "1"]})
    with pytest.raises(LayerError) as caught:
        Site(INFO).with_layers({"stones": stones, "heads": heads})
    assert [problem.where for problem in caught.value.problems] == [
        "stones.height_m", "stones.quick_score", "heads",
    ]  # fmt: skip


def test_reasons_are_kept_as_canonical_json() -> None:
    frame = pd.DataFrame({"stone_id": ["a"], "reasons": ['[{"values": {"b": 1, "a": 2}, "code": "x"}]']})
    conformed = canonical.conform(frame, "stone_condition")
    assert json.loads(next(iter(conformed["reasons"]))) == [{"code": "x", "values": {"a": 2, "b": 1}}]
    assert canonical.equal(conformed, canonical.conform(conformed, "stone_condition"))
