"""The evidence card: what is known of one thing, whether measured, worked out or missing, and where it stands."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from gravegis.layers import schema
from gravegis.layers.naming import column_in_words
from gravegis.outputs import words

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence

    from gravegis.site import Site
    from gravegis.store.journal import Journal
    from gravegis.window.reading import Reader

    _Maker = Callable[[Site, str, str, Mapping[str, Any], Reader], Iterator["Fact"]]

__all__ = ["FLAGGED", "Card", "Fact", "card_of", "flagged", "on_map", "row_of", "struck"]

MEASURED, WORKED_OUT, MISSING = "measured", "worked out", "missing"
NEAR_HEADS = 6
"""Heads named on the card of a stone; own choice."""


@dataclass(frozen=True, slots=True)
class Fact:
    """One line: how it is known, what it says, and the layer and row it comes from."""

    basis: str
    name: str
    value: str
    layer: str
    row: str


@dataclass(frozen=True, slots=True)
class Card:
    """Card of one thing: its facts, its photos (files), and what was done to its row since the last save."""

    layer: str
    id: str
    facts: tuple[Fact, ...]
    photos: tuple[str, ...] = ()
    history: tuple[str, ...] = ()


def row_of(site: Site, layer: str, id: str, key: str = "") -> Mapping[str, Any] | None:
    """Return a row as a mapping, None for what is not known; None where there is no such row."""
    if layer not in site:
        return None
    frame = site[layer]
    column = key or schema.layer(layer).key[0]
    found = frame[frame[column] == id]
    if found.empty:
        return None
    return {str(name): None if found[name].isna().iloc[0] else found[name].iloc[0] for name in frame.columns}


def rows_of(site: Site, layer: str, column: str, id: str) -> list[dict[str, Any]]:
    """Return all rows of a layer that name this id in a column."""
    if layer not in site or column not in site[layer].columns:
        return []
    frame = site[layer]
    kept = frame[frame[column] == id]
    return [
        {str(name): None if gone else value for (name, value), gone in zip(row.items(), row.isna(), strict=True)}
        for _, row in kept.iterrows()
    ]


def struck(site: Site) -> tuple[tuple[str, str, float | None], ...]:
    """Return the stones a stream strikes, the nearest nozzle first: stone, head, metres to it.

    Near the nozzle the stream is hardest. A stone only seen to be struck has no head and no distance and comes last.
    """
    if not site.has("stone_wetting", "state"):
        return ()
    wetting = site["stone_wetting"]
    names = wetting.loc[(wetting["state"] == "struck").fillna(value=False).astype(bool), "stone_id"]
    nearest: dict[str, tuple[float, str]] = {}
    if site.has("wetting_links", "struck"):
        links = site["wetting_links"]
        links = links[links["struck"].fillna(value=False).astype(bool)]
        for stone, head, metres in zip(links["stone_id"], links["head_id"], links["distance_m"], strict=True):
            nearest[str(stone)] = min(nearest.get(str(stone), (math.inf, "")), (float(metres), str(head)))
    found = sorted((nearest.get(str(one), (math.inf, "")), str(one)) for one in names)
    return tuple((stone, head, metres if head else None) for (metres, head), stone in found)


def flagged(site: Site) -> tuple[str, ...]:
    """Return the stones to look at, worst first: those a stream strikes, then other reached ones by condition class."""
    if not site.has("stones"):
        return ()
    stones = site["stones"][["stone_id"]]
    if site.has("stone_wetting"):
        wetting = site["stone_wetting"][["stone_id", "reached", "margin_m"]]
        stones = stones.merge(wetting, on="stone_id", how="left")
        stones = stones[stones["reached"].fillna(value=False).astype(bool)]
    if site.has("stone_condition", "overall"):
        stones = stones.merge(site["stone_condition"][["stone_id", "overall"]], on="stone_id", how="left")
        if "reached" not in stones.columns:
            stones = stones[stones["overall"].fillna(0) >= FLAGGED]
    by = [name for name in ("overall", "margin_m") if name in stones.columns]
    if not by:
        return ()
    found: Any = stones
    others = found.sort_values([*by, "stone_id"], ascending=[*[False] * len(by), True])["stone_id"]
    return tuple(dict.fromkeys([*(stone for stone, _, _ in struck(site)), *others]))


FLAGGED = 2
"""Condition class from which a stone is flagged where nothing is known of the spray; own choice."""


def card_of(site: Site, layer: str, id: str, reader: Reader, journal: Journal | None = None) -> Card | None:
    """Return the card of a stone, head, zone, plot or stop (and of any other row); None where there is none."""
    main = row_of(site, layer, id, "stone_id" if layer == "stops" else "")
    if main is None:
        return None
    maker: _Maker = _CARDS.get(layer, _plain)
    facts = tuple(maker(site, layer, id, main, reader))
    photos = tuple(str(one["file"]) for one in rows_of(site, "photos", "stone_id", id) if one.get("file"))
    return Card(layer, id, facts, photos if layer == "stones" else (), tuple(_history(site, layer, id, journal)))


def _history(site: Site, layer: str, id: str, journal: Journal | None) -> Iterator[str]:
    if layer == "stones":
        for one in rows_of(site, "treatments", "stone_id", id):
            yield " ".join(str(one[name]) for name in one if one[name] is not None and name != "geometry")
    for entry in journal.entries if journal is not None and journal.is_ours else ():
        edit = entry.edit
        if edit.layer == layer and edit.id == id:
            columns = getattr(edit, "changes", None) or getattr(edit, "row", {})
            what = ", ".join(_column_words(layer, name) for name in columns)
            yield f"{entry.kind}: {what}"


def _column_words(layer: str, column: str) -> str:
    return "place" if column == "geometry" else column_in_words(layer, column)


def _fact(layer: str, row: Mapping[str, Any], id: str, column: str, reader: Reader, *, worked: bool = False) -> Fact:
    """Return one column of a row as a fact, in the units of the reader."""
    value = row.get(column)
    name = column_in_words(layer, column)
    if value is None:
        return Fact(MISSING, name, "", layer, id)
    return Fact(WORKED_OUT if worked else MEASURED, name, _shown(layer, column, value, reader), layer, id)


def _shown(layer: str, column: str, value: Any, reader: Reader) -> str:  # noqa: ANN401 - whatever a cell holds
    known = schema.layer(layer).columns.get(column)
    if isinstance(value, bool) or str(type(value).__name__) == "bool":
        return "yes" if value else "no"
    if known is not None and known.kind in ("number", "whole"):
        return reader.quantity(float(value), known.unit)
    return str(value)


def _columns(
    site: Site, layer: str, id: str, columns: Sequence[str], reader: Reader, *, key: str = "", worked: bool = False
) -> Iterator[Fact]:
    row = row_of(site, layer, id, key)
    if row is not None:
        for column in columns:
            if not worked or row.get(column) is not None:  # an analysis that says nothing lacks nothing
                yield _fact(layer, row, id, column, reader, worked=worked)


def _stone(site: Site, layer: str, id: str, row: Mapping[str, Any], reader: Reader) -> Iterator[Fact]:
    place = words.place(row)
    if place:
        yield Fact(MEASURED, "place", place, layer, id)
    yield from (_fact(layer, row, id, one, reader) for one in ("material", "form", "height_m", "stability"))
    for one in rows_of(site, "observations", "stone_id", id):
        said = " ".join(str(one[name]) for name in ("seen", "seen_on", "by") if one.get(name))
        yield Fact(MEASURED, "seen on the ground", said, "observations", str(one["observation_id"]))
    for one in rows_of(site, "findings", "stone_id", id):
        severity = one.get("severity")
        grade = "" if severity is None else f", severity {int(severity)} of 3"
        said = f"{words.phrase(str(one.get('pattern') or ''))}{grade}"
        yield Fact(MEASURED, "found", said, "findings", str(one["finding_id"]))
    yield from _stone_wetting(site, id, reader)
    yield from _stone_work(site, id, reader)


def _stone_wetting(site: Site, id: str, reader: Reader) -> Iterator[Fact]:
    yield from _columns(site, "stone_wetting", id, ("state", "reached", "margin_m", "season_h"), reader, worked=True)
    links = rows_of(site, "wetting_links", "stone_id", id)
    for one in sorted(links, key=lambda one: (not one.get("struck"), one["distance_m"]))[:NEAR_HEADS]:
        said = "its stream strikes it, " if one.get("struck") else ""
        said += f"{reader.quantity(one['distance_m'], 'm')} away, reaches {reader.quantity(one['margin_m'], 'm')} past"
        yield Fact(WORKED_OUT, f"head {one['head_id']}", said, "heads", str(one["head_id"]))


def _stone_work(site: Site, id: str, reader: Reader) -> Iterator[Fact]:
    condition = row_of(site, "stone_condition", id)
    if condition is not None:
        yield _fact("stone_condition", condition, id, "overall", reader, worked=True)
        for said in words.reasons(condition.get("reasons")):
            yield Fact(WORKED_OUT, "because", said, "stone_condition", id)
    columns = ("treatment", "who", "work_min", "hold_reason", "due_on")
    yield from _columns(site, "worklist", id, columns, reader, worked=True)
    for one in rows_of(site, "stops", "stone_id", id):
        said = f"{words.crew_name(str(one['crew_id']))}, {words.clock(one['arrive_at'])}"
        yield Fact(WORKED_OUT, "visited by", said, "stops", id)
    for one in rows_of(site, "unplanned", "stone_id", id):
        yield Fact(WORKED_OUT, "not today", words.why_unplanned(one.get("reason"), one.get("detail")), "unplanned", id)


def _head(site: Site, layer: str, id: str, row: Mapping[str, Any], reader: Reader) -> Iterator[Fact]:
    columns = ("kind", "zone_id", "throw_m", "throw_basis", "arc_from_deg", "arc_sweep_deg", "flow_l_min",
               "pressure_kpa", "fault", "position_error_m", "seen_on")  # fmt: skip
    yield from (_fact(layer, row, id, one, reader) for one in columns)
    yield from _columns(site, "throws_computed", id, ("throw_m", "pattern", "basis"), reader, worked=True)
    yield from _columns(
        site, "head_stones", id, ("rank", "near_n", "half_n", "edge_n", "nearest_stone_id"), reader, worked=True
    )
    links = sorted(rows_of(site, "wetting_links", "head_id", id), key=lambda one: one["distance_m"])
    for one in links[:NEAR_HEADS]:
        said = f"{reader.quantity(one['distance_m'], 'm')} away"
        yield Fact(WORKED_OUT, f"wets stone {one['stone_id']}", said, "stones", str(one["stone_id"]))


def _zone(site: Site, layer: str, id: str, row: Mapping[str, Any], reader: Reader) -> Iterator[Fact]:
    yield from (_fact(layer, row, id, one, reader) for one in ("source_id", "valve_limit_l_min", "notes"))
    lines = rows_of(site, "schedules", "zone_id", id)
    for one in lines:
        yield Fact(MEASURED, "runs", words.runs(one), "schedules", str(one["schedule_id"]))
    if not lines:
        yield Fact(MISSING, "runs", "", "schedules", "")
    heads = rows_of(site, "heads", "zone_id", id)
    yield Fact(MEASURED if heads else MISSING, "heads", str(len(heads)) if heads else "", "heads", "")
    reached = {one["stone_id"] for one in rows_of(site, "wetting_links", "zone_id", id)}
    if site.has("wetting_links"):
        yield Fact(WORKED_OUT, "stones it reaches", str(len(reached)), "wetting_links", "")


def _plot(site: Site, layer: str, id: str, row: Mapping[str, Any], reader: Reader) -> Iterator[Fact]:
    yield from (_fact(layer, row, id, one, reader) for one in ("section", "row", "lot"))
    stones = rows_of(site, "stones", "plot_id", id)
    for one in stones[:NEAR_HEADS]:
        yield Fact(MEASURED, "stone", str(one["stone_id"]), "stones", str(one["stone_id"]))
    if not stones:
        yield Fact(MISSING, "stone", "", "stones", "")


def on_map(layer: str) -> str:
    """Return the layer that is marked on the map for a card: a stop stands at its stone."""
    return "stones" if layer == "stops" else layer


def _stop(site: Site, layer: str, id: str, row: Mapping[str, Any], reader: Reader) -> Iterator[Fact]:
    yield Fact(WORKED_OUT, "crew", words.crew_name(str(row["crew_id"])), layer, id)
    yield from (_fact(layer, row, id, one, reader, worked=True) for one in ("day", "seq") if row.get(one) is not None)
    for column in ("arrive_at", "apply_at", "soak_end_at", "scrub_at", "leave_at"):
        if row.get(column) is not None:
            yield Fact(WORKED_OUT, column_in_words(layer, column), words.clock(row[column]), layer, id)
    yield _fact(layer, row, id, "work_min", reader, worked=True)
    yield from _columns(site, "worklist", id, ("treatment", "who", "hold_reason", "due_on"), reader, worked=True)
    yield Fact(MEASURED, "stone", id, "stones", id)


def _plain(site: Site, layer: str, id: str, row: Mapping[str, Any], reader: Reader) -> Iterator[Fact]:
    del site
    worked = schema.layer(layer).role == "result"
    for column in schema.layer(layer).columns:
        if column in row and schema.layer(layer).columns[column].kind != "json":
            yield _fact(layer, row, id, column, reader, worked=worked)


_CARDS: Mapping[str, _Maker] = {"stones": _stone, "heads": _head, "zones": _zone, "plots": _plot, "stops": _stop}
