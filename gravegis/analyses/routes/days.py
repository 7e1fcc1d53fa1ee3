"""One day planned after the other, and what is kept when somebody stops the search."""

from __future__ import annotations

from contextlib import suppress
from functools import partial
from typing import TYPE_CHECKING

from gravegis.analyses.routes import UNDATED
from gravegis.analyses.routes.hours import shut_times
from gravegis.analyses.routes.noon import crews_from, noon_of
from gravegis.analyses.routes.people import barred_on, crews_of, dates_of, stops_of
from gravegis.analyses.routes.rows import Planned
from gravegis.errors import Cancelled
from gravegis.science.routing.daytable import Rules
from gravegis.science.routing.led import plan_with_leaders
from gravegis.science.routing.solve import plan_day

if TYPE_CHECKING:
    from collections.abc import Callable

    from gravegis.analyses.routes.places import Places
    from gravegis.analyses.routes.settings import RouteSettings
    from gravegis.contract import Job
    from gravegis.layers.canonical import Frame
    from gravegis.science.routing.model import LedRules
    from gravegis.science.routing.walking import WalkMatrix
    from gravegis.site import Site


def days_of(
    site: Site, todo: Frame, where: tuple[Places, WalkMatrix], settings: RouteSettings, job: Job, *,
    led: LedRules | None,
) -> list[Planned]:  # fmt: skip
    """Plan one day after the other; each takes what the days before left.

    Stopped in the middle, the days begun are given as they are; raises Cancelled where no stone is planned yet.
    """
    planner = plan_day if led is None else partial(plan_with_leaders, led=led)
    noon = noon_of(site, settings)
    places, walk = where
    rules = Rules(places.refills, settings.walk_price_ratio)
    crews = crews_of(site["crews"], places, settings)
    days, done = list[Planned](), set[str]() if noon is None else set(noon.done)
    for nth, dated in enumerate(dates_of(settings)):
        shut, gone = shut_times(site, todo, dated, settings), done | set(barred_on(site, dated))
        stops = [one for one in stops_of(site, todo, places, shut, settings) if one.stop_id not in gone]
        rest = noon if nth == 0 else None
        out = crews if rest is None else crews_from(crews, rest.from_s)
        plan = planner(
            stops, out, walk, seed=site.info.seed, iterations=settings.iterations_n, rules=rules,
            warm=None if rest is None else rest.plan, keep=rest is not None,
            progress=_share(job, nth, settings.days_n), cancelled=job.cancelled,
        )  # fmt: skip
        days.append(Planned(dated or UNDATED.format(nth + 1), dated, plan, tuple(stops), tuple(out)))
        done |= plan.done
        if job.cancelled():
            break
    if not any(one.plan.done for one in days):
        job.check()
    return days


def tell(job: Job, share: float, words: str) -> None:
    """Say how far the work is; who stopped it keeps what there is."""
    with suppress(Cancelled):
        job.progress(share, words)


def _share(job: Job, nth: int, days_n: int) -> Callable[[float], object]:
    return lambda share: tell(job, 0.3 + 0.6 * (nth + share) / days_n, "searching")
