"""Which stone comes first: condition, spray, what nobody has looked at, and what was put first by hand."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gravegis.analyses.worklist.settings import ids

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    from gravegis.analyses.worklist.settings import WorklistSettings
    from gravegis.layers.canonical import Frame
    from gravegis.science.condition.reasons import Reason
    from gravegis.site import Site

__all__ = ["priorities"]

URGENT = 3
"""Highest class of urgency, as in layer ``stone_condition``: urgent and immediate."""


def priorities(
    site: Site, stones: Frame, loose: npt.NDArray[np.bool_], settings: WorklistSettings
) -> tuple[npt.NDArray[np.int8], list[tuple[Reason, ...]], npt.NDArray[np.bool_]]:
    """Return the priority of every stone, 1 to 3, the reasons, and where a head still reaches it."""
    import numpy as np

    from gravegis.layers.canonical import column, empty
    from gravegis.layers.stones import numbers
    from gravegis.science.care.priority import HIGHEST, Spray, prioritise
    from gravegis.science.condition.reasons import reason

    wet = site.get("stone_wetting", empty("stone_wetting")).set_index("stone_id").reindex(stones["stone_id"])
    reached = column(wet, "stone_wetting", "reached").fillna(value=False).to_numpy(dtype=bool)
    margin = numbers(wet, "stone_wetting", "margin_m")
    # what was seen outranks the model: a stone seen dry is not reached, one seen wet is, whatever the margin
    margin = np.where(reached, np.maximum(np.nan_to_num(margin), 0.0), np.where(margin >= 0, np.nan, margin))
    struck = (column(wet, "stone_wetting", "state") == "struck").fillna(value=False).to_numpy(dtype=bool)
    spray = Spray(struck, margin, numbers(wet, "stone_wetting", "season_h"))
    condition = site["stone_condition"].set_index("stone_id").reindex(stones["stone_id"])
    overall = numbers(condition, "stone_condition", "overall")
    unseen = np.isnan(overall)
    urgent = numbers(condition, "stone_condition", "urgency") >= URGENT
    found = prioritise(
        np.where(unseen, -1, overall).astype(np.int64), spray, loose, urgent=urgent, long_spray_h=settings.long_spray_h
    )
    near_m = numbers(wet, "stone_wetting", "nearest_head_m")
    first = np.where(near_m <= settings.near_m, 3, np.where(reached, 2, 1))
    why = list(found.reasons)
    error_m = _errors_m(site, stones, wet)
    for one in np.flatnonzero(unseen):
        near = reason("inspect_near_head", distance_m=round(float(np.nan_to_num(near_m[one])), 1))
        # as in wetting: an error of more than half the distance cannot tell near from not near
        if error_m[one] > settings.near_m / 2:
            near = reason("inspect_near_by_map", error_m=float(f"{error_m[one]:.1g}"))
        why[one] = ({3: near, 2: reason("inspect_reached"), 1: reason("inspect_other")}[int(first[one])],)
    priority = np.where(unseen, first, found.priority).astype(np.int8)
    for one in np.flatnonzero(stones["stone_id"].isin(ids(settings.pin)).to_numpy()):
        priority[one] = HIGHEST
        why[one] = (reason("pinned"), *why[one])
    return priority, why, found.fix_spray_first


def _errors_m(site: Site, stones: Frame, wet: Frame) -> npt.NDArray[np.float64]:
    """Return the standard error of the distance between each stone and the head nearest to it, as in wetting. [m]."""
    import numpy as np
    import pandas as pd

    from gravegis.layers.canonical import column, empty
    from gravegis.layers.position_error import UNKNOWN_M, known_errors_m

    heads = site.get("heads", empty("heads"))
    of_head = pd.Series(known_errors_m(heads, "heads", UNKNOWN_M), index=heads["head_id"])
    head_m = (
        of_head.reindex(column(wet, "stone_wetting", "nearest_head_id")).fillna(UNKNOWN_M).to_numpy(dtype=np.float64)
    )
    return np.hypot(known_errors_m(stones, "stones", UNKNOWN_M), head_m)
