"""One layer written to a file of another program, by the kind its name ends in."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from gravegis.errors import LayerError
from gravegis.outputs.cells import harmless, write_csv
from gravegis.outputs.days import point_of

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from gravegis.layers.canonical import Frame

__all__ = ["WRITERS"]


def _as_csv(frame: Frame, layer: str, file: Path) -> None:
    del layer
    names = [str(name) for name in frame.columns if name != "geometry"]
    rows = [[_cell(value) for value in values] for values in zip(*(frame[n].tolist() for n in names), strict=True)]
    if "geometry" in frame.columns:
        shapes = list(frame.geometry)
        points = all(shape is None or shape.geom_type == "Point" for shape in shapes)
        names += ["easting", "northing"] if points else ["wkt"]
        for row, shape in zip(rows, shapes, strict=True):
            row += _place_cells(shape) if points else ["" if shape is None else shape.wkt]
    write_csv(file, [[harmless(name) for name in names], *rows])


def _cell(value: Any) -> str:  # noqa: ANN401 - a cell of any kind
    import pandas as pd

    if value is None or pd.isna(value):
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return repr(value) if isinstance(value, float) else str(value) if isinstance(value, int) else harmless(str(value))


def _place_cells(shape: Any) -> list[str]:  # noqa: ANN401 - a shapely point or None
    at = point_of(shape)
    return ["", ""] if at is None else [f"{at[0]:.3f}", f"{at[1]:.3f}"]


def _needs_place(frame: Any, layer: str, file: Path) -> None:  # noqa: ANN401 - with or without a place
    if "geometry" not in frame.columns:
        raise LayerError(f"layer {layer} lies nowhere on the ground", where=file.name, remedy="Write it as .csv.")


def _as_geojson(frame: Any, layer: str, file: Path) -> None:  # noqa: ANN401 - with or without a place
    _needs_place(frame, layer, file)
    frame.to_crs("EPSG:4326").to_file(file, driver="GeoJSON", layer=layer, COORDINATE_PRECISION=9)


def _as_gpkg(frame: Any, layer: str, file: Path) -> None:  # noqa: ANN401 - with or without a place
    _needs_place(frame, layer, file)
    file.unlink(missing_ok=True)
    frame.to_file(file, driver="GPKG", layer=layer)


def _as_shp(frame: Any, layer: str, file: Path) -> None:  # noqa: ANN401 - with or without a place
    """Write a Shapefile: names have ten signs at most (the long ones go beside it); texts are cut with a mark."""
    from gravegis.layers.read.long_names import write_names

    _needs_place(frame, layer, file)
    families = {str(one).removeprefix("Multi") for one in frame.geometry.geom_type.dropna()}
    if len(families) > 1:
        raise LayerError(
            f"layer {layer} holds {' and '.join(sorted(families))}, a Shapefile only one kind", where=file.name,
            remedy="Write it as .gpkg or .geojson.",
        )  # fmt: skip
    short: dict[str, str] = {}
    for name in (str(one) for one in frame.columns if one != "geometry"):
        tries = (name[:10], *(f"{name[: 10 - len(str(count))]}{count}" for count in range(2, len(frame.columns) + 2)))
        short[name] = next(made for made in tries if made not in short.values())
    cut = frame.apply(lambda one: one.map(_fits_dbf, na_action="ignore") if one.dtype == "str" else one)
    cut.rename(columns=short).to_file(file, driver="ESRI Shapefile", encoding="utf-8")
    write_names(file, {made: name for name, made in short.items()})


def _fits_dbf(text: str) -> str:
    """Return text of at most 254 bytes, the room a Shapefile has; a cut one ends in an ellipsis."""
    raw = text.encode()
    return text if len(raw) <= 254 else f"{raw[:251].decode(errors='ignore')}…"


WRITERS: dict[str, Callable[[Any, str, Path], None]] = {
    ".csv": _as_csv, ".geojson": _as_geojson, ".gpkg": _as_gpkg, ".shp": _as_shp,
}  # fmt: skip
