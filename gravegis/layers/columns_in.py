"""One column of a file into one of ours: days, years, and figures with a limit behind a sign, raw texts kept."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from gravegis.errors import LayerError, Problem
from gravegis.layers import dates, not_detected, years
from gravegis.layers.read.missing import is_missing
from gravegis.layers.read.raw import many, shown
from gravegis.layers.values import Converted, carries_units, convert, mixed_units, unit_in_name

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from gravegis.layers.schema import Column

__all__ = ["AS_WRITTEN", "Manner", "below_name", "bring_column"]

AS_WRITTEN = "_as_written"
"""Behind the name of a column whose values were understood: the values as they stood in the file."""

_BELOW, _ABOVE = ("<", "≤", "&lt;"), (">", "≥", "&gt;")


@dataclass(frozen=True, slots=True)
class Manner:
    """How the values of a column are written: unit of bare figures, decimal sign, day count, order of days, words.

    `words` maps a value as written to the one it becomes.
    """

    unit: str = ""
    decimal: str = ""
    epoch: str = ""
    dates: str = ""
    words: Mapping[str, str] = field(default_factory=dict)


def below_name(column: Column, word: str = "below") -> str:
    """Return the column that holds limits: ``iron_below_mg_l`` of ``iron_mg_l``."""
    stem = unit_in_name(column.name, column.unit)[0] if column.unit else column.name
    return f"{stem}_{word}{column.name[len(stem) :]}"


def bring_column(
    series: pd.Series[Any], column: Column, how: Manner, *, where: str
) -> tuple[Converted, dict[str, Any]]:
    """Return a column of ours from the values of a file, and the further columns that came out of it.

    A value below a detection limit, such as ``<0.05``, is no figure: it stays missing, and the limit goes into a
    column of its own. Days and years that had to be read, and words that were mapped, are kept as written too.
    """
    if how.words:
        series, kept = _mapped(series, how.words)
    else:
        kept = None
    if column.kind == "date":
        done, extra = _days(series, column, how, where)
    elif column.name == "year" and column.kind == "whole":
        done, extra = _years(series, column)
    elif column.kind in ("number", "whole"):
        done, extra = _figures(series, column, how, where)
    else:
        done, extra = convert(series, column, unit=how.unit, decimal=how.decimal, where=where), {}
    if column.kind in ("number", "whole"):
        notes, problems = not_detected.codes_for_nothing(series, column, where)
        done.notes.extend(notes)
        done.problems.extend(problems)
    if kept is not None:
        extra = {f"{column.name}{AS_WRITTEN}": kept, **extra}
        count = int((kept.fillna("") != series.fillna("").astype("str")).sum())
        done.notes.append(f"{column.name}: {many(count, 'value')} mapped, kept as written in {column.name}{AS_WRITTEN}")
    return done, extra


def _text(value: object) -> str:
    return "" if pd.isna(value) else str(value).strip()  # type: ignore[call-overload]


def _each(series: pd.Series[Any], change: Callable[[object], str]) -> list[str]:
    """Return what each value becomes; values that repeat are worked out once."""
    if series.dtype == np.dtype(object):
        # 1, 1.0 and True are equal and written differently
        return [change(value) for value in series]
    codes, once = pd.factorize(series)
    made = [*(change(value) for value in once), change(None)]
    return [made[code] for code in codes.tolist()]


def _mapped(series: pd.Series[Any], words: Mapping[str, str]) -> tuple[pd.Series[Any], pd.Series[Any] | None]:
    """Return the values with words replaced, in either case of letters, and the values as they were (if any was)."""
    plain = {" ".join(written.split()).casefold(): becomes for written, becomes in words.items()}
    texts = _each(series, _text)
    made = [plain.get(" ".join(text.split()).casefold(), text) for text in texts]
    if made == texts:
        return series, None
    before = pd.Series([text or None for text in texts], index=series.index, dtype="str")
    return pd.Series([text or None for text in made], index=series.index, dtype="str", name=series.name), before


def _days(series: pd.Series[Any], column: Column, how: Manner, where: str) -> tuple[Converted, dict[str, Any]]:
    texts = _each(series, lambda value: "" if is_missing(value, "date") else _text(value))
    done = Converted(series)
    try:
        order = dates.order_of([text for text in dict.fromkeys(texts) if text], typed=how.dates)
    except LayerError as error:
        done.problems.extend(Problem(one.problem, where, one.remedy) for one in error.problems)
        done.values = pd.Series([None] * len(series), index=series.index, dtype="str")
        return done, {}
    known = {text: dates.read_date(text, order=order, epoch=how.epoch) for text in dict.fromkeys(texts) if text}
    iso = {text: day.isoformat() if day is not None else text for text, day in known.items()}
    done.values = pd.Series([iso.get(text) for text in texts], index=series.index, dtype="str")
    if how.dates and order:
        done.notes.append(f"{column.name}: days read as {order}, as typed")
    counted = [
        text for text, day in known.items() if day is not None and text.split(".")[0].isdigit() and len(text) < 8
    ]
    if counted:
        done.notes.append(f"{column.name}: day counts of the workbook ({how.epoch}) read as days: {shown(counted, 3)}")
    changed = [text for text in known if iso[text] != text]
    if not changed:
        return done, {}
    done.notes.append(f"{column.name}: read as days, kept as written in {column.name}{AS_WRITTEN}: {shown(changed, 3)}")
    return done, {f"{column.name}{AS_WRITTEN}": _raw_texts(series)}


def _raw_texts(series: pd.Series[Any]) -> pd.Series[Any]:
    return pd.Series([text or None for text in _each(series, _text)], index=series.index, dtype="str")


def _years(series: pd.Series[Any], column: Column) -> tuple[Converted, dict[str, Any]]:
    """Return the earliest years, with the latest and how certain they are beside them where any is not plain."""
    texts = _each(series, lambda value: "" if is_missing(value, "number") else _text(value))
    known = {text: years.read_year(text) for text in dict.fromkeys(texts) if text}
    read = [known.get(text) for text in texts]
    first = [None if one is None else one.earliest for one in read]
    done = Converted(pd.Series(first, index=series.index, dtype="Int64"))
    odd = [text for text, one in known.items() if one is None]
    if odd:
        words = f"{column.name}: no year can be read in {many(len(odd), 'value')}, kept as written: {shown(odd)}"
        done.notes.append(words)
    if all(one is not None and one.certainty == "exact" and text == str(one.earliest)
           for text, one in known.items()):  # fmt: skip
        return done, {}
    last = [None if one is None else one.latest for one in read]
    extra = {
        "year_latest": pd.Series(last, index=series.index, dtype="Int64"),
        "year_certainty": pd.Series([None if one is None else one.certainty for one in read], index=series.index,
                                    dtype="str"),
        f"{column.name}{AS_WRITTEN}": _raw_texts(series),
    }  # fmt: skip
    kinds = [one.certainty for one in read if one is not None and one.certainty != "exact"]
    if kinds:
        counted = shown(f"{kind} ({kinds.count(kind)})" for kind in years.CERTAINTIES if kind in kinds)
        done.notes.append(f"{column.name}: not exact: {counted}; year_latest and year_certainty tell")
    return done, extra


def _figures(series: pd.Series[Any], column: Column, how: Manner, where: str) -> tuple[Converted, dict[str, Any]]:
    """Return figures, with values behind a < or > sign set apart as limits."""
    if pd.api.types.is_numeric_dtype(series.dtype):
        return convert(series, column, unit=how.unit, decimal=how.decimal, where=where), _basis_in_name(series, column)
    extra: dict[str, Any] = _basis_in_name(series, column)
    notes, problems = list[str](), list[Problem]()
    if not_detected.may_be(column):
        series, marks, said = not_detected.apart(series, column, below_name(column, not_detected.NOT_DETECTED))
        extra |= marks
        notes.extend(said)
    plain = series
    for signs, word in ((_BELOW, "below"), (_ABOVE, "above")):
        limits = _each(series, lambda value, signs=signs: _limit(value, signs))  # type: ignore[misc]
        if not any(limits):
            continue
        plain = pd.Series([None if limit else value for limit, value in zip(limits, plain, strict=True)],
                          index=series.index, dtype="str", name=series.name)  # fmt: skip
        name = below_name(column, word)
        part = pd.Series([limit or None for limit in limits], index=series.index, dtype="str", name=series.name)
        done = convert(part, column, unit=how.unit, decimal=how.decimal, where=where)
        extra[name] = done.values
        problems.extend(done.problems)
        example = next(_text(value) for limit, value in zip(limits, series, strict=True) if limit)
        count = sum(bool(limit) for limit in limits)
        notes.append(f"{column.name}: {many(count, 'value')} {word} a limit (such as '{example}'): not a figure, the "
                     f"limit stands in {name}")  # fmt: skip
    done = convert(plain, column, unit=how.unit, decimal=how.decimal, where=where)
    if (
        any(name in extra for name in (below_name(column), below_name(column, "above")))
        and not how.unit
        and not (problems or done.problems)
    ):
        stripped = [_limit(value, (*_BELOW, *_ABOVE)) or value for value in series]
        together = pd.Series(stripped, index=series.index, dtype="str", name=series.name)
        bare, dressed = carries_units(together, column)
        problems.extend([mixed_units(together, column, bare, dressed, where)] if bare and dressed else [])
    done.notes.extend(notes)
    done.problems.extend(problems)
    return done, extra


def _basis_in_name(series: pd.Series[Any], column: Column) -> dict[str, Any]:
    """Return what the name of a column of alkalinity says it is given as: ``Alkalinity as CaCO3``."""
    said = re.search(r"\bas[\s_]*(caco3|hco3)", str(series.name), re.IGNORECASE)
    if column.name != "alkalinity_mg_l" or said is None:
        return {}
    form = {"caco3": "CaCO3", "hco3": "HCO3"}[said[1].lower()]
    return {"alkalinity_as": pd.Series([form] * len(series), index=series.index, dtype="str")}


def _limit(value: object, signs: tuple[str, ...]) -> str:
    """Return the limit behind a sign, empty where there is none."""
    text = _text(value) if isinstance(value, str) else ""
    if signs == _BELOW and (given := not_detected.given_limit(text)):
        return given
    sign = next((one for one in signs if text.startswith(one)), "")
    rest = text[len(sign) :].lstrip("= ") if sign else ""
    return rest if rest[:1].isdigit() or rest[:1] in (".", ",") else ""
