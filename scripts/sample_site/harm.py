"""The harm of each stone and what truly caused it: iron and lime of the bore, growth, quench, age, and decoys.

All coefficients are invented for this ground. They say nothing about real stones.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from .ground import SEED
from .places import FED_PATCH, HOSED_CORNER, shaded_ground
from .stones import pick
from .tables import AFTERNOON_ZONES, WEEKLY_MIN

if TYPE_CHECKING:
    from .heads import Head
    from .stones import Stone

SURVEY_YEAR = 2026

# name: value, unit, meaning. Written out as coefficients.csv beside the truth.
COEFFICIENTS: dict[str, tuple[float, str, str]] = {
    "near_m": (2.5, "m", "a head counts 1 / (1 + (d / near_m)^2), d from head to stone"),
    "full_week_min": (315.0, "min", "a zone counts with its minutes a week divided by this"),
    "strip_share": (0.5, "1", "a strip head counts this much of another head"),
    "iron_full": (3.8, "grade", "iron: full x visible x (1 - exp(-rate x dose)) + chance"),
    "iron_rate": (1.4, "1/dose", "iron: see iron_full"),
    "iron_noise": (0.35, "grade", "iron: standard deviation of chance"),
    "lime_full": (3.0, "grade", "lime: full x visible x (1 - exp(-rate x dose)) + chance"),
    "lime_rate": (1.1, "1/dose", "lime: see lime_full"),
    "lime_noise": (0.35, "grade", "lime: standard deviation of chance"),
    "growth_base": (-0.30, "grade", "growth: base + wet + shade + age x rough x years / 100 + chance"),
    "growth_wet": (0.80, "grade", "growth: added where any water falls, of bore or hose"),
    "growth_hose": (0.90, "grade", "growth: added once more in the hosed corner, where water stands"),
    "growth_shade": (1.50, "grade", "growth: added in the shadow of trees"),
    "growth_age": (0.90, "grade/century", "growth: see growth_base"),
    "growth_noise": (0.45, "grade", "growth: standard deviation of chance"),
    "loss_age": (1.50, "grade/century", "loss of stone: age x weak x years / 100 + chance"),
    "loss_noise": (0.35, "grade", "loss of stone: standard deviation of chance"),
    "quench_m": (6.0, "m", "quench: a head this near that runs in the afternoon"),
    "quench_chance": (0.65, "1", "quench: chance of a crack there, on polished dark granite only"),
    "crack_chance": (0.03, "1", "chance of a crack on polished dark granite elsewhere"),
    "soiling_chance": (0.10, "1", "chance of soiling on any stone"),
    "feed_chance": (0.60, "1", "iron feed: chance of rust on a stone of the fed patch"),
}


def _value(name: str) -> float:
    return COEFFICIENTS[name][0]


# by material: how well iron shows, how well lime shows, how rough (growth), how weak with age
BY_MATERIAL: dict[str, tuple[float, float, float, float]] = {
    "marble": (1.0, 0.6, 0.9, 1.0),
    "limestone": (1.0, 0.6, 1.1, 1.1),
    "sandstone": (0.8, 0.8, 1.2, 1.2),
    "slate": (0.6, 0.9, 0.6, 0.8),
    "concrete": (0.9, 0.7, 1.2, 0.9),
    "granite": (0.8, 0.9, 0.5, 0.1),
    "dark granite": (0.6, 1.2, 0.3, 0.1),
}
LOSS: dict[str, dict[str, float]] = {
    "marble": {"granular disintegration": 0.8, "crack": 0.2},
    "limestone": {"granular disintegration": 0.6, "scaling": 0.4},
    "sandstone": {"delamination": 0.4, "granular disintegration": 0.3, "scaling": 0.3},
    "slate": {"delamination": 1.0},
    "concrete": {"crack": 1.0},
    "granite": {"crack": 1.0},
    "dark granite": {"crack": 1.0},
}
WET_GROWTH, DRY_GROWTH = {"alga": 0.6, "moss": 0.4}, {"lichen": 1.0}
RAILED = 5
WASHED = 12
UNSCORED = 28


@dataclass(frozen=True, slots=True)
class Harm:
    """One harm a stone truly has, whether anybody wrote it down or not."""

    pattern: str
    cause: str
    severity: int
    head_id: str = ""  # the head nearest to the stone among those that cause it


@dataclass(frozen=True, slots=True)
class Setting:
    """What a stone is truly exposed to."""

    dose: float  # of bore spray
    head_id: str  # nearest head that wets it, empty where none does
    hosed: bool
    shaded: bool
    fed: bool
    quenched_by: str  # head that runs in the afternoon close by, empty where none does


def settings_of(stones: list[Stone], heads: list[Head]) -> list[Setting]:
    """Return what each stone is exposed to, at its true place."""
    hosed, fed, shade = shapely.Polygon(HOSED_CORNER), shapely.Polygon(FED_PATCH), shaded_ground()
    made = []
    for stone in stones:
        away = {
            head.columns["head_id"]: (stone.ground.distance(shapely.Point(head.place)), head)
            for head in heads
            if head.wets.intersects(stone.ground)
        }
        nearest = min(away, key=lambda head_id: away[head_id][0]) if away else ""
        hot = {
            head_id: away_m
            for head_id, (away_m, head) in away.items()
            if head.columns["zone_id"] in AFTERNOON_ZONES and away_m <= _value("quench_m")
        }
        made.append(
            Setting(
                dose=sum(_share(away_m, head) for away_m, head in away.values()),
                head_id=nearest,
                hosed=stone.ground.intersects(hosed),
                shaded=stone.ground.centroid.intersects(shade),
                fed=stone.ground.intersects(fed),
                quenched_by=min(hot, key=lambda head_id: hot[head_id]) if hot else "",
            )
        )
    return made


def _share(away_m: float, head: Head) -> float:
    kind = _value("strip_share") if head.columns["kind"].startswith("strip") else 1.0
    week = WEEKLY_MIN[head.columns["zone_id"]] / _value("full_week_min")
    return kind * week / (1 + (away_m / _value("near_m")) ** 2)


def _grade(level: float) -> int:
    return min(max(math.floor(level), 0), 3)


def _water_level(name: str, dose: float, visible: float, chance: float) -> float:
    full = _value(f"{name}_full") * visible * (1 - math.exp(-_value(f"{name}_rate") * dose))
    return full + _value(f"{name}_noise") * chance


def harms_of(rng: np.random.Generator, stone: Stone, at: Setting) -> list[Harm]:
    """Return what truly ails one stone; every stone takes the same number of draws, so causes stay apart."""
    columns = stone.columns
    iron_shows, lime_shows, rough, weak = BY_MATERIAL[columns["material"]]
    age = SURVEY_YEAR - stone.true_year
    iron, lime, growth, loss = rng.standard_normal(4)
    crack, soiling, feed, two = rng.random(4)
    wet_pattern, loss_pattern = pick(rng, WET_GROWTH), pick(rng, LOSS[columns["material"]])
    found: list[Harm] = []
    if at.dose > 0:
        grade = _grade(_water_level("iron", at.dose, iron_shows, iron))
        found.append(Harm("staining", "iron of the bore spray", grade, at.head_id))
        grade = _grade(_water_level("lime", at.dose, lime_shows, lime))
        found.append(Harm("encrustation", "lime of the bore spray", grade, at.head_id))
    wet = at.dose > 0 or at.hosed
    level = _value("growth_base") + _value("growth_wet") * wet + _value("growth_hose") * at.hosed
    level += (
        _value("growth_shade") * at.shaded + _value("growth_age") * rough * age / 100 + _value("growth_noise") * growth
    )
    found.append(Harm(wet_pattern if wet else "lichen", "growth", _grade(level)))
    if columns["material"] == "dark granite" and columns["finish"] == "polished":
        chance = _value("quench_chance") if at.quenched_by else _value("crack_chance")
        cause = "quench" if at.quenched_by else "other crack"
        found.append(Harm("crack", cause, int(crack < chance) * (1 + int(two < 0.4)), at.quenched_by))
    level = _value("loss_age") * weak * age / 100 + _value("loss_noise") * loss
    found.append(Harm(loss_pattern, "age of the stone", _grade(level)))
    found.append(Harm("soiling", "soiling", int(soiling < _value("soiling_chance"))))
    if at.fed:
        found.append(Harm("staining", "iron feed", int(feed < _value("feed_chance")) * (1 + int(two < 0.5))))
    kept: dict[str, Harm] = {}
    for harm in found:
        if harm.severity and (harm.pattern not in kept or kept[harm.pattern].severity < harm.severity):
            kept[harm.pattern] = harm
    return list(kept.values())


def _decoys(rng: np.random.Generator, stones: list[Stone], harms: list[list[Harm]], where: list[Setting]) -> None:
    """Set the stones beside an iron railing, and the ones somebody washed without a word to anyone."""
    row = [place for place, stone in enumerate(stones) if stone.columns["row"] == "C3"]
    first = 40 + int(rng.integers(0, len(row) - RAILED - 48))
    for place in row[first : first + RAILED]:
        harms[place] = [harm for harm in harms[place] if harm.pattern != "staining"]
        harms[place].append(Harm("staining", "iron railing", 3))
        stones[place].other_cause = "railing"
    order = [int(place) for place in rng.permutation(len(stones))]
    free = [place for place in order if not stones[place].other_cause and where[place].dose > 0]
    for place in free[:WASHED]:
        harms[place] = []
        stones[place].other_cause = "washed"


def make_harm(stones: list[Stone], heads: list[Head]) -> tuple[list[list[Harm]], list[Setting]]:
    """Return the true harm and setting of every stone, and write the quick scores: the worst grade of each."""
    where = settings_of(stones, heads)
    rng = np.random.default_rng([SEED, 6])
    harms = [harms_of(rng, stone, at) for stone, at in zip(stones, where, strict=True)]
    _decoys(rng, stones, harms, where)
    for stone, own in zip(stones, harms, strict=True):
        stone.columns["quick_score"] = max((harm.severity for harm in own), default=0)
    order = [int(place) for place in rng.permutation(len(stones)) if not stones[int(place)].other_cause]
    for place in order[:UNSCORED]:
        stones[place].columns["quick_score"] = None
    return harms, where


def coefficient_rows() -> list[dict[str, Any]]:
    """Return the coefficients as rows, those of the materials behind the others."""
    rows: list[dict[str, Any]] = [
        {"name": name, "material": "", "value": value, "unit": unit, "meaning": meaning}
        for name, (value, unit, meaning) in COEFFICIENTS.items()
    ]
    names = ("iron_visible", "lime_visible", "growth_rough", "loss_weak")
    for material, values in BY_MATERIAL.items():
        rows.extend(
            {"name": name, "material": material, "value": value, "unit": "1", "meaning": "by material, see above"}
            for name, value in zip(names, values, strict=True)
        )
    return rows
