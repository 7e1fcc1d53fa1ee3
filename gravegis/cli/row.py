"""The values of one row as people type them: units, missing words, places."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pandas as pd
import shapely

from gravegis import units
from gravegis.errors import GravegisError, LayerError, Problem
from gravegis.layers import cells, place, schema
from gravegis.layers.holder import bounds_m
from gravegis.layers.values import convert

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from gravegis.layers.schema import Column
    from gravegis.site import Site

__all__ = ["typed"]

_PLACE = ("x", "y", "geometry")


def typed(site: Site, layer: str, id_: str, pairs: Sequence[str]) -> dict[str, object]:
    """Read ``height_m=1.2``, ``throw_m=36 ft``, ``x=372001.5``; raises one LayerError with all that cannot be read."""
    problems: list[Problem] = []
    texts = _texts(pairs, layer, problems)
    values: dict[str, object] = {}
    for name, text in texts.items():
        if name in _PLACE:
            continue
        try:
            values[name] = _one(site, layer, name, text)
        except GravegisError as error:
            problems.extend(error.problems)
    try:
        if there := {name: texts[name] for name in texts if name in _PLACE}:
            values["geometry"] = _place(site, layer, id_, there)
            _refuse_far(site, layer, id_, values["geometry"])
    except GravegisError as error:
        problems.extend(error.problems)
    if problems:
        raise LayerError.of(problems)
    return values


def _texts(pairs: Sequence[str], layer: str, problems: list[Problem]) -> dict[str, str]:
    texts: dict[str, str] = {}
    for pair in pairs:
        name, found, text = (part.strip() for part in pair.partition("="))
        if not found or not name:
            problems.append(Problem(f"'{pair}' is not COLUMN=VALUE", layer, "Write it such as height_m=1.2."))
        elif name in texts:
            problems.append(Problem(f"{name} is given twice", layer, "Give it once."))
        else:
            texts[name] = text
    return texts


def _one(site: Site, layer: str, name: str, text: str) -> object:
    columns = schema.layer(layer).columns
    return _value(text, columns[name], layer) if name in columns else _foreign(site, layer, name, text)


def _value(text: str, column: Column, layer: str) -> object:
    """Return one value as a file would give it: missing words, units, decimal signs."""
    done = convert(pd.Series([text], dtype="str"), column, unit="", decimal=".", where=f"{layer}.{column.name}")
    if done.problems:
        raise LayerError.of(done.problems)
    value: Any = done.values.iloc[0]
    return None if pd.isna(value) else value


def _foreign(site: Site, layer: str, name: str, text: str) -> object:
    """Return a value for a column that is not ours, in the type that stands there."""
    kind = getattr(site[layer][name].dtype, "kind", "O") if layer in site and name in site[layer].columns else "O"
    if not text:
        return None
    try:
        return int(text) if kind in "iu" else float(text) if kind == "f" else text
    except ValueError:
        return text


def _place(site: Site, layer: str, id_: str, given: Mapping[str, str]) -> object:
    where = f"{layer} {id_}"
    if "geometry" in given:
        if len(given) > 1:
            raise LayerError("a place is given twice", where=where, remedy="Give x and y, or geometry.")
        shape = shapely.from_wkt(given["geometry"], on_invalid="ignore") if given["geometry"] else None
        if given["geometry"] and shape is None:
            raise LayerError("this is no well-known text", where=where, remedy='Write it such as "POINT (3720 6250)".')
        return shape
    held = _held_place(site, layer, id_)
    if held is not None and held.geom_type != "Point":
        raise LayerError(
            "it has an outline, not a point", where=where, remedy='Give the new one: geometry="POLYGON ((...))".'
        )
    if held is None and len(given) < 2:
        raise LayerError("it has no place yet: x and y are both needed", where=where, remedy="Give both.")
    x, y = (units.parse(given[axis], "m") if axis in given else getattr(held, axis) for axis in ("x", "y"))
    return shapely.Point(x, y)


def _held_place(site: Site, layer: str, id_: str) -> Any:  # noqa: ANN401 - a shape or None
    if layer not in site:
        return None
    row = cells.row_of(site[layer], schema.layer(layer), (id_,))
    return None if row is None else cells.held(site[layer], row, "geometry")


def _refuse_far(site: Site, layer: str, id_: str, shape: Any) -> None:  # noqa: ANN401 - a shape or None
    """Refuse a place far from all others: coordinates typed the wrong way round, or of another system."""
    box = bounds_m(site) if shape is not None and not shape.is_empty else None
    if box is not None and (away_m := float(shapely.distance(shape, shapely.box(*box)))) > place.MAX_WIDTH_M:
        raise LayerError(
            f"this place lies {away_m / 1000:,.0f} km from all others of the site", where=f"{layer} {id_}",
            remedy=f"Give x and y in {site.info.crs}; x lies between {box[0]:.0f} and {box[2]:.0f} here.",
        )  # fmt: skip
