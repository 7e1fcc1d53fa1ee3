"""What other rows of a site propose for a stone, with the command that accepts it; nothing is applied by itself."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from gravegis.layers.canonical import column
from gravegis.layers.read.raw import many, shown
from gravegis.science.care.sizes import DIMENSIONS, forms
from gravegis.science.condition.tables import rows as table_rows

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gravegis.layers.canonical import Frame

__all__ = ["facings_by_photo", "sizes_by_form"]

_FRONT = ("front", "inscription", "inscribed", "inscription side", "inscription face")
_APART_DEG = 45.0  # photos of one side whose bearings lie further apart disagree: own choice, no source
_MOST = 10  # proposals named one by one


def facings_by_photo(stones: Frame, photos: Frame) -> Iterator[tuple[str, str]]:
    """Give what photos of the inscription side propose as facing, each with the command that accepts it.

    A camera that looks along b at the inscription sees a face that looks to b + 180. Only photos count that name a
    stone without a facing, say that they show its inscription, and have a bearing from true north. Where several of
    one stone disagree, that is said and nothing is proposed.
    """
    turned = column(photos, "photos", "bearing_deg")
    there = turned.notna() & (column(photos, "photos", "bearing_north") != "magnetic")
    there &= column(photos, "photos", "face").str.strip().str.lower().isin(_FRONT)
    open_stones = set(stones["stone_id"][column(stones, "stones", "facing_deg").isna()])
    there &= column(photos, "photos", "stone_id").isin(open_stones)
    apart, count = list[str](), 0
    for stone, some in photos[there].groupby("stone_id", sort=True):
        facing_deg, away_deg = _middle((some["bearing_deg"].to_numpy(dtype="float64") + 180.0) % 360.0)
        if away_deg > _APART_DEG / 2:
            apart.append(str(stone))
            continue
        count += 1
        if count <= _MOST:
            names = shown(some["photo_id"], 3)
            words = f"photo {names} of its inscription proposes that stone {stone} faces {facing_deg:.0f} degrees"
            yield words, f"To accept it: gravegis edit SITE stones {stone} facing_deg={facing_deg:.0f}"
    if count > _MOST:
        yield f"{count - _MOST} more stones have a photo of their inscription with a bearing", "Accept these first."
    if apart:
        yield f"photos of the inscription of {shown(apart)} disagree by more than {_APART_DEG:g} degrees", "Look there."


def _middle(bearings_deg: Any) -> tuple[float, float]:  # noqa: ANN401 - an array of figures
    """Return the mean direction and how far the furthest lies from it. [deg]"""
    turns = np.radians(bearings_deg)
    mean = float(np.degrees(np.arctan2(np.sin(turns).mean(), np.cos(turns).mean())) % 360.0)
    away = np.abs((bearings_deg - mean + 180.0) % 360.0 - 180.0)
    return mean, float(away.max())


def sizes_by_form(stones: Frame) -> Iterator[tuple[str, str]]:
    """Give for each form how many of its stones lack a size, and the usual one that is assumed until it is measured."""
    form = column(stones, "stones", "form")
    known = {word: forms().term(word) for word in form.dropna().unique()}
    usual = {row["form"]: row for row in table_rows("stone_forms")}
    lacks = np.logical_or.reduce([column(stones, "stones", name).isna().to_numpy() for name in DIMENSIONS])
    named = form.map(known).to_numpy(dtype=object)
    for one, row in usual.items():
        here = stones["stone_id"][lacks & (named == one)]
        if len(here):
            sizes = " x ".join(row[name] for name in DIMENSIONS)
            words = (
                f"{many(len(here), 'stone')} of form {one} without height, width or thickness ({shown(here, 3)}): "
                f"{sizes} m is proposed and assumed where an answer needs it ({row['source']})"
            )
            typed = " ".join(f"{name}=..." for name in DIMENSIONS)
            yield (
                words,
                f"Measure; what is typed in counts as measured: gravegis edit SITE stones {here.iloc[0]} {typed}",
            )
