"""Names in one layer that should stand in another: findings and their stones, heads and their zones."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from gravegis.layers.read.raw import many, shown

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gravegis.layers.holder import Holder

__all__ = ["LINKS", "Broken", "broken"]

LINKS = (
    ("findings", "stone_id", "stones"),
    ("parts", "stone_id", "stones"),
    ("photos", "stone_id", "stones"),
    ("treatments", "stone_id", "stones"),
    ("permissions", "stone_id", "stones"),
    ("observations", "stone_id", "stones"),
    ("observations", "head_id", "heads"),
    ("observations", "zone_id", "zones"),
    ("heads", "zone_id", "zones"),
    ("schedules", "zone_id", "zones"),
    ("throws", "head_id", "heads"),
    ("wet_areas", "head_id", "heads"),
    ("stones", "plot_id", "plots"),
    ("zones", "source_id", "sources"),
    ("taps", "source_id", "sources"),
    ("wet_areas", "source_id", "sources"),
    ("water", "source_id", "sources"),
    ("crews", "base_id", "bases"),
    ("treatments", "crew_id", "crews"),
)
"""Layer, its column, the layer whose id it names."""


@dataclass(frozen=True, slots=True)
class Broken:
    """Rows that name something which is not there; `every` when none of the filled ones is."""

    layer: str
    column: str
    target: str
    words: str
    every: bool
    has_target: bool


def broken(site: Holder) -> Iterator[Broken]:
    """Give each link of a site that leads nowhere, with the names."""
    for layer, column, target in LINKS:
        if layer not in site or column not in site[layer].columns:
            continue
        named = site[layer][column].dropna().astype("str")
        if named.empty:
            continue
        key = f"{target.removesuffix('s')}_id"
        if target not in site:
            words = f"{many(len(named), 'row')} of {layer} name a {key}, but there is no layer {target}"
            yield Broken(layer, column, target, words, every=True, has_target=False)
            continue
        lost = named[~named.isin(site[target][key].astype("str"))]
        if len(lost):
            names = shown(sorted(lost.unique()))
            words = f"{len(lost)} of {many(len(named), 'row')} of {layer} name a {key} that is not in {target}: {names}"
            yield Broken(layer, column, target, words, every=len(lost) == len(named), has_target=True)
