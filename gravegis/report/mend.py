"""How to come by what is missing: what to measure or ask, from ``data/mends.csv``, and the command that brings it in.

The table holds advice of the trade (common practice, no source); a column without a row of its own gets the general
words.
"""

from __future__ import annotations

import csv
import shlex
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING

from gravegis.layers import schema
from gravegis.layers.naming import column_in_words, layer_in_words

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["command", "measures", "name_of", "way_to"]


@cache
def measures() -> Mapping[tuple[str, str], str]:
    """Return (layer, column) -> what to measure or ask; the column is empty for a layer as a whole."""
    text = files("gravegis.report").joinpath("data", "mends.csv").read_text(encoding="utf-8")
    return {(row["layer"], row["column"]): row["measure"] for row in csv.DictReader(text.splitlines())}


def name_of(layer: str, column: str) -> str:
    """Return a layer, or a column of it, in words."""
    if not column:
        return layer_in_words(layer)
    words = "place on the ground" if column == "geometry" else column_in_words(layer, column)
    return f"{layer_in_words(layer)}, {words}"


def way_to(layer: str, column: str, maker: str = "") -> str:
    """Return what to measure, ask or do; `maker` is the analysis that gives a result layer."""
    if maker:
        return f"It comes from analysis {maker}: see what is missing for that one"
    known = measures().get((layer, column))
    return known or (
        f"Note it for each row of {layer_in_words(layer)}" if column else f"Bring in what there is of {layer}"
    )


def command(folder: str, layer: str, column: str, maker: str = "") -> str:
    """Return the command that brings it in, with FILE and THEIRS where only the person knows the name."""
    site = shlex.quote(folder)
    if maker:
        return f"gravegis {maker} {site}"
    mapping = ""
    if column and column != "geometry":
        known = schema.layer(layer).columns.get(column) if schema.is_known(layer) else None
        unit = f" {known.unit}" if known is not None and known.unit not in ("", "1") else ""
        mapping = f' --column {column}="THEIRS{unit}"'
    return f"gravegis add {site} {layer} FILE{mapping}"
