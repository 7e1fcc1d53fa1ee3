"""The layers of Emberfield Rise and the truth behind them, read once."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd
import pytest

from tests.scripts.emberfield import (
    TRUTH,
    shapes,
    table,
    widest_throw,
)

if TYPE_CHECKING:
    import geopandas as gpd
    import shapely


@pytest.fixture(scope="session")
def stones() -> gpd.GeoDataFrame:
    return shapes("stones.geojson")


@pytest.fixture(scope="session")
def truth() -> pd.DataFrame:
    return pd.read_csv(TRUTH / "stones.csv", dtype={"stone_id": str}).set_index("stone_id")


@pytest.fixture(scope="session")
def causes() -> pd.DataFrame:
    """Findings with their true cause and the true setting of their stone."""
    found = table("findings.csv").merge(pd.read_csv(TRUTH / "findings.csv"), on="finding_id")
    return found.merge(pd.read_csv(TRUTH / "stones.csv", dtype={"stone_id": str}), on="stone_id")


@pytest.fixture(scope="session")
def plots() -> gpd.GeoDataFrame:
    return shapes("plots.shp")


@pytest.fixture(scope="session")
def heads() -> gpd.GeoDataFrame:
    return shapes("heads.csv")


@pytest.fixture(scope="session")
def throws(heads: gpd.GeoDataFrame) -> list[shapely.Geometry]:
    return [widest_throw(head) for _, head in heads.iterrows()]
