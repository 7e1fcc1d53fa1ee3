"""Longitude and latitude as people write them: decimal degrees, or degrees, minutes and seconds."""

from __future__ import annotations

import re

__all__ = ["has_marks", "parse_angle", "runs_together"]

_MARKS = str.maketrans(
    {
        "º": "°", "˚": "°", "\u2218": "°",
        "′": "'", "’": "'", "‘": "'", "´": "'", "`": "'", "ʹ": "'",
        "″": '"', "”": '"', "“": '"', "ʺ": '"',
        "\u2212": "-", "\u2013": "-", "\u00a0": " ", "\u202f": " ", "\u2009": " ",
    }
)  # fmt: skip
_BODY = re.compile(
    r"""(?P<sign>[+-])?\s*
    (?P<deg>\d{1,3}(?:[.,]\d+)?)\s*(?:°|:|(?=\s)|$)\s*
    (?:(?P<min>\d{1,2}(?:[.,]\d+)?)\s*(?:'|:|(?=\s)|$)\s*
    (?:(?P<sec>\d{1,2}(?:[.,]\d+)?)\s*(?:"|'')?)?)?""",
    re.VERBOSE | re.ASCII,
)
_QUARTERS = re.compile(r"\b(NORTH|SOUTH|EAST|WEST)(?:ERN)?\b")
_DASHES = re.compile(r"([+-]?\d{1,3})-(\d{1,2}(?:[.,]\d+)?)(?:-(\d{1,2}(?:[.,]\d+)?))?", re.ASCII)
# Degrees, minutes and seconds run together: 440300 is 44 degrees 3 minutes 0 seconds.
_PACKED = {"lat": re.compile(r"(\d{2})(\d{2})(\d{2}(?:\.\d+)?)"), "lon": re.compile(r"(\d{3})(\d{2})(\d{2}(?:\.\d+)?)")}
_MARKS_IN_LETTERS = (
    (re.compile(r"(?<=\d)\s*(?:DEGREES?|DEGS?|D)(?![A-Z])\.?"), "° "),
    (re.compile(r"(?<=\d)\s*(?:MINUTES?|MINS?|M)(?:(?![A-Z])|(?=[NSEW]$))\.?"), "' "),
    (re.compile(r"(?<=\d)\s*(?:SECONDS?|SECS?|S)(?:(?=\s*[NSEW]$)|(?<=SEC|NDS|OND|ECS)(?![A-Z]))\.?"), '" '),
    (re.compile(r"(?<=\d)\s*S$"), '"'),  # only where a quarter stands in front
)
_LETTERS = {"lat": {"N": 1, "S": -1}, "lon": {"E": 1, "W": -1}}
_MOST_DEG = {"lat": 90.0, "lon": 180.0}
_WORDS = {"lat": "latitude", "lon": "longitude"}


def has_marks(text: str) -> bool:
    """Whether a text is more than one plain number: degree signs, a quarter of the sky, or several numbers."""
    tidy = text.translate(_MARKS).strip()
    return re.fullmatch(r"[+-]?[\d.,]+(?:[eE][+-]?\d+)?", tidy) is None and bool(re.search(r"\d", tidy))


_TOGETHER = {"lat": re.compile(r"(\d{2})(\d{2}\.\d{2,})"), "lon": re.compile(r"(\d{3})(\d{2}\.\d{2,})")}


def runs_together(text: str, axis: str) -> bool:
    """Whether a number is degrees and minutes run together, as receivers write them (NMEA 0183 ddmm.mmmm).

    Such a number is too large for degrees: 4403.0083 is 44 degrees 3.0083 minutes.
    """
    found = _TOGETHER[axis].fullmatch(text.strip().lstrip("+-"))
    return found is not None and float(found[2]) < 60 and float(found[1] + found[2]) > _MOST_DEG[axis]


def parse_angle(text: str, axis: str) -> float:
    """Return degrees, north and east above 0.

    Parameters
    ----------
    text
        Such as ``44°03'00.5"N``, ``44 03 00.6 N``, ``W121° 19.7967'``, ``-121:19:47.5``, ``44.0502``, ``44,0502``.
    axis
        ``lat`` or ``lon``.

    Raises
    ------
    ValueError
        With the reason, when it cannot be read or has more than one answer, such as the letter O, which is east
        in German and west in French and Spanish.
    """
    tidy = _with_marks(text.translate(_MARKS).strip().upper())
    letter, body = _letter(tidy)
    body = _parted(body, letter, axis)
    if letter and runs_together(body, axis):
        together = _TOGETHER[axis].fullmatch(body)
        body = f"{together[1]} {together[2]}" if together is not None else body
    found = _BODY.fullmatch(body)
    if found is None:
        raise ValueError(f"is no {_WORDS[axis]}")
    sign = _sign(letter, found["sign"], axis)
    deg, minutes, seconds = (_number(found[name]) for name in ("deg", "min", "sec"))
    parts = [found[name] for name in ("deg", "min", "sec") if found[name]]
    if any("." in part or "," in part for part in parts[:-1]):
        raise ValueError("has decimals before its last part")
    if minutes >= 60 or seconds >= 60:
        raise ValueError("has 60 or more minutes or seconds")
    value = deg + minutes / 60 + seconds / 3600
    if value > _MOST_DEG[axis]:
        raise ValueError(f"is beyond {_MOST_DEG[axis]:g} degrees of {_WORDS[axis]}")
    return sign * value


def _with_marks(tidy: str) -> str:
    """Return the text with signs for the words and letters of degrees, minutes, seconds and quarters of the sky."""
    tidy = _QUARTERS.sub(lambda found: found[1][0], tidy)
    if not re.search(r"\d\s*(?:D|M)", tidy):
        return tidy
    if re.fullmatch(r"[^SNEW]*\d\s*S", tidy) and re.search(r"\d\s*D", tidy):
        raise ValueError("ends in S, which is seconds or south: write both, or the quarter as a word")
    for pattern, sign in _MARKS_IN_LETTERS if tidy[:1] in tuple("NSEW") else _MARKS_IN_LETTERS[:-1]:
        tidy = pattern.sub(sign, tidy)
    return " ".join(tidy.split())


def _parted(body: str, letter: str, axis: str) -> str:
    """Return degrees, minutes and seconds parted by blanks where they are joined by dashes or run together."""
    dashed = _DASHES.fullmatch(body)
    if dashed is not None and (letter or dashed[3]):
        return " ".join(part for part in dashed.groups() if part)
    packed = _PACKED[axis].fullmatch(body) if letter else None
    return " ".join(packed.groups()) if packed is not None else body


def _letter(tidy: str) -> tuple[str, str]:
    found = re.fullmatch(r"([NSEWO]?)\s*(.*?)\s*([NSEWO]?)", tidy, re.DOTALL)
    before, body, after = found.groups() if found else ("", tidy, "")
    if before and after:
        raise ValueError("names two quarters of the sky")
    return before or after, body


def _sign(letter: str, sign: str | None, axis: str) -> float:
    if letter and sign:
        raise ValueError("has a sign and a quarter of the sky; one of them is too many")
    if letter == "O" and axis == "lon":
        raise ValueError("names O, which is east in German and west in French and Spanish: write E or W")
    if letter and letter not in _LETTERS[axis]:
        raise ValueError(f"is no {_WORDS[axis]}: it names {letter}")
    return float(_LETTERS[axis].get(letter, -1 if sign == "-" else 1))


def _number(text: str | None) -> float:
    return float(text.replace(",", ".")) if text else 0.0
