"""Invented stones and heads in any number, for benchmarks only: rows of burials on a level metric grid."""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import shapely

if TYPE_CHECKING:
    from pathlib import Path

    import numpy.typing as npt

    from gravegis.science.irrigation.throw import Throws

__all__ = ["ABOUT", "CRS", "heads", "stones", "stones_file"]

CRS = "EPSG:32754"
ABOUT = "invented rows of stones 1.5 m by 2.6 m apart, footprints of five corners turned a few degrees, twelve columns"
_LOT_M = (1.5, 2.6)
_CORNER_M = (600_000.0, 5_700_000.0)
_MATERIALS = ("marble", "limestone", "granite", "sandstone", "slate", None)
_FORMS = ("headstone", "tablet", "ledger", "obelisk", None)
_STABILITY = ("unchecked", "firm", "moves", None)
_STONES_PER_HEAD = 20


def stones(count: int, seed: int) -> gpd.GeoDataFrame:
    """Return that many stones in no overlap, with gaps in the columns that people leave empty."""
    chance = np.random.default_rng(seed)
    across = _across(count)
    place = np.arange(count)
    width_m, thickness_m = chance.uniform(0.4, 1.0, count).round(2), chance.uniform(0.08, 0.4, count).round(2)
    height_m = chance.uniform(0.3, 2.0, count).round(2)
    days = np.datetime_as_string(np.datetime64("2024-01-01") + np.arange(900)).astype(object)
    columns = {
        "stone_id": np.char.mod("S%07d", place + 1).astype(object),
        "section": np.array(list("ABCDEFGHIJKLMNOPQRST"), dtype=object)[place * 20 // count],
        "row": np.char.mod("%d", place // across + 1).astype(object),
        "material": _drawn(_MATERIALS, count, chance),
        "form": _drawn(_FORMS, count, chance),
        "height_m": np.where(chance.random(count) < 0.1, np.nan, height_m),
        "width_m": width_m,
        "thickness_m": thickness_m,
        "year": chance.integers(1830, 2000, count),
        "stability": _drawn(_STABILITY, count, chance),
        "stability_on": days[chance.integers(0, len(days), count)],
        "surveyed_on": days[chance.integers(0, len(days), count)],
    }
    turn = np.radians(chance.normal(0.0, 3.0, count))
    middle = np.column_stack([place % across * _LOT_M[0], place // across * _LOT_M[1]]) + np.array(_CORNER_M)
    return gpd.GeoDataFrame(columns, geometry=_footprints(middle, width_m, thickness_m, turn), crs=CRS)


def _across(count: int) -> int:
    return int(np.ceil(np.sqrt(count * _LOT_M[1] / _LOT_M[0])))


def _drawn(words: tuple[str | None, ...], count: int, chance: np.random.Generator) -> npt.NDArray[np.object_]:
    return np.array(words, dtype=object)[chance.integers(0, len(words), count)]


def _footprints(
    middle: npt.NDArray[np.float64],
    width_m: npt.NDArray[np.float64],
    thickness_m: npt.NDArray[np.float64],
    turn: npt.NDArray[np.float64],
) -> npt.NDArray[np.object_]:
    along = np.array([-0.5, 0.5, 0.5, -0.5, -0.5]) * width_m[:, None]
    out = np.array([-0.5, -0.5, 0.5, 0.5, -0.5]) * thickness_m[:, None]
    cosine, sine = np.cos(turn)[:, None], np.sin(turn)[:, None]
    x = middle[:, :1] + along * cosine - out * sine
    y = middle[:, 1:] + along * sine + out * cosine
    return np.asarray(shapely.polygons(np.stack([x, y], axis=-1)), dtype=object)


def stones_file(folder: Path, count: int, seed: int) -> Path:
    """Return a GeoPackage with the layer stones; written once per folder."""
    path = folder / f"stones-{count}-{seed}.gpkg"
    if not path.exists():
        stones(count, seed).to_file(path, layer="stones", driver="GPKG")
    return path


def heads(count_of_stones: int, seed: int) -> Throws:
    """Return heads all over the ground: one for twenty stones, throws of 6 to 12 m, half of them part circles."""
    from gravegis.science.irrigation.throw import make_throws

    chance = np.random.default_rng(seed + 1)
    count = max(count_of_stones // _STONES_PER_HEAD, 1)
    across = _across(count_of_stones)
    size_m = across * _LOT_M[0], -(-count_of_stones // across) * _LOT_M[1]
    sweep = np.where(chance.random(count) < 0.5, 360.0, chance.choice([90.0, 180.0, 270.0], count))
    return make_throws(
        _CORNER_M[0] + chance.uniform(0, size_m[0], count),
        _CORNER_M[1] + chance.uniform(0, size_m[1], count),
        chance.uniform(6.0, 12.0, count),
        from_deg=chance.uniform(0, 360, count),
        sweep_deg=sweep,
    )
