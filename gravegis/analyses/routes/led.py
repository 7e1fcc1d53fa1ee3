"""Crews with a leader: which rules hold for them on this site, and what is said of their morning."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gravegis.analyses.routes.settings import AS_OTHERS, ONE_BLOCK
from gravegis.layers.canonical import column
from gravegis.layers.stones import numbers
from gravegis.science.routing.led import mixing, who_goes
from gravegis.science.routing.model import LedRules

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from gravegis.analyses.routes.places import Places
    from gravegis.analyses.routes.rows import Planned
    from gravegis.analyses.routes.settings import RouteSettings
    from gravegis.contract import Assumption
    from gravegis.layers.canonical import Frame
    from gravegis.science.routing.model import Crew, CrewDay, Post, Stop
    from gravegis.site import Site


def _one_block(site: Site, places: Places, settings: RouteSettings) -> LedRules:
    screens: tuple[object, ...] = ()
    if site.has("barriers"):
        barriers = site["barriers"]
        # one whose height nobody named hides what is behind it
        high = ~(numbers(barriers, "barriers", "height_m") <= settings.look_over_m)
        screens = tuple(np.asarray(barriers.geometry)[high])
    return LedRules(settings.sight_m, settings.novice_ratio, places.xy_m, screens, settings.spares_n)  # type: ignore[arg-type]


def _as_others(site: Site, places: Places, settings: RouteSettings) -> None:
    del site, places, settings


MODES: dict[str, Callable[[Site, Places, RouteSettings], LedRules | None]] = {
    ONE_BLOCK: _one_block, AS_OTHERS: _as_others,
}  # fmt: skip
"""What holds for crews with a leader, by the setting."""


def led_assumed(site: Site) -> Iterator[Assumption]:
    """Give what is taken where the list of crews or of barriers does not tell."""
    from gravegis.contract import Assumption

    crews = site["crews"]
    led = column(crews, "crews", "led_by").notna()
    if led.any():
        for name, words in (("people_n", "a crew is two people"), ("trained_n", "nobody of them is trained")):
            yield Assumption(f"crews.{name}", words, int(column(crews, "crews", name)[led].isna().sum()))
        if site.has("barriers"):
            unsaid = int(column(site["barriers"], "barriers", "height_m").isna().sum())
            yield Assumption("barriers.height_m", "nobody sees over one whose height nobody named", unsaid)


def led_notes(one: Planned, led: LedRules | None, work: Frame) -> Iterator[str]:
    """Give what is said of each leader's crews: the post, who stays, what the figures rest on."""
    if led is None:
        return
    method = dict(zip(work["stone_id"], column(work, "worklist", "method").notna(), strict=True))
    for post in one.plan.posts:
        group = [crew for crew in one.crews if crew.leader == post.leader]
        out = who_goes(group, led.novices_n)
        days = {day.crew_id: day for day in one.plan.days}
        lie = f"all stones of the crews led lie within {led.sight_m:g} m"
        yield f"{sentence(post.leader)} stands beside stone {post.stop_id}: {lie}."
        yield from _counted([days[crew.crew_id] for crew in out], out, one.stops, method)
        for have, none in mixing(out):
            yield f"Mix before the start: one trained person of crew {have} changes places with a novice of {none}."
    yield from _stay(one, led)


def sentence(leader: str) -> str:
    """Return the leader as the beginning of a sentence."""
    return leader[:1].upper() + leader[1:]


def _counted(
    days: Sequence[CrewDay], out: Sequence[Crew], stops: Sequence[Stop], cleaned: dict[str, bool]
) -> Iterator[str]:
    """Say how many stones are only looked at: that decides how many a morning holds."""
    visited = {visit.stop_id for day in days for visit in day.visits}
    cleaned_n = sum(1 for name in visited if cleaned.get(name))
    told = f"{len(visited)} stones: {cleaned_n} cleaned, {len(visited) - cleaned_n} looked at and recorded"
    all_s = [stop.service_s for stop in stops if cleaned.get(stop.stop_id)]
    room_min = sum(crew.shift_to_s - crew.shift_from_s for crew in out) / 60
    if all_s and out:
        each_min = sum(all_s) / len(all_s) / 60 * sum(crew.work_factor for crew in out) / len(out)
        told += (
            f". A stone to clean takes these crews {each_min:.0f} min on average: with cleaning alone their "
            f"{room_min:.0f} min would hold about {room_min / each_min:.0f}; looks of a few minutes make the difference"
        )
    yield f"{told}."


def _stay(one: Planned, led: LedRules) -> Iterator[str]:
    for leader in sorted({crew.leader for crew in one.crews if crew.leader}):
        group = [crew for crew in one.crews if crew.leader == leader]
        out = {crew.crew_id for crew in who_goes(group, led.novices_n)}
        home = [crew.crew_id for crew in group if crew.crew_id not in out]
        if home:
            yield (
                f"Crew {', '.join(home)} of {leader} stays at the base: more than {led.novices_n:g} untrained people "
                "for one trained."
            )


def post_of(one: Planned, crew_id: str) -> tuple[Post, Crew] | None:
    """Return where the leader of a crew stands, and the crew; None for a crew by itself."""
    crew = next(crew for crew in one.crews if crew.crew_id == crew_id)
    post = next((post for post in one.plan.posts if post.leader == crew.leader), None)
    return None if post is None else (post, crew)
