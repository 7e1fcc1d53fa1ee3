"""Where labels go: a greedy placement on a board of small squares; what does not fit is counted, never overlapped.

All lengths are millimetres from the lower left corner of the map. Labels come in order of worth; each takes the
first place that is free of other labels and marks and that hides the least of what is drawn.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from gravegis.outputs import typeset

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    import numpy.typing as npt

__all__ = ["Anchor", "Board", "Label", "Placed", "beside", "place", "rays"]

_SQUARE_MM = 0.2
_GAP_MM = 0.35
# Costs are shares of a label that hide something; a place later in the list is worse by this much.
_LATER = 0.01
_CORNERS = ((1, 0), (-1, 0), (0, 1), (0, -1), (1, 1), (-1, 1), (1, -1), (-1, -1))


@dataclass(frozen=True, slots=True)
class Anchor:
    """A thing a label belongs to: its middle and half its width and height on paper."""

    x: float
    y: float
    half_width: float = 0.0
    half_height: float = 0.0


@dataclass(frozen=True, slots=True)
class Label:
    """A text that wants a place.

    Parameters
    ----------
    text, size_pt, bold, colour
        What stands there.
    anchors
        Things it may stand at, best first.
    most_hidden
        The largest share of the label that may hide what is drawn (0 to 1).
    pad_mm
        Room kept around the text, for a frame.
    line
        Colour of a frame around it; empty: none.
    reach_mm
        Distances at which it may stand off, with a line to its place; empty: beside its anchor only.
    """

    text: str
    anchors: tuple[Anchor, ...]
    size_pt: float = 5.5
    bold: bool = False
    colour: str = "#000000"
    most_hidden: float = 0.12
    pad_mm: float = 0.25
    line: str = ""
    reach_mm: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Placed:
    """A label in its place: the middle of the text, and the anchor it belongs to."""

    label: Label
    x: float
    y: float
    anchor: Anchor

    @property
    def stands_off(self) -> bool:
        """Whether a line to its place is needed."""
        return bool(self.label.reach_mm) and math.hypot(self.x - self.anchor.x, self.y - self.anchor.y) > 0.3


class Board:
    """What of a map is taken (never covered) and what is drawn (covered where nothing else is free)."""

    def __init__(self, width_mm: float, height_mm: float) -> None:
        """Make an empty board of the size of the map."""
        self._shape = math.floor(height_mm / _SQUARE_MM), math.floor(width_mm / _SQUARE_MM)
        self._taken: npt.NDArray[np.bool_] = np.zeros(self._shape, dtype=bool)
        self._drawn: npt.NDArray[np.bool_] = np.zeros(self._shape, dtype=bool)

    def _window(self, x: float, y: float, width: float, height: float) -> tuple[slice, slice] | None:
        """Return the squares a rectangle around (x, y) touches; None where it leaves the map."""
        left, low = math.floor((x - width / 2) / _SQUARE_MM), math.floor((y - height / 2) / _SQUARE_MM)
        right, high = math.ceil((x + width / 2) / _SQUARE_MM), math.ceil((y + height / 2) / _SQUARE_MM)
        if left < 0 or low < 0 or right > self._shape[1] or high > self._shape[0]:
            return None
        return slice(low, high), slice(left, right)

    def copy(self) -> Board:
        """Return a board of its own with the same squares taken and drawn."""
        made = Board(0.0, 0.0)
        made._shape, made._taken, made._drawn = self._shape, self._taken.copy(), self._drawn.copy()
        return made

    def become(self, other: Board) -> None:
        """Take over what is taken and drawn on another board of the same map."""
        self._taken, self._drawn = other._taken, other._drawn

    def cost(self, x: float, y: float, width: float, height: float) -> float:
        """Return the share of a rectangle that would hide something; infinite where it is taken or off the map."""
        window = self._window(x, y, width, height)
        if window is None or self._taken[window].any():
            return math.inf
        return float(self._drawn[window].mean())

    def take(self, x: float, y: float, width: float, height: float) -> None:
        """Keep a rectangle free of labels from now on; parts off the map do not matter."""
        self._taken[self._clipped(x, y, width, height)] = True

    def clear(self, x: float, y: float, width: float, height: float) -> None:
        """Give a rectangle that was taken free again; what is drawn in it stays noted."""
        self._taken[self._clipped(x, y, width, height)] = False

    def draw(self, x: float, y: float, width: float, height: float) -> None:
        """Note that something is drawn in a rectangle."""
        self._drawn[self._clipped(x, y, width, height)] = True

    def draw_points(self, xy: npt.NDArray[Any]) -> None:
        """Note that something is drawn at points, shape (points, 2)."""
        at = np.floor(xy / _SQUARE_MM).astype(np.int64)
        on = (at >= 0).all(axis=1) & (at[:, 0] < self._shape[1]) & (at[:, 1] < self._shape[0])
        self._drawn[at[on, 1], at[on, 0]] = True

    def _clipped(self, x: float, y: float, width: float, height: float) -> tuple[slice, slice]:
        left, low = math.floor((x - width / 2) / _SQUARE_MM), math.floor((y - height / 2) / _SQUARE_MM)
        right, high = math.ceil((x + width / 2) / _SQUARE_MM), math.ceil((y + height / 2) / _SQUARE_MM)
        return slice(max(low, 0), max(high, 0)), slice(max(left, 0), max(right, 0))


def beside(anchor: Anchor, width: float, height: float) -> Iterator[tuple[float, float]]:
    """Give the eight places around an anchor: right, left, above, below, then the corners."""
    for across, up in _CORNERS:
        yield (
            anchor.x + across * (anchor.half_width + width / 2 + _GAP_MM),
            anchor.y + up * (anchor.half_height + height / 2 + _GAP_MM),
        )


def rays(anchor: Anchor, reach_mm: Sequence[float], turns: int = 16) -> Iterator[tuple[float, float]]:
    """Give places around an anchor at growing distances."""
    for distance in reach_mm:
        for turn in range(turns if distance else 1):
            angle = 2 * math.pi * turn / turns
            yield anchor.x + distance * math.cos(angle), anchor.y + distance * math.sin(angle)


def place(board: Board, labels: Iterable[Label]) -> tuple[list[Placed], list[Label]]:
    """Place labels in the order given; returns those placed and those for which there was no room."""
    placed: list[Placed] = []
    left: list[Label] = []
    for label in labels:
        found = _best(board, label)
        if found is None:
            left.append(label)
            continue
        width, height = box_mm(label)
        board.take(found.x, found.y, width, height)
        placed.append(found)
    return placed, left


def box_mm(label: Label) -> tuple[float, float]:
    """Return the room a label takes, with its padding."""
    width, height = typeset.size_mm(typeset.printable(label.text), label.size_pt, bold=label.bold)
    return width + 2 * label.pad_mm, height + 2 * label.pad_mm


def _best(board: Board, label: Label) -> Placed | None:
    width, height = box_mm(label)
    best: Placed | None = None
    least = label.most_hidden + 1e-9
    rank = 0
    for anchor in label.anchors:
        spots = rays(anchor, label.reach_mm) if label.reach_mm else beside(anchor, width, height)
        for x, y in spots:
            hidden = board.cost(x, y, width, height)
            if hidden <= label.most_hidden and hidden + rank * _LATER < least:
                best, least = Placed(label, x, y, anchor), hidden + rank * _LATER
            rank += 1
            if rank * _LATER >= least:
                return best
    return best
