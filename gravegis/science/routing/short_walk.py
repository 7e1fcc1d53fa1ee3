"""A short walk past some places on open ground, for a person who looks at each once."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


def short_walk(xy_m: Floats, start_m: Floats) -> npt.NDArray[np.int64]:
    """Return the order of places, shape ``(places, 2)``: always to the nearest, then crossings undone (2-opt).

    The walk begins at the place nearest to ``start_m`` and ends anywhere. Straight lines; no claim that it is shortest.
    """
    count = len(xy_m)
    if count == 0:
        return np.zeros(0, dtype=np.int64)
    apart = np.hypot(*(xy_m[:, None] - xy_m[None]).transpose(2, 0, 1))
    order = [int(np.argmin(np.hypot(*(xy_m - start_m).T)))]
    left = set(range(count)) - set(order)
    while left:
        order.append(min(left, key=lambda place: (apart[order[-1], place], place)))
        left.discard(order[-1])
    return np.array(_untangled(order, apart), dtype=np.int64)


def _untangled(order: list[int], apart: Floats) -> list[int]:
    """Turn pieces of the walk round as long as that makes it shorter; its first place stays."""
    better = True
    while better:
        better = False
        for low in range(1, len(order) - 1):
            for high in range(low + 1, len(order)):
                before = apart[order[low - 1], order[low]]
                after = apart[order[low - 1], order[high]]
                if high + 1 < len(order):
                    before += apart[order[high], order[high + 1]]
                    after += apart[order[low], order[high + 1]]
                if after < before - 1e-9:
                    order[low : high + 1] = order[low : high + 1][::-1]
                    better = True
    return order
