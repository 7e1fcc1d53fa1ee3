"""Grades of each harm per stone: what was found, what was looked for and not found, and what nobody knows.

A stone counts as looked at for every harm when it has a finding (of any harm, severity 0 included), or when its
quick survey says 0, nothing to see. A quick score of 1 or more without findings names no harm: then every harm of
the stone is unknown, not absent. Own rules.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

import numpy as np

from gravegis.errors import LayerError
from gravegis.science.condition.scores import patterns
from gravegis.science.condition.tables import rows

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import ArrayLike, NDArray

    from gravegis.science.condition.scores import Findings

    Floats = NDArray[np.float64]

__all__ = ["HarmGrades", "class_by_harms", "grade_harms", "harm_of", "harms", "of_findings"]


@dataclass(frozen=True, slots=True)
class HarmGrades:
    """Grade and presence of every harm, shape ``(stones, harms)``, in the order of `names`.

    `grade` is 0 to 3, NaN where unknown or found without a severity; `present` is 0, 1 or NaN where unknown.
    """

    names: tuple[str, ...]
    grade: Floats
    present: Floats

    def grade_of(self, harm: str) -> Floats:
        """Return the grade of one harm per stone, NaN where unknown."""
        return self.grade[:, self.names.index(harm)]

    def present_of(self, harm: str) -> Floats:
        """Return 1 where one harm was found, 0 where looked for and not found, NaN where unknown."""
        return self.present[:, self.names.index(harm)]


@cache
def harms() -> tuple[str, ...]:
    """Return the names of the harms, in the order of harms.csv."""
    return tuple(row["harm"] for row in rows("harms"))


@cache
def _harm_by_term() -> Mapping[str, str]:
    found: dict[str, str] = {}
    for term, row in patterns().terms.items():
        for rule in rows("harms"):
            groups, only, but = (
                tuple(filter(None, rule[name].split("|"))) for name in ("groups", "terms", "not_terms")
            )
            fits = row["family"] == rule["family"] and (not groups or row["group"] in groups)
            if fits and (not only or term in only) and term not in but:
                found[term] = rule["harm"]
                break
    return found


def harm_of(term: str) -> str:
    """Return the harm a term of patterns.csv belongs to; empty for dirt, damp and words not known here."""
    return _harm_by_term().get(term, "")


def of_findings(findings: Findings) -> NDArray[np.str_]:
    """Return the harm of each finding, empty where it belongs to none."""
    known = {term: harm_of(term) for term in np.unique(findings.term).tolist()}
    return np.array([known[term] for term in findings.term.tolist()], dtype=np.str_)


@cache
def _steps(axis: str) -> NDArray[np.float64]:
    """Return urgency or recommendation per harm and severity 0 to 3, shape ``(harms, 4)``."""
    return np.array([[0.0, *(float(one) for one in row[axis].split("|"))] for row in rows("harms")])


def class_by_harms(grades: HarmGrades, axis: str) -> tuple[Floats, NDArray[np.str_]]:
    """Return a class of its own beside the condition, and the harm that decided it.

    Parameters
    ----------
    grades
        Grades of every harm.
    axis
        ``urgency`` (0 long term, 1 intermediate, 2 short term, 3 urgent) or ``recommendation`` (0 nothing, 1
        maintenance or prevention, 2 moderate repair or a closer look, 3 major work after diagnosis).

    Returns
    -------
    The worst step over the harms, NaN where no harm is known or one was found without a severity and no other is
    graded; and the harm, empty where there is none. Steps per harm and severity: harms.csv, own rule.
    """
    steps = _steps(axis)
    known = ~np.isnan(grades.grade)
    place = np.nan_to_num(grades.grade).astype(np.intp)
    step = np.where(known, steps[np.arange(len(grades.names)), place], -1.0)
    # found without a severity: nothing is said unless something graded is as bad as it gets
    unsure = (np.isnan(grades.grade) & (grades.present == 1)).any(axis=1)
    worst, most = step.argmax(axis=1), step.max(axis=1)
    out: Floats = np.where((most < 0) | (unsure & (most <= 0)), np.nan, most)
    return out, np.where(np.nan_to_num(out) > 0, np.array(grades.names)[worst], "").astype(np.str_)


def grade_harms(findings: Findings, quick_score: ArrayLike | None = None) -> HarmGrades:
    """Return the worst grade of each harm per stone.

    Parameters
    ----------
    findings
        Findings of all stones.
    quick_score
        One overall grade per stone, 0-3; NaN where not given. Only a 0 says anything of single harms.

    Raises
    ------
    LayerError
        When there is not one quick score per stone.
    """
    n = findings.stones_n
    quick = np.full(n, np.nan) if quick_score is None else np.asarray(quick_score, dtype=np.float64).reshape(-1)
    if quick.size != n:
        raise LayerError(f"{quick.size} quick scores for {n} stones", where="stones.quick_score")
    looked = (np.bincount(findings.stone, minlength=n) > 0) | (quick == 0)
    of_row, names = of_findings(findings), harms()
    grade = np.where(looked[:, None], 0.0, np.nan) * np.ones((n, len(names)))
    present = grade.copy()
    graded = ~np.isnan(findings.severity)
    for column, name in enumerate(names):
        at = of_row == name
        found = findings.stone[at & findings.seen]
        present[found, column] = 1.0
        worst = np.full(n, -1.0)
        np.maximum.at(worst, findings.stone[at & graded], findings.severity[at & graded])
        grade[:, column] = np.where(worst > 0, worst, np.where(present[:, column] == 1.0, np.nan, grade[:, column]))
    return HarmGrades(names=names, grade=grade, present=present)
