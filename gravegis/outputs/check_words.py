"""The report of `gravegis check` put into sections of words, the same for terminal and page."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from gravegis.outputs.told import told
from gravegis.outputs.words import counted, one_line
from gravegis.report import RULE

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gravegis.layers.check import Finding
    from gravegis.report import AnalysisState, Gap, Report, ResultState

__all__ = ["Entry", "Section", "facts", "remarks", "sections", "verdict"]

TONES = ("bad", "doubt", "good", "plain")
_OF_SEVERITY = {"error": "bad", "warning": "doubt", "hint": "plain"}
NOT_RUN = (
    "Nothing was run for this report: what an analysis finds out only while it works stands with its result. "
    "Checked is what is named here, nothing else."
)
_ADD = (
    "A command brings a whole layer in again: FILE holds every row, THEIRS is what the column is called there, and "
    "columns with names of their own are named as they were the first time."
)
_NOT_KEPT = "Rows set aside on the way in were named when the file was brought in; the site keeps no list of them."


@dataclass(frozen=True, slots=True)
class Entry:
    """One thing said: a short label, the thing, what there is to it, a command that mends it.

    `tone` is one of `TONES`; it only adds to the words, nothing is said by it alone.
    """

    label: str
    head: str
    notes: tuple[str, ...] = ()
    command: str = ""
    tone: str = "plain"


@dataclass(frozen=True, slots=True)
class Section:
    """A heading, what holds for all of it, and its entries; `empty` is said where there are none."""

    key: str
    title: str
    intro: str
    entries: tuple[Entry, ...]
    empty: str


def facts(report: Report) -> str:
    """Return reference system, time zone and day on one line."""
    basis = f" ({report.crs_basis})" if report.crs_basis not in ("", "typed") else ""
    parts = [
        f"{report.crs}{basis}" if report.crs else "no reference system yet",
        f"time zone {report.time_zone or 'not said'}",
        f"checked on {report.made_on}" if report.made_on else "",
    ]
    return one_line("; ".join(part for part in parts if part))


def verdict(report: Report) -> str:
    """Return the report in one sentence."""
    able = sum(one.can_run for one in report.analyses)
    stopping = sum(bool(gap.blocks) for gap in report.gaps)
    assumed = sum(not gap.blocks and not gap.is_silent for gap in report.gaps)
    late = sum(not one.holds for one in report.results)
    said = [
        f"{able} of {len(report.analyses)} analyses can run",
        f"{counted(stopping, 'thing')} missing that stops one" if stopping else "",
        f"{counted(assumed, 'thing')} missing that something is assumed for",
        f"{late} of {counted(len(report.results), 'result')} out of date" if late else "",
    ]
    return "; ".join(one for one in said if one) + "."


def remarks(report: Report) -> str:
    """Return how many remarks there are on the layers, and how many of them are errors."""
    return f"{len(report.findings)} remarks, {report.errors_n} of them errors."


def sections(report: Report) -> tuple[Section, ...]:
    """Return the report in its order: what can run, what is missing, what is doubtful, results, what to do next."""
    return (
        Section("run", "Can it run?", NOT_RUN, tuple(_analysis(one) for one in report.analyses), "There are none."),
        _missing(report),
        _silent(report),
        Section(
            "doubt", "Doubtful in the layers", "", tuple(_finding(one) for one in report.doubtful),
            "Nothing among the things looked at, which is not to say that all is right.",
        ),
        Section("kept", "Kept as typed, and how layers came in", _NOT_KEPT, _kept(report), "Nothing to tell."),
        Section(
            "results", "Results", "", tuple(_result(one) for one in report.results), "There are none in the site yet."
        ),
        _next(report),
    )  # fmt: skip


def _analysis(one: AnalysisState) -> Entry:
    tone = "bad" if not one.can_run else "doubt" if one.gaps else "good"
    missing = "missing for it: " + " ".join(f"[{place}]" for place in one.gaps) if one.gaps else ""
    notes = [one.question, missing, f"gives {', '.join(one.gives)}" if one.gives else ""]
    return _entry(one.name, one.state, [note for note in notes if note], tone=tone)


def _missing(report: Report) -> Section:
    entries = tuple(_gap(place, gap) for place, gap in enumerate(report.gaps, 1) if not gap.is_silent)
    return Section(
        "missing", "What is missing, most answers first", f"{RULE} {_ADD}", entries, "Nothing among what is declared."
    )


def _silent(report: Report) -> Section:
    intro = (
        "Read where it is there. Nothing is declared to be taken in its place, or the standing result took nothing; "
        "not every row needs it."
    )
    entries = tuple(_gap(place, gap) for place, gap in enumerate(report.gaps, 1) if gap.is_silent)
    return Section("silent", "Missing, and nothing is assumed", intro, entries, "Nothing among what is declared.")


def _gap(place: int, gap: Gap) -> Entry:
    rows = "all of it" if gap.rows_n is None else f"missing in {gap.rows_n} of {counted(gap.of_n or 0, 'row')}"
    notes = [f"{', '.join(gap.blocks)} cannot run without it"] if gap.blocks else []
    notes += [
        f"{one.analysis} {'assumed' if one.from_result else 'assumes'}: {one.words}" for one in gap.instead if one.words
    ]
    readers = [one.analysis for one in gap.instead if not one.words]
    notes += [f"{', '.join(dict.fromkeys(readers))}: nothing is taken in its place"] if readers else []
    notes += [_hangs(gap), f"{'To add it' if gap.is_silent else 'To mend it'}: {gap.measure}"]
    tone = "bad" if gap.blocks else "plain" if gap.is_silent else "doubt"
    return _entry(f"[{place}]", f"{gap.name} ({gap.what}): {rows}", notes, command=gap.command, tone=tone)


def _hangs(gap: Gap) -> str:
    names = ", ".join(gap.results)
    if not gap.results:
        return "no answer hangs on it while these analyses cannot run"
    if not gap.stones_n:
        return f"on it hang: {names}; no stone is known"
    return f"up to {counted(gap.answers_n, 'answer')} may change: {counted(gap.stones_n, 'stone')} in {names}"


def _finding(one: Finding) -> Entry:
    where = f"{one.problem.where}: " if one.problem.where else ""
    remedy = [f"To mend it: {one.problem.remedy}"] if one.problem.remedy else []
    return _entry(f"{one.severity}:", f"{where}{one.problem.problem}", remedy, tone=_OF_SEVERITY[one.severity])


def _kept(report: Report) -> tuple[Entry, ...]:
    kept = [
        _entry("as typed:", f"{one.problem.where}: {one.problem.problem}", [one.problem.remedy]) for one in report.kept
    ]
    assumed = [_entry("assumed:", line) for line in told(report.brought_in)]
    return (*kept, *assumed, *(_entry("from:", line) for line in report.sources))


def _result(one: ResultState) -> Entry:
    lines = told(one.assumed)
    notes = [f"Assumed - {line}" for line in lines] or ["nothing was assumed"]
    return _entry(one.analysis, one.state, notes, tone="good" if one.holds else "bad")


def _next(report: Report) -> Section:
    entries = []
    for place, one in enumerate(report.measurements, 1):
        waits = f"; for {one.waits_for}" if one.waits_for else ""
        entries.append(_entry(f"{place}.", f"{one.words} ({counted(one.changes_n, 'stone')}{waits})"))
    title = "Measure or ask next, by how many stones hang on it (own rule)"
    has_stones = any(one.layer == "stones" and one.rows_n for one in report.layers)
    empty = "Nothing among the things looked at." if has_stones else "No stone is known yet: bring them in first."
    return Section("next", title, "", tuple(entries), empty)


def _entry(label: str, head: str, notes: Sequence[str] = (), *, command: str = "", tone: str = "plain") -> Entry:
    """Return an entry in one-line texts without control signs: what people typed cannot steer a terminal or a page."""
    return Entry(one_line(label), one_line(head), tuple(one_line(note) for note in notes), one_line(command), tone)
