"""What to do for each stone, how long it takes, who may do it, and what holds it back."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from gravegis.contract import Analysis, Assumption, Job, Result, number, text
from gravegis.science.care.priority import LONG_SPRAY_H

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    from gravegis.layers.canonical import Frame
    from gravegis.science.care.gates import Gates
    from gravegis.science.care.sizes import Sizes
    from gravegis.science.care.treatment import Care
    from gravegis.science.condition.reasons import Reason
    from gravegis.site import Site

PRACTICE = "common practice, no source"


def _day(typed: str) -> str:
    return dt.date.fromisoformat(typed.strip()).isoformat() if typed.strip() else ""


@dataclass(frozen=True, slots=True, kw_only=True)
class WorklistSettings:
    """Limits of the gate, minutes of looking, and when spray moves a stone up."""

    as_of: str = text(
        "", "Day from which the ages of stability checks count.", form="a date such as 2026-12-02, or nothing",
        source="typed; without it the newest date in the site, since no clock is read", reader=_day,
    )  # fmt: skip
    gate_height_m: float = number(
        1.0, "Unchecked stones up to this height go out with the leader's check; taller ones wait for a tester.",
        unit="m", low=0, high=5, source=PRACTICE,
    )  # fmt: skip
    gate_lean_deg: float = number(
        3.0, "Unchecked stones that lean more wait for a trained tester.", unit="deg", low=0, high=45, source=PRACTICE
    )
    inspection_min: float = number(
        5.0, "Minutes to look at a stone and record its harm.", unit="min", low=1, high=60, source=PRACTICE
    )
    leader_check_min: float = number(
        2.0, "Minutes of the leader's check of an unchecked stone.", unit="min", low=0, high=60, source=PRACTICE
    )
    pace_factor: float = number(
        1.0,
        "Minutes against a trained pair; people new to it take 1.5 to 2.",
        unit="1",
        low=0.5,
        high=5,
        source=PRACTICE,
    )
    near_m: float = number(
        2.0, "A stone nobody has looked at is looked at first when a head stands this near.",
        unit="m", low=0, high=20, source=PRACTICE,
    )  # fmt: skip
    long_spray_h: float = number(
        LONG_SPRAY_H, "Hours of spray a season from which a stone moves up one priority.",
        unit="h", low=0, high=8784, source="own rule, no source",
    )  # fmt: skip


def run(site: Site, settings: WorklistSettings, job: Job) -> Result:
    """Turn findings into a list that harms neither stone nor people.

    Growth and loose soiling may be a crew's work. Iron, lime, salts, crusts and paint are a conservator's: they are
    listed with what will not come off today. Stone that is cracked, hollow, flaking or falls to grains is not
    wet-cleaned. Harm that was not named, and stones nobody has looked at, are looked at and recorded first. What
    moves is held; what nobody checked goes out with the leader's check as its first step, or waits for a trained
    tester when it is tall, heavy or leans. A gate that opens says what was recorded, not that nothing can happen.
    """
    import numpy as np

    from gravegis.layers.stones import days_before, findings_of, numbers
    from gravegis.science.care import gates as gating
    from gravegis.science.care import treatment
    from gravegis.science.care.effort import effort
    from gravegis.science.condition import scores

    stones = site["stones"]
    job.progress(0.1, "reading findings")
    findings, _ = findings_of(stones, site.get("findings"))
    scored = scores.score_stones(findings, numbers(stones, "stones", "quick_score"))
    job.progress(0.3, "treatments")
    care = _with_inspections(treatment.treat_stones(findings, scored, _words(stones, "material")))
    sizes = _sizes(stones)
    job.progress(0.5, "gates")
    limits = gating.GateLimits(height_m=settings.gate_height_m, lean_deg=settings.gate_lean_deg)
    as_of = settings.as_of or _newest_date(site)
    days = days_before(stones, "stones", "stability_on", as_of) if as_of else np.full(len(stones), np.nan)
    gates = gating.gate_stones(
        _words(stones, "stability"),
        days,
        sizes,
        numbers(stones, "stones", "lean_deg"),
        limits=limits,
    )
    work = effort(
        care, sizes, pace=settings.pace_factor, inspection_min=settings.inspection_min,
        leader_checks=gates.first_step != "", leader_check_min=settings.leader_check_min,
    )  # fmt: skip
    job.progress(0.8, "priorities")
    loose = scores.worst_by_group(findings)["safety"] > 0
    priority, why = _priorities(site, stones, loose, settings)
    looked_at = scored.basis != "none"
    reasons = [(*care.reasons[one], *gates.reasons[one], *work.reasons[one], *why[one]) for one in range(len(stones))]
    listed = np.flatnonzero((care.treatment != treatment.NO_TREATMENT) & (care.treatment != ""))
    frame = _frame(stones, care, gates, (work.work_min, priority, reasons)).iloc[listed].reset_index(drop=True)
    notes = _notes(frame, int((~looked_at).sum()))
    return Result(layers={"worklist": frame}, notes=notes, assumed=_assumed(site, settings, as_of))


def _words(stones: Frame, name: str) -> list[Any]:
    from gravegis.layers.stones import words

    return words(stones, "stones", name)


def _with_inspections(care: Care) -> Care:
    """Let stones nobody has looked at be looked at: no findings is not the same as no harm."""
    import numpy as np

    from gravegis.science.care import treatment

    unseen = care.treatment == ""
    return replace(
        care,
        treatment=np.where(unseen, treatment.LOOK_FIRST, care.treatment),
        who=np.where(unseen, "crew", care.who),
        steps=tuple(treatment.LOOK_STEPS if new else old for new, old in zip(unseen, care.steps, strict=True)),
    )


def _sizes(stones: Frame) -> Sizes:
    from gravegis.layers.stones import numbers
    from gravegis.science.care.sizes import stone_sizes

    height_m, width_m, thickness_m = (
        numbers(stones, "stones", name) for name in ("height_m", "width_m", "thickness_m")
    )
    return stone_sizes(height_m, width_m, thickness_m, _words(stones, "form"), _words(stones, "material"))


def _newest_date(site: Site) -> str:
    """Return the newest date of a survey, check or finding in the site; empty where there is none."""
    from gravegis.layers.canonical import column

    stones = site["stones"]
    dates = [column(stones, "stones", name) for name in ("stability_on", "surveyed_on")]
    if "findings" in site:
        dates.append(column(site["findings"], "findings", "found_on"))
    return max((str(day) for one in dates for day in one.dropna()), default="")


def _assumed(site: Site, settings: WorklistSettings, as_of: str) -> tuple[Assumption, ...]:
    """Return what was taken for checks: the day their ages count from, dates missing, limits of unchecked stones."""
    import pandas as pd

    from gravegis.layers.canonical import column
    from gravegis.science.care.gates import stabilities

    stones = site["stones"]
    firm = pd.Series([stabilities().term(word) == "firm" for word in _words(stones, "stability")], dtype="bool")
    undated_n = int((column(stones, "stones", "stability_on").isna().to_numpy() & firm.to_numpy()).sum())
    unsaid_n = int(column(stones, "stones", "stability").isna().sum())
    limits = f"{settings.gate_height_m:g} m high, {settings.gate_lean_deg:g} degrees of lean"
    made = [
        Assumption("stones.stability_on", str(ANALYSIS.uses["stones"]["stability_on"]), undated_n),
        Assumption(
            "stones.stability",
            f"counts as unchecked: the leader checks first, above {limits} or if heavy a trained tester",
            unsaid_n,
        ),
    ]
    if as_of and not settings.as_of:
        words = (
            f"ages of stability checks count from {as_of}, the newest date in the site; set as_of to the day of work"
        )
        made.append(Assumption("worklist.as_of", words))
    return tuple(made)


def _priorities(
    site: Site, stones: Frame, loose: npt.NDArray[np.bool_], settings: WorklistSettings
) -> tuple[npt.NDArray[np.int8], list[tuple[Reason, ...]]]:
    import numpy as np

    from gravegis.layers.canonical import column, empty
    from gravegis.layers.stones import numbers
    from gravegis.science.care.priority import Spray, prioritise
    from gravegis.science.condition.reasons import reason

    wet = site.get("stone_wetting", empty("stone_wetting")).set_index("stone_id").reindex(stones["stone_id"])
    reached = column(wet, "stone_wetting", "reached").fillna(value=False).to_numpy(dtype=bool)
    margin = numbers(wet, "stone_wetting", "margin_m")
    # what was seen outranks the model: a stone seen dry is not reached, one seen wet is, whatever the margin
    margin = np.where(reached, np.maximum(np.nan_to_num(margin), 0.0), np.where(margin >= 0, np.nan, margin))
    spray = Spray(np.zeros(len(stones), dtype=np.bool_), margin, numbers(wet, "stone_wetting", "season_h"))
    condition = site["stone_condition"].set_index("stone_id").reindex(stones["stone_id"])
    overall = numbers(condition, "stone_condition", "overall")
    unseen = np.isnan(overall)
    found = prioritise(np.where(unseen, -1, overall).astype(np.int64), spray, loose, long_spray_h=settings.long_spray_h)
    near_m = numbers(wet, "stone_wetting", "nearest_head_m")
    first = np.where(near_m <= settings.near_m, 3, np.where(reached, 2, 1))
    why = list(found.reasons)
    error_m = _errors_m(site, stones, wet)
    for one in np.flatnonzero(unseen):
        near = reason("inspect_near_head", distance_m=round(float(np.nan_to_num(near_m[one])), 1))
        # as in wetting: an error of more than half the distance cannot tell near from not near
        if error_m[one] > settings.near_m / 2:
            near = reason("inspect_near_by_map", error_m=float(f"{error_m[one]:.1g}"))
        why[one] = ({3: near, 2: reason("inspect_reached"), 1: reason("inspect_other")}[int(first[one])],)
    priority = np.where(unseen, first, found.priority).astype(np.int8)
    return priority, why


def _errors_m(site: Site, stones: Frame, wet: Frame) -> npt.NDArray[np.float64]:
    """Return the standard error of the distance between each stone and the head nearest to it, as in wetting. [m]."""
    import numpy as np
    import pandas as pd

    from gravegis.layers.canonical import column, empty
    from gravegis.layers.position_error import UNKNOWN_M, known_errors_m

    heads = site.get("heads", empty("heads"))
    of_head = pd.Series(known_errors_m(heads, "heads", UNKNOWN_M), index=heads["head_id"])
    head_m = (
        of_head.reindex(column(wet, "stone_wetting", "nearest_head_id")).fillna(UNKNOWN_M).to_numpy(dtype=np.float64)
    )
    return np.hypot(known_errors_m(stones, "stones", UNKNOWN_M), head_m)


def _frame(stones: Frame, care: Care, gates: Gates, worked: tuple[Any, Any, Any]) -> Frame:
    import pandas as pd

    from gravegis.layers.stones import reasons_json

    work_min, priority, reasons = worked
    crew_works = care.who == "crew"
    hold = pd.Series(gates.hold, dtype="str")
    first = pd.Series(gates.first_step, dtype="str")
    return pd.DataFrame(
        {
            "stone_id": stones["stone_id"],
            "treatment": care.treatment,
            "who": care.who,
            "work_min": work_min,
            "priority": priority,
            "hold": hold.where(hold != ""),
            "first_step": first.where((first != "") & crew_works),
            "steps": pd.Series([" | ".join(steps) for steps in care.steps], dtype="str"),
            "stays": pd.Series([" | ".join(stays) or None for stays in care.stays], dtype="str"),
            "reasons": reasons_json(reasons),
        }
    )


def _notes(frame: Frame, unseen_n: int) -> tuple[str, ...]:
    crew = frame[(frame["who"] == "crew") & frame["hold"].isna()]
    held = frame[frame["hold"].notna() & (frame["who"] == "crew")]
    hours = crew["work_min"].sum() / 60
    left = int((frame["who"] == "conservator only").sum())
    notes = [
        f"{len(crew)} stones may go out to crews ({hours:.0f} crew hours of a trained pair, soak not counted); "
        f"{len(held)} are held; {left} are a conservator's."
    ]
    if unseen_n:
        notes.append(f"{unseen_n} stones have no record: they are looked at first, those near a head before others.")
    checks = int(frame["first_step"].notna().sum())
    if checks:
        notes.append(f"{checks} stones start with the leader's check: nobody has recorded lately that they stand firm.")
    return tuple(notes)


ANALYSIS = Analysis(
    name="worklist",
    title="Worklist",
    question="What does each stone need, how long does it take, and who may do it?",
    needs={"stones": ("stone_id", "geometry"), "stone_condition": ("stone_id", "overall")},
    uses={
        "stones": {
            "material": "water and soft brush only, and only on stone",
            "form": "",
            "height_m": "the usual height of its form; without a form the leader leaves tall ones alone",
            "width_m": "the usual width of its form, else a tablet",
            "thickness_m": "the usual thickness of its form, else a tablet",
            "lean_deg": "",
            "stability": "counts as unchecked: the leader checks first, or a trained tester",
            "stability_on": "a check without a date counts as none",
            "surveyed_on": "",
            "quick_score": "",
            "position_error_m": "",
            "position_basis": "",
        },
        "findings": {
            "*": "harm is not named: stones are looked at and recorded first, nothing is cleaned",
            "stone_id": "",
            "pattern": "",
            "severity": "",
            "extent_frac": "",
            "found_on": "",
        },
        "heads": {"position_error_m": ""},
        "stone_wetting": {
            "*": "spray is not known: priorities come from the condition alone",
            "reached": "",
            "margin_m": "",
            "season_h": "",
            "nearest_head_m": "",
            "nearest_head_id": "",
        },
    },
    gives={
        "worklist": {
            "stone_id": "stone",
            "treatment": "what to do",
            "who": "who may do it",
            "work_min": "planned crew minutes, soak not counted",
            "priority": "1 to 3, 3 first",
            "hold": "what holds it back, missing where it may go out",
            "first_step": "what the leader does before work starts",
            "steps": "steps in order",
            "stays": "harm that will not come off today",
            "reasons": "why",
        }
    },
    # one kind of first step is known so far; a ground where all stand firm has none
    may_be_missing=frozenset({"worklist.first_step"}),
    settings=WorklistSettings,
    run=run,
    version=1,
    tables=("effort", "materials", "patterns", "stability", "stone_density", "stone_forms", "treatments"),
    facts=(),
    sources=(
        "treatments: gravegis/science/data/treatments.csv; what forbids them: contraindications.csv; a source per row",
        "minutes: gravegis/science/data/effort.csv, common practice, no source",
        "priorities: own rule",
    ),
)
