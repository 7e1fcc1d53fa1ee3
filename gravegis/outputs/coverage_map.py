"""Maps of the water itself: how fast it falls while a zone runs, and how much of it a season leaves."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import shapely

from gravegis.layers.canonical import column
from gravegis.outputs import figure, labels, pages, rasters, symbols, words
from gravegis.outputs.labels import Label
from gravegis.outputs.pages import About
from gravegis.outputs.things import Thing, bounds_m, clear, ground, outlines, places, shapes_of, stones_of

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from gravegis.outputs.figure import Sheet
    from gravegis.outputs.labels import Board
    from gravegis.outputs.things import Shapes
    from gravegis.site import Raster, Site

__all__ = ["rate_map", "season_water_map"]

ANSWER_LINES = 7
LABEL_PT = 6.5
MOST_STONES = 400
"""With more stones than this they are drawn as thin outlines only, so that the water under them shows: own choice."""
_STEPS = (1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0)
_TOP_PERCENT = 95.0
"""The highest class begins where about this share of the watered cells lies below: own choice."""


def rate_map(
    site: Site, *, made_on: str = "", paper: str = "A4", plan_hash: str = "", page: tuple[int, int] = (1, 1)
) -> Figure:
    """Return the page of rates: at each place while the zone that brings it most is running."""
    about = About(made_on, paper, plan_hash, page)
    return _page(site, "water_rate", "How fast water falls while a zone runs", "mm an hour", about)


def season_water_map(
    site: Site, *, made_on: str = "", paper: str = "A4", plan_hash: str = "", page: tuple[int, int] = (1, 1)
) -> Figure:
    """Return the page of depths of a season by the schedule, all zones together."""
    about = About(made_on, paper, plan_hash, page)
    return _page(site, "water_season", "How much water a season leaves on the ground", "mm a season", about)


def _page(site: Site, name: str, title: str, unit: str, about: About) -> Figure:
    grid = site.grids.get(name)
    shapes = shapes_of(site["stones"]) if site.has("stones") else np.array([], dtype=object)
    zones = _zones(site)
    heads = shapes_of(site["heads"]) if site.has("heads") else np.array([], dtype=object)
    grounds = [*(some for _, some in zones), heads]
    limits = _limits(grid)
    stones = clear(stones_of(shapes, ["stone"] * len(shapes), {}, ("stone",)))
    drawn = [*places("head", heads), *_outlined(zones), *stones, *clear(ground(site))]
    bounds = bounds_m(shapes, *grounds, around=drawn)
    drawn = [*_classes(grid, limits, unit, bounds), *drawn]
    first = () if grid is not None else ("There is no raster of water: flows are not known.",)
    around = pages.page_of(
        site, title, ("coverage",), about, first=first, rests_on=("throw",), lines_n=ANSWER_LINES
    )  # fmt: skip
    sheet = pages.start(site, around, drawn, bounds, about)
    if grid is not None:
        kinds = [symbols.symbol(kind) for kind in symbols.water_kinds()]
        edges = [0.0, 1e-9, *limits[1:], math.inf]
        edges[-1] = max(float(np.nanmax(grid.values)), edges[-2]) + 1.0
        rasters.draw_classes(sheet, grid, edges, [symbols.PAPER, *(one.fill for one in kinds)], kinds[0].z)
    board = pages.board_of(sheet, drawn)
    _label_zones(sheet, board, site, zones)
    pages.rows_and_sections(site, sheet, board)
    figure.remark(sheet, [grid.meaning, f"cells of {grid.cell_m:g} m"] if grid is not None else [])
    return sheet.figure


def _limits(grid: Raster | None) -> list[float]:
    """Return lower limits of the classes: 0 and round steps, so that few cells lie in the open last class."""
    classes = len(symbols.water_kinds())
    wet = np.zeros(0) if grid is None else grid.values[grid.values > 0]
    top = float(np.percentile(wet, _TOP_PERCENT)) if len(wet) else 1.0
    step = top / (classes - 1)
    power = 10.0 ** math.floor(math.log10(step))
    step = next(power * one for one in _STEPS if power * one >= step * (1 - 1e-9))
    return [step * place for place in range(classes)]


def _classes(
    grid: Raster | None, limits: list[float], unit: str, bounds: tuple[float, float, float, float]
) -> list[Thing]:  # fmt: skip
    """Return the lines of the key for the classes that occur, and the mask where a flow is not known."""
    if grid is None:
        return []
    kinds = [symbols.symbol(kind) for kind in symbols.water_kinds()]
    wet = grid.values[grid.values > 0]
    taken = set(np.unique(np.digitize(wet, limits) - 1).tolist())
    spot = np.array([shapely.box(bounds[0], bounds[1], bounds[0], bounds[1])], dtype=object)
    said = [f"{low:g} to {high:g} {unit}" for low, high in pairwise(limits)]
    said.append(f"{limits[-1]:g} {unit} and more")
    made = [Thing(kinds[one], "areas", spot, said[one]) for one in range(len(kinds)) if one in taken]
    if np.isnan(grid.values).any():
        frame = np.array([shapely.box(*grid.bounds_m)], dtype=object)
        made += outlines("masked", frame, "not known: a head of unknown flow wets it")
    return made


def _zones(site: Site) -> list[tuple[str, Shapes]]:
    """Return the ground each zone wets, joined, by name."""
    if not site.has("throws_computed"):
        return []
    frame = site["throws_computed"]
    shapes, zones = shapes_of(frame), column(frame, "throws_computed", "zone_id").fillna("").to_numpy(dtype=object)
    there = ~shapely.is_missing(shapes)
    names = sorted({str(one) for one in zones[there]} - {""}, key=words.in_order)
    return [(name, np.array([shapely.union_all(shapes[there & (zones == name)])], dtype=object)) for name in names]


def _outlined(zones: list[tuple[str, Shapes]]) -> list[Thing]:
    return [
        Thing(symbols.zone_symbol(order), "areas", shape, "" if order else "ground one zone wets, named on the map")
        for order, (_, shape) in enumerate(zones)
    ]


def _label_zones(sheet: Sheet, board: Board, site: Site, zones: list[tuple[str, Shapes]]) -> None:
    """Write name, mean rate and evenness of each zone on its ground, where they are known."""
    table = site["zone_uniformity"].set_index("zone_id") if site.has("zone_uniformity") else None
    wanted = []
    for order, (name, shape) in enumerate(zones):
        row = {} if table is None or name not in table.index else table.loc[name].to_dict()
        rate, evenness = row.get("rate_mm_h", math.nan), row.get("du_lq", math.nan)
        text = name if math.isnan(rate) else f"{name}: {rate:.0f} mm/h, low quarter {evenness:.0f} %"
        edge = shapely.line_merge(shapely.boundary(shape[0]))
        along = shapely.line_interpolate_point(edge, np.linspace(0, 1, 48, endpoint=False), normalized=True)
        at = [shapely.point_on_surface(shape[0]), shapely.centroid(shape[0]), *np.asarray(along, dtype=object)]
        anchors = tuple(pages.anchors_of(sheet, np.array(at, dtype=object)))
        drawn = symbols.zone_symbol(order)
        wanted.append(Label(text, anchors, LABEL_PT, bold=True, colour=drawn.line, most_hidden=0.6, reach_mm=(0.0,)))
    figure.show(sheet, labels.place(board, wanted)[0])
