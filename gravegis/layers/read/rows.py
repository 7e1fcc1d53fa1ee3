"""Rows through the general library: as many as the file says, with the values a site file keeps."""

from __future__ import annotations

import warnings
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import shapely

from gravegis.errors import GravegisError, LayerError
from gravegis.layers.crs import understood
from gravegis.layers.read.damage import library_reads
from gravegis.layers.read.raw import Raw, as_text, brief, each_once, many, shown, tidy_names

if TYPE_CHECKING:
    from pathlib import Path

    from pyproj import CRS

    from gravegis.layers.canonical import Frame
    from gravegis.layers.read.whole import Counted

__all__ = [
    "CUT_NAME",
    "as_raw",
    "crs_member",
    "cut_names",
    "guessed_letters",
    "has_places",
    "layer_name",
    "library_path",
    "no_encoding",
    "no_layer",
    "one_of",
    "plain_values",
    "read_rows",
]  # fmt: skip

CUT_NAME = 10
"""Most signs a column name of a Shapefile may have."""


def library_path(path: Path, prefix: str = "") -> str:
    """Return the name under which the library opens a file on this disk and nothing else.

    The library takes some names for places in archives or on the network; those are refused, the others are made
    absolute, so that no beginning of a name reads like the address of another computer.
    """
    full = str(path.resolve())
    if "!" in full or full.lower().replace("\\", "/").lstrip("/").startswith("vsi"):
        raise LayerError(
            "the library would take this name for something else (it holds '!' or begins with vsi)", where=path.name,
            remedy="Give the file or its folder a plain name.",
        )  # fmt: skip
    return f"{prefix}{full}"


def one_of(names: list[str], wanted: str | None, *, where: str, what: str) -> str:
    """Return the layer to read: the one named, or the only one; raises LayerError with those there are.

    Parameters
    ----------
    names
        Layers that hold something, each perhaps with its count behind it: ``stones (12 points)``.
    what
        What the file calls its parts, such as ``layers`` or ``sheets``.
    """
    plain = [name.rpartition(" (")[0] or name for name in names]
    if wanted is not None and wanted in plain:
        return wanted
    if wanted is None and len(plain) == 1:
        return plain[0]
    if wanted is None and not plain:
        raise LayerError("the file holds nothing that can be read", where=where, remedy="Export it again.")
    said = f"has no {what.removesuffix('s')} '{wanted[:80]}'" if wanted else f"has {len(names)} {what}"
    raise LayerError(f"the file {said}: {shown(names, 30)}", where=where, remedy="Name one: --file-layer NAME.")


def no_encoding(encoding: str | None, why: str) -> None:
    """Refuse a named encoding for a kind of file that has only one."""
    if encoding is not None and encoding.lower().replace("-", "") != "utf8":
        raise LayerError(f"{why}, not {encoding}", where="--encoding", remedy="Leave --encoding out.")


def no_layer(layer: str | None, what: str) -> None:
    """Refuse a named layer for a kind of file that holds one."""
    if layer is not None:
        raise LayerError(f"{what} holds one layer only", where="--file-layer", remedy="Leave --file-layer out.")


def layer_name(path: Path, wanted: str | None) -> str:
    """Return the layer of a file to read; raises LayerError with the layers there are."""
    with library_reads(path):
        names = [str(name) for name, _ in pyogrio.list_layers(library_path(path))]
    return one_of(names, wanted, where=path.name, what="layers")


def has_places(frame: Frame) -> bool:
    """Whether the rows came with geometry."""
    return isinstance(frame, gpd.GeoDataFrame) and "geometry" in frame.columns


def read_rows(path: Path, counted: Counted, *, prefix: str = "", **how: Any) -> tuple[Frame, tuple[str, ...]]:  # noqa: ANN401
    """Read the rows; raises LayerError unless there are as many as the file says it holds."""
    name = library_path(path, prefix)
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        try:
            frame: Frame = pyogrio.read_dataframe(name, on_invalid="ignore", **how)
            if counted.clash:
                frame = _with_clash(frame, name, how)
        except LookupError:
            raise LayerError(
                f"'{how.get('encoding')}' is no encoding known here", where="--encoding", remedy="Such as cp1252."
            ) from None
        except GravegisError:
            raise
        except Exception as error:
            raise LayerError(
                f"the file cannot be read ({brief(str(error), 160)})", where=path.name, remedy="Export it again."
            ) from error
    if len(frame) != counted.rows:
        raise LayerError(
            f"{len(frame)} rows were read, the file says it holds {counted.rows}", where=path.name,
            remedy="The file is damaged: export it again.",
        )  # fmt: skip
    if isinstance(frame, gpd.GeoDataFrame) and frame.geometry.name != "geometry":
        frame = frame.rename_geometry("geometry")
    # a column of numbers and texts comes as texts, as wanted; the reader would rather have had JSON
    told = dict.fromkeys(str(one.message) for one in caught if "as JSON" not in str(one.message))
    said = [f"the reader says: {words}" for words in list(told)[:3]]
    lost = (
        counted.placed - int(shapely.is_geometry(frame["geometry"].to_numpy()).sum())
        if counted.placed is not None
        else 0
    )
    if lost > 0:
        said.append(f"{many(lost, 'outline')} of the file cannot be read; the row is listed as one without a place")
    return frame, tuple(said)


def _with_clash(frame: Frame, name: str, how: dict[str, Any]) -> Frame:
    """Return the rows with the column called geometry that the outlines have taken the place of."""
    lost = pyogrio.read_dataframe(name, columns=["geometry"], read_geometry=False, **how)
    return frame.assign(geometry_=lost["geometry"].to_numpy())


def crs_member(member: Any) -> tuple[CRS | None, str]:  # noqa: ANN401 - whatever JSON holds
    """Return the system that the old ``crs`` member of GeoJSON names."""
    properties = member.get("properties") if isinstance(member, dict) else None
    name = properties.get("name") if isinstance(properties, dict) else None
    if not isinstance(name, str) or not name.strip():
        return None, "its 'crs' member names no system (a link is not followed)"
    crs, trouble = understood("EPSG:4326" if "CRS84" in name.upper() else name)
    return crs, f"its 'crs' member: {trouble}" if trouble else ""


def as_raw(
    frame: Frame, crs: CRS | None, trouble: str, said: tuple[str, ...], notes: tuple[str, ...], *, implied: str = ""
) -> Raw:
    """Return rows with tidy names and plain values; `implied` tells why a kind of file has its reference system."""
    placed = has_places(frame)
    if placed:
        frame = frame[[*(name for name in frame.columns if name != "geometry"), "geometry"]]
    names, renamed = tidy_names(frame.columns, placed=placed)
    made = frame.set_axis(names, axis="columns")
    if placed:
        made = gpd.GeoDataFrame(made, geometry="geometry", crs=None)
    for name in names:
        if name != "geometry":
            made[name] = plain_values(made[name])
    count = f"{len(made)} rows, {len(names) - placed} columns"
    basis = implied or (f"the file says {crs.name}" if crs is not None else "")
    return Raw(
        made, crs if placed else None, basis, stated=bool(crs is not None and not implied),
        trouble=trouble if placed else "", is_table=not placed, notes=(count, *notes, *renamed), warnings=said,
    )  # fmt: skip


def plain_values(series: pd.Series[Any]) -> pd.Series[Any]:
    """Return a column with values a site file keeps: lists as text, dates in ISO form, blanks missing."""
    if pd.api.types.is_datetime64_any_dtype(series.dtype):
        codes, once = pd.factorize(series)
        stamps: list[str | None] = [one.isoformat() for one in pd.Series(once)]
        if all(one is not None and one.endswith("T00:00:00") for one in stamps):
            stamps = [one and one[:10] for one in stamps]
        return pd.Series(np.array([*stamps, None], dtype=object)[codes], index=series.index, dtype="str")
    if isinstance(series.dtype, pd.StringDtype):
        return each_once(series, _bare)
    if series.dtype == object or pd.api.types.is_string_dtype(series.dtype):
        return as_text(pd.Series([_word(value) for value in series], index=series.index, dtype=object))
    return series


def _bare(words: list[str]) -> list[str]:
    """Return texts stripped and without the sign that ends a text in a file."""
    bare = list(map(str.strip, words))
    return [word.replace("\x00", "") for word in bare] if "\x00" in "".join(bare) else bare


def _word(value: object) -> str | None:
    if value is None or value is pd.NA or (isinstance(value, float) and np.isnan(value)):
        return None
    if isinstance(value, np.ndarray):
        return str(value.tolist())
    if isinstance(value, bytes):
        return value.hex()
    return str(value).strip().replace("\x00", "")


def cut_names(frame: Frame) -> list[str]:
    """Return a note about names as long as a Shapefile allows."""
    cut = [str(name) for name in frame.columns if len(str(name)) == CUT_NAME]
    if not cut:
        return []
    return [f"column names of a Shapefile end after 10 letters; perhaps cut: {shown(cut)}; they are kept as they are"]


def guessed_letters(frame: Frame) -> tuple[str, ...]:
    """Return a question where letters beyond plain English were read with a guessed encoding."""
    texts = [frame[name].dropna() for name in frame.columns if pd.api.types.is_string_dtype(frame[name].dtype)]
    odd = sorted({str(text) for column in texts for text in column.unique() if not str(text).isascii()})
    if not odd:
        return ()
    return (f"the table does not say its encoding; read as Latin letters: {shown(odd, 3)}; if wrong: --encoding ...",)
