"""Pictures of the ground whose reference system is damaged, unknown or missing are refused in words."""

from __future__ import annotations

import random
from typing import TYPE_CHECKING

import numpy as np
import pytest
from pyproj import CRS

from gravegis.errors import CrsError
from gravegis.layers import crs as systems
from gravegis.layers.bring import bring_in
from gravegis.site import Site, SiteInfo
from tests.layers import every_kind, fuzzing

if TYPE_CHECKING:
    from pathlib import Path


def test_a_system_with_impossible_figures_is_no_traceback() -> None:
    beyond = CRS.from_wkt(
        CRS.from_epsg(2056)
        .to_wkt()
        .replace('"Latitude of projection centre",46.9524055555556', '"Latitude of projection centre",146.9')
    )
    with pytest.raises(CrsError, match="has figures that no place on the earth follows from"):
        systems.lonlat_deg(beyond, np.array([[2600000.0, 1200000.0]]))


def _site(folder: Path) -> Site:
    (folder / "a.csv").write_text(every_kind.CSV)
    return bring_in(Site(SiteInfo("Test ground", "")), "stones", folder / "a.csv").site


def test_damaged_pictures_end_in_a_clear_error(tmp_path: Path) -> None:
    site = _site(tmp_path)
    every_kind.raster(tmp_path / "a.tif")
    data, rng = (tmp_path / "a.tif").read_bytes(), random.Random(11)
    for number in range(120):
        made = tmp_path / f"{number}.tif"
        made.write_bytes(rng.choice((fuzzing.flip, fuzzing.cut, fuzzing.overwrite))(data, rng))
        trouble = fuzzing.attempt(site, made, "backdrops", rng.choice([{}, {"crs": "EPSG:7854"}]))
        assert not trouble, f"input {number}: {trouble}"
