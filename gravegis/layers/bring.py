"""The one road of a file into a site: read, name its columns, place it, look at it, take it in or refuse it whole."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Generic, TypeVar, Unpack

import geopandas as gpd
import numpy as np
import shapely
from pyproj import CRS

from gravegis.errors import CrsError, GravegisError, LayerError, Problem
from gravegis.layers import (
    bearings,
    canonical,
    geometry,
    lab_sheet,
    landmarks,
    links,
    match,
    odd_values,
    place,
    propose,
    row_order,
    schema,
    signs,
    ticks,
    vocabulary,
    walks,
)  # fmt: skip
from gravegis.layers import crs as systems
from gravegis.layers.cans import LAYER as CANS
from gravegis.layers.cans import read_cans
from gravegis.layers.columns_in import Manner
from gravegis.layers.holder import Holder, bounds_m
from gravegis.layers.joining import beside
from gravegis.layers.mapping import advise, apply_mapping
from gravegis.layers.positions_in import from_columns, in_unit, named_again, on_control
from gravegis.layers.read import read_file
from gravegis.layers.read.raw import many, shown
from gravegis.layers.road import Road
from gravegis.layers.said import Options, Typed

if TYPE_CHECKING:
    from pathlib import Path

    from gravegis.layers.canonical import Frame
    from gravegis.layers.propose import Near, Source
    from gravegis.layers.read import Raw

__all__ = ["Brought", "bring_in"]

# The middle of a site is told as well by every so many corners of its outlines; common practice, no source.
_ENOUGH_CORNERS = 100_000

S = TypeVar("S", bound=Holder)


@dataclass(frozen=True, slots=True)
class Brought(Generic[S]):
    """The site with the new layer; what was found out, what is doubtful, what was taken for granted."""

    site: S
    notes: tuple[str, ...]
    warnings: tuple[str, ...]
    assumed: tuple[str, ...]


def bring_in(site: S, layer: str, path: Path, **options: Unpack[Options]) -> Brought[S]:
    """Return the site with a file brought in as a layer; the site given is never changed.

    A site without a reference system gets one from its first layer with places. A layer that is there already is
    replaced. Gaps in section, row and plot are filled by place.

    Parameters
    ----------
    layer
        Name of the layer in the schema.
    path
        A file of one of the kinds in `read.kinds`, or a folder of photos.
    options
        What a person says about the file, such as ``mapping=["throw_m=RADIUS ft"]``; `typed.Typed` explains them.

    Raises
    ------
    LayerError
        With every problem of the file at once; CrsError when only its reference system is the problem.
    """
    wanted = schema.input_layer(layer)
    road = Road(wanted, path.name)
    typed = Typed.of(options)
    try:
        read = read_cans if layer == CANS else _read
        raw = named_again(read(path, typed, road), typed, road)
        raw = walks.unfold_walk(ticks.unfold(raw, road), road)
    except LayerError as error:
        road.add(error.problems, of_crs=isinstance(error, CrsError))
        road.stop()
        raise
    _no_picture(raw, road)
    raw = lab_sheet.turned(raw, typed.mapping, road)
    road.notes.extend(raw.notes)
    road.warnings.extend(raw.warnings)
    frame, raw = _rows(site, raw, typed, road)
    if not wanted.has_geometry or "geometry" not in frame.columns:
        road.stop()
        return _taken(site, frame, road, more=typed.more)
    placed = _placed(site, frame, raw, typed, road)
    return _taken(placed[0], placed[1], road, more=typed.more)


def _read(path: Path, typed: Typed, road: Road) -> Raw:
    del road
    return read_file(path, layer=typed.file_layer, encoding=typed.encoding)


def _no_picture(raw: Raw, road: Road) -> None:
    if raw.picture and road.layer.name != "backdrops":
        road.add([Problem(f"this is a picture of the ground ({raw.picture}): a backdrop, not rows", road.layer.name,
                          "Bring it in as layer backdrops; trace stones and paths from it in a map program and "
                          "bring in what was traced.")])  # fmt: skip
        road.stop()


def _rows(site: Holder, raw: Raw, typed: Typed, road: Road) -> tuple[Frame, Raw]:
    """Return the rows in canonical form, with a column of places where there are any, and what the file says."""
    how = Manner(decimal=raw.decimal, epoch=raw.epoch, dates=typed.dates)
    mapped = apply_mapping(raw.frame, road.layer, typed.mapping, how, words=typed.words)
    road.notes.extend(mapped.notes)
    road.add(mapped.problems)
    frame, raw = mapped.frame, raw
    if not road.layer.has_geometry:
        if "geometry" in frame.columns:
            frame = frame.drop(columns="geometry")
            road.notes.append(f"layer {road.layer.name} is a table: the outlines of the file are left out")
    elif "geometry" not in frame.columns:
        frame, raw = from_columns(site, mapped, raw, typed, road)
    frame = _blank_ids(frame, road)
    try:
        frame = canonical.conform(frame, road.layer.name)
    except LayerError as error:
        names = [str(name) for name in raw.frame.columns if name != "geometry"]
        road.add([advise(one, names, road.layer) for one in error.problems])
        road.stop()
    frame, said, wrong = bearings.to_true(frame, typed, road.layer.name)
    (road.assumed if typed.bearings == "magnetic" else road.notes).extend(said)
    road.add(wrong)
    road.warnings.extend(bearings.large_declination(typed))
    road.warnings.extend((*vocabulary.unknown_words(frame, road.layer), *odd_values.odd_values(frame, road.layer)))
    return frame, raw


def _blank_ids(frame: Frame, road: Road) -> Frame:
    """Say which rows lack a name; they get one for the moment, so that the rest of the file is judged too."""
    key = road.layer.key[0]
    if key not in frame.columns:
        return frame
    named = frame[key].astype("str").str.strip()
    blank = (frame[key].isna() | (named == "")).to_numpy()
    if not blank.any():
        return frame
    rows = shown(int(row) + 1 for row in np.flatnonzero(blank))
    remedy = "Fill them in, or leave the whole column out: rows are then numbered."
    problem = f"{int(blank.sum())} of {many(len(frame), 'row')} without a {key}: row {rows}"
    road.add([Problem(problem, f"{road.layer.name}.{key}", remedy)])
    own = np.array([f"\x1f{row}" if gap else name for row, (gap, name) in enumerate(zip(blank, named, strict=True))])
    return frame.assign(**{key: own.astype(object)})


def _placed(site: S, frame: Frame, raw: Raw, typed: Typed, road: Road) -> tuple[S, Frame]:
    """Return the layer on the metric grid of the site, sorted out and mended; the site gets a grid if it had none."""
    done = geometry.sort_out(frame, road.layer)
    if typed.swap_xy:
        _swap(done)
    if typed.control is not None:
        raw = _attempt(road, lambda: on_control(done, raw, typed, site.info.crs, road))
    if raw.crs is not None and raw.crs.is_geographic and raw.stated:
        geometry.set_aside_no_degrees(done, road.layer)
    xy = shapely.get_coordinates(np.asarray(done.frame["geometry"].array))
    xy = xy[np.isfinite(xy).all(axis=1)]
    near = _near(site, road.layer.name)
    source = _source(raw, xy, typed, near, road=road)
    xy = in_unit(done, xy, raw, typed, source, road)
    _doubt(source, xy, near, typed, road)
    hint = f"{raw.hint[:1].upper()}{raw.hint[1:]}. " if raw.hint else ""
    road.add(replace(one, remedy=f"{hint}{one.remedy}") for one in done.errors)
    road.stop()
    if source is None:  # no places at all
        return site, _without_places(done.frame, site, road)
    road.assumed.extend(source.assumed)
    _check_width(done.frame, source, near, road)
    if not site.info.crs:
        site = _with_crs(site, source, xy, road)
    elif near is None or near.bounds is None:
        lonlat = systems.lonlat_deg(source.crs, xy)
        stretched = _attempt(road, lambda: place.check_scale(site.info.crs, lonlat))
        road.assumed.extend([stretched] if stretched else [])
    moved = _attempt(road, lambda: place.to_site_crs(done.frame, source.crs, site.info.crs))
    _say_moved(moved, source, road)
    mended = geometry.mend(moved.frame, road.layer)
    road.add(mended.errors)
    road.stop()
    road.notes.extend(done.notes)
    road.warnings.extend(str(one) for one in (*done.warnings, *mended.warnings))
    return site, _with_arcs(site, mended.frame, road)


def _with_arcs(site: Holder, frame: Frame, road: Road) -> Frame:
    """Return heads with the arcs that their landmarks tell, other layers as they are."""
    if road.layer.name != "heads":
        return frame
    places = landmarks.known_places(site, without="heads")
    frame, notes, problems = landmarks.arcs_by_landmarks(frame, places, site.info.crs)
    road.notes.extend(notes)
    road.add(problems)
    road.stop()
    return frame


def _swap(done: geometry.Mended) -> None:
    turned = shapely.transform(np.asarray(done.frame["geometry"].array), lambda xy: xy[:, ::-1])
    done.frame = gpd.GeoDataFrame(
        done.frame.drop(columns="geometry"), geometry=gpd.GeoSeries(turned, index=done.frame.index)
    )
    done.notes.append("x and y are swapped, as asked")


def _near(site: Holder, layer: str) -> Near | None:
    if not site.info.crs:
        return None
    return propose.Near(CRS.from_user_input(site.info.crs), bounds_m(site, without=layer))


def _source(raw: Raw, xy: place.Floats, typed: Typed, near: Near | None, *, road: Road) -> Source | None:
    """Return the reference system of the file; what is wrong with it is gathered."""
    if len(xy) == 0:
        return None
    try:
        # control points bring their own system; what was typed was theirs
        said = None if typed.control is not None else typed.crs
        return propose.source_crs(raw, xy, typed=said, near=near, turned=typed.swap_xy)
    except CrsError as error:
        road.add(error.problems, of_crs=True)
        return None


def _doubt(source: Source | None, xy: place.Floats, near: Near | None, typed: Typed, road: Road) -> None:
    """Gather what tells that the numbers cannot lie in their reference system."""
    if source is not None and (wrong := propose.doubt(source.crs, xy, near, turned=typed.swap_xy)) is not None:
        road.add(wrong.problems, of_crs=True)


def _without_places(frame: Frame, site: Holder, road: Road) -> Frame:
    if not site.info.crs and "none" not in road.layer.geometry:
        road.add([Problem("no row has a place, and the site has no reference system yet", road.layer.name,
                          "Begin with a file that has places.")])  # fmt: skip
        road.stop()
    return gpd.GeoDataFrame(frame.drop(columns="geometry"), geometry=list(frame["geometry"]), crs=site.info.crs or None)


def _check_width(frame: Frame, source: Source, near: Near | None, road: Road) -> None:
    shapes = np.asarray(frame["geometry"].array, dtype=object)
    there = ~shapely.is_missing(shapes)
    corners = shapely.bounds(shapes[there]).reshape(-1, 2)
    others = near.corners_deg() if near is not None and near.bounds is not None else None
    ids = np.repeat(frame[road.layer.key[0]].astype("str").to_numpy(dtype=object)[there], 2)
    _attempt(road, lambda: place.check_width(systems.lonlat_deg(source.crs, corners), ids, others))


def _with_crs(site: S, source: Source, xy: place.Floats, road: Road) -> S:
    xy = xy[:: max(1, len(xy) // _ENOUGH_CORNERS)]
    chosen = _attempt(road, lambda: place.choose_site_crs(source.crs, xy))
    lon, lat = systems.middle_deg(systems.lonlat_deg(source.crs, xy))
    where = f"about longitude {lon:.4f}, latitude {lat:.4f}"
    if lacking := signs.across_the_world((lon, lat), site.info.time_zone):
        road.add([Problem(f"the places lie at {where}, far from {site.info.time_zone}, the time zone of the site",
                          road.layer.name, f"The {lacking} seems to lack its minus (west and south are negative): "
                          "correct the file, or set the time zone right with gravegis set SITE --time-zone.")],
                 of_crs=True)  # fmt: skip
    road.notes.append(f"the site lies on {chosen.code} ({chosen.basis}), at {where}")
    road.assumed.extend(chosen.assumed)
    basis = "; ".join((f"{chosen.basis} ({road.file})", *source.assumed, *chosen.assumed))
    info = replace(site.info, crs=chosen.code, crs_basis=basis)
    return replace(site, info=info)


def _say_moved(moved: place.Moved, source: Source, road: Road) -> None:
    said = f"{source.basis}; " if not source.assumed else ""
    words = f"coordinates: {said}{moved.words}"
    (road.assumed if moved.accuracy_m != 0 else road.notes).append(words)


def _attempt(road: Road, step: Any) -> Any:  # noqa: ANN401 - whatever the step gives
    try:
        return step()
    except GravegisError as error:
        road.add(error.problems, of_crs=isinstance(error, CrsError))
        road.stop()
        raise


def _all_renamed(before: Frame, now: Frame, key: str) -> list[str]:
    """Return a line where no name of the rows that were there is among the new ones: what points at them is lost."""
    if before.empty or set(before[key]) & set(now[key]):
        return []
    one, other = before[key].iloc[0], now[key].iloc[0]
    words = (
        f"none of the {len(before)} names that were there ({one}, ...) is in the file ({other}, ...): what pointed at"
    )
    return [f"{words} them points nowhere now; the earlier save is kept: gravegis versions, gravegis restore"]


def _with_faults(site: S, road: Road) -> S:
    """Return the site with the faults that a zone walk noted at its heads."""
    if not road.faults or "heads" not in site:
        return site
    made = site.with_layers({"heads": walks.with_faults(site["heads"], road)})
    road.stop()
    return made


def _taken(site: S, frame: Frame, road: Road, *, more: bool) -> Brought[S]:
    """Return the site with the layer in it, gaps filled by place, and the file named among its sources."""
    road.tidy()
    name = road.layer.name
    if frame.empty and name in site and len(site[name]):
        text = f"the file has no rows; the {len(site[name])} rows that are there are kept"
        road.add([Problem(text, name, "Give a file with rows.")])
        road.stop()
    if frame.empty:
        road.warnings.append("the file has no rows")
    if more and name in site and len(site[name]):
        frame = beside(site[name], frame, road)
        road.stop()
    elif name in site:
        road.notes.append(f"layer {name} was there ({len(site[name])} rows) and is replaced")
        road.warnings.extend(_all_renamed(site[name], frame, road.layer.key[0]))
    try:
        made = _with_faults(site.with_layers({name: frame}), road)
        if name in match.FILLING:
            filled = match.fill_places({one: made[one] for one in made})
            road.notes.extend(filled.notes)
            road.warnings.extend(filled.warnings)
            made = made.with_layers(filled.layers)
        if name in row_order.COUNTING:
            counted, said = row_order.count_along_rows({one: made[one] for one in made})
            road.notes.extend(said)
            made = made if counted is None else made.with_layers({"stones": counted})
    except LayerError as error:
        road.add(error.problems, of_crs=isinstance(error, CrsError))
        road.stop()
        raise
    road.warnings.extend(one.words for one in links.broken(made) if one.has_target and name in (one.layer, one.target))
    sources, assumed = (
        tuple(one for one in before if more or not one.startswith(f"{name}: "))
        for before in (made.info.sources, made.info.assumed)
    )
    info = replace(
        made.info,
        sources=(*sources, f"{name}: {road.file}"),
        assumed=(*assumed, *(f"{name}: {one.removeprefix('coordinates: ')}" for one in road.assumed)),
    )
    return Brought(replace(made, info=info), tuple(road.notes), tuple(road.warnings), tuple(road.assumed))
