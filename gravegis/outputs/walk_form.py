"""Form of a zone walk: a page a zone, heads in walking order, stones near each, and boxes for what is seen.

What is typed into the tables comes back through ``gravegis add SITE observations FILE --more``: it outranks the model
for these stones until the head is changed; a fault noted goes to the head.
"""

from __future__ import annotations

import csv
from typing import TYPE_CHECKING, Any

import numpy as np
from reportlab.platypus import Spacer

from gravegis.layers.schema import layer
from gravegis.layers.walks import WALK_COLUMNS
from gravegis.outputs import paper as sheet
from gravegis.outputs import words
from gravegis.outputs.days import point_of
from gravegis.outputs.forms import workbook
from gravegis.outputs.paper import SMALL, CheckBox, Head, Part, para, sized
from gravegis.science.routing.short_walk import short_walk

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from gravegis.site import Site

__all__ = ["walk_form", "write_walk"]

LINES = 38
"""Lines of stones on a page at most: own choice, so that a zone stays on its page."""
MOST_STONES, LEAST_STONES = 5, 1
_BOX = 11.0
_HOW = (
    "Run the zone, stand clear, watch each head for a full turn or two. Tick for each stone what reaches it: struck by "
    "the stream, wetted by rain of the spray, mist only, or dry; nothing ticked means not looked at. Face as one reads "
    "the inscription: front, back, left, right, top. Wet from, to: height of the wet band above the ground in metres. "
    "Add other stones you see hit on the empty line."
)
_FAULTS = tuple(one for one in layer("heads").columns["fault"].values if one != "none")


def write_walk(site: Site, folder: Path, *, paper: str = "A4") -> list[Path]:
    """Write the form as PDF, CSV and XLSX and return the files; none where no head has a zone."""
    zones = _zones(site)
    if not zones:
        return []
    folder.mkdir(parents=True, exist_ok=True)
    files = [folder / f"zone_walk.{kind}" for kind in ("pdf", "csv", "xlsx")]
    files[0].write_bytes(walk_form(site, paper=paper))
    near = _stones_near(site)
    lines = [
        [zone, head["head_id"], stone, *[""] * (len(WALK_COLUMNS) - 3)]
        for zone, heads in zones
        for head in heads
        for stone in [*near.get(head["head_id"], [])[: _each_n(len(heads))], ""]
    ]
    with files[1].open("w", newline="", encoding="utf-8-sig") as file:
        csv.writer(file).writerows([WALK_COLUMNS, *lines])
    workbook(WALK_COLUMNS, lines, names_n=3).save(files[2])
    return files


def walk_form(site: Site, *, paper: str = "A4") -> bytes:
    """Return the pages as PDF, zones by name."""
    near, known = _stones_near(site), {row["stone_id"]: row for row in words.records(site, "stones")}
    width, _ = sheet.room(paper)
    parts = []
    for zone, heads in _zones(site):
        cells = [line for order, head in enumerate(heads, start=1) for line in _lines(
            order, head, near.get(head["head_id"], [])[: _each_n(len(heads))], known
        )]  # fmt: skip
        shares = (0.24, 0.24, 0.06, 0.065, 0.05, 0.045, 0.08, 0.08, 0.07, 0.07)
        names = (
            "head, and its fault",
            "stone",
            "struck",
            "wetted",
            "mist",
            "dry",
            "face",
            "wet from",
            "wet to",
            "wind",
        )
        story = [
            para(_HOW, SMALL), Spacer(0, 4), sheet.grid(names, cells, [share * width for share in shares], tight=True),
        ]  # fmt: skip
        head = Head(
            title=f"Zone walk, zone {zone}",
            line=f"{site.info.title}: {words.counted(len(heads), 'head')} in walking order",
            right="day ____________  by ____________",
            foot="Local rules come first. Keep off stones that move, and off wet slippery ground.",
        )  # fmt: skip
        parts.append(Part(head, story))
    return sheet.build(parts, title=f"Zone walks, {site.info.title}", paper=paper)


def _lines(
    order: int, head: Mapping[str, Any], stones: Sequence[str], known: Mapping[str, Mapping[str, Any]]
) -> list[list[Any]]:
    """Return the lines of one head: a stone each, and one for what else is seen."""
    tag = f", tag {head['tag']}" if head.get("tag") else ""
    title: Any = para(f"{order}. {head['head_id']}{tag}", sized(8, bold=True))
    noted = f"noted before: {head['fault']}" if head.get("fault") not in (None, "none") else ""
    fault: Any = para(f"{noted + '; ' if noted else ''}circle: {', '.join(_FAULTS)}", sized(5.5))
    rows: list[list[Any]] = []
    for line, stone in enumerate([*stones, ""]):
        first = title if line == 0 else fault if line == len(stones) else ""
        place = (words.place(known.get(stone, {})) or "").split(", section")[0]
        label = para(f"{stone}  {place}", sized(6.5)) if stone else para("other: ________________", sized(7))
        rows.append([first, label, *(CheckBox(side=_BOX) for _ in range(4)), *[""] * 4])
    return rows


def _each_n(heads_n: int) -> int:
    """Return how many stones stand beside each head so that the zone stays on its page."""
    return max(LEAST_STONES, min(MOST_STONES, LINES // max(1, heads_n) - 1))


def _zones(site: Site) -> list[tuple[str, list[dict[str, Any]]]]:
    """Return zones by name, heads in walking order from the base or gate; heads without a place come last."""
    heads = [row for row in words.records(site, "heads") if row["zone_id"] is not None]
    doors = [point_of(row.get("geometry")) for name in ("bases", "gates") for row in words.records(site, name)]
    start = next((one for one in doors if one is not None), None)
    made = []
    for zone in sorted({row["zone_id"] for row in heads}, key=words.in_order):
        mine = [row for row in heads if row["zone_id"] == zone]
        placed = [(row, at) for row in mine if (at := point_of(row.get("geometry"))) is not None]
        places = np.array([at for _, at in placed], dtype=np.float64).reshape(-1, 2)
        begin = np.array(start if start is not None else places.min(axis=0)) if len(places) else places
        order = short_walk(places, begin).tolist()
        without = [row for row in mine if point_of(row.get("geometry")) is None]
        made.append((zone, [*(placed[one][0] for one in order), *without]))
    return made


def _stones_near(site: Site) -> dict[str, list[str]]:
    """Return by head the stones worth a look: those it may strike first, then the nearest it reaches."""
    near: dict[str, dict[str, float]] = {}
    for row in words.records(site, "wetting_links"):
        near.setdefault(row["head_id"], {})[row["stone_id"]] = row["distance_m"] or 0.0
    if not near:
        near = _by_distance(site)
    return {head: sorted(stones, key=lambda one: (stones[one], one)) for head, stones in near.items()}


def _by_distance(site: Site) -> dict[str, dict[str, float]]:
    """Return distances to the nearest stones where wetting was not worked out."""
    from scipy.spatial import cKDTree

    stones = [(row["stone_id"], at) for row in words.records(site, "stones") if (at := point_of(row.get("geometry")))]
    heads = [(row["head_id"], at) for row in words.records(site, "heads") if (at := point_of(row.get("geometry")))]
    if not stones or not heads:
        return {}
    count = min(MOST_STONES, len(stones))
    at_m = [np.array([at for _, at in some], dtype=np.float64) for some in (stones, heads)]
    away, row = cKDTree(at_m[0]).query(at_m[1], k=count)
    away, row = np.reshape(away, (len(heads), count)), np.reshape(row, (len(heads), count))
    return {
        head: {stones[one][0]: float(far) for one, far in zip(ones, fars, strict=True)}
        for (head, _), ones, fars in zip(heads, row.tolist(), away.tolist(), strict=True)
    }
