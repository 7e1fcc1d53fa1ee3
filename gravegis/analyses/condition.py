"""Findings or a quick score to one condition class per stone, with the reasons."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from gravegis.contract import Analysis, Job, Result

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    from gravegis.site import Site

CLASSES = ("none", "minor", "moderate", "major")


@dataclass(frozen=True, slots=True, kw_only=True)
class ConditionSettings:
    """Nothing to set: the class is the worst finding."""


def run(site: Site, settings: ConditionSettings, job: Job) -> Result:
    """Give each stone a class 0-3: its worst finding, or its quick score where nothing was found and graded.

    Findings and quick scores are never combined, and a stone nobody looked at has no class, which is not the
    same as class 0. The class says how bad, not how urgent and not what to do: those stay apart, as in EN 16096.
    """
    import numpy as np
    import pandas as pd

    from gravegis.layers.stones import findings_of, numbers, reasons_json
    from gravegis.science.condition import scores

    del settings
    stones = site["stones"]
    job.progress(0.1, "reading findings")
    findings, strays_n = findings_of(stones, site.get("findings"))
    job.progress(0.4, "scoring")
    scored = scores.score_stones(findings, numbers(stones, "stones", "quick_score"))
    main = np.where(scored.worst >= 0, np.append(findings.term, "")[scored.worst], "")
    overall = pd.Series(scored.overall.astype("float64")).where(scored.overall >= 0).astype("Int64")
    frame = pd.DataFrame(
        {
            "stone_id": stones["stone_id"],
            "overall": overall,
            "basis": scored.basis,
            "main_harm": pd.Series(main, dtype="str").where((main != "") & (scored.overall > 0)),
            "reasons": reasons_json(scores.score_reasons(findings, scored)),
        }
    )
    job.progress(0.9, "summing up")
    return Result(layers={"stone_condition": frame}, notes=_notes(scored.overall, findings.unknown_n, strays_n))


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
        "stones": {"quick_score": ""},
        "findings": {"stone_id": "", "pattern": "", "severity": "", "extent_frac": ""},
    },
    gives={
        "stone_condition": {
            "stone_id": "stone",
            "overall": "condition class 0-3, missing where nothing is recorded",
            "basis": "findings, quick score or none",
            "main_harm": "harm that decided the class",
            "reasons": "why",
        }
    },
    settings=ConditionSettings,
    run=run,
    version=1,
    tables=("patterns",),
    facts=(),
    sources=(
        "terms: ICOMOS-ISCS illustrated glossary on stone deterioration patterns, 2008",
        "four degrees and separate axes: EN 16096:2012 (wording from memory, unconfirmed)",
        "class of a stone = its worst finding: own rule",
    ),
)
