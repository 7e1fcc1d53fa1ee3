"""Years as inscriptions give them: earliest, latest, and how certain."""

from __future__ import annotations

import re
from dataclasses import dataclass

__all__ = ["CERTAINTIES", "Year", "read_year"]

CERTAINTIES = ("exact", "about", "doubtful", "range", "partly legible", "before", "after")
"""How certain a year is; a range and a partly legible one lie somewhere from the earliest to the latest."""

_LOW, _HIGH = 1000, 2100
_TIDY = str.maketrans({"–": "-", "—": "-", "−": "-", "‒": "-", "_": "-", "·": "-", "…": "-", "*": "-", "O": "0"})
_ROMAN = re.compile(r"M{0,2}(?:CM|CD|D?C{0,4})(?:XC|XL|L?X{0,4})(?:IX|IV|V?I{0,4})")
_VALUES = {"M": 1000, "D": 500, "C": 100, "L": 50, "X": 10, "V": 5, "I": 1}
_ABOUT = re.compile(r"^(?:circa|ca\.?|c\.?|about|abt\.?|approx\.?|around|um|vers|env\.?|~)\s*(?=\d)")
_BEFORE = re.compile(r"^(?:before|bef\.?|ante|pre|by|vor|avant|<)[\s-]*(?=\d)")
_AFTER = re.compile(r"^(?:after|aft\.?|post|since|nach|apr[eè]s|>)[\s-]*(?=\d)")
_CENTURY = re.compile(r"^(early|mid|late)?[\s-]*(\d{1,2})(?:st|nd|rd|th)\s*(?:c\.?|cent\.?|century)$")
_PARTS = {None: (0, 99), "early": (0, 33), "mid": (33, 66), "late": (66, 99)}  # thirds: own choice
_WITHIN = re.compile(r"(?<!\d)(1\d{3}|20\d{2})(?!\d)")


@dataclass(frozen=True, slots=True)
class Year:
    """A year of an inscription: it lies from `earliest` to `latest`; None where that side is open."""

    earliest: int | None
    latest: int | None
    certainty: str


def read_year(text: str) -> Year | None:
    """Return the year of a text, or None where it names none.

    Understood are ``1871``, ``c. 1790``, ``18--``, ``187?``, ``1870s``, ``1871/72``, ``1871-1875``, ``1871?``,
    ``[1871]``, ``before 1880``, ``after 1850``, ``19th century``, ``MDCCCLXXI``, and a date with one year in it.
    A date with several years is a range from the first to the last. No width is made up for ``about``.
    """
    tidy = text.strip().strip("[]()").strip()
    low = tidy.translate(_TIDY).lower() if any(sign.isdigit() for sign in tidy) else tidy.lower()
    for read in (_plain, _words, _partly, _several, _roman, _dated):
        found = read(low)
        if found is not None:
            return found if _possible(found) else None
    return None


def _possible(year: Year) -> bool:
    known = [one for one in (year.earliest, year.latest) if one is not None]
    return all(_LOW <= one <= _HIGH for one in known) and known == sorted(known)


def _plain(text: str) -> Year | None:
    found = re.fullmatch(r"(\d{4})(?:\.0+)?\s*(\(?\?\)?)?", text)
    if found is None:
        return None
    return Year(int(found[1]), int(found[1]), "doubtful" if found[2] else "exact")


def _words(text: str) -> Year | None:
    for pattern, certainty in ((_ABOUT, "about"), (_BEFORE, "before"), (_AFTER, "after")):
        if pattern.match(text):
            inner = read_year(pattern.sub("", text))
            if inner is None:
                return None
            if certainty == "before":
                return Year(None, inner.latest, certainty)
            return Year(inner.earliest, None if certainty == "after" else inner.latest, certainty)
    century = _CENTURY.match(text)
    if century is not None:
        first = (int(century[2]) - 1) * 100
        low, high = _PARTS[century[1]]
        return Year(first + low, first + high, "range")
    return None


def _partly(text: str) -> Year | None:
    """Read ``18--``, ``187-``, ``187?``, ``18??``, ``1870s`` and ``1800s``."""
    found = re.fullmatch(r"(\d{2,3})([-?.x]{1,2})", text)
    if found is not None and len(found[1]) + len(found[2]) == 4:
        step = 10 ** len(found[2])
        first = int(found[1]) * step
        return Year(first, first + step - 1, "partly legible")
    decade = re.fullmatch(r"(\d{3})0'?s", text)
    if decade is not None:
        first = int(decade[1]) * 10
        return Year(first, first + (99 if first % 100 == 0 else 9), "range")
    return None


def _several(text: str) -> Year | None:
    found = re.fullmatch(r"(\d{4})\s*(?:-|/|to|or|bis)\s*(\d{4}|\d{2}|\d)", text)
    if found is None:
        return None
    first, rest = int(found[1]), found[2]
    last = int(found[1][: 4 - len(rest)] + rest)
    return Year(first, last, "range") if last > first else None


def _roman(text: str) -> Year | None:
    word = text.upper().replace(" ", "").replace(".", "")
    if len(word) < 3 or _ROMAN.fullmatch(word) is None:
        return None
    values = [_VALUES[sign] for sign in word]
    total = sum(-one if one < max(values[place:], default=0) else one for place, one in enumerate(values))
    return Year(total, total, "exact")


def _dated(text: str) -> Year | None:
    """Read a date or a few words with one four-figure year in it, or several: then from the first to the last."""
    if re.search(r"[-−]\d{5,}", text) or re.match(r"^-\d+$", text):
        return None
    years = sorted({int(one) for one in _WITHIN.findall(text)})
    if not years:
        return None
    doubtful = "doubtful" if "?" in text else "exact"
    return Year(years[0], years[-1], doubtful if len(years) == 1 else "range")
