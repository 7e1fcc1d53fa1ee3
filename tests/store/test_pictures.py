"""Pictures that come with a layer live in the site folder; a backdrop lies where its pixels say."""

from __future__ import annotations

import shutil
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import pytest
import rasterio
from click.testing import CliRunner
from PIL import Image
from rasterio.transform import from_origin

from gravegis import cli, store
from gravegis.errors import LayerError
from gravegis.site import Site, SiteInfo

if TYPE_CHECKING:
    from pathlib import Path

SITE = Site(SiteInfo("Test ground", "EPSG:7854", time_zone="Australia/Adelaide"))


def run(*words: object) -> str:
    done = CliRunner().invoke(cli.gravegis, [str(word) for word in words], catch_exceptions=False)
    assert done.exit_code == 0, done.output
    return done.output


def jpeg(file: Path, shade: int) -> Path:
    file.parent.mkdir(parents=True, exist_ok=True)
    Image.new("RGB", (8, 6), (shade, 0, 0)).save(file)
    return file


def test_photos_of_a_folder_are_kept_and_outlive_it(tmp_path: Path) -> None:
    folder, taken = tmp_path / "site", tmp_path / "taken"
    store.save(SITE, folder)
    first, second = jpeg(taken / "S1.jpg", 10), jpeg(taken / "more" / "S1.jpg", 20)
    content = {first.read_bytes(), second.read_bytes()}
    run("add", folder, "photos", taken)
    shutil.rmtree(taken)
    named = store.load(folder)["photos"]["file"].tolist()
    assert {(folder / "photos" / name).read_bytes() for name in named} == content


def test_a_table_of_photos_names_files_beside_it_and_no_others(tmp_path: Path) -> None:
    folder, taken = tmp_path / "site", tmp_path / "taken"
    store.save(SITE, folder)
    jpeg(taken / "a.jpg", 10)
    outside = jpeg(tmp_path / "private.jpg", 30)
    table = taken / "photos.csv"
    names = ["a.jpg", "gone.jpg", "../private.jpg", str(outside), None]
    pd.DataFrame({"photo_id": list("pqrst"), "file": names}).to_csv(table, index=False)
    said = run("add", folder, "photos", table)
    assert "3 pictures are named that are not beside the file" in said
    kept = store.load(folder)["photos"].set_index("photo_id")["file"]
    assert kept["p"].startswith("photo-")
    assert kept["q":"s"].tolist() == names[1:4]
    assert [one.name for one in (folder / "photos").iterdir()] == [kept["p"]]


@pytest.mark.parametrize("crs", ["EPSG:7854", "EPSG:4326"])
def test_a_backdrop_lies_on_the_grid_of_the_site(tmp_path: Path, crs: str) -> None:
    """One red pixel is found at the place it was drawn at, whatever system the picture is in."""
    from pyproj import Transformer

    folder = tmp_path / "site"
    store.save(SITE, folder)
    east, north, side = 372_000.0, 6_250_100.0, 0.5
    if crs == "EPSG:4326":
        lon, lat = Transformer.from_crs("EPSG:7854", crs, always_xy=True).transform(east, north)
        corner, side = (lon, lat), 5e-6
    else:
        corner = (east, north)
    values = np.zeros((3, 200, 200), dtype=np.uint8)
    values[0, 40:44, 100:104] = 255
    file = tmp_path / "air.tif"
    with rasterio.open(file, "w", driver="GTiff", width=200, height=200, count=3, dtype="uint8", crs=crs,
                       transform=from_origin(*corner, side, side)) as opened:  # fmt: skip
        opened.write(values)
    run("add", folder, "backdrops", file)
    site = store.load(folder)
    (picture,) = store.backdrops.pictures(folder, site)
    rows, columns = np.nonzero(picture.rgba[..., 0] > 127)
    west, south, east_m, north_m = picture.bounds_m
    x = west + (columns.mean() + 0.5) * (east_m - west) / picture.rgba.shape[1]
    y = north_m - (rows.mean() + 0.5) * (north_m - south) / picture.rgba.shape[0]
    drawn_at = corner[0] + 102 * side, corner[1] - 42 * side
    there = Transformer.from_crs(crs, "EPSG:7854", always_xy=True).transform(*drawn_at)
    assert (x, y) == pytest.approx(there, abs=0.5)


def test_a_cut_backdrop_is_refused_and_a_lost_one_left_out(tmp_path: Path) -> None:
    folder = tmp_path / "site"
    store.save(SITE, folder)
    file = tmp_path / "air.tif"
    noise = np.random.default_rng(1).integers(0, 255, (1, 300, 300), dtype=np.uint8)
    with rasterio.open(file, "w", driver="GTiff", width=300, height=300, count=1, dtype="uint8", crs="EPSG:7854",
                       transform=from_origin(372_000, 6_250_100, 0.5, 0.5)) as opened:  # fmt: skip
        opened.write(noise)
    cut = tmp_path / "cut.tif"
    cut.write_bytes(file.read_bytes()[:40_000])
    done = CliRunner().invoke(cli.gravegis, ["add", str(folder), "backdrops", str(cut)])
    assert isinstance(done.exception, LayerError)
    assert not store.load(folder).has("backdrops")
    run("add", folder, "backdrops", file)
    site = store.load(folder)
    (folder / "photos" / site["backdrops"]["file"].iloc[0]).unlink()
    with pytest.warns(UserWarning, match="left out"):
        assert store.backdrops.pictures(folder, site) == []
