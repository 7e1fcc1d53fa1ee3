"""Pictures of stones on paper: a small one to tell a stone by, in grey, from the photos kept in the site folder.

A picture helps to see that it is the right stone; like a position it proves nothing alone. Where leave for photographs
is not on file none is printed.
"""

from __future__ import annotations

import io
from pathlib import PurePath
from typing import TYPE_CHECKING

from PIL import Image as Raster
from PIL import ImageOps, UnidentifiedImageError
from reportlab.lib.units import mm
from reportlab.platypus import Image, Spacer, Table

from gravegis.outputs import currency, words
from gravegis.outputs import paper as sheet
from gravegis.outputs.paper import BOLD, SMALL, Head, Part, para
from gravegis.store.names import PHOTOS

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from reportlab.platypus import Flowable

    from gravegis.site import Site

__all__ = ["newest_photos", "photos_above", "pictures_page", "thumbnail"]

RESTS_ON = ("worklist", "condition")
COLUMNS, HIGH = 4, 45 * mm
MOST = 200
"""Pictures that are printed, and their size: own choice."""
_DOTS_PER_PT = 200 / 72  # 200 dots an inch: enough for an office printer


def photos_above(folder: Path) -> Path:
    """Return the folder of pictures of the site in which a folder lies, itself or the one pages are made in first."""
    above = [one / PHOTOS for one in folder.absolute().parents[:2]]
    return next((one for one in above if one.is_dir()), above[0])


def newest_photos(site: Site) -> dict[str, Mapping[str, object]]:
    """Return by stone the row of its picture: of the front where there is one, else any; the newest of those."""
    best: dict[str, Mapping[str, object]] = {}
    for row in sorted(words.records(site, "photos"), key=_rank):
        if row["stone_id"] and row.get("file"):
            best[str(row["stone_id"])] = row
    for work in words.records(site, "worklist"):
        if any(one["code"] == "no_photographs" for one in words.reason_values(work["reasons"])):
            best.pop(work["stone_id"], None)
    return best


def _rank(row: Mapping[str, object]) -> tuple[bool, str, str]:
    return str(row.get("face") or "").casefold() == "front", str(row.get("taken_at") or ""), str(row["photo_id"])


def thumbnail(file: Path, width: float, height: float) -> Image | None:
    """Return a picture in grey, upright and within a room; None where the file is gone or no picture. [pt]."""
    try:
        with Raster.open(file) as opened:
            opened.draft("L", (int(width * _DOTS_PER_PT), int(height * _DOTS_PER_PT)))
            made = ImageOps.exif_transpose(opened).convert("L")
            made.thumbnail((int(width * _DOTS_PER_PT), int(height * _DOTS_PER_PT)))
    except (OSError, UnidentifiedImageError, ValueError, SyntaxError, Raster.DecompressionBombError):
        return None
    held = io.BytesIO()
    made.save(held, "JPEG", quality=80)
    held.seek(0)
    scale = min(width / made.width, height / made.height)
    return Image(held, made.width * scale, made.height * scale)


def pictures_page(site: Site, photos: Path, *, made_on: str = "", paper: str = "A4") -> bytes | None:
    """Return a page of pictures of the stones a crew may go to; None where there is none. `photos` is their folder."""
    width, _ = sheet.room(paper)
    wide, found = width / COLUMNS, newest_photos(site)
    stones = {row["stone_id"]: row for row in words.records(site, "stones")}
    open_ = [row["stone_id"] for row in words.records(site, "worklist") if row["who"] == "crew" and not row["hold"]]
    cells: list[list[Flowable]] = []
    for stone_id in sorted(set(open_) & set(found), key=words.in_order)[:MOST]:
        picture = thumbnail(photos / PurePath(str(found[stone_id]["file"])).name, wide - 10, HIGH)
        if picture is not None:
            cells.append(_cell(stone_id, picture, stones.get(stone_id, {}), found[stone_id]))
    if not cells:
        return None
    rows: list[Sequence[object]] = [cells[n : n + COLUMNS] for n in range(0, len(cells), COLUMNS)]
    table = Table([[*row, *[""] * (COLUMNS - len(row))] for row in rows], colWidths=[wide] * COLUMNS, hAlign="LEFT")
    table.setStyle([*sheet.BARE, ("BOTTOMPADDING", (0, 0), (-1, -1), 8)])
    caution = para(
        "A picture alone never proves that it is the right stone. If it does not match: stop, photograph, ask."
    )
    head = Head(
        title="Pictures of stones on the worklist",
        line=f"{site.info.title}. {words.sentence(words.counted(len(cells), 'stone'))} with a picture on file.",
        foot=words.made(made_on, "Stones change: compare place and inscription too."),
        warning=currency.mark(site, RESTS_ON),
    )
    return sheet.build([Part(head, [caution, Spacer(0, 5), table])], title=head.title, paper=paper)


def _cell(stone_id: str, picture: Image, stone: Mapping[str, object], photo: Mapping[str, object]) -> list[Flowable]:
    taken = str(photo.get("taken_at") or "")[:10]
    mark = f"“{stone['find_me']}”" if stone.get("find_me") else ""
    said = "; ".join(filter(None, (mark, words.place(stone), str(photo.get("face") or ""), taken)))
    return [picture, para(stone_id, BOLD), para(said or "place not recorded", SMALL)]
