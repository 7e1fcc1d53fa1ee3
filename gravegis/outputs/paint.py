"""The matplotlib painter: each function draws one thing of the display list on given axes."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from matplotlib import transforms
from matplotlib.collections import Collection, LineCollection, PathCollection
from matplotlib.path import Path
from matplotlib.text import Text

from gravegis.outputs import symbols, typeset

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    import numpy.typing as npt
    from matplotlib.axes import Axes

    from gravegis.outputs.symbols import Symbol, Trace
    from gravegis.outputs.things import Shapes, Thing

__all__ = ["draw", "draw_areas", "draw_lines", "draw_marks", "draw_stones", "put_text"]

# Each hatch in matplotlib's letters, closer where a letter is repeated; footprints are small and need closer ones.
_HATCH_AREA = {"slant": "/" * 7, "cross": "x" * 4, "dots": "..", "level": "-" * 7}
_HATCH_STONE = {"slant": "/" * 12, "cross": "x" * 8, "dots": "....", "level": "-" * 12}
_HATCH_MM = 0.12
# A footprint thinner than this on paper is drawn this wide, or its tone could not be told.
THINNEST_MM = 0.9


def draw(ax: Axes, thing: Thing, mm_per_m: float) -> None:
    """Draw one thing; `mm_per_m` is the scale of the map."""
    _DRAW[thing.shape](ax, thing, mm_per_m)


def _points(mm: float) -> float:
    return mm / typeset.MM_PER_PT


def _style(symbol: Symbol) -> dict[str, Any]:
    """Return what matplotlib calls the line of a symbol; dashes come in line widths there."""
    if not symbol.line or not symbol.width_mm:
        return {"edgecolors": "none", "linewidths": 0.0}
    dash: Any = (0, tuple(piece / symbol.width_mm for piece in symbol.dash_mm)) if symbol.dash_mm else "solid"
    return {"edgecolors": symbol.line, "linewidths": _points(symbol.width_mm), "linestyles": [dash]}


def draw_areas(ax: Axes, shapes: Shapes, symbol: Symbol, *, hatches: Mapping[str, str] = _HATCH_AREA) -> Collection:
    """Draw polygons with their holes, filled, outlined and hatched."""
    parts = shapely.orient_polygons(shapely.get_parts(shapes))
    made = PathCollection(
        [_outline(part) for part in parts if part.geom_type == "Polygon"],
        facecolors=symbol.fill or "none",
        zorder=symbol.z,
        hatch=hatches[symbol.hatch] if symbol.hatch else None,
        **_style(symbol),
    )
    made.set_hatch_linewidth(_points(_HATCH_MM))
    ax.add_collection(made, autolim=False)
    return made


def _outline(polygon: shapely.Polygon) -> Path:
    """Return the rings of a polygon as one path; holes turn the other way and stay empty."""
    rings = [np.asarray(ring.coords)[:, :2] for ring in (polygon.exterior, *polygon.interiors)]
    codes = [_codes(len(ring)) for ring in rings]
    return Path(np.concatenate(rings), np.concatenate(codes))


def _codes(count: int) -> npt.NDArray[Any]:
    codes = np.full(count, Path.LINETO, dtype=Path.code_type)
    codes[0], codes[-1] = Path.MOVETO, Path.CLOSEPOLY
    return codes


def draw_lines(ax: Axes, shapes: Shapes, symbol: Symbol, *, shift_mm: float = 0.0) -> Collection:
    """Draw lines, moved to the lower right by `shift_mm` on paper."""
    parts = shapely.get_parts(shapes)
    rows = [np.asarray(part.coords)[:, :2] for part in parts if part.geom_type in ("LineString", "LinearRing")]
    style = _style(symbol)
    made = LineCollection(rows, colors=style.pop("edgecolors"), zorder=symbol.z, capstyle="butt", **style)
    inches = shift_mm / 25.4
    scale = ax.get_figure().dpi_scale_trans  # type: ignore[union-attr]
    made.set_transform(ax.transData + transforms.ScaledTranslation(inches, -inches, scale))
    ax.add_collection(made, autolim=False)
    return made


def draw_marks(ax: Axes, xy: npt.NDArray[Any], symbol: Symbol) -> None:
    """Draw the mark of a symbol at each place, shape (places, 2), at its size on paper."""
    for trace in symbols.MARKS[symbol.mark]:
        made = PathCollection(
            [_trace_path(trace)],
            sizes=[_points(symbol.size_mm) ** 2],
            offsets=xy,
            offset_transform=ax.transData,
            zorder=symbol.z,
            **_trace_style(trace, symbol),
        )
        made.set_transform(transforms.IdentityTransform())
        ax.add_collection(made, autolim=False)


def _trace_path(trace: Trace) -> Path:
    points = np.array(trace.points)
    if not trace.closed:
        return Path(points)
    ring = np.vstack([points, points[:1]])
    return Path(ring, _codes(len(ring)))


def _trace_style(trace: Trace, symbol: Symbol) -> dict[str, Any]:
    line = symbol.line or symbols.INK
    width = _points(symbol.width_mm)
    return {
        "body": {"facecolors": symbol.fill or "none", "edgecolors": line, "linewidths": width},
        "ink": {"facecolors": line, "edgecolors": "none", "linewidths": 0.0},
        "line": {"facecolors": "none", "edgecolors": line, "linewidths": width},
    }[trace.paint]


def draw_stones(ax: Axes, shapes: Shapes, symbol: Symbol, mm_per_m: float) -> None:
    """Draw footprints; those too small on paper, and points, as the mark of the symbol."""
    low_high = shapely.bounds(shapes)
    longest_mm = np.max(low_high[:, 2:] - low_high[:, :2], axis=1) * mm_per_m
    is_area = (shapely.get_dimensions(shapes) == 2) & (longest_mm >= symbol.size_mm)
    if is_area.any():
        draw_areas(ax, widened(shapes[is_area], mm_per_m), symbol, hatches=_HATCH_STONE)
    if (~is_area).any():
        middle = shapely.centroid(shapes[~is_area])
        draw_marks(ax, np.column_stack([shapely.get_x(middle), shapely.get_y(middle)]), symbol)


def widened(shapes: Shapes, mm_per_m: float) -> Shapes:
    """Return footprints at least 0.9 mm thick on paper; thickness is that of a rectangle of like area and outline."""
    thick_mm = 2 * shapely.area(shapes) / np.maximum(shapely.length(shapes), 1e-9) * mm_per_m
    thin = thick_mm < THINNEST_MM
    made = shapes.copy()
    made[thin] = shapely.buffer(
        shapes[thin], (THINNEST_MM - thick_mm[thin]) / 2 / mm_per_m, join_style="mitre", quad_segs=1
    )
    return made


def put_text(ax: Axes, words: str, xy: tuple[float, float], size_pt: float, **style: Any) -> Text:  # noqa: ANN401
    """Put one line of text; `style` are properties of a matplotlib Text. Signs are never read as a formula."""
    made = Text(
        *xy,
        typeset.printable(words),
        fontproperties=typeset.font(size_pt, bold=bool(style.pop("bold", False))),
        parse_math=False,
        **{"color": symbols.INK, "zorder": 80, "clip_on": False, **style},
    )
    ax.add_artist(made)
    return made


def _draw_marks_of(ax: Axes, thing: Thing) -> None:
    middle = shapely.centroid(thing.shapes)
    draw_marks(ax, np.column_stack([shapely.get_x(middle), shapely.get_y(middle)]), thing.symbol)


_DRAW: Mapping[str, Callable[[Axes, Thing, float], Any]] = {
    "areas": lambda ax, thing, _: draw_areas(ax, thing.shapes, thing.symbol),
    "lines": lambda ax, thing, _: draw_lines(ax, thing.shapes, thing.symbol, shift_mm=thing.shift_mm),
    "marks": lambda ax, thing, _: _draw_marks_of(ax, thing),
    "stones": lambda ax, thing, scale: draw_stones(ax, thing.shapes, thing.symbol, scale),
}
