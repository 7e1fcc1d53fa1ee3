"""What holds a stone back, all reasons together: the strictest is named, none is lost."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gravegis.science.care.gates import HOLDS
from gravegis.science.care.history import CLEANED_LATELY
from gravegis.science.care.permissions import NEEDS_PERMISSION, REFUSED

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

__all__ = ["ALL_HOLDS", "ASK_FIRST", "BANNED", "strictest"]

ASK_FIRST = "ask first: sensitive ground"
BANNED = "taken off the list"

ALL_HOLDS = ("", BANNED, CLEANED_LATELY, ASK_FIRST, NEEDS_PERMISSION, REFUSED, *HOLDS[1:])
"""Everything that can hold a stone, the strictest last: own order."""


def strictest(holds: Sequence[NDArray[np.str_]]) -> NDArray[np.str_]:
    """Return per stone the strictest of several holds; empty where nothing holds it."""
    places = {word: place for place, word in enumerate(ALL_HOLDS)}
    ranks = np.array([[places[str(word)] for word in one] for one in holds], dtype=np.intp)
    return np.array(ALL_HOLDS, dtype=np.str_)[ranks.max(axis=0)] if ranks.size else np.empty(0, dtype=np.str_)
