"""Words on paper: the one font, its measure in millimetres, and breaking text into lines that fit."""

from __future__ import annotations

from functools import cache, lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gravegis.outputs import words

if TYPE_CHECKING:
    from matplotlib.font_manager import FontProperties

__all__ = ["MM_PER_PT", "PITCH", "cut", "font", "line_mm", "printable", "size_mm", "wrap"]

MM_PER_PT = 25.4 / 72
PITCH = 1.28
"""Line pitch in font sizes; lines of the font are 1.17 high, so they never touch (measured)."""
# Measured at the density of the PNG, so that lines break the same way in both files.
_DPI = 150
# A PDF sets glyphs without the rounding of a raster, so widths differ a little.
_SPARE = 1.015


@cache
def font(size_pt: float, *, bold: bool = False) -> FontProperties:
    """Return the font that comes with matplotlib, so that a page looks the same on every machine."""
    import matplotlib as mpl
    from matplotlib.font_manager import FontProperties

    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    return FontProperties(fname=str(Path(mpl.get_data_path()) / "fonts" / "ttf" / name), size=size_pt)


@cache
def _renderer() -> Any:  # noqa: ANN401 - the library declares no types for it
    from matplotlib.backends import backend_agg

    made: Any = backend_agg.RendererAgg
    return made(16, 16, _DPI)


@cache
def _glyphs() -> frozenset[int]:
    from matplotlib.font_manager import get_font

    return frozenset(get_font(str(font(8).get_file())).get_charmap())


@lru_cache(maxsize=65536)
def size_mm(text: str, size_pt: float, *, bold: bool = False) -> tuple[float, float]:
    """Return width and height of one line of text on paper; the height is that of a full line of the font."""
    prop = font(size_pt, bold=bold)
    width, height, _ = _renderer().get_text_width_height_descent(text, prop, ismath=False)
    _, full, _ = _renderer().get_text_width_height_descent("lp", prop, ismath=False)
    mm = 25.4 / _DPI
    return width * mm * _SPARE, max(height, full) * mm


def line_mm(size_pt: float) -> float:
    """Return the line pitch of a font size."""
    return size_pt * PITCH * MM_PER_PT


def printable(text: str) -> str:
    """Return text on one line, with signs the font does not have shown by their number."""
    return words.printable(words.one_line(text), _glyphs())


def wrap(text: str, size_pt: float, width_mm: float, *, bold: bool = False) -> list[str]:
    """Return lines no wider than a width; a word wider than that is broken."""
    return list(_wrapped(text, size_pt, width_mm, bold))


@lru_cache(maxsize=8192)
def _wrapped(text: str, size_pt: float, width_mm: float, bold: bool) -> tuple[str, ...]:
    """Break at spaces; words are measured one by one, since the same words come again and again."""
    gap = size_mm("n n", size_pt, bold=bold)[0] - size_mm("nn", size_pt, bold=bold)[0]
    lines: list[list[str]] = []
    room = -1.0
    for word in printable(text).split():
        wide = size_mm(word, size_pt, bold=bold)[0]
        if gap + wide <= room:
            lines[-1].append(word)
            room -= gap + wide
            continue
        for piece in [word] if wide <= width_mm else _pieces(word, size_pt, width_mm, bold=bold):
            lines.append([piece])
            room = width_mm - size_mm(piece, size_pt, bold=bold)[0]
    return tuple(" ".join(line) for line in lines)


def _pieces(word: str, size_pt: float, width_mm: float, *, bold: bool) -> list[str]:
    """Break one word into pieces that fit; a piece has at least one sign."""
    pieces = [""]
    for sign in word:
        longer = pieces[-1] + sign
        if pieces[-1] and size_mm(longer, size_pt, bold=bold)[0] > width_mm:
            pieces.append(sign)
        else:
            pieces[-1] = longer
    return pieces


def cut(lines: list[str], most: int, size_pt: float, width_mm: float, *, bold: bool = False) -> list[str]:
    """Return at most so many lines; where some were left out the last one ends in an ellipsis."""
    if len(lines) <= most:
        return lines
    if most < 1:
        return []
    last = lines[most - 1]
    while last and size_mm(f"{last} …", size_pt, bold=bold)[0] > width_mm:
        last = last[:-1]
    return [*lines[: most - 1], f"{last.rstrip()} …"]
