"""Which reference system the numbers of a file lie in: what fits, what cannot be, what a person should type."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pyproj
from pyproj.aoi import AreaOfInterest
from pyproj.database import query_crs_info
from pyproj.enums import PJType
from pyproj.exceptions import ProjError

from gravegis.errors import CrsError
from gravegis.layers import crs as systems

if TYPE_CHECKING:
    import numpy.typing as npt
    from pyproj import CRS

    from gravegis.layers.place import Floats
    from gravegis.layers.read.raw import Raw

__all__ = ["Candidate", "Near", "Source", "doubt", "propose_crs", "source_crs"]

_NEAR_M = 1_000.0  # a table without a reference system that lies this near other layers is on their grid
_FAR_M = 30_000.0  # the widest a site may be
_WORSE_M = 5_000.0  # what lies so much farther off than the best is no answer: own choice
_MARGIN_DEG = 3.0  # grids are used half a zone beyond their edge; common practice, no source
_MOST = 5
_UTM_EAST = (100_000.0, 900_000.0)
_UTM_NORTH = (0.0, 10_000_000.0)


@dataclass(frozen=True, slots=True)
class Near:
    """What the site knows of its place: its grid, and west, south, east, north of its layers (None: no layers)."""

    crs: CRS
    bounds: tuple[float, float, float, float] | None

    def corners_deg(self) -> Floats:
        """Return the two corners of the layers in degrees, shape ``(2, 2)``; no rows without layers."""
        if self.bounds is None:
            return np.empty((0, 2))
        return systems.lonlat_deg(self.crs, np.array(self.bounds).reshape(2, 2))


@dataclass(frozen=True, slots=True)
class Candidate:
    """A reference system that fits the numbers, why, and the option to type."""

    code: str
    reason: str
    option: str

    def __str__(self) -> str:
        return f"{self.option}  ({self.reason})"


@dataclass(frozen=True, slots=True)
class Source:
    """The reference system the numbers are taken to lie in, how that is known, and what is assumed."""

    crs: CRS
    basis: str
    assumed: tuple[str, ...] = ()


def source_crs(raw: Raw, xy: Floats, *, typed: str | None, near: Near | None, turned: bool = False) -> Source:
    """Return the reference system of a file.

    What the file states wins, and a typed one that says otherwise is an error; where the file says nothing or
    nothing usable, the typed one is taken; a table that lies among the layers of the site is taken to lie on its
    grid. `turned` tells that the two coordinates were swapped already, as asked. Raises CrsError with what fits
    the numbers in every other case.
    """
    asked = systems.named(typed) if typed else None
    if raw.crs is not None and raw.stated:
        if asked is not None and not systems.same(asked, raw.crs):
            raise CrsError(
                f"the file says {systems.label(raw.crs)}, --crs says {typed}",
                remedy="Leave --crs out; if the file is wrong, export it again with the right reference system.",
            )
        return Source(raw.crs, raw.crs_basis)
    if asked is not None:
        said = f"; {raw.trouble}" if raw.trouble else ""
        return Source(asked, "typed", (f"the file is read as {systems.label(asked)}, as typed{said}",))
    if raw.trouble:
        raise CrsError(
            f"the reference system of the file cannot be used: {raw.trouble}", remedy=_typing(xy, near, turned=turned)
        )
    if raw.crs is not None:
        return Source(raw.crs, raw.crs_basis, (raw.crs_basis,))
    if raw.is_table and near is not None and _fits_site(xy, near):
        among = "among its layers" if near.bounds is not None else "where that grid is used"
        words = f"the table names no reference system: read as {systems.label(near.crs)}, the grid of the site; {among}"
        return Source(near.crs, "grid of the site", (words,))
    raise CrsError(
        f"the file does not say which reference system its coordinates lie in ({_numbers(xy)})",
        remedy=_typing(xy, near, turned=turned),
    )


def _fits_site(xy: Floats, near: Near) -> bool:
    if near.bounds is None:
        return doubt(near.crs, xy, None) is None
    west, south, east, north = near.bounds
    low, high = np.array([west, south]) - _NEAR_M, np.array([east, north]) + _NEAR_M
    return bool(((np.median(xy, axis=0) >= low) & (np.median(xy, axis=0) <= high)).all())


def _typing(xy: Floats, near: Near | None, *, turned: bool) -> str:
    found = propose_crs(xy, near, turned=turned)
    if not found:
        return f"Name it with --crs EPSG:... (who made the file knows it). {_OWN_GRID}"
    listed = "".join(f"\n      {one}" for one in found)
    return f"Name it; these fit the numbers:{listed}\n      {_OWN_GRID}"


_OWN_GRID = "A grid of its own (a plat, a dig) is laid by points known in both: --control FILE."


def _numbers(xy: Floats) -> str:
    if len(xy) == 0:
        return "no coordinates"
    (x0, y0), (x1, y1) = xy.min(axis=0), xy.max(axis=0)
    return f"x {x0:.10g} to {x1:.10g}, y {y0:.10g} to {y1:.10g}"


def propose_crs(xy: Floats, near: Near | None = None, *, turned: bool = False) -> list[Candidate]:
    """Return the reference systems that fit coordinates, best first, each with its reason.

    Parameters
    ----------
    xy
        Coordinates, shape ``(n, 2)``.
    near
        The place of the site, where it has one.
    turned
        The coordinates were swapped already, as asked: options are written for the file as it is.
    """
    if len(xy) == 0:
        return []
    as_file = xy[:, ::-1] if turned else xy
    by_site = _among_layers(as_file, near) if near is not None and near.bounds is not None else []
    return (by_site or _by_numbers(as_file, near))[:_MOST]


def _among_layers(xy: Floats, near: Near) -> list[Candidate]:
    """Return the systems that put the numbers near the layers of the site.

    The nearest first, its own grid before all that lie as near as a site is; what is much farther off is left out.
    """
    middle = systems.middle_deg(near.corners_deg())
    datum = systems.geodetic_name(near.crs)
    used = sorted(_used_at(middle), key=lambda crs: systems.geodetic_name(crs) != datum)
    found: dict[str, tuple[float, Candidate]] = {}
    for crs in (near.crs, systems.named(systems.DEGREES), systems.named(systems.WEB_MERCATOR), *used):
        for swap, words in ((False, ""), (True, "--swap-xy ")):
            away_m = _away_m(crs, xy[:, ::-1] if swap else xy, middle)
            code = systems.label(crs)
            if away_m <= _FAR_M:
                reason = f"{away_m:,.0f} m from the middle of the site's layers; {crs.name}"
                found.setdefault(f"{words}{code}", (away_m, Candidate(code, reason, f"{words}--crs {code}")))
    best_m = min((away_m for away_m, _ in found.values()), default=0.0)
    kept = [one for one in found.values() if one[0] <= best_m + _WORSE_M]
    # within a site's width the order above counts: own grid, degrees, its datum
    return [one for _, one in sorted(kept, key=lambda one: max(one[0], _NEAR_M))]


def _used_at(middle: tuple[float, float]) -> list[CRS]:
    lon = (middle[0] + 180) % 360 - 180
    area = AreaOfInterest(lon, middle[1], lon, middle[1])
    codes = sorted({int(one.code) for one in query_crs_info("EPSG", PJType.PROJECTED_CRS, area)})
    return [pyproj.CRS.from_epsg(code) for code in codes]


def _away_m(crs: CRS, xy: Floats, middle: tuple[float, float]) -> float:
    """Return metres from a place to the middle of the numbers read in a system; infinite where that is nowhere."""
    try:
        place = systems.lonlat_deg(crs, np.median(xy, axis=0)[None, :])
    except ProjError:
        return float("inf")
    if not np.isfinite(place).all() or abs(place[0, 1]) > 90 or abs(place[0, 0]) > 180:
        return float("inf")
    return float(np.hypot(*systems.span_m(place, middle)[0]))


def _by_numbers(xy: Floats, near: Near | None) -> list[Candidate]:
    if _is_degrees(xy) and _is_one_site(xy):
        words = "looks like longitude and latitude in degrees, WGS 84"
        found = [Candidate(systems.DEGREES, words, f"--crs {systems.DEGREES}")]
        both = Candidate(systems.DEGREES, "latitude first would fit too", f"--swap-xy --crs {systems.DEGREES}")
        return [*found, both] if _is_degrees(xy[:, ::-1]) else found
    if _is_degrees(xy[:, ::-1]) and _is_one_site(xy[:, ::-1]):
        words = "looks like degrees with latitude first"
        return [Candidate(systems.DEGREES, words, f"--swap-xy --crs {systems.DEGREES}")]
    found = []
    if near is not None and near.bounds is None and doubt(near.crs, xy, None) is None:
        code = systems.label(near.crs)
        found.append(Candidate(code, "the grid of the site", f"--crs {code}"))
    return [*found, *_utm(xy), *_web_mercator(xy)]


def _web_mercator(xy: Floats) -> list[Candidate]:
    """Return the grid of web maps with the place it would put the numbers, which whoever knows the ground can judge."""
    crs = systems.named(systems.WEB_MERCATOR)
    lon, lat = systems.lonlat_deg(crs, np.median(xy, axis=0)[None, :])[0]
    if not (np.isfinite([lon, lat]).all() and abs(lon) <= 180 and abs(lat) <= 85 and np.abs(xy).max() > _UTM_EAST[0]):
        return []
    words = f"the grid of web maps; then it lies at longitude {lon:.2f}, latitude {lat:.2f}"
    return [Candidate(systems.WEB_MERCATOR, words, f"--crs {systems.WEB_MERCATOR}")]


def _utm(xy: Floats) -> list[Candidate]:
    """Return the two forms of UTM that fit: the zone cannot be told from the numbers."""
    (x0, y0), (x1, y1) = xy.min(axis=0), xy.max(axis=0)
    if not (_UTM_EAST[0] <= x0 and x1 <= _UTM_EAST[1] and _UTM_NORTH[0] <= y0 and y1 <= _UTM_NORTH[1]):
        return []
    middle = np.array([[500_000.0, float(np.median(xy[:, 1]))]])
    found = []
    for first, word in ((32600, "north"), (32700, "south")):
        lat = systems.lonlat_deg(pyproj.CRS.from_epsg(first + 31), middle)[0, 1]
        words = f"looks like UTM in metres, about {abs(lat):.1f} degrees {word}; ZZ is the zone, 01 to 60"
        if np.isfinite(lat) and abs(lat) <= 84:
            found.append(Candidate(f"EPSG:{first // 100}ZZ", words, f"--crs EPSG:{first // 100}ZZ"))
    return found


def _is_one_site(lonlat: Floats) -> bool:
    """Whether degrees lie near each other; metres of somebody's own grid, read as degrees, lie continents apart."""
    return bool(np.ptp(systems.span_m(lonlat, systems.middle_deg(lonlat)), axis=0).max() <= _FAR_M)


def _is_degrees(xy: Floats) -> bool:
    return bool((np.abs(xy[:, 0]) <= 180).all() and (np.abs(xy[:, 1]) <= 90).all())


def doubt(crs: CRS, xy: Floats, near: Near | None, *, turned: bool = False) -> CrsError | None:
    """Return what is wrong where numbers cannot lie in a reference system: swapped, degrees for metres, elsewhere."""
    if len(xy) == 0:
        return None
    if (wrong := _wrong_unit(crs, xy, near, turned=turned)) is not None:
        return wrong
    as_is = _beyond(crs, xy, near)
    if not as_is:
        return None
    if not _beyond(crs, xy[:, ::-1], near):
        return _swapped(crs, xy, as_is, turned=turned)
    if near is not None and near.bounds is not None:
        return None  # far away is judged with the width of the site, which names the rows
    return CrsError(f"{as_is} ({_numbers(xy)})", remedy=_typing(xy, near, turned=turned))


def _wrong_unit(crs: CRS, xy: Floats, near: Near | None, *, turned: bool) -> CrsError | None:
    """Return what is wrong where degrees stand for metres or metres for degrees."""
    is_degrees, is_turned = _is_degrees(xy), _is_degrees(xy[:, ::-1])
    if crs.is_geographic and not is_degrees:
        if is_turned:
            return _swapped(crs, xy, "the first coordinate is a latitude", turned=turned)
        words = f"{systems.label(crs)} means degrees, but the numbers are not ({_numbers(xy)})"
        return CrsError(words, remedy=_typing(xy, near, turned=turned))
    if crs.is_projected and (is_degrees or is_turned) and not _around(near, xy):
        unit = crs.axis_info[0].unit_name
        words = f"{systems.label(crs)} means {unit}, but the numbers look like degrees ({_numbers(xy)})"
        return CrsError(words, remedy=_typing(xy, near, turned=turned))
    return None


def _around(near: Near | None, xy: Floats) -> bool:
    """Whether numbers lie within the layers of the site as they are: a grid may begin at the site itself."""
    if near is None or near.bounds is None:
        return False
    west, south, east, north = near.bounds
    return bool(((xy >= [west, south]) & (xy <= [east, north])).all())


def _swapped(crs: CRS, xy: Floats, why: str, *, turned: bool) -> CrsError:
    return CrsError(
        f"x and y look swapped: {why}; the other way round they fit {systems.label(crs)} ({_numbers(xy)})",
        remedy="Leave --swap-xy out." if turned else "Add --swap-xy, or correct the file.",
    )


def _beyond(crs: CRS, xy: Floats, near: Near | None) -> str:
    """Return words where the middle of the numbers lies outside the area of use, or far from the site's layers."""
    middle = np.median(xy, axis=0)[None, :]
    if crs.is_geographic and not _is_degrees(middle):
        return "it is no place in degrees"
    place = systems.lonlat_deg(crs, middle)
    if not np.isfinite(place).all():
        return f"the numbers are no place in {systems.label(crs)}"
    if near is not None and near.bounds is not None:
        away_m = np.hypot(*systems.span_m(place, systems.middle_deg(near.corners_deg()))[0])
        return f"it lies {away_m / 1000:,.0f} km from the layers of the site" if away_m > _FAR_M else ""
    area = systems.area_of_use(crs)
    if area is not None and not _inside(place[0], area):
        return f"the numbers lie where {systems.label(crs)} is not used"
    return ""


def _inside(place: npt.NDArray[np.float64], area: tuple[float, float, float, float]) -> bool:
    west, south, east, north = area
    width = (east - west) % 360 if (east - west) % 360 else 360.0
    lon = (place[0] - west + _MARGIN_DEG) % 360
    return bool(
        (lon <= width + 2 * _MARGIN_DEG or width >= 360 - 2 * _MARGIN_DEG)
        and south - _MARGIN_DEG <= place[1] <= north + _MARGIN_DEG
    )
