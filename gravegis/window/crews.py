"""The day of each crew as strips: when it walks, works and is done. Knows no Qt."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from gravegis.outputs import words
from gravegis.window.clock import civil_min

if TYPE_CHECKING:
    from gravegis.site import Site

__all__ = ["CrewStrip", "Piece", "days", "strips"]


@dataclass(frozen=True, slots=True)
class Piece:
    """One stop of a crew: the stone, and when it is there."""

    stone_id: str
    from_min: float
    to_min: float


@dataclass(frozen=True, slots=True)
class CrewStrip:
    """One crew on one day, in the order of its stops."""

    crew_id: str
    name: str
    pieces: tuple[Piece, ...]


def days(site: Site) -> tuple[str, ...]:
    """Return the days of the plan in order; one empty text where the plan has no date."""
    if not site.has("stops"):
        return ()
    return tuple(sorted({str(one["day"] or "") for one in words.records(site, "stops")}))


def strips(site: Site, day: str) -> tuple[CrewStrip, ...]:
    """Return the strip of every crew on a day of the plan."""
    of: dict[str, list[Piece]] = {}
    for stop in sorted(words.records(site, "stops"), key=lambda one: one["seq"]):
        arrive, leave = civil_min(stop["arrive_at"]), civil_min(stop["leave_at"])
        if str(stop["day"] or "") == day and arrive is not None and leave is not None:
            of.setdefault(str(stop["crew_id"]), []).append(Piece(str(stop["stone_id"]), arrive, leave))
    return tuple(CrewStrip(crew, words.crew_name(crew), tuple(of[crew])) for crew in sorted(of, key=words.in_order))
