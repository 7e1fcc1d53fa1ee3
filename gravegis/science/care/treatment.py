"""What to do for a stone, and who may do it.

The rules are data: treatments.csv says it per group of harm and class of material, contraindications.csv says
what must not be used. Growth and loose soiling may be a crew's work. Iron, lime, salts, black crust and paint
are a conservator's: a crew does nothing about them, and the sheet says that they will not come off today.
Stone that is cracked, hollow, flaking or falls to grains is not wet-cleaned at all.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

import numpy as np

from gravegis.errors import LayerError
from gravegis.science.care.materials import UNKNOWN, material_class
from gravegis.science.care.steps import steps_of
from gravegis.science.condition.reasons import reason
from gravegis.science.condition.scores import NO_CLASS, find_term, group_of
from gravegis.science.condition.tables import rows, vocabulary

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from gravegis.science.condition.reasons import Reason
    from gravegis.science.condition.scores import Findings, StoneScores

__all__ = [
    "LOOK_FIRST",
    "LOOK_PLAN",
    "METHODS",
    "NO_TREATMENT",
    "VERDICTS",
    "WHO",
    "Care",
    "Rule",
    "Verdict",
    "rule_for",
    "steps_for",
    "treat_stones",
    "verdict",
]

NO_TREATMENT = "none"
LOOK_FIRST = "look and record first"
LOOK_PLAN = "look"
"""Plan of care_steps.csv for a stone that is only looked at."""

WHO = ("crew", "nobody", "conservator only")
"""Who may act, the strictest last."""

METHODS = ("", "water and soft brush", "quaternary-ammonium cleaner")
"""What a crew cleans with, the gentlest first."""

VERDICTS = ("allowed", "conservator only", "forbidden")
"""What may be said of a method, the strictest last."""


@dataclass(frozen=True, slots=True)
class Rule:
    """One row of treatments.csv.

    `method` is the cleaning method a crew uses, empty where a crew cleans nothing. `blocks` says that the
    whole stone is not wet-cleaned, `stays` that the harm will not come off today, `plan` which steps are taken.
    """

    group: str
    treatment: str
    who: str
    method: str
    blocks: bool
    stays: bool
    plan: str
    source: str

    @property
    def steps(self) -> tuple[str, ...]:
        """The steps as they read where nothing more is known of stone and product."""
        return steps_of(self.plan)


@dataclass(frozen=True, slots=True)
class Verdict:
    """Whether a method may be used: ``allowed``, ``conservator only`` or ``forbidden``, why and who says so."""

    verdict: str
    reason: str
    source: str


@dataclass(frozen=True, slots=True)
class Care:
    """One entry per stone.

    `treatment` is empty where nobody has looked at the stone. `severity` is the worst severity among the
    harms a crew may treat (-1 where unknown or none); `form` says how growth on it grows (``film``, ``raised``,
    empty where there is none); `plan` which steps of care_steps.csv are taken; `stays` names the harms that
    will not come off today.
    """

    treatment: NDArray[np.str_]
    who: NDArray[np.str_]
    method: NDArray[np.str_]
    severity: NDArray[np.int8]
    form: NDArray[np.str_]
    plan: tuple[str, ...]
    stays: tuple[tuple[str, ...], ...]
    reasons: tuple[tuple[Reason, ...], ...]


@dataclass(frozen=True, slots=True)
class _Harm:
    """One harm on one stone and the rule that holds for it."""

    pattern: str
    severity: float
    rule: Rule | None


@dataclass(frozen=True, slots=True)
class _Decision:
    treatment: str
    who: str = "nobody"
    method: str = ""
    severity: int = NO_CLASS
    form: str = ""
    plan: str = ""
    stays: tuple[str, ...] = ()
    reasons: tuple[Reason, ...] = ()


@cache
def _rules() -> Mapping[tuple[str, str], Rule]:
    return {
        (row["group"], row["material_class"]): Rule(
            group=row["group"],
            treatment=row["treatment"],
            who=row["who"],
            method=row["method"],
            blocks=row["blocks"] == "yes",
            stays=row["stays"] == "yes",
            plan=row["plan"],
            source=row["source"],
        )
        for row in rows("treatments")
    }


def rule_for(group: str, of_class: str) -> Rule:
    """Return the rule for a group of harm on a class of material; raises KeyError for a group without rules."""
    known = _rules()
    return known[group, of_class] if (group, of_class) in known else known[group, "any"]


def steps_for(treatment: str) -> tuple[str, ...]:
    """Return the steps of a treatment by its words, the fullest where several rules share them; empty for none."""
    found = [rule.steps for rule in _rules().values() if rule.treatment == treatment]
    return max(found, key=len, default=())


def verdict(method: str, material: str, *, pattern: str = "") -> Verdict:
    """Return whether a method may be used on a material that shows a pattern of harm.

    The strictest answer wins: that of every class of material where the material is not known, and
    ``forbidden`` on stone that must not be wet-cleaned, whatever the method. A method that is not in the table
    is a conservator's.
    """
    harm = _rules().get((group_of(find_term(pattern)), "any"))
    if harm is not None and harm.blocks:
        return Verdict("forbidden", f"{pattern}: {harm.treatment}", harm.source)
    term = vocabulary("methods").term(method)
    of_class = material_class(material)
    said = [row for row in rows("contraindications") if row["method"] == term]
    fitting = [row for row in said if row["material_class"] in {of_class, "any"}] or said
    if not fitting:
        return Verdict("conservator only", f"'{method}' is not a method known here", "own rule")
    strictest = max(fitting, key=lambda row: VERDICTS.index(row["verdict"]))
    return Verdict(strictest["verdict"], strictest["reason"], strictest["source"])


def treat_stones(findings: Findings, scores: StoneScores, material: Sequence[object] | NDArray[np.generic]) -> Care:
    """Return the treatment of every stone.

    A harm that forbids wet cleaning decides for the whole stone. A harm that was typed but is not known
    here, or a quick score without findings, gives ``look and record first``: a look, no cleaning. Otherwise a
    crew treats what it may, and what it may not stays.

    Parameters
    ----------
    findings
        Findings of all stones; a finding without a severity counts as harm, severity 0 as none.
    scores
        Their classes, from `score_stones`.
    material
        Material of each stone as typed; not known means water and soft brush only.

    Raises
    ------
    LayerError
        When there is not one material per stone.
    """
    if len(material) != findings.stones_n:
        raise LayerError(f"{len(material)} materials for {findings.stones_n} stones", where="stones.material")
    words = [word.strip() if isinstance(word, str) else "" for word in material]
    harms: list[list[_Harm]] = [[] for _ in words]
    for row in np.flatnonzero(findings.seen).tolist():
        stone = int(findings.stone[row])
        harms[stone].append(_harm(findings, row, material_class(words[stone])))
    made = [
        _decide(harms[stone], words[stone]) if harms[stone] else _without_harm(scores, stone)
        for stone in range(len(words))
    ]
    return _gathered(made)


def _harm(findings: Findings, row: int, of_class: str) -> _Harm:
    term = str(findings.term[row])
    severity = float(findings.severity[row])
    if not term:
        return _Harm(str(findings.typed[row]), severity, None)
    return _Harm(term, severity, rule_for(group_of(term), of_class))


def _without_harm(scores: StoneScores, stone: int) -> _Decision:
    if scores.basis[stone] == "none":
        return _Decision("", who="", reasons=(reason("no_information"),))
    if scores.overall[stone] == 0:
        return _Decision(NO_TREATMENT, reasons=(reason("no_harm"),))
    return _look_first((reason("harm_not_named"),))


def _look_first(reasons: tuple[Reason, ...]) -> _Decision:
    return _Decision(LOOK_FIRST, who="crew", plan=LOOK_PLAN, reasons=reasons)


def _decide(harms: list[_Harm], material: str) -> _Decision:
    unnamed = tuple(reason("pattern_not_known", typed=one.pattern) for one in harms if one.rule is None)
    named = [(one, one.rule) for one in harms if one.rule is not None]
    blocking = [(one, rule) for one, rule in named if rule.blocks]
    if blocking:
        return _one_rule(blocking, named, unnamed)
    if unnamed:
        return _look_first((*unnamed, *_because(named, material)))
    treatable = [(one, rule) for one, rule in named if rule.who == "crew"]
    if not treatable:
        return _one_rule(named, named, ())
    # the fuller method covers the lesser: growth needs all that loose soiling needs
    lead = max(treatable, key=lambda pair: (METHODS.index(pair[1].method), len(pair[1].steps)))[1]
    severities = [one.severity for one, _ in treatable if not np.isnan(one.severity)]
    return _Decision(
        treatment=lead.treatment,
        who=lead.who,
        method=lead.method,
        severity=int(max(severities, default=NO_CLASS)),
        form=_growth_form([one.pattern for one, _ in treatable]),
        plan=lead.plan,
        stays=_staying(named),
        reasons=_because(named, material),
    )


@cache
def _growth_forms() -> Mapping[str, str]:
    return {row["term"]: row["form"] for row in rows("growth_forms")}


def _growth_form(patterns: list[str]) -> str:
    """Return how the growth among some harms grows: raised where any of it stands up, for that is the more work."""
    found = {_growth_forms()[one] for one in patterns if one in _growth_forms()}
    return "raised" if "raised" in found else next(iter(found), "")


def _one_rule(
    deciding: list[tuple[_Harm, Rule]], named: list[tuple[_Harm, Rule]], unnamed: tuple[Reason, ...]
) -> _Decision:
    """Nothing is cleaned: the strictest of the deciding rules speaks for the stone."""
    lead = max((rule for _, rule in deciding), key=lambda rule: (rule.group == "safety", WHO.index(rule.who)))
    blocking = dict.fromkeys(one.pattern for one, rule in deciding if rule.blocks)
    forbids = [reason("blocks_all", pattern=pattern) for pattern in blocking]
    return _Decision(
        treatment=lead.treatment,
        who=lead.who,
        plan=lead.plan,
        stays=_staying(named),
        reasons=(*forbids, *_because(named, ""), *unnamed),
    )


def _staying(named: list[tuple[_Harm, Rule]]) -> tuple[str, ...]:
    """Harms nobody removes on this visit; where the stone is not cleaned at all, growth stays too."""
    blocked = any(rule.blocks for _, rule in named)
    stay = (one.pattern for one, rule in named if rule.stays or (blocked and rule.who == "crew"))
    return tuple(dict.fromkeys(stay))


def _because(named: list[tuple[_Harm, Rule]], material: str) -> tuple[Reason, ...]:
    codes = {"crew": "crew_may_treat", "conservator only": "conservator_only", "nobody": "left_alone"}
    why = [
        reason(
            codes[rule.who],
            pattern=one.pattern,
            group=rule.group,
            treatment=rule.treatment,
            material=material or "stone of unknown material",
        )
        for one, rule in {one.pattern: (one, rule) for one, rule in named}.values()
    ]
    if any(rule.who == "crew" for _, rule in named) and material_class(material) == UNKNOWN:
        why.append(reason("material_assumed_unknown", typed=material))
    why += [reason("stays", pattern=pattern) for pattern in _staying(named)]
    return tuple(why)


def _gathered(made: list[_Decision]) -> Care:
    return Care(
        treatment=np.array([one.treatment for one in made], dtype=np.str_),
        who=np.array([one.who for one in made], dtype=np.str_),
        method=np.array([one.method for one in made], dtype=np.str_),
        severity=np.array([one.severity for one in made], dtype=np.int8),
        form=np.array([one.form for one in made], dtype=np.str_),
        plan=tuple(one.plan for one in made),
        stays=tuple(one.stays for one in made),
        reasons=tuple(one.reasons for one in made),
    )
