"""All of a scene that is neither stone nor head: paths, walls, plots, wet ground, groups, points, routes, grids."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from gravegis.outputs import symbols, things
from gravegis.outputs.words import in_order
from gravegis.window.canvas.rings import rings_of, tiles_of

if TYPE_CHECKING:
    import numpy.typing as npt

    from gravegis.outputs.symbols import Symbol
    from gravegis.site import Raster, Site
    from gravegis.window.canvas.rings import Box, Floats, Rings, Shapes, Tiles

__all__ = [ "Drawn", "GridPicture", "Pickable", "Route", "drawn_of", "grids_of",
    "pickables_of", "routes_of",
]  # fmt: skip

_GROUP_OF = {"path": "paths", "gate": "points", "base": "points", "tap": "points", "tap_unfit": "points"}
_POINT_LAYERS = ("taps", "gates", "bases")
WIDE_TILE_M = 60.0


@dataclass(frozen=True, slots=True, eq=False)
class Drawn:
    """Shapes drawn with one symbol: areas, lines or marks. `group` is the switch they hang on."""

    group: str
    symbol: Symbol
    shape: str
    rings: Rings
    tiles: Tiles
    x_m: Floats
    y_m: Floats
    labels: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Pickable:
    """Shapes of a layer that can be picked beside stones and heads."""

    layer: str
    group: str
    ids: npt.NDArray[np.object_]
    shapes: Shapes
    tiles: Tiles


@dataclass(frozen=True, slots=True, eq=False)
class Route:
    """The way of one crew on one day: lines walked, and stops in their order."""

    crew_id: str
    day: str
    letter: str
    symbol: Symbol
    rings: Rings
    tiles: Tiles
    stone_ids: tuple[str, ...]
    seq: tuple[int, ...]
    x_m: Floats
    y_m: Floats


@dataclass(frozen=True, slots=True, eq=False)
class GridPicture:
    """A grid in classes, row 0 in the north: 0 nothing said, 1 to 5 the heat kinds. `words` name it and its steps."""

    name: str
    classes: npt.NDArray[np.uint8]
    bounds_m: Box
    words: str
    steps: tuple[str, ...]


def _made(group: str, symbol: Symbol, shape: str, shapes: Shapes, labels: tuple[str, ...] = ()) -> Drawn:
    bounds_m = shapely.bounds(shapes)
    middle = shapely.centroid(shapes) if shape == "marks" else shapely.points((bounds_m[:, :2] + bounds_m[:, 2:]) / 2)
    return Drawn(
        group, symbol, shape, rings_of(shapes), tiles_of(bounds_m, side_m=WIDE_TILE_M),
        np.asarray(shapely.get_x(middle)), np.asarray(shapely.get_y(middle)), labels,
    )  # fmt: skip


def drawn_of(site: Site, theme: str) -> tuple[Drawn, ...]:
    """Return what lies on the ground, lowest first."""
    made = []
    for thing in things.ground(site, with_water=True):
        kind = thing.symbol.kind
        if kind != "plot":
            group = _GROUP_OF.get(kind, "barriers")
            made.append(_made(group, symbols.symbol(kind, theme), thing.shape, thing.shapes))
    for layer, kind, group, name in (
        ("plots", "plot", "plots", ""), ("wet_areas", "wet_area", "wet_areas", ""),
        ("clusters", "cluster", "clusters", "cluster_id"), ("sections", "section", "plots", "section_id"),
    ):  # fmt: skip
        if site.has(layer) and "geometry" in site[layer].columns:
            made += _layer(site, layer, symbols.symbol(kind, theme), group, name)
    return tuple(sorted(made, key=lambda one: one.symbol.z))


def _layer(site: Site, layer: str, symbol: Symbol, group: str, name: str) -> list[Drawn]:
    frame = site[layer]
    shapes = things.shapes_of(frame)
    there = ~shapely.is_missing(shapes)
    labels = tuple(str(one) for one in frame[name].to_numpy()[there]) if name else ()
    return [_made(group, symbol, "areas", shapes[there], labels)] if there.any() else []


def pickables_of(site: Site) -> tuple[Pickable, ...]:
    """Return what can be picked beside stones and heads, small things first."""
    made = []
    for layer, group in (*((name, "points") for name in _POINT_LAYERS), ("plots", "plots")):
        if not site.has(layer) or "geometry" not in site[layer].columns:
            continue
        frame = site[layer]
        shapes = things.shapes_of(frame)
        there = ~shapely.is_missing(shapes)
        ids = np.asarray(frame[f"{layer.removesuffix('s')}_id"], dtype=object)[there]
        made.append(Pickable(layer, group, ids, shapes[there], tiles_of(shapely.bounds(shapes[there]), side_m=60.0)))
    return tuple(made)


def routes_of(site: Site, theme: str, where: dict[str, tuple[float, float]]) -> tuple[Route, ...]:
    """Return the routes by day and crew; `where` gives the place of each stone. [m]"""
    if not site.has("stops"):
        return ()
    stops = site["stops"]
    crews = sorted(stops["crew_id"].dropna().unique(), key=in_order)
    made = []
    for (day, crew), mine in stops.groupby(["day", "crew_id"]):
        order = crews.index(crew)
        mine = mine[mine["stone_id"].isin(list(where))].sort_values("seq")
        xy = np.array([where[one] for one in mine["stone_id"]], dtype=float).reshape(-1, 2)
        shapes = _legs(site, str(day), str(crew))
        made.append(
            Route(
                str(crew), str(day), symbols.crew_letter(order), symbols.crew_symbol(order, theme), rings_of(shapes),
                tiles_of(shapely.bounds(shapes), side_m=WIDE_TILE_M), tuple(mine["stone_id"]),
                tuple(int(one) for one in mine["seq"]), xy[:, 0], xy[:, 1],
            )
        )  # fmt: skip
    return tuple(made)


def _legs(site: Site, day: str, crew: str) -> Shapes:
    if not site.has("legs") or "geometry" not in site["legs"].columns:
        return np.empty(0, dtype=object)
    legs = site["legs"]
    shapes = things.shapes_of(legs[(legs["day"] == day) & (legs["crew_id"] == crew)].sort_values("seq"))
    return shapes[~shapely.is_missing(shapes)]


def grids_of(site: Site) -> tuple[GridPicture, ...]:
    """Return the grids of a site in five classes."""
    return tuple(_classed(name, grid) for name, grid in sorted(site.grids.items()))


def _classed(name: str, grid: Raster) -> GridPicture:
    """Classes of a share are fifths of 100 %; those of anything else fifths of what is there."""
    values = grid.values
    known = np.isfinite(values)
    low, high = (float(values[known].min()), float(values[known].max())) if known.any() else (0.0, 1.0)
    is_share = "share" in name and low >= 0 and high <= 1
    if is_share:
        low, high = 0.0, 1.0
    step = (high - low) / 5 or 1.0
    classes = np.zeros(values.shape, dtype=np.uint8)
    classes[known] = np.clip(((values[known] - low) / step).astype(int), 0, 4) + 1
    edges = [low + step * place for place in range(6)]
    if is_share:
        steps = tuple(f"{edges[place] * 100:.0f} to {edges[place + 1] * 100:.0f} %" for place in range(5))
    else:
        unit = f" {grid.unit}" if grid.unit not in ("", "1") else ""
        steps = tuple(f"{edges[place]:.3g} to {edges[place + 1]:.3g}{unit}" for place in range(5))
    return GridPicture(name, classes, grid.bounds_m, grid.meaning, steps)
