"""The page of change between two surveys."""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from gravegis import pipeline
from gravegis.outputs import maps
from gravegis.site import Site, SiteInfo

if TYPE_CHECKING:
    from collections.abc import Callable

    from matplotlib.figure import Figure

THEN, NOW = "2024-05-01", "2026-10-01"
ROWS = (("s0", 3, THEN), ("s0", 1, NOW), ("s1", 1, THEN), ("s2", 1, NOW))


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_map_of_change_is_whole_and_tells_then_and_now(
    paper: str, text_faults: Callable[[Figure], list[str]], words_on: Callable[[Figure], list[str]]
) -> None:
    stones = gpd.GeoDataFrame(
        {"stone_id": [f"s{i}" for i in range(4)]},
        geometry=shapely.points(500_000 + 2.0 * np.arange(4), np.full(4, 6_250_000.0)), crs="EPSG:7854",
    )  # fmt: skip
    found = pd.DataFrame(ROWS, columns=["stone_id", "severity", "found_on"]).assign(pattern="moss")
    bare = Site(SiteInfo("t", "EPSG:7854")).with_layers({"stones": stones, "findings": found})
    site = pipeline.run(bare, ["change"]).site
    page = maps.change_map(site, paper=paper, made_on="2026-11-25")
    assert text_faults(page) == []
    said = " ".join(words_on(page))
    assert "1 were 3: 1 are 1" in said
    for words in ("better than then (1)", "seen then only (1)", "seen now only (1)", "stone in neither survey (1)"):
        assert words in said
