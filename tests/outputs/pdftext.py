"""Read the words of a PDF with their boxes: by `pdftotext` where it is installed, else by pypdf."""

from __future__ import annotations

import io
import re
import shutil
import subprocess
import xml.etree.ElementTree as ET
from dataclasses import dataclass
from itertools import combinations
from typing import Any

from pypdf import PdfReader

XHTML = "{http://www.w3.org/1999/xhtml}"
SQUARE = re.compile(rb"(-?[\d.]+) (-?[\d.]+) (-?[\d.]+) (-?[\d.]+) re\b")


@dataclass(frozen=True, slots=True)
class Word:
    """One word and its box in points from the upper left corner of the page."""

    text: str
    left: float
    top: float
    right: float
    bottom: float


@dataclass(frozen=True, slots=True)
class Page:
    """One page: its size in points and its words in reading order."""

    width: float
    height: float
    words: tuple[Word, ...]

    @property
    def text(self) -> str:
        """All words with single spaces."""
        return " ".join(word.text for word in self.words)


def pages(pdf: bytes) -> tuple[Page, ...]:
    """Return every page of a PDF."""
    return _by_poppler(pdf) if shutil.which("pdftotext") else by_pypdf(pdf)


def _by_poppler(pdf: bytes) -> tuple[Page, ...]:
    done = subprocess.run(["pdftotext", "-bbox", "-", "-"], input=pdf, capture_output=True, check=True)
    root = ET.fromstring(done.stdout)
    return tuple(
        Page(float(page.attrib["width"]), float(page.attrib["height"]), tuple(map(_word, page.iter(f"{XHTML}word"))))
        for page in root.iter(f"{XHTML}page")
    )


def _word(element: ET.Element) -> Word:
    left, top, right, bottom = (float(element.attrib[name]) for name in ("xMin", "yMin", "xMax", "yMax"))
    return Word(element.text or "", left, top, right, bottom)


def by_pypdf(pdf: bytes) -> tuple[Page, ...]:
    """Return every page as pypdf sees it; widths are those of the fonts the sheets are set in."""
    return tuple(_page(page) for page in PdfReader(io.BytesIO(pdf)).pages)


def _page(page: Any) -> Page:
    from reportlab.pdfbase import pdfmetrics

    width, height = float(page.mediabox.width), float(page.mediabox.height)
    found: list[Word] = []
    pen: dict[str, Any] = {"line": (0.0, 0.0), "end": 0.0}

    def visit(text: str, cm: list[float], tm: list[float], font: dict[str, Any] | None, size: float) -> None:
        name = "DejaVuSans-Bold" if font and "Bold" in str(font.get("/BaseFont")) else "DejaVuSans"
        x, y = tm[4] * cm[0] + tm[5] * cm[2] + cm[4], tm[4] * cm[1] + tm[5] * cm[3] + cm[5]
        shown = text.strip("\n")
        if not shown:
            return
        # pypdf gives the start of the line again after a change of font: go on where the last piece ended
        x, pen["line"] = (pen["end"] if pen["line"] == (x, y) else x), (x, y)
        pen["end"] = x + pdfmetrics.stringWidth(shown, name, size)
        for word in re.finditer(r"\S+", shown):
            start = x + pdfmetrics.stringWidth(shown[: word.start()], name, size)
            end = start + pdfmetrics.stringWidth(word.group(), name, size)
            found.append(Word(word.group(), start, height - y - 0.93 * size, end, height - y + 0.24 * size))

    page.extract_text(visitor_text=visit)
    return Page(width, height, tuple(found))


def overlaps(page: Page, slack: float = 0.4) -> list[tuple[str, str]]:
    """Return pairs of words whose boxes lie over each other by more than `slack` points both ways."""
    return [
        (one.text, other.text)
        for one, other in combinations(page.words, 2)
        if min(one.right, other.right) - max(one.left, other.left) > slack
        and min(one.bottom, other.bottom) - max(one.top, other.top) > slack
    ]


def outside(page: Page, margin: float) -> list[str]:
    """Return words that reach into the margin of the page by more than a rounding of their widths. [pt]"""
    margin -= 0.01
    return [
        word.text
        for word in page.words
        if word.left < margin or word.top < margin
        or word.right > page.width - margin or word.bottom > page.height - margin
    ]  # fmt: skip


def fonts_not_embedded(pdf: bytes) -> list[str]:
    """Return the names of fonts that a page uses without carrying them."""
    bare: list[str] = []
    for page in PdfReader(io.BytesIO(pdf)).pages:
        resources: Any = page["/Resources"]
        for entry in resources.get("/Font", {}).values():
            font = entry.get_object()
            about = font.get("/FontDescriptor")
            if about is None or "/FontFile2" not in about.get_object():
                bare.append(str(font["/BaseFont"]))
    return bare


def squares(pdf: bytes) -> list[float]:
    """Return the sides of all squares drawn, in points."""
    found: list[float] = []
    for page in PdfReader(io.BytesIO(pdf)).pages:
        content = page.get_contents()
        data = content.get_data() if content is not None else b""
        sides = ((float(one[2]), float(one[3])) for one in SQUARE.findall(data))
        found += [wide for wide, high in sides if abs(wide - high) < 1e-3]
    return found
