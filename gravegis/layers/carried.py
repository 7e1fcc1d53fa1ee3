"""How much water a crew carries, from what somebody wrote."""

from __future__ import annotations

import re

from gravegis.units import parse

__all__ = ["litres_carried"]

_COUNTS = {"one": 1, "a": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6}
_VESSELS = "cans?|jerrycans?|bottles?|tanks?|buckets?|containers?|canisters?|drums?|sprayers?"
_AMOUNT = re.compile(
    rf"""(?:(?<![\w.,])(?P<count>\d+|{"|".join(_COUNTS)})\s*
            (?:[x×*]\s*|(?:\w+\s+)?(?:{_VESSELS})\s*(?:of|at|with|each|,|x|×|:)?\s*)
           | (?<![\w.,]))
        (?P<figure>\d{{1,3}}(?:,\d{{3}})+|\d+(?:[.,]\d+)?)\s*
        (?P<unit>l|lt|ltrs?|litres?|liters?|gal|gallons?)(?![\w/])""",
    re.IGNORECASE | re.VERBOSE,
)  # fmt: skip
_NOTHING = frozenset({"nothing", "none", "no water", "0"})


def litres_carried(words: object) -> float | None:
    """Return the litres in words such as ``cart 60 L``, ``2 x 10 l`` or ``1,5 L and 5 gal``, all added up.

    A comma before three figures parts thousands, any other comma is a decimal one; gallons are US gallons.
    ``nothing`` is 0; None where no litres can be read.
    """
    if not isinstance(words, str):
        return None
    if words.strip().lower() in _NOTHING:
        return 0.0
    found = list(_AMOUNT.finditer(words))
    return sum(_litres(one) for one in found) if found else None


def _litres(found: re.Match[str]) -> float:
    count, figure, unit = (found[name] for name in ("count", "figure", "unit"))
    thousands = re.fullmatch(r"\d{1,3}(?:,\d{3})+", figure)
    value = float(figure.replace(",", "" if thousands else "."))
    times = 1 if count is None else _COUNTS.get(count.lower()) or int(count)
    return times * (parse(f"{value!r} gal", "l") if unit.lower().startswith("gal") else value)
