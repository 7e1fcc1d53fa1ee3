"""A small ground with every layer the pages draw, and a walk over all text of a figure."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from matplotlib.text import Text

from gravegis.site import Raster, ResultRecord, Site, SiteInfo
from tests.outputs.current import current

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from matplotlib.figure import Figure

CRS = "EPSG:7854"
WEST_M, SOUTH_M = 372000.0, 6250000.0
TOUCH_PX = 0.5


def texts_of(figure: Figure) -> list[Text]:
    """Return every text that is seen."""
    return [
        one for one in figure.findobj(Text) if isinstance(one, Text) and one.get_visible() and one.get_text().strip()
    ]


def faults_of(figure: Figure) -> list[str]:
    """Return in words every text that leaves the page and every pair that overlaps by more than half a pixel."""
    figure.canvas.draw()
    width, height = figure.canvas.get_width_height()
    seen = texts_of(figure)
    boxes = np.array([one.get_window_extent().extents for one in seen]).reshape(-1, 4)
    low = np.maximum(boxes[:, None, :2], boxes[None, :, :2])
    high = np.minimum(boxes[:, None, 2:], boxes[None, :, 2:])
    first, second = np.nonzero(np.triu(((high - low) > TOUCH_PX).all(axis=2), 1))
    pairs = [f"'{seen[i].get_text()}' over '{seen[j].get_text()}'" for i, j in zip(first, second, strict=True)]
    off = (boxes[:, :2] < -TOUCH_PX).any(axis=1) | (boxes[:, 2:] > np.array([width, height]) + TOUCH_PX).any(axis=1)
    return [*pairs, *(f"'{seen[i].get_text()}' leaves the page" for i in np.flatnonzero(off))]


@pytest.fixture(scope="session")
def text_faults() -> Callable[[Figure], list[str]]:
    """The walk over all text of a figure."""
    return faults_of


@pytest.fixture(scope="session")
def words_on() -> Callable[[Figure], list[str]]:
    """Every text of a figure."""
    return lambda figure: [one.get_text() for one in texts_of(figure)]


def _frame(rows: dict[str, Sequence[Any]], shapes: Sequence[Any]) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(rows, geometry=gpd.GeoSeries(list(shapes), crs=CRS))


def _places(count: int) -> list[tuple[float, float]]:
    """Return a grid of places, 1.3 m within a row, 2.8 m between rows of twelve."""
    return [(WEST_M + 5 + 2.8 * (n // 12), SOUTH_M + 5 + 1.3 * (n % 12)) for n in range(count)]


def _record(name: str, notes: tuple[str, ...], assumed: tuple[str, ...] = (), **settings: object) -> ResultRecord:
    return ResultRecord(name, 1, settings, 1, {}, {}, (), notes, assumed)


def inputs(stones_n: int = 120) -> dict[str, Any]:
    """Return the input layers of the small ground."""
    at = _places(stones_n)
    east, north = max(x for x, _ in at) + 4, SOUTH_M + 26
    ids = [f"S{n + 1:04d}" for n in range(stones_n)]
    rows = [f"R{n // 12 + 1}" for n in range(stones_n)]
    heads = [(WEST_M + 6.0 + 9.0 * k, SOUTH_M + 4.5 + 7.0 * (k % 2)) for k in range(6)]
    return {
        "stones": _frame(
            {"stone_id": ids, "section": ["A"] * stones_n, "row": rows, "surveyed_on": ["2026-09-14"] * stones_n},
            [shapely.box(x, y, x + 0.3, y + 0.9) for x, y in at],
        ),
        "plots": _frame(
            {"plot_id": ids, "section": ["A"] * stones_n, "row": rows},
            [shapely.box(x - 0.1, y - 0.15, x + 2.3, y + 1.1) for x, y in at],
        ),
        "heads": _frame(
            {
                "head_id": [f"H{k}" for k in range(6)],
                "tag": ["7", None, None, None, None, None],
                "zone_id": ["Z1", "Z2", "Z1", "Z2", "Z1", None],
                "fault": [None, "tilted", "none", None, "misting", None],
            },
            [shapely.Point(xy) for xy in heads],
        ),
        "paths": _frame(
            {"path_id": ["P1", "P2"], "width_m": [2.0, None]},
            [
                shapely.LineString([(WEST_M, SOUTH_M + 2), (east, SOUTH_M + 2)]),
                shapely.LineString([(WEST_M + 2, SOUTH_M), (WEST_M + 2, north)]),
            ],
        ),
        "barriers": _frame(
            {"barrier_id": ["B1", "B2"], "kind": ["wall", "hedge"]},
            [
                shapely.LineString([(WEST_M - 2, SOUTH_M), (east + 5000, SOUTH_M)]),
                shapely.LineString([(WEST_M - 2, SOUTH_M), (WEST_M - 2, north)]),
            ],
        ),
        "gates": _frame({"gate_id": ["G1"]}, [shapely.Point(WEST_M + 4, SOUTH_M)]),
        "bases": _frame({"base_id": ["BS"]}, [shapely.Point(WEST_M + 4, SOUTH_M - 2)]),
        "taps": _frame(
            {"tap_id": ["T1", "T2"], "fit_to_drink": [True, None]},
            [shapely.Point(WEST_M + 1, SOUTH_M + 1), shapely.Point(east, SOUTH_M + 1)],
        ),
        "wet_areas": _frame(
            {"wet_area_id": ["W1"]}, [shapely.box(WEST_M + 8, SOUTH_M + 18, WEST_M + 11, SOUTH_M + 21)]
        ),
    }


def wetting_results(layers: dict[str, Any]) -> dict[str, Any]:
    """Return throws of 8 m and what follows from them, by plain distances."""
    stones, heads = layers["stones"], layers["heads"]
    metres = np.array([stones.distance(head).to_numpy() for head in heads.geometry]).T
    stone, head = np.nonzero(metres <= 8.0)
    near_n = ((metres <= 2.0).sum(axis=0)).tolist()
    reached: list[bool | None] = [*(metres.min(axis=1) <= 8.0).tolist()]
    reached[0] = None
    order = np.argsort([-n for n in near_n], kind="stable")
    return {
        "throws_computed": _frame({"head_id": heads.head_id, "zone_id": heads.zone_id}, heads.buffer(8.0)),
        "stone_wetting": pd.DataFrame({"stone_id": stones.stone_id, "reached": reached}),
        "wetting_links": pd.DataFrame(
            {
                "stone_id": stones.stone_id.to_numpy()[stone],
                "head_id": heads.head_id.to_numpy()[head],
                "zone_id": heads.zone_id.to_numpy()[head],
                "distance_m": metres[stone, head],
            }
        ),
        "head_stones": pd.DataFrame(
            {"head_id": heads.head_id, "near_n": near_n, "rank": np.argsort(order, kind="stable") + 1}
        ),
    }


def condition_results(layers: dict[str, Any]) -> dict[str, Any]:
    """Return classes 0, 1, 2, 3, none in turn, and one group."""
    stones = layers["stones"]
    overall = [None if n % 5 == 4 else n % 5 for n in range(len(stones))]
    return {
        "stone_condition": pd.DataFrame({"stone_id": stones.stone_id, "overall": overall}),
        "clusters": _frame(
            {"cluster_id": ["G01"], "stones_n": [9]}, [stones.geometry.iloc[:9].union_all().convex_hull.buffer(0.8)]
        ),
    }


def crew_results(layers: dict[str, Any], crews_n: int = 2, day: str = "2026-12-02") -> dict[str, Any]:
    """Return as many crews as asked for, each with every so many-th stone; the rest is not planned."""
    stones = layers["stones"]
    middle = stones.geometry.centroid
    stops: list[tuple[Any, ...]] = []
    legs: list[tuple[Any, ...]] = []
    for crew in range(crews_n):
        mine = list(range(crew, min(len(stones), 4 * crews_n), crews_n))
        stops += [(f"C{crew + 1:02d}", day, seq + 1, stones.stone_id.iloc[row]) for seq, row in enumerate(mine)]
        line = shapely.LineString([layers["bases"].geometry.iloc[0], *(middle.iloc[row] for row in mine)])
        legs.append((f"C{crew + 1:02d}", day, 1, line))
    visited = {stop[3] for stop in stops}
    rest = [stone for stone in stones.stone_id if stone not in visited]
    reasons = ["NO_TIME_LEFT" if n % 3 else "ON_HOLD" for n in range(len(rest))]
    return {
        "stops": pd.DataFrame(stops, columns=["crew_id", "day", "seq", "stone_id"]),
        "legs": _frame(
            {"crew_id": [leg[0] for leg in legs], "day": [day] * len(legs), "seq": [1] * len(legs)},
            [leg[3] for leg in legs],
        ),
        "crew_days": pd.DataFrame(
            {"crew_id": sorted({stop[0] for stop in stops}), "day": day, "stones_n": 4, "length_m": 120.4}
        ),
        "unplanned": pd.DataFrame({"stone_id": rest, "reason": reasons}),
    }


def share_grid(layers: dict[str, Any]) -> Raster:
    """Return shares that rise from west to east, masked in the south."""
    west, south, east, north = layers["stones"].total_bounds
    values = np.tile(np.linspace(0.05, 0.95, int(east - west) + 1), (int(north - south) + 1, 1))
    values[-4:] = np.nan
    return Raster(values, float(west), float(north), 1.0, "share of stones in class 2 or worse", "1")


def made_site(stones_n: int = 120, crews_n: int = 2) -> Site:
    """Return the small ground with the results of every analysis a page shows."""
    layers = inputs(stones_n)
    info = SiteInfo("Small ground", CRS, sources=("made for tests",))
    site = Site(info).with_layers(layers)
    for name, made in (
        ("wetting", wetting_results(layers)),
        ("condition", condition_results(layers)),
        ("routes", crew_results(layers, crews_n)),
    ):
        site = site.with_result(made, {}, _record(name, (f"Answer of {name}.",), ("heads.throw_m: 8 m",)))
    grid = _record("heatmap", ("Answer of heatmap.",), least_stones_n=7, least_class_n=2)
    return current(site.with_result({}, {"share_damaged": share_grid(layers)}, grid))


@pytest.fixture(scope="session")
def small_site() -> Site:
    """120 stones, six heads, two crews."""
    return made_site()


@pytest.fixture(scope="session")
def build_site() -> Callable[..., Site]:
    """Make the small ground with another number of stones or crews."""
    return made_site
