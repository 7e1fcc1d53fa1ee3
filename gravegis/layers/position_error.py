"""How well a position is known: as given, by how it was got, or a default.

Analyses import this on a light start, so nothing heavy is loaded above the functions.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt
    import pandas as pd

    from gravegis.layers.canonical import Frame

__all__ = ["ERROR_OF_BASIS_M", "UNKNOWN_M", "known_errors_m", "unknown_rows"]

# Standard error of a position by how it was got. [m] Common practice, no source.
ERROR_OF_BASIS_M = {"tape": 0.1, "survey receiver": 0.05, "image": 0.5, "phone": 4.0}
UNKNOWN_M = ERROR_OF_BASIS_M["phone"]
"""Taken where nothing is known of a position: as by phone, an unsourced default. [m]"""


def _by_basis_m(frame: Frame) -> pd.Series[float] | None:
    if "position_basis" not in frame:
        return None
    return frame["position_basis"].str.lower().map(ERROR_OF_BASIS_M).astype("float64")


def known_errors_m(frame: Frame, layer: str, default_m: float) -> npt.NDArray[np.float64]:
    """Return the standard error, each axis, of each position: as given, by how it was got, or the default. [m]."""
    from gravegis.layers.canonical import column

    error_m, by_basis_m = column(frame, layer, "position_error_m"), _by_basis_m(frame)
    if by_basis_m is not None:
        error_m = error_m.fillna(by_basis_m)
    return np.asarray(error_m.fillna(default_m), dtype=np.float64)


def unknown_rows(frame: Frame, layer: str) -> tuple[int, int]:
    """Return how many rows take the error of how they were got, and how many the default."""
    from gravegis.layers.canonical import column

    missing, by_basis_m = column(frame, layer, "position_error_m").isna(), _by_basis_m(frame)
    told_n = 0 if by_basis_m is None else int((missing & by_basis_m.notna()).sum())
    return told_n, int(missing.sum()) - told_n
