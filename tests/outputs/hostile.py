"""A site whose every name is an attack, and a page taken apart by the parser of the standard library."""

from __future__ import annotations

from html.parser import HTMLParser

import geopandas as gpd
import shapely

from gravegis.site import Site, SiteInfo

CRS = "EPSG:7854"
EVIL = "<script>alert(1)</script>\"'><img src=//evil.example/x onerror=alert(1)>\u202egnp.exe\u2066\x1b[31m&amp;"
VOID = {"meta", "link", "img", "br", "hr", "input"}


class Page(HTMLParser):
    """A page taken apart; it fails where tags do not close in order."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.open: list[str] = []
        self.tags: list[tuple[str, dict[str, str]]] = []
        self.words: list[str] = []
        self.feed(text)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, {name: value or "" for name, value in attrs}))
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.words.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.words).split())


def hostile() -> Site:
    stones = gpd.GeoDataFrame(
        {"stone_id": [EVIL, "b"], "form": [EVIL, "tablet"], "section": EVIL}, geometry=shapely.points([[0, 0], [0, 0]]),
        crs=CRS,
    )  # fmt: skip
    info = SiteInfo(EVIL, CRS, EVIL, EVIL, sources=(f"stones: {EVIL}",), assumed=(f"stones: {EVIL}",))
    return Site(info).with_layers({"stones": stones})
