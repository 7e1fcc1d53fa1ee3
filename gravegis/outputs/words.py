"""Codes, figures and positions put into plain words for paper and tables.

Figures carry no more digits than their inputs allow, and where something is not known nothing is said.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import math
import re
import unicodedata
from typing import TYPE_CHECKING, Any

from gravegis.errors import PluginError
from gravegis.outputs.told import told
from gravegis.science.condition.reasons import in_words, reason, templates
from gravegis.science.condition.scores import find_term, patterns

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from gravegis.site import Site

__all__ = [
    "assumed", "bearing_deg", "by_positions", "changed_settings", "clock", "counted", "crew_name", "day", "in_order",
    "listed", "looks", "made", "metres", "minutes", "number", "one_line", "ordinal", "phrase", "place", "plan_hash",
    "printable", "reason_values", "reasons", "records", "runs", "sentence", "site_assumed", "staying",
    "told", "towards", "turn", "unplanned_because", "unprinted", "why_unplanned",
]  # fmt: skip

_WINDS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")
_MONTHS = ("January", "February", "March", "April", "May", "June", "July", "August", "September", "October",
           "November", "December")  # fmt: skip
_WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
# Direction marks, overrides and isolates of Unicode, the byte-order mark, and the two signs XML does not allow.
_HIDDEN = frozenset("\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\ufeff\ufffe\uffff")
_VARIANTS = frozenset(map(chr, range(0xFE00, 0xFE10)))  # they only say how the sign before them looks
_BY_NUMBER = re.compile(r"\[U\+[0-9A-F]{4,6}\]")
UNPRINTED = "Some signs cannot be printed: they stand as [U+number]"
_EVERY_N = re.compile(r"^(\d{1,3})\s*d(?:\s+from\s+(\d{4}-\d{2}-\d{2}))?$")
# Standard error up to which a distance is given to a decimetre, and to a centimetre: own choice.
_DECIMETRE_UP_TO_M = 0.2
_CENTIMETRE_UP_TO_M = 0.01
# With a larger error a distance is given in the finest of these that the error carries, as analysis `wetting` does.
_STEPS_M = (1.0, 2.0, 5.0, 10.0)


def records(site: Site, layer: str) -> list[dict[str, Any]]:
    """Return the rows of a layer with every column of the schema, None where nothing is known; [] without it."""
    from gravegis.layers import schema

    if layer not in site:
        return []
    frame = site[layer]
    known = dict.fromkeys(schema.layer(layer).columns)
    columns = {
        str(name): [None if gone else value for value, gone in zip(one.tolist(), one.isna(), strict=True)]
        for name, one in frame.items()
    }
    return [{**known, **{name: values[k] for name, values in columns.items()}} for k in range(len(frame))]


def reason_values(text: str | None) -> list[dict[str, Any]]:
    """Return the reasons of a JSON column; what cannot be read as reasons is left out."""
    try:
        read = json.loads(text or "[]")
    except ValueError:
        return []
    kept = [one for one in read if isinstance(one, dict) and "code" in one] if isinstance(read, list) else []
    return [{"code": str(one["code"]), "values": dict(one.get("values") or {})} for one in kept]


def reasons(text: str | None) -> tuple[str, ...]:
    """Return the reasons of a JSON column, one sentence each, in metric units."""
    return tuple(_sentence(one) for one in reason_values(text))


def _sentence(one: dict[str, Any]) -> str:
    try:
        return in_words(reason(one["code"], **one["values"]))
    except (KeyError, IndexError, ValueError):
        # a reason of another version with other values: say what is there rather than nothing
        return " ".join([one["code"], *(f"{name}={value}" for name, value in one["values"].items())])


def staying(text: str | None) -> tuple[str, ...]:
    """Return in a volunteer's words the harms that will not come off today, from the reasons of the worklist."""
    found = [str(one["values"].get("pattern", "")) for one in reason_values(text) if one["code"] == "stays"]
    return tuple(dict.fromkeys(phrase(pattern) for pattern in found if pattern))


def why_unplanned(code: str | None, detail: str | None) -> str:
    """Return why a stone is not in the plan: the detail, else the words of its code."""
    return detail or unplanned_because(code)


def unplanned_because(code: str | None) -> str:
    """Return in words why a stone is not in the plan, such as ``no time left``; never the code itself."""
    from gravegis.analyses.routes import IN_WORDS

    known = templates().get(code or "", "")
    words = IN_WORDS.get(code or "") or (known if "{" not in known else "")
    return words or (code or "no reason was recorded").replace("_", " ").lower()


def phrase(pattern: str) -> str:
    """Return a pattern of harm in a volunteer's words, such as ``orange stain``; unknown words as typed."""
    return patterns().look_up(find_term(pattern), "phrase") or pattern


def number(value: float | None, digits: int = 0) -> str:
    """Return a figure, empty where it is not known; no closing zeros."""
    if value is None or not math.isfinite(value):
        return ""
    text = f"{value:.{digits}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text in ("-0", "") else text


def metres(value_m: float | None, error_m: float | None = None) -> str:
    """Return a distance with the digits its error allows: whole metres, with ``about``, where no error is known.

    `error_m` is the standard error of the distance; a large one gives steps of 2, 5 or 10 m. [m]
    """
    if value_m is None or not math.isfinite(value_m):
        return ""
    if error_m is None or not error_m <= _DECIMETRE_UP_TO_M:
        step_m = next((step for step in _STEPS_M if step >= (error_m or 0.0)), _STEPS_M[-1])
        steps = round(value_m / step_m)
        return f"about {steps * step_m:.0f} m" if steps else f"less than {step_m:.0f} m"
    return f"{value_m:.{2 if error_m <= _CENTIMETRE_UP_TO_M else 1}f} m"


def by_positions(site: Site, near_m: float) -> str:
    """Return the caution for counts of stones within a distance of a head; empty where positions carry them.

    Said where the usual error is more than half the distance, as in the answers of analysis ``wetting``.
    """
    from gravegis.outputs.positions import typical_error_m

    error_m = typical_error_m(site)
    return "" if error_m is None or error_m <= near_m / 2 else f"by positions good to about {error_m:.1g} m"


def counted(count: int, thing: str) -> str:
    """Return a count with its thing: ``1 stone``, ``2 stones``, ``no stones``."""
    return f"1 {thing}" if count == 1 else f"{count or 'no'} {thing}s"


def crew_name(crew_id: str) -> str:
    """Return what a crew is called in running text; a name that says crew already is not doubled."""
    return _named("crew", crew_id)


def in_order(name: object) -> list[tuple[int, int, str]]:
    """Return a key that sorts names as people do: 1, 2, 10, and B2 before B10."""
    pieces = re.split(r"(\d+)", str(name).casefold())
    numbered = [(0, int(one), "") if one.isdecimal() else (1, 0, one) for one in pieces if one]
    return [*numbered, (-1, 0, str(name))]


def minutes(value_min: float | None) -> str:
    """Return minutes as hours and minutes, whole minutes only."""
    if value_min is None or not math.isfinite(value_min):
        return ""
    hours, rest = divmod(round(value_min), 60)
    return f"{hours} h {rest:02d} min" if hours else f"{rest} min"


def clock(civil: str | None) -> str:
    """Return a civil time as HH:MM; empty where it is not known."""
    return (civil or "")[:5]


def day(text: str) -> str:
    """Return a date as ``Wednesday 2 December 2026``; other words, such as ``day 1``, as they are."""
    try:
        date = dt.date.fromisoformat(text)
    except ValueError:
        return text
    return f"{_WEEKDAYS[date.weekday()]} {_date(date)}"


def _date(date: dt.date) -> str:
    return f"{date.day} {_MONTHS[date.month - 1]} {date.year}"


def ordinal(count: int) -> str:
    """Return 1st, 2nd, 3rd, 4th and so on."""
    ending = "th" if count % 100 in (11, 12, 13) else {1: "st", 2: "nd", 3: "rd"}.get(count % 10, "th")
    return f"{count}{ending}"


def bearing_deg(dx_m: float, dy_m: float) -> float:
    """Return the bearing of a step on the grid, clockwise from grid north, 0 up to 360. [deg]"""
    return math.degrees(math.atan2(dx_m, dy_m)) % 360


def towards(bearing: float) -> str:
    """Return the nearest of eight directions, such as ``north-east``."""
    return _WINDS[round(bearing / 45) % 8]


def turn(from_deg: float | None, sweep_deg: float | None) -> str:
    """Return how far a head turns, in directions with the degrees behind."""
    if from_deg is None or sweep_deg is None or sweep_deg >= 360:
        return ""
    start, end = from_deg % 360, (from_deg + sweep_deg) % 360
    return (
        f"turns {number(sweep_deg)}°, from {towards(start)} ({number(start)}°) "
        f"clockwise to {towards(end)} ({number(end)}°)"
    )


def place(stone: Mapping[str, Any]) -> str:
    """Return where a stone stands, such as ``4th from the path in row 3, section A``; empty where not recorded."""
    row, section = _named("row", stone.get("row")), _named("section", stone.get("section"))
    count = stone.get("place_in_row")
    in_row = f"{ordinal(int(count))} from the path in {row}" if row and count is not None else row
    return ", ".join(part for part in (in_row, section) if part)


def _named(kind: str, name: object) -> str:
    if name is None:
        return ""
    return str(name) if str(name).casefold().startswith(kind) else f"{kind} {name}"


def looks(stone: Mapping[str, Any], *, short: bool = False) -> str:
    """Return what a stone looks like: material and form, unless `short` also its finish, size, facing and year."""
    parts = [str(stone[name]) for name in ("material", "form") if stone.get(name)]
    if stone.get("material") and not stone.get("form"):
        parts.append("stone")
    kind = " ".join(parts)
    if short:
        return kind
    sizes = [
        f"{number(stone[name], 1)} m {words}"
        for name, words in (("height_m", "high"), ("width_m", "wide"))
        if number(stone.get(name), 1) not in ("", "0")
    ]
    facing, year = stone.get("facing_deg"), stone.get("year")
    said = [
        " ".join(filter(None, [str(stone.get("finish") or ""), kind])),
        f"about {' and '.join(sizes)}" if sizes else "",
        f"faces {towards(facing)}" if facing is not None else "",
        f"dated {year}" if year is not None else "",
    ]
    return ", ".join(filter(None, said))


def one_line(text: object) -> str:
    """Return typed text on one line, without control signs and signs that turn the direction of writing."""
    line = " ".join(unicodedata.normalize("NFC", str(text)).split())
    kept = (sign for sign in line if unicodedata.category(sign) not in ("Cc", "Cs") and sign not in _HIDDEN)
    return " ".join("".join(kept).split())


def printable(text: str, glyphs: frozenset[int]) -> str:
    """Return text in which each sign the font does not have is shown by its number, as ``[U+58B3]``.

    A number keeps two names apart where two boxes would look the same.
    """
    kept = (sign for sign in text if sign not in _VARIANTS and unicodedata.category(sign) != "Cf")
    return "".join(sign if ord(sign) in glyphs else f"[U+{ord(sign):04X}]" for sign in kept)


def unprinted(texts: Iterable[str]) -> str:
    """Return the words that explain signs shown by their number; empty where no text of a page has one."""
    return UNPRINTED if any(_BY_NUMBER.search(text) for text in texts) else ""


def sentence(text: str) -> str:
    """Return text with a capital first."""
    return text[:1].upper() + text[1:]


def made(made_on: str, text: str) -> str:
    """Return the foot of a page: the day it was made, where it is known, and a text."""
    return f"Made on {made_on}. {text}" if made_on else text


def listed(items: Iterable[str], most: int, rest: str = "more") -> str:
    """Return items with commas, at most so many, then how many are left out and where they are."""
    kept = list(items)
    left = len(kept) - most
    shown = ", ".join(kept[:most])
    return f"{shown} and {left} {rest}" if left > 0 else shown


def runs(line: Mapping[str, Any]) -> str:
    """Return one line of a controller's programme in words; what cannot be read is given as typed."""
    name = (
        "By hand" if line.get("kind") == "ad hoc" else f"Program {line['program']}" if line.get("program") else "Runs"
    )
    start, run, cycles = clock(line.get("start_at")), number(line.get("run_min"), 1), line.get("cycles_n") or 1
    length = f"{run} min" if run else "minutes not known"
    if cycles > 1:
        rest = number(line.get("soak_min"), 1)
        length = f"{cycles} times {length}" + (f" with {rest} min rest between" if rest else "")
    said = [f"from {start}" if start else "start not known", length, _every(line.get("every")), _season(line)]
    return f"{name}: {', '.join(filter(None, said))}{_adjusted(line.get('adjust_pct'))}."


def _every(text: str | None) -> str:
    if not text:
        return "days not known"
    found = _EVERY_N.match(text.strip())
    if found:
        start = f", counted from {_season_day(found.group(2))}" if found.group(2) else ""
        return f"every {ordinal(int(found.group(1)))} day{start}" if found.group(1) != "1" else f"every day{start}"
    plain = {"daily": "every day", "odd": "on odd dates", "even": "on even dates"}.get(text.strip().lower())
    by_letters = {one[:3].lower(): one for one in _WEEKDAYS}
    days = [by_letters.get(piece.strip().lower()[:3]) for piece in text.split(",")]
    known = [one for one in days if one]
    return plain or (f"on {', '.join(known)}" if len(known) == len(days) else f"days as typed: {text}")


def _season(line: Mapping[str, Any]) -> str:
    first, last = _season_day(line.get("from_on")), _season_day(line.get("to_on"))
    return " ".join(filter(None, [f"from {first}" if first else "", f"to {last}" if last else ""]))


def _season_day(text: str | None) -> str:
    pieces = (text or "").split("-")
    if len(pieces) not in (2, 3) or not all(piece.isdigit() for piece in pieces):
        return text or ""
    month, date = int(pieces[-2]), int(pieces[-1])
    if not 1 <= month <= len(_MONTHS):
        return text or ""
    year = f" {pieces[0]}" if len(pieces) == 3 else ""
    return f"{date} {_MONTHS[month - 1]}{year}"


def _adjusted(text: str | None) -> str:
    figures = [piece.strip() for piece in (text or "").replace(";", ",").split(",") if piece.strip()]
    if not figures or set(figures) == {"100"}:
        return ""
    return f", adjusted to {figures[0]} %" if len(figures) == 1 else ", adjusted month by month"


def plan_hash(site: Site) -> str:
    """Return eight signs that name this day plan: sheets, tracks and answers of one plan carry the same."""
    from gravegis.layers.canonical import content_hash

    digest = hashlib.sha256()
    for layer in ("stops", "crew_days", "unplanned"):
        if layer in site:
            digest.update(f"{layer} {content_hash(site[layer])}".encode())
    return digest.hexdigest()[:8]


def assumed(site: Site, names: Sequence[str] = ()) -> tuple[str, ...]:
    """Return in people's words what was assumed, once each: of the analyses named or of all, then of the site.

    Every Assumed box is filled from here.
    """
    of = {record.analysis: record for record in site.log}
    kept = [of[name] for name in (names or tuple(of)) if name in of]
    lines = told(line for record in kept for line in record.assumed)
    return tuple(dict.fromkeys((*lines, *site_assumed(site))))


def site_assumed(site: Site) -> tuple[str, ...]:
    """Return in people's words what was assumed when layers were brought in."""
    basis = (
        (f"Coordinates lie in {site.info.crs} ({site.info.crs_basis}).",)
        if site.info.crs_basis not in ("", "typed")
        else ()
    )
    return (*told(getattr(site.info, "assumed", ())), *basis)


def changed_settings(site: Site, names: Sequence[str] = ()) -> tuple[str, ...]:
    """Return every setting that is not the default, such as ``wetting.near_m = 3 (usual: 2)``."""
    from gravegis import registry

    said: list[str] = []
    for record in site.log:
        if names and record.analysis not in names:
            continue
        try:
            kinds = registry.load(record.analysis).kinds()
        except PluginError:
            continue
        said += [
            f"{record.analysis}.{name} = {value} (usual: {kinds[name][0] or 'nothing'})"
            for name, value in record.settings.items()
            if name in kinds and value != kinds[name][0]
        ]
    return tuple(said)
