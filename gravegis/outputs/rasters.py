"""A grid drawn in classes, cells as they are."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.colors import BoundaryNorm, ListedColormap

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gravegis.outputs.figure import Sheet
    from gravegis.site import Raster

__all__ = ["draw_classes"]


def draw_classes(sheet: Sheet, grid: Raster, edges: Sequence[float], colours: Sequence[str], z: int) -> None:
    """Draw a grid in classes; cells without a value stay clear.

    Parameters
    ----------
    edges
        Limits of the classes, rising, one more than there are colours; a value on a limit is in the class above it.
    """
    west, south, east, north = grid.bounds_m
    sheet.ground.imshow(
        np.ma.masked_invalid(grid.values),
        cmap=ListedColormap(list(colours)),
        norm=BoundaryNorm(list(edges), len(colours)),
        extent=(west, east, south, north),
        interpolation="nearest",
        zorder=z,
        aspect="auto",
    )
