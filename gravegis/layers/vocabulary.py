"""Words that a column is understood in: materials, patterns of harm, forms; everything else is kept and counted."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

from gravegis.layers.read.raw import many, shown
from gravegis.science.condition.tables import rows

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gravegis.layers.canonical import Frame
    from gravegis.layers.schema import Layer

__all__ = ["known_words", "unknown_words"]

# Column, table of words, its column of terms; aliases and plain phrases stand beside them.
_TABLES = {"material": ("materials", "material"), "pattern": ("patterns", "term")}


@cache
def known_words(column: str) -> frozenset[str]:
    """Return every word, alias and plain phrase of a column, in small letters; none where it takes any word."""
    if column not in _TABLES:
        return frozenset()
    table, key = _TABLES[column]
    found = set[str]()
    for row in rows(table):
        found |= {row[key], row.get("phrase", ""), *row.get("aliases", "").split("|")}
    return frozenset(word.strip().lower() for word in found if word and word.strip())


def unknown_words(frame: Frame, layer: Layer) -> Iterator[str]:
    """Give a line per column with words that are in none of its vocabularies, each counted."""
    for name in layer.columns:
        known = known_words(name)
        if not known or name not in frame.columns:
            continue
        words = frame[name].dropna().astype("str").str.strip()
        odd = words[~words.str.lower().isin(known) & (words != "")]
        if len(odd):
            counted = shown(f"'{str(word)[:60]}' ({count})" for word, count in odd.value_counts().items())
            yield (
                f"{name}: {many(len(odd), 'value')} in no vocabulary, kept as typed: {counted}; map them with a "
                "mapping file (gravegis look ... --save-mapping)"
            )
