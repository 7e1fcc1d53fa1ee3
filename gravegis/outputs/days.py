"""What each crew does on each day, gathered from the plan and the layers it names."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from gravegis.outputs import words

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from pathlib import Path

    from gravegis.site import Site

__all__ = [
    "MIDDLE", "XY", "CrewDay", "StopLine", "assumed_base", "crew_days", "crew_file", "crew_files",
    "file_stem", "point_of",
    "staying",
]  # fmt: skip

MIDDLE = "assumed: middle of the stones, no base is known"
"""What is said of the place crews start from where no base is known."""

XY = tuple[float, float]


@dataclass(frozen=True, slots=True)
class StopLine:
    """One stop: rows of the layers about it as mappings, its place on the grid, its neighbours in words.

    `from_before` says how it lies from the stop before it (or the base); empty where a place is not known. A spare
    stone comes after the stop line: it has no times, and its `seq` counts from 1 again.
    """

    seq: int
    stone_id: str
    stop: Mapping[str, Any]
    stone: Mapping[str, Any]
    work: Mapping[str, Any]
    at: XY | None
    neighbours: str
    from_before: str
    spare: bool = False

    @property
    def label(self) -> str:
        """Return the number as printed: 7, and +1 for the first spare stone."""
        return f"+{self.seq}" if self.spare else str(self.seq)


@dataclass(frozen=True, slots=True)
class CrewDay:
    """One crew on one day; `legs` are the walked lines in order, empty where they were not worked out."""

    crew_id: str
    day: str
    crew: Mapping[str, Any]
    facts: Mapping[str, Any]
    base: Mapping[str, Any]
    stops: tuple[StopLine, ...]
    legs: tuple[Any, ...]
    spares: tuple[StopLine, ...] = ()
    post_place: str = ""

    @property
    def listed(self) -> tuple[StopLine, ...]:
        """Return the stops, then the spare stones."""
        return (*self.stops, *self.spares)

    @property
    def post(self) -> str:
        """Return where the leader stands, by number or place, never by id; empty for a crew by itself."""
        beside = self.facts.get("post_by")
        if not beside:
            return ""
        own = next((one for one in self.listed if one.stone_id == beside), None)
        return f"beside {'spare ' if own.spare else 'stop '}{own.label}" if own else self.post_place


def point_of(geometry: Any) -> XY | None:  # noqa: ANN401 - any shapely geometry
    """Return one place for a geometry: the point, or the centroid of a footprint; None where there is none."""
    if geometry is None or geometry.is_empty:
        return None
    middle = geometry.centroid
    return float(middle.x), float(middle.y)


def crew_days(site: Site) -> tuple[CrewDay, ...]:
    """Return every crew and day of the plan, by day, then crew; a crew without a stop has its line too.

    As in the plan, a crew whose base is not known starts at the first one, and without any in the middle of the stones.
    """
    stones = {row["stone_id"]: row for row in words.records(site, "stones")}
    work = {row["stone_id"]: row for row in words.records(site, "worklist")}
    crews = {row["crew_id"]: row for row in words.records(site, "crews")}
    bases = {row["base_id"]: row for row in words.records(site, "bases")}
    facts = _by_day(words.records(site, "crew_days"))
    stops, legs = _by_day(words.records(site, "stops")), _by_day(words.records(site, "legs"))
    over = _by_day(words.records(site, "spares"))
    in_row = {_row_place(row): row for row in stones.values() if _row_place(row)[2] is not None}
    made: list[CrewDay] = []
    middle = assumed_base(site)
    first = next(iter(bases.values()), {} if middle is None else {"geometry": middle, "label": MIDDLE})
    for day, crew_id in sorted(set(facts) | set(stops), key=lambda one: (one[0], words.in_order(one[1]))):
        crew = crews.get(crew_id, {})
        base = bases.get(crew.get("base_id") or "", first)
        every = [*stops.get((day, crew_id), []), *({**row, "spare": True} for row in over.get((day, crew_id), []))]
        lines = _stop_lines(every, stones, work, in_row, start=point_of(base.get("geometry")))
        walked = tuple(row.get("geometry") for row in legs.get((day, crew_id), []) if row.get("geometry") is not None)
        one = facts.get((day, crew_id), [{}])[0]
        beside = words.place(stones.get(one.get("post_by") or "", {}))
        made.append(
            CrewDay(
                crew_id, day, crew, one, base, tuple(line for line in lines if not line.spare), walked,
                tuple(line for line in lines if line.spare), f"beside the {beside}" if beside else "as on the map",
            )
        )  # fmt: skip
    return tuple(made)


def assumed_base(site: Site) -> Any:  # noqa: ANN401 - a shapely point or None
    """Return the point crews start from where no base is known, as analysis ``routes`` takes it; else None."""
    import shapely

    if site.has("bases") or not site.has("stones"):
        return None
    west, south, east, north = site["stones"].total_bounds
    return shapely.Point((west + east) / 2, (south + north) / 2) if west == west else None  # NaN where none has a place


def staying(crew_ids: Sequence[str]) -> str:
    """Return which crews have no stone to go to, as a sentence; empty where there are none."""
    idle = [words.sentence(words.crew_name(crew_id)) for crew_id in crew_ids]
    return f"{words.listed(idle, 8)}: no stones, stay{'s' * (len(idle) == 1)} at the base." if idle else ""


def _by_day(rows: list[dict[str, Any]]) -> dict[tuple[str, str], list[dict[str, Any]]]:
    out: dict[tuple[str, str], list[dict[str, Any]]] = {}
    for row in sorted(rows, key=lambda row: row.get("seq") or 0):
        out.setdefault((row["day"], row["crew_id"]), []).append(row)
    return out


def _stop_lines(
    stops: Sequence[Mapping[str, Any]],
    stones: Mapping[str, Mapping[str, Any]],
    work: Mapping[str, Mapping[str, Any]],
    in_row: Mapping[tuple[Any, Any, Any], Mapping[str, Any]],
    *,
    start: XY | None,
) -> tuple[StopLine, ...]:
    made: list[StopLine] = []
    before, name = start, "the base"
    for stop in stops:
        stone_id, seq = stop["stone_id"], int(stop["seq"])
        stone = stones.get(stone_id, {})
        at = point_of(stone.get("geometry"))
        way = _from(before, at, name)
        neighbours = _neighbours(stone, in_row)
        spare = bool(stop.get("spare"))
        made.append(StopLine(seq, stone_id, stop, stone, work.get(stone_id, {}), at, neighbours, way, spare))
        before, name = at or before, f"{'spare' if spare else 'stop'} {seq}" if at else name
    return tuple(made)


def _row_place(stone: Mapping[str, Any]) -> tuple[Any, Any, Any]:
    place = stone.get("place_in_row") if stone.get("row") is not None else None
    return stone.get("section"), stone.get("row"), place


def _neighbours(stone: Mapping[str, Any], in_row: Mapping[tuple[Any, Any, Any], Mapping[str, Any]]) -> str:
    """Return what stands on either side in the row; never by its id, so that ids on a sheet are those to work on."""
    section, row, place = _row_place(stone)
    if place is None:
        return ""
    kinds = [words.looks(in_row.get((section, row, place + step), {}), short=True) for step in (-1, 1)]
    before, after = (f"{'an' if kind[0].lower() in 'aeiou' else 'a'} {kind}" if kind else "" for kind in kinds)
    if before and after:
        return f"between {before} (nearer the path) and {after}"
    return f"next to {before} (nearer the path)" if before else f"next to {after} (farther from the path)" * bool(after)


def _from(before: XY | None, at: XY | None, name: str) -> str:
    if before is None or at is None:
        return ""
    dx, dy = at[0] - before[0], at[1] - before[1]
    length = (dx * dx + dy * dy) ** 0.5
    return f"{words.metres(length)} {words.towards(words.bearing_deg(dx, dy))} of {name}, as the crow flies"


def crew_file(day: CrewDay, *, taken: Sequence[str] = ()) -> str:
    """Return the name of a file of a crew's day, without ending; a crew called ``Crew 1`` is not doubled."""
    name = re.sub(r"^crew[\s_.-]*", "", day.crew_id, flags=re.IGNORECASE) or day.crew_id
    return file_stem("crew", name, day.day, taken=taken)


def crew_files(days: Iterable[CrewDay], folder: Path, ending: str) -> list[tuple[CrewDay, Path]]:
    """Return each day that has stops with the file it goes into; no two files are called alike."""
    made: list[tuple[CrewDay, Path]] = []
    for day in (one for one in days if one.stops):
        name = crew_file(day, taken=[file.stem for _, file in made])
        made.append((day, folder / f"{name}{ending}"))
    return made


def file_stem(*parts: str, taken: Sequence[str] = ()) -> str:
    """Return a file name without ending that every system takes, other than those taken already."""
    stem = "_".join(re.sub(r"[^A-Za-z0-9.-]+", "-", part).strip("-.")[:40] or "x" for part in parts)
    lower, count, made = {one.lower() for one in taken}, 2, stem
    while made.lower() in lower:
        made, count = f"{stem}_{count}", count + 1
    return made
