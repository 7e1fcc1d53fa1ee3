"""One leader, many pairs: all of them in one block within sight of the leader's post, each with a list by priority.

A pair that stays at home takes only its own list with it: the lists of the others hold as they are.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from gravegis.science.routing.block import choose_post, lists_by_class, sees, spares_of
from gravegis.science.routing.check import check_plan
from gravegis.science.routing.daytable import Rules, finish_plan, table_of
from gravegis.science.routing.model import BrokenPlanError, CrewDay, DayPlan, Provenance, Reason, Unplanned
from gravegis.science.routing.precheck import hopeless, validate
from gravegis.science.routing.solve import plan_day

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from gravegis.science.routing.daytable import DayTable
    from gravegis.science.routing.model import Crew, LedRules, Post, Spares, Stop
    from gravegis.science.routing.walking import WalkMatrix

__all__ = ["mixing", "plan_with_leaders", "who_goes"]

MADE = Provenance("lists by priority", "", 0, 0, "no search")
DOABLE = frozenset({Reason.NO_TIME_LEFT, Reason.NO_REFILL, Reason.NO_CLEANER_LEFT})


@dataclass(slots=True)
class _Made:
    """What is planned so far, and why a stop was left out by each part of the plan."""

    days: list[CrewDay] = field(default_factory=list)
    posts: list[Post] = field(default_factory=list)
    blocks: list[tuple[DayTable, list[list[int]]]] = field(default_factory=list)
    left: list[Unplanned] = field(default_factory=list)
    provenance: Provenance = MADE

    def take(self, plan: DayPlan) -> None:
        self.days.extend(plan.days)
        self.left.extend(plan.unplanned)

    @property
    def done(self) -> set[str]:
        return {visit.stop_id for day in self.days for visit in day.visits}


def plan_with_leaders(
    stops: Sequence[Stop], crews: Sequence[Crew], walk: WalkMatrix, *, led: LedRules, rules: Rules | None = None,
    seed: int, iterations: int, progress: Callable[[float], object] | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> DayPlan:  # fmt: skip
    """Return a checked plan of one day where crews with a leader work in one block within the leader's sight.

    The blocks are chosen first; crews by themselves then take the best of what is left, as `plan_day` does with
    the same arguments.
    Raises what `plan_day` raises.
    """
    rules = rules or Rules()
    validate(stops, crews, walk)
    made, groups = _Made(), _groups(crews)
    for group in groups:
        done = made.done
        _block(made, [stop for stop in stops if stop.stop_id not in done], group, (walk, led, rules))
    free = [crew for crew in crews if not crew.leader]
    if free or not groups:
        done = made.done
        rest = plan_day([stop for stop in stops if stop.stop_id not in done], free, walk, seed=seed,
                        iterations=iterations, rules=rules, progress=progress, cancelled=cancelled)  # fmt: skip
        made.take(rest)
        made.provenance = rest.provenance
    plan = _whole(made, stops, crews, (walk, led, rules))
    if broken := check_plan(plan, stops, crews, walk, rules.refills, led=led):
        raise BrokenPlanError("; ".join(f"{item.rule} ({item.who}): {item.detail}" for item in broken))
    return plan


def _groups(crews: Sequence[Crew]) -> list[list[Crew]]:
    """Return the crews of each leader, by their names."""
    leaders = sorted({crew.leader for crew in crews if crew.leader})
    return [sorted((one for one in crews if one.leader == name), key=lambda one: one.crew_id) for name in leaders]


def who_goes(group: Sequence[Crew], novices_n: float) -> list[Crew]:
    """Return the crews of a leader that may go out together, those with most trained people first into it."""
    out: list[Crew] = []
    spare = novices_n  # the leader is trained
    for crew in sorted(group, key=lambda one: (one.people_n - one.trained_n * (1 + novices_n), one.crew_id)):
        need = crew.people_n - crew.trained_n * (1 + novices_n)
        if need <= spare:
            out.append(crew)
            spare -= need
    return sorted(out, key=lambda one: one.crew_id)


def mixing(group: Sequence[Crew]) -> list[tuple[str, str]]:
    """Return from which crew one trained person should change places with a novice of which other one."""
    trained = {crew.crew_id: crew.trained_n for crew in group}
    moves: list[tuple[str, str]] = []
    for without in sorted(name for name, n in trained.items() if n == 0):
        most = max(sorted(trained), key=lambda name: trained[name], default=without)
        if trained[most] > 1:
            trained[most], trained[without] = trained[most] - 1, 1
            moves.append((most, without))
    return moves


def _block(
    made: _Made, stops: Sequence[Stop], group: Sequence[Crew], ways: tuple[WalkMatrix, LedRules, Rules]
) -> None:  # fmt: skip
    """Plan the day of one leader's crews; stops out of sight are not spoken of."""
    walk, led, rules = ways
    out = who_goes(group, led.novices_n)
    made.days.extend(_at_home(crew) for crew in group if crew not in out)
    post = choose_post(table_of(stops, out, walk, rules), led) if out else None
    if post is None:
        made.days.extend(_at_home(crew) for crew in out)
        return
    table = table_of([stop for stop in stops if sees(led, post.place, stop.place)], out, walk, rules)
    routes = lists_by_class(table)
    made.take(finish_plan(table, routes, hopeless(table), MADE))
    made.posts.append(post)
    made.blocks.append((table, routes))


def _at_home(crew: Crew) -> CrewDay:
    return CrewDay(crew.crew_id, (), 0.0, 0.0, crew.shift_from_s, crew.shift_from_s)


def _whole(
    made: _Made, stops: Sequence[Stop], crews: Sequence[Crew], ways: tuple[WalkMatrix, LedRules, Rules]
) -> DayPlan:  # fmt: skip
    """Put the parts together, with one reason for each stop left over, and spares nobody else does."""
    done = made.done
    open_ = [stop for stop in stops if stop.stop_id not in done]
    left = tuple(sorted(_left_over(made, open_, crews, ways), key=lambda one: one.stop_id))
    days = tuple(sorted(made.days, key=lambda one: one.crew_id))
    spares: list[Spares] = []
    for table, routes in made.blocks:
        spares.extend(
            spares_of(table, routes, ways[1].spares_n, taken=done | {k for one in spares for k in one.stop_ids})
        )
    return DayPlan(days, left, made.provenance, tuple(made.posts), tuple(spares))


def _left_over(
    made: _Made, left: Sequence[Stop], crews: Sequence[Crew], ways: tuple[WalkMatrix, LedRules, Rules]
) -> Iterator[Unplanned]:  # fmt: skip
    walk, led, rules = ways
    table = table_of(left, crews, walk, rules)
    never = {one.stop_id: one for one in hopeless(table)}
    # short of time with somebody who may go there; said by the last part of the plan that looked at it
    short = {one.stop_id: one for one in made.left if one.reason in DOABLE}
    at_post = {post.leader: post for post in made.posts}
    for k, stop in enumerate(table.stops):
        name = stop.stop_id
        found = never.get(name) or short.get(name)
        if found is not None:
            yield found
            continue
        able = [crew for c, crew in enumerate(table.crews) if table.allowed[c, k]]
        posts = [at_post[one.leader] for one in able if one.leader in at_post]
        blind = sorted((one.stop_id, one.leader) for one in posts if not sees(led, one.place, stop.place))
        if blind:
            beside, leader = blind[0]
            yield Unplanned(name, Reason.OUT_OF_SIGHT, f"{leader} stands beside stone {beside}")
        else:
            ids = ", ".join(crew.crew_id for crew in able)
            yield Unplanned(name, Reason.TOO_FEW_TRAINED, f"{ids} would do it, and stays at the base")
