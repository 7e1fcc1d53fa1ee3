"""GeoPackage, GeoJSON and Shapefile: read whole or refused, with what each says about its place."""

from __future__ import annotations

import tempfile
import warnings
import zipfile
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio

from gravegis.errors import LayerError
from gravegis.layers.crs import understood
from gravegis.layers.read import whole
from gravegis.layers.read.raw import Raw, as_text, each_once, many, shown, tidy_names

if TYPE_CHECKING:
    from pyproj import CRS

    from gravegis.layers.canonical import Frame
    from gravegis.layers.read.whole import Counted

__all__ = ["read_geojson", "read_geopackage", "read_shapefile", "read_zip"]

_RFC = "GeoJSON without a reference system is longitude and latitude, WGS 84 (RFC 7946)"
_CUT_NAME = 10
_PARTS = (".shp", ".shx", ".dbf", ".prj", ".cpg", ".cst")
_MOST_BYTES = 2_000_000_000  # a Shapefile cannot be larger


def read_geopackage(path: Path, *, layer: str | None = None, encoding: str | None = None) -> Raw:
    """Read a layer of a GeoPackage; raises LayerError when it is damaged or holds several and none is named."""
    _no_encoding(encoding, "A GeoPackage is always UTF-8")
    whole.geopackage(path)
    name = _layer_name(path, layer)
    counted = whole.geopackage_rows(path, name)
    frame, said = _read(path, counted, layer=name)
    crs, trouble = understood(frame.crs) if _placed(frame) and frame.crs is not None else (None, "")
    return _raw(frame, crs, trouble, said, counted.notes)


def read_geojson(path: Path, *, layer: str | None = None, encoding: str | None = None) -> Raw:
    """Read a GeoJSON file; its old ``crs`` member is honoured where it names a known system.

    A member nobody knows leaves the reference system open: libraries take such a file for degrees without a word.
    """
    _no_encoding(encoding, "GeoJSON is always UTF-8")
    _no_layer(layer, "A GeoJSON file")
    counted = whole.geojson(path)
    frame, said = _read(path, counted)
    if counted.ids and "id" not in frame.columns:
        frame = frame.assign(id=np.array([None if one is None else str(one) for one in counted.ids], dtype=object))
    if counted.member is None:
        return _raw(frame, understood("EPSG:4326")[0], "", said, counted.notes, implied=_RFC)
    crs, trouble = _member(counted.member)
    return _raw(frame, crs, trouble, said, counted.notes)


def read_shapefile(path: Path, *, layer: str | None = None, encoding: str | None = None) -> Raw:
    """Read a Shapefile; raises LayerError when one of its files is missing, cut or of another table."""
    _no_layer(layer, "A Shapefile")
    counted = whole.shapefile(path)
    frame, said = _read(path, counted, encoding=encoding)
    projection = whole.beside(path, ".prj")
    crs, trouble = None, ""
    if projection is not None and (text := projection.read_text(encoding="utf-8", errors="replace").strip()):
        crs, trouble = understood(text)
    notes = [*counted.notes, *_cut_names(frame)]
    if encoding is None and whole.beside(path, ".cpg") is None:
        said = (*said, *_guessed(frame))
    return _raw(frame, crs, trouble, said, tuple(notes))


def read_zip(path: Path, *, layer: str | None = None, encoding: str | None = None) -> Raw:
    """Read the one Shapefile in a zip file; raises LayerError when it holds none or several."""
    try:
        with zipfile.ZipFile(path) as archive, tempfile.TemporaryDirectory() as folder:
            outlines = [one for one in archive.namelist() if one.lower().endswith(".shp") and not _is_rest(one)]
            wanted = [one for one in outlines if layer in (None, PurePosixPath(one).stem)]
            if len(wanted) != 1:
                names = shown(PurePosixPath(one).stem for one in outlines) or "none"
                raise LayerError(
                    f"the zip file holds {len(outlines)} Shapefiles ({names}), one is wanted", where=path.name,
                    remedy="Name one with --file-layer, or unpack it and add the file itself.",
                )  # fmt: skip
            return read_shapefile(_unpack(archive, wanted[0], Path(folder)), encoding=encoding)
    except (zipfile.BadZipFile, OSError, NotImplementedError, RuntimeError) as error:
        raise LayerError(f"the zip file cannot be opened ({error})", where=path.name, remedy="Unpack it.") from None


def _is_rest(name: str) -> bool:
    """Whether a member of a zip file is one of the shadows some systems add."""
    return "__MACOSX" in name or PurePosixPath(name).name.startswith(".")


def _unpack(archive: zipfile.ZipFile, outline: str, folder: Path) -> Path:
    stem = outline[: -len(".shp")]
    for one in archive.infolist():
        suffix = one.filename[len(stem) :].lower()
        if one.filename.startswith(stem) and suffix in _PARTS and one.file_size <= _MOST_BYTES:
            (folder / f"zipped{suffix}").write_bytes(archive.read(one))
    return folder / "zipped.shp"


def _no_encoding(encoding: str | None, why: str) -> None:
    if encoding is not None and encoding.lower().replace("-", "") != "utf8":
        raise LayerError(f"{why}, not {encoding}", where="--encoding", remedy="Leave --encoding out.")


def _no_layer(layer: str | None, what: str) -> None:
    if layer is not None:
        raise LayerError(f"{what} holds one layer only", where="--file-layer", remedy="Leave --file-layer out.")


def _layer_name(path: Path, wanted: str | None) -> str:
    try:
        names = [str(name) for name, _ in pyogrio.list_layers(path)]
    except pyogrio.errors.DataSourceError as error:
        raise LayerError(f"the file cannot be opened ({error})", where=path.name, remedy="Export it again.") from None
    if wanted is not None and wanted in names:
        return wanted
    if wanted is None and len(names) == 1:
        return names[0]
    said = f"has no layer '{wanted}'" if wanted else f"has {len(names)} layers"
    raise LayerError(
        f"the file {said}: {', '.join(names) or 'none'}", where=path.name, remedy="Name one: --file-layer NAME."
    )


def _placed(frame: Frame) -> bool:
    return isinstance(frame, gpd.GeoDataFrame) and "geometry" in frame.columns


def _read(path: Path, counted: Counted, **how: Any) -> tuple[Frame, tuple[str, ...]]:  # noqa: ANN401
    """Read the rows; raises LayerError unless there are as many as the file says it holds."""
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        try:
            frame: Frame = pyogrio.read_dataframe(path, on_invalid="ignore", **how)
            if counted.clash:
                frame = _with_clash(frame, path, how)
        except LookupError:
            raise LayerError(
                f"'{how.get('encoding')}' is no encoding known here", where="--encoding", remedy="Such as cp1252."
            ) from None
        except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError, ValueError, RuntimeError) as error:
            raise LayerError(
                f"the file cannot be read ({error})", where=path.name, remedy="Export it again."
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
    lost = counted.placed - int(frame["geometry"].notna().sum()) if counted.placed is not None else 0
    if lost > 0:
        said.append(f"{many(lost, 'outline')} of the file cannot be read; the row is listed as one without a place")
    return frame, tuple(said)


def _with_clash(frame: Frame, path: Path, how: dict[str, Any]) -> Frame:
    """Return the rows with the column called geometry that the outlines have taken the place of."""
    lost = pyogrio.read_dataframe(path, columns=["geometry"], read_geometry=False, **how)
    return frame.assign(geometry_=lost["geometry"].to_numpy())


def _member(member: Any) -> tuple[CRS | None, str]:  # noqa: ANN401 - whatever JSON holds
    """Return the system that the old ``crs`` member of GeoJSON names."""
    properties = member.get("properties") if isinstance(member, dict) else None
    name = properties.get("name") if isinstance(properties, dict) else None
    if not isinstance(name, str) or not name.strip():
        return None, "its 'crs' member names no system (a link is not followed)"
    crs, trouble = understood("EPSG:4326" if "CRS84" in name.upper() else name)
    return crs, f"its 'crs' member: {trouble}" if trouble else ""


def _raw(
    frame: Frame, crs: CRS | None, trouble: str, said: tuple[str, ...], notes: tuple[str, ...], *, implied: str = ""
) -> Raw:
    placed = _placed(frame)
    if placed:
        frame = frame[[*(name for name in frame.columns if name != "geometry"), "geometry"]]
    names, renamed = tidy_names(frame.columns, placed=placed)
    made = frame.set_axis(names, axis="columns")
    if placed:
        made = gpd.GeoDataFrame(made, geometry="geometry", crs=None)
    for name in names:
        if name != "geometry":
            made[name] = _plain(made[name])
    count = f"{len(made)} rows, {len(names) - placed} columns"
    basis = implied or (f"the file says {crs.name}" if crs is not None else "")
    return Raw(
        made, crs if placed else None, basis, stated=bool(crs is not None and not implied),
        trouble=trouble if placed else "", is_table=not placed, notes=(count, *notes, *renamed), warnings=said,
    )  # fmt: skip


def _plain(series: pd.Series[Any]) -> pd.Series[Any]:
    """Return a column with values a site file keeps: lists as text, dates in ISO form, blanks missing."""
    if pd.api.types.is_datetime64_any_dtype(series.dtype):
        codes, once = pd.factorize(series)
        stamps: list[str | None] = [one.isoformat() for one in pd.Series(once)]
        if all(one is not None and one.endswith("T00:00:00") for one in stamps):
            stamps = [one and one[:10] for one in stamps]
        return pd.Series(np.array([*stamps, None], dtype=object)[codes], index=series.index, dtype="str")
    if isinstance(series.dtype, pd.StringDtype):
        return each_once(series, _bare)
    if series.dtype == object:
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


def _cut_names(frame: Frame) -> list[str]:
    cut = [str(name) for name in frame.columns if len(str(name)) == _CUT_NAME]
    if not cut:
        return []
    return [f"column names of a Shapefile end after 10 letters; perhaps cut: {shown(cut)}; they are kept as they are"]


def _guessed(frame: Frame) -> tuple[str, ...]:
    texts = [frame[name].dropna() for name in frame.columns if pd.api.types.is_string_dtype(frame[name].dtype)]
    odd = sorted({str(text) for column in texts for text in column.unique() if not str(text).isascii()})
    if not odd:
        return ()
    return (f"the table does not say its encoding; read as Latin letters: {shown(odd, 3)}; if wrong: --encoding ...",)
