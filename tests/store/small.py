"""Two small sites that differ in every layer, and what tells which of them was read."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from gravegis.site import Raster, ResultRecord, Site, SiteInfo

CRS = "EPSG:7854"
ROWS = {"old": 200, "new": 230}


def small(which: str) -> Site:
    """Return the site called old or new: rows, words and grid all say which."""
    count = ROWS[which]
    ids = [f"s{place}" for place in range(count)]
    places = [shapely.Point(372000 + place, 6250000) for place in range(count)]
    stones = gpd.GeoDataFrame({"stone_id": ids, "inscribed": [which] * count}, geometry=places, crs=CRS)
    heads = gpd.GeoDataFrame({"head_id": [which], "throw_m": [9.0]}, geometry=[shapely.Point(372000, 6250000)], crs=CRS)
    grid = Raster(np.full((60, 60), float(count)), 372000.0, 6250000.0, 0.5, "share", "1")
    record = ResultRecord("heatmap", 1, {}, 1, {}, {}, ("share",), (which,), ())
    site = Site(SiteInfo(which, CRS, "typed")).with_layers(
        {"stones": stones, "heads": heads, "zones": pd.DataFrame({"zone_id": [which]})}
    )
    return site.with_result({}, {"share": grid}, record)


def which_whole(site: Site) -> str:
    """Return old or new; raises AssertionError unless every piece of the site is of that one."""
    which = site.info.title
    assert len(site["stones"]) == ROWS[which], f"{which}: {len(site['stones'])} stones"
    assert set(site["stones"]["inscribed"]) == {which}, f"{which}: stones of another save"
    assert not site["stones"].geometry.isna().any(), f"{which}: places gone"
    assert list(site["heads"]["head_id"]) == [which], f"{which}: heads of another save"
    assert list(site["zones"]["zone_id"]) == [which], f"{which}: zones of another save"
    assert [record.notes for record in site.log] == [(which,)], f"{which}: results lost or of another save"
    assert set(np.unique(site.grids["share"].values)) == {float(ROWS[which])}, f"{which}: grid of another save"
    return which
