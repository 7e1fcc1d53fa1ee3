"""What the day plan takes where columns and layers are missing or cannot be read."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from gravegis.analyses.routes import NO_LINKS, NO_SCHEDULES
from gravegis.analyses.routes.closed import WHOLE_GROUND, without_outline
from gravegis.analyses.routes.people import LOWEST, skill_for, tells_skills
from gravegis.analyses.routes.places import text_of
from gravegis.contract import Assumption
from gravegis.layers.canonical import column
from gravegis.layers.carried import litres_carried

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gravegis.analyses.routes.settings import RouteSettings
    from gravegis.site import Site


def assumed_of(site: Site, settings: RouteSettings) -> Iterator[Assumption]:
    """Give what was taken for crews, worklist and the water of the day."""
    crews = site["crews"]
    by_hand = f"carries {settings.carry_l:g} l by hand"
    yield Assumption("crews.carries", by_hand, int(column(crews, "crews", "carries").isna().sum()))
    unread = Counter(one for one in text_of(crews, "crews", "carries") if one and litres_carried(one) is None)
    for words, crews_n in sorted(unread.items()):
        yield Assumption("crews.carries", f"no litres can be read in '{words}': {by_hand}", crews_n)
    slow = int(column(crews, "crews", "work_factor").isna().sum())
    yield Assumption("crews.work_factor", "works at the pace of a trained pair", slow)
    yield from _of_work(site)
    yield from _of_day(site, settings)
    for name, words in (("wetting_links", NO_LINKS), ("schedules", NO_SCHEDULES)):
        if not site.has(name):
            yield Assumption(name, words)


def _of_work(site: Site) -> Iterator[Assumption]:
    work = site["worklist"]
    goes = (work["who"] == "crew") & work["hold"].isna()
    asked = {skill_for(*pair) for pair in zip(text_of(work, "worklist", "skill"), work["treatment"], strict=True)}
    if not tells_skills(site) and len(site["crews"]) and asked - {""}:
        words = "no skill is on file: every crew may do every kind of work"
        yield Assumption("crews.skills", words, len(site["crews"]))
    if unsaid := int(work.loc[goes, "priority"].isna().sum()):
        yield Assumption("worklist.priority", f"priority {LOWEST}, the lowest", unsaid)


def _of_day(site: Site, settings: RouteSettings) -> Iterator[Assumption]:
    if not settings.day:
        missed = [name for name in ("schedules", "closures") if site.has(name)]
        if missed:
            yield Assumption("routes.day", f"no day was set: {' and '.join(missed)} were not looked at")
    elif site.has("closures") and (undrawn := without_outline(site)):
        yield Assumption("closures.geometry", WHOLE_GROUND, undrawn)
