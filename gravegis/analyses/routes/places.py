"""Where the day happens: bases, taps and stones, and the ground between them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from gravegis.analyses.routes.settings import GATE_WIDTH_M
from gravegis.contract import Assumption
from gravegis.layers.canonical import column
from gravegis.layers.stones import numbers, places_m, words
from gravegis.science.routing.ground import Ground
from gravegis.science.routing.model import Refill

if TYPE_CHECKING:
    import numpy.typing as npt

    from gravegis.analyses.routes.settings import RouteSettings
    from gravegis.layers.canonical import Frame
    from gravegis.site import Site

MIDDLE = "middle of the stones"


@dataclass(frozen=True, slots=True)
class Places:
    """Every place of the walking matrix by its row: bases, taps, then the stones to do."""

    xy_m: npt.NDArray[np.float64]
    bases: tuple[str, ...]
    taps: tuple[str, ...]
    stones: tuple[str, ...]
    refills: tuple[Refill, ...]
    brought: bool
    """No water fit for rinsing is on the ground: it is brought to the bases."""
    tank_l: tuple[float, ...] = ()
    """What the tank of each base holds; 0 for none. [l]"""

    def name(self, row: int) -> str:
        """Return the id of the base, tap or stone."""
        return (*self.bases, *self.taps, *self.stones)[row]

    def row_of(self) -> dict[str, int]:
        """Return the row of each stone."""
        first = len(self.bases) + len(self.taps)
        return {stone_id: first + k for k, stone_id in enumerate(self.stones)}


def places_of(site: Site, todo: Frame, settings: RouteSettings) -> tuple[Places, list[Assumption]]:
    """Return the places of the day, and what was assumed for want of bases and taps."""
    xy, bases, assumed = _bases(site)
    taps_xy, taps = _taps(site)
    stones = site["stones"].set_index("stone_id").loc[list(todo["stone_id"])]
    tanks = _tanks(site)
    service_s = settings.refill_min * 60
    good = [Refill(tap_id, len(bases) + k, service_s) for k, tap_id in enumerate(taps)]
    brought = not good and not any(tanks)
    stores = [
        Refill(base_id, k, service_s, water=brought or tanks[k] > 0, cleaner=True) for k, base_id in enumerate(bases)
    ]
    if brought:
        assumed.append(Assumption("taps", "water is brought to the base: no tap or tank with water fit for rinsing"))
    elif not site.has("taps"):
        assumed.append(Assumption("taps", "water comes from the tanks of the bases"))
    if site.has("taps"):
        unsaid = int(column(site["taps"], "taps", "fit_to_drink").isna().sum())
        assumed.append(Assumption("taps.fit_to_drink", "not known to be drinking water: not for rinsing", unsaid))
    if site.has("bases"):
        untold = int(column(site["bases"], "bases", "tank_l").isna().sum())
        assumed.append(Assumption("bases.tank_l", "a base whose tank nobody named has none", untold))
    xy_m = np.concatenate([xy, taps_xy, places_m(stones)])
    refills = (*good, *stores)
    return Places(xy_m, tuple(bases), tuple(taps), tuple(todo["stone_id"]), refills, brought, tuple(tanks)), assumed


def _taps(site: Site) -> tuple[npt.NDArray[np.float64], list[str]]:
    """Return the taps known to give drinking water; water that stained the stone does not rinse it."""
    if not site.has("taps"):
        return np.empty((0, 2)), []
    taps = site["taps"]
    fit = column(taps, "taps", "fit_to_drink").fillna(value=False).to_numpy(dtype=bool)
    return places_m(taps)[fit], [str(one) for one in taps["tap_id"][fit]]


def _tanks(site: Site) -> list[float]:
    if not site.has("bases"):
        return [0.0]
    return [float(one) for one in np.nan_to_num(numbers(site["bases"], "bases", "tank_l"))]


def _bases(site: Site) -> tuple[npt.NDArray[np.float64], list[str], list[Assumption]]:
    """Return the places crews start from and their ids; without a base they start in the middle of the stones."""
    crews = site["crews"]
    if site.has("bases"):
        bases = site["bases"]
        known = set(bases["base_id"])
        stray = [one for one in column(crews, "crews", "base_id").dropna() if one not in known]
        unsaid = Assumption("crews.base_id", "the first base", int(column(crews, "crews", "base_id").isna().sum()))
        said = [unsaid, *(Assumption("crews.base_id", f"no base is called {one}: the first base", 1) for one in stray)]
        return places_m(bases), [str(one) for one in bases["base_id"]], said
    nobody = Assumption("crews.base_id", "", 0)  # there is no base to start from, the line of layer bases says so
    west, south, east, north = site["stones"].total_bounds if len(site["stones"]) else (0.0, 0.0, 0.0, 0.0)
    return np.array([[(west + east) / 2, (south + north) / 2]]), [MIDDLE], [nobody]


def ground_of(site: Site) -> Ground:
    """Return paths, barriers and gates as the walking network takes them."""
    paths = np.asarray(site["paths"]["geometry"]) if site.has("paths") else np.array([], dtype=object)
    # a path drawn as an area is walked along its edge
    is_area = np.isin(shapely.get_type_id(paths), (3, 6)) if len(paths) else np.array([], dtype=bool)
    lines = np.where(is_area, shapely.boundary(paths), paths)
    barriers = np.asarray(site["barriers"]["geometry"]) if site.has("barriers") else np.array([], dtype=object)
    gates = site["gates"] if site.has("gates") else None
    return Ground(
        paths=[line for line in shapely.get_parts(lines) if shapely.length(line) > 0],
        barriers=list(barriers),
        gates_xy_m=np.empty((0, 2)) if gates is None else places_m(gates),
        gate_width_m=np.empty(0)
        if gates is None
        else np.nan_to_num(numbers(gates, "gates", "width_m"), nan=GATE_WIDTH_M),
    )


def text_of(frame: Frame, layer: str, name: str) -> list[str]:
    """Return a column of words, missing as an empty text."""
    return [str(one) if isinstance(one, str) else "" for one in words(frame, layer, name)]
