"""What the wetting can be set to."""

from __future__ import annotations

from dataclasses import dataclass

from gravegis.contract import flag, number, whole
from gravegis.layers.position_error import UNKNOWN_M

__all__ = ["PRACTICE", "WettingSettings"]

PRACTICE = "common practice, no source"


@dataclass(frozen=True, slots=True, kw_only=True)
class WettingSettings:
    """What counts as near, how good positions, throws and bearings are, and what of the weather is used."""

    near_m: float = number(
        2.0, "A stone up to this far from a head that reaches it counts as near.",
        unit="m", low=0.1, high=20.0, source=PRACTICE,
    )  # fmt: skip
    look_heads_n: int = whole(
        5, "Heads named in the answer.", low=1, high=50, source="own choice: a short walk, no source"
    )  # fmt: skip
    position_error_m: float = number(
        UNKNOWN_M, "Standard error, each axis, of a position when neither it nor the way it was got is known.",
        unit="m", low=0.0, high=100.0, source="unsourced default: phone 4 m when the position basis is unknown",
    )  # fmt: skip
    measured_throw_error_m: float = number(
        0.1, "Standard error of a throw that was measured, and of a surveyed outline.",
        unit="m", low=0.0, high=10.0, source=PRACTICE,
    )  # fmt: skip
    stated_throw_error_frac: float = number(
        0.03, "Standard error of a throw stated in a plan, as a share of it; twice that where it was assumed.",
        unit="1", low=0.0, high=0.5, source=PRACTICE,
    )  # fmt: skip
    bearing_error_deg: float = number(
        2.0, "Standard error of the stops of a part circle.", unit="deg", low=0.0, high=45.0, source=PRACTICE,
    )  # fmt: skip
    drying_h: float = number(
        3.0, "A stone counts as still wet when the next run begins within this time: for the longest wet spell.",
        unit="h", low=0.0, high=72.0, source="own choice, no source: stone, sun and wind decide",
    )  # fmt: skip
    use_wind: bool = flag(
        default=True,
        help="Carry the patterns downwind by the mean wind of the hours in which each zone runs, where the weather is "
        "known hour by hour.",
        source="pattern moves rather than shrinks: trajectories of this package",
    )
