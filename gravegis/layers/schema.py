"""What each layer holds: columns, kinds, units, ranges and meanings, read from the tables in ``data/``."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING

from gravegis.errors import LayerError

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["KINDS", "SCHEMA_VERSION", "Column", "Layer", "input_layer", "is_known", "layer", "layers", "table"]

SCHEMA_VERSION = 2
"""Raised whenever a stored layer changes its form; older sites are migrated forward (`store.migrate`)."""

KINDS = ("id", "text", "whole", "number", "flag", "date", "civil", "instant", "json")
"""Kinds of column; `canonical` owns the one dtype of each."""


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its kind, unit, honest range, the words used in it (others are kept and counted), meaning."""

    name: str
    kind: str
    unit: str
    low: float | None
    high: float | None
    required: bool
    values: tuple[str, ...]
    meaning: str


@dataclass(frozen=True, slots=True)
class Layer:
    """One layer: input or result, which geometry it may have, which columns name a row."""

    name: str
    role: str
    geometry: tuple[str, ...]
    key: tuple[str, ...]
    meaning: str
    columns: Mapping[str, Column]

    @property
    def has_geometry(self) -> bool:
        """Whether rows lie somewhere on the ground."""
        return self.geometry != ("none",)

    @property
    def id_column(self) -> str | None:
        """The column that alone names a row; None where several do."""
        return self.key[0] if len(self.key) == 1 else None


def table(name: str) -> list[dict[str, str]]:
    """Return the rows of a table of the schema, such as ``columns.csv``."""
    text = files("gravegis.layers").joinpath("data", name).read_text(encoding="utf-8")
    return list(csv.DictReader(text.splitlines()))


def _bound(text: str) -> float | None:
    return float(text) if text else None


def _column(row: Mapping[str, str]) -> Column:
    return Column(
        name=row["column"],
        kind=row["kind"],
        unit=row["unit"],
        low=_bound(row["low"]),
        high=_bound(row["high"]),
        required=row["required"] == "yes",
        values=tuple(row["values"].split("|")) if row["values"] else (),
        meaning=row["meaning"],
    )


@cache
def layers() -> Mapping[str, Layer]:
    """Return every layer gravegis knows, inputs first, in the order of the job."""
    columns: dict[str, dict[str, Column]] = {}
    for row in table("columns.csv"):
        columns.setdefault(row["layer"], {})[row["column"]] = _column(row)
    return {
        row["layer"]: Layer(
            name=row["layer"],
            role=row["role"],
            geometry=tuple(row["geometry"].split("|")),
            key=tuple(row["key"].split("|")),
            meaning=row["meaning"],
            columns=columns[row["layer"]],
        )
        for row in table("layers.csv")
    }


def is_known(name: str) -> bool:
    """Whether a layer of this name is in the schema."""
    return name in layers()


def layer(name: str) -> Layer:
    """Return one layer's schema; raises LayerError with the names there are."""
    try:
        return layers()[name]
    except KeyError:
        known = ", ".join(one.name for one in layers().values() if one.role == "input")
        raise LayerError(f"there is no layer called '{name}'", remedy=f"Use one of: {known}.") from None


def input_layer(name: str) -> Layer:
    """Return the schema of a layer that files can be brought in as; raises LayerError for any other."""
    wanted = layer(name)
    if wanted.role != "input":
        known = ", ".join(one.name for one in layers().values() if one.role == "input")
        raise LayerError(f"layer {name} is worked out, not brought in", remedy=f"Bring in one of: {known}.")
    return wanted
