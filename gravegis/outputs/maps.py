"""Printed maps, one function a page; each returns a matplotlib figure that `save_figure` writes."""

from __future__ import annotations

from gravegis.outputs.change_map import change_map
from gravegis.outputs.condition_maps import condition_map, heat_map
from gravegis.outputs.coverage_map import rate_map, season_water_map
from gravegis.outputs.day_maps import crew_map
from gravegis.outputs.figure import save_figure
from gravegis.outputs.harm_maps import harm_map, harms_mapped
from gravegis.outputs.water_maps import wetting_map, zone_map

__all__ = [
    "change_map",
    "condition_map",
    "crew_map",
    "harm_map",
    "harms_mapped",
    "heat_map",
    "rate_map",
    "save_figure",
    "season_water_map",
    "wetting_map",
    "zone_map",
]
