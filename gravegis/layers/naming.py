"""Layers and columns in words for people who never saw a table of ours; names come from the schema."""

from __future__ import annotations

import re

from gravegis.layers import schema

__all__ = ["column_in_words", "layer_in_words"]

# Columns whose meaning leans on the column before it in the table, lists grades, or says how to write it.
_ALONE = {
    ("stones", "material"): "material",
    ("stones", "quick_score"): "grade of the quick survey",
    ("findings", "pattern"): "what was found",
    ("findings", "severity"): "severity",
    ("findings", "found_on"): "day it was found",
    ("observations", "seen_on"): "day it was seen",
    ("stones", "stability_on"): "day of the last stability check",
    ("stones", "stability_by"): "who checked the stability",
    ("heads", "throw_m"): "throw",
    ("heads", "throw_basis"): "how the throw was got",
}


def layer_in_words(layer: str, *, whole: bool = False) -> str:
    """Return what a layer is called: the plain word for inputs, the meaning for results, `whole` or its beginning."""
    if not schema.is_known(layer):
        return layer.replace("_", " ")
    known = schema.layer(layer)
    # the names of inputs are plain words, those of results are not
    name = layer.replace("_", " ") if known.role == "input" else known.meaning.rpartition("per stone: ")[2]
    return name if whole else _head(name)


def column_in_words(layer: str, column: str) -> str:
    """Return what a column of a layer holds."""
    if (layer, column) in _ALONE:
        return _ALONE[layer, column]
    known = schema.layer(layer).columns if schema.is_known(layer) else {}
    return _head(known[column].meaning) if column in known else column.replace("_", " ")


def _head(meaning: str) -> str:
    """Return a meaning up to its first comma, colon or semicolon."""
    return re.split(r"[,:;]", meaning, maxsplit=1)[0].strip()
