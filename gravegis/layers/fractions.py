"""Figures with a vulgar fraction, as people write feet and inches: ``2½ ft``, ``2 1/2 ft``, ``3/4 in``."""

from __future__ import annotations

import re
import unicodedata

__all__ = ["fraction"]

_SIGNS = "¼½¾⅓⅔⅛⅜⅝⅞"
_SIGN = re.compile(rf"(\d+)?\s*([{_SIGNS}])\s*([^\d\s].*)?")
_SLASH = re.compile(r"(?:(\d+)(?:\s+|\s*-\s*))?(\d{1,2})\s*[/\u2044]\s*(2|3|4|8|16|32)\s*([^\d\s/].*)?", re.ASCII)


def fraction(text: str) -> tuple[float, str] | None:
    """Return the value and the word behind it of a text with a fraction of a half to a thirty-second; None for others.

    A fraction is below 1, so that ``1871/2`` or ``5/4`` are none.
    """
    plain = " ".join(text.split())
    if (found := _SIGN.fullmatch(plain)) is not None:
        return float(found[1] or 0) + unicodedata.numeric(found[2]), (found[3] or "").strip()
    if (found := _SLASH.fullmatch(plain)) is None or int(found[2]) >= int(found[3]):
        return None
    return float(found[1] or 0) + int(found[2]) / int(found[3]), (found[4] or "").strip()
