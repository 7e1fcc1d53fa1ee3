"""Maps of condition: the class of each stone with the groups found, and where the share of damaged stones is high."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import shapely

from gravegis.layers.canonical import column
from gravegis.outputs import figure, labels, pages, rasters, symbols
from gravegis.outputs.labels import Label
from gravegis.outputs.pages import About
from gravegis.outputs.things import Thing, bounds_m, clear, ground, outlines, shapes_of, stones_of

if TYPE_CHECKING:
    import numpy.typing as npt
    from matplotlib.figure import Figure

    from gravegis.outputs.figure import Sheet
    from gravegis.outputs.labels import Board
    from gravegis.outputs.things import Shapes
    from gravegis.site import Raster, Site

__all__ = ["condition_map", "heat_map"]

DAMAGED_N = 2
"""Class from which a stone counts as damaged where the log does not say: own choice, moderate and worse."""
GROUP_PT = 6.5
MOST_NAMED = 400
"""With more stones only the worst classes carry names, as many as this at most; own choice."""
_ORDER = ("condition_3", "condition_2", "condition_1", "condition_0", "condition_none", "stone")
_GRIDS = ("share_damaged", "share_of_damaged")
_BEYOND_M = 10.0
_LEAST_CLEAR_M2 = 20.0  # smaller pieces are speckle: own choice


def condition_map(
    site: Site, *, made_on: str = "", paper: str = "A4", plan_hash: str = "", page: tuple[int, int] = (1, 1)
) -> Figure:
    """Return the page of condition classes 0-3 with the outlines of groups of like harm.

    Names of stones are written where they fit, worst classes first. Layers that are missing are left out.
    """
    about = About(made_on, paper, plan_hash, page)
    shapes = shapes_of(site["stones"]) if site.has("stones") else np.array([], dtype=object)
    classes = _classes(site)
    done = site.has("stone_condition")
    kinds = [symbols.condition_kind(None if np.isnan(one) else int(one)) if done else "stone" for one in classes]
    groups = shapes_of(site["clusters"]) if site.has("clusters") else np.array([], dtype=object)
    drawn = [*stones_of(shapes, kinds, {}, _ORDER), *outlines("cluster", groups), *ground(site)]
    bounds = bounds_m(shapes, groups, around=drawn)
    first = () if done else ("Condition has not been worked out: this map shows the survey only.",)
    title = "Condition of the stones and groups of like harm"
    page_words = pages.page_of(site, title, ("condition", "clusters"), about, first=first)
    sheet = pages.start(site, page_words, drawn, bounds, about)
    board = pages.board_of(sheet, drawn)
    pages.draw_along(sheet, board, groups[~shapely.is_missing(groups)])
    _label_groups(sheet, board, site, groups)
    pages.rows_and_sections(site, sheet, board)
    figure.remark(sheet, [*pages.covered(sheet, shapes), *_label_worst(sheet, board, site, classes)])
    return sheet.figure


def heat_map(
    site: Site, *, made_on: str = "", paper: str = "A4", plan_hash: str = "", page: tuple[int, int] = (1, 1)
) -> Figure:
    """Return the page with the share of damaged stones in classes, masked where too few stones speak.

    Without a grid the stones alone are drawn and the answer says why.
    """
    about = About(made_on, paper, plan_hash, page)
    shapes = shapes_of(site["stones"]) if site.has("stones") else np.array([], dtype=object)
    least = int(pages.setting(site, "heatmap", "least_class_n", DAMAGED_N))
    grid = next((site.grids[name] for name in _GRIDS if name in site.grids), None)
    classes = _classes(site)
    dots = _dots(shapes, classes, least)
    frame = np.array([shapely.box(*grid.bounds_m)], dtype=object) if grid else np.array([], dtype=object)
    bounds = bounds_m(shapes, frame, around=ground(site))
    shaded = _shaded(grid, bounds, pages.setting(site, "heatmap", "least_stones_n", np.nan))
    title = f"Share of stones in condition class {least} or worse"
    first = () if grid else ("There is no grid of shares: the map shows stones only.",)
    page_words = pages.page_of(site, title, ("heatmap",), about, first=first, rests_on=("condition",))
    sheet = pages.start(site, page_words, [*shaded, *_clear_ground(site), *dots, *clear(ground(site))], bounds, about)
    if grid is not None:
        draw_share(sheet, grid)
    pages.rows_and_sections(site, sheet, pages.board_of(sheet, dots))
    figure.remark(sheet, [grid.meaning] if grid is not None else [])
    return sheet.figure


def _classes(site: Site) -> npt.NDArray[np.float64]:
    """Return the condition class of each stone in the order of layer ``stones``; NaN where there is none."""
    if not site.has("stones"):
        return np.array([], dtype=np.float64)
    ids = site["stones"]["stone_id"]
    if not site.has("stone_condition"):
        return np.full(len(ids), np.nan)
    condition = site["stone_condition"].set_index("stone_id").reindex(ids)
    made: npt.NDArray[np.float64] = column(condition, "stone_condition", "overall").to_numpy(
        dtype="float64", na_value=np.nan
    )
    return made


def _label_groups(sheet: Sheet, board: Board, site: Site, groups: Shapes) -> None:
    """Write name, count and harm of each group beside it, biggest groups first."""
    if not site.has("clusters"):
        return
    frame = site["clusters"].assign(place=groups)
    frame = frame[frame["place"].notna()]
    counts = column(frame, "clusters", "stones_n")
    wanted: list[Label] = []
    for row in frame.assign(n=counts).sort_values("n", ascending=False, kind="stable").to_dict("records"):
        anchors = tuple(pages.anchors_of(sheet, np.array([row["place"]], dtype=object)))
        wanted.append(Label(_group_words(row), anchors, GROUP_PT, bold=True, most_hidden=0.6))
    figure.show(sheet, labels.place(board, wanted)[0])


def _group_words(row: dict[Any, Any]) -> str:
    count = "" if pd.isna(row["n"]) else f": {row['n']}"
    return f"{row['cluster_id']}{count}"


def _label_worst(sheet: Sheet, board: Board, site: Site, classes: npt.NDArray[np.float64]) -> list[str]:
    """Name stones where they fit, worst first; returns in words how many have no name."""
    if not site.has("stones"):
        return []
    stones = site["stones"]
    shapes, ids = shapes_of(stones), stones["stone_id"].to_numpy(dtype=object)
    order = np.argsort(-np.nan_to_num(classes, nan=-1.0), kind="stable")
    order = order[~shapely.is_missing(shapes[order])]
    if pages.too_dense(sheet, shapes):
        return [pages.NO_NAMES]
    least = _least_named(classes[order])
    chosen = order[classes[order] >= least] if least else order
    left = pages.label_stones(sheet, board, list(ids[chosen]), shapes[chosen])
    return [f"names: stones of class {least} or worse, where there is room"] if least else left


def _least_named(classes: npt.NDArray[np.float64]) -> int:
    """Return the class from which stones are named so that the map stays readable; 0 where all are."""
    if len(classes) <= MOST_NAMED:
        return 0
    return next((least for least in (1, 2) if (classes >= least).sum() <= MOST_NAMED), 3)


def _dots(shapes: Shapes, classes: npt.NDArray[np.float64], least: int) -> list[Thing]:
    """Return stones as dots: damaged, recorded but not damaged; stones without a class are not counted and left out."""
    made: list[Thing] = []
    for kind, chosen, words in (
        ("stone_sound", classes < least, f"stone below class {least}"),
        ("stone_damaged", classes >= least, f"stone in class {least} or worse"),
    ):
        there = shapes[chosen & ~shapely.is_missing(shapes)]
        if len(there):
            made.append(Thing(symbols.symbol(kind), "marks", shapely.centroid(there), f"{words} ({len(there)})"))
    return made


def _shaded(grid: Raster | None, bounds: tuple[float, float, float, float], least_n: float) -> list[Thing]:
    """Return the mask under the grid and the classes of the key that occur; the grid itself is drawn as a picture."""
    if grid is None:
        return []
    words = "masked: too few stones to tell"
    if not np.isnan(least_n):
        words = f"masked: fewer than {least_n:g} stones around, or none near"
    masked = outlines("masked", np.array([shapely.box(*bounds).buffer(_BEYOND_M)], dtype=object), words)
    kinds = symbols.heat_kinds()
    inside = grid.values[np.isfinite(grid.values)]
    taken = np.unique(np.clip(np.digitize(inside, _edges()) - 1, 0, len(kinds) - 1))
    unseen = np.array([shapely.box(bounds[0], bounds[1], bounds[0], bounds[1])], dtype=object)
    classes = [symbols.symbol(kinds[place]) for place in taken]
    return [*(Thing(one, "areas", unseen, f"{one.words} damaged") for one in classes), *masked]


def _edges() -> npt.NDArray[np.float64]:
    """Return the limits of the classes of a share; a share on a limit is in the class above it."""
    return np.linspace(0.0, 1.0, len(symbols.heat_kinds()) + 1)


def _clear_ground(site: Site) -> list[Thing]:
    """Return the outline of where the share differs clearly from that of the whole ground; all else may be chance."""
    grid = site.grids.get("share_clear")
    if grid is None:
        return []
    rows, columns = np.nonzero(grid.values == 1)
    west, south = grid.left_m + columns * grid.cell_m, grid.top_m - (rows + 1) * grid.cell_m
    # cells a hair too wide, so that they join
    side = grid.cell_m * 1.001
    cells = shapely.box(west, south, west + side, south + side)
    joined = shapely.simplify(shapely.union_all(cells), grid.cell_m / 4)
    seen = [_without_specks(one) for one in getattr(joined, "geoms", [joined]) if one.area >= _LEAST_CLEAR_M2]
    return outlines("clear_share", np.array(seen, dtype=object)) if seen else []


def _without_specks(part: shapely.Polygon) -> shapely.Polygon:
    holes = [one for one in part.interiors if shapely.Polygon(one).area >= _LEAST_CLEAR_M2]
    return shapely.Polygon(part.exterior, holes)


def draw_share(sheet: Sheet, grid: Raster) -> None:
    """Draw a grid of shares in classes, cells as they are; cells without a value stay clear."""
    kinds = [symbols.symbol(kind) for kind in symbols.heat_kinds()]
    rasters.draw_classes(sheet, grid, _edges().tolist(), [kind.fill for kind in kinds], kinds[0].z)
