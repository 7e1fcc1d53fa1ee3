"""What the map shows of a site, as arrays: made once per state of the site, drawn many times. No Qt here."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from gravegis.layers.north import true_north_on_grid_deg
from gravegis.outputs import symbols
from gravegis.window.canvas.ground import drawn_of, grids_of, pickables_of, routes_of
from gravegis.window.canvas.heads import heads_of, moved_since
from gravegis.window.canvas.stones import NO_LAYER, stones_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from gravegis.site import Site
    from gravegis.store.backdrops import Picture
    from gravegis.window.canvas.ground import Drawn, GridPicture, Pickable, Route
    from gravegis.window.canvas.heads import Heads
    from gravegis.window.canvas.rings import Box
    from gravegis.window.canvas.stones import Stones

__all__ = ["GROUPS", "Scene", "kinds_of", "scene_of", "themed"]

GROUPS = {
    "stones": "stones",
    "condition": "condition 0 1 2 3",
    "wetting": "stones reached by spray",
    "heads": "sprinkler heads",
    "wetted": "ground some head wets",
    "throws": "ground each head wets",
    "wet_areas": "wet ground as drawn or surveyed",
    "clusters": "groups of like harm",
    "routes": "ways of the crews",
    "plots": "plots and sections",
    "paths": "paths",
    "barriers": "walls, hedges, fences",
    "points": "gates, taps, bases",
    "names": "names",
    "backdrop": "picture of the ground",
}
"""What can be switched, by order of meaning, and its words; grids follow under ``grid:`` and their name."""
_LEAST_SIDE_M = 10.0


@dataclass(frozen=True, slots=True, eq=False)
class Scene:
    """All that the map draws of one state of a site.

    Attributes
    ----------
    title, crs, theme
        Of the site; ``light`` or ``dark``.
    bounds_m
        The whole ground with a margin. [m]
    stones, heads, drawn, pickables, routes, grids, backdrops
        The parts; `drawn` lowest first.
    north_deg
        Grid bearing of true north in the middle of the ground. [deg]
    """

    title: str
    crs: str
    theme: str
    bounds_m: Box
    stones: Stones
    heads: Heads
    drawn: tuple[Drawn, ...]
    pickables: tuple[Pickable, ...]
    routes: tuple[Route, ...]
    grids: tuple[GridPicture, ...]
    backdrops: tuple[Picture, ...]
    north_deg: float


def scene_of(site: Site, *, theme: str, backdrops: Sequence[Picture] = (), before: Scene | None = None) -> Scene:
    """Return the scene of a site; nothing of the site is changed.

    Parameters
    ----------
    site
        Any site, an empty one too.
    theme
        ``light`` or ``dark``; KeyError for any other.
    backdrops
        Pictures to draw on, as `gravegis.store.backdrops.pictures` gives them.
    before
        The scene of an earlier state: what has not changed is taken over, so that one edit of a head costs little.
    """
    symbols.table(theme)
    heads = heads_of(site)
    stones = moved_since(site, stones_of(site, before.stones if before else None), heads)
    where: dict[str, tuple[float, float]] = {}
    if site.has("stops"):
        where = dict(zip(stones.ids.tolist(), zip(stones.x_m.tolist(), stones.y_m.tolist(), strict=True), strict=True))
    drawn = drawn_of(site, theme)
    bounds_m = _bounds(stones, heads, drawn)
    middle = np.array([[(bounds_m[0] + bounds_m[2]) / 2], [(bounds_m[1] + bounds_m[3]) / 2]])
    return Scene(
        title=site.info.title, crs=site.info.crs, theme=theme, bounds_m=bounds_m, stones=stones, heads=heads,
        drawn=drawn, pickables=pickables_of(site), routes=routes_of(site, theme, where), grids=grids_of(site),
        backdrops=tuple(backdrops),
        north_deg=float(true_north_on_grid_deg(site.info.crs, middle[0], middle[1])[0]),
    )  # fmt: skip


def themed(scene: Scene, theme: str) -> Scene:
    """Return the same scene in the colours of another theme."""
    drawn = tuple(replace(one, symbol=symbols.symbol(one.symbol.kind, theme)) for one in scene.drawn)
    letters = {symbols.crew_letter(order): order for order in range(len(scene.routes) + 1)}
    routes = tuple(replace(one, symbol=symbols.crew_symbol(letters.get(one.letter, 0), theme)) for one in scene.routes)
    return replace(scene, theme=theme, drawn=drawn, routes=routes)


def kinds_of(scene: Scene) -> Mapping[str, str]:
    """Return what can be switched in a scene, with its words, in the order of the key."""
    groups = {one.group for one in scene.drawn}
    stones, heads = scene.stones, scene.heads
    there = {
        "stones": len(stones) > 0,
        "condition": len(stones) > 0 and bool((stones.class_code != NO_LAYER).any()),
        "wetting": bool((stones.wet_code > 0).any()),
        "heads": len(heads) > 0,
        "wetted": bool((heads.throw_row >= 0).any()),
        "throws": bool((heads.throw_row >= 0).any()),
        "routes": bool(scene.routes),
        "names": len(stones) + len(heads) > 0,
        "backdrop": bool(scene.backdrops),
    }
    made = {kind: words for kind, words in GROUPS.items() if there.get(kind, kind in groups)}
    return made | {f"grid:{one.name}": one.words for one in scene.grids}


def _bounds(stones: Stones, heads: Heads, drawn: tuple[Drawn, ...]) -> Box:
    """Ground that all takes, with a margin of 2 %, at least 10 m on a side."""
    boxes = [one.bounds_m for one in (stones.tiles, *(layer.tiles for layer in drawn)) if len(one.bounds_m)]
    if len(heads):
        boxes.append(np.stack([heads.x_m, heads.y_m, heads.x_m, heads.y_m], axis=1))
    if not boxes:
        return 0.0, 0.0, _LEAST_SIDE_M, _LEAST_SIDE_M
    every = np.concatenate(boxes)
    low, high = every[:, :2].min(axis=0), every[:, 2:].max(axis=0)
    grow = np.maximum(0.02 * float((high - low).max()), (_LEAST_SIDE_M - (high - low)) / 2)
    west, south, east, north = (float(side) for side in np.concatenate([low - grow, high + grow]))
    return west, south, east, north
