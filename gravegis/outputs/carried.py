"""What was assumed on the way to a layer, carried by the file that hands it over, so that no figure travels alone.

GeoJSON holds it as a foreign member ``assumed`` at the top (RFC 7946, section 6.1), which other programs pass over.
The other kinds have no such place: a text beside the file says it, named after it, such as ``stones.csv.assumed.txt``.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from gravegis.outputs import words
from gravegis.outputs.assumed_json import assumed_behind, builds_on

if TYPE_CHECKING:
    from pathlib import Path

    from gravegis.site import Site

__all__ = ["assumed_with", "by_file"]


def assumed_with(file: Path) -> Path:
    """Return the file that says what was assumed for a layer written to a file: that file itself, or a text beside."""
    return file if file.suffix.lower() == ".geojson" else file.with_name(f"{file.name}.assumed.txt")


def by_file(site: Site, layer: str, file: Path) -> None:
    """Make a file that was just written carry what was assumed."""
    if assumed_with(file) == file:
        _into_geojson(site, layer, file)
    else:
        text = "".join(f"{line}\n" for line in _told(site, layer, file))
        assumed_with(file).write_text(text, encoding="utf-8", newline="\n")


def _into_geojson(site: Site, layer: str, file: Path) -> None:
    """Put the member before all others: the text of the features is not touched, so no figure changes."""
    text = file.read_text(encoding="utf-8")
    head, brace, rest = text.partition("{")
    member = json.dumps(assumed_behind(site, layer), ensure_ascii=False)
    file.write_text(f'{head}{brace}\n"assumed": {member},{rest}', encoding="utf-8", newline="\n")


def _told(site: Site, layer: str, file: Path) -> list[str]:
    names = [record.analysis for record in builds_on(site, layer)]
    # no name means all analyses to `words.assumed`: an input layer rests on none of them
    assumed = words.assumed(site, names) if names else words.site_assumed(site)
    changed = [f"set: {one}" for one in words.changed_settings(site, names)] if names else []
    head = f"{site.info.title}, {layer}: what was missing and what was taken instead on the way to {file.name}"
    return [words.one_line(line) for line in (head, *(assumed or ("nothing",)), *changed)]
