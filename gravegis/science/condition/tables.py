"""Vocabularies and coefficient tables that ship with gravegis, one CSV each, every row with its source."""

from __future__ import annotations

import csv
import re
import unicodedata
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from types import MappingProxyType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["Vocabulary", "plain", "rows", "vocabulary"]

_GAPS = re.compile(r"[\s_\-/]+")


@cache
def rows(name: str) -> tuple[Mapping[str, str], ...]:
    """Return the rows of one table, in file order; raises FileNotFoundError when there is no such table."""
    text = files("gravegis.science").joinpath("data", f"{name}.csv").read_text(encoding="utf-8")
    return tuple(MappingProxyType(row) for row in csv.DictReader(text.splitlines()))


def plain(typed: object) -> str:
    """Return a typed word in one spelling: lower case, single spaces, no hyphens, no closing punctuation.

    Anything that is not text (None, not-a-number) becomes the empty text.
    """
    if not isinstance(typed, str):
        return ""
    text = unicodedata.normalize("NFKC", typed).casefold()
    return _GAPS.sub(" ", text).strip(" .,;:!?'\"")


@dataclass(frozen=True, slots=True)
class Vocabulary:
    """Terms of one table and the other words people type for them."""

    terms: Mapping[str, Mapping[str, str]]
    words: Mapping[str, str]

    def term(self, typed: object) -> str:
        """Return the term for a typed word, or the empty text when it is not known; nothing is guessed.

        Case, spaces, hyphens and a plural s make no difference.
        """
        word = plain(typed)
        return self.words.get(word) or self.words.get(word.removesuffix("s"), "")

    def look_up(self, term: str, column: str) -> str:
        """Return one column of a term; the empty text for a term that is not in the table."""
        row = self.terms.get(term)
        return "" if row is None else row[column]


@cache
def vocabulary(name: str, *, key: str = "term", also: tuple[str, ...] = ("aliases",)) -> Vocabulary:
    """Return the vocabulary of one table: `key` names the term, `also` the columns with other words for it.

    Other words are separated by ``|``. A word that stands for two terms raises ValueError: it would be a guess.
    """
    terms = {row[key]: row for row in rows(name)}
    words: dict[str, str] = {}
    for term, row in terms.items():
        typed = [term, *(word for column in also for word in row[column].split("|"))]
        for word in filter(None, map(plain, typed)):
            if words.setdefault(word, term) != term:
                raise ValueError(f"{name}.csv: '{word}' stands for '{words[word]}' and '{term}'")
    return Vocabulary(MappingProxyType(terms), MappingProxyType(words))
