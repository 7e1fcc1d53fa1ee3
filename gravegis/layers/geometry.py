"""Outlines and points as a layer needs them: of the right kind, valid, and nothing lost without a word."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, cast

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from gravegis.errors import Problem
from gravegis.layers.read.raw import many, shown

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    import numpy.typing as npt

    from gravegis.layers.canonical import Frame
    from gravegis.layers.schema import Layer

    Geometries = npt.NDArray[np.object_]
    Flags = npt.NDArray[np.bool_]

__all__ = ["Mended", "mend", "set_aside_no_degrees", "sort_out"]

# By the number of the kind; what is missing has the number -1, the last here.
_FAMILY = np.array(["point", "line", "line", "polygon", "point", "line", "polygon", "", ""], dtype=object)
_COLLECTION = 7
_PLURAL = {"point": "points", "line": "lines", "polygon": "outlines"}
# Two ways of mending that give the same ground leave one answer.
_SAME_SHARE = 1e-9
_SAME_M2 = 1e-6


@dataclass(slots=True)
class Mended:
    """A layer after its geometry was looked at.

    `errors` stop the file; `warnings` tell what was set aside, mended or is doubtful, by id and reason; `notes`
    tell what changed without a loss.
    """

    frame: Frame
    errors: list[Problem] = field(default_factory=list)
    warnings: list[Problem] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


def sort_out(frame: Frame, layer: Layer) -> Mended:
    """Return the layer with places its schema allows; needs no reference system.

    Rows without a place (or with one that is not finite) are set aside and listed, except in layers that may do
    without; heights are dropped; several points in one row become rows; of mixed collections the kind that fits
    is kept and the rest listed. Geometry of a wrong kind is an error.
    """
    done = Mended(frame)
    _flatten(done)
    _set_aside_placeless(done, layer)
    _open_collections(done, layer)
    _check_kinds(done, layer)
    if not done.errors:
        _part_points(done, layer)
        _single(done)
    return done


def _geometry(done: Mended) -> Geometries:
    return np.array(done.frame["geometry"].array, dtype=object)


def _ids(done: Mended, layer: Layer, rows: Flags | None = None) -> list[str]:
    ids = done.frame[layer.key[0]].astype("str").to_numpy()
    return [str(one) for one in (ids if rows is None else ids[rows])]


def _put(done: Mended, geometry: Geometries) -> None:
    plain = done.frame.drop(columns="geometry")
    crs = getattr(done.frame, "crs", None)
    done.frame = gpd.GeoDataFrame(plain, geometry=gpd.GeoSeries(geometry, index=plain.index, crs=crs), crs=crs)


def _keep(done: Mended, rows: Flags) -> None:
    done.frame = done.frame[rows].reset_index(drop=True)


def _flatten(done: Mended) -> None:
    geometry = _geometry(done)
    high = shapely.has_z(geometry) | shapely.has_m(geometry)
    if high.any():
        _put(done, shapely.force_2d(geometry))
        done.notes.append(f"heights of {many(int(high.sum()), 'row')} are left out: distances are level")


def _set_aside_placeless(done: Mended, layer: Layer) -> None:
    geometry = _geometry(done)
    gone = shapely.is_missing(geometry) | shapely.is_empty(geometry)
    points, owner = shapely.get_coordinates(geometry, return_index=True)
    nowhere = np.zeros(len(geometry), dtype=bool)
    nowhere[owner[~np.isfinite(points).all(axis=1)]] = True
    if "none" in layer.geometry:
        geometry[gone | nowhere] = None
        _put(done, geometry)
        gone = np.zeros(len(geometry), dtype=bool)
    for rows, why in ((gone, "without a place"), (nowhere & ~gone, "with a place that is not finite")):
        if rows.any() and "none" not in layer.geometry:
            done.warnings.append(_listed(f"{many(int(rows.sum()), 'row')} {why} set aside", _ids(done, layer, rows)))
    if "none" in layer.geometry:
        return
    if len(geometry) and (gone | nowhere).all():
        done.errors.append(Problem("no row has a place", layer.name, "Add a file with positions or outlines."))
    elif (gone | nowhere).any():
        _keep(done, ~(gone | nowhere))


def set_aside_no_degrees(done: Mended, layer: Layer) -> None:
    """Set aside rows whose degrees are no place on the earth, where most rows have one; in place.

    Where most have none the reference system is wrong, not the rows: that is judged elsewhere.
    """
    bounds = np.abs(shapely.bounds(_geometry(done)).reshape(-1, 2, 2))
    wrong = np.asarray((bounds > [180.0, 90.0]).reshape(-1, 4).any(axis=1), dtype=bool)
    if wrong.any() and wrong.mean() < 0.5:
        words = f"{many(int(wrong.sum()), 'row')} set aside: latitude beyond 90 or longitude beyond 180 degrees"
        done.warnings.append(_listed(words, _ids(done, layer, wrong), "Correct the file."))
        _keep(done, ~wrong)


def _listed(words: str, ids: Iterable[str], remedy: str = "") -> Problem:
    return Problem(f"{words}: {shown(ids, 20)}", "", remedy)


def _families(geometry: Geometries) -> list[str]:
    families: list[str] = _FAMILY[shapely.get_type_id(geometry)].tolist()
    return families


def _open_collections(done: Mended, layer: Layer) -> None:
    """Keep of each mixed collection the one kind that fits the layer, and list what was left out."""
    geometry = _geometry(done)
    ids = _ids(done, layer)
    unclear, left = list[str](), list[str]()
    mixed = np.flatnonzero(shapely.get_type_id(geometry) == _COLLECTION)
    for row in mixed:
        parts = _parts(geometry[row])
        families = _families(parts)
        fitting = sorted({one for one in families if one in layer.geometry})
        if len(fitting) != 1:
            unclear.append(ids[row])
            continue
        kept = parts[[one == fitting[0] for one in families]]
        geometry[row] = _gathered(kept)
        others = [_word(one) for one in families if one != fitting[0]]
        left.extend(f"{ids[row]} ({shown(others)})" for _ in others[:1])
    if unclear:
        words = f"no single kind of {many(len(unclear), 'mixed collection')} fits {_wanted(layer)}"
        done.errors.append(_at(layer, _listed(words, unclear, "Export points, lines and outlines in separate layers.")))
    if left:
        done.warnings.append(
            _listed(f"only the fitting part of {many(len(left), 'mixed collection')} is kept; left out", left)
        )
    if len(mixed):
        _put(done, geometry)


def _parts(geometry: object) -> Geometries:
    """Return the single parts of a collection, also of collections within."""
    parts = shapely.get_parts(np.array([geometry], dtype=object))
    while (shapely.get_type_id(parts) >= 4).any():
        parts = shapely.get_parts(parts)
    return np.asarray(parts[~shapely.is_empty(parts)], dtype=object)


def _gathered(parts: Geometries) -> shapely.Geometry:
    if len(parts) == 1:
        return cast("shapely.Geometry", parts[0])
    make: dict[str, Callable[[Any], shapely.Geometry]] = {
        "point": shapely.multipoints, "line": shapely.multilinestrings, "polygon": shapely.multipolygons
    }  # fmt: skip
    return make[_families(parts[:1])[0]](parts)


def _word(family: str) -> str:
    return {"polygon": "outline", "": "other"}.get(family, family)


def _wanted(layer: Layer) -> str:
    return f"layer {layer.name} ({' or '.join(_PLURAL[one] for one in layer.geometry if one != 'none')})"


def _at(layer: Layer, problem: Problem) -> Problem:
    return Problem(problem.problem, layer.name, problem.remedy)


def _check_kinds(done: Mended, layer: Layer) -> None:
    geometry = _geometry(done)
    families = np.array(_families(geometry), dtype=object)
    there = ~shapely.is_missing(geometry) & (shapely.get_type_id(geometry) != _COLLECTION)
    wrong = there & ~np.isin(families, layer.geometry)
    if wrong.any():
        kinds = " and ".join(sorted({_PLURAL.get(one, "other kinds") for one in families[wrong]}))
        words = f"{many(int(wrong.sum()), 'row')} with {kinds}, which do not fit {_wanted(layer)}"
        remedy = "Is it the right layer? Otherwise draw them as what the layer needs and export again."
        done.errors.append(_at(layer, _listed(words, _ids(done, layer, wrong), remedy)))


def _part_points(done: Mended, layer: Layer) -> None:
    """Make a row of each point where one row holds several; ids get a number, the id of the file is kept."""
    geometry = _geometry(done)
    counts = shapely.get_num_geometries(geometry)
    several = (shapely.get_type_id(geometry) == 4) & (counts > 1)
    if not several.any():
        return
    key, ids = layer.key[0], _ids(done, layer)
    taken = set(ids)
    rows, named = list[int](), list[str]()
    for row, count in enumerate(counts):
        if not several[row]:
            rows.append(row)
            named.append(ids[row])
            continue
        for part in range(1, int(count) + 1):
            rows.append(row)
            named.append(_free(f"{ids[row]}-{part}", taken))
    parted = done.frame.iloc[rows].reset_index(drop=True)
    parted["id_in_file"] = parted[key]
    parted[key] = np.array(named, dtype=object)
    singles = [one for row in range(len(geometry)) for one in _singles(geometry[row], parted=bool(several[row]))]
    example = f"{ids[int(np.argmax(several))]}-1"
    words = f"{many(int(several.sum()), 'row')} with several points became one row a point, such as {example}"
    done.warnings.append(_listed(words, _ids(done, layer, several), "Give each its own row if they differ."))
    done.frame = parted
    _put(done, np.array(singles, dtype=object))


def _free(name: str, taken: set[str]) -> str:
    while name in taken:
        name = f"{name}'"
    taken.add(name)
    return name


def _singles(geometry: object, *, parted: bool) -> list[object]:
    return list(shapely.get_parts(np.array([geometry], dtype=object))) if parted else [geometry]


def _single(done: Mended) -> None:
    """Turn collections of one part into that part: the same ground, one kind."""
    geometry = _geometry(done)
    lone = (shapely.get_type_id(geometry) >= 4) & (shapely.get_num_geometries(geometry) == 1)
    if lone.any():
        geometry[lone] = shapely.get_geometry(geometry[lone], 0)
        _put(done, geometry)


def mend(frame: Frame, layer: Layer) -> Mended:
    """Return the layer with valid outlines; coordinates must be metres.

    An outline that crosses itself is mended where two ways of mending enclose the same ground (even-odd and by
    union); its spikes and loose lines go, and the change of area is told. Where the two ways differ there is more
    than one right answer, and the file is refused. Outlines that stand twice are told, not changed.
    """
    done = Mended(frame)
    geometry = _geometry(done)
    bad = np.flatnonzero(~shapely.is_valid(geometry) & ~shapely.is_missing(geometry))
    ids = _ids(done, layer)
    mended, unclear, nothing = list[str](), list[str](), np.zeros(len(geometry), dtype=bool)
    for row in bad:
        before = geometry[row]
        after = _mended(before)
        reason = shapely.is_valid_reason(before).split("[")[0].lower().strip()
        if after is None:
            unclear.append(f"{ids[row]} ({reason})")
        elif shapely.is_empty(after):
            nothing[row] = True
        else:
            mended.append(f"{ids[row]} ({reason}; area {shapely.area(before):.2f} -> {shapely.area(after):.2f} m2)")
            geometry[row] = after
    if mended:
        done.warnings.append(
            _listed(f"{many(len(mended), 'invalid outline')} mended", mended, "Look at them on the map.")
        )
    if unclear:
        words = f"{many(len(unclear), 'outline')} crossing itself in a way that has more than one answer"
        done.errors.append(_at(layer, _listed(words, unclear, "Draw them again, or make two outlines of each.")))
    if nothing.any():
        gone = _ids(done, layer, nothing)
        done.warnings.append(_listed(f"{many(len(gone), 'row')} without ground or length set aside", gone))
    if len(bad):
        _put(done, geometry)
        _keep(done, ~nothing)
    _tell_twice(done, layer)
    return done


def _mended(geometry: shapely.Geometry) -> shapely.Geometry | None:
    """Return the valid part of a geometry's own kind (empty: none), or None where there are two answers."""
    family = _families(np.array([geometry], dtype=object))[0]
    way = _only(shapely.make_valid(geometry), family)
    if family != "polygon":
        return way
    other = _only(shapely.make_valid(geometry, method="structure", keep_collapsed=False), family)
    one_m2, other_m2 = shapely.area(way), shapely.area(other)
    return way if abs(one_m2 - other_m2) <= max(_SAME_M2, _SAME_SHARE * one_m2) else None


def _only(geometry: shapely.Geometry, family: str) -> shapely.Geometry:
    parts = _parts(geometry)
    kept = parts[[one == family for one in _families(parts)]]
    return _gathered(kept) if len(kept) else shapely.Polygon()


def _tell_twice(done: Mended, layer: Layer) -> None:
    """List rows with the same outline as another row, whatever vertex it starts at; points are judged in `check`."""
    geometry = _geometry(done)
    drawn = np.flatnonzero(shapely.get_dimensions(geometry) > 0)
    # the same outline has the same box, and few others have
    drawn = drawn[pd.DataFrame(shapely.bounds(geometry[drawn])).duplicated(keep=False).to_numpy()]
    keys = shapely.to_wkb(shapely.normalize(geometry[drawn]))
    ids, first, twice = _ids(done, layer), dict[bytes, str](), list[str]()
    for row, key in zip(drawn, keys, strict=True):
        if key in first:
            twice.append(f"{ids[row]} = {first[key]}")
        else:
            first[key] = ids[row]
    if twice:
        words = f"{many(len(twice), 'row')} with the same outline as another row"
        done.warnings.append(_listed(words, twice, "Delete one of each two if it is the same thing."))
