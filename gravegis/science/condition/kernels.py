"""Compiled loops of the condition work; the only module here that imports numba.

Each has a plain counterpart beside its caller that gives the same numbers.
"""

from __future__ import annotations

import numba
import numpy as np

__all__ = ["neighbour_sums"]


@numba.njit(cache=True, nogil=True)
def _by_cell(xy, west, south, side, nx, ny):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202
    """Return where each cell starts in the list of points, and the points cell by cell."""
    n = xy.shape[0]
    cell = np.empty(n, np.int64)
    start = np.zeros(nx * ny + 1, np.int64)
    for i in range(n):
        cell[i] = int((xy[i, 1] - south) / side) * nx + int((xy[i, 0] - west) / side)
        start[cell[i] + 1] += 1
    for one in range(nx * ny):
        start[one + 1] += start[one]
    fill = start[:-1].copy()
    order = np.empty(n, np.int64)
    for i in range(n):
        order[fill[cell[i]]] = i
        fill[cell[i]] += 1
    return start, order


@numba.njit(cache=True, nogil=True)
def neighbour_sums(xy, grade, band, side, nx, ny):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN201
    """Return, per point, the sum of the grades of the others within `band` and how many they are.

    `xy` has shape ``(points, 2)``, `grade` is of whole numbers, `side` the side of a search cell, at least `band`;
    the cells ``nx * ny`` begin at the most south-western point. A distance of exactly `band` counts as within.
    """
    n = xy.shape[0]
    west, south = xy[:, 0].min(), xy[:, 1].min()
    start, order = _by_cell(xy, west, south, side, nx, ny)
    # points of one cell lie side by side, so that the inner loop runs through memory
    px, py, pg = np.empty(n), np.empty(n), np.empty(n, np.int64)
    for at in range(n):
        px[at], py[at], pg[at] = xy[order[at], 0], xy[order[at], 1], grade[order[at]]
    total, count = np.zeros(n, np.int64), np.zeros(n, np.int64)
    limit = band * band
    for row in range(ny):
        low_row, high_row = max(row - 1, 0), min(row + 1, ny - 1)
        for col in range(nx):
            low_col, high_col = max(col - 1, 0), min(col + 1, nx - 1)
            for at in range(start[row * nx + col], start[row * nx + col + 1]):
                x, y, here, found = px[at], py[at], 0, 0
                for near_row in range(low_row, high_row + 1):
                    first = start[near_row * nx + low_col]
                    last = start[near_row * nx + high_col + 1]
                    for other in range(first, last):
                        dx, dy = px[other] - x, py[other] - y
                        if dx * dx + dy * dy <= limit:
                            here += pg[other]
                            found += 1
                # the point itself was counted
                total[order[at]] = here - pg[at]
                count[order[at]] = found - 1
    return total, count
