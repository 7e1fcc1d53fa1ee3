"""From the tables of heads to the arrays the science works on."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import shapely

from gravegis.layers.canonical import column
from gravegis.layers.north import true_north_on_grid_deg
from gravegis.science.irrigation import throw

if TYPE_CHECKING:
    import numpy.typing as npt

    from gravegis.layers.canonical import Frame

__all__ = ["bearing_unknown", "surveyed_outlines", "throws_of", "turn_unknown"]


def turn_unknown(heads: Frame) -> pd.Series[bool]:
    """Whether the turn of a head is not known: no sweep, a sweep of nothing, or a part of a circle from nowhere."""
    sweep, start = (column(heads, "heads", name) for name in ("arc_sweep_deg", "arc_from_deg"))
    return ~(sweep > 0) | ((sweep < 360.0) & start.isna())


def bearing_unknown(heads: Frame) -> pd.Series[bool]:
    """Whether a head throws a strip and nobody noted where to."""
    strip = column(heads, "heads", "kind").fillna("").str.startswith("strip ")
    return strip & column(heads, "heads", "arc_from_deg").isna()


def throws_of(computed: Frame, heads: Frame, crs: str) -> tuple[throw.Throws, npt.NDArray[np.int64]]:
    """Return the throws of the heads whose pattern is known, and their rows in `computed`.

    Parameters
    ----------
    computed
        Figures per head as layer ``throws_computed`` holds them; bearings are true.
    heads
        Layer ``heads``, for the positions.
    crs
        Of the site; bearings are turned from true north to its grid.
    """
    rows = np.flatnonzero(computed["pattern"].notna().to_numpy())
    used = computed.iloc[rows]
    places = heads.set_index("head_id").geometry.reindex(used["head_id"])
    x_m, y_m = places.x.to_numpy(dtype="float64"), places.y.to_numpy(dtype="float64")
    side = used["pattern"].str.removeprefix("strip ").where(used["pattern"].str.startswith("strip "), "")
    north_deg = true_north_on_grid_deg(crs, x_m, y_m) if len(rows) else np.zeros(0)
    is_circle = (used["pattern"] == "full circle").to_numpy()
    made = throw.make_throws(
        x_m,
        y_m,
        used["throw_m"].to_numpy(dtype="float64"),
        from_deg=np.where(is_circle, 0.0, used["arc_from_deg"].to_numpy(dtype="float64") + north_deg),
        sweep_deg=used["arc_sweep_deg"].to_numpy(dtype="float64"),
        strip_length_m=used["strip_length_m"].to_numpy(dtype="float64"),
        strip_width_m=used["strip_width_m"].to_numpy(dtype="float64"),
        strip_side=np.asarray(side, dtype=np.str_),
    )
    return made, rows


def surveyed_outlines(throws: Frame | None) -> pd.Series[Any]:
    """Return the surveyed outline of each head that has one, by head_id; several of one head are joined."""
    if throws is None or throws.empty or "head_id" not in throws.columns:
        return pd.Series([], index=pd.Index([], dtype="str"), dtype=object)
    named = throws[throws["head_id"].notna() & ~shapely.is_missing(throws["geometry"].to_numpy())]
    joined = {head: shapely.union_all(group.to_numpy()) for head, group in named.groupby("head_id")["geometry"]}
    return pd.Series(joined, dtype=object)
