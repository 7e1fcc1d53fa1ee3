"""How the rows of a file get their places: coordinates in columns, tapes, a local grid, a unit of its own."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import shapely
from pyproj import CRS

from gravegis.errors import LayerError, Problem
from gravegis.layers import crs as systems
from gravegis.layers.landmarks import known_places
from gravegis.layers.local_grid import lay_grid
from gravegis.layers.named_datum import by_column
from gravegis.layers.read import coordinates as positions
from gravegis.layers.read.raw import shown
from gravegis.layers.taped import find_tapes, place_rows, with_places
from gravegis.layers.two_pairs import compared

if TYPE_CHECKING:
    from gravegis.layers.canonical import Frame
    from gravegis.layers.geometry import Mended
    from gravegis.layers.holder import Holder
    from gravegis.layers.mapping import Mapped
    from gravegis.layers.place import Floats
    from gravegis.layers.propose import Source
    from gravegis.layers.read import Raw
    from gravegis.layers.road import Road
    from gravegis.layers.said import Typed
    from gravegis.layers.taped import Tapes

__all__ = ["from_columns", "in_unit", "named_again", "on_control"]

_SAME_UNIT, _SAME_FOOT = 1e-9, 1e-5


def named_again(raw: Raw, typed: Typed, road: Road) -> Raw:
    """Return the rows with the long names of a mapping file in place of cut ones."""
    here = {str(name) for name in raw.frame.columns}
    names = {short: long for short, long in typed.names.items() if short in here and short != "geometry"}
    if not names:
        return raw
    made = [names.get(str(name), str(name)) for name in raw.frame.columns]
    if len({name.lower() for name in made}) != len(made):
        twice = sorted({name for name in made if made.count(name) > 1})
        road.add(
            [Problem(f"several columns would be called {shown(twice)}", "names of the mapping file", "Correct it.")]
        )
        return raw
    said = f"long names from the mapping file: {shown(f'{short} is {long}' for short, long in names.items())}"
    return replace(raw, frame=raw.frame.set_axis(made, axis="columns"), notes=(*raw.notes, said))


def from_columns(site: Holder, mapped: Mapped, raw: Raw, typed: Typed, road: Road) -> tuple[Frame, Raw]:
    """Return the rows with the places that stand in their columns, and the reference system those imply."""
    frame = mapped.frame
    names = [str(name) for name in frame.columns]
    try:
        text = positions.find_wkt(frame, mapped.place)
        pair = None if text is not None else positions.find_pair(names, mapped.place)
    except LayerError as error:
        apart = "".join(f"\n      {words}" for words in compared(frame))
        road.add([Problem(one.problem, one.where, f"{one.remedy}{apart}") for one in error.problems])
        return frame, raw
    road.warnings.extend(compared(raw.frame))
    if text is None and pair is None:
        if (tapes := find_tapes(names)) is not None:
            return _from_tapes(site, frame, tapes, raw, road)
        if "none" not in road.layer.geometry:
            road.add([_no_place([str(name) for name in raw.frame.columns], road)])
        return frame, raw
    if text is not None:
        found, used = positions.outlines(frame[text], text), [text]
    elif pair is not None:
        found, used = positions.points(frame, pair, raw.decimal), [*pair.columns(names)]
    road.notes.extend(found.notes)
    road.add(found.problems)
    made = gpd.GeoDataFrame(frame.drop(columns=used), geometry=gpd.GeoSeries(found.geometry, index=frame.index))
    return made, _in_system(raw, typed, road, in_degrees=found.in_degrees)


def _in_system(raw: Raw, typed: Typed, road: Road, *, in_degrees: bool) -> Raw:
    """Return the file with the reference system that a column of it names, or that plain degrees are taken to be."""
    if typed.control is not None:
        return raw
    named = by_column(raw.frame, typed.crs, road)
    if named is not None and in_degrees:
        return replace(raw, crs=named[0], crs_basis=named[1], stated=True)
    if named is not None:
        road.warnings.append(f"{named[1]}, but the coordinates are counted in metres or feet of a grid")
    if not in_degrees:
        return raw
    words = "columns of longitude and latitude are read as WGS 84; another datum may shift them by a metre or more"
    return replace(raw, crs=CRS.from_user_input(systems.DEGREES), crs_basis=words)


def _no_place(names: list[str], road: Road) -> Problem:
    return Problem(
        "the table has no columns of coordinates that are known here", road.layer.name,
        f"Name them: --column x=... --column y=...; the file has: {', '.join(names)}.",
    )  # fmt: skip


def _from_tapes(site: Holder, frame: Frame, tapes: Tapes, raw: Raw, road: Road) -> tuple[Frame, Raw]:
    if not site.info.crs:
        problem = "taped distances need things the site knows the place of"
        road.add([Problem(problem, road.layer.name, "Bring in first what they were taped from.")])
        return frame, raw
    key = road.layer.key[0]
    ids = frame[key].astype("str").tolist() if key in frame.columns else [f"row {n + 1}" for n in range(len(frame))]
    placed = place_rows(frame, tapes, known_places(site, without=road.layer.name), ids, raw.decimal)
    road.notes.extend(placed.notes)
    road.add(placed.problems)
    crs = CRS.from_user_input(site.info.crs)
    made = with_places(frame, tapes, placed, road.layer)
    return made, replace(raw, crs=crs, crs_basis="taped from things of the site", stated=True)


def on_control(done: Mended, raw: Raw, typed: Typed, site_crs: str, road: Road) -> Raw:
    """Lay a file in a local grid on the ground by its control points; raises LayerError where that cannot be."""
    if typed.control is None:
        return raw
    if raw.crs is not None and raw.stated:
        raise LayerError(
            f"the file says that it lies in {systems.label(raw.crs)}, so it is no local grid", where="--control",
            remedy="Leave --control out.",
        )  # fmt: skip
    laid = lay_grid(typed.control, typed.crs, site_crs)
    _change(done, laid.fit.carry)
    road.assumed.extend(laid.words)
    return replace(raw, crs=laid.crs, crs_basis=laid.words[0], stated=True, trouble="")


def _change(done: Mended, move: Any) -> None:  # noqa: ANN401 - a function of coordinates
    moved = shapely.transform(np.asarray(done.frame["geometry"].array), move)
    plain = done.frame.drop(columns="geometry")
    done.frame = gpd.GeoDataFrame(plain, geometry=gpd.GeoSeries(moved, index=plain.index))


def in_unit(done: Mended, xy: Floats, raw: Raw, typed: Typed, source: Source | None, road: Road) -> Floats:
    """Return the coordinates in the unit of their reference system, and bring the layer into it.

    A unit that a drawing names and that differs from the one of the grid is asked about: the header of a drawing
    is wrong about as often as it is right.
    """
    if raw.asks_unit and typed.unit_m is None and typed.control is None:
        road.add([Problem("the drawing does not say in which unit it counts", "--unit",
                          "Ask who drew it: --unit m, --unit ft, --unit usft, --unit mm.")], of_crs=True)  # fmt: skip
    if source is None or typed.control is not None:
        return xy
    if not source.crs.is_projected:
        if typed.unit:
            problem = f"the coordinates are degrees, not counted in {typed.unit}"
            road.add([Problem(problem, "--unit", "Leave --unit out, or name the grid with --crs.")], of_crs=True)
        return xy
    grid_m = float(source.crs.axis_info[0].unit_conversion_factor)
    file_m = typed.unit_m if typed.unit_m is not None else raw.unit_m
    if file_m is None or abs(file_m / grid_m - 1) < _SAME_UNIT:
        return xy
    if typed.unit_m is None:
        if abs(file_m / grid_m - 1) < _SAME_FOOT:
            words = f"the drawing names another foot than {systems.label(source.crs)}, whose foot is taken"
            road.assumed.append(words)
            return xy
        road.add([_other_unit(file_m, grid_m, source)], of_crs=True)
        return xy
    factor = file_m / grid_m
    _change(done, lambda places: places * factor)
    road.assumed.append(f"coordinates counted in {typed.unit}, as typed, and brought into {systems.label(source.crs)}")
    return xy * factor


def _other_unit(file_m: float, grid_m: float, source: Source) -> Problem:
    unit = source.crs.axis_info[0].unit_name
    return Problem(
        f"the drawing says that its unit is {file_m:g} m, {systems.label(source.crs)} counts in {unit} ({grid_m:g} m)",
        "--unit", "Say in which unit the numbers are: --unit m, --unit ft, --unit usft, --unit mm.",
    )  # fmt: skip
