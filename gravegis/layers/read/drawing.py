"""DXF drawings: outlines from closed and open lines, with the labels inside; blocks with their attributes."""

from __future__ import annotations

import logging
from collections import Counter
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from ezdxf import path as curves
from ezdxf.filemanagement import readfile

from gravegis.errors import LayerError
from gravegis.layers.read import line_ends
from gravegis.layers.read.damage import library_reads
from gravegis.layers.read.outlines import Gap, outlines_of
from gravegis.layers.read.raw import Raw, many, shown, tidy_names
from gravegis.layers.read.rows import no_encoding, one_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from pathlib import Path

__all__ = ["read_drawing"]

_AGAIN = "Ask for the drawing again."
_MOST_ENTITIES = 1_000_000  # common practice, no source
_MOST_FROM_BLOCKS = 100_000  # blocks in blocks make any number of lines, some 10,000 a second; own choice
_MOST_DEEP = 8
_LOST = ("ignoring content", "non-unique entity handle")  # words of the library for a drawing read in part
_STEPS = 64  # straight pieces of a full circle: 1.2 mm off at a radius of 1 m (closed form: r (1 - cos(pi / 64)))
_CURVES = ("LINE", "LWPOLYLINE", "POLYLINE", "ARC", "CIRCLE", "ELLIPSE", "SPLINE")
_TEXTS = ("TEXT", "MTEXT")
# Code of $INSUNITS: words, metres. DXF reference, header variables.
_UNITS = {
    1: ("inches", 0.0254), 2: ("feet", 0.3048), 4: ("millimetres", 0.001), 5: ("centimetres", 0.01),
    6: ("metres", 1.0), 7: ("kilometres", 1000.0), 10: ("yards", 0.9144), 14: ("decimetres", 0.1),
    21: ("US survey feet", 1200 / 3937),
}  # fmt: skip


@dataclass(slots=True)
class _Layer:
    """What one layer of a drawing holds."""

    lines: list[Any] = field(default_factory=list)
    points: list[Any] = field(default_factory=list)
    facts: list[dict[str, str]] = field(default_factory=list)


@dataclass(slots=True)
class _Drawn:
    layers: dict[str, _Layer] = field(default_factory=dict)
    texts: list[tuple[str, str, Any]] = field(default_factory=list)
    left_out: dict[str, int] = field(default_factory=dict)
    count: int = 0
    told: list[str] = field(default_factory=list)


def read_drawing(path: Path, *, layer: str | None = None, encoding: str | None = None) -> Raw:
    """Read one layer of a drawing; raises LayerError when it is cut, or holds several and none is named.

    Lines become outlines where they close, also several lines together; texts that stand in one outline become
    its columns, named after their layer. Blocks become points with their attributes as columns. The drawing says
    its unit, never its place on the earth.
    """
    no_encoding(encoding, "A drawing says its encoding itself")
    drawn, code = _drawn(path)
    tables = {}
    for name, one in drawn.layers.items():
        if one.lines:
            tables[name if not one.points else f"{name} outlines"] = (one, True)
        if one.points:
            tables[name if not one.lines else f"{name} points"] = (one, False)
    counts = [f"{name} ({len(one.lines if lines else one.points)} {'lines' if lines else 'points'})"
              for name, (one, lines) in tables.items()]  # fmt: skip
    chosen, is_lines = tables[one_of(counts, layer, where=path.name, what="layers")]
    words, unit_m = _UNITS.get(code, ("", None))
    frame, notes, said = _with_lines(chosen, drawn.texts, unit_m) if is_lines else _with_points(chosen)
    said += drawn.told
    unit = (
        f"the drawing says that it counts in {words}" if words else "the drawing does not say in which unit it counts"
    )
    if drawn.left_out:
        notes.append(f"left out of the drawing: {shown(f'{n} {kind}' for kind, n in drawn.left_out.items())}")
    names, renamed = tidy_names(frame.columns, placed=True)
    frame = gpd.GeoDataFrame(frame.set_axis(names, axis="columns"), geometry="geometry")
    count = f"{many(len(frame), 'row')}, {many(len(names) - 1, 'column')}"
    hint = next((one for one in said if " not closed" in one), "") if is_lines else ""
    return Raw(frame, notes=(count, unit, *notes, *renamed), warnings=tuple(said), unit_m=unit_m, asks_unit=not words,
               hint=hint)  # fmt: skip


def _drawn(path: Path) -> tuple[_Drawn, int]:
    _check_end(path)
    drawn = _Drawn()
    with library_reads(path, "drawing", _AGAIN), _told(path) as told:
        document = readfile(path)
        _check_blocks(document)
        _take(document.modelspace(), drawn, 0)
        code = int(document.header.get("$INSUNITS", 0))
    drawn.told = [f"the reader says: {words[:160]}" for words in dict.fromkeys(told)][:3]
    return drawn, code


@contextmanager
def _told(path: Path) -> Iterator[list[str]]:
    """Gather what the library writes into its log; where it says that it left something out, the file is refused."""
    logger, told = logging.getLogger("ezdxf"), list[str]()

    class Ear(logging.Handler):
        def emit(self, record: logging.LogRecord) -> None:
            told.append(record.getMessage())

    ear, before = Ear(logging.WARNING), logger.propagate
    logger.addHandler(ear)
    logger.propagate = False
    try:
        yield told
    finally:
        logger.removeHandler(ear)
        logger.propagate = before
    lost = [words for words in told if any(word in words.lower() for word in _LOST)]
    if lost:
        raise LayerError(f"the drawing is damaged ({shown(dict.fromkeys(lost), 2)})", where=path.name, remedy=_AGAIN)


def _check_end(path: Path) -> None:
    """Refuse a drawing that does not end with EOF: the library mends a cut one without a word."""
    with path.open("rb") as stream:
        stream.seek(max(path.stat().st_size - 100, 0))
        tail = stream.read().split()
    if not tail or tail[-1] != b"EOF":
        raise LayerError("the drawing is cut: its end is missing", where=path.name, remedy=_AGAIN)


def _check_blocks(document: Any) -> None:  # noqa: ANN401 - a drawing of the library
    """Refuse a drawing whose blocks hold more than can be drawn, before the first of them is drawn."""
    inside = {block.name.lower(): Counter(str(one.dxf.name).lower() for one in block if one.dxftype() == "INSERT")
              for block in document.blocks}  # fmt: skip
    own = {block.name.lower(): len(block) for block in document.blocks}
    parts = dict.fromkeys(own, 1)  # as deep as is looked, a block is one point
    for _ in range(_MOST_DEEP):
        parts = {name: own[name] + sum(n * parts.get(one, 0) for one, n in inside[name].items()) for name in own}
    here = Counter(str(one.dxf.name).lower() for one in document.modelspace().query("INSERT") if not one.attribs)
    made = sum(n * parts.get(name, 0) for name, n in here.items())
    if made > _MOST_FROM_BLOCKS:
        raise LayerError(
            f"its blocks stand in each other so often that they hold {made:,} parts, more than {_MOST_FROM_BLOCKS:,}",
            remedy="Ask for less of it, or for the drawing without blocks in blocks.",
        )


def _take(entities: Iterable[Any], drawn: _Drawn, depth: int) -> None:
    for entity in entities:
        drawn.count += 1
        if drawn.count > _MOST_ENTITIES:
            raise LayerError(f"the drawing has more than {_MOST_ENTITIES:,} parts", remedy="Ask for less of it.")
        kind, name = entity.dxftype(), str(entity.dxf.layer)
        if kind in _TEXTS:
            text = entity.plain_text() if kind == "MTEXT" else entity.dxf.text
            if words := " ".join(str(text).split()):
                drawn.texts.append((name, words, shapely.Point(_xy(entity.dxf.insert))))
        elif kind in _CURVES:
            drawn.layers.setdefault(name, _Layer()).lines.append(_line(entity))
        elif kind == "POINT":
            _add_point(drawn, name, entity.dxf.location, {})
        elif kind == "INSERT":
            _block(entity, drawn, depth)
        else:
            drawn.left_out[kind] = drawn.left_out.get(kind, 0) + 1


def _add_point(drawn: _Drawn, name: str, place: Any, facts: dict[str, str]) -> None:  # noqa: ANN401 - a vector
    one = drawn.layers.setdefault(name, _Layer())
    one.points.append(shapely.Point(_xy(place)))
    one.facts.append(facts)


def _block(entity: Any, drawn: _Drawn, depth: int) -> None:  # noqa: ANN401 - an entity of the library
    """Take a block with attributes, or of marks only, as a thing at a point; one of lines as part of the drawing."""
    facts = {str(one.dxf.tag): str(one.dxf.text).strip() for one in entity.attribs}
    inside = [] if facts or depth >= _MOST_DEEP else list(entity.virtual_entities())
    if any(one.dxftype() in (*_CURVES, "INSERT") for one in inside) and len(inside) > 1:
        _take(inside, drawn, depth + 1)
        return
    _add_point(drawn, str(entity.dxf.layer), entity.dxf.insert, {"block": str(entity.dxf.name), **facts})


def _line(entity: Any) -> Any:  # noqa: ANN401 - a shapely line, closed where the drawing says so
    if entity.dxftype() == "LINE":
        return shapely.LineString([_xy(entity.dxf.start), _xy(entity.dxf.end)])
    made = curves.make_path(entity)
    places = [(one.x, one.y) for one in made.flattening(_sagitta(made), segments=_STEPS // 4)]
    if any(getattr(entity, name, False) for name in ("closed", "is_closed")) or entity.dxftype() == "CIRCLE":
        places = [*places, places[0]] if places[0] != places[-1] else places
    return shapely.LineString(places) if len(places) > 1 else shapely.LineString([places[0], places[0]])


def _xy(place: Any) -> tuple[float, float]:  # noqa: ANN401 - a vector of the library
    return float(place.x), float(place.y)


def _sagitta(made: Any) -> float:  # noqa: ANN401 - a path of the library
    box = np.ptp(np.array([(one.x, one.y) for one in made.control_vertices()]), axis=0).max()
    return max(float(box), 1e-9) * float(1 - np.cos(np.pi / _STEPS)) / 2


def _with_lines(
    one: _Layer, texts: list[tuple[str, str, Any]], unit_m: float | None
) -> tuple[Any, list[str], list[str]]:
    found = outlines_of(one.lines, unit_m)
    columns, notes = _labels(found.areas, texts)
    notes.insert(0, f"{many(len(found.areas), 'outline')} from {many(found.closed_n, 'closed line')} and "
                    f"{many(len(one.lines) - found.closed_n, 'open line')}")  # fmt: skip
    if found.moved_n:
        notes.append(f"{many(found.moved_n, 'end')} of lines moved by up to {_long(found.moved_most, unit_m)} to the "
                     f"next one, so that shapes close (at most {line_ends.SAME_M * 1000:g} mm)")  # fmt: skip
    said = _nearly_closed(found.gaps, texts, unit_m)
    if len(found.rest) and len(found.areas):
        where = shown([f"({x:g}, {y:g})" for x, y in (line.coords[0] for line in found.rest)], 3)
        said.append(f"{many(len(found.rest), 'line')} close no outline and are left out, beginning at {where}")
    shapes = found.areas if len(found.areas) else found.rest
    rows = range(len(shapes))
    if not len(found.areas):
        columns, notes = {}, [f"no line closes: {many(len(shapes), 'line')} as they are"]
    data = {name: pd.Series(values, dtype="str") for name, values in columns.items()}
    return gpd.GeoDataFrame(data, geometry=gpd.GeoSeries(list(shapes), index=rows)), notes, said


def _nearly_closed(gaps: tuple[Gap, ...], texts: list[tuple[str, str, Any]], unit_m: float | None) -> list[str]:
    """Name each shape that does not close by the text in it, the width of its gap and where that is."""
    named = []
    for gap in gaps:
        inside = [words for _, words, place in texts if gap.area.contains(place)]
        name = shown(inside, 2) if inside else "one without a text in it"
        named.append(f"{name} (gap of {_long(gap.wide, unit_m)} at {gap.place[0]:.12g}, {gap.place[1]:.12g})")
    if not named:
        return []
    return [f"{many(len(named), 'shape')} not closed and left out: {shown(named)}; join the ends in the drawing"]


def _long(length: float, unit_m: float | None) -> str:
    return f"{length:.3g} units" if unit_m is None else f"{length * unit_m * 1000:.3g} mm"


def _labels(areas: list[Any], texts: list[tuple[str, str, Any]]) -> tuple[dict[str, list[str | None]], list[str]]:
    """Return columns with the texts inside each outline; several of one layer are parted by a semicolon."""
    if not areas or not texts:
        return {}, []
    names = list(dict.fromkeys(name for name, _, _ in texts))
    heads = {name: "label" if len(names) == 1 else f"label {name}" for name in names}
    columns: dict[str, list[str | None]] = {heads[name]: [None] * len(areas) for name in names}
    tree = shapely.STRtree(areas)
    outside = list[str]()
    for name, words, place in texts:
        hits = [int(hit) for hit in tree.query(place, predicate="within")]
        if not hits:
            outside.append(words)
            continue
        inner = min(hits, key=lambda hit: areas[hit].area)
        have = columns[heads[name]][inner]
        columns[heads[name]][inner] = words if have is None else f"{have}; {words}"
    notes = [f"{many(len(texts) - len(outside), 'text')} inside an outline taken as its label"]
    if outside:
        notes.append(f"{many(len(outside), 'text')} in no outline left out: {shown(outside)}")
    return {name: values for name, values in columns.items() if any(values)}, notes


def _with_points(one: _Layer) -> tuple[Any, list[str], list[str]]:
    names = list(dict.fromkeys(name for facts in one.facts for name in facts))
    data = {name: pd.Series([facts.get(name) or None for facts in one.facts], dtype="str") for name in names}
    frame = gpd.GeoDataFrame(data, geometry=gpd.GeoSeries(one.points, index=range(len(one.points))))
    return frame, [], []
