"""What got better or worse between two surveys, and whether that is more than two people looking twice."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING

from gravegis.contract import Analysis, Job, Result, day_typed, number, text

if TYPE_CHECKING:
    from gravegis.layers.canonical import Frame
    from gravegis.layers.surveys import Survey
    from gravegis.science.condition.change import Change
    from gravegis.site import Site

_COLUMNS = ("stone_id", "harm", "before", "now", "change", "before_on", "now_on")
SURE_P = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangeSettings:
    """Where the later survey begins, and how near a place must be to a stone without a name."""

    later_from: str = text(
        "", "First day of the later survey; empty: after the last gap of more than 60 days in what is on file.",
        form="a day such as 2026-10-01, or empty", reader=day_typed, source="own rule",
    )  # fmt: skip
    within_m: float = number(
        1.0, "A survey row that names no stone belongs to the nearest one within this distance.",
        unit="m", low=0.05, high=20, source="own choice: less than stones in a row stand apart",
    )  # fmt: skip


def run(site: Site, settings: ChangeSettings, job: Job) -> Result:
    """Hold the later survey against the earlier one, stone by stone: better, same, worse, lost, new.

    Lost: graded then, not now; new: graded now, not then. A class from findings is never held against one from a
    quick score: such a stone is not graded. Steps up and down are held against each other by an exact sign test, for
    two people who look at the same stone differ too, but as often to one side as to the other. Where stones were
    graded twice within one survey, the share that changed is held against the share those people disagreed on.
    """
    import pandas as pd

    from gravegis.layers import surveys as read
    from gravegis.layers.canonical import empty

    job.progress(0.1, "which survey is which")
    rows = read.with_stones(site, settings.within_m)
    split = read.split_day(site, rows)
    if settings.later_from:
        split = float((dt.date.fromisoformat(settings.later_from) - dt.date(1970, 1, 1)).days)
    nothing = empty("stone_change")[list(_COLUMNS)]
    if split != split:
        return Result(layers={"stone_change": nothing}, notes=(ONE_VISIT,))
    job.progress(0.3, "grades then and now")
    then, now = read.surveys_before_and_now(site, rows, split)
    if not (then.seen.any() and now.seen.any()):
        return Result(layers={"stone_change": nothing}, notes=(ONE_VISIT,))
    twice = read.surveyed_twice(rows, split)
    frames, notes = [], []
    for place, harm in enumerate(("overall", *now.grades.names)):
        job.progress(0.4 + 0.05 * place, f"change of {harm}")
        frame, words = _of_harm(harm, then, now, twice)
        if frame is not None:
            frames.append(frame)
            notes.append(words)
    job.progress(0.98, "summing up")
    table = pd.concat(frames, ignore_index=True) if frames else nothing
    return Result(layers={"stone_change": table[list(_COLUMNS)]}, notes=(*notes, *_beside(then, now, twice)))


ONE_VISIT = (
    "All that is on file is of one visit: there is nothing to compare yet. Keep the findings of this survey, and add "
    "those of the next with their days, or bring earlier quick scores in as layer surveys."
)


def _of_harm(harm: str, then: Survey, now: Survey, twice: tuple[int, int] | None) -> tuple[Frame | None, str]:
    """Return the rows of one harm and what they say; nothing where neither survey met it."""
    import numpy as np
    import pandas as pd

    from gravegis.science.condition.change import CHANGES, compare_surveys

    if harm == "overall":
        unlike = then.seen & now.seen & (then.basis != now.basis)
        before, after = np.where(unlike, np.nan, then.overall), np.where(unlike, np.nan, now.overall)
    else:
        twice = None  # quick scores name no harm
        before, after = then.grades.grade_of(harm), now.grades.grade_of(harm)
        if not (np.nan_to_num(before).any() or np.nan_to_num(after).any()):
            return None, ""
    a, b = np.flatnonzero(then.seen), np.flatnonzero(now.seen)
    both = np.intersect1d(a, b)
    pairs = np.column_stack([np.searchsorted(a, both), np.searchsorted(b, both)])
    made = compare_surveys(before[a], after[b], pairs, twice=twice)
    change = np.full(len(then.ids), -1, dtype=np.int64)
    change[b] = made.of_later
    only = np.setdiff1d(a, b)
    change[only] = made.of_earlier[np.searchsorted(a, only)]
    rows = np.flatnonzero(change >= 0)
    frame = pd.DataFrame(
        {
            "stone_id": then.ids[rows], "harm": harm,
            "before": pd.Series(before[rows]).astype("Int64"), "now": pd.Series(after[rows]).astype("Int64"),
            "change": np.array(CHANGES, dtype=object)[change[rows]],
            "before_on": pd.Series(then.day[rows], dtype="str").replace("", None),
            "now_on": pd.Series(now.day[rows], dtype="str").replace("", None),
        }
    )  # fmt: skip
    return frame, _words(harm, made)


def _words(harm: str, made: Change) -> str:
    counts = f"of {made.compared_n} stones graded both times {made.better_n} are better, {made.worse_n} worse"
    if not made.better_n + made.worse_n:
        return f"{harm.capitalize()}: {counts}."
    way = "better than worse" if made.better_n > made.worse_n else "worse than better"
    sure = (
        f"more are {way} than two people looking twice would bring (p {made.sign_p:.2g})" if made.sign_p < SURE_P
        else f"both ways alike as far as can be told: two people looking twice may differ as much (p {made.sign_p:.2g})"
    )  # fmt: skip
    noise = ""
    if made.beyond_noise_p == made.beyond_noise_p:
        more = "more than" if made.beyond_noise_p < SURE_P else "no more than"
        noise = (
            f"; {made.changed.value:.0%} changed, {more} the {made.noise.value:.0%} on which two people differed "
            f"within one survey (p {made.beyond_noise_p:.2g})"
        )
    return f"{harm.capitalize()}: {counts}; {sure}{noise}."


def _beside(then: Survey, now: Survey, twice: tuple[int, int] | None) -> list[str]:
    lost, new = int((then.seen & ~now.seen).sum()), int((now.seen & ~then.seen).sum())
    unlike = int((then.seen & now.seen & (then.basis != now.basis)).sum())
    said = [f"{lost} stones were seen then and not now, {new} now and not then."]
    if unlike:
        said.append(
            f"{unlike} stones were graded in another way then than now (quick score, findings): no class of them is "
            "held against the other."
        )
    if twice is None:
        said.append(
            "No stone was graded twice within one survey: how much two people differ is not known. Have one in twenty "
            "graded again by somebody else."
        )
    return [*said, "A change of grade is not its cause: weather, cleaning and another eye all change grades."]


ANALYSIS = Analysis(
    name="change",
    title="Change between two surveys",
    question="What got better or worse since the last survey, and is it more than another eye?",
    needs={"stones": ("stone_id", "geometry")},
    uses={
        "stones": {"quick_score": "", "surveyed_on": ""},
        "findings": dict.fromkeys(("stone_id", "pattern", "severity", "found_on"), ""),
        "surveys": dict.fromkeys(("stone_id", "quick_score", "surveyed_on", "by", "geometry"), ""),
    },
    gives={
        "stone_change": {
            "stone_id": "stone",
            "harm": "harm, or overall for the condition class",
            "before": "grade in the earlier survey",
            "now": "grade in the later one",
            "change": "better, same, worse, not graded, lost (seen then only) or new (seen now only)",
            "before_on": "day it was seen then",
            "now_on": "day it was seen now",
        }
    },
    may_be_missing=frozenset(f"stone_change.{one}" for one in ("before_on", "now_on")),
    settings=ChangeSettings,
    run=run,
    version=1,
    tables=("harms", "patterns"),
    facts=(),
    sources=(
        "exact sign test of steps up and down; Fisher's test against stones graded twice",
        "which survey is which, and matching by the nearest stone: own rules",
    ),
)
