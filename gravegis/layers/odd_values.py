"""What looks odd in tables of figures: values below zero, and one least value that stands for `below detection`."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from gravegis.layers.read.raw import many, shown

if TYPE_CHECKING:
    from collections.abc import Iterator

    import numpy.typing as npt

    from gravegis.layers.canonical import Frame
    from gravegis.layers.schema import Layer

__all__ = ["odd_values"]

# One least value in that many columns, at least so often in each, is no measurement. Own choice, no source.
_COLUMNS, _TIMES = 3, 3
_SAME = 1e-9
_MAY_BE_NEGATIVE = ("delta", "orp", "eh", "temp", "lon", "lat", "utm", "x", "y")


def odd_values(frame: Frame, layer: Layer) -> Iterator[str]:
    """Give a line per oddity in a table of water analyses; nothing is changed.

    Figures below zero in a column where most are above are counted. A value that is the least of several columns
    and stands in each of them many times is most likely a limit of detection.
    """
    if layer.name != "water":
        return
    columns = {str(name): _figures(frame[name]) for name in frame.columns if name != "geometry"}
    columns = {name: values for name, values in columns.items() if len(values)}
    for name, values in columns.items():
        below = values[values < 0]
        plain = name.lower()
        if 0 < len(below) < len(values) / 2 and not plain.startswith(_MAY_BE_NEGATIVE):
            yield f"{name}: {many(len(below), 'value')} below zero, the least {below.min():g}; kept as they are"
    least = {name: float(values.min()) for name, values in columns.items() if values.min() > 0}
    times = {name: int(np.isclose(columns[name], low, rtol=_SAME).sum()) for name, low in least.items()}
    often = Counter(round(low, 6) for name, low in least.items() if times[name] >= _TIMES)
    for low, columns_n in often.items():
        if columns_n >= _COLUMNS:
            cells = sum(int(np.isclose(values, low, rtol=1e-6).sum()) for values in columns.values())
            names = [name for name, one in least.items() if round(one, 6) == low and times[name] >= _TIMES]
            yield (
                f"{low:g} stands in {cells:,} cells and is the least value of {columns_n} columns ({shown(names, 4)}): "
                "most likely below a limit of detection; kept as it is, and no measurement"
            )


def _figures(series: pd.Series[Any]) -> npt.NDArray[np.float64]:
    numbers = pd.to_numeric(series, errors="coerce").to_numpy(dtype="float64", na_value=np.nan)
    filled = int(series.notna().sum())
    finite: npt.NDArray[np.float64] = numbers[np.isfinite(numbers)]
    return finite if filled and len(finite) >= filled / 2 else finite[:0]
