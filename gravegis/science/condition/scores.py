"""Findings to one condition class per stone, with what it rests on and why.

Classes are 0 no symptoms, 1 minor, 2 moderate, 3 major: the four condition degrees of EN 16096:2012 (its
class wording from memory, unconfirmed). A stone is as bad as its worst finding: own rule. A stone nobody
looked at has no class; it is never counted as class 0.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gravegis.errors import LayerError, Problem
from gravegis.science.condition.reasons import reason
from gravegis.science.condition.tables import Vocabulary, vocabulary

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import ArrayLike, NDArray

    from gravegis.science.condition.reasons import Reason, Value

__all__ = [
    "BASES",
    "FAMILIES",
    "NO_CLASS",
    "Findings",
    "StoneScores",
    "find_term",
    "group_of",
    "patterns",
    "read_findings",
    "score_reasons",
    "score_stones",
    "worst_by_family",
    "worst_by_group",
]

NO_CLASS = -1
"""Class of a stone without information."""

BASES = ("findings", "quick score", "none")
"""What a class can rest on."""

FAMILIES = (
    "crack and deformation",
    "detachment",
    "material loss",
    "discolouration and deposit",
    "biological colonisation",
)
"""The five families of the ICOMOS-ISCS glossary 2008."""


@dataclass(frozen=True, slots=True)
class Findings:
    """Findings as arrays of equal length, one entry per finding.

    `stone` is the index of the stone, `typed` the pattern as written, `term` the term it stands for (empty
    where unknown), `severity` 0-3 with NaN where not given, `extent_frac` the share of the face, NaN where
    not given. `stones_n` is the number of stones of the site.
    """

    stone: NDArray[np.intp]
    typed: NDArray[np.str_]
    term: NDArray[np.str_]
    severity: NDArray[np.float64]
    extent_frac: NDArray[np.float64]
    stones_n: int

    @property
    def unknown_n(self) -> int:
        """Number of findings whose pattern is not in the vocabulary."""
        return int(np.count_nonzero(self.term == ""))

    @property
    def seen(self) -> NDArray[np.bool_]:
        """Whether a finding says that harm is there: any severity but 0, a missing severity included."""
        return np.not_equal(self.severity, 0)


@dataclass(frozen=True, slots=True)
class StoneScores:
    """One entry per stone: class (-1 = no information), what it rests on, and the row of the worst finding.

    `worst` is -1 where no finding carries a severity.
    """

    overall: NDArray[np.int8]
    basis: NDArray[np.str_]
    worst: NDArray[np.intp]


def patterns() -> Vocabulary:
    """Return the vocabulary of patterns of harm (patterns.csv)."""
    return vocabulary("patterns", also=("phrase", "aliases"))


def find_term(typed: object) -> str:
    """Return the pattern term for a typed term or plain phrase; the empty text when it is not known."""
    return patterns().term(typed)


def group_of(term: str) -> str:
    """Return the group a term is treated in, such as ``growth``; empty for an unknown term."""
    return patterns().look_up(term, "group")


def read_findings(
    stone: ArrayLike,
    pattern: Sequence[object] | NDArray[np.generic],
    severity: ArrayLike,
    extent_frac: ArrayLike | None = None,
    *,
    stones_n: int,
) -> Findings:
    """Return findings checked and with their terms looked up.

    Parameters
    ----------
    stone
        Index of the stone of each finding, 0 to ``stones_n - 1``.
    pattern
        Term or plain phrase as typed; words that are not known are kept and count as unknown.
    severity
        0 none, 1 minor, 2 moderate, 3 major; NaN where not given.
    extent_frac
        Share of the face, 0 to 1; NaN where not given.
    stones_n
        Number of stones.

    Raises
    ------
    LayerError
        With every problem of the findings at once.
    """
    rows_n = len(pattern)
    index = np.asarray(stone, dtype=np.float64).reshape(-1)
    grade = np.asarray(severity, dtype=np.float64).reshape(-1)
    extent = np.full(rows_n, np.nan) if extent_frac is None else np.asarray(extent_frac, np.float64).reshape(-1)
    _check(rows_n, index, grade, extent, stones_n=stones_n)
    words = [word.strip() if isinstance(word, str) else "" for word in pattern]
    known = {word: find_term(word) for word in set(words)}
    return Findings(
        stone=index.astype(np.intp),
        typed=np.array(words, dtype=np.str_),
        term=np.array([known[word] for word in words], dtype=np.str_),
        severity=grade,
        extent_frac=extent,
        stones_n=stones_n,
    )


def _check(
    rows_n: int,
    index: NDArray[np.float64],
    grade: NDArray[np.float64],
    extent: NDArray[np.float64],
    *,
    stones_n: int,
) -> None:
    lengths = {"stone": index.size, "severity": grade.size, "extent_frac": extent.size}
    uneven = [name for name, size in lengths.items() if size != rows_n]
    if uneven:
        raise LayerError(
            f"{rows_n} patterns, but another number of values in {', '.join(uneven)}",
            where="findings",
            remedy="Give one value per finding.",
        )
    bad_stone = ~((index >= 0) & (index < stones_n) & (index == np.floor(index)))
    problems = [
        _problem("stone", bad_stone, index, f"Expected a stone index of 0 to {stones_n - 1}."),
        _problem("severity", ~(np.isnan(grade) | np.isin(grade, (0, 1, 2, 3))), grade, "Expected 0, 1, 2 or 3."),
        _problem(
            "extent_frac",
            ~(np.isnan(extent) | ((extent >= 0) & (extent <= 1))),
            extent,
            "Expected a share of 0 to 1; was it typed in percent?",
        ),
    ]
    found = [problem for problem in problems if problem is not None]
    if found:
        raise LayerError.of(found)


def _problem(column: str, bad: NDArray[np.bool_], values: NDArray[np.float64], remedy: str) -> Problem | None:
    at = np.flatnonzero(bad)
    if at.size == 0:
        return None
    first = int(at[0])
    also = "" if at.size == 1 else f" ({at.size} rows in all)"
    return Problem(f"{column} is {values[first]:g}{also}", where=f"findings.{column}[{first}]", remedy=remedy)


def score_stones(findings: Findings, quick_score: ArrayLike | None = None) -> StoneScores:
    """Return the class of every stone.

    A stone takes the class of its worst finding (own rule). Only a stone without any graded finding takes its
    quick score, and then says so in `basis`; the two are never combined.

    Parameters
    ----------
    findings
        Findings of all stones.
    quick_score
        One overall grade per stone from a quick survey, 0-3; NaN where not given.

    Raises
    ------
    LayerError
        When a quick score is not 0, 1, 2, 3 or missing, or there is not one per stone.
    """
    quick = _quick(quick_score, findings.stones_n)
    worst = _worst_row(findings)
    graded = worst >= 0
    overall = np.full(findings.stones_n, NO_CLASS, dtype=np.int8)
    overall[graded] = findings.severity[worst[graded]].astype(np.int8)
    from_quick = ~graded & ~np.isnan(quick)
    overall[from_quick] = quick[from_quick].astype(np.int8)
    basis = np.select([graded, from_quick], ["findings", "quick score"], default="none")
    return StoneScores(overall=overall, basis=basis.astype(np.str_), worst=worst)


def _quick(quick_score: ArrayLike | None, stones_n: int) -> NDArray[np.float64]:
    if quick_score is None:
        return np.full(stones_n, np.nan)
    quick = np.asarray(quick_score, dtype=np.float64).reshape(-1)
    if quick.size != stones_n:
        raise LayerError(f"{quick.size} quick scores for {stones_n} stones", where="stones.quick_score")
    bad = np.flatnonzero(~(np.isnan(quick) | np.isin(quick, (0, 1, 2, 3))))
    if bad.size:
        raise LayerError(
            f"quick_score is {quick[bad[0]]:g} ({bad.size} in all)",
            where=f"stones.quick_score[{bad[0]}]",
            remedy="Expected 0, 1, 2 or 3.",
        )
    return quick


def _worst_row(findings: Findings) -> NDArray[np.intp]:
    """Row of the worst graded finding per stone: severity first, then extent, then the earlier row."""
    worst = np.full(findings.stones_n, -1, dtype=np.intp)
    rows = np.flatnonzero(~np.isnan(findings.severity))
    extent = np.nan_to_num(findings.extent_frac[rows], nan=-1.0)
    order = rows[np.lexsort((-rows, extent, findings.severity[rows]))]
    # later entries win: written in rising order, the worst row stays
    worst[findings.stone[order]] = order
    return worst


def worst_by_family(findings: Findings) -> Mapping[str, NDArray[np.int8]]:
    """Return the worst severity per stone within each of the five families; -1 where none was graded."""
    return _worst_by(findings, "family", FAMILIES)


def worst_by_group(findings: Findings) -> Mapping[str, NDArray[np.int8]]:
    """Return the worst severity per stone within each group of harm (growth, staining ...); -1 where none."""
    groups = tuple(dict.fromkeys(row["group"] for row in patterns().terms.values()))
    return _worst_by(findings, "group", groups)


def _worst_by(findings: Findings, column: str, names: tuple[str, ...]) -> dict[str, NDArray[np.int8]]:
    of_term = {term: patterns().look_up(term, column) for term in np.unique(findings.term).tolist()}
    of_row = np.array([of_term[term] for term in findings.term.tolist()], dtype=np.str_)
    graded = ~np.isnan(findings.severity)
    worst = {name: np.full(findings.stones_n, NO_CLASS, dtype=np.int8) for name in names}
    for name, classes in worst.items():
        at = graded & (of_row == name)
        np.maximum.at(classes, findings.stone[at], findings.severity[at].astype(np.int8))
    return worst


def score_reasons(findings: Findings, scores: StoneScores) -> list[list[Reason]]:
    """Return why each stone has its class: one list of reasons per stone, in the order of the stones."""
    count = np.bincount(findings.stone, minlength=findings.stones_n)
    ungraded = np.bincount(findings.stone[np.isnan(findings.severity)], minlength=findings.stones_n)
    why: list[list[Reason]] = []
    for stone in range(findings.stones_n):
        reasons = [_main_reason(findings, scores, stone, int(count[stone]))]
        if ungraded[stone]:
            reasons.append(reason("findings_without_severity", findings_n=int(ungraded[stone])))
        why.append(reasons)
    for row in np.flatnonzero(findings.term == "").tolist():
        why[findings.stone[row]].append(reason("pattern_not_known", typed=str(findings.typed[row])))
    return why


def _main_reason(findings: Findings, scores: StoneScores, stone: int, findings_n: int) -> Reason:
    if scores.basis[stone] == "none":
        return reason("no_class")
    if scores.basis[stone] == "quick score":
        return reason("quick_score", score=int(scores.overall[stone]))
    row = int(scores.worst[stone])
    values: dict[str, Value] = {
        "pattern": str(findings.term[row] or findings.typed[row]),
        "severity": int(scores.overall[stone]),
        "findings_n": findings_n,
    }
    if np.isnan(findings.extent_frac[row]):
        return reason("worst_finding", **values)
    return reason("worst_finding_extent", **values, extent_frac=float(findings.extent_frac[row]))
