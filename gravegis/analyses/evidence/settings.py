"""What the evidence can be set to."""

from __future__ import annotations

from dataclasses import dataclass

from gravegis.contract import choice, number, whole
from gravegis.science.condition.harms import harms

__all__ = ["EVERY", "EvidenceSettings"]

EVERY = "every harm"


@dataclass(frozen=True, slots=True, kw_only=True)
class EvidenceSettings:
    """Which harm, how many stones a comparison needs, and how near two edges must be."""

    harm: str = choice(
        EVERY, "Harm to look at.", options=(EVERY, "overall", *harms()), source="own choice: all that were recorded"
    )
    least_dry_n: int = whole(
        20, "Wetted and dry stones of known harm that a comparison between stones needs, each.",
        low=5, high=1000, source="own rule: with fewer a difference of one in three passes unseen",
    )  # fmt: skip
    least_harmed_n: int = whole(
        5, "Fewest stones with a harm before anything is said of it.", low=2, high=1000, source="own rule"
    )
    edge_m: float = number(
        0.1, "Stain edge and wet edge this far apart count as the same.",
        unit="m", low=0.01, high=1, source="own choice: a hand's breadth, no source",
    )  # fmt: skip
