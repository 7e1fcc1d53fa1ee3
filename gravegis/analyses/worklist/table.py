"""The worklist as a table, and its answer in words."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from gravegis.contract import listed

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    from gravegis.layers.canonical import Frame
    from gravegis.science.care.effort import Effort
    from gravegis.science.care.gates import Gates
    from gravegis.science.care.history import Cleanings
    from gravegis.science.care.hot import HotHours
    from gravegis.science.care.permissions import Consents
    from gravegis.science.care.treatment import Care
    from gravegis.science.care.ways import Ways
    from gravegis.science.condition.reasons import Reason

__all__ = ["Made", "notes_of", "table_of"]

_MOST_KINDS = 4
"""Kinds of work whose own minutes are told in the answer; the others stand in the reasons."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Made:
    """Everything worked out per stone, before it becomes a table."""

    stones: Frame
    care: Care
    ways: Ways
    work: Effort
    gates: Gates
    consents: Consents
    done: Cleanings
    hot: HotHours
    spared: npt.NDArray[np.bool_]
    banned: npt.NDArray[np.bool_]
    priority: npt.NDArray[np.int8]
    why: list[tuple[Reason, ...]]
    fix_spray: npt.NDArray[np.bool_]
    as_of: str

    @property
    def cleans(self) -> npt.NDArray[np.bool_]:
        """Whether a crew would clean it: history and ground hold cleaning, not a look; missing leave holds both."""
        cleans: npt.NDArray[np.bool_] = self.care.method != ""
        return cleans


def table_of(made: Made) -> Frame:
    """Return the worklist: stones something is to be done for, one row each."""
    import numpy as np
    import pandas as pd

    from gravegis.layers.stones import reasons_json
    from gravegis.science.care import treatment

    care, work, cleans = made.care, made.work, made.cleans
    hold = _hold(made)
    crew_works = care.who == "crew"
    frame = pd.DataFrame(
        {
            "stone_id": made.stones["stone_id"],
            "treatment": care.treatment,
            "method": _text(made.ways.way),
            "who": care.who,
            "skill": _text(np.select([cleans & (work.cleaner_l > 0), cleans], ["cleaner", "brush"], "")),
            "work_min": work.work_min,
            "water_l": work.water_l,
            "cleaner_l": work.cleaner_l,
            # NaN where only the label knows the strength
            "concentrate_l": np.where(work.cleaner_l > 0, work.cleaner_l * made.ways.concentrate_frac, 0.0),
            "priority": made.priority,
            "hold": _text(hold),
            "hold_reason": _hold_reasons(made, hold),
            "first_step": _text(np.where(crew_works, made.gates.first_step, "")),
            "steps": pd.Series([" | ".join(steps) for steps in _steps(made)], dtype="str"),
            "stays": pd.Series([" | ".join(stays) or None for stays in care.stays], dtype="str"),
            "not_from": _clock(np.where(cleans, made.hot.from_s, np.nan)),
            "not_to": _clock(np.where(cleans, made.hot.to_s, np.nan)),
            "due_on": _due(made),
            "fix_spray": pd.array(made.fix_spray, dtype="boolean"),
            "reasons": reasons_json(_reasons(made)),
        }
    )
    wanted = (care.treatment != treatment.NO_TREATMENT) & (care.treatment != "")
    return frame.iloc[np.flatnonzero(wanted)].reset_index(drop=True)


def _steps(made: Made) -> list[tuple[str, ...]]:
    """Return the steps of every stone as far as leave was given: its conditions first, no pictures without leave."""
    from gravegis.science.care.steps import with_run_off, within_leave

    leave = made.consents
    told = zip(made.ways.steps, _spared(made), leave.conditions, leave.photographs.tolist(), strict=True)
    return [
        within_leave(with_run_off(steps, spared), conditions, photographs=may)
        for steps, spared, conditions, may in told
    ]


def _spared(made: Made) -> list[tuple[str, ...]]:
    """Return per stone the ground near it that no run-off may reach; none where nobody wets."""
    return [
        tuple(str(each["values"]["what"]) for each in reasons if each["code"] == "ground_water_only") if cleans else ()
        for reasons, cleans in zip(made.care.reasons, made.cleans.tolist(), strict=True)
    ]


def _hold(made: Made) -> npt.NDArray[np.str_]:
    import numpy as np

    from gravegis.science.care.holds import ASK_FIRST, BANNED, strictest

    cleans = made.cleans
    return strictest(
        [
            made.gates.hold,
            # leave is asked for whatever is to be done: nobody goes to look before it is given either
            made.consents.hold,
            np.where(cleans, made.done.hold, ""),
            np.where(cleans & made.spared, ASK_FIRST, ""),
            np.where(made.banned, BANNED, ""),
        ]
    )


def _reasons(made: Made) -> list[tuple[Reason, ...]]:
    from gravegis.science.condition.reasons import reason

    out = []
    for one, cleans in enumerate(made.cleans.tolist()):
        own = (*made.care.reasons[one], *made.gates.reasons[one], *made.ways.reasons[one], *made.work.reasons[one])
        own += made.consents.reasons[one]
        if cleans:
            own += (*made.done.reasons[one], *made.hot.reasons[one])
        if cleans and made.done.before[one] and made.fix_spray[one]:
            own += (reason("regrowth_under_spray"),)
        if not made.consents.photographs[one]:
            own += (reason("no_photographs"),)
        if made.banned[one]:
            own += (reason("banned"),)
        out.append((*own, *made.why[one]))
    return out


def _hold_reasons(made: Made, hold: npt.NDArray[np.str_]) -> Any:  # noqa: ANN401 - a Series
    """Return in words why each stone is held: the words of every rule that holds it."""
    import pandas as pd

    from gravegis.science.condition.reasons import in_words, reason

    said = []
    for one, word in enumerate(hold.tolist()):
        why: list[Reason] = list(made.gates.reasons[one]) if made.gates.hold[one] else []
        why += made.consents.reasons[one] if made.consents.hold[one] else ()
        if made.cleans[one]:
            why += made.done.reasons[one] if made.done.hold[one] else ()
            why += [each for each in made.care.reasons[one] if each["code"] == "ground_hold"]
        why += [reason("banned")] if made.banned[one] else []
        said.append(" ".join(in_words(each) for each in why) if word else None)
    return pd.Series(said, dtype="str")


def _text(words: npt.NDArray[np.str_]) -> Any:  # noqa: ANN401 - a Series
    import pandas as pd

    series = pd.Series(words, dtype="str")
    return series.where(series != "")


def _clock(seconds: npt.NDArray[np.float64]) -> Any:  # noqa: ANN401 - a Series
    import pandas as pd

    said = [None if s != s else f"{int(s) // 3600:02d}:{int(s) % 3600 // 60:02d}" for s in seconds.tolist()]
    return pd.Series(said, dtype="str")


def _due(made: Made) -> Any:  # noqa: ANN401 - a Series
    """Return the day to look again; missing where nobody cleans or no day is known."""
    import pandas as pd

    if not made.as_of:
        return pd.Series([None] * len(made.stones), dtype="str")
    start = pd.Timestamp(made.as_of)
    said = [None if d != d else str((start + pd.Timedelta(days=d)).date()) for d in made.ways.look_days.tolist()]
    return pd.Series(said, dtype="str")


def notes_of(made: Made, frame: Frame, unseen_n: int) -> tuple[str, ...]:
    """Return the answer in words."""
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
    checks = int(crew["first_step"].notna().sum())
    if checks:
        notes.append(f"{checks} stones start with the leader's check: nobody has recorded lately that they stand firm.")
    if len(held):
        counted = held["hold"].value_counts()
        notes.append(f"Held: {listed([f'{count} {word}' for word, count in counted.items()])}.")
    notes += _leave_to_ask(frame) + _own_minutes(crew)
    cleaned = crew[crew["method"].notna()]
    if len(cleaned):
        notes.append(
            f"To load for all of it: about {_litres(cleaned['water_l'].sum())} l of water and "
            f"{_litres(cleaned['cleaner_l'].sum())} l of cleaner ready to use (litres: common practice, no source)."
        )
    again = int(cleaned["fix_spray"].fillna(value=False).sum())
    if again:
        notes.append(f"{again} of the stones to be cleaned are still reached by a head: mend the spray first.")
    only = _only_iron_or_lime(made)
    if only:
        notes.append(f"{only} stones show nothing but iron or lime: no crew takes that off; it is a conservator's.")
    return tuple(notes)


def _leave_to_ask(frame: Frame) -> list[str]:
    """Return how many stones wait for whose leave, a conservator's stones among them."""
    from gravegis.science.care.permissions import whose_leave

    waiting: dict[str, int] = {}
    held = frame[frame["hold"].notna()]
    for who, reasons in zip(held["who"], held["reasons"], strict=True):
        for whose in {whose_leave(one, who=who) for one in json.loads(reasons)} - {""}:
            waiting[whose] = waiting.get(whose, 0) + 1
    said = [f"{whose} for {count} stone{'s' * (count != 1)}" for whose, count in _most_first(waiting)]
    return [f"Leave to ask for, a conservator's stones among them: {listed(said)}."] if said else []


def _own_minutes(crew: Frame) -> list[str]:
    """Return for how many stones minutes from your own records took the place of the table."""
    from gravegis.science.condition.reasons import in_words

    used: dict[str, int] = {}
    for reasons in crew["reasons"]:
        for one in json.loads(reasons):
            if one["code"] == "own_minutes":
                used[in_words(one)] = used.get(in_words(one), 0) + 1
    return [f"{words} Used for {count} stone{'s' * (count != 1)}." for words, count in _most_first(used)[:_MOST_KINDS]]


def _most_first(counts: dict[str, int]) -> list[tuple[str, int]]:
    return sorted(counts.items(), key=lambda one: (-one[1], one[0]))


def _litres(litres: float) -> str:
    """Return litres to two figures: the table they come from carries no more."""
    return f"{float(f'{litres:.2g}'):g}"


def _only_iron_or_lime(made: Made) -> int:
    """Return how many stones have no harm but staining or encrustation."""
    groups = [
        {str(each["values"]["group"]) for each in reasons if "group" in each["values"]} for reasons in made.care.reasons
    ]
    return sum(bool(found) and found <= {"staining", "encrustation"} for found in groups)
