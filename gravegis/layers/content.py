"""A short sum of what a layer holds: equal for equal content, whatever dtype or memory it stands in."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import shapely

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    import numpy.typing as npt

__all__ = ["column_hash", "content_hash", "equal"]

_EXACT = 2**53  # whole numbers up to here are exact as floats
_MISSING = -1


def content_hash(frame: pd.DataFrame, columns: tuple[str, ...] | None = None) -> str:
    """Return a SHA-256 of the values of a canonical layer (of the columns named, or of all)."""
    digest = hashlib.sha256()
    for column in frame.columns if columns is None else [c for c in columns if c in frame.columns]:
        for part in (*_pieces([str(column).encode()]), *_parts(frame[column])):
            digest.update(part)
    return digest.hexdigest()


def column_hash(series: pd.Series[Any]) -> str:
    """Return a SHA-256 of the values of one column of a canonical layer."""
    digest = hashlib.sha256()
    for part in _parts(series):
        digest.update(part)
    return digest.hexdigest()


def equal(one: pd.DataFrame, other: pd.DataFrame) -> bool:
    """Whether two canonical layers hold the same."""
    return list(one.columns) == list(other.columns) and content_hash(one) == content_hash(other)


def _parts(series: pd.Series[Any]) -> Iterable[bytes]:
    """Return the bytes of a column: its sort, its length, and values of which none can run into the next."""
    dtype = series.dtype
    if dtype == "geometry":
        # the byte order and the vertex order of a geometry are kept, so a re-read layer gives the same bytes
        return (b"places", *_pieces(shapely.to_wkb(np.asarray(series), byte_order=1).tolist()))
    if dtype in ("bool", "boolean"):
        return _counted(b"flags", series.astype("boolean").to_numpy(dtype="int8", na_value=_MISSING))
    if isinstance(dtype, pd.CategoricalDtype):
        return _parts(series.astype(object).infer_objects())
    plain = dtype if isinstance(dtype, np.dtype) else getattr(dtype, "numpy_dtype", None)
    if isinstance(plain, np.dtype) and plain.kind in "iuf" and plain.itemsize <= 8:
        return _numbers(series)
    return (b"texts", *_texts(series))


def _counted(sort: bytes, values: npt.NDArray[Any]) -> tuple[bytes, ...]:
    return sort, len(values).to_bytes(8, "little"), values.tobytes()


def _numbers(series: pd.Series[Any]) -> Iterable[bytes]:
    """Return numbers as floats: a file may hold whole numbers with gaps as such; those no float holds as texts."""
    values = series.to_numpy(dtype="float64", na_value=np.nan)
    if series.dtype.kind in "iu" and (np.abs(values) >= _EXACT).any():
        return (b"wholes", *_texts(series))
    # one zero and one not-a-number: files do not keep their signs
    return _counted(b"numbers", np.where(np.isnan(values), np.nan, values + 0.0))


def _texts(series: pd.Series[Any]) -> Iterable[bytes]:
    there = series.notna().to_numpy()
    words = series.to_numpy(dtype=object)[there].tolist()
    if not isinstance(series.dtype, pd.StringDtype):
        words = list(map(str, words))
    lengths = np.full(len(series), _MISSING, dtype=np.int64)
    lengths[there] = np.fromiter(map(len, words), np.int64, len(words))
    # a half of a pair of code points is no text, but nothing may fail on it here
    together = "".join(words).encode("utf-8", "surrogatepass")
    return (*_counted(b"", lengths), len(together).to_bytes(8, "little"), together)


def _pieces(values: Sequence[bytes | None]) -> tuple[bytes, ...]:
    lengths = np.array([_MISSING if value is None else len(value) for value in values], dtype=np.int64)
    return (*_counted(b"", lengths), b"".join(value for value in values if value is not None))
