"""Rows of evidence in words an owner can read: what was found, how sure it is, and what may be said of a cause.

Only faces of the same stone may point to water as a cause; whatever stones say of each other is at most consistent
with it. The steps from figures to words are own rules.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from gravegis.science.condition.evidence import ALL, PAIRS, POOLED

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gravegis.science.condition.evidence import Row

__all__ = ["SURE_P", "SURE_PAIR_P", "between_words", "odds_times", "pair_words", "verdict"]

SURE_P = 0.05
"""Below it a figure counts: common practice."""

SURE_PAIR_P = 0.01
"""Held lower for pairs, since several harms are looked at and pairs alone may speak of a cause: own rule."""


MOST_TIMES = 100.0
"""From so many times on, and below one over it, the end of the interval is told in place of the figure: own choice."""


def _found(rows: Sequence[Row], measure: str) -> Row | None:
    return next((one for one in rows if one.measure == measure and one.stratum == ALL), None)


def pair_words(rows: Sequence[Row]) -> list[str]:
    """Return what sprayed and lee faces say, nothing where there are no unlike pairs."""
    pair = _found(rows, PAIRS)
    if pair is None:
        return []
    counts = pair.note.split("; McNemar")[0]
    return [f"sprayed against lee face of the same stone: {counts} (p {pair.p:.2g})"]


def between_words(rows: Sequence[Row], inseparable: Sequence[str]) -> list[str]:
    """Return what wetted and dry stones say.

    `inseparable` names what wetted and dry stones differ in altogether, such as their section.
    """
    crude = _found(rows, "odds ratio")
    if crude is None:
        return ["all or none of the stones have it, there is nothing to compare"]
    wet, dry = crude.note.split("; ")[:2]
    said = [f"{wet}; {dry}, odds {_times(crude)}"]
    said += [f"within one {name} {_times(one)}" for name, one in _pooled(rows, inseparable).items()]
    if inseparable:
        said.append(f"wetted and dry stones differ in {_and(inseparable)} so far that no table can take that out")
    unlike = [one.stratum for one in rows if one.measure.startswith("equal odds") and one.p < SURE_P]
    if unlike:
        said.append(f"strata {_and(unlike)} disagree, see the table")
    heads = _found(rows, "difference by whole heads")
    return said + ([f"whole heads dealt out anew p {heads.p:.2g}"] if heads is not None else [])


def _pooled(rows: Sequence[Row], inseparable: Sequence[str]) -> dict[str, Row]:
    """Return the figures over strata in which enough wetted and dry stones stand side by side."""
    found = {one.stratum.removeprefix("by "): one for one in rows if one.measure == POOLED}
    return {name: one for name, one in found.items() if not set(name.split(" and ")) & set(inseparable)}


def _times(one: Row) -> str:
    if not math.isfinite(one.low):
        return f"{'no dry' if one.estimate > 1 else 'no wetted'} stone alone has it (p {one.p:.2g})"
    return odds_times(one.estimate, one.low, one.high)


def odds_times(estimate: float, low: float, high: float, *, thing: str = "") -> str:
    """Return an odds ratio with its interval in words, plain figures of two digits.

    Beyond 100 times, or below a hundredth, the figure itself says little (often nobody of one kind has the harm): the
    nearer end of the interval is told instead. Figures near 1 get the digits that tell the ends apart.
    """
    what = f" {thing}" if thing else ""
    if estimate >= MOST_TIMES and math.isfinite(low):
        return f"at least {_plain(low)} times{what} (nearer end of the interval)"
    if estimate <= 1 / MOST_TIMES and math.isfinite(high):
        return f"at most {_plain(high)} times{what} (nearer end of the interval)"
    digits = next((n for n in (2, 3) if _plain(low, n) != _plain(high, n)), 4)
    top = _plain(high, digits) if math.isfinite(high) else "no limit"
    return f"{_plain(estimate, digits)} times{what} ({_plain(low, digits)} to {top})"


def _plain(value: float, digits: int = 2) -> str:
    return f"{float(f'{value:.{digits}g}'):,.10g}"


def _and(names: Sequence[str]) -> str:
    return " and ".join([", ".join(names[:-1]), names[-1]]) if len(names) > 1 else names[0]


def _within(combined: str, names: Sequence[str]) -> bool:
    return any(one in names for one in combined.split(" and "))


def verdict(rows: Sequence[Row], inseparable: Sequence[str]) -> str:
    """Return the one sentence an owner reads."""
    pair = _found(rows, PAIRS)
    if pair is not None and pair.p < SURE_PAIR_P:
        if pair.estimate > 1:
            return "The faces of the same stones point to the water as a cause."
        return "The faces of the same stones speak against the spray: the lee side carries more."
    crude = _found(rows, "odds ratio")
    if crude is None:
        return "Too little is known to say whether water has a part in it."
    if crude.p >= SURE_P or crude.estimate <= 1:
        return "There is no sign that wetted stones carry more of it; that is no proof that water does nothing."
    return _of_more_on_wetted(rows, inseparable)


def _of_more_on_wetted(rows: Sequence[Row], inseparable: Sequence[str]) -> str:
    explained = [
        name for name, one in _pooled(rows, inseparable).items() if one.p >= SURE_P or one.estimate <= 1
    ]  # fmt: skip
    if explained:
        # what one kind explains need not be told again of its combinations
        explained = [one for one in explained if " and " not in one or not _within(one, explained)]
        return f"Wetted stones carry more of it, but {_and(explained)} may explain that: it is not laid on the water."
    heads = _found(rows, "difference by whole heads")
    if heads is None or heads.p >= SURE_P:
        return "Wetted stones carry more of it, but too few heads stand behind that to be sure."
    other = f" {_and(inseparable).capitalize()} may explain it as well." if inseparable else ""
    return f"This is consistent with the water having a part in it; it does not show that it has.{other}"
