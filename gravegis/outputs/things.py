"""The display list: what a painter is told to draw, made from the layers of a site; nothing here draws.

A `Thing` is a symbol with the geometries that carry it. The same list serves every painter.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import shapely

from gravegis.layers.canonical import column
from gravegis.outputs import symbols

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import numpy.typing as npt

    from gravegis.layers.canonical import Frame
    from gravegis.outputs.symbols import Symbol
    from gravegis.site import Site

    Shapes = npt.NDArray[np.object_]

__all__ = ["Thing", "bounds_m", "clear", "ground", "outlines", "places", "seen", "shapes_of", "stones_of"]

SHAPES = ("areas", "lines", "marks", "stones")
_LEAST_SIDE_M = 10.0
_REACH = 0.25


@dataclass(frozen=True, slots=True, eq=False)
class Thing:
    """Geometries drawn with one symbol.

    Parameters
    ----------
    symbol
        How.
    shape
        ``areas``, ``lines``, ``marks`` (a mark at each point) or ``stones`` (footprint, or a mark where too small).
    shapes
        Geometries in the CRS of the site.
    words
        What the key says; empty: it is not in the key.
    sample
        Text in the sample of the key, as it stands on the map.
    shift_mm
        Lines are moved by this much, so that two on one path are both seen. [mm]
    in_key_only
        Drawn elsewhere by the page itself, here for the key.
    """

    symbol: Symbol
    shape: str
    shapes: Shapes
    words: str = ""
    sample: str = ""
    shift_mm: float = 0.0
    in_key_only: bool = False


def shapes_of(frame: Frame) -> Shapes:
    """Return the geometries of a layer as an array; None where a row has none or an empty one."""
    if "geometry" not in frame.columns:
        return np.full(len(frame), None, dtype=object)
    made = np.asarray(frame["geometry"].array, dtype=object).copy()
    made[shapely.is_empty(made)] = None
    return made


def _there(shapes: Shapes) -> Shapes:
    kept: Shapes = shapes[~shapely.is_missing(shapes)]
    return kept


def outlines(kind: str, shapes: Shapes, words: str | None = None) -> list[Thing]:
    """Return areas drawn as one kind; nothing where there are none."""
    drawn = symbols.symbol(kind)
    return (
        [Thing(drawn, "areas", there, drawn.words if words is None else words)] if len(there := _there(shapes)) else []
    )


def places(kind: str, shapes: Shapes, words: str | None = None, sample: str = "") -> list[Thing]:
    """Return points drawn with the mark of one kind; nothing where there are none."""
    drawn = symbols.symbol(kind)
    there = _there(shapes)
    return [Thing(drawn, "marks", there, drawn.words if words is None else words, sample)] if len(there) else []


def ground(site: Site, *, with_water: bool = False) -> list[Thing]:
    """Return what a person finds the way by: paths, plots, walls and hedges, gates, bases; taps when asked for."""
    made = [*_paths(site)]
    if site.has("plots"):
        made += outlines("plot", shapes_of(site["plots"]))
    made += _barriers(site)
    for layer, kind in (("gates", "gate"), ("bases", "base")):
        if site.has(layer):
            made += places(kind, shapes_of(site[layer]))
    return made + (_taps(site) if with_water else [])


def clear(things: Sequence[Thing], over_z: int = 16) -> list[Thing]:
    """Return things with areas and footprints not filled and above `over_z`: what is under them shows."""
    return [
        replace(one, symbol=replace(one.symbol, fill="", z=max(one.symbol.z, over_z)))
        if one.shape in ("areas", "stones")
        else one
        for one in things
    ]


def _paths(site: Site) -> list[Thing]:
    """Return paths as the ground they take; those of unknown width as lines."""
    if not site.has("paths"):
        return []
    frame, drawn = site["paths"], symbols.symbol("path")
    shapes = shapes_of(frame)
    width_m = column(frame, "paths", "width_m").to_numpy(dtype="float64", na_value=np.nan)
    is_line = ~shapely.is_missing(shapes) & (shapely.get_dimensions(shapes) == 1)
    wide = is_line & (width_m > 0)
    shapes[wide] = shapely.buffer(shapes[wide], width_m[wide] / 2, cap_style="flat", join_style="round")
    areas, lines = _there(shapes[~(is_line & ~wide)]), _there(shapes[is_line & ~wide])
    together = np.array([shapely.union_all(areas)], dtype=object) if len(areas) else areas
    made = outlines("path", together)
    if len(lines):
        made.append(Thing(replace(drawn, width_mm=0.3), "lines", lines, "" if made else drawn.words))
    return made


def _barriers(site: Site) -> list[Thing]:
    if not site.has("barriers"):
        return []
    frame = site["barriers"]
    shapes = shapes_of(frame)
    names = [symbols.barrier_kind(None if pd.isna(kind) else str(kind)) for kind in column(frame, "barriers", "kind")]
    made: list[Thing] = []
    for name in dict.fromkeys(names):
        mine = _there(shapes[np.array(names) == name])
        flat = shapely.get_dimensions(mine) == 2
        drawn = symbols.symbol(name)
        words = drawn.words
        for shape, some in (("areas", mine[flat]), ("lines", mine[~flat])):
            if len(some):
                made.append(Thing(drawn, shape, some, words))
                words = ""
    return made


def _taps(site: Site) -> list[Thing]:
    if not site.has("taps"):
        return []
    frame = site["taps"]
    fit = column(frame, "taps", "fit_to_drink").fillna(False).to_numpy(dtype=bool)
    shapes = shapes_of(frame)
    return [*places("tap", shapes[fit]), *places("tap_unfit", shapes[~fit])]


def stones_of(shapes: Shapes, kinds: Sequence[str], words: Mapping[str, str], order: Sequence[str]) -> list[Thing]:
    """Return stones by kind, in a fixed order of kinds, each with its count in the key.

    Parameters
    ----------
    shapes, kinds
        Geometry and kind of each stone.
    words
        Words of the key by kind, where they differ from those of the table.
    order
        Kinds from the first in the key to the last; kinds without a stone are left out.
    """
    of = np.asarray(kinds, dtype=object)
    made: list[Thing] = []
    for kind in order:
        mine = _there(shapes[of == kind])
        drawn = symbols.symbol(kind)
        if len(mine):
            made.append(Thing(drawn, "stones", mine, f"{words.get(kind, drawn.words)} ({len(mine)})"))
    return made


def bounds_m(*parts: Shapes, around: Sequence[Thing] = ()) -> tuple[float, float, float, float]:
    """Return the ground to show: west, south, east, north.

    All of `parts` is shown with a margin, at least 10 m; things `around` only as far as 25 % beyond it.
    """
    there = [part for part in parts if len(_there(part))]
    if not there:
        there = [thing.shapes for thing in around]
    if not there:
        return 0.0, 0.0, _LEAST_SIDE_M, _LEAST_SIDE_M
    core = np.array(shapely.total_bounds(np.concatenate(there)))
    grown = _grown(core, max(core[2] - core[0], core[3] - core[1]) * _REACH)
    frames = [np.array(shapely.total_bounds(thing.shapes)) for thing in around if len(thing.shapes)]
    for frame in frames:
        core = _joined(core, np.clip(frame, grown[[0, 1, 0, 1]], grown[[2, 3, 2, 3]]))
    lack = np.maximum(_LEAST_SIDE_M - (core[2:] - core[:2]), 0.0) / 2
    core = np.concatenate([core[:2] - lack, core[2:] + lack])
    west, south, east, north = _grown(core, 0.02 * max(core[2] - core[0], core[3] - core[1]))
    return float(west), float(south), float(east), float(north)


def seen(things: Sequence[Thing], bounds: tuple[float, float, float, float]) -> list[Thing]:
    """Return the things with only what shows on the ground drawn, so that the key holds nothing else."""
    window = shapely.box(*bounds)
    kept = [replace(one, shapes=one.shapes[shapely.intersects(one.shapes, window)]) for one in things]
    return [one for one in kept if len(one.shapes)]


def _grown(frame: npt.NDArray[Any], by_m: float) -> npt.NDArray[Any]:
    return frame + by_m * np.array([-1.0, -1.0, 1.0, 1.0])


def _joined(one: npt.NDArray[Any], other: npt.NDArray[Any]) -> npt.NDArray[Any]:
    return np.concatenate([np.minimum(one[:2], other[:2]), np.maximum(one[2:], other[2:])])
