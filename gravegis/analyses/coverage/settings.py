"""What the coverage can be set to."""

from __future__ import annotations

from dataclasses import dataclass

from gravegis.contract import choice, flag, number, text, whole
from gravegis.science.irrigation.uniformity import QUARTERS

__all__ = ["AUTO", "CoverageSettings"]

AUTO = "auto"


def _cell(typed: str) -> str:
    """Return a cell size in metres as text, or auto."""
    from gravegis import units

    if typed.strip().casefold() == AUTO:
        return AUTO
    value = units.parse(typed, "m")
    if not 0.05 <= value <= 20:
        raise ValueError("outside 0.05 to 20 m")
    return f"{value:g}"


@dataclass(frozen=True, slots=True, kw_only=True)
class CoverageSettings:
    """How fine the raster is, and how evenness is measured."""

    cell_m: str = text(
        AUTO, "Side of a cell; auto: the finest of 0.25, 0.5, 1, 2 and 5 m with at most 8 million cells.",
        form="a distance such as 0.5 m, or auto", reader=_cell, source="own choice",
    )  # fmt: skip
    quarter: str = choice(
        "nearest", "How the number of cans or cells in the lowest quarter is rounded.", options=tuple(QUARTERS),
        source="own choice: what the 15 cans of Merriam and Keller 1978 are worked with",
    )  # fmt: skip
    window_frac: float = number(
        0.05, "Share of the ground in the driest window of the scheduling coefficient.", unit="1", low=0.005, high=0.5,
        source="common practice: 1, 2 or 5 percent",
    )  # fmt: skip
    fill_flow: bool = flag(
        default=True,
        help="Take a flow nobody measured from like heads of the same zone, in proportion to the turn.",
        source="matched heads send out in proportion to their turn: common practice, no source",
    )
    like_heads_n: int = whole(
        2, "As many like heads of known flow a zone must have for that.", low=1, high=50, source="own choice"
    )  # fmt: skip
    use_wind: bool = flag(
        default=True,
        help="Carry the patterns downwind by the mean wind of the hours in which each zone runs, where the weather is "
        "known hour by hour.",
        source="pattern moves rather than shrinks: trajectories of this package",
    )
