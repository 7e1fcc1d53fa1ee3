"""The invented lawn as a site, and the tables that a result holds."""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from gravegis.site import Site, SiteInfo

if TYPE_CHECKING:
    import numpy.typing as npt

    from scripts.benches.lawn import Lawn

    Ints = npt.NDArray[np.int64]
    Floats = npt.NDArray[np.float64]

CRS = "EPSG:32754"
ZONES_N = 8
_CORNER_M = (500_000.0, 6_250_000.0)


def site_of(lawn: Lawn) -> Site:
    """Return stones, heads, zones and a schedule of half a year."""
    heads, stones, zone = len(lawn.throws), len(lawn.footprints), [f"z{n}" for n in range(ZONES_N)]
    throws = lawn.throws
    return Site(SiteInfo("Lawn", CRS, time_zone="Australia/Adelaide")).with_layers({
        "stones": gpd.GeoDataFrame(
            {"stone_id": [f"s{n:07d}" for n in range(stones)], "height_m": lawn.height_m, "position_error_m": 0.05,
             "facing_deg": 0.0},
            geometry=shapely.transform(lawn.footprints, _moved), crs=CRS,
        ),
        "heads": gpd.GeoDataFrame(
            {"head_id": [f"h{n:06d}" for n in range(heads)], "kind": "rotor", "throw_m": throws.throw_m,
             "arc_from_deg": throws.from_deg, "arc_sweep_deg": throws.sweep_deg, "flow_l_min": lawn.flow_l_h / 60.0,
             "zone_id": np.resize(zone, heads), "position_error_m": 0.05},
            geometry=shapely.transform(shapely.points(throws.x_m, throws.y_m), _moved), crs=CRS,
        ),
        "zones": pd.DataFrame({"zone_id": zone}),
        "schedules": pd.DataFrame({
            "schedule_id": [f"p{n}" for n in range(ZONES_N)], "zone_id": zone, "run_min": 20.0, "every": "daily",
            "start_at": [f"{2 + n % 6:02d}:30" for n in range(ZONES_N)], "from_on": "2026-10-01", "to_on": "2027-03-31",
        }),
    })  # fmt: skip


def _moved(corners: Floats) -> Floats:
    moved: Floats = corners + np.array(_CORNER_M)
    return moved


def tables(site: Site, stone_i: Ints, head_i: Ints, distance_m: Floats) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return the table of stones with their number of heads, and that of pairs with distances, both by names."""
    stone_id, head_id = site["stones"]["stone_id"], site["heads"]["head_id"]
    links = pd.DataFrame({
        "stone_id": stone_id.take(stone_i).reset_index(drop=True),
        "head_id": head_id.take(head_i).reset_index(drop=True), "distance_m": distance_m,
    })  # fmt: skip
    count = np.bincount(stone_i, minlength=len(stone_id))
    return pd.DataFrame({"stone_id": stone_id, "heads_n": count, "reached": count > 0}), links
