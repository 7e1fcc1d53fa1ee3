"""The kinds of setting an analysis declares: number, choice, yes or no, text, each with its range and source."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, ClassVar, Protocol

from gravegis import units
from gravegis.errors import SettingError

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

__all__ = [
    "Choice",
    "Flag",
    "Kind",
    "Number",
    "Text",
    "choice",
    "day_typed",
    "flag",
    "number",
    "text",
    "time_typed",
    "whole",
]


class Kind(Protocol):
    """How one setting is described and read from what a person typed."""

    @property
    def help(self) -> str:
        """What the setting means."""

    @property
    def source(self) -> str:
        """Where its default comes from."""

    def read(self, typed: str) -> object:
        """Return the value; raises SettingError for what cannot be read."""

    def range_text(self) -> str:
        """Return what is allowed, in words."""


@dataclass(frozen=True, slots=True)
class Number:
    """A number with its unit, honest range and the source of its default."""

    help: str
    unit: str
    low: float
    high: float
    source: str
    is_whole: bool = False

    def read(self, typed: str) -> float | int:
        """Return the number in the inside unit; raises SettingError outside the range."""
        value = units.parse(typed, self.unit)
        if not self.low <= value <= self.high:
            unit = "" if self.unit == "1" else f" {self.unit}"
            raise SettingError(f"'{typed}' is {value:g}{unit}, outside {self.range_text()}")
        if self.is_whole and not value.is_integer():
            raise SettingError(f"'{typed}' is not a whole number")
        return int(value) if self.is_whole else value

    def range_text(self) -> str:
        """Return the range in words."""
        unit = "" if self.unit == "1" else f" {self.unit}"
        return f"{self.low:g} to {self.high:g}{unit}"


@dataclass(frozen=True, slots=True)
class Choice:
    """One of a few words."""

    help: str
    options: tuple[str, ...]
    source: str

    def read(self, typed: str) -> str:
        """Return the word; raises SettingError with the words there are."""
        if typed not in self.options:
            raise SettingError(f"'{typed}' is none of {self.range_text()}")
        return typed

    def range_text(self) -> str:
        """Return the words to choose from."""
        return ", ".join(self.options)


@dataclass(frozen=True, slots=True)
class Flag:
    """Yes or no."""

    help: str
    source: str
    _words: ClassVar[Mapping[str, bool]] = {"yes": True, "no": False, "true": True, "false": False}

    def read(self, typed: str) -> bool:
        """Return the answer; raises SettingError for other words."""
        if typed.lower() not in self._words:
            raise SettingError(f"'{typed}' is neither yes nor no")
        return self._words[typed.lower()]

    def range_text(self) -> str:
        """Return the two words."""
        return "yes, no"


@dataclass(frozen=True, slots=True)
class Text:
    """A word or a list of words; `reader` refuses what it cannot use by raising ValueError."""

    help: str
    form: str
    source: str
    reader: Callable[[str], str] = str.strip

    def read(self, typed: str) -> str:
        """Return the text as the analysis uses it."""
        try:
            return self.reader(typed)
        except ValueError as error:
            raise SettingError(f"'{typed}' is not {self.form} ({error})") from None

    def range_text(self) -> str:
        """Return the form in words."""
        return self.form


def number(default: float, help: str, *, unit: str, low: float, high: float, source: str) -> float:
    """Declare a number; the name of the field must end in its unit."""
    return field(default=default, metadata={"kind": Number(help, unit, low, high, source)})


def whole(default: int, help: str, *, low: int, high: int, source: str) -> int:
    """Declare a whole number; the name of the field ends in ``_n`` or is a plain count."""
    return field(default=default, metadata={"kind": Number(help, "1", low, high, source, is_whole=True)})


def choice(default: str, help: str, *, options: tuple[str, ...], source: str) -> str:
    """Declare one of a few words."""
    return field(default=default, metadata={"kind": Choice(help, options, source)})


def flag(*, default: bool, help: str, source: str) -> bool:
    """Declare a yes or no."""
    return field(default=default, metadata={"kind": Flag(help, source)})


def text(default: str, help: str, *, form: str, source: str, reader: Callable[[str], str] = str.strip) -> str:
    """Declare a text of a stated form."""
    return field(default=default, metadata={"kind": Text(help, form, source, reader)})


def day_typed(typed: str) -> str:
    """Return a day as YYYY-MM-DD, empty where nothing was typed; raises ValueError for anything else."""
    return dt.date.fromisoformat(typed.strip()).isoformat() if typed.strip() else ""


def time_typed(typed: str) -> str:
    """Return a time of day as HH:MM; raises ValueError for anything else."""
    return dt.time.fromisoformat(typed.strip()).isoformat("minutes")
