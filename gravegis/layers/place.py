"""Which metric grid a site lies on, and how a layer gets there."""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, cast

import geopandas as gpd
import numpy as np
import shapely
from pyproj import CRS
from pyproj.aoi import AreaOfInterest
from pyproj.database import query_crs_info
from pyproj.enums import PJType
from pyproj.exceptions import ProjError
from pyproj.transformer import TransformerGroup

from gravegis.errors import CrsError
from gravegis.layers import crs as systems
from gravegis.layers.signs import lacks_sign, turned, within

if TYPE_CHECKING:
    import numpy.typing as npt
    from pyproj import Transformer

    from gravegis.layers.canonical import Frame

    Floats = npt.NDArray[np.float64]

__all__ = [
    "MAX_SCALE_ERROR", "MAX_WIDTH_M", "Chosen", "Moved", "check_scale", "check_width", "choose_site_crs", "grids_at",
    "metric_crs", "metric_twin", "to_site_crs",
]  # fmt: skip

MAX_WIDTH_M = 30_000.0
MAX_SCALE_ERROR = 1 / 2000
"""Limits of one site: common practice, no source. One in 2 000 is 8 mm on a throw of 15 m."""

_UTM_EDGE = 1 / 1000  # at the equator a UTM zone is 1 in 1 030 off at its edge: closed form of the projection
_OUTLIER_M = MAX_WIDTH_M / 2
_SHOWN = 5


@dataclass(frozen=True, slots=True)
class Chosen:
    """A metric grid for a site: its code, why it was taken, and what is assumed with it."""

    code: str
    basis: str
    assumed: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Moved:
    """A layer on the grid of the site; how it was moved in words; the stated accuracy, NaN where unknown. [m]."""

    frame: Frame
    words: str
    accuracy_m: float


def metric_crs(text: str) -> str:
    """Return the code of a grid a person typed for the site; raises CrsError unless it is a map grid in metres."""
    crs = systems.named(text)
    if systems.is_web_mercator(crs):
        raise CrsError(
            f"{text} is the grid of web maps: its metres are too long by 1 / cos(latitude)", where="--crs",
            remedy="Leave --crs out: the local grid is then chosen from the first layer.",
        )  # fmt: skip
    if not systems.is_metric(crs):
        twin = metric_twin(crs) if crs.is_projected else None
        remedy = f"Use {twin}, the same grid in metres." if twin else "Leave --crs out: it is chosen from the data."
        raise CrsError(f"{text} ({crs.name}) is not a map grid in metres", where="--crs", remedy=remedy)
    if crs.to_authority() is None:
        raise CrsError(
            f"'{text}' has no code",
            where="--crs",
            remedy="Name a grid by its code, such as EPSG:7854, or leave it out.",
        )
    return systems.label(crs)


def choose_site_crs(source: CRS, xy: Floats) -> Chosen:
    """Return the metric grid for a site whose first layer lies in `source`.

    A metric grid is kept; a grid in feet becomes the same grid in metres where there is one; anything else, web
    map grids and grids that stretch lengths by more than 1 in 2 000 here, becomes the best grid of that datum.

    Parameters
    ----------
    xy
        Coordinates of the first layer in `source`, shape ``(n, 2)``, n at least 1.
    """
    middle = systems.middle_deg(systems.lonlat_deg(source, xy))
    name = systems.label(source)
    why_not = ""
    if source.is_projected:
        kept = _kept(source)
        error = systems.scale_error(source, middle)
        if kept is not None and error <= MAX_SCALE_ERROR:
            how = "kept from" if kept == name else f"the same grid in metres as {name}, of"
            return Chosen(kept, f"{how} the first layer")
        if kept is not None or systems.is_web_mercator(source):
            why_not = f"; lengths in {name} are off by {_share(error)} here"
    return _best_grid(source, middle, why_not)


def _share(error: float) -> str:
    return f"{error:.0%}" if error >= 0.01 else f"1 in {1 / error:,.0f}"


def _kept(source: CRS) -> str | None:
    """Return the code of a grid as it is, or of the same grid in metres; None where it has none."""
    if systems.is_web_mercator(source):
        return None
    code = source.to_authority()
    if systems.is_metric(source) and code is not None and systems.same(CRS.from_authority(*code), source):
        return ":".join(code)
    return metric_twin(source)


def metric_twin(source: CRS) -> str | None:
    """Return the code of the grid with the same datum, method and figures in metres; None where there is none."""
    area = systems.area_of_use(source) or (-180.0, -90.0, 180.0, 90.0)
    grids = _grids(systems.geodetic_name(source), AreaOfInterest(*area))
    twins = [(code, crs) for code, crs in grids if systems.same_projection(crs, source)]
    eastward = [code for code, crs in twins if crs.axis_info[0].direction == "east"]
    return next(iter((*eastward, *(code for code, _ in twins))), None)


def grids_at(datum: str, middle: tuple[float, float]) -> list[tuple[str, CRS]]:
    """Return the metric grids of a datum whose area of use holds a place, codes with their systems."""
    lon = (middle[0] + 180) % 360 - 180
    return _grids(datum, AreaOfInterest(lon, middle[1], lon, middle[1]))


def _grids(datum: str, area: AreaOfInterest) -> list[tuple[str, CRS]]:
    found: dict[str, CRS] = {}
    for one in query_crs_info("EPSG", PJType.PROJECTED_CRS, area):
        if not one.name.startswith(f"{datum} /") or f"EPSG:{one.code}" in found:
            continue
        crs = CRS.from_epsg(int(one.code))
        if systems.is_metric(crs) and not systems.is_web_mercator(crs):
            found[f"EPSG:{one.code}"] = crs
    return list(found.items())


def _best_grid(source: CRS, middle: tuple[float, float], why_not: str) -> Chosen:
    datum = systems.geodetic_name(source)
    grids, moved_datum = grids_at(datum, middle), ""
    if not grids:
        grids, moved_datum = grids_at("WGS 84", middle), f"; {datum} has no grid in metres here"
    errors = {code: systems.scale_error(crs, middle) for code, crs in grids if not _is_variant(crs)}
    zones = [code for code, crs in grids if code in errors and _is_utm(crs)]
    ranked = sorted(errors, key=lambda code: (errors[code] > MAX_SCALE_ERROR, code not in zones, errors[code], code))
    if not ranked or errors[ranked[0]] > _UTM_EDGE:
        raise CrsError(
            f"no grid in metres is known for {datum} at longitude {middle[0]:.2f}, latitude {middle[1]:.2f}",
            remedy="Make the site with a grid of your own: gravegis new SITE --crs EPSG:... .",
        )
    best = ranked[0]
    assumed: tuple[str, ...] = ()
    if errors[best] > MAX_SCALE_ERROR:
        assumed = (_off_words(best, errors[best]),)
    return Chosen(best, f"the grid of {datum if not moved_datum else 'WGS 84'} here{moved_datum}{why_not}", assumed)


def _is_utm(crs: CRS) -> bool:
    return "UTM zone" in crs.name or "MGA zone" in crs.name


def _is_variant(crs: CRS) -> bool:
    """Whether a grid is another with its axes turned or the zone in front of the easting."""
    return any(mark in crs.name for mark in ("(N-E)", "(N-zE)", "(zE-N)"))


def check_scale(site_crs: str, lonlat: Floats) -> str:
    """Return what is assumed where a typed grid stretches lengths at the places of the first layer.

    Raises CrsError above the limit, with the grid to use instead.
    """
    crs, middle = CRS.from_user_input(site_crs), systems.middle_deg(lonlat)
    error = systems.scale_error(crs, middle)
    if error <= MAX_SCALE_ERROR:
        return ""
    if error <= _UTM_EDGE:
        return _off_words(site_crs, error)
    better, home = _best_grid(crs, middle, ""), systems.area_of_use(crs)
    lacking = next((name for name, place in turned(middle) if home is not None and within(place, home)), "")
    sign = f"Does the {lacking} lack its minus (west and south are negative)? Else make" if lacking else "Make"
    raise CrsError(
        f"lengths on {site_crs}, the grid of the site, are off by {_share(error)} where the layer lies",
        remedy=f"{sign} the site anew: gravegis new SITE --crs {better.code}; or name the right --crs of the file.",
    )


def _off_words(code: str, error: float) -> str:
    return f"lengths on {code} are off by {_share(error)} here ({error * 15_000:.0f} mm on 15 m)"


def to_site_crs(frame: Frame, source: CRS, site_crs: str) -> Moved:
    """Return the layer on the grid of the site, x east and y north, by the best transformation known here.

    Raises CrsError where no transformation is known or a place cannot be on the grid.
    """
    target = CRS.from_user_input(site_crs)
    geometry = np.asarray(frame["geometry"].array)
    if systems.same(source, target):
        return Moved(_placed(frame, geometry, site_crs), f"as it is, in {site_crs}", 0.0)
    xy = shapely.get_coordinates(geometry)
    if len(xy) == 0:
        return Moved(_placed(frame, geometry, site_crs), "no places", 0.0)
    best, lacking = _transformer(source, target, xy)

    def move(points: Floats) -> Floats:
        try:
            return np.column_stack(best.transform(points[:, 0], points[:, 1], errcheck=True))
        except ProjError as error:
            raise CrsError(
                f"some places of {systems.label(source)} do not exist on {site_crs} ({error})",
                remedy="Look for positions with a wrong digit, or name the right system with --crs.",
            ) from None

    moved = shapely.transform(geometry, move)
    accuracy_m = best.accuracy if best.accuracy is not None and best.accuracy >= 0 else float("nan")
    return Moved(_placed(frame, moved, site_crs), _words(source, site_crs, accuracy_m, lacking=lacking), accuracy_m)


def _placed(frame: Frame, geometry: npt.NDArray[np.object_], site_crs: str) -> Frame:
    plain = frame.drop(columns="geometry")
    return gpd.GeoDataFrame(plain, geometry=gpd.GeoSeries(geometry, index=frame.index, crs=site_crs), crs=site_crs)


def _transformer(source: CRS, target: CRS, xy: Floats) -> tuple[Transformer, bool]:
    """Return the best transformation at hand for these places, and whether a better one lacks its grid file."""
    lonlat = systems.lonlat_deg(source, xy)
    lonlat = lonlat[np.isfinite(lonlat).all(axis=1)]
    lonlat = lonlat[(np.abs(lonlat[:, 0]) <= 180) & (np.abs(lonlat[:, 1]) <= 90)]
    lon, lat = systems.middle_deg(lonlat) if len(lonlat) else (0.0, 0.0)
    area = AreaOfInterest(max(lon - 0.2, -180), max(lat - 0.2, -90), min(lon + 0.2, 180), min(lat + 0.2, 90))
    with warnings.catch_warnings():
        # a better transformation without its grid file is said in our own words
        warnings.simplefilter("ignore", UserWarning)
        group = TransformerGroup(
            source, target, always_xy=True, area_of_interest=cast("Any", area), allow_ballpark=False
        )
    if not group.transformers:
        raise CrsError(
            f"no transformation from {systems.label(source)} to {systems.label(target)} is known",
            remedy="Export the file in the reference system of the site.",
        )
    return group.transformers[0], not group.best_available


def _words(source: CRS, site_crs: str, accuracy_m: float, *, lacking: bool) -> str:
    way = f"moved from {systems.label(source)} to {site_crs}"
    if np.isnan(accuracy_m):
        return f"{way}, accuracy not stated"
    if accuracy_m == 0:
        return f"{way}, exact but for rounding"
    better = "; a better way needs a grid file that is not installed" if lacking else ""
    return (
        f"{way}, accuracy {accuracy_m:g} m as published: the whole layer may be shifted by that much against "
        f"layers of another datum{better}"
    )


def check_width(lonlat: Floats, ids: npt.NDArray[np.object_], others: Floats | None = None) -> None:
    """Raise CrsError where places lie too far apart for one site, naming the rows far from the rest.

    Parameters
    ----------
    lonlat
        Places of the new layer; several may belong to one row. [deg]
    ids
        Name of the row of each place.
    others
        Places of the layers the site has. [deg]
    """
    nowhere = ~np.isfinite(lonlat).all(axis=1)
    if nowhere.any():
        named = ", ".join(dict.fromkeys(str(one) for one in ids[nowhere][:_SHOWN]))
        raise CrsError(
            f"{int(nowhere.sum())} places are nowhere on the earth in this reference system: {named}",
            remedy="Correct wrong positions, or the --crs.",
        )
    every = lonlat if others is None else np.vstack([lonlat, others])
    middle = systems.middle_deg(lonlat if others is None else others)
    every_m = systems.span_m(every, middle)
    width_m = float(np.ptp(every_m, axis=0).max())
    if width_m <= MAX_WIDTH_M:
        return
    rows_m = np.hypot(*systems.span_m(lonlat, middle).T)
    far = [row for row in np.argsort(-rows_m) if rows_m[row] > _OUTLIER_M]
    first = {ids[row]: rows_m[row] for row in reversed(far)}
    farthest = sorted(first.items(), key=lambda item: -item[1])[:_SHOWN]
    shown = ", ".join(f"{name} ({away_m / 1000:.1f} km)" for name, away_m in farthest)
    named = f"; farthest from the middle: {shown}" if shown else ""
    against = "" if others is None else " with the layers it has"
    lacking = lacks_sign(lonlat[far], middle, _OUTLIER_M) if far else ""
    sign = f"With the other sign in front of their {lacking} these rows lie among the others: a minus is missing "
    sign += "there or in the others (west and south are negative). "
    raise CrsError(
        f"the site would be {width_m / 1000:,.1f} km wide{against}, more than {MAX_WIDTH_M / 1000:.0f} km{named}",
        remedy=f"{sign * bool(lacking)}Correct wrong positions (or the --crs); "
        "split grounds that lie apart into several sites.",
    )
