"""What to load for a day: litres and packs, rounded up to whole containers.

Litres come from the table of consumables (effort.csv: common practice, no source); containers are settings. A tap that
is not known as drinking water is no refill for rinsing, so the litres to bring are said as well.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gravegis.errors import SettingError

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

__all__ = ["STONES_PER_BRUSH", "WATER_KG_PER_L", "Load", "load_for"]

WATER_KG_PER_L = 1.0
"""Mass of water, for what people lift. [kg/l]"""

STONES_PER_BRUSH = 20
"""Stones a soft brush lasts for: common practice, no source."""


@dataclass(frozen=True, slots=True)
class Load:
    """What one day needs. [l, kg]

    `cleaner_l` is ready to use, of which `concentrate_l` is the product as sold; containers and brushes are whole
    numbers; `bring_l` is the water no tap of drinking water gives.
    """

    water_l: float
    cleaner_l: float
    concentrate_l: float
    bring_l: float
    water_containers_n: int
    cleaner_containers_n: int
    brushes_n: int
    sticks_n: int
    heaviest_kg: float


def load_for(
    water_l: ArrayLike,
    cleaner_l: ArrayLike,
    concentrate_frac: ArrayLike,
    *,
    people_n: int,
    good_tap: bool,
    container_l: float = 20.0,
    cleaner_container_l: float = 5.0,
) -> Load:
    """Return the load for some stones.

    Parameters
    ----------
    water_l, cleaner_l, concentrate_frac
        Per stone: water, ready-to-use cleaner, and the share of it that is concentrate (0 to 1). [l]
    people_n
        People who work; each has a brush and a stick of soft wood or plastic.
    good_tap
        Whether a tap known as drinking water is there; without one all water is brought.
    container_l, cleaner_container_l
        Size of one container. [l]

    Raises
    ------
    SettingError
        For containers that are not above 0 or people below 1.
    """
    if not (container_l > 0 and cleaner_container_l > 0 and people_n >= 1):
        raise SettingError(
            f"containers of {container_l:g} and {cleaner_container_l:g} l for {people_n} people",
            remedy="Give sizes above 0 and at least one person.",
        )
    water = np.asarray(water_l, dtype=np.float64).reshape(-1)
    cleaner = np.asarray(cleaner_l, dtype=np.float64).reshape(-1)
    concentrate = cleaner * np.asarray(concentrate_frac, dtype=np.float64).reshape(-1)
    total, mixed = math.fsum(water), math.fsum(cleaner)
    cleaned_n = int(np.count_nonzero(water > 0))
    return Load(
        water_l=total,
        cleaner_l=mixed,
        concentrate_l=math.fsum(concentrate),
        bring_l=0.0 if good_tap else total,
        water_containers_n=_up(total / container_l),
        cleaner_containers_n=_up(mixed / cleaner_container_l),
        brushes_n=max(people_n, _up(cleaned_n / STONES_PER_BRUSH)) if cleaned_n else 0,
        sticks_n=people_n if cleaned_n else 0,
        heaviest_kg=container_l * WATER_KG_PER_L if total else 0.0,
    )


def _up(containers: float) -> int:
    """Return the next whole number; a rounding error of the sum opens no further container."""
    return math.ceil(containers - 1e-9)
