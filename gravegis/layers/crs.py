"""Coordinate reference systems: what a name or the words of a file mean, and how a map grid stretches the ground."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pyproj
from pyproj import CRS
from pyproj.exceptions import CRSError, ProjError

from gravegis.errors import CrsError

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

__all__ = [
    "DEGREES", "WEB_MERCATOR", "area_of_use", "geodetic_name", "is_metric", "is_web_mercator", "label", "lonlat_deg",
    "middle_deg", "named", "same", "same_projection", "scale_error", "span_m", "understood",
]  # fmt: skip

DEGREES = "EPSG:4326"
"""What plain longitude and latitude are taken to be; GeoJSON says so (RFC 7946)."""

WEB_MERCATOR = "EPSG:3857"
US_FOOT_M = 1200 / 3937
FOOT_M = 0.3048
_NO_DATUM = ("unknown", "not specified")
_SAME_FACTOR = 1e-9
_SAME_OFFSET_M = 1e-3  # false eastings in feet are published with 3 decimals
_STEP_M = 100.0
_PARALLELS = ("latitude of 1st standard parallel", "latitude of 2nd standard parallel")


def named(text: str) -> CRS:
    """Return the reference system a person named, such as ``EPSG:7854``; raises CrsError when nobody knows it."""
    try:
        crs = CRS.from_user_input(text.strip())
    except (CRSError, ValueError):
        raise CrsError(
            f"'{text}' is no coordinate reference system known here",
            where="--crs",
            remedy="Type its code, such as EPSG:7854. Who made the file knows it.",
        ) from None
    found, trouble = understood(crs)
    if found is None:
        raise CrsError(f"'{text}' cannot be used: {trouble}", where="--crs", remedy="Name one with a known datum.")
    return found


def understood(said: object) -> tuple[CRS | None, str]:
    """Return the plane reference system that a file states, or None and what is wrong with it in words."""
    try:
        crs = CRS.from_user_input(said)
    except (CRSError, ValueError):
        return None, f"it names '{_short(str(said))}', which nobody knows"
    crs = _flat(crs)
    if not (crs.is_projected or crs.is_geographic):
        return None, f"it names '{_short(crs.name)}', a local grid without a place on the earth"
    datum = crs.datum.name if crs.datum is not None else "unknown"
    if any(word in datum.lower() for word in _NO_DATUM) and not crs.is_bound:
        return None, f"it names '{_short(crs.name)}' with a datum nobody can name"
    trouble = _unit_clash(crs) or _no_formulas(crs)
    return (None, trouble) if trouble else (crs, "")


def _no_formulas(crs: CRS) -> str:
    """Return words for a system that only has a name here, such as a family of zones."""
    try:
        pyproj.Transformer.from_crs(crs, crs.geodetic_crs or crs, always_xy=True)
    except ProjError:
        return f"it names '{_short(crs.name)}', for which no formulas are known here"
    return ""


def _flat(crs: CRS) -> CRS:
    """Return the horizontal part: heights play no part here."""
    if crs.is_compound:
        crs = crs.sub_crs_list[0]
    if crs.is_bound and crs.source_crs is not None and crs.source_crs.to_authority() is not None:
        crs = crs.source_crs
    return crs.to_2d() if len(crs.axis_info) > 2 else crs


def _unit_clash(crs: CRS) -> str:
    """Return words where the name of the unit and its factor disagree: the same name was given both foot lengths."""
    for axis in crs.axis_info:
        name, factor = axis.unit_name.lower(), axis.unit_conversion_factor
        is_us = "us" in name.split() or "survey" in name or "foot_us" in name
        expected = US_FOOT_M if is_us else FOOT_M
        if ("foot" in name or "feet" in name) and abs(factor / expected - 1) > _SAME_FACTOR and _one_foot(factor):
            return f"its unit is called '{axis.unit_name}' but has {factor!r} m, which is the other foot"
    return ""


def _one_foot(factor: float) -> bool:
    return any(abs(factor / foot - 1) < _SAME_FACTOR for foot in (FOOT_M, US_FOOT_M))


def _short(text: str) -> str:
    line = " ".join(text.split())
    return line if len(line) <= 80 else f"{line[:77]}..."


def label(crs: CRS) -> str:
    """Return the code of a reference system, such as ``EPSG:7854``, or its name where it has no code."""
    code = crs.to_authority()
    if code is None:
        return str(crs.name)
    return ":".join(code)


def same(one: CRS, other: CRS) -> bool:
    """Whether two reference systems give the same numbers (the order of axes plays no part: x is always east)."""
    if one.equals(other, ignore_axis_order=True):
        return True
    units = [float(crs.axis_info[0].unit_conversion_factor) for crs in (one, other)]
    alike = one.is_projected == other.is_projected and abs(units[0] / units[1] - 1) < _SAME_FACTOR
    return alike and _datum(one) == _datum(other) and same_projection(one, other)


def _datum(crs: CRS) -> tuple[str, float]:
    base = crs.geodetic_crs or crs
    name = base.datum.name.lower().removesuffix(" ensemble") if base.datum is not None else ""
    return name, round(_meridian_deg(base), 9)


def same_projection(one: CRS, other: CRS) -> bool:
    """Whether two grids have the same method with the same figures, whatever unit they are counted in."""
    mine, theirs = _figures(one), _figures(other)
    return mine.keys() == theirs.keys() and all(abs(mine[k] - theirs[k]) < _tolerance(k) for k in mine)


def _figures(crs: CRS) -> dict[str, float]:
    """Return the parameters of a projection in SI units, with its method as a key; none for degrees."""
    operation = crs.coordinate_operation
    if operation is None:
        return {}
    values = {one.name.lower(): float(one.value) * float(one.unit_conversion_factor) for one in operation.params}
    if _PARALLELS[0] in values and _PARALLELS[1] in values:  # the cone is the same whichever of the two is named first
        values.update(zip(_PARALLELS, sorted(values[name] for name in _PARALLELS), strict=True))
    return {f"method {operation.method_name.lower()}": 0.0, **values}


def _tolerance(name: str) -> float:
    return _SAME_OFFSET_M if "easting" in name or "northing" in name else 1e-10


def is_metric(crs: CRS) -> bool:
    """Whether it is a map grid in metres."""
    return bool(crs.is_projected) and all(abs(axis.unit_conversion_factor - 1) < 1e-12 for axis in crs.axis_info)


def is_web_mercator(crs: CRS) -> bool:
    """Whether it is the grid of web maps, whose metres are too long by 1 / cos(latitude)."""
    operation = crs.coordinate_operation
    method = "" if operation is None else operation.method_name.lower()
    return "pseudo mercator" in method or "mercator auxiliary" in method


def geodetic_name(crs: CRS) -> str:
    """Return the name of the geographic system below a grid, such as ``GDA2020``."""
    return str((crs.geodetic_crs or crs).name)


def lonlat_deg(crs: CRS, xy: Floats) -> Floats:
    """Return longitude and latitude on the datum of the grid itself, shape ``(n, 2)``; no datum shift. [deg].

    Longitudes count from Greenwich, also for systems that count from Paris.
    """
    base = crs.geodetic_crs or crs
    step_deg = float(np.degrees(base.axis_info[0].unit_conversion_factor))
    degrees: Floats
    if crs.is_geographic:
        degrees = np.asarray(xy, dtype=np.float64) * step_deg
    else:
        try:
            transformer = pyproj.Transformer.from_crs(crs, base, always_xy=True)
        except ProjError:  # figures of a damaged or hand-made system, such as a parallel beyond the pole
            raise CrsError(
                f"the reference system '{_short(crs.name)}' has figures that no place on the earth follows from",
                remedy="Name the right one: --crs EPSG:...; or export the file again.",
            ) from None
        degrees = np.asarray(np.column_stack(transformer.transform(xy[:, 0], xy[:, 1])) * step_deg, dtype=np.float64)
    degrees[:, 0] += _meridian_deg(base)
    return degrees


def _meridian_deg(base: CRS) -> float:
    """Return how far east of Greenwich the longitudes of a system begin."""
    meridian = base.prime_meridian
    if meridian is None:
        return 0.0
    return float(np.degrees(float(meridian.longitude) * float(meridian.unit_conversion_factor)))


def middle_deg(lonlat: Floats) -> tuple[float, float]:
    """Return the middle of places on the globe, by medians; places on both sides of 180 degrees are together."""
    lon, lat = np.radians(lonlat[:, 0]), np.radians(lonlat[:, 1])
    x, y, z = (float(np.median(part)) for part in (np.cos(lat) * np.cos(lon), np.cos(lat) * np.sin(lon), np.sin(lat)))
    return float(np.degrees(np.arctan2(y, x))), float(np.degrees(np.arctan2(z, np.hypot(x, y))))


def span_m(lonlat: Floats, middle: tuple[float, float]) -> Floats:
    """Return metres east and north of a middle, shape ``(n, 2)``, good to a few parts in a thousand near it.

    On a sphere of 6 371 km, the mean radius of the earth; enough to tell how wide a site is.
    """
    east_deg = (lonlat[:, 0] - middle[0] + 180) % 360 - 180
    radius_m = 6_371_000.0
    return (
        np.column_stack([np.radians(east_deg) * np.cos(np.radians(middle[1])), np.radians(lonlat[:, 1] - middle[1])])
        * radius_m
    )


def scale_error(crs: CRS, place_deg: tuple[float, float]) -> float:
    """Return how far lengths on the grid are off at a place: the largest of both axes, as a share of the length.

    Worked out by walking 100 m north and east on the ellipsoid and measuring on the grid.
    """
    geod: Any = crs.get_geod()
    base = crs.geodetic_crs or crs
    lon, lat = place_deg
    lons, lats, _ = geod.fwd([lon, lon], [lat, lat], [0.0, 90.0], [_STEP_M, _STEP_M])
    places = np.column_stack([[lon, *lons], [lat, *lats]])
    places[:, 0] -= _meridian_deg(base)
    places /= np.degrees(base.axis_info[0].unit_conversion_factor)
    try:
        x, y = pyproj.Transformer.from_crs(base, crs, always_xy=True).transform(places[:, 0], places[:, 1])
    except ProjError:  # a family of zones has no formulas
        return float("inf")
    walked = np.hypot(np.diff(x)[0], np.diff(y)[0]), np.hypot(x[2] - x[0], y[2] - y[0])
    unit_m = crs.axis_info[0].unit_conversion_factor
    error = max(abs(one * unit_m / _STEP_M - 1) for one in walked)
    return float(error) if np.isfinite(error) else float("inf")


def area_of_use(crs: CRS) -> tuple[float, float, float, float] | None:
    """Return west, south, east, north of where a reference system is meant to be used; None where nobody says."""
    area = crs.area_of_use
    if area is None and (code := crs.to_authority()) is not None:
        area = CRS.from_authority(*code).area_of_use
    return None if area is None else (area.west, area.south, area.east, area.north)
