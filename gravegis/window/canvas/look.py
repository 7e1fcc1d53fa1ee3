"""How a scene is to be looked at: what is switched on, the minute, the head in hand, what is selected."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gravegis.outputs import symbols
from gravegis.window.canvas.stones import CLASS_KINDS, NO_LAYER, WET_KINDS, Wet

if TYPE_CHECKING:
    import numpy.typing as npt

    from gravegis.outputs.symbols import Symbol
    from gravegis.window.canvas.rings import Ints
    from gravegis.window.canvas.stones import Stones

__all__ = ["Face", "Look", "face_of", "stone_codes", "wet_of"]

_OVER = {
    Wet.NOT_REACHED: "over_not_reached", Wet.REACHED: "over_reached", Wet.NEAR: "over_near",
    Wet.NOT_KNOWN: "over_not_known",
}  # fmt: skip
WET_N = len(WET_KINDS)


@dataclass(frozen=True, slots=True, eq=False)
class Look:
    """One way to look at a scene.

    Attributes
    ----------
    shown
        Switches that are on.
    sprayed
        Zones that spray at the minute shown; None where no minute is shown.
    held
        Row of the head in hand, which is drawn by the overlay and not by the base; -1 for none.
    other_rows, other_codes
        Stones whose wetting code differs from that of the scene for now, and their code.
    selected
        Rows of the stones selected, where they are too many for the overlay.
    day
        Day whose routes are shown; empty: the first.
    """

    shown: frozenset[str]
    sprayed: frozenset[str] | None
    held: int
    other_rows: Ints
    other_codes: npt.NDArray[np.int8]
    selected: Ints
    day: str


@dataclass(frozen=True, slots=True)
class Face:
    """How a stone of one code is drawn: the symbol of its body and, over it, that of its wetting state."""

    body: Symbol
    over: Symbol | None
    digit: str


def wet_of(stones: Stones, look: Look) -> npt.NDArray[np.int8]:
    """Return the wetting codes with those that differ for now."""
    if not len(look.other_rows):
        return stones.wet_code
    codes = stones.wet_code.copy()
    codes[look.other_rows] = look.other_codes
    return codes


def stone_codes(stones: Stones, look: Look) -> npt.NDArray[np.int8]:
    """Return one code a stone for class and wetting together, as far as both are switched on."""
    classes = stones.class_code if "condition" in look.shown else np.full(len(stones), NO_LAYER, dtype=np.int8)
    wet = wet_of(stones, look) if "wetting" in look.shown else np.zeros(len(stones), dtype=np.int8)
    return (classes * WET_N + wet).astype(np.int8)


def face_of(code: int, theme: str) -> Face:
    """Return how a stone of a code of `stone_codes` is drawn."""
    class_code, wet_code = divmod(code, WET_N)
    if class_code == NO_LAYER:
        return Face(symbols.symbol(WET_KINDS[wet_code], theme), None, "")
    over = _OVER.get(wet_code)
    digit = str(class_code) if class_code < NO_LAYER - 1 else "?"
    return Face(symbols.symbol(CLASS_KINDS[class_code], theme), symbols.symbol(over, theme) if over else None, digit)
