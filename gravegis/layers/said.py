"""What a person says about a file beside the file itself, typed or saved in a mapping file."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, TypedDict

from gravegis import units
from gravegis.errors import LayerError, Problem, SettingError
from gravegis.layers import dates as days
from gravegis.layers.mapping_file import MappingFile, read_mapping

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

__all__ = ["NORTHS", "Options", "Typed"]

NORTHS = ("true", "magnetic")
"""Norths a bearing may be counted from."""

_YES, _NO = ("yes", "true", "1"), ("no", "false", "0")


class Options(TypedDict, total=False):
    """Options of `bring_in`; `Typed` explains them."""

    mapping: Sequence[str]
    mapping_file: Path | None
    crs: str | None
    swap_xy: bool
    encoding: str | None
    file_layer: str | None
    unit: str | None
    dates: str | None
    control: Path | None
    bearings: str | None
    declination_deg: float | None
    more: bool


@dataclass(frozen=True, slots=True)
class Typed:
    """What a person said about a file.

    Attributes
    ----------
    mapping
        Columns as typed, such as ``throw_m=RADIUS ft``, ``x=POINT_X``.
    words, names
        Per column what a value as written becomes; long names of columns by their names in the file.
    crs
        Reference system of the file where it does not say.
    swap_xy
        The file has its two coordinates the wrong way round.
    encoding, file_layer
        Encoding of a text or table; layer within the file.
    unit_m
        Metres in one unit of the coordinates, None where nobody said. [m]
    dates
        Order of days in figures: ``dmy`` or ``mdy``.
    control
        Table of control points that place a local grid.
    more
        The rows are added to those that are there.
    bearings, declination_deg
        North that bearings are counted from, and how far magnetic north lies east of true north. [deg]
    """

    mapping: tuple[str, ...] = ()
    words: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    names: Mapping[str, str] = field(default_factory=dict)
    crs: str | None = None
    swap_xy: bool = False
    encoding: str | None = None
    file_layer: str | None = None
    unit: str = ""
    unit_m: float | None = None
    dates: str = ""
    control: Path | None = None
    bearings: str = ""
    declination_deg: float | None = None
    more: bool = False

    @classmethod
    def of(cls, options: Options) -> Typed:
        """Return what was said, the mapping file first and what was typed over it; raises one LayerError."""
        path = options.get("mapping_file")
        saved = MappingFile() if path is None else read_mapping(path)
        problems = list[Problem]()
        said: dict[str, str] = dict(saved.options)
        for name in ("crs", "encoding", "file_layer", "unit", "dates", "bearings"):
            if (value := options.get(name)) is not None:
                said[name] = str(value)
        declination = options.get("declination_deg")
        if declination is None and "declination_deg" in said:
            declination = _number(said["declination_deg"], problems)
        made = cls(
            mapping=_columns(saved.columns, options.get("mapping", ())),
            words=saved.words,
            names=saved.names,
            crs=said.get("crs"),
            swap_xy=bool(options.get("swap_xy")) or _flag(said.get("swap_xy", "no"), problems),
            encoding=said.get("encoding"),
            file_layer=said.get("file_layer"),
            unit=said.get("unit", ""),
            unit_m=_unit_m(said.get("unit", ""), problems),
            dates=_one_of(said.get("dates", ""), days.ORDERS, "--dates", problems),
            control=options.get("control"),
            bearings=_one_of(said.get("bearings", ""), NORTHS, "--bearings", problems),
            declination_deg=declination,
            more=bool(options.get("more")),
        )
        if made.declination_deg is not None and not -90 <= made.declination_deg <= 90:
            problems.append(Problem(f"{made.declination_deg:g} is no declination", "--declination", _DECLINATION))
        if made.bearings == "magnetic" and made.declination_deg is None:
            problems.append(Problem("magnetic bearings need the declination", "--declination", _DECLINATION))
        if made.declination_deg is not None and made.bearings != "magnetic":
            problems.append(Problem("a declination without --bearings magnetic", "--declination", "Name both."))
        if problems:
            raise LayerError.of(problems)
        return made


_DECLINATION = "Degrees that magnetic north lies east of true north (west below 0) at the place and year of the survey."


def _columns(saved: Sequence[str], typed: Sequence[str]) -> tuple[str, ...]:
    """Return the columns of a mapping file and those typed; one typed takes the place of one saved."""
    targets = {text.partition("=")[0].strip() for text in typed}
    return (*(text for text in saved if text.partition("=")[0].strip() not in targets), *typed)


def _one_of(text: str, known: Sequence[str], where: str, problems: list[Problem]) -> str:
    if text and text not in known:
        problems.append(Problem(f"'{text[:40]}' is not known", where, f"One of: {', '.join(known)}."))
        return ""
    return text


def _flag(text: str, problems: list[Problem]) -> bool:
    if text.lower() not in (*_YES, *_NO):
        problems.append(Problem(f"'{text[:40]}' is neither yes nor no", "swap_xy", "Write yes or no."))
    return text.lower() in _YES


def _number(text: str, problems: list[Problem]) -> float | None:
    try:
        return float(text)
    except ValueError:
        problems.append(Problem(f"'{text[:40]}' is no number", "declination_deg", _DECLINATION))
        return None


def _unit_m(text: str, problems: list[Problem]) -> float | None:
    try:
        return units.to_inside(1.0, text, "m") if text else None
    except SettingError as error:
        problems.extend(Problem(one.problem, "--unit", one.remedy) for one in error.problems)
        return None
