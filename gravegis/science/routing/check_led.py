"""Whether crews with a leader stay within sight and are mixed well; written apart from the search, on the raw data."""

from __future__ import annotations

import math
from collections import Counter
from typing import TYPE_CHECKING

import shapely

from gravegis.science.routing.check_crew import TOLERANCE_M, Violation
from gravegis.science.routing.model import Reason

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from gravegis.science.routing.model import Crew, DayPlan, LedRules, Stop

__all__ = ["led_reasons", "led_rules", "may_go"]


def led_rules(
    plan: DayPlan, by_stop: Mapping[str, Stop], crews: Sequence[Crew], led: LedRules
) -> Iterator[Violation]:  # fmt: skip
    """Give every rule that crews with a leader break: one post each, all work in sight of it, trained people enough."""
    count = Counter(post.leader for post in plan.posts)
    for leader, out in _out(plan, crews).items():
        if count[leader] != 1:
            yield Violation("post", leader, f"has {count[leader]} posts instead of one")
        if (short := _novices_over(out, led)) > 0:
            yield Violation("too few trained", leader, f"{short:g} novices more than the trained may look after")
        for day in plan.days:
            if day.crew_id in {crew.crew_id for crew in out}:
                for visit in day.visits:
                    stop = by_stop.get(visit.stop_id)
                    if stop is not None and count[leader] == 1 and not _seen(plan, stop, leader, led):
                        yield Violation("out of sight", visit.stop_id, f"not seen from the post of {leader}")


def may_go(plan: DayPlan, stop: Stop, crews: Sequence[Crew], led: LedRules) -> list[Crew]:
    """Return the crews that may be sent to a stop: those by themselves, and those whose leader sees it."""
    return [crew for crew in crews if not crew.leader or _seen(plan, stop, crew.leader, led)]


def led_reasons(plan: DayPlan, stop: Stop, crews: Sequence[Crew], led: LedRules) -> set[Reason]:
    """Return the reasons for leaving a stop out that come from leaders."""
    reasons, out = set[Reason](), _out(plan, crews)
    for leader in {crew.leader for crew in crews if crew.leader}:
        group, home = out.get(leader, []), [crew for crew in crews if crew.leader == leader]
        home = [crew for crew in home if crew not in group]
        if any(post.leader == leader for post in plan.posts) and not _seen(plan, stop, leader, led):
            reasons.add(Reason.OUT_OF_SIGHT)
        if any(_novices_over([*group, crew], led) > 0 for crew in home):
            reasons.add(Reason.TOO_FEW_TRAINED)
    return reasons


def _out(plan: DayPlan, crews: Sequence[Crew]) -> dict[str, list[Crew]]:
    """Return by leader the crews that go to a stone."""
    away = {day.crew_id for day in plan.days if day.ops}
    found: dict[str, list[Crew]] = {}
    for crew in crews:
        if crew.leader and crew.crew_id in away:
            found.setdefault(crew.leader, []).append(crew)
    return found


def _novices_over(out: Sequence[Crew], led: LedRules) -> float:
    trained = sum(crew.trained_n for crew in out)
    novices = sum(crew.people_n for crew in out) - trained
    return novices - led.novices_n * (trained + 1)


def _seen(plan: DayPlan, stop: Stop, leader: str, led: LedRules) -> bool:
    """Return whether a stop lies near the post with nothing between that hides it."""
    post = next((one for one in plan.posts if one.leader == leader), None)
    if post is None:
        return False
    a, b = led.xy_m[post.place], led.xy_m[stop.place]
    if math.dist(a, b) > led.sight_m + TOLERANCE_M:
        return False
    view = shapely.LineString([a, b])
    return not any(shapely.intersects(screen, view) for screen in led.screens)
