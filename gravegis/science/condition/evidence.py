"""Rows of evidence: one figure each, with its interval, p, what it rests on and what it does not show.

`Witnesses` holds what is known of each stone for one harm; the functions below turn it into rows. A row is only made
where there is something to compare; why there is none is said in words by the caller.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gravegis.science.condition.association import Estimate, over_strata, two_by_two, two_by_two_of, wilson
from gravegis.science.condition.logistic import LEAST_HEADS, logistic
from gravegis.science.condition.whole_heads import permute_heads

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]

__all__ = [
    "ALL",
    "DISAGREE_P",
    "LEAST_IN_STRATUM",
    "PAIRS",
    "POOLED",
    "VERDICT",
    "Row",
    "Witnesses",
    "by_dose",
    "by_head",
    "by_strata",
    "crude",
    "enough",
    "mixed_share",
    "row",
    "share_row",
]

ALL = "all"
PAIRS = "odds ratio within stones"
POOLED = "odds ratio within strata"
VERDICT = "what may be said"

DISAGREE_P = 0.05
"""Below this p strata are taken to disagree, and no single figure is given for them: common practice."""

LEAST_IN_STRATUM = 5
"""A stratum gets an odds ratio of its own from so many wetted and so many dry stones on: own rule."""

FEW_EXPECTED = 5.0
"""Below so many expected stones in a cell only the exact interval is to be used: common rule."""


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the table of evidence."""

    harm: str
    measure: str
    stratum: str
    estimate: float
    low: float
    high: float
    p: float
    n: int
    note: str


@dataclass(frozen=True, slots=True)
class Witnesses:
    """Stones of which harm and wetting are known, nothing set apart; arrays of equal length.

    `head` is the nearest head as a number, -1 where none is known; `ratio` the distance to it over its throw, `hours`
    the hours of wetting a season, both NaN where not known. `strata` holds a label per stone, empty where not known.
    """

    harm: str
    harmed: Flags
    wetted: Flags
    head: NDArray[np.int64]
    ratio: Floats
    hours: Floats
    strata: Mapping[str, NDArray[np.str_]]

    @property
    def n(self) -> int:
        """Number of stones."""
        return int(self.harmed.size)

    def some(self, kept: Flags | NDArray[np.intp]) -> Witnesses:
        """Return some of the stones, by flags or by rows."""
        labels = {name: one[kept] for name, one in self.strata.items()}
        return Witnesses(
            self.harm, self.harmed[kept], self.wetted[kept], self.head[kept], self.ratio[kept], self.hours[kept], labels
        )


def row(harm: str, measure: str, stratum: str, value: Estimate, n: int, note: str) -> Row:
    """Return one line from an estimate."""
    return Row(harm, measure, stratum, value.value, value.low, value.high, value.p, n, note)


def share_row(harm: str, measure: str, stratum: str, harmed: Flags, note: str) -> Row:
    """Return the share of harmed stones with Wilson's interval."""
    return row(harm, measure, stratum, wilson(int(harmed.sum()), harmed.size), harmed.size, note)


def enough(w: Witnesses, least_n: int) -> bool:
    """Whether there are so many wetted and so many dry stones."""
    return bool(w.wetted.sum() >= least_n and (~w.wetted).sum() >= least_n)


def crude(w: Witnesses) -> list[Row]:
    """Return the odds ratio of wetted against dry over all stones, nothing taken into account."""
    table = two_by_two_of(w.wetted, w.harmed)
    made = two_by_two(table)
    if math.isnan(made.woolf.value):
        return []
    (a, b), (c, d) = table.tolist()
    counts = f"wetted: {a} of {a + b} harmed; dry: {c} of {c + d}"
    expected = np.outer(table.sum(axis=1), table.sum(axis=0)) / table.sum()
    few = "; a cell expects fewer than 5 stones: use the exact interval" * bool(expected.min() < FEW_EXPECTED)
    halves = "; an empty cell, half a stone added to each" * made.halves_added
    also = "material, age and place are not taken into account"
    return [
        row(w.harm, "odds ratio", ALL, made.woolf, made.n, f"{counts}{halves}{few}; interval of Woolf; {also}"),
        row(w.harm, "odds ratio, exact", ALL, made.exact, made.n, f"{counts}; exact interval, p of Fisher; {also}"),
    ]


def by_strata(w: Witnesses, names: Sequence[str]) -> list[Row]:
    """Return odds ratios within strata: one figure where strata agree, else one per stratum.

    `names` are keys of the strata; several make strata of their combinations. Stones without a label are left out.
    """
    labels = _labels(w, names)
    known = w.some(labels != "")
    labels = labels[labels != ""]
    title = f"by {' and '.join(names)}"
    kinds = np.unique(labels)
    if len(kinds) < 2:
        return []
    tables = [two_by_two_of(known.wetted[labels == one], known.harmed[labels == one]) for one in kinds]
    made = over_strata(np.array(tables))
    if math.isnan(made.pooled.value):
        return []
    about = (
        f"{int(made.used.sum())} of {len(kinds)} strata hold wetted and dry, harmed and sound stones, "
        f"{made.n} of {w.n} stones"
    )
    out = []
    if not math.isnan(made.p_equal):
        value = Estimate(made.chi2_equal, math.nan, math.nan, made.p_equal)
        words = "Breslow-Day with Tarone: a small p says that the strata disagree"
        out.append(row(w.harm, "equal odds ratios (chi2)", title, value, int(made.used.sum()), f"{words}; {about}"))
    if made.p_equal < DISAGREE_P:
        for one, table in zip(kinds, tables, strict=True):
            own = two_by_two(table)
            if table.sum(axis=1).min() >= LEAST_IN_STRATUM and not math.isnan(own.exact.value):
                note = "exact interval; the strata disagree, so that no single figure holds for all"
                out.append(row(w.harm, "odds ratio, exact", f"{title}: {one}", own.exact, own.n, note))
        return out
    empty = {0.0: "; no wetted stone of them has it alone", math.inf: "; infinite: no dry stone of them has it alone"}
    note = f"Mantel-Haenszel; {about}{empty.get(made.pooled.value, '')}"
    return [row(w.harm, POOLED, title, made.pooled, made.n, note), *out]


def mixed_share(w: Witnesses, names: Sequence[str]) -> float:
    """Return the share of stones that stand in strata with enough wetted and dry stones, 0 to 1.

    Where it is small, wetted and dry stones differ in this altogether, and no table can tell it from the water.
    """
    labels = _labels(w, names)
    in_both = np.zeros(w.n, dtype=np.bool_)
    for one in np.unique(labels[labels != ""]).tolist():
        at = labels == one
        in_both |= at & (min(w.wetted[at].sum(), (~w.wetted[at]).sum()) >= LEAST_IN_STRATUM)
    return float(in_both.mean()) if w.n else 0.0


def _labels(w: Witnesses, names: Sequence[str]) -> NDArray[np.str_]:
    parts = [w.strata[name].tolist() for name in names]
    joined = [", ".join(one) if all(one) else "" for one in zip(*parts, strict=True)]
    return np.array(joined, dtype=np.str_)


def by_head(w: Witnesses, rng: np.random.Generator, *, within: str) -> list[Row]:
    """Return what is left when whole heads are dealt out, and how harm falls off with distance over throw."""
    known = w.some(w.head >= 0)
    out: list[Row] = []
    labels = known.strata[within]
    several = len(np.unique(labels)) > 1
    made = permute_heads(
        known.harmed, known.wetted, known.head, strata=np.unique(labels, return_inverse=True)[1], rng=rng
    )
    if not math.isnan(made.p):
        how = "every way counted" if made.exact else "drawn at random"
        beyond = f" beyond what {within} explains" * several
        note = (
            f"share of harmed stones, wetted less dry{beyond}; whole groups of one head dealt out anew "
            f"({made.groups_n} groups, {made.wetted_groups_n} wetted; {how})"
        )
        value = Estimate(made.difference, math.nan, math.nan, made.p)
        out.append(row(w.harm, "difference by whole heads", ALL, value, made.groups_n, note))
    far = known.some(np.isfinite(known.ratio))
    return out + _slope(
        far, far.ratio, "odds ratio per throw length", "distance to the nearest head over its throw", within
    )


def by_dose(w: Witnesses, *, within: str) -> list[Row]:
    """Return the share of harmed stones by hours of wetting a season, and the trend."""
    known = w.some(np.isfinite(w.hours))
    wet = known.hours[known.hours > 0]
    if wet.size < 2 * LEAST_IN_STRATUM or np.ptp(wet) == 0:
        return []
    edges = np.unique(np.quantile(wet, (0.0, 1 / 3, 2 / 3, 1.0)))
    place = np.where(known.hours > 0, np.searchsorted(edges[1:-1], known.hours, side="left") + 1, 0)
    out = []
    for one in range(len(edges)):
        at = place == one
        if at.any():
            span = "0 h" if one == 0 else f"{known.hours[at].min():.0f} to {known.hours[at].max():.0f} h"
            note = "hours of wetting a season, thirds of the wetted stones; interval of Wilson"
            out.append(share_row(w.harm, "share harmed by dose", span, known.harmed[at], note))
    return out + _slope(known, known.hours / 100, "odds ratio per 100 h", "hours of wetting a season", within)


def _slope(w: Witnesses, column: Floats, measure: str, about: str, within: str) -> list[Row]:
    """Return the odds ratio per unit of one column, errors by head; nothing where it cannot be fitted."""
    if w.n < 2 * LEAST_IN_STRATUM or np.ptp(column) == 0:
        return []
    head = w.head if (w.head >= 0).all() else None
    kinds = _kinds(w, within)
    fit = logistic(w.harmed, np.column_stack([column, kinds]), head)
    taken = f"{within} taken into account" if kinds.shape[1] else "nothing else taken into account"
    if math.isnan(fit.loglik):
        fit, taken = logistic(w.harmed, column, head), f"{within} could not be taken into account"
    nothing = Estimate(math.nan, math.nan, math.nan, math.nan)
    if fit.separated:
        note = f"{about}: it tells harmed from sound without error, so that there is no finite figure"
        return [row(w.harm, measure, ALL, nothing, w.n, note)]
    if math.isnan(fit.loglik):
        return []
    narrow = head is not None and fit.groups_n < LEAST_HEADS
    few = f"; only {fit.groups_n} heads: the interval is too narrow" * narrow
    by = f"errors by head ({fit.groups_n})" if head is not None else "heads not known: each stone as its own witness"
    value = Estimate(_exp(fit.b[1]), _exp(fit.low[1]), _exp(fit.high[1]), float(fit.p[1]))
    return [row(w.harm, measure, ALL, value, w.n, f"{about}; logistic regression, {by}{few}; {taken}")]


def _kinds(w: Witnesses, within: str) -> Floats:
    """Return a column per kind, the commonest and the rare ones left out: those without harmed and sound stones."""
    labels = w.strata[within]
    kinds, count = np.unique(labels, return_counts=True)
    common = [
        one for one, n in zip(kinds.tolist(), count.tolist(), strict=True)
        if n >= 2 * LEAST_IN_STRATUM and 0 < w.harmed[labels == one].mean() < 1 and n < count.max()
    ]  # fmt: skip
    return np.array([labels == one for one in common], dtype=np.float64).reshape(len(common), w.n).T


def _exp(value: float) -> float:
    return math.exp(min(float(value), 700.0))
