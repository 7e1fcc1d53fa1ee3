"""Samples for the key: which symbols hang on a switch, as they stand in the drawing table."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gravegis.outputs import symbols
from gravegis.window.canvas.inks import sample
from gravegis.window.canvas.stones import CLASS_KINDS, WET_KINDS

if TYPE_CHECKING:
    from PySide6.QtGui import QPixmap

    from gravegis.outputs.symbols import Symbol
    from gravegis.window.scene import Scene

__all__ = ["samples_of", "symbols_of"]


def symbols_of(scene: Scene, kind: str) -> list[tuple[Symbol, str]]:
    """Return the symbols that a scene shows under one switch, with their words."""
    theme, stones, heads = scene.theme, scene.stones, scene.heads
    if kind.startswith("grid:"):
        steps = next((one.steps for one in scene.grids if f"grid:{one.name}" == kind), ())
        return list(zip((symbols.symbol(one, theme) for one in symbols.heat_kinds(theme)), steps, strict=False))
    names: list[str] = []
    if kind == "condition":
        names = [CLASS_KINDS[code] for code in np.unique(stones.class_code).tolist() if code < len(CLASS_KINDS)]
    elif kind == "wetting":
        names = [WET_KINDS[code] for code in np.unique(stones.wet_code).tolist() if code]
    elif kind == "heads":
        names = ["head"] * bool((~heads.is_faulty).any()) + ["head_fault"] * bool(heads.is_faulty.any())
    elif kind in ("wetted", "stones"):
        names = [kind.removesuffix("s")]
    elif kind == "throws":
        zones = sorted({str(one) for one in heads.zones.tolist() if one}, key=lambda name: (len(name), name))
        return [(symbols.zone_symbol(order, theme), zone) for order, zone in enumerate(zones)]
    elif kind == "routes":
        return list({route.letter: (route.symbol, route.symbol.words) for route in scene.routes}.values())
    else:
        return list(
            {one.symbol.kind: (one.symbol, one.symbol.words) for one in scene.drawn if one.group == kind}.values()
        )
    return [(symbols.symbol(name, theme), symbols.symbol(name, theme).words) for name in names]


def samples_of(scene: Scene, kind: str) -> list[tuple[QPixmap, str]]:
    """Return a small picture and the words of each."""
    paper = symbols.PAPERS[scene.theme]
    return [(sample(symbol, paper), words) for symbol, words in symbols_of(scene, kind)]
