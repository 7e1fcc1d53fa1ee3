"""Minutes that work really took, from returned sheets typed back into `treatments`, by the kind of work it was."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gravegis.analyses.worklist.settings import WorklistSettings
    from gravegis.layers.canonical import Frame
    from gravegis.science.care.history import Actual
    from gravegis.science.care.sizes import Sizes
    from gravegis.site import Site

__all__ = ["own_minutes", "sizes_of"]


def sizes_of(stones: Frame) -> Sizes:
    """Return sizes as measured or as usual for the form."""
    from gravegis.layers.stones import numbers, words
    from gravegis.science.care.sizes import stone_sizes

    height_m, width_m, thickness_m = (
        numbers(stones, "stones", name) for name in ("height_m", "width_m", "thickness_m")
    )
    form, material = (words(stones, "stones", name) for name in ("form", "material"))
    return stone_sizes(height_m, width_m, thickness_m, form, material)


def own_minutes(site: Site, stones: Frame, settings: WorklistSettings) -> Mapping[str, Actual]:
    """Return the minutes work of each kind really took on this ground.

    The kind of a record is that of the stone as it was found before the work: a stone that is clean today still
    tells how long its heavy growth took. Where the record names the way of working, that counts, not today's choice.
    """
    import numpy as np

    from gravegis.layers.stones import numbers, words
    from gravegis.science.care.history import actual_minutes, is_cleaning

    if not site.has("treatments", "took_min"):
        return {}
    done = site["treatments"]
    cleaned = np.array([is_cleaning(word) for word in words(done, "treatments", "what")], dtype=np.bool_)
    done = done[done["stone_id"].isin(stones["stone_id"]) & cleaned].reset_index(drop=True)
    kinds = np.full(len(done), "", dtype=object)
    days = np.array([word or "" for word in words(done, "treatments", "done_on")], dtype=object)
    for day in sorted(set(days.tolist())):
        at = np.flatnonzero(days == day)
        kinds[at] = _kinds_on(day, done.iloc[at], site, stones, settings)
    return actual_minutes(kinds.tolist(), numbers(done, "treatments", "took_min"), least_n=settings.own_minutes_n)


def _kinds_on(day: str, done: Frame, site: Site, stones: Frame, settings: WorklistSettings) -> list[str]:
    """Return the kind of work of each record of one day, by the findings up to that day; empty where unknown."""
    import numpy as np
    import pandas as pd

    from gravegis.layers.canonical import column
    from gravegis.layers.care import label_of
    from gravegis.layers.stones import findings_of, numbers, words
    from gravegis.science.care.effort import kind_of_work, size_class, soiling_class
    from gravegis.science.care.history import way_done
    from gravegis.science.care.treatment import treat_stones
    from gravegis.science.care.ways import choose_ways
    from gravegis.science.condition.scores import score_stones

    worked = stones[stones["stone_id"].isin(done["stone_id"])].reset_index(drop=True)
    known = site.get("findings")
    if known is not None and day:
        found = column(known, "findings", "found_on")
        known = known[(found.isna() | (found <= day)).to_numpy(dtype=bool)].reset_index(drop=True)
    findings, _ = findings_of(worked, known)
    scored = score_stones(findings, numbers(worked, "stones", "quick_score"))
    care = treat_stones(findings, scored, words(worked, "stones", "material"))
    ways = choose_ways(
        care, np.zeros(len(worked), dtype=np.bool_), goal=settings.goal, label=label_of(site.get("products"))
    )
    of_stone = pd.Series(range(len(worked)), index=worked["stone_id"])
    at = of_stone.loc[list(done["stone_id"])].to_numpy()
    size, soiling = size_class(sizes_of(worked))[0][at], soiling_class(care.severity)[at]
    named = [way_done(word) for word in words(done, "treatments", "what")]
    way = np.array([typed or ruled for typed, ruled in zip(named, ways.way[at].tolist(), strict=True)], dtype=np.str_)
    return [kind if one else "" for kind, one in zip(kind_of_work(size, soiling, way), way.tolist(), strict=True)]
