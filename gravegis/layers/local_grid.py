"""A grid of somebody's own, laid on the ground by points known on both."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely
from pyproj import CRS

from gravegis.errors import LayerError
from gravegis.layers import crs as systems
from gravegis.layers import place
from gravegis.layers.read import read_file
from gravegis.layers.read.coordinates import Pair, find_pair, points
from gravegis.layers.read.raw import many
from gravegis.science.survey.similarity import Similarity, fit_similarity

if TYPE_CHECKING:
    from pathlib import Path

    import numpy.typing as npt

    from gravegis.layers.read import Raw

__all__ = ["Laid", "lay_grid"]

_LOCAL = (("local_x", "local_y"), ("from_x", "from_y"), ("grid_x", "grid_y"))
_PLACED = (("to_x", "to_y", "grid"), ("map_x", "map_y", "grid"))
_HOW = (
    "A table with columns name, local_x, local_y and map_x, map_y (in metres of --crs or of the site) or lon, lat: "
    "a row per point, two at least, three or more to see how well it fits."
)
_MIRROR = 0.2  # a mirrored fit that is five times better tells that the axes are exchanged: own choice
_LARGE_M = 1.0  # control points that fit worse are wrong more likely than inexact; common practice, no source
# Units a local grid may be counted in, with the scale they give.
_UNITS = (("metres", 1.0), ("feet", 0.3048), ("centimetres", 0.01), ("millimetres", 0.001), ("yards", 0.9144),
          ("inches", 0.0254))  # fmt: skip


@dataclass(frozen=True, slots=True)
class Laid:
    """How a local grid lies: its fit, the reference system of the map places, and words about the fit."""

    fit: Similarity
    crs: CRS
    words: tuple[str, ...]


def lay_grid(path: Path, typed_crs: str | None, site_crs: str) -> Laid:
    """Read a table of control points and return how the local grid lies.

    Parameters
    ----------
    path
        The table; `_HOW` says its columns.
    typed_crs
        Reference system of the map places where a person named one.
    site_crs
        That of the site, taken otherwise; empty where there is none yet.

    Raises
    ------
    LayerError
        When the table is unusable, names no place on the earth, or the points do not fit each other.
    """
    raw = read_file(path)
    names = {str(name).lower(): str(name) for name in raw.frame.columns}
    local = next((pair for pair in _LOCAL if all(name in names for name in pair)), None)
    if local is None:
        raise LayerError("the control points have no local places", where=path.name, remedy=_HOW)
    here = _pair(raw, Pair(names[local[0]], names[local[1]], "grid"), path)
    there, crs = _map_places(raw, names, typed_crs, site_crs, path)
    if not (np.isfinite(here).all() and np.isfinite(there).all()):
        raise LayerError("a control point lacks a figure", where=path.name, remedy=_HOW)
    try:
        fit = fit_similarity(here, there)
    except ValueError as error:
        raise LayerError(str(error), where=path.name, remedy=_HOW) from None
    labels = raw.frame[names["name"]].tolist() if "name" in names else [f"row {row + 1}" for row in range(len(here))]
    return Laid(fit, crs, tuple(_words(fit, [str(one) for one in labels], path.name)))


def _pair(raw: Raw, pair: Pair, path: Path) -> npt.NDArray[np.float64]:
    found = points(raw.frame, pair, raw.decimal)
    if found.problems:
        raise LayerError.of(list(found.problems))
    xy = np.full((len(found.geometry), 2), np.nan)
    known = ~shapely.is_missing(found.geometry)
    xy[known] = shapely.get_coordinates(found.geometry[known])
    del path
    return xy


def _map_places(
    raw: Raw, names: dict[str, str], typed_crs: str | None, site_crs: str, path: Path
) -> tuple[npt.NDArray[np.float64], CRS]:
    """Return the map places in metres of a grid, with that grid."""
    placed = next((pair for pair in _PLACED if all(name in names for name in pair[:2])), None)
    pair = Pair(names[placed[0]], names[placed[1]], "grid") if placed else find_pair(list(names.values()), {})
    if pair is None:
        raise LayerError("the control points have no places on the map", where=path.name, remedy=_HOW)
    there = _pair(raw, pair, path)
    named = typed_crs or (systems.DEGREES if pair.kind == "degrees" else site_crs)
    if not named:
        raise LayerError("nobody says in which system the map places lie", where=path.name,
                         remedy="Name it with --crs EPSG:..., or use columns lon and lat.")  # fmt: skip
    crs = systems.named(named)
    if systems.is_metric(crs) and not systems.is_web_mercator(crs):
        return there, crs
    target = CRS.from_user_input(site_crs or place.choose_site_crs(crs, there).code)
    frame = raw.frame[[]].assign(geometry=list(np.asarray(shapely.points(there))))
    moved = place.to_site_crs(frame, crs, systems.label(target)).frame
    return shapely.get_coordinates(np.asarray(moved["geometry"].array, dtype=object)), target


def _words(fit: Similarity, labels: list[str], where: str) -> list[str]:
    left = np.hypot(*fit.residual_m.T)
    if fit.mirrored_error_m < _MIRROR * fit.error_m:
        raise LayerError("the control points fit only if the local grid is mirrored", where=where,
                         remedy="Are local x and y exchanged? Exchange their names in both tables.")  # fmt: skip
    if len(left) > 2 and left.max() > _LARGE_M:
        worst = ", ".join(f"{label} {away:.2f} m" for label, away in zip(labels, left, strict=True))
        raise LayerError(f"the control points do not fit each other: {worst}", where=where,
                         remedy="Look for a wrong digit or two exchanged names.")  # fmt: skip
    unit = next((word for word, scale in _UNITS if abs(fit.scale / scale - 1) < 0.01), "a unit of its own")
    said = [f"local grid laid by {many(len(left), 'control point')}: turned {fit.turn_deg:.2f} degrees clockwise, one "
            f"local unit is {fit.scale:.5g} m ({unit})"]  # fmt: skip
    if len(left) == 2:
        said.append("two control points leave nothing to check: a wrong digit in one of them would not be seen")
    else:
        parts = ", ".join(f"{label} {away:.3f} m" for label, away in zip(labels, left, strict=True))
        said.append(f"left over at the control points: {parts}; standard error {fit.error_m:.3f} m each axis")
    return said
