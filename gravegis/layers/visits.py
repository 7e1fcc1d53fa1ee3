"""Several visits to one stone: which findings belong to the last one, and which to those before.

Findings of a stone whose days lie close together are of one visit. All visits are kept in the layer; what a stone is
like now is read from the last one alone, never from the worst there ever was.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from gravegis.layers.canonical import column

if TYPE_CHECKING:
    import numpy.typing as npt

    from gravegis.layers.canonical import Frame

    Flags = npt.NDArray[np.bool_]

__all__ = ["VISIT_DAYS", "days_of", "of_last_visit"]

VISIT_DAYS = 60.0
"""Findings of a stone at most so many days before its newest are of the same visit: own rule. [days]"""


def days_of(frame: Frame, layer: str, name: str) -> npt.NDArray[np.float64]:
    """Return dates as days since 1970-01-01, NaN where there is none. [days]."""
    typed = pd.to_datetime(column(frame, layer, name), format="%Y-%m-%d", errors="coerce")
    gone = (typed - pd.Timestamp("1970-01-01")) / pd.Timedelta(days=1)
    return np.asarray(gone, dtype=np.float64)


def of_last_visit(findings: Frame) -> Flags:
    """Return which findings are of the last visit to their stone; those without a day always are."""
    day = pd.Series(days_of(findings, "findings", "found_on"))
    newest = day.groupby(findings["stone_id"].to_numpy()).transform("max")
    return ~np.asarray(day < newest - VISIT_DAYS, dtype=np.bool_)
