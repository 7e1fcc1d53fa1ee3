"""Lines of the Assumed box in words for people who never saw a table of ours.

An analysis says ``heads.arc_sweep_deg (1 row): arc unknown: a full circle``; people read ``heads, how far it turns
(1 row): arc unknown: a full circle``. Names of layers and columns come from the schema.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from gravegis.layers import schema
from gravegis.layers.naming import column_in_words, layer_in_words

if TYPE_CHECKING:
    from collections.abc import Iterable

__all__ = ["told"]

_LINE = re.compile(r"^([a-z_]+)(?:\.([a-z0-9_]+))?( \(\d+ rows?\))?: (.+)$", re.DOTALL)
# What is assumed of something that is no column of a layer.
_OTHERS = {("site", "time_zone"): "time zone of the site", ("worklist", "as_of"): "day the ages count from"}


def told(lines: Iterable[str]) -> tuple[str, ...]:
    """Return lines in people's words, once each; lines that differ only in the layer become one line.

    A line that names no layer stays as it is.
    """
    whats: dict[str, list[str]] = {}
    for line in lines:
        found = _LINE.match(line)
        what = _what(found.group(1), found.group(2), found.group(3) or "") if found else ""
        if found and what and not found.group(2) and not found.group(3):
            whats.setdefault(found.group(4), []).append(what)
        else:
            whats.setdefault(f"{what}: {found.group(4)}" if found and what else line, [])
    return tuple(f"{', '.join(dict.fromkeys(names))}: {words}" if names else words for words, names in whats.items())


def _what(layer: str, column: str | None, rows: str) -> str:
    """Return a layer, or a column of it, in words; empty where neither is known."""
    if (layer, column or "") in _OTHERS:
        return _OTHERS[layer, column or ""] + rows
    if not schema.is_known(layer):
        return ""
    if column is None:
        return layer_in_words(layer, whole=True) + rows
    return f"{layer_in_words(layer)}, {column_in_words(layer, column)}{rows}"
