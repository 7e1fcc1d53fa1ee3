"""A datum or reference system that a table names in a column of its own."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gravegis.errors import CrsError, Problem
from gravegis.layers import crs as systems
from gravegis.layers.read.coordinates import plain_name
from gravegis.layers.read.missing import is_missing
from gravegis.layers.read.raw import many, shown

if TYPE_CHECKING:
    from pyproj import CRS

    from gravegis.layers.canonical import Frame
    from gravegis.layers.road import Road

__all__ = ["by_column"]

_NAMES = (
    "datum", "geodeticdatum", "horizontaldatum", "crs", "crscode", "srs", "epsg", "epsgcode", "srid",
    "coordinatesystem", "coordsystem", "coordinatereferencesystem", "spatialreference",
)  # fmt: skip


def by_column(frame: Frame, typed: str | None, road: Road) -> tuple[CRS, str] | None:
    """Return the reference system that a column names, and why in words; None where none does or it was typed.

    Several in one table, and one other than WGS 84 that nobody confirmed, are problems: numbers read in the wrong
    datum lie tens to hundreds of metres off and look right.
    """
    for name in frame.columns:
        if plain_name(str(name)) in _NAMES:
            written = frame[name].dropna().astype("str").str.strip()
            counts = written[~written.map(lambda one: is_missing(one, "text"))].value_counts()
            if len(counts):
                return _judged(str(name), {str(one): int(count) for one, count in counts.items()}, typed, road)
    return None


def _judged(name: str, counts: dict[str, int], typed: str | None, road: Road) -> tuple[CRS, str] | None:
    known = {word: _known(word) for word in counts}
    different = {systems.label(crs) if crs is not None else word for word, crs in known.items()}
    where, word = f"column '{name}'", next(iter(counts))
    if len(different) > 1:
        told = shown(f"{one} ({many(count, 'row')})" for one, count in counts.items())
        remedy = "Split the file by it, and bring each part in with its own --crs, the later ones with --more."
        road.add([Problem(f"it names several reference systems: {told}", where, remedy)], of_crs=True)
        return None
    crs = known[word]
    if crs is None:
        road.warnings.append(f"{where} says '{word[:40]}', which is no reference system known here")
        return None
    if typed is not None:
        if systems.geodetic_name(systems.named(typed)) != systems.geodetic_name(crs):
            road.warnings.append(f"{where} says {word}, --crs says {typed}: read as typed")
        return None
    if systems.label(crs) == systems.DEGREES:
        return crs, f"{where} says {word}"
    road.add([_asked(where, word, crs)], of_crs=True)
    return None


def _known(word: str) -> CRS | None:
    try:
        return systems.named(f"EPSG:{word}" if word.isdigit() else word)
    except CrsError:
        return None


def _asked(where: str, word: str, crs: CRS) -> Problem:
    code = systems.label(crs)
    remedy = f"If that is so: --crs {code} ({crs.name})."
    if crs.is_geographic:
        remedy += " Eastings and northings need the grid instead: --crs EPSG:... of a grid of that datum."
    return Problem(f"it says {word}, which is not what is taken without a word (WGS 84)", where, remedy)
