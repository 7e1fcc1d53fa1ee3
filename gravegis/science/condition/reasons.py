"""Reasons: a code and its values, put into words late, in the reader's units."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypedDict

from gravegis.science.condition.tables import rows

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

__all__ = ["Reason", "Value", "in_words", "reason", "templates", "unit_kinds"]

Value = str | int | float


class Reason(TypedDict):
    """Why something was decided: a code of reasons.csv and the values its words need."""

    code: str
    values: dict[str, Value]


def reason(code: str, **values: Value) -> Reason:
    """Return one reason; `code` is a row of reasons.csv, `values` fill its placeholders, SI inside."""
    return Reason(code=code, values=values)


def templates() -> Mapping[str, str]:
    """Return the plain English of every code, with placeholders in braces."""
    return {row["code"]: row["template"] for row in rows("reasons")}


def unit_kinds(code: str) -> Mapping[str, str]:
    """Return the inside unit of each placeholder of a code that has one, such as ``{"height_m": "m"}``."""
    row = next(row for row in rows("reasons") if row["code"] == code)
    return dict(pair.split("=", 1) for pair in row["units"].split("|") if pair)


def _metric(value: float, unit: str) -> str:
    return f"{100 * value:.0f} %" if unit == "1" else f"{value:g} {unit}"


def in_words(one: Reason, *, show: Callable[[float, str], str] = _metric) -> str:
    """Return a reason as one sentence.

    `show` turns a value and its inside unit into the reader's unit. A code that is not in the table is
    printed as it is, with its values: an old site must stay readable.
    """
    template = templates().get(one["code"])
    if template is None:
        return " ".join([one["code"], *(f"{name}={value}" for name, value in one["values"].items())])
    kinds = unit_kinds(one["code"])
    shown = {
        name: show(value, kinds[name]) if name in kinds and not isinstance(value, str) else str(value)
        for name, value in one["values"].items()
    }
    return template.format(**shown)
