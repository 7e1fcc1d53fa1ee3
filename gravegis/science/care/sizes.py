"""Sizes of a stone, the missing ones taken from its form and marked as assumed; and when a slab tips."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gravegis.errors import LayerError, Problem
from gravegis.science.care.materials import density_kg_m3, material_class
from gravegis.science.condition.tables import Vocabulary, rows, vocabulary

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike, NDArray

__all__ = ["TIPPING_WARNING", "Sizes", "Tipping", "forms", "stone_sizes", "tipping"]

DIMENSIONS = ("height_m", "width_m", "thickness_m")

TIPPING_WARNING = (
    "Worked out for a loose, upright slab on firm, level ground; a real one may tip sooner. "
    "It shows how little it takes. Nobody tests a stone by force, and never an unpinned slab."
)
"""Printed wherever a tipping figure is shown."""


@dataclass(frozen=True, slots=True)
class Sizes:
    """One entry per stone: height above ground, width along the front, thickness front to back. [m]

    NaN where neither a size nor a form is known. `assumed` says that at least one of the three comes from the
    form, `height_assumed` that the height does. `form` is the known form, empty otherwise. `area_m2` is the
    surface to clean, of a box on the ground: two faces, two sides, the top. `mass_kg` is that of the box.
    """

    height_m: NDArray[np.float64]
    width_m: NDArray[np.float64]
    thickness_m: NDArray[np.float64]
    assumed: NDArray[np.bool_]
    height_assumed: NDArray[np.bool_]
    form: NDArray[np.str_]
    area_m2: NDArray[np.float64]
    mass_kg: NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Tipping:
    """When a free-standing slab tips: its mass, the level push at its top edge, and the lean. [kg, kgf, deg]

    Show it with `TIPPING_WARNING`.
    """

    mass_kg: NDArray[np.float64]
    push_kgf: NDArray[np.float64]
    lean_deg: NDArray[np.float64]


def forms() -> Vocabulary:
    """Return the vocabulary of forms of stones (stone_forms.csv), with their usual sizes."""
    return vocabulary("stone_forms", key="form")


def stone_sizes(
    height_m: ArrayLike,
    width_m: ArrayLike,
    thickness_m: ArrayLike,
    form: Sequence[object] | NDArray[np.generic],
    material: Sequence[object] | NDArray[np.generic],
) -> Sizes:
    """Return the sizes of every stone, filled in from the usual sizes of its form where one is missing.

    Parameters
    ----------
    height_m, width_m, thickness_m
        Measured sizes, above 0; NaN where not known. [m]
    form, material
        As typed.

    Raises
    ------
    LayerError
        With every size that is not above 0, or when lengths differ.
    """
    measured = dict(zip(DIMENSIONS, map(_column, (height_m, width_m, thickness_m)), strict=True))
    _check(measured, len(form), len(material))
    known = [forms().term(word) for word in form]
    usual = {row["form"]: row for row in rows("stone_forms")}
    filled = {
        name: np.where(np.isnan(sizes), [float(usual[one][name]) if one else np.nan for one in known], sizes)
        for name, sizes in measured.items()
    }
    height, width, thickness = (filled[name] for name in DIMENSIONS)
    taken = {name: np.isnan(measured[name]) & ~np.isnan(filled[name]) for name in DIMENSIONS}
    densities = density_kg_m3()
    density = np.array([densities.get(material_class(word), np.nan) for word in material], dtype=np.float64)
    return Sizes(
        height_m=height,
        width_m=width,
        thickness_m=thickness,
        assumed=np.logical_or.reduce(list(taken.values())),
        height_assumed=taken["height_m"],
        form=np.array(known, dtype=np.str_),
        area_m2=2 * height * (width + thickness) + width * thickness,
        mass_kg=density * height * width * thickness,
    )


def _column(sizes: ArrayLike) -> NDArray[np.float64]:
    return np.asarray(sizes, dtype=np.float64).reshape(-1)


def _check(measured: dict[str, NDArray[np.float64]], forms_n: int, materials_n: int) -> None:
    lengths = {**{name: sizes.size for name, sizes in measured.items()}, "form": forms_n, "material": materials_n}
    if len(set(lengths.values())) > 1:
        raise LayerError(f"columns of different length: {lengths}", where="stones")
    problems = []
    for name, sizes in measured.items():
        bad = np.flatnonzero(~(np.isnan(sizes) | (np.isfinite(sizes) & (sizes > 0))))
        if bad.size:
            problems.append(
                Problem(
                    f"{name} is {sizes[bad[0]]:g} ({bad.size} in all)",
                    where=f"stones.{name}[{bad[0]}]",
                    remedy="Give metres above 0, or leave it empty.",
                )
            )
    if problems:
        raise LayerError.of(problems)


def tipping(height_m: ArrayLike, width_m: ArrayLike, thickness_m: ArrayLike, density_kg_m3: ArrayLike) -> Tipping:
    """Return when a free-standing slab tips: plane geometry, push F = m g (t/2) / h, lean atan(t/h).

    For an upright box that stands loose on firm, level ground and turns about its lower edge. Fixings,
    burial, soft ground and lean are left out.

    Parameters
    ----------
    height_m, width_m, thickness_m
        Sizes of the slab, above 0. [m]
    density_kg_m3
        Density of the stone. [kg/m3]
    """
    height, width, thickness, density = map(_column, (height_m, width_m, thickness_m, density_kg_m3))
    mass = density * height * width * thickness
    return Tipping(
        mass_kg=mass,
        push_kgf=mass * (thickness / 2) / height,
        lean_deg=np.degrees(np.arctan2(thickness, height)),
    )
