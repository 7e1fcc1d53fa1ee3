"""Words of laboratories for a value below detection whose limit is not given, and figures that stand for nothing."""

from __future__ import annotations

import re
from collections import Counter
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from gravegis.errors import Problem
from gravegis.layers.read.raw import many, shown

if TYPE_CHECKING:
    from collections.abc import Iterable

    from gravegis.layers.schema import Column

__all__ = ["NOT_DETECTED", "apart", "codes_for_nothing", "given_limit", "is_not_detected", "may_be"]

NOT_DETECTED = "not_detected"
"""Before the unit of a column: `yes` where the laboratory found nothing and gave no limit."""

# From memory, unconfirmed: letters that laboratories write; `u` alone is left out, for it qualifies a figure.
_WORDS = (
    r"n\.?\s?d\.?|b\.?d\.?l\.?|b\.?l\.?d\.?|not detected|non[ -]?detect(?:ed)?"
    r"|below (?:detection|reporting)(?: limit)?|[<≤]\s*(?:m?dl|lod|loq|rl|pql|mrl)"
)
_PLAIN = re.compile(rf"(?:{_WORDS})(?:\s+[a-zµμ%]+(?:/[a-z0-9]+)?)?", re.IGNORECASE)
_WITH_LIMIT = re.compile(
    rf"(?:{_WORDS})\s*(?:[(<@]|at)\s*[<=]?\s*(\d[\d.,]*\s*[a-zµμ]*(?:/[a-z]+)?)\s*\)?", re.IGNORECASE
)
_MEASURED = ("mg/l",)
"""Units of what laboratories look for and may not find."""
# Figures that programs write where they know nothing; common practice, no source.
_CODES = (-9999.0, -999.0, -99.0, -9999.9, -999.9, -99.99, -88.0, 999.0, 9999.0, 99999.0, -99999.0, 999.9, 9999.9)
_CODE_TEXTS = tuple({form.format(code) for code in _CODES for form in ("{:g}", "{:.1f}", "{:.2f}", "{:.3f}")})
_TIMES = 2  # so often it must stand in a column
_BEYOND = 3.0  # and a code above zero lies so many times above every other figure: own choice, no source


def is_not_detected(value: object, column: Column) -> bool:
    """Whether a text in a column of concentrations says that nothing was found, without a limit."""
    return may_be(column) and isinstance(value, str) and _PLAIN.fullmatch(value.strip()) is not None


def given_limit(text: str) -> str:
    """Return the limit of a text such as ``ND (0.05)`` or ``nd<0.05``; empty where it gives none."""
    found = _WITH_LIMIT.fullmatch(text.strip())
    return found[1].strip() if found is not None else ""


def may_be(column: Column) -> bool:
    """Whether a column holds what a laboratory looks for and may not find."""
    return column.unit in _MEASURED


def apart(
    series: pd.Series[Any], column: Column, name: str
) -> tuple[pd.Series[Any], dict[str, pd.Series[Any]], list[str]]:
    """Return a column without its words for `not detected`, the column that marks them (if any), and what to say."""
    found = np.array([is_not_detected(value, column) for value in series], dtype=bool)
    if not found.any():
        return series, {}, []
    marks = pd.Series(["yes" if one else None for one in found], index=series.index, dtype="str")
    return series.mask(found), {name: marks}, [_said(series[found], column, name)]


def _said(words: Iterable[str], column: Column, name: str) -> str:
    """Return what to say of values below detection without a limit: they are kept as such, and how to give one."""
    counts = Counter(word.strip() for word in words)
    counted = shown(f"'{word}' ({count})" for word, count in counts.items())
    first = next(iter(counts))
    return (
        f"{column.name}: {many(sum(counts.values()), 'value')} below detection without a limit: {counted}; kept as "
        f"that ({name} is yes), no figure and not zero. Ask the laboratory for the limit; a mapping file gives it by a "
        f"line value,{column.name},{first},<LIMIT"
    )


def codes_for_nothing(series: pd.Series[Any], column: Column, where: str) -> tuple[list[str], list[Problem]]:
    """Return notes and problems about a figure that stands often and most likely means that nothing is known.

    Nothing is changed. It is a problem where the column cannot hold the figure at all.
    """
    hits = series.isin(_CODES if pd.api.types.is_numeric_dtype(series.dtype) else _CODE_TEXTS)
    if not hits.any():  # nearly every column, and there may be a million rows
        return [], []
    texts = series.dropna().astype("str").str.strip()
    figures = pd.to_numeric(texts, errors="coerce").to_numpy(dtype="float64", na_value=np.nan)
    notes, problems = list[str](), list[Problem]()
    for code in sorted(set(figures[np.isin(figures, _CODES)].tolist())):
        here = figures == code
        others = figures[~here & ~np.isin(figures, _CODES) & np.isfinite(figures)]
        largest = float(np.abs(others).max(initial=0.0))
        alone = code < 0 <= others.min(initial=0.0) or (code > 0 and code > _BEYOND * largest)
        if here.sum() < _TIMES or not (alone and len(others)):
            continue
        typed = str(texts[here].iloc[0])
        problem = f"'{typed}' stands {int(here.sum())} times and most likely means that nothing is known"
        line = f"value,{column.name},{typed},"
        remedy = f"If so, a mapping file leaves it out by the line {line} (nothing behind the last comma)"
        outside = (column.low is not None and code < column.low) or (column.high is not None and code > column.high)
        if outside or column.kind == "whole":
            problems.append(Problem(problem, where, f"{remedy}."))
        else:
            notes.append(f"{column.name}: {problem}; kept as a figure. {remedy}")
    return notes, problems
