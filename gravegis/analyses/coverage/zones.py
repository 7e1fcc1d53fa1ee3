"""How evenly each zone waters the ground between its heads, and how much of its water leaves the site."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt
    import shapely

    from gravegis.analyses.coverage.raster import Patch
    from gravegis.analyses.coverage.settings import CoverageSettings
    from gravegis.analyses.coverage.water import Sent
    from gravegis.layers.canonical import Frame
    from gravegis.layers.spraying import Sprayers
    from gravegis.site import Site

    Bools = npt.NDArray[np.bool_]

__all__ = ["BETWEEN", "WETTED", "site_ground", "zone_table"]

BETWEEN, WETTED = "ground between the heads", "all a head wets on site"
_LEAST_CELLS = 12
"""Fewer cells between the heads than this tell nothing of evenness: own choice."""
_DRAWN = ("sections", "plots", "rows", "paths", "barriers")
_FLOWS = ("flows known", "some flows taken from like heads", "not all flows known", "ground of some heads not known")


def site_ground(site: Site) -> Any:  # noqa: ANN401 - a geometry
    """Return the ground of the site: the hull of sections, plots, rows, paths, barriers and stones.

    Where none but stones is drawn, heads belong to it too. Bays of the outline are filled, so water off site is at
    least what lies beyond.
    """
    import shapely

    drawn = [name for name in _DRAWN if site.has(name, "geometry")]
    names = [*drawn, "stones"] if drawn else ["stones", "heads"]
    shapes = [np.asarray(site[name]["geometry"].array, dtype=object) for name in names if site.has(name, "geometry")]
    every = np.concatenate([np.zeros(0, dtype=object), *shapes])
    every = every[~shapely.is_missing(every)]
    return shapely.convex_hull(shapely.geometrycollections(shapely.convex_hull(every)))


def zone_table(
    site: Site, found: Sprayers, sent: Sent, patches: list[Patch], settings: CoverageSettings
) -> Frame:  # fmt: skip
    """Return one row per zone that has a head with a place; what cannot be known of a zone is missing."""
    import pandas as pd

    from gravegis.layers.canonical import DTYPES
    from gravegis.layers.schema import layer

    columns = layer("zone_uniformity").columns
    of_zone = {patch.zone: patch for patch in patches}
    ground, point = site_ground(site), np.asarray(found.placed.geometry, dtype=object)
    named = found.frame["zone_id"].fillna("").to_numpy(dtype=object)
    rows = []
    for zone in sorted({str(one) for one in named} - {""}):
        heads = np.flatnonzero(named == zone)
        mine = np.flatnonzero(sent.zone == zone)
        row = {"zone_id": zone, "heads_n": len(heads), "flow_known_n": int((~sent.is_taken[mine]
               & np.isfinite(sent.flow_l_h[mine])).sum())}  # fmt: skip
        patch = of_zone.get(zone)
        whole = len(heads) == len(mine)
        row["basis"] = _basis(sent, mine, whole=whole)
        if patch is not None and patch.complete and whole:
            row |= _figures(patch, sent, point[found.rows[mine]], ground, settings)
        rows.append(row)
    # the order in which heads are added up must not show: their names decide it
    made = pd.DataFrame(rows, columns=list(columns)).round(9)
    return made.astype({name: DTYPES[column.kind] for name, column in columns.items() if column.kind != "id"})


def _basis(sent: Sent, mine: npt.NDArray[np.int64], *, whole: bool) -> str:
    if not whole:
        return _FLOWS[3]
    if not np.isfinite(sent.flow_l_h[mine]).all():
        return _FLOWS[2]
    return _FLOWS[1] if sent.is_taken[mine].any() else _FLOWS[0]


def _figures(
    patch: Patch, sent: Sent, heads: npt.NDArray[np.object_], ground: shapely.Geometry, settings: CoverageSettings
) -> dict[str, object]:
    import shapely

    from gravegis.analyses.coverage.raster import middles_m
    from gravegis.science.irrigation.coverage import Coverage, off_site_l
    from gravegis.science.irrigation.uniformity import driest_window_sc, uniformity

    x, y = middles_m(patch.grid)
    flow = sent.flow_l_h[patch.heads]
    on_site = np.asarray(shapely.contains_xy(ground, x, y), dtype=np.bool_)
    nothing = np.zeros(0)
    off_l_h = off_site_l(Coverage(patch.rate_mm_h, nothing, nothing, nothing), patch.grid, on_site)
    out: dict[str, object] = {
        "sent_l_h": float(flow.sum()), "off_site_l_h": off_l_h, "off_site_frac": off_l_h / float(flow.sum()),
        "quarter": settings.quarter,
    }  # fmt: skip
    wanted, out["measured_on"] = _wanted(patch, sent, heads, (x, y), on_site)
    if not wanted.any():
        return out
    found = uniformity(patch.rate_mm_h[wanted], quarter=settings.quarter)
    sc = driest_window_sc(patch.rate_mm_h, wanted, settings.window_frac)
    hours = sent.hours[patch.heads[0]]
    return out | {
        "area_m2": float(wanted.sum()) * patch.grid.cell_m**2, "rate_mm_h": found.mean, "cu": found.cu,
        "du_lq": found.du_lq, "du_lh": found.du_lh, "sc": sc if np.isfinite(sc) else np.nan,
        "season_mm": found.mean * hours,
    }  # fmt: skip


def _wanted(
    patch: Patch, sent: Sent, heads: npt.NDArray[np.object_], at_m: tuple[Any, Any], on_site: Bools
) -> tuple[Bools, str]:  # fmt: skip
    """Return the cells that count: on site between neighbours, and what heads without two neighbours wet there."""
    import shapely

    grounds = sent.ground[patch.heads]
    between, alone = np.zeros_like(on_site), np.zeros_like(on_site)
    for some in _neighbours(grounds):
        hull = shapely.convex_hull(shapely.geometrycollections(heads[some]))
        within = on_site & np.asarray(shapely.contains_xy(hull, *at_m), dtype=np.bool_)
        if within.sum() >= _LEAST_CELLS:
            between |= within
        else:
            alone |= on_site & np.asarray(shapely.contains_xy(shapely.union_all(grounds[some]), *at_m), dtype=np.bool_)
    words = [word for word, cells in ((BETWEEN, between), (WETTED, alone)) if cells.any()]
    return between | alone, " and ".join(words)


def _neighbours(grounds: npt.NDArray[np.object_]) -> list[npt.NDArray[np.int64]]:
    """Return groups of heads whose patterns meet: dry ground between far heads of one valve is none of its business."""
    import shapely
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    one, other = shapely.STRtree(grounds).query(grounds, "intersects")
    n = len(grounds)
    count, group = connected_components(coo_matrix((np.ones(len(one)), (one, other)), shape=(n, n)), directed=False)
    return [np.flatnonzero(group == which) for which in range(count)]
