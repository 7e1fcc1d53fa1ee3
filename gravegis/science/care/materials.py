"""What a stone is made of, as far as a crew needs to know."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gravegis.science.condition.tables import Vocabulary, rows, vocabulary

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["UNKNOWN", "density_kg_m3", "material_class", "materials"]

UNKNOWN = "unknown"
"""Class of a material that was not named or is not in the table."""


def materials() -> Vocabulary:
    """Return the vocabulary of materials (materials.csv); plain words such as ``white`` stand for the likely kind."""
    return vocabulary("materials", key="material")


def material_class(typed: object) -> str:
    """Return the class a typed material is treated as; ``unknown`` where it is not in the table."""
    known = materials()
    return known.look_up(known.term(typed), "class") or UNKNOWN


def density_kg_m3() -> Mapping[str, float]:
    """Return the density to reckon a mass with, per material class; hollow metal and wood have none. [kg/m3]"""
    return {row["material_class"]: float(row["density_kg_m3"]) for row in rows("stone_density")}
