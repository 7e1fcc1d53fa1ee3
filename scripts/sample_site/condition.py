"""How the condition scores and the findings are made. The causes are listed in sample_layers/README.md.

All weights are invented for this ground. They say nothing about real stones.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from .ground import HOSED_CORNER, SEED
from .stones import pick

if TYPE_CHECKING:
    from .heads import Head
    from .stones import Stone

MATERIAL_WEIGHT = {
    "marble": 0.55, "limestone": 0.75, "sandstone": 0.80, "slate": 0.35, "concrete": 0.55, "granite": 0.15,
    "dark granite": 0.15,
}  # fmt: skip
YEARLY_WEIGHT = 0.006
SURVEY_YEAR = 2026
WET_WEIGHT = 3.0
NEAR_M = 2.5
HOSED_DOSE = 0.35
NOISE = 0.45
ROUNDING = 0.15
STRIP_SHARE = 0.5

UNSCORED = 9
RAILED = 5
WASHED = 6
RAILING_NOTE = "rust run from the iron railing"

WET_PATTERNS = {"staining": 0.34, "encrustation": 0.28, "alga": 0.18, "moss": 0.08, "efflorescence": 0.12}
DRY_PATTERNS: dict[str, dict[str, float]] = {
    "marble": {"granular disintegration": 0.35, "soiling": 0.30, "lichen": 0.25, "crack": 0.10},
    "limestone": {"granular disintegration": 0.30, "lichen": 0.35, "soiling": 0.25, "scaling": 0.10},
    "sandstone": {"delamination": 0.25, "granular disintegration": 0.30, "scaling": 0.20, "lichen": 0.25},
    "slate": {"delamination": 0.50, "lichen": 0.35, "crack": 0.15},
    "concrete": {"crack": 0.40, "lichen": 0.25, "soiling": 0.25, "efflorescence": 0.10},
    "granite": {"soiling": 0.50, "lichen": 0.40, "crack": 0.10},
    "dark granite": {"soiling": 0.60, "lichen": 0.30, "crack": 0.10},
}
EXTENTS = {1: (0.05, 0.25), 2: (0.15, 0.50), 3: (0.35, 0.90)}


def dose(stone: Stone, heads: list[Head]) -> float:
    """Return the true wetting of a stone: a sum over the heads that reach it, falling off with distance."""
    total = HOSED_DOSE if stone.ground.intersects(shapely.Polygon(HOSED_CORNER)) else 0.0
    for head in heads:
        if head.wets.intersects(stone.ground):
            away_m = stone.ground.distance(shapely.Point(head.place))
            share = STRIP_SHARE if head.columns["kind"].startswith("strip") else 1.0
            total += share / (1 + (away_m / NEAR_M) ** 2)
    return total


def parts_of_score(stone: Stone, heads: list[Head]) -> tuple[float, float]:
    """Return what age and material give a stone, and what water adds."""
    age = SURVEY_YEAR - stone.true_year
    own = MATERIAL_WEIGHT[stone.columns["material"]] + YEARLY_WEIGHT * age
    water = WET_WEIGHT * (1 - math.exp(-dose(stone, heads)))
    return own, water


def _exceptions(rng: np.random.Generator, stones: list[Stone], wet: list[bool]) -> None:
    """Set the stones whose score has another cause, and the ones nobody scored."""
    dry_rows = [place for place, stone in enumerate(stones) if stone.columns["row"] == "C3"]
    first = 4 + int(rng.integers(0, len(dry_rows) - RAILED - 8))
    for place in dry_rows[first : first + RAILED]:
        stones[place].columns["quick_score"] = 3
        stones[place].other_cause = "railing"
    order = [int(place) for place in rng.permutation(len(stones))]
    free = [place for place in order if not stones[place].other_cause]
    for place in [place for place in free if wet[place]][:WASHED]:
        stones[place].columns["quick_score"] = 0
        stones[place].other_cause = "washed"
    for place in [place for place in free if not stones[place].other_cause][-UNSCORED:]:
        stones[place].columns["quick_score"] = None


def score_stones(stones: list[Stone], heads: list[Head]) -> None:
    """Give every stone its quick score: age and material, water, chance, and a few other causes."""
    rng = np.random.default_rng([SEED, 6])
    wet = []
    for stone in stones:
        own, water = parts_of_score(stone, heads)
        level = own + water + NOISE * float(rng.standard_normal()) - ROUNDING
        stone.columns["quick_score"] = int(min(max(math.floor(level), 0), 3))
        stone.water_share = water / (own + water)
        wet.append(water > 0)
    _exceptions(rng, stones, wet)


def facing_side(stone: Stone, place: tuple[float, float]) -> str:
    """Return the side of a stone that looks to a place; left and right are those of somebody reading it."""
    if stone.columns["form"] in ("ledger", "flush marker"):
        return "top"
    middle = stone.ground.centroid
    bearing = math.degrees(math.atan2(place[0] - middle.x, place[1] - middle.y))
    turn = (bearing - stone.columns["facing_deg"]) % 360
    # a reader looks against the facing, so what lies clockwise of it is on the reader's left
    return ("front", "left", "back", "right")[round(turn / 90) % 4]


def _side(rng: np.random.Generator, stone: Stone, heads: list[Head], *, by_water: bool) -> str:
    reaching = [head.place for head in heads if head.wets.intersects(stone.ground)]
    if by_water and reaching:
        return facing_side(stone, min(reaching, key=lambda place: stone.ground.distance(shapely.Point(place))))
    if stone.columns["form"] in ("ledger", "flush marker"):
        return "top"
    return pick(rng, {"front": 0.3, "back": 0.35, "top": 0.25, "left": 0.05, "right": 0.05})


def _findings_of(rng: np.random.Generator, stone: Stone, heads: list[Head]) -> list[dict[str, Any]]:
    """Return the findings of one stone; the worst of them has the severity of its score."""
    score = stone.columns["quick_score"]
    railing = stone.other_cause == "railing"
    found_on = f"2026-10-{10 + 7 * int(rng.integers(0, 2)):02d}"
    found: dict[str, dict[str, Any]] = {}
    for turn in range(1 + int(rng.integers(0, 3))):
        by_water = float(rng.random()) < stone.water_share
        shares = WET_PATTERNS if by_water else DRY_PATTERNS[stone.columns["material"]]
        pattern = "staining" if railing and turn == 0 else pick(rng, shares)
        severity = score if turn == 0 else 1 + int(rng.integers(0, score))
        low, high = EXTENTS[severity]
        finding = {
            "stone_id": stone.columns["stone_id"],
            "pattern": pattern,
            "severity": severity,
            "extent_frac": round(low + (high - low) * float(rng.random()), 2),
            "face": _side(rng, stone, heads, by_water=by_water),
            "found_on": found_on,
            "by": "volunteer survey",
            "note": RAILING_NOTE if railing and turn == 0 else None,
        }
        found.setdefault(pattern, finding)
    return list(found.values())


def make_findings(stones: list[Stone], heads: list[Head]) -> list[dict[str, Any]]:
    """Return the findings table: about three in five of the stones scored 1 or more, and all railed ones."""
    rng = np.random.default_rng([SEED, 7])
    rows: list[dict[str, Any]] = []
    for stone in stones:
        looked = float(rng.random()) < 0.6
        if stone.columns["quick_score"] and (looked or stone.other_cause == "railing"):
            rows.extend(_findings_of(rng, stone, heads))
    return [{"finding_id": f"F{number:03d}", **row} for number, row in enumerate(rows, start=1)]
