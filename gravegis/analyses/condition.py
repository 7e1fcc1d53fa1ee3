"""Findings or a quick score to one condition class per stone, with the reasons."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from gravegis.contract import Analysis, Job, Result

if TYPE_CHECKING:
    from collections.abc import Mapping

    import numpy as np
    import numpy.typing as npt
    import pandas as pd

    from gravegis.layers.canonical import Frame
    from gravegis.science.condition.reasons import Reason
    from gravegis.site import Site

CLASSES = ("none", "minor", "moderate", "major")
URGENCY = ("long term", "intermediate", "short term", "urgent")


@dataclass(frozen=True, slots=True, kw_only=True)
class ConditionSettings:
    """Nothing to set: the class is the worst finding."""


def run(site: Site, settings: ConditionSettings, job: Job) -> Result:
    """Give each stone a class 0-3: its worst finding, or its quick score where nothing was found and graded.

    Findings and quick scores are never combined, and a stone nobody looked at has no class, which is not the
    same as class 0. The class says how bad, not how urgent and not what to do: those stay apart, as in EN 16096, and
    follow from what harm it is and how severe; a quick score names no harm, so that of 1 or more has neither. Each
    harm has a grade of its own: 0 where somebody looked and found none of it, missing where nobody did. Of several
    visits the last counts, the others are kept.
    """
    import numpy as np
    import pandas as pd

    from gravegis.layers.stones import findings_of, numbers, reasons_json
    from gravegis.science.condition import harms, scores

    del settings
    stones = site["stones"]
    job.progress(0.1, "reading findings")
    findings, strays_n = findings_of(stones, site.get("findings"))
    job.progress(0.4, "scoring")
    scored = scores.score_stones(findings, numbers(stones, "stones", "quick_score"))
    grades = harms.grade_harms(findings, numbers(stones, "stones", "quick_score"))
    steps = {axis: harms.class_by_harms(grades, axis) for axis in ("urgency", "recommendation")}
    main = np.where(scored.worst >= 0, np.append(findings.term, "")[scored.worst], "")
    overall = pd.Series(scored.overall.astype("float64")).where(scored.overall >= 0).astype("Int64")
    frame = pd.DataFrame(
        {
            "stone_id": stones["stone_id"],
            "overall": overall,
            **{axis: _whole(step) for axis, (step, _) in steps.items()},
            **{harm: _whole(grades.grade_of(harm)) for harm in grades.names},
            "basis": scored.basis,
            "main_harm": pd.Series(main, dtype="str").where((main != "") & (scored.overall > 0)),
            "surveyed_on": _seen_on(stones, site.get("findings"), scored.basis),
            "reasons": reasons_json(_reasons(scores.score_reasons(findings, scored), steps)),
        }
    )
    job.progress(0.9, "summing up")
    notes = _notes(scored.overall, findings.unknown_n, strays_n)
    said = (*notes, *_apart(scored.basis, steps), *_parts(stones, site.get("parts")), *_earlier(site))
    return Result(layers={"stone_condition": frame}, notes=said)


def _whole(values: npt.NDArray[np.float64]) -> pd.Series[Any]:
    import pandas as pd

    return pd.Series(values).astype("Int64")


def _seen_on(stones: Frame, findings: Frame | None, basis: npt.NDArray[np.str_]) -> pd.Series[Any]:
    """Return the newest day of the findings a class rests on, or the day of the survey for a quick score."""
    import pandas as pd

    from gravegis.layers.canonical import column

    surveyed = column(stones, "stones", "surveyed_on")
    last = pd.Series(pd.NA, index=stones["stone_id"], dtype="str")
    if findings is not None and "found_on" in findings:
        last = findings.dropna(subset=["found_on"]).groupby("stone_id")["found_on"].max().reindex(stones["stone_id"])
    last = last.reset_index(drop=True).fillna(surveyed.reset_index(drop=True))
    day = last.where(basis == "findings", surveyed.reset_index(drop=True))
    return day.where(basis != "none")


def _reasons(why: list[list[Reason]], steps: Mapping[str, tuple[Any, Any]]) -> list[list[Reason]]:
    from gravegis.science.condition.reasons import reason

    for axis, (step, harm) in steps.items():
        for stone, name in enumerate(harm.tolist()):
            if name:
                why[stone].append(reason(axis, step=int(step[stone]), harm=name))
    return why


def _apart(basis: npt.NDArray[np.str_], steps: Mapping[str, tuple[Any, Any]]) -> tuple[str, ...]:
    """Say how many classes rest on what, and how urgent it is; nothing where all of that is plain."""
    import numpy as np

    quick_n, found_n = int((basis == "quick score").sum()), int((basis == "findings").sum())
    if not quick_n + found_n:
        return ()
    urgency = steps["urgency"][0]
    counts = [f"{int((urgency == step).sum())} {words}" for step, words in enumerate(URGENCY)]
    said = (
        f"How urgent, which is not how bad: {', '.join(counts)}; not known for {int(np.isnan(urgency).sum())} stones."
    )
    return (f"{found_n} classes rest on findings, {quick_n} on a quick score alone, which names no harm.", said)


def _parts(stones: Frame, parts: Frame | None) -> tuple[str, ...]:
    """Count parts of other material: they are no harm and enter no class, but ask for other hands."""
    from gravegis.layers.canonical import column

    if parts is None:
        return ()
    here = parts[parts["stone_id"].isin(stones["stone_id"])]
    if here.empty:
        return ()
    kind = column(here, "parts", "part").fillna(column(here, "parts", "material")).fillna("not named")
    counts = kind.value_counts()
    named = ", ".join(f"{name} {n}" for name, n in sorted(counts.items(), key=lambda one: (-one[1], one[0])))
    return (f"{here['stone_id'].nunique()} stones carry parts of other material, counted in no class: {named}.",)


def _earlier(site: Site) -> tuple[str, ...]:
    from gravegis.layers.visits import of_last_visit

    findings = site.get("findings")
    n = 0 if findings is None else int((~of_last_visit(findings)).sum())
    return (f"{n} findings are of earlier visits: kept, and not counted here.",) if n else ()


def _notes(overall: npt.NDArray[np.int8], unknown_n: int, strays_n: int) -> tuple[str, ...]:
    known_n = int((overall >= 0).sum())
    if not known_n:
        return (
            "Nobody has recorded the condition of a stone yet: there is no condition map. "
            "Start with the quick survey, one grade per stone, at the stones nearest to a head.",
        )
    counts = ", ".join(f"{int((overall == grade).sum())} {word}" for grade, word in enumerate(CLASSES))
    notes = [f"Condition of {known_n} of {len(overall)} stones is recorded: {counts}."]
    if unknown_n:
        notes.append(f"{unknown_n} findings name a harm that is not known here; they are kept as typed, look again.")
    if strays_n:
        notes.append(f"{strays_n} findings name a stone that is not in the layer; they are not counted.")
    return tuple(notes)


ANALYSIS = Analysis(
    name="condition",
    title="Condition of each stone",
    question="How bad is each stone, and why do we say so?",
    needs={"stones": ("stone_id", "geometry")},
    uses={
        "stones": {"quick_score": "", "surveyed_on": ""},
        "findings": dict.fromkeys(("stone_id", "pattern", "severity", "extent_frac", "found_on"), ""),
        "parts": dict.fromkeys(("stone_id", "part", "material"), ""),
    },
    gives={
        "stone_condition": {
            "stone_id": "stone",
            "overall": "condition class 0-3, missing where nothing is recorded",
            "urgency": "0 long term to 3 urgent, missing where no harm is named",
            "recommendation": "0 nothing to 3 major work after diagnosis, missing where no harm is named",
            "growth": "worst growth, 0 where looked for and not found",
            "staining": "worst stain",
            "encrustation": "worst crust or salt",
            "cracks": "worst crack",
            "detachment": "worst detachment",
            "loss": "worst loss of surface or parts",
            "deformation": "worst bending or bulging",
            "basis": "findings, quick score or none",
            "surveyed_on": "day of the visit it rests on",
            "main_harm": "harm that decided the class",
            "reasons": "why",
        }
    },
    settings=ConditionSettings,
    run=run,
    # a ground where a harm was never met has one value only
    may_be_missing=frozenset(f"stone_condition.{one}" for one in ("loss", "deformation")),
    version=3,
    tables=("harms", "patterns"),
    facts=(),
    sources=(
        "terms: ICOMOS-ISCS illustrated glossary on stone deterioration patterns, 2008",
        "four degrees and separate axes: EN 16096:2012 (wording from memory, unconfirmed)",
        "class of a stone = its worst finding: own rule",
        "urgency and recommendation by harm and severity: own rule (harms.csv)",
    ),
)
