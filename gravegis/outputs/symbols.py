"""One drawing table for all painters: maps, crew sheets, field page and later the screen show a thing one way.

The table is ``data/symbols.csv``. Colours, widths and patterns are our own choice; the test suite holds them to a
contrast of 3:1 for lines and 4.5:1 for text (WCAG 2.2, success criteria 1.4.11 and 1.4.3) and to a difference that
survives a grey printer. Nothing here draws.
"""

from __future__ import annotations

import csv
import math
from dataclasses import dataclass, replace
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = [
    "HATCHES",
    "INK",
    "MARKS",
    "PAPER",
    "PAPERS",
    "Symbol",
    "Trace",
    "barrier_kind",
    "condition_kind",
    "contrast",
    "crew_letter",
    "crew_symbol",
    "heat_kinds",
    "kinds",
    "lightness",
    "symbol",
    "table",
    "text_on",
    "water_kinds",
    "zone_symbol",
]

PAPER = "#ffffff"
INK = "#000000"
PAPERS = {"light": PAPER, "dark": "#1b1d1a"}
"""What lies under a map, by theme."""
HATCHES = ("", "slant", "cross", "dots", "level")
"""Hatch names: none, lines at 45 degrees, crossed lines at 45 degrees, dots, level lines."""


@dataclass(frozen=True, slots=True)
class Symbol:
    """How one kind of thing is drawn.

    Parameters
    ----------
    kind, family
        Name; kinds of one family stand beside each other on a map and must be told apart without colour.
    fill, line
        Colours as ``#rrggbb``; empty text: not filled, no line.
    width_mm, dash_mm
        Line width; lengths drawn and left out in turn, empty for a solid line.
    hatch, mark
        A name of `HATCHES`; a name of `MARKS` for things drawn as a point, empty for lines and areas.
    size_mm
        Width of the mark on paper; also the least size at which a footprint is still drawn as such.
    z
        Drawing order, higher on top.
    words
        What the legend says.
    """

    kind: str
    family: str
    fill: str
    line: str
    width_mm: float
    dash_mm: tuple[float, ...]
    hatch: str
    mark: str
    size_mm: float
    z: int
    words: str


@dataclass(frozen=True, slots=True)
class Trace:
    """One piece of a mark in a unit square around (0, 0), y up.

    `paint` is ``body`` (filled with the fill, outlined with the line), ``ink`` (filled with the line colour) or
    ``line`` (outline only).
    """

    paint: str
    closed: bool
    points: tuple[tuple[float, float], ...]


def _round(radius: float, x: float = 0.0, y: float = 0.0, pieces: int = 32) -> tuple[tuple[float, float], ...]:
    turns = [2 * math.pi * k / pieces for k in range(pieces)]
    return tuple((x + radius * math.cos(t), y + radius * math.sin(t)) for t in turns)


def _drop() -> tuple[tuple[float, float], ...]:
    """Return a drop: a round belly below, a point on top."""
    turns = [math.radians(d) for d in range(150, 391, 15)]
    return ((0.0, 0.5), *((0.32 * math.cos(t), -0.18 + 0.32 * math.sin(t)) for t in turns))


_BOX = ((-0.45, -0.45), (0.45, -0.45), (0.45, 0.45), (-0.45, 0.45))
_WARN = ((-0.5, -0.42), (0.5, -0.42), (0.0, 0.48))
_HOUSE = ((-0.42, -0.45), (0.42, -0.45), (0.42, 0.08), (0.0, 0.48), (-0.42, 0.08))
_HOOK = ((-0.18, 0.18), (-0.14, 0.32), (0.0, 0.38), (0.15, 0.31), (0.17, 0.15), (0.0, 0.0), (0.0, -0.12))
_POST = ((-0.06, -0.4), (0.06, -0.4), (0.06, 0.4), (-0.06, 0.4))

MARKS: Mapping[str, tuple[Trace, ...]] = {
    "square": (Trace("body", True, _BOX),),
    "disc": (Trace("body", True, _round(0.5)),),
    "ring_dot": (Trace("body", True, _round(0.5)), Trace("ink", True, _round(0.17))),
    "question": (
        Trace("body", True, _round(0.5)),
        Trace("line", False, _HOOK),
        Trace("ink", True, _round(0.06, 0.0, -0.28, 8)),
    ),
    "warn": (
        Trace("body", True, _WARN),
        Trace("line", False, ((0.0, 0.16), (0.0, -0.14))),
        Trace("ink", True, _round(0.055, 0.0, -0.28, 8)),
    ),
    "gate": (
        Trace("ink", True, tuple((x - 0.42, y) for x, y in _POST)),
        Trace("ink", True, tuple((x + 0.42, y) for x, y in _POST)),
        Trace("body", True, ((-0.3, 0.0), (0.0, -0.28), (0.3, 0.0), (0.0, 0.28))),
    ),
    "house": (Trace("body", True, _HOUSE),),
    "drop": (Trace("body", True, _drop()),),
    "drop_barred": (Trace("body", True, _drop()), Trace("line", False, ((-0.45, -0.45), (0.45, 0.4)))),
    "plus": (Trace("line", False, ((-0.5, 0.0), (0.5, 0.0))), Trace("line", False, ((0.0, -0.5), (0.0, 0.5)))),
    "triangle": (Trace("body", True, _WARN),),
    "saltire": (
        Trace("line", False, ((-0.45, -0.45), (0.45, 0.45))),
        Trace("line", False, ((-0.45, 0.45), (0.45, -0.45))),
    ),
}
"""Shapes of the marks, so that every painter draws the same."""


@cache
def table(theme: str = "light") -> Mapping[str, Symbol]:
    """Return every symbol of a theme by kind; raises KeyError for a theme that has no rows in the table."""
    text = files("gravegis.outputs").joinpath("data", "symbols.csv").read_text(encoding="utf-8")
    made = {row["kind"]: _symbol(row) for row in csv.DictReader(text.splitlines()) if row["theme"] == theme}
    if not made:
        raise KeyError(theme)
    return made


def _symbol(row: Mapping[str, str]) -> Symbol:
    return Symbol(
        kind=row["kind"],
        family=row["family"],
        fill=row["fill"],
        line=row["line"],
        width_mm=float(row["width_mm"]),
        dash_mm=tuple(float(piece) for piece in row["dash_mm"].split()),
        hatch=row["hatch"],
        mark=row["mark"],
        size_mm=float(row["size_mm"]),
        z=int(row["z"]),
        words=row["words"],
    )


def kinds() -> tuple[str, ...]:
    """Return the names of all kinds."""
    return tuple(table())


def symbol(kind: str, theme: str = "light") -> Symbol:
    """Return one symbol; raises KeyError for an unknown kind."""
    return table(theme)[kind]


def condition_kind(overall: int | None) -> str:
    """Return the kind of a condition class 0-3; None is a stone without a class."""
    return "condition_none" if overall is None else f"condition_{overall}"


def barrier_kind(kind: str | None) -> str:
    """Return the drawing kind of a barrier as layer ``barriers`` names it; unknown words are plain barriers."""
    return {"railing": "fence"}.get(kind or "", kind if kind in _BARRIERS else "barrier")


_BARRIERS = ("wall", "hedge", "fence", "pond", "building")


def heat_kinds(theme: str = "light") -> tuple[str, ...]:
    """Return the kinds of the classes of a share, lowest first, each an equal part of 0 to 100 %."""
    return tuple(kind for kind in table(theme) if kind.startswith("heat_"))


def water_kinds(theme: str = "light") -> tuple[str, ...]:
    """Return the kinds of the classes of a rate or depth of water, least first."""
    return tuple(kind for kind in table(theme) if kind.startswith("fall_"))


def zone_symbol(order: int, theme: str = "light") -> Symbol:
    """Return the line of the zone at a place (0, 1, ...) among the zones of a site.

    Six patterns come round again, so outlines also carry the name of the zone.
    """
    return _nth("zone", order, theme)


def crew_symbol(order: int, theme: str = "light") -> Symbol:
    """Return the line of the crew at a place (0, 1, ...) among the crews of a day.

    Six patterns come round again, so discs also carry the letter of the crew.
    """
    made = _nth("crew", order, theme)
    return replace(made, words=f"crew {crew_letter(order)}")


def _nth(family: str, order: int, theme: str) -> Symbol:
    same = [one for one in table(theme).values() if one.family == family]
    return same[order % len(same)]


def crew_letter(order: int) -> str:
    """Return A to Z, then AA, AB and so on, for places 0, 1, 2."""
    letters = ""
    order += 1
    while order:
        order, rest = divmod(order - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters


def _luminance(colour: str) -> float:
    """Return relative luminance 0-1 (WCAG 2.2, definition of relative luminance)."""
    parts = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """Return the contrast ratio of two colours ``#rrggbb``, 1 to 21 (WCAG 2.2, definition of contrast ratio)."""
    dark, light = sorted((_luminance(one), _luminance(other)))
    return (light + 0.05) / (dark + 0.05)


def lightness(colour: str) -> float:
    """Return how light a colour looks on a grey printer: L* 0 (black) to 100 (white), CIE 15 definition."""
    share = _luminance(colour)
    return 116 * share ** (1 / 3) - 16 if share > (6 / 29) ** 3 else share * (29 / 3) ** 3


def text_on(fill: str) -> str:
    """Return black or white, whichever reads better on a fill."""
    return INK if contrast(fill or PAPER, INK) >= contrast(fill or PAPER, PAPER) else PAPER
