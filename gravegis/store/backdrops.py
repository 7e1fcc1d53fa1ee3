"""Backdrops of a site as pictures on its grid, for the window and for maps."""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from gravegis.store.names import PHOTOS

if TYPE_CHECKING:
    from pathlib import Path

    import numpy.typing as npt

    from gravegis.site import Site

__all__ = ["Picture", "pictures"]

_MOST_PX = 4096  # longest side handed out: common practice, no source


@dataclass(frozen=True, slots=True, eq=False)
class Picture:
    """A picture on the grid of the site: `rgba` has shape (rows, columns, 4), row 0 the north edge.

    `bounds_m` is west, south, east and north edge. [m]
    """

    rgba: npt.NDArray[np.uint8]
    bounds_m: tuple[float, float, float, float]


def pictures(folder: Path, site: Site) -> list[Picture]:
    """Return the backdrops of a site, turned onto its grid; those whose file is gone or damaged are left out."""
    import rasterio
    from rasterio.vrt import WarpedVRT

    made = []
    for name in site["backdrops"]["file"].dropna() if site.has("backdrops", "file") else ():
        try:
            with rasterio.open(folder / PHOTOS / str(name)) as opened, WarpedVRT(opened, crs=site.info.crs) as warped:
                made.append(_picture(warped))
        except rasterio.errors.RasterioError:
            warnings.warn(f"the backdrop {name} cannot be read and is left out", stacklevel=2)
    return made


def _picture(warped: Any) -> Picture:  # noqa: ANN401 - rasterio has no types
    scale = max(1.0, max(warped.width, warped.height) / _MOST_PX)
    shape = (max(1, round(warped.height / scale)), max(1, round(warped.width / scale)))
    bands = [1, 2, 3] if warped.count >= 3 else [1, 1, 1]
    values = warped.read(bands, out_shape=(3, *shape))
    colours = np.moveaxis(values if values.dtype == np.uint8 else _stretched(values), 0, 2)
    there = warped.dataset_mask(out_shape=shape)
    west, south, east, north = warped.bounds
    return Picture(np.dstack([colours, there]).astype(np.uint8), (west, south, east, north))


def _stretched(values: npt.NDArray[Any]) -> npt.NDArray[np.uint8]:
    """Return figures of another depth between their 2nd and 98th percentile; common practice, no source."""
    low, high = np.nanpercentile(values, [2, 98])
    share = (values - low) / max(high - low, 1e-12)
    made: npt.NDArray[np.uint8] = (np.clip(np.nan_to_num(share), 0, 1) * 255).astype(np.uint8)
    return made
