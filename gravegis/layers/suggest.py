"""What each column of a file may be, by its name, another name of it, or what stands in it: to accept or change."""

from __future__ import annotations

import difflib
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Unpack

from gravegis.errors import LayerError
from gravegis.layers import dates, lab_sheet
from gravegis.layers.columns_in import Manner
from gravegis.layers.compass import bearing_of
from gravegis.layers.mapping import CUT_LETTERS_N, apply_mapping, as_typed, begins_like, suggestions, two_units
from gravegis.layers.positions_in import named_again
from gravegis.layers.read import numbers, read_file
from gravegis.layers.read.coordinates import PLACE, find_pair, find_wkt
from gravegis.layers.read.missing import is_missing
from gravegis.layers.road import Road
from gravegis.layers.said import Options, Typed
from gravegis.layers.schema import input_layer
from gravegis.layers.two_pairs import compared
from gravegis.layers.values import carries_units
from gravegis.layers.vocabulary import known_words
from gravegis.layers.years import read_year

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from pathlib import Path

    import pandas as pd

    from gravegis.layers.mapping_file import Row
    from gravegis.layers.read import Raw
    from gravegis.layers.schema import Column, Layer

__all__ = ["Look", "Suggestion", "look", "look_at", "mapping_rows"]

_TRIED = 500
_MOST = 0.8  # share of the values that must speak for a column: own choice
_ALIKE = 0.75  # likeness of two words, Ratcliff and Obershelp as in difflib: own choice


@dataclass(frozen=True, slots=True)
class Suggestion:
    """One column of a file: how full it is, examples, what it becomes (empty: carried as it is), why, whether taken."""

    in_file: str
    filled: int
    examples: tuple[str, ...]
    becomes: str
    unit: str
    why: str
    taken: bool


@dataclass(frozen=True, slots=True)
class Look:
    """A file as it would become a layer: as read, its columns, and the lines of a mapping file that says so."""

    raw: Raw
    rows: list[Suggestion]
    lines: list[Row]


def look(layer: str, path: Path, **options: Unpack[Options]) -> Look:
    """Read a file and return what would become of it as a layer; options as in `bring.bring_in`."""
    wanted, typed = input_layer(layer), Typed.of(options)
    road = Road(wanted, path.name)
    raw = named_again(read_file(path, layer=typed.file_layer, encoding=typed.encoding), typed, road)
    raw = lab_sheet.turned(raw, typed.mapping, road)
    road.stop()
    raw = replace(raw, notes=(*raw.notes, *road.notes), warnings=(*raw.warnings, *compared(raw.frame)))
    rows = look_at(raw, wanted, typed.mapping, typed.words)
    said = {"crs": typed.crs, "encoding": typed.encoding, "file_layer": typed.file_layer, "unit": typed.unit,
            "dates": typed.dates, "bearings": typed.bearings, "swap_xy": "yes" if typed.swap_xy else "",
            "declination_deg": "" if typed.declination_deg is None else f"{typed.declination_deg:g}"}  # fmt: skip
    lines: list[Row] = [("option", name, "", value) for name, value in said.items() if value]
    lines += [("name", "", short, long) for short, long in typed.names.items()]
    lines += mapping_rows(rows, raw, wanted, typed.words)
    return Look(raw, rows, lines)


def look_at(
    raw: Raw, layer: Layer, mapping: Sequence[str] = (), words: Mapping[str, Any] | None = None
) -> list[Suggestion]:
    """Return what would become of each column of a file: what is taken by itself, then what is only proposed."""
    names = [str(name) for name in raw.frame.columns if name != "geometry"]
    mapped = apply_mapping(raw.frame, layer, mapping, Manner(decimal=raw.decimal, epoch=raw.epoch), words=words or {})
    used = {wish.source: (wish.target, wish.unit, "named or of the same name") for wish in mapped.taken.values()}
    used |= {name: (place, "", "coordinates") for place, name in _places(raw, mapped.place).items()}
    have = {target for target, _, _ in used.values()}
    free = [name for name in names if name not in used]
    proposed = _by_alias(free, layer, tuple(have))
    proposed |= _by_cut_name(
        [name for name in free if name not in proposed], layer, have | {one[0] for one in proposed.values()}
    )
    rows = []
    for name in names:
        values = [str(one).strip() for one in raw.frame[name] if not is_missing(one, "number")]
        if name in used:
            target, unit, why, taken = *used[name], True
        elif name in proposed:
            target, unit, why, taken = *_dressed(raw.frame[name], proposed[name], layer), False
        else:
            target, unit, why, taken = *_by_content(raw.frame[name], values, layer, have), False
        have.add(target)
        rows.append(Suggestion(name, len(values), tuple(dict.fromkeys(values))[:3], target, unit, why, taken))
    return rows


def _places(raw: Raw, chosen: Mapping[str, str]) -> dict[str, str]:
    if "geometry" in raw.frame.columns:
        return {}
    try:
        text = find_wkt(raw.frame, chosen)
        pair = None if text is not None else find_pair([str(name) for name in raw.frame.columns], chosen)
    except LayerError:
        return {}
    return {"wkt": text} if text is not None else {"x": pair.x, "y": pair.y} if pair is not None else {}


def _by_alias(names: list[str], layer: Layer, have: tuple[str, ...]) -> dict[str, tuple[str, str, str]]:
    found: dict[str, tuple[str, str, str]] = {}
    for way in suggestions(names, layer, have):
        target, source, unit = as_typed(way, names)
        if source not in found and target not in {one[0] for one in found.values()}:
            both = two_units(layer.columns[target]) if unit else ()
            why = f"; in {' or '.join(both)}? Write which" if both else "; is the unit right?" if unit else ""
            # nothing tells which of two units it is: a proposal that names one would be taken for an answer
            found[source] = (target, "" if both else unit, f"people call it so{why}")
    return found


def _by_cut_name(names: list[str], layer: Layer, have: set[str]) -> dict[str, tuple[str, str, str]]:
    """Return proposals for names that a shapefile cut to ten letters, where one name of ours begins like it."""
    found: dict[str, tuple[str, str, str]] = {}
    for name in names:
        fits = [one for one in begins_like(name, layer) if one not in have] if len(name) == CUT_LETTERS_N else []
        if len(fits) == 1 and fits[0] not in {one[0] for one in found.values()}:
            both = two_units(layer.columns[fits[0]])
            why = f"a name cut to {CUT_LETTERS_N} letters that begins like it"
            found[name] = (fits[0], "", f"{why}; in {' or '.join(both)}? Write which" if both else why)
    return found


def _dressed(series: pd.Series[Any], proposal: tuple[str, str, str], layer: Layer) -> tuple[str, str, str]:
    """Return a proposal without a unit where every value carries its own."""
    target, unit, why = proposal
    bare, dressed = carries_units(series, layer.columns[target]) if layer.columns[target].unit else ([], [])
    return (
        (target, "", "people call it so; its values carry their unit") if dressed and not bare else (target, unit, why)
    )


def _by_content(series: pd.Series[Any], values: list[str], layer: Layer, have: set[str]) -> tuple[str, str, str]:
    tried = list(dict.fromkeys(values))[:_TRIED]
    if not tried:
        return "", "", "empty"
    for column in layer.columns.values():
        if column.name in have:
            continue
        why = next((words for test, words in _TESTS if test(column, tried, series)), "")
        if why:
            return column.name, "", why
    return "", "", "carried as it is"


def _speak(tried: list[str], said: Sequence[bool]) -> bool:
    return len(tried) > 0 and sum(said) >= _MOST * len(tried)


def _is_vocabulary(column: Column, tried: list[str], series: pd.Series[Any]) -> bool:
    del series
    known = known_words(column.name)
    words = {*column.values, *known}
    return bool(words) and column.kind == "text" and _speak(tried, [one.lower() in words for one in tried])


def _is_date(column: Column, tried: list[str], series: pd.Series[Any]) -> bool:
    del series
    return column.kind == "date" and _speak(tried, [dates.read_date(one, order="dmy") is not None for one in tried])


def _is_year(column: Column, tried: list[str], series: pd.Series[Any]) -> bool:
    del series
    return column.name == "year" and len(tried) > 1 and _speak(tried, [read_year(one) is not None for one in tried])


def _is_bearing(column: Column, tried: list[str], series: pd.Series[Any]) -> bool:
    del series
    return column.name in ("facing_deg",) and _speak(tried, [bearing_of(one) is not None for one in tried])


def _is_dressed(column: Column, tried: list[str], series: pd.Series[Any]) -> bool:
    """Whether the values carry a unit that only this column of the layer has (a throw among heads)."""
    if column.name not in ("throw_m", "flow_l_min", "pressure_kpa"):
        return False
    bare, dressed = carries_units(series, column)
    return not bare and len(dressed) > 0 and all(numbers.split(one) for one in tried[:1])


_TESTS = (
    (_is_vocabulary, "its words are those of this column"),
    (_is_date, "its values are days"),
    (_is_year, "its values are years"),
    (_is_bearing, "its values are points of the compass"),
    (_is_dressed, "its values carry such a unit"),
)


def mapping_rows(rows: Sequence[Suggestion], raw: Raw, layer: Layer, words: Mapping[str, Any]) -> Iterator[Row]:
    """Give the lines of a mapping file: what is taken, what is proposed (with a question mark), words to map."""
    for row in rows:
        if row.becomes in layer.columns:
            yield ("column" if row.taken else "column?", row.becomes, row.in_file, row.unit)
        elif row.taken and row.becomes in PLACE:
            yield ("column", row.becomes, row.in_file, "")
    for name, pairs in words.items():
        for written, becomes in pairs.items():
            yield ("value", name, written, becomes)
    for row in rows:
        column = layer.columns.get(row.becomes)
        if column is not None and column.kind == "text":
            yield from _words_to_map(column, raw.frame[row.in_file], words.get(row.becomes, {}))


def _words_to_map(column: Column, series: pd.Series[Any], mapped: Mapping[str, str]) -> Iterator[Row]:
    """Give a line for each word that no vocabulary of the column holds, with the one that looks most alike."""
    known = known_words(column.name) | {*column.values}
    done = known | {one.casefold() for one in mapped} | {one.lower() for one in known}
    for word in dict.fromkeys(series.dropna().astype("str").str.strip()) if known else ():
        if word and word.casefold() not in done and not is_missing(word, "text"):
            near = difflib.get_close_matches(word.lower(), sorted(known), n=1, cutoff=_ALIKE)
            yield ("value?", column.name, word, near[0] if near else "")
