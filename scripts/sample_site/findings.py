"""What a volunteer survey wrote down of the true harm: some stones, most of what ails them, the side it is on."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from .ground import SEED
from .stones import pick

if TYPE_CHECKING:
    from .harm import Harm
    from .heads import Head
    from .stones import Stone

LOOKED_SHARE = 0.6
TOWARDS_HEAD = 0.85
EXTENTS = {1: (0.05, 0.25), 2: (0.15, 0.50), 3: (0.35, 0.90)}
RAILING_NOTE = "rust run from the iron railing"
ON_TOP = ("ledger", "flush marker")


def facing_side(stone: Stone, place: tuple[float, float]) -> str:
    """Return the side of a stone that looks to a place; left and right are those of somebody reading it."""
    if stone.columns["form"] in ON_TOP:
        return "top"
    middle = stone.ground.centroid
    bearing = math.degrees(math.atan2(place[0] - middle.x, place[1] - middle.y))
    turn = (bearing - stone.columns["facing_deg"]) % 360
    # a reader looks against the facing, so what lies clockwise of it is on the reader's left
    return ("front", "left", "back", "right")[round(turn / 90) % 4]


def _side(rng: np.random.Generator, stone: Stone, harm: Harm, places: dict[str, tuple[float, float]]) -> str:
    any_side = pick(rng, {"front": 0.3, "back": 0.35, "top": 0.25, "left": 0.05, "right": 0.05})
    towards = float(rng.random()) < TOWARDS_HEAD
    if harm.head_id and towards:
        return facing_side(stone, places[harm.head_id])
    return "top" if stone.columns["form"] in ON_TOP else any_side


def make_findings(
    stones: list[Stone], heads: list[Head], harms: list[list[Harm]]
) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Return the findings table and the truth of each finding, row by row.

    About three in five of the stones with any harm were looked at, those at the railing always. The worst harm of a
    stone is always among its findings, so the worst severity is its quick score.
    """
    rng = np.random.default_rng([SEED, 7])
    places = {head.columns["head_id"]: head.place for head in heads}
    rows: list[dict[str, Any]] = []
    truth: list[dict[str, Any]] = []
    for stone, own in zip(stones, harms, strict=True):
        railed = stone.other_cause == "railing"
        looked = float(rng.random()) < LOOKED_SHARE
        day = 10 + 7 * int(rng.integers(0, 2))
        if not (railed or (looked and stone.columns["quick_score"])):
            continue
        for turn, harm in enumerate(sorted(own, key=lambda one: -one.severity)):
            low, high = EXTENTS[harm.severity]
            seen, extent = float(rng.random()), low + (high - low) * float(rng.random())
            side = _side(rng, stone, harm, places)
            if turn and seen > 0.85:
                continue
            finding_id = f"F{len(rows) + 1:04d}"
            rows.append(
                {"finding_id": finding_id, "stone_id": stone.columns["stone_id"], "pattern": harm.pattern,
                 "severity": harm.severity, "extent_frac": round(extent, 2), "face": side,
                 "found_on": f"2026-10-{day:02d}", "by": "volunteer survey",
                 "note": RAILING_NOTE if harm.cause == "iron railing" else None}
            )  # fmt: skip
            truth.append({"finding_id": finding_id, "cause": harm.cause, "head_id": harm.head_id or None})
    return rows, truth


def truth_of_stones(stones: list[Stone], where: list[Any], on_map: Any) -> list[dict[str, Any]]:  # noqa: ANN401
    """Return where each stone truly stands and what it is exposed to."""
    return [
        {"stone_id": stone.columns["stone_id"], **on_map(shapely.get_coordinates(stone.ground.centroid)[0]),
         "true_year": stone.true_year, "bore_dose": f"{at.dose:.4f}", "nearest_wetting_head_id": at.head_id or None,
         "hosed": int(at.hosed), "shaded": int(at.shaded), "iron_fed": int(at.fed),
         "afternoon_head_id": at.quenched_by or None, "other_cause": stone.other_cause or None}
        for stone, at in zip(stones, where, strict=True)
    ]  # fmt: skip
