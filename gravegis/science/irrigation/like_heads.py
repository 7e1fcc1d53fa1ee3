"""Flow of heads nobody measured, from like heads on the same valve."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


def flow_of_like_heads(
    flow: Floats, size: Floats, like: npt.NDArray[np.int64], *, least_n: int
) -> tuple[Floats, npt.NDArray[np.bool_]]:
    """Fill unknown flows by the median flow per size of like heads, and tell which were filled.

    Matched heads send out in proportion to their turn, a quarter, half and full circle 1:2:4 (common practice, see
    the landscape tables behind data/head_kinds.csv); so ``size`` is the turn in degrees, or the ground of a strip.

    Parameters
    ----------
    flow, size
        ``(heads,)``; a flow that is not known is NaN, of any unit. Size above 0.
    like
        ``(heads,)``: heads with the same number are alike, such as one kind on one valve.
    least_n
        As many known flows there must be among like heads; else the flow stays unknown.
    """
    out = flow.copy()
    for group in np.unique(like).tolist():
        mine = like == group
        known = mine & np.isfinite(flow) & (size > 0)
        if known.sum() >= least_n:
            fill = mine & np.isnan(flow) & (size > 0)
            out[fill] = float(np.median(flow[known] / size[known])) * size[fill]
    return out, np.isnan(flow) & np.isfinite(out)
